//! Where each thing stands in a points table.

use super::channel::Channel;
use super::error::{BenchError, Fault, Finding, Place, Severity};
use super::table::{Column, Table};
use super::text::{clip, nearest};
use crate::quantity::{Unit, UnitErrorKind};

/// Columns that name a run or its setting; they have no unit.
const NAMES: [&str; 6] = ["run", "kind", "mode", "fan", "block", "order"];

/// The columns of a points table, by index.
#[derive(Default)]
pub(super) struct Layout {
    pub run: Option<usize>,
    pub kind: Option<usize>,
    pub mode: Option<usize>,
    pub fan: Option<usize>,
    pub block: Option<usize>,
    pub order: Option<usize>,
    pub values: Vec<(usize, Channel, Unit)>,
    pub own_u: Vec<(usize, Channel, Unit)>,
}

impl Layout {
    /// Sorts a table's headings, collecting every fault before giving up. Columns that are not known are noted and kept aside.
    pub fn of(table: &Table, findings: &mut Vec<Finding>) -> Result<Layout, BenchError> {
        let mut layout = Layout::default();
        let mut faults = Vec::new();
        let mut aside = Vec::new();
        for (i, column) in table.columns.iter().enumerate() {
            if column.name.is_empty() {
                continue;
            }
            if let Some(slot) = layout.slot(&column.name) {
                *slot = Some(i);
                continue;
            }
            let place = Place::at(&table.file, table.heading_line, column.number);
            let (base, is_u) = match column.name.strip_prefix("u_") {
                Some(base) => (base, true),
                None => (column.name.as_str(), false),
            };
            let Some(channel) = Channel::from_name(base) else {
                findings.push(kept_aside(column, &place));
                aside.push(column);
                continue;
            };
            match unit_of(column, channel, place) {
                Ok(unit) if is_u => layout.own_u.push((i, channel, unit)),
                Ok(unit) => layout.values.push((i, channel, unit)),
                Err(fault) => faults.push(*fault),
            }
        }
        if faults.is_empty() {
            layout.missing(table, &aside, &mut faults);
        }
        if faults.is_empty() {
            Ok(layout)
        } else {
            Err(BenchError::Faults(faults))
        }
    }

    fn slot(&mut self, name: &str) -> Option<&mut Option<usize>> {
        match name {
            "run" => Some(&mut self.run),
            "kind" => Some(&mut self.kind),
            "mode" => Some(&mut self.mode),
            "fan" => Some(&mut self.fan),
            "block" => Some(&mut self.block),
            "order" => Some(&mut self.order),
            _ => None,
        }
    }

    /// Columns without which there are no points, and which of those kept aside may be meant.
    fn missing(&self, table: &Table, aside: &[&Column], faults: &mut Vec<Fault>) {
        let heading = || Place::line(&table.file, table.heading_line);
        let meant = |wanted: &[&str]| {
            aside
                .iter()
                .find(|c| meant_by(&c.name).is_some_and(|m| wanted.contains(&m)))
                .map(|c| (c.number, c.name.as_str()))
        };
        let remedy = |fault: Fault, wanted: &[&str], write: &str| match meant(wanted) {
            Some((number, name)) => fault.remedy(format!(
                "column {number} is headed `{}`; write {write}",
                clip(name)
            )),
            None => fault.remedy("name the columns as written here; others are kept aside"),
        };
        if self.run.is_none() {
            let fault = Fault::new(
                heading(),
                "no column `run`",
                "a column `run` that names each run",
            );
            faults.push(remedy(fault, &["run"], "`run`"));
        }
        if self.fan.is_none() {
            let fault = Fault::new(
                heading(),
                "no column `fan`",
                "a column `fan` with each run's fan level",
            );
            faults.push(remedy(fault, &["fan"], "`fan`"));
        }
        let has = |c: Channel| self.values.iter().any(|v| v.1 == c);
        let has_draw = has(Channel::Power) || (has(Channel::Voltage) && has(Channel::Current));
        if !has_draw {
            let fault = Fault::new(
                heading(),
                "no draw",
                "a column `power [W]`, or `voltage [V]` and `current [A]`",
            );
            let wanted = ["power", "voltage", "current"];
            faults.push(remedy(fault, &wanted, "name and unit like `power [W]`"));
        }
    }
}

/// The unit of a channel's column.
pub(super) fn unit_of(column: &Column, channel: Channel, place: Place) -> Result<Unit, Box<Fault>> {
    let want = channel.dimension();
    let name = clip(&column.name);
    let accepted = format!("{} in {}", want.words(), want.accepted().join(", "));
    if let Some(unknown) = &column.unknown_unit {
        let found = format!("the unit [{}] under `{name}`", clip(unknown));
        let fault = Fault::new(place, found, accepted);
        let near = Unit::parse_for(unknown, want).map_err(|e| e.kind);
        return Err(Box::new(match near {
            Err(UnitErrorKind::UnknownUnit {
                suggestion: Some(near),
            }) => fault.remedy(format!("did you mean [{near}]?")),
            _ => fault.remedy(format!(
                "convert the column to [{}]",
                channel.example_unit()
            )),
        }));
    }
    match column.unit {
        Some(unit) if unit.measures(want) => Ok(unit),
        Some(unit) => Err(Box::new(
            Fault::new(
                place,
                format!("the unit [{}] under `{name}`", unit.symbol()),
                accepted,
            )
            .remedy("correct the unit, or the column's name"),
        )),
        None => Err(Box::new(
            Fault::new(
                place,
                format!("the heading `{name}` without a unit"),
                format!(
                    "a unit in square brackets, such as `{name} [{}]`",
                    channel.example_unit()
                ),
            )
            .remedy("write the unit that the readings are in"),
        )),
    }
}

/// The known column that an unknown name may stand for: a slip of the pen, or its unit in round brackets.
fn meant_by(name: &str) -> Option<&'static str> {
    let bare = name.split('(').next().unwrap_or(name).trim();
    nearest(
        &bare.replace([' ', '-'], "_"),
        NAMES.into_iter().chain(Channel::ALL.map(Channel::name)),
    )
}

/// The note on a column that is not used.
pub(super) fn kept_aside(column: &Column, place: &Place) -> Finding {
    let name = clip(&column.name);
    // A column that was meant to be used changes the answer; one of the user's own does not.
    let (severity, hint) = match meant_by(&column.name) {
        Some(meant) => {
            let unit = Channel::from_name(meant)
                .map_or_else(String::new, |c| format!(" [{}]", c.example_unit()));
            (
                Severity::Warning,
                format!("; did you mean `{meant}{unit}`?"),
            )
        }
        None => (Severity::Note, String::new()),
    };
    Finding::new(
        severity,
        "column-kept-aside",
        format!("The column `{name}` is not used{hint}"),
    )
    .at(place)
}
