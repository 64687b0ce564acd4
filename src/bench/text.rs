//! A user's text: from bytes, and made safe to show.

use std::borrow::Cow;

use super::error::{BenchError, Fault, Place};

/// Text of a file: UTF-8, with or without a byte order mark, lines ended by LF, CRLF or CR.
///
/// # Errors
/// A fault that says what the bytes look like where they are no such text. `expected` names the kind of file, `remedy` how to get it.
pub(super) fn decode<'a>(
    file: &str,
    bytes: &'a [u8],
    expected: &str,
    remedy: &str,
) -> Result<Cow<'a, str>, BenchError> {
    let fault = |place: Place, found: String| -> BenchError {
        Fault::new(place, found, expected).remedy(remedy).into()
    };
    if let Some(kind) = signature(bytes) {
        let remedy = if bytes.starts_with(ARCHIVE) {
            "a workbook is read where its name ends in .xlsx or .ods; or save the sheet as CSV with the encoding UTF-8"
        } else {
            remedy
        };
        return Err(Fault::new(Place::file(file), kind, expected)
            .remedy(remedy)
            .into());
    }
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let line_of = |at: usize| {
        let before = bytes.get(..at).unwrap_or_default();
        before.iter().filter(|&&b| b == b'\n').count() + 1
    };
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let at = e.valid_up_to();
        let byte = bytes.get(at).copied().unwrap_or_default();
        fault(
            Place::line(file, line_of(at)),
            format!("a byte (0x{byte:02X}) that is not UTF-8 text"),
        )
    })?;
    if let Some(at) = text.find('\0') {
        return Err(fault(
            Place::line(file, line_of(at)),
            "a NUL byte, as in a binary file".to_owned(),
        ));
    }
    // Lines that end in CR alone, as some spreadsheets still write them.
    Ok(if text.contains('\r') && !text.contains('\n') {
        Cow::Owned(text.replace('\r', "\n"))
    } else {
        Cow::Borrowed(text)
    })
}

/// Text of a TOML file.
///
/// # Errors
/// As [`decode`].
pub(super) fn utf8(file: &str, bytes: Vec<u8>) -> Result<String, BenchError> {
    let text = decode(
        file,
        &bytes,
        "a TOML file as text in UTF-8",
        "save it again as plain text in UTF-8",
    )?;
    Ok(text.into_owned())
}

/// The first bytes of a zip archive, which a workbook is.
const ARCHIVE: &[u8] = b"PK\x03\x04";

/// Files that are often taken for a table, by their first bytes.
fn signature(bytes: &[u8]) -> Option<&'static str> {
    const KINDS: [(&[u8], &str); 7] = [
        // UTF-32's mark begins with that of UTF-16, so it comes first.
        (&[0xFF, 0xFE, 0, 0], "text in UTF-32"),
        (&[0, 0, 0xFE, 0xFF], "text in UTF-32"),
        (&[0xFF, 0xFE], "text in UTF-16"),
        (&[0xFE, 0xFF], "text in UTF-16"),
        (ARCHIVE, "a workbook or another zip archive"),
        (&[0x1F, 0x8B], "a compressed (gzip) file"),
        (b"%PDF", "a PDF document"),
    ];
    KINDS
        .into_iter()
        .find(|(start, _)| bytes.starts_with(start))
        .map(|(_, kind)| kind)
}

/// Text with every character that a reader could not see, or that would act on a terminal, written out as `\u{…}`.
///
/// Mode and run names are the user's own. A control character in one could recolour a terminal, a line break
/// could forge a table row, and a direction mark could reverse what follows it.
/// A tab or line break becomes one blank, since that is what a heading with one is meant to say.
pub fn visible(text: &str) -> Cow<'_, str> {
    if !text.chars().any(is_hidden) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '\t' | '\n' | '\r' => out.push(' '),
            c if is_hidden(c) => out.extend(c.escape_unicode()),
            c => out.push(c),
        }
    }
    Cow::Owned(out)
}

/// Control characters, direction marks, and characters without a width of their own.
fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

/// A user's text for a message: shortened, and with nothing in it that a reader could not see.
pub(crate) fn clip(text: &str) -> String {
    clip_at(text, 60)
}

/// What another library says of a user's file: as [`clip`], with room for a sentence.
pub(crate) fn clip_sentence(text: &str) -> String {
    clip_at(text, 240)
}

fn clip_at(text: &str, longest: usize) -> String {
    let mut chars = text.chars();
    let head: String = chars.by_ref().take(longest).collect();
    let mut shown = visible(&head).into_owned();
    if chars.next().is_some() {
        shown.push('…');
    }
    shown
}

/// `; did you mean …?` with the nearest of some names, or nothing where none is near.
pub(crate) fn did_you_mean<'a>(asked: &str, have: impl IntoIterator<Item = &'a str>) -> String {
    nearest(asked, have).map_or_else(String::new, |near| {
        format!("; did you mean `{}`?", clip(near))
    })
}

/// The nearest of some names within two slips of the pen (one in a name of up to three letters), case aside.
pub(crate) fn nearest<'a>(asked: &str, have: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    /// Names longer than this are not typed by hand, and comparing them takes time.
    const LONGEST: usize = 200;
    if asked.is_empty() || asked.len() > LONGEST {
        return None;
    }
    let lower = asked.to_lowercase();
    have.into_iter()
        .filter(|h| !h.is_empty() && h.len() <= LONGEST)
        .map(|h| (strsim::damerau_levenshtein(&h.to_lowercase(), &lower), h))
        .filter(|(distance, h)| *distance <= if h.chars().count() <= 3 { 1 } else { 2 })
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, h)| h)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hidden_characters_are_written_out() {
        assert_eq!(visible("eco"), "eco");
        assert_eq!(visible("\u{1b}[31mred"), "\\u{1b}[31mred");
        assert_eq!(visible("a\nb\tc"), "a b c");
        assert_eq!(visible("a\u{202e}b\u{200b}"), "a\\u{202e}b\\u{200b}");
        assert_eq!(visible("Kühlen – β η"), "Kühlen – β η");
    }

    #[test]
    fn long_text_is_cut_and_cleaned() {
        let shown = clip(&"é".repeat(100));
        assert_eq!(shown.chars().count(), 61);
        assert_eq!(clip("a\u{1b}b"), "a\\u{1b}b");
    }

    #[test]
    fn near_names_are_found_and_far_ones_are_not() {
        let have = ["run", "airflow", "intake_temp"];
        assert_eq!(nearest("Run", have), Some("run"));
        assert_eq!(nearest("fun", have), Some("run"));
        assert_eq!(nearest("fan", have), None);
        assert_eq!(nearest("airfow", have), Some("airflow"));
        assert_eq!(nearest("", have), None);
        assert_eq!(did_you_mean("xyz", have), "");
    }

    #[test]
    fn line_ends_of_all_kinds_are_read() {
        let read = |b: &'static [u8]| decode("t", b, "text", "").unwrap();
        assert_eq!(read(b"\xEF\xBB\xBFa\rb"), "a\nb");
        assert_eq!(read(b"a\r\nb"), "a\r\nb");
        assert!(decode("t", b"\xFF\xFEa\0", "text", "").is_err());
    }
}
