//! `runs.csv`: run windows, as a table beside raw logs.

use std::collections::BTreeMap;

use super::channel::Channel;
use super::error::{BenchError, Fault, Finding, Place};
use super::layout::{kept_aside, unit_of};
use super::point::{Kind, read_kind};
use super::table::{Column, Table, clip, error_value};

/// The run windows of a bench, their times still as written.
#[derive(Clone, Debug)]
pub struct RunTable {
    /// File name, for messages.
    pub file: String,
    /// Zone of times written without one.
    pub zone: Option<String>,
    /// Where that zone stands.
    pub zone_place: Place,
    /// Unit of the `start` and `end` columns where they hold elapsed time (`start [s]`): seconds in one unit.
    pub elapsed_unit_s: Option<f64>,
    /// The runs, in table order.
    pub rows: Vec<RunRow>,
    /// Headings, with their units, of the columns that hold for the whole run (such as an airflow read by hand).
    pub constants: Vec<String>,
}

/// One run and its window.
#[derive(Clone, Debug)]
pub struct RunRow {
    /// The run's name.
    pub run: String,
    /// What it was for.
    pub kind: Kind,
    /// Its mode.
    pub mode: String,
    /// Its fan level.
    pub fan: String,
    /// Runs done together.
    pub block: String,
    /// Place in the order of testing, as written.
    pub order: String,
    /// When it starts, as written.
    pub start: String,
    /// Where that is written.
    pub start_place: Place,
    /// When it ends, as written.
    pub end: String,
    /// Where that is written.
    pub end_place: Place,
    /// Cells of [`RunTable::constants`].
    pub constants: Vec<String>,
}

impl RunTable {
    /// Reads the table; times are checked later, by the room that knows clocks.
    ///
    /// # Errors
    /// [`BenchError::Faults`] with the place of each: a missing column or cell, a repeated run, an unknown kind, a constant without a unit.
    pub fn read(
        file: &str,
        bytes: &[u8],
        zone: Option<String>,
        zone_place: Place,
        findings: &mut Vec<Finding>,
    ) -> Result<RunTable, BenchError> {
        let table = Table::open(file, bytes, findings)?;
        let file = table.file.as_str();
        if let Some(fault) = super::blank::in_table(&table) {
            return Err(BenchError::Blanks(vec![fault]));
        }
        let mut faults = Vec::new();
        let heading = |name: &str| {
            Fault::new(
                Place::line(file, table.heading_line),
                format!("no column `{name}`"),
                format!("a column `{name}`"),
            )
        };
        let column = |name: &str| table.find(name);
        let (run, start, end) = (column("run"), column("start"), column("end"));
        for (name, found) in [("run", run), ("start", start), ("end", end)] {
            if found.is_none() {
                faults.push(heading(name).remedy(
                    "a run window needs run, start and end; times such as 2026-08-25T07:00:00Z, or elapsed under `start [s]`",
                ));
            }
        }
        let (kind, mode, fan) = (column("kind"), column("mode"), column("fan"));
        let (block, order) = (column("block"), column("order"));
        let known = [run, start, end, kind, mode, fan, block, order];
        let mut constants: Vec<(usize, &Column)> = Vec::new();
        for (i, c) in table.columns.iter().enumerate() {
            if known.contains(&Some(i)) || c.name.is_empty() {
                continue;
            }
            let place = Place::at(file, table.heading_line, c.number);
            let base = c.name.strip_prefix("u_").unwrap_or(&c.name);
            match Channel::from_name(base) {
                None => findings.push(kept_aside(c, &place)),
                Some(channel) => match unit_of(c, channel, place) {
                    Ok(_) => constants.push((i, c)),
                    Err(fault) => faults.push(*fault),
                },
            }
        }
        let elapsed_unit_s = elapsed_unit(&table, start, end, &mut faults);
        if !faults.is_empty() {
            return Err(BenchError::Faults(faults));
        }
        let mut rows = Vec::with_capacity(table.rows.len());
        let mut seen: BTreeMap<String, usize> = BTreeMap::new();
        for (line, cells) in &table.rows {
            let cell =
                |slot: Option<usize>| slot.and_then(|i| cells.get(i)).cloned().unwrap_or_default();
            let place = |slot: Option<usize>| table.place(*line, slot.unwrap_or(0));
            let name = cell(run);
            if name.is_empty() {
                faults.push(Fault::new(
                    place(run),
                    "an empty run name",
                    "a name for the run",
                ));
            }
            if let Some(first) = seen.insert(name.clone(), *line) {
                faults.push(
                    Fault::new(
                        place(run),
                        format!(
                            "the run `{}` again (first on {})",
                            clip(&name),
                            Place::line(file, first).spot()
                        ),
                        "each run once",
                    )
                    .remedy("give repeats names of their own"),
                );
            }
            for (slot, what) in [
                (run, "run"),
                (mode, "mode"),
                (fan, "fan"),
                (block, "block"),
                (order, "order"),
            ] {
                faults.extend(error_value(place(slot), &cell(slot), what));
            }
            let kind = match read_kind(&cell(kind), place(kind)) {
                Ok(kind) => kind,
                Err(f) => {
                    faults.push(*f);
                    continue;
                }
            };
            for (slot, what) in [(start, "start"), (end, "end")] {
                if cell(slot).is_empty() {
                    faults.push(Fault::new(
                        place(slot),
                        format!("no {what} for the run `{}`", clip(&name)),
                        "a time",
                    ));
                }
            }
            for (i, _) in &constants {
                if let Err(f) = table.number(*line, *i, &cell(Some(*i))) {
                    faults.push(*f);
                }
            }
            rows.push(RunRow {
                run: name,
                kind,
                mode: cell(mode),
                fan: cell(fan),
                block: cell(block),
                order: cell(order),
                start: cell(start),
                start_place: place(start),
                end: cell(end),
                end_place: place(end),
                constants: constants
                    .iter()
                    .map(|(i, _)| number_text(&table, &cell(Some(*i))))
                    .collect(),
            });
        }
        if !faults.is_empty() {
            return Err(BenchError::Faults(faults));
        }
        Ok(RunTable {
            file: file.to_owned(),
            zone,
            zone_place,
            elapsed_unit_s,
            rows,
            constants: constants
                .iter()
                .map(|(_, c)| match &c.unit {
                    Some(u) => format!("{} [{}]", c.name, u.symbol()),
                    None => c.name.clone(),
                })
                .collect(),
        })
    }
}

/// A number's cell with a decimal point, whatever the table writes.
fn number_text(table: &Table, cell: &str) -> String {
    if table.decimal_comma {
        cell.replace(',', ".")
    } else {
        cell.to_owned()
    }
}

/// Seconds in one unit of `start [unit]` and `end [unit]`; none where they hold times of day.
fn elapsed_unit(
    table: &Table,
    start: Option<usize>,
    end: Option<usize>,
    faults: &mut Vec<Fault>,
) -> Option<f64> {
    let unit = |slot: Option<usize>| {
        slot.and_then(|i| table.columns.get(i))
            .and_then(|c| c.unit.map(|u| (c, u)))
    };
    for i in [start, end].into_iter().flatten() {
        if let Some(c) = table.columns.get(i)
            && let Some(unknown) = &c.unknown_unit
        {
            faults.push(Fault::new(
                Place::at(&table.file, table.heading_line, c.number),
                format!("the unit [{}] under `{}`", clip(unknown), c.name),
                "[s], [min] or [h] for elapsed time, or no unit for times of day",
            ));
        }
    }
    let units: Vec<_> = [unit(start), unit(end)].into_iter().flatten().collect();
    for (c, u) in &units {
        if !u.measures(crate::quantity::Dimension::Time) {
            faults.push(Fault::new(
                Place::at(&table.file, table.heading_line, c.number),
                format!("the unit [{}] under `{}`", u.symbol(), c.name),
                "[s], [min] or [h] for elapsed time, or no unit for times of day",
            ));
        }
    }
    match units.as_slice() {
        [] => None,
        [(_, a), (_, b)] if a == b => Some(a.to_si(1.0)),
        _ => {
            faults.push(Fault::new(
                Place::line(&table.file, table.heading_line),
                "`start` and `end` with different units",
                "one unit for both",
            ));
            None
        }
    }
}
