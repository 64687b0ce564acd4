//! How cells look, and what may stand in them.

use rust_xlsxwriter::Format;

use crate::report::words::visible;

/// Characters that a cell holds at most.
const LONGEST_TEXT: usize = 32_000;

/// How cells look.
pub(super) struct Styles {
    pub(super) heading: Format,
    pub(super) text: Format,
    pub(super) quoted: Format,
    pub(super) wrapped: Format,
    pub(super) wrapped_quoted: Format,
    pub(super) title: Format,
    pub(super) entry: Format,
    numbers: Vec<Format>,
}

impl Styles {
    pub(super) fn new() -> Styles {
        let wrapped = Format::new()
            .set_text_wrap()
            .set_align(rust_xlsxwriter::FormatAlign::Top);
        let numbers = (0..=6)
            .map(|decimals| {
                let point = if decimals > 0 { "." } else { "" };
                Format::new().set_num_format(format!("0{point}{}", "0".repeat(decimals)))
            })
            .collect();
        Styles {
            heading: Format::new().set_bold().set_text_wrap(),
            text: Format::new(),
            // Text that looks like a formula stays text even where somebody edits the cell.
            quoted: Format::new().set_quote_prefix(),
            wrapped_quoted: wrapped.clone().set_quote_prefix(),
            wrapped,
            title: Format::new().set_bold(),
            entry: Format::new()
                .set_num_format("0.0")
                .set_border(rust_xlsxwriter::FormatBorder::Thin),
            numbers,
        }
    }

    pub(super) fn of_text(&self, text: &str) -> &Format {
        if acts(text) { &self.quoted } else { &self.text }
    }

    pub(super) fn number(&self, decimals: u8) -> Option<&Format> {
        self.numbers
            .get(usize::from(decimals))
            .or(self.numbers.last())
    }
}

/// Whether a text begins as a formula does.
pub(super) fn acts(text: &str) -> bool {
    text.trim_start()
        .starts_with(['=', '+', '-', '@', '|', '%', '＝', '＋', '－', '＠'])
}

/// What a cell may hold.
pub(super) fn clipped(text: &str) -> String {
    visible(text.trim()).chars().take(LONGEST_TEXT).collect()
}
