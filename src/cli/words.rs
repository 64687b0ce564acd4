//! Building a command's words: paragraphs, headings, tables, notes.

use crate::report::tables::Table;
use crate::report::words::{visible, wrap};

/// Width of the words, in characters.
const WIDTH: usize = 100;

/// Words in the making.
#[derive(Default)]
pub struct Words {
    text: String,
}

impl Words {
    /// Starts with the line that names the bench, and the demo note.
    pub fn start(title: &str, demo_note: Option<&str>) -> Words {
        let mut words = Words::default();
        words.heading(title);
        if let Some(note) = demo_note {
            words.paragraph(note);
        }
        words
    }

    /// A heading in bold.
    pub fn heading(&mut self, text: &str) -> &mut Self {
        self.gap();
        let bold = anstyle::Style::new().bold();
        self.text
            .push_str(&format!("{bold}{}{bold:#}\n", visible(text)));
        self
    }

    /// A paragraph, wrapped.
    pub fn paragraph(&mut self, text: &str) -> &mut Self {
        for line in wrap(&visible(text), WIDTH) {
            self.text.push_str(&line);
            self.text.push('\n');
        }
        self
    }

    /// A bulleted item, wrapped with a hanging indent.
    pub fn item(&mut self, text: &str) -> &mut Self {
        for (i, line) in wrap(&visible(text), WIDTH - 2).into_iter().enumerate() {
            self.text.push_str(if i == 0 { "- " } else { "  " });
            self.text.push_str(&line);
            self.text.push('\n');
        }
        self
    }

    /// A line as it stands, such as an equation.
    pub fn verbatim(&mut self, text: &str) -> &mut Self {
        self.text.push_str(&format!("  {}\n", visible(text)));
        self
    }

    /// A table.
    pub fn table(&mut self, table: &Table) -> &mut Self {
        self.gap();
        self.text.push_str(&table.to_text(WIDTH));
        if !self.text.ends_with('\n') {
            self.text.push('\n');
        }
        self
    }

    /// An empty line, unless at the start or after another.
    pub fn gap(&mut self) -> &mut Self {
        if !self.text.is_empty() && !self.text.ends_with("\n\n") {
            self.text.push('\n');
        }
        self
    }

    /// Notes at the end, under their own heading; nothing where there are none.
    pub fn notes(&mut self, notes: &[String], quiet: bool) -> &mut Self {
        if !quiet && !notes.is_empty() {
            self.heading("Notes");
            for note in notes {
                self.item(note);
            }
        }
        self
    }

    /// The finished text.
    pub fn finish(self) -> String {
        self.text
    }
}
