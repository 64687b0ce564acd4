//! Blanks that a starter bench leaves to be filled: where they still stand.

use super::error::{BenchError, Fault, Place};
use super::manifest::Manifest;
use super::table::Table;
use super::text::clip;
use super::{ReadFile, workbook};

/// What stands where something is to be filled in.
pub const BLANK: &str = "____";

/// The blanks in a TOML text, comments aside; each fault says what belongs there, from the comment on its line.
pub(super) fn in_toml(file: &str, text: &str) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (number, line) in text.lines().enumerate() {
        if !line.contains(BLANK) {
            continue;
        }
        let (code, comment) = at_comment(line);
        let Some(at) = code.find(BLANK) else {
            continue;
        };
        let column = code.get(..at).map_or(0, |before| before.chars().count()) + 1;
        let expected = match comment.trim_start_matches('#').trim() {
            "" => "a value".to_owned(),
            words => clip_words(words),
        };
        faults.push(
            Fault::new(
                Place::at(file, number + 1, column),
                format!("`{}`", clip(code.trim())),
                expected,
            )
            .remedy("write the value over the blank, or remove the entry"),
        );
    }
    faults
}

/// Refuses a bench with blanks in `bench.toml`, and names those of its tables with them.
pub(super) fn refuse(text: &str, read: ReadFile<'_>) -> Result<(), BenchError> {
    let mut faults = in_toml("bench.toml", text);
    if faults.is_empty() {
        return Ok(());
    }
    let manifest = Manifest::new("bench.toml", text);
    if let Ok(document) = manifest.parse() {
        let root = manifest.root(&document);
        for section in ["points", "runs"] {
            let file = root.section(section).and_then(|s| s.text("file"));
            let Some(file) = file.filter(|f| !f.contains(BLANK)) else {
                continue;
            };
            // What else is wrong with the table is told once the blanks are filled.
            let table = read(workbook::split(&file).0, &Place::file("bench.toml"))
                .and_then(|bytes| Table::open(&file, &bytes, &mut Vec::new()));
            faults.extend(table.ok().and_then(|t| in_table(&t)));
        }
    }
    Err(BenchError::Blanks(faults))
}

/// A comment's words, whole but for the very long.
fn clip_words(words: &str) -> String {
    words
        .chars()
        .filter(|c| !c.is_control())
        .take(200)
        .collect()
}

/// A line of TOML as what counts and its comment.
fn at_comment(line: &str) -> (&str, &str) {
    let mut quote = None;
    let mut escaped = false;
    for (at, c) in line.char_indices() {
        match quote {
            _ if escaped => escaped = false,
            Some('"') if c == '\\' => escaped = true,
            Some(q) if c == q => quote = None,
            Some(_) => {}
            None if c == '"' || c == '\'' => quote = Some(c),
            None if c == '#' => return line.split_at_checked(at).unwrap_or((line, "")),
            None => {}
        }
    }
    (line, "")
}

/// One fault for all the blanks of a table: how many, on which lines, under which headings.
pub(super) fn in_table(table: &Table) -> Option<Fault> {
    let mut count = 0;
    let mut lines: Option<(usize, usize)> = None;
    let mut columns = Vec::new();
    for (line, cells) in &table.rows {
        for (at, _) in cells.iter().enumerate().filter(|(_, c)| *c == BLANK) {
            count += 1;
            lines = Some(lines.map_or((*line, *line), |(first, _)| (first, *line)));
            if !columns.contains(&at) {
                columns.push(at);
            }
        }
    }
    let (first, last) = lines?;
    columns.sort_unstable();
    let names: Vec<String> = columns
        .iter()
        .filter_map(|at| table.columns.get(*at))
        .map(|c| format!("`{}`", clip(&c.name)))
        .collect();
    let place = |line| Place::line(&table.file, line);
    let reach = if first == last {
        format!("on {}", place(first).spot())
    } else {
        format!("from {} to {}", place(first).spot(), place(last).spot())
    };
    Some(
        Fault::new(
            place(first),
            format!(
                "{count} blank{}, {reach}, under {}",
                if count == 1 { "" } else { "s" },
                names.join(", ")
            ),
            "a value in each, in the heading's unit where it has one",
        )
        .remedy("write the values over the blanks; empty a cell without a reading, and remove a row or column that you do not have"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blanks_in_comments_do_not_count_and_hashes_in_texts_are_no_comments() {
        let text = "# ____\na = \"#1 ____ V\" # the supply\nb = '____'\nc = \"x\" # ____\nd = \"\\\"#____\"\n";
        let faults = in_toml("bench.toml", text);
        let places: Vec<_> = faults
            .iter()
            .map(|f| (f.place.line, f.place.column))
            .collect();
        assert_eq!(
            places,
            [(Some(2), Some(9)), (Some(3), Some(6)), (Some(5), Some(9))]
        );
        assert_eq!(faults[0].expected, "the supply");
    }

    #[test]
    fn the_blanks_of_a_table_are_told_together() {
        let table = Table::read("p.csv", b"run,a [W],b\nx,____,1\ny,2,____\nz,____,3\n").unwrap();
        let fault = in_table(&table).unwrap();
        assert_eq!(fault.place, Place::line("p.csv", 2));
        assert_eq!(
            fault.found,
            "3 blanks, from line 2 to line 4, under `a`, `b`"
        );
        assert!(in_table(&Table::read("p.csv", b"run\n___\n").unwrap()).is_none());
    }
}
