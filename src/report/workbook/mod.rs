//! A write-up's numbers as one workbook: a sheet for each table, one of equations that compute, one of methods, one of notes.
//!
//! Numbers are numbers, in full; units stand in the headings, as in CSV. Whatever comes from a bench is written as text and stays text:
//! the only formulas are those of the fitted equations.

mod styles;

use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, Formula, Workbook, Worksheet, XlsxError,
};

use super::document::{Block, Document};
use super::tables::{Cell, Kind, Table};
use super::words::visible;
use crate::fit::forms::{Equation, VARIABLES, Variable};
use styles::{Styles, acts, clipped};

/// The fitted equations, and the conditions that they are first shown at.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Equations {
    /// What each is of, with its unit (`draw [W]`), and the equation.
    pub list: Vec<(String, Equation)>,
    /// Intake, degC.
    pub intake_c: f64,
    /// Ambient, degC.
    pub ambient_c: f64,
    /// Airflow, m3/h.
    pub flow_m3h: f64,
}

impl Equations {
    fn at(&self, variable: &Variable) -> f64 {
        match variable.name {
            "intake_degC" => self.intake_c,
            "ambient_degC" => self.ambient_c,
            _ => self.flow_m3h,
        }
    }
}

/// A section whose text stands on a sheet of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TextSheet<'a> {
    /// Name of the sheet.
    pub name: &'a str,
    /// Titles of its sections.
    pub sections: &'a [&'a str],
}

/// Characters that a sheet's name holds at most.
const LONGEST_NAME: usize = 31;
/// Widest column of a table, in characters; and of running text.
const WIDEST: usize = 44;
const TEXT_WIDTH: f64 = 110.0;

/// The workbook as bytes: the same for the same document.
///
/// `tables` stand in order, each with a name; names are shortened to what a sheet may be called, and told apart by what stands first in them.
///
/// # Errors
/// [`XlsxError`] where the document does not fit a workbook (more than 1 048 576 rows).
pub fn workbook(
    document: &Document,
    tables: &[(String, &Table)],
    equations: &Equations,
    texts: &[TextSheet<'_>],
) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // A fixed moment: the file tells what it was made from, not when.
    let moment = ExcelDateTime::from_ymd(2000, 1, 1)?;
    book.set_properties(
        &DocProperties::new()
            .set_title(visible(&document.title))
            .set_creation_datetime(&moment),
    );
    let styles = Styles::new();
    let names: Vec<String> = tables.iter().map(|(name, _)| sheet_name(name)).collect();
    contents(
        book.add_worksheet().set_name("contents")?,
        document,
        tables,
        &names,
        &styles,
    )?;
    for ((_, table), name) in tables.iter().zip(&names) {
        sheet(book.add_worksheet().set_name(name)?, table, &styles)?;
    }
    if !equations.list.is_empty() {
        formulas(
            book.add_worksheet().set_name("equations")?,
            equations,
            &styles,
        )?;
    }
    for text in texts {
        running(
            book.add_worksheet().set_name(text.name)?,
            document,
            text.sections,
            &styles,
        )?;
    }
    book.save_to_buffer()
}

fn sheet_name(name: &str) -> String {
    let own: String = name
        .chars()
        .filter(|c| !"[]:*?/\\'".contains(*c) && !c.is_control())
        .take(LONGEST_NAME)
        .collect();
    own.trim_end_matches('-').to_owned()
}

fn row_of(i: usize) -> u32 {
    u32::try_from(i).unwrap_or(u32::MAX)
}

fn column_of(i: usize) -> u16 {
    u16::try_from(i).unwrap_or(u16::MAX)
}

/// What the workbook answers, and what stands on each sheet.
fn contents(
    to: &mut Worksheet,
    document: &Document,
    tables: &[(String, &Table)],
    names: &[String],
    styles: &Styles,
) -> Result<(), XlsxError> {
    to.set_column_width(0, 34.0)?;
    to.set_column_width(1, TEXT_WIDTH)?;
    let mut row = 0;
    let mut line = |first: &str, second: &str, style: &Format| -> Result<(), XlsxError> {
        to.write_string_with_format(row, 0, clipped(first), style)?;
        long_text(to, row, second, styles)?;
        row += 1;
        Ok(())
    };
    line("title", &document.title, &styles.title)?;
    for sentence in document.lead.iter().chain(&document.foot) {
        line("", sentence, &styles.text)?;
    }
    line("sheet", "what it holds", &styles.title)?;
    for ((_, table), name) in tables.iter().zip(names) {
        let note = if table.note.is_empty() {
            String::new()
        } else {
            format!(". {}", table.note)
        };
        line(name, &format!("{}{note}", table.title), &styles.text)?;
    }
    Ok(())
}

/// One table: headings in the first row, each with its unit; an interval takes two columns.
fn sheet(to: &mut Worksheet, table: &Table, styles: &Styles) -> Result<(), XlsxError> {
    let mut at = 0;
    let mut firsts = Vec::new();
    for (i, column) in table.columns.iter().enumerate() {
        firsts.push(at);
        let unit = if column.unit.is_empty() {
            String::new()
        } else {
            format!(" [{}]", column.unit)
        };
        let headings = match column.kind {
            Kind::Interval => vec![
                format!("{} low{unit}", column.name),
                format!("{} high{unit}", column.name),
            ],
            Kind::Text | Kind::Number => vec![format!("{}{unit}", column.name)],
        };
        let longest = table
            .rows()
            .iter()
            .filter_map(|r| r.get(i))
            .map(|c| match c {
                Cell::Text(t) => t.chars().count(),
                _ => 8,
            });
        let wide = longest
            .chain([column.name.chars().count().min(16)])
            .max()
            .unwrap_or(8);
        for heading in headings {
            to.write_string_with_format(0, column_of(at), clipped(&heading), &styles.heading)?;
            to.set_column_width(column_of(at), (wide + 2).min(WIDEST) as f64)?;
            at += 1;
        }
    }
    to.set_freeze_panes(1, 0)?;
    for (i, cells) in table.rows().iter().enumerate() {
        let row = row_of(i + 1);
        for (cell, first) in cells.iter().zip(&firsts) {
            let column = column_of(*first);
            match cell {
                Cell::Absent => {}
                Cell::Text(text) => words(to, row, column, text, styles)?,
                Cell::Number { value, decimals } => {
                    number(to, row, column, *value, *decimals, styles)?
                }
                Cell::Interval {
                    low,
                    high,
                    decimals,
                } => {
                    number(to, row, column, *low, *decimals, styles)?;
                    number(to, row, column + 1, *high, *decimals, styles)?;
                }
            }
        }
    }
    Ok(())
}

/// A fan level that is a whole number is written as one; other words as text.
fn words(
    to: &mut Worksheet,
    row: u32,
    column: u16,
    text: &str,
    styles: &Styles,
) -> Result<(), XlsxError> {
    let text = clipped(text);
    match text.parse::<i32>() {
        Ok(whole) if whole.to_string() == text => {
            number(to, row, column, f64::from(whole), 0, styles)
        }
        _ if text.is_empty() => Ok(()),
        _ => {
            let style = styles.of_text(&text);
            to.write_string_with_format(row, column, text, style)?;
            Ok(())
        }
    }
}

fn number(
    to: &mut Worksheet,
    row: u32,
    column: u16,
    value: f64,
    decimals: u8,
    styles: &Styles,
) -> Result<(), XlsxError> {
    // An open end has no number.
    if let (true, Some(style)) = (value.is_finite(), styles.number(decimals)) {
        to.write_number_with_format(row, column, value, style)?;
    }
    Ok(())
}

/// Equations that compute: conditions in row 2, a formula for each equation below.
fn formulas(to: &mut Worksheet, equations: &Equations, styles: &Styles) -> Result<(), XlsxError> {
    const FIRST: usize = 5;
    for (i, v) in VARIABLES.iter().enumerate() {
        let (name, unit) = v.words.rsplit_once(", ").unwrap_or((v.words, ""));
        let column = column_of(i);
        to.write_string_with_format(0, column, format!("{name} [{unit}]"), &styles.heading)?;
        to.write_number_with_format(1, column, equations.at(v), &styles.entry)?;
        to.set_column_width(column, 16.0)?;
    }
    to.write_string_with_format(
        2,
        0,
        "Change the three cells above; the figures below follow. The most credible curves alone, without intervals: inside the tested range only.",
        &styles.text,
    )?;
    for (i, heading) in ["mode", "fan", "of", "value", "equation", "LaTeX"]
        .into_iter()
        .enumerate()
    {
        to.write_string_with_format(row_of(FIRST - 1), column_of(i), heading, &styles.heading)?;
    }
    to.set_column_width(4, WIDEST as f64)?;
    to.set_column_width(5, WIDEST as f64)?;
    for (i, (of, equation)) in equations.list.iter().enumerate() {
        let row = row_of(FIRST + i);
        words(to, row, 0, &equation.modes, styles)?;
        words(to, row, 1, &equation.fan, styles)?;
        words(to, row, 2, of, styles)?;
        let value = equation.value(|v| equations.at(v));
        if let (Some(text), Some(style)) = (equation.spreadsheet(), styles.number(1))
            && value.is_finite()
        {
            let formula = Formula::new(text).set_result(value.to_string());
            to.write_formula_with_format(row, 3, formula, style)?;
        }
        words(to, row, 4, &equation.text, styles)?;
        words(to, row, 5, &equation.latex().unwrap_or_default(), styles)?;
    }
    Ok(())
}

/// The text of some sections, a paragraph a row.
fn running(
    to: &mut Worksheet,
    document: &Document,
    sections: &[&str],
    styles: &Styles,
) -> Result<(), XlsxError> {
    to.set_column_width(0, 26.0)?;
    to.set_column_width(1, TEXT_WIDTH)?;
    let mut row = 0;
    let mut line = |first: &str, second: &str| -> Result<(), XlsxError> {
        to.write_string_with_format(
            row,
            0,
            clipped(first),
            if acts(first) {
                &styles.quoted
            } else {
                &styles.title
            },
        )?;
        long_text(to, row, second, styles)?;
        row += 1;
        Ok(())
    };
    for section in document
        .sections
        .iter()
        .filter(|s| sections.contains(&s.title.as_str()))
    {
        let mut first = section.title.as_str();
        for block in &section.blocks {
            match block {
                Block::Text(text) | Block::Finding(text) | Block::Heading(text) => {
                    line(std::mem::take(&mut first), text)?;
                }
                Block::List(items) | Block::Caution(items) => {
                    for item in items {
                        line(std::mem::take(&mut first), item)?;
                    }
                }
                Block::Terms(terms) => {
                    line(std::mem::take(&mut first), "")?;
                    for (term, meaning) in terms {
                        line(term, meaning)?;
                    }
                }
                Block::Code(_) | Block::Table(_) | Block::Figure(_) | Block::Explorer(_) => {}
            }
        }
    }
    Ok(())
}

/// Writes long text into the second column, wrapped; text that would act as a formula stays text.
fn long_text(to: &mut Worksheet, row: u32, text: &str, styles: &Styles) -> Result<(), XlsxError> {
    let long = if acts(text) {
        &styles.wrapped_quoted
    } else {
        &styles.wrapped
    };
    to.write_string_with_format(row, 1, clipped(text), long)?;
    Ok(())
}
