//! A look through the XML of an `.xlsx` before its cells are read.
//!
//! The reader of cells takes the file's word for several counts and places: it sets memory aside for as many shared strings as the file
//! says there are, and computes with cell names without asking whether they can be. Whatever is let pass here can do no harm there.

use std::collections::HashMap;
use std::io::BufRead;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::Listed;
use super::archive::is_xml;
use crate::bench::text::clip;

/// Rows and columns that a sheet can have (ECMA-376 part 1, 18.3.1.73 and 18.3.1.4, give the cell names up to XFD1048576; from memory).
pub(super) const MAX_ROWS: u64 = 1_048_576;
pub(super) const MAX_COLUMNS: u64 = 16_384;
/// Cells in one sheet.
pub(super) const MAX_CELLS: usize = 20_000_000;
/// Elements within elements; a sheet needs about ten.
pub(super) const MAX_DEPTH: usize = 64;
/// Different texts in one workbook.
const MAX_STRINGS: u64 = 2_000_000;
/// Sheets in one workbook.
const MAX_SHEETS: usize = 1_000;
/// Merged ranges in one sheet.
const MAX_MERGED: usize = 20_000;
/// Formats of cells, and the parts that they are made of.
const MAX_FORMATS: usize = 200_000;

/// What was seen.
#[derive(Debug, Default)]
pub(super) struct Facts {
    /// Sheets with the workbook part that lists them, the identifier of their relation, and whether they are hidden.
    listed: Vec<(String, String, String, bool)>,
    /// Relations by the entry that holds them: identifier, target, kind.
    relations: HashMap<String, Vec<(String, String, String)>>,
    /// Cells merged over several rows, by entry: row and column of the first (counting from 1), and the last row.
    pub merged: HashMap<String, HashMap<(u64, u64), u64>>,
    /// Hidden rows by entry.
    pub hidden_rows: HashMap<String, usize>,
}

impl Facts {
    /// Looks through one entry. Gives what was found where it is refused.
    pub fn walk(&mut self, entry: &str, reader: impl BufRead) -> Result<(), String> {
        let mut xml = Reader::from_reader(reader);
        xml.config_mut().expand_empty_elements = true;
        let mut buffer = Vec::new();
        let mut depth = 0;
        let (mut cells, mut rows, mut strings, mut formats) = (0, 0, 0, 0);
        loop {
            buffer.clear();
            match xml.read_event_into(&mut buffer) {
                Ok(Event::Start(e)) => {
                    depth += 1;
                    if depth > MAX_DEPTH {
                        return Err(format!("elements nested more than {MAX_DEPTH} deep"));
                    }
                    match e.local_name().as_ref() {
                        "c" => {
                            at_most(&mut cells, MAX_CELLS, "cells in a sheet")?;
                            if let Some(r) = sole(&e, "r")? {
                                a1(&r)?;
                            }
                        }
                        "row" => {
                            at_most(&mut rows, MAX_ROWS as usize, "rows in a sheet")?;
                            if let Some(r) = sole(&e, "r")? {
                                within(&r, MAX_ROWS, &r)?;
                            }
                            if matches!(attribute(&e, "hidden")?.as_deref(), Some("1" | "true")) {
                                *self.hidden_rows.entry(entry.to_owned()).or_default() += 1;
                            }
                        }
                        "dimension" => {
                            if let Some(range) = sole(&e, "ref")? {
                                area(&range)?;
                            }
                        }
                        "mergeCell" => self.merge(entry, &e)?,
                        "sst" => {
                            for key in ["uniqueCount", "count"] {
                                let Some(text) = attribute(&e, key)? else {
                                    continue;
                                };
                                // Every use is counted under `count`, so that it may be as large as the number of cells.
                                let most = if key == "count" {
                                    MAX_CELLS as u64 * MAX_SHEETS as u64
                                } else {
                                    MAX_STRINGS
                                };
                                if text.trim().parse::<u64>().is_ok_and(|n| n > most)
                                    || text.len() > 20
                                {
                                    return Err(format!(
                                        "{key} = \"{}\", more shared texts than are read",
                                        clip(&text)
                                    ));
                                }
                            }
                        }
                        "si" => at_most(&mut strings, MAX_STRINGS as usize, "shared texts")?,
                        "xf" | "numFmt" | "font" | "fill" | "border" | "cellStyle" | "dxf" => {
                            at_most(&mut formats, MAX_FORMATS, "cell formats")?;
                        }
                        "sheet" => self.list(entry, &e)?,
                        "Relationship" => self.relate(entry, &e)?,
                        _ => {}
                    }
                }
                Ok(Event::End(_)) => depth = depth.saturating_sub(1),
                // Declared entities are how a few lines of XML grow into gigabytes; no spreadsheet program writes any.
                Ok(Event::DocType(_)) => {
                    return Err("a document type declaration".to_owned());
                }
                Ok(Event::Eof) if depth > 0 => return Err("XML that is cut off".to_owned()),
                Ok(Event::Eof) => return Ok(()),
                Ok(_) => {}
                Err(e) => return Err(format!("XML that is damaged ({e})")),
            }
        }
    }

    fn merge(&mut self, entry: &str, e: &BytesStart<'_>) -> Result<(), String> {
        let Some(range) = sole(e, "ref")? else {
            return Ok(());
        };
        let ((top, left), (bottom, _)) = area(&range)?;
        let merged = self.merged.entry(entry.to_owned()).or_default();
        if merged.len() >= MAX_MERGED {
            return Err(format!("more than {MAX_MERGED} merged ranges in a sheet"));
        }
        if bottom > top {
            merged.insert((top, left), bottom);
        }
        Ok(())
    }

    fn list(&mut self, entry: &str, e: &BytesStart<'_>) -> Result<(), String> {
        let Some(name) = attribute(e, "name")? else {
            return Ok(());
        };
        if self.listed.len() >= MAX_SHEETS {
            return Err(format!("more than {MAX_SHEETS} sheets"));
        }
        let id = attribute(e, "id")?.unwrap_or_default();
        let hidden = matches!(
            attribute(e, "state")?.as_deref(),
            Some("hidden" | "veryHidden")
        );
        self.listed.push((name, entry.to_owned(), id, hidden));
        Ok(())
    }

    fn relate(&mut self, entry: &str, e: &BytesStart<'_>) -> Result<(), String> {
        let text = |key| attribute(e, key).map(Option::unwrap_or_default);
        let relation = (text("Id")?, text("Target")?, text("Type")?);
        self.relations
            .entry(entry.to_owned())
            .or_default()
            .push(relation);
        Ok(())
    }

    /// The sheets of cells, in the workbook's order; sheets that are a chart are none.
    pub fn sheets(&self) -> Vec<Listed> {
        self.listed
            .iter()
            .filter_map(|(name, book, id, hidden)| {
                let (folder, file) = book.rsplit_once('/').unwrap_or(("", book));
                let prefix = if folder.is_empty() {
                    String::new()
                } else {
                    format!("{folder}/")
                };
                let relations = self.relations.get(&format!("{prefix}_rels/{file}.rels"))?;
                let (_, target, kind) = relations.iter().find(|(i, _, _)| i == id)?;
                if !kind.ends_with("/worksheet") || !is_xml(target) {
                    return None;
                }
                let entry = match target.strip_prefix('/') {
                    Some(absolute) => absolute.to_owned(),
                    None => format!("{prefix}{target}"),
                };
                Some(Listed {
                    name: name.clone(),
                    hidden: *hidden,
                    entry,
                })
            })
            .collect()
    }
}

/// Counts one more, up to a limit.
fn at_most(count: &mut usize, most: usize, what: &str) -> Result<(), String> {
    *count += 1;
    if *count > most {
        return Err(format!("more than {most} {what}"));
    }
    Ok(())
}

/// An attribute's value by its name without a prefix, entities resolved.
pub(super) fn attribute(e: &BytesStart<'_>, name: &str) -> Result<Option<String>, String> {
    for a in e.attributes().with_checks(false) {
        let a = a.map_err(|e| format!("an attribute that is damaged ({e})"))?;
        if a.key.local_name().as_ref() == name {
            let value = quick_xml::escape::unescape(&a.value)
                .map_err(|e| format!("an attribute that is damaged ({e})"))?;
            return Ok(Some(value.into_owned()));
        }
    }
    Ok(None)
}

/// As [`attribute`], refused where it is there twice: the reader of cells may take the other one.
fn sole(e: &BytesStart<'_>, name: &str) -> Result<Option<String>, String> {
    let mut all = e.attributes();
    let named = all.with_checks(false).flatten();
    if named
        .filter(|a| a.key.local_name().as_ref() == name)
        .count()
        > 1
    {
        return Err(format!("an element with two attributes `{name}`"));
    }
    attribute(e, name)
}

fn within(digits: &str, most: u64, whole: &str) -> Result<u64, String> {
    let plain =
        !digits.is_empty() && digits.len() <= 7 && digits.bytes().all(|b| b.is_ascii_digit());
    let number = digits.parse::<u64>().ok().filter(|_| plain);
    number.filter(|n| (1..=most).contains(n)).ok_or_else(|| {
        format!(
            "the cell name `{}`, beyond XFD{MAX_ROWS} or none at all",
            clip(whole)
        )
    })
}

/// A cell's name as row and column, counting from 1.
fn a1(name: &str) -> Result<(u64, u64), String> {
    let letters = name.bytes().take_while(u8::is_ascii_alphabetic).count();
    let (column, row) = name.split_at_checked(letters).unwrap_or(("", name));
    let row = within(row, MAX_ROWS, name)?;
    let number = column.bytes().take(4).fold(0_u64, |n, b| {
        n * 26 + u64::from(b.to_ascii_uppercase() - b'A') + 1
    });
    if !(1..=3).contains(&letters) || number > MAX_COLUMNS {
        within("", MAX_COLUMNS, name)?;
    }
    Ok((row, number))
}

/// A range such as `A1:C5`: its first and last cell.
#[allow(clippy::type_complexity, reason = "two cells, each a row and a column")]
fn area(range: &str) -> Result<((u64, u64), (u64, u64)), String> {
    let (first, last) = range.split_once(':').unwrap_or((range, range));
    let (first, last) = (a1(first)?, a1(last)?);
    if last.0 < first.0 || last.1 < first.1 {
        return Err(format!("the range `{}`, which runs backwards", clip(range)));
    }
    Ok((first, last))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cell_names_are_checked() {
        assert_eq!(a1("A1"), Ok((1, 1)));
        assert_eq!(a1("XFD1048576"), Ok((1_048_576, 16_384)));
        for bad in [
            "",
            "A",
            "1",
            "A0",
            "XFE1",
            "A1048577",
            "AAAAAAAAAAAA1",
            "A99999999999999999999",
            "A-1",
            "Ä1",
            "A1B",
        ] {
            assert!(a1(bad).is_err(), "{bad}");
        }
        assert!(area("B2:A1").is_err() && area("A1:B2:C3").is_err());
    }

    fn walk(xml: &str) -> Result<(), String> {
        Facts::default().walk("x.xml", xml.as_bytes())
    }

    #[test]
    fn what_would_cost_memory_is_refused() {
        assert!(walk("<a><c r=\"B2\"/></a>").is_ok());
        for (xml, word) in [
            ("<sst uniqueCount=\"99999999999\"></sst>", "uniqueCount"),
            ("<a><c r=\"AAAAAAAAAA1\"/></a>", "AAAAAAAAAA1"),
            ("<a><dimension ref=\"C3:A1\"/></a>", "backwards"),
            (
                "<!DOCTYPE a [<!ENTITY x \"y\">]><a>&x;</a>",
                "document type",
            ),
            ("<a><b>", "cut off"),
            ("<a></b>", "damaged"),
        ] {
            let found = walk(xml).unwrap_err();
            assert!(found.contains(word), "{xml}: {found}");
        }
        assert!(walk(&"<a>".repeat(100)).unwrap_err().contains("nested"));
    }
}
