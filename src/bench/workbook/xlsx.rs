//! The cells of an `.xlsx`, which [`super::gate`] has let pass.

use std::borrow::Cow;
use std::io::Cursor;

use calamine::{DataRef, Reader, Xlsx, XlsxError};

use super::archive::{AGAIN, fault, locked};
use super::gate::Facts;
use super::text::{TextFault, Writer, Written};
use super::value::{Value, iso_duration, moment};
use super::{Listed, TextDecimal};
use crate::bench::error::{BenchError, Fault, Place};
use crate::bench::text::clip;

/// The sheet's text.
pub(super) fn text(
    file: &str,
    bytes: &[u8],
    sheet: &Listed,
    facts: &Facts,
    decimal: TextDecimal,
) -> Result<Written, BenchError> {
    let label = format!("{file}#{}", sheet.name);
    let broken = |e: XlsxError, last: Option<(u64, u64)>| unreadable(file, &label, &e, last);
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(|e| broken(e, None))?;
    let is_1904 = book.has_1904_epoch();
    let merged = facts.merged.get(&sheet.entry);
    let mut cells = book
        .worksheet_cells_reader(&sheet.name)
        .map_err(|e| broken(e, None))?;
    let mut writer = Writer::default();
    let mut last = None;
    while let Some(cell) = cells.next_cell().map_err(|e| broken(e, last))? {
        let (row, column) = cell.get_position();
        let (row, column) = (u64::from(row) + 1, u64::from(column) + 1);
        last = Some((row, column));
        let Some(value) = value(cell.get_value(), is_1904) else {
            continue;
        };
        let down = merged.and_then(|m| m.get(&(row, column))).copied();
        writer
            .put(row, column, &value, down.unwrap_or(row))
            .map_err(|e| unwritable(&label, &e, row, column))?;
    }
    let written = writer.finish(decimal);
    let mut written = written.map_err(|e| unwritable(&label, &e, 1, 1))?;
    written.hidden_rows = facts.hidden_rows.get(&sheet.entry).copied().unwrap_or(0);
    Ok(written)
}

/// A cell's content; none where it is empty. A formula has the result that was stored with it.
fn value<'a>(cell: &'a DataRef<'_>, is_1904: bool) -> Option<Value<'a>> {
    Some(match cell {
        DataRef::Empty => return None,
        DataRef::Int(v) => Value::Number(*v as f64),
        DataRef::Float(v) => Value::Number(*v),
        DataRef::String(text) => Value::Text(Cow::Borrowed(text)),
        DataRef::SharedString(text) => Value::Text(Cow::Borrowed(text)),
        DataRef::Bool(v) => Value::Flag(*v),
        DataRef::DateTime(v) if v.is_duration() => Value::Clock(v.as_f64() * 86_400.0),
        DataRef::DateTime(v) => moment(v.as_f64(), is_1904),
        DataRef::DateTimeIso(text) => Value::Text(Cow::Borrowed(text.trim_start_matches('T'))),
        DataRef::DurationIso(text) => match iso_duration(text) {
            Some(s) => Value::Clock(s),
            None => Value::Text(Cow::Borrowed(text)),
        },
        DataRef::Error(e) => Value::Error(e.to_string().into()),
    })
}

/// A fault of what the cells' reader could not read.
fn unreadable(file: &str, label: &str, error: &XlsxError, last: Option<(u64, u64)>) -> BenchError {
    if matches!(error, XlsxError::Password) {
        return locked(file);
    }
    let Some((row, column)) = last else {
        return fault(
            file,
            format!(
                "a workbook that cannot be read ({})",
                clip(&error.to_string())
            ),
            AGAIN,
        );
    };
    let after = super::cell_name(
        usize::try_from(row).unwrap_or(0),
        usize::try_from(column).unwrap_or(0),
    );
    Fault::new(
        Place::file(label),
        format!(
            "after cell {after}, one that cannot be read ({})",
            clip(&error.to_string())
        ),
        "cells with a number, a text, a date, true or false",
    )
    .remedy("mend or empty the cell, or save the sheet as CSV")
    .into()
}

/// A fault of a sheet that is too large or out of order, at a cell counting from 1.
pub(super) fn unwritable(label: &str, error: &TextFault, row: u64, column: u64) -> BenchError {
    let place = Place::at(
        label,
        usize::try_from(row).unwrap_or(0),
        usize::try_from(column).unwrap_or(0),
    );
    match error {
        TextFault::TooLarge => Fault::new(
            place,
            "more cells, or more text, than are read from a sheet",
            "a table of readings: at most 40 million cells and 256 MB of text, empty cells inside it counted",
        )
        .remedy("delete stray cells far from the table, or save the sheet as CSV: text logs of any size are read"),
        TextFault::OutOfOrder => Fault::new(
            place,
            "a cell that stands before the one ahead of it, or twice",
            "cells row by row, as a spreadsheet program writes them",
        )
        .remedy(AGAIN),
    }
    .into()
}
