//! A write-up as Markdown, with its figures in files beside it.

use super::document::{Block, Document};
use super::words;

/// Text in which nothing acts as Markdown or HTML: every sign that could is escaped.
pub fn escaped(text: &str) -> String {
    let text = words::visible(text);
    let mut out = String::with_capacity(text.len() + 8);
    for (i, c) in text.char_indices() {
        let acts = match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '~' | '$' | '@' | '#' | '&'
            | '!' => true,
            // Bare addresses become links in many readers.
            ':' => text[i..].starts_with("://"),
            '.' => text[..i].to_ascii_lowercase().ends_with("www") || starts_a_list(&text[..i]),
            // A list or rule at the start of a line.
            '-' | '+' | '=' | ')' => text[..i].trim().is_empty() || starts_a_list(&text[..i]),
            _ => false,
        };
        if acts {
            out.push('\\');
        }
        out.push(c);
    }
    out
}

/// Whether what stands before a `.` or `)` would make it a numbered list.
fn starts_a_list(before: &str) -> bool {
    let before = before.trim_start();
    !before.is_empty() && before.len() <= 9 && before.bytes().all(|b| b.is_ascii_digit())
}

/// The document as Markdown. A figure is shown from `folder`, where its PNG stands under its own file name.
pub fn text(document: &Document, folder: &str) -> String {
    let mut out = format!("# {}\n", escaped(&document.title));
    for paragraph in &document.lead {
        push(&mut out, &escaped(paragraph));
    }
    for section in &document.sections {
        push(&mut out, &format!("## {}", escaped(&section.title)));
        for block in &section.blocks {
            push(&mut out, &self::block(block, folder));
        }
    }
    if !document.foot.is_empty() {
        push(&mut out, "---");
        for paragraph in &document.foot {
            push(&mut out, &escaped(paragraph));
        }
    }
    out
}

/// A paragraph, one blank line below what stands before it.
fn push(out: &mut String, paragraph: &str) {
    out.push('\n');
    out.push_str(paragraph.trim_end());
    out.push('\n');
}

fn block(block: &Block, folder: &str) -> String {
    match block {
        Block::Text(text) => escaped(text),
        Block::Heading(text) => format!("### {}", escaped(text)),
        Block::Finding(text) => format!("**{}**", escaped(text)),
        Block::List(items) => list(items),
        Block::Terms(terms) => terms
            .iter()
            .map(|(term, meaning)| format!("- **{}**: {}\n", escaped(term), escaped(meaning)))
            .collect(),
        Block::Caution(items) => format!("**Caution**\n\n{}", list(items)),
        Block::Code(text) => code(text),
        Block::Table(table) => table.to_markdown(),
        Block::Explorer(explorer) => explorer.table.to_markdown(),
        Block::Figure(figure) => {
            let told = if figure.alt.is_empty() {
                &figure.claim
            } else {
                &figure.alt
            };
            format!("![{}]({folder}/{}.png)", escaped(told), figure.file_stem())
        }
    }
}

fn list(items: &[String]) -> String {
    items
        .iter()
        .map(|item| format!("- {}\n", escaped(item)))
        .collect()
}

/// Lines set in by four blanks: no text can end such a block early.
fn code(text: &str) -> String {
    text.lines()
        .map(|line| format!("    {}\n", words::visible(line)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::document::Section;
    use super::*;

    #[test]
    fn nothing_from_a_bench_acts() {
        assert_eq!(escaped("a|b"), "a\\|b");
        assert_eq!(escaped("<script>"), "\\<script\\>");
        assert_eq!(escaped("[x](javascript:y)"), "\\[x\\](javascript:y)");
        assert_eq!(escaped("https://x"), "https\\://x");
        assert_eq!(escaped("WWW.x"), "WWW\\.x");
        assert_eq!(escaped("# a\n# b"), "\\# a \\# b");
        assert_eq!(escaped("- a - b"), "\\- a - b");
        assert_eq!(escaped("12. a"), "12\\. a");
        assert_eq!(escaped("Draw rises. By 3.5 W"), "Draw rises. By 3.5 W");
    }

    #[test]
    fn a_document_reads_in_order() {
        let document = Document {
            title: "Canal-boat cooler".into(),
            lead: vec!["It draws 412 W.".into()],
            sections: vec![
                Section::new("Draw")
                    .with(Block::Finding("Draw rises.".into()))
                    .with(Block::List(vec!["one".into(), "two".into()]))
                    .with(Block::Code("draw = 1\n```\nx".into())),
            ],
            foot: vec!["Not an approval.".into()],
            interactive: false,
        };
        assert_eq!(
            text(&document, "figures"),
            "# Canal-boat cooler\n\nIt draws 412 W.\n\n## Draw\n\n**Draw rises.**\n\n- one\n- two\n\n    draw = 1\n    ```\n    x\n\n---\n\nNot an approval.\n"
        );
    }
}
