//! Sheets of workbooks (`.xlsx`, `.ods`) as text: cells apart by tabs, the sheet's row k on line k, so that every reader of text tables
//! reads them too and every place is the sheet's own.
//!
//! A workbook is a zip archive that anyone may have made. [`archive`] inflates every entry against limits before anything is read;
//! [`gate`] walks the XML of an `.xlsx` and refuses what would make its reader ask for more memory than there is; [`xlsx`] and [`ods`] then
//! give the cells, [`text`] writes them.

mod archive;
mod gate;
mod ods;
mod text;
mod value;
mod xlsx;

use super::error::{BenchError, Fault, Finding, Place, Severity};
use super::text::{clip, did_you_mean};
use archive::Kind;
pub use value::is_error_value;

/// The largest workbook read, packed.
pub const MAX_PACKED_BYTES: u64 = 256 << 20;

/// Endings that are read.
const READ: [&str; 2] = ["xlsx", "ods"];
/// Endings of spreadsheets that are not: older, binary, or with programs inside.
const REFUSED: [&str; 9] = [
    "xls", "xlsb", "xlsm", "xltx", "xltm", "xlt", "ots", "fods", "numbers",
];

/// A sheet as text.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Workbook and sheet, `book.xlsx#Runs`: the file name of every place in it.
    pub name: String,
    /// The text: tabs between cells, numbers with a decimal point, dates as `2026-08-25T09:00:02`, clock times and durations as
    /// `09:00:02`; row k on line k.
    pub text: Vec<u8>,
    /// What a careful reader would be told: which of several sheets was read, merged cells, hidden rows.
    pub findings: Vec<Finding>,
}

/// The decimal mark of numbers that stand as text in a sheet. Cells that are numbers have none to mistake.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TextDecimal {
    /// A point.
    Point,
    /// A comma.
    Comma,
    /// Whichever more of them have.
    Usual,
}

/// A name such as `book.xlsx#Runs` as file and sheet; a name of any other file as it is.
pub fn split(name: &str) -> (&str, Option<&str>) {
    for (at, _) in name.match_indices('#') {
        if let (Some(file), Some(sheet)) = (name.get(..at), name.get(at + 1..))
            && is_workbook(file)
        {
            return (file, Some(sheet));
        }
    }
    (name, None)
}

/// Whether a file's name (without a sheet) has the ending of a spreadsheet, read or refused.
pub fn is_workbook(file: &str) -> bool {
    ending(file).is_some_and(|e| READ.contains(&e.as_str()) || REFUSED.contains(&e.as_str()))
}

/// Whether a place's file name is a sheet's: `book.xlsx#Runs`.
pub fn is_sheet(name: &str) -> bool {
    split(name).1.is_some()
}

fn ending(file: &str) -> Option<String> {
    let (before, ending) = file.rsplit_once('.')?;
    (!before.is_empty() && !before.ends_with(['/', '\\'])).then(|| ending.to_ascii_lowercase())
}

/// A cell's name as spreadsheets write it, from a row and a column counting from 1: `C5`.
pub(super) fn cell_name(row: usize, column: usize) -> String {
    format!("{}{row}", column_letters(column))
}

/// A column's letters, from its number counting from 1: 28 is `AB`.
pub(super) fn column_letters(mut column: usize) -> String {
    let mut letters = Vec::new();
    while column > 0 {
        letters.push(b'A' + u8::try_from((column - 1) % 26).unwrap_or(0));
        column = (column - 1) / 26;
    }
    letters.reverse();
    String::from_utf8_lossy(&letters).into_owned()
}

/// Reads a sheet of a workbook: the one that `name` names after a `#`, else the first that is not hidden.
///
/// # Errors
/// [`BenchError::Faults`] with the file, and sheet and cell where there is one: a file that is no workbook, is damaged, has a password
/// or grows beyond the limits; a sheet that is not there (with those that are).
pub fn read(name: &str, bytes: &[u8], decimal: TextDecimal) -> Result<Sheet, BenchError> {
    let (file, asked) = split(name);
    let ending = ending(file).unwrap_or_default();
    if REFUSED.contains(&ending.as_str()) {
        return Err(Fault::new(
            Place::file(clip(file)),
            format!("a spreadsheet of the kind .{ending}"),
            "a workbook in .xlsx or .ods, or a table in CSV",
        )
        .remedy("open it in the spreadsheet program and save it as .xlsx or as CSV")
        .into());
    }
    let book = archive::open(file, bytes)?;
    let sheets = match book.kind {
        Kind::Xlsx => book.facts.sheets(),
        Kind::Ods => ods::sheets(file, bytes)?,
    };
    let (chosen, mut findings) = choose(file, asked, &sheets)?;
    let label = format!("{file}#{}", chosen.name);
    let place = Place::file(label.clone());
    let written = match book.kind {
        Kind::Xlsx => xlsx::text(file, bytes, chosen, &book.facts, decimal)?,
        Kind::Ods => ods::text(file, bytes, chosen, decimal)?,
    };
    if written.filled > 0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "merged-cells",
                format!(
                    "{} cells of {} lie under cells merged over several rows; each row takes the merged cell's content",
                    written.filled,
                    clip(&label)
                ),
            )
            .at(&place),
        );
    }
    if written.hidden_rows > 0 {
        findings.push(
            Finding::new(
                Severity::Note,
                "hidden-rows",
                format!(
                    "{} rows of {} are hidden or filtered away in the spreadsheet; they are read like the others",
                    written.hidden_rows,
                    clip(&label)
                ),
            )
            .at(&place),
        );
    }
    Ok(Sheet {
        name: label,
        text: written.text,
        findings,
    })
}

/// A sheet that a workbook holds.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Listed {
    name: String,
    hidden: bool,
    /// The archive's entry that holds it (`.xlsx`).
    entry: String,
}

/// The sheet asked for, or the first that is seen; with what there is to say of the choice.
fn choose<'a>(
    file: &str,
    asked: Option<&str>,
    sheets: &'a [Listed],
) -> Result<(&'a Listed, Vec<Finding>), BenchError> {
    let place = || Place::file(clip(file));
    let names = |of: &mut dyn Iterator<Item = &Listed>| -> String {
        const MOST: usize = 12;
        let mut list: Vec<String> = of.map(|s| format!("`{}`", clip(&s.name))).collect();
        let more = list.len().saturating_sub(MOST);
        list.truncate(MOST);
        match more {
            0 => list.join(", "),
            n => format!("{} and {n} more", list.join(", ")),
        }
    };
    let Some(asked) = asked else {
        let mut seen = sheets.iter().filter(|s| !s.hidden);
        let first = seen.next().or(sheets.first()).ok_or_else(|| {
            Fault::new(place(), "a workbook without a sheet", "a sheet of cells")
                .remedy("put the table into a sheet of the workbook, or save it as CSV")
        })?;
        let mut findings = Vec::new();
        if sheets.iter().filter(|s| !s.hidden).count() > 1 {
            findings.push(
                Finding::new(
                    Severity::Note,
                    "first-sheet",
                    format!(
                        "{} holds several sheets ({}) and none is named, so the first is read; another is named as \"{}#{}\"",
                        clip(file),
                        names(&mut sheets.iter().filter(|s| !s.hidden)),
                        clip(file),
                        sheets
                            .iter()
                            .filter(|s| !s.hidden)
                            .nth(1)
                            .map_or_else(String::new, |s| clip(&s.name)),
                    ),
                )
                .at(&place()),
            );
        }
        return Ok((first, findings));
    };
    let wanted = asked.trim();
    let found = sheets
        .iter()
        .find(|s| s.name == wanted)
        // Spreadsheet programs allow no two names that differ in case alone.
        .or_else(|| {
            sheets
                .iter()
                .find(|s| s.name.trim().to_lowercase() == wanted.to_lowercase())
        });
    match found {
        Some(sheet) => Ok((sheet, Vec::new())),
        None => Err(Fault::new(
            place(),
            format!("no sheet `{}`", clip(wanted)),
            format!("one of the sheets {}", names(&mut sheets.iter())),
        )
        .remedy(format!(
            "correct the name after `#`{}",
            did_you_mean(wanted, sheets.iter().map(|s| s.name.as_str()))
        ))
        .into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_split_at_the_workbook_s_ending() {
        assert_eq!(split("a/book.xlsx#Runs"), ("a/book.xlsx", Some("Runs")));
        assert_eq!(split("no#1/book.XLSX#a#b"), ("no#1/book.XLSX", Some("a#b")));
        assert_eq!(split("book.xlsx"), ("book.xlsx", None));
        assert_eq!(split("points.csv#x"), ("points.csv#x", None));
        assert_eq!(split(".xlsx#x"), (".xlsx#x", None));
        assert!(is_sheet("b.ods#x") && !is_sheet("b.ods"));
    }

    #[test]
    fn cells_have_the_names_of_a_spreadsheet() {
        for (row, column, name) in [
            (5, 3, "C5"),
            (1, 26, "Z1"),
            (2, 27, "AA2"),
            (9, 703, "AAA9"),
            (1_048_576, 16_384, "XFD1048576"),
        ] {
            assert_eq!(cell_name(row, column), name);
        }
    }
}
