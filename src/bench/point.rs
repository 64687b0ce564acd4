//! Points: a run's steady values, and the table they are read from.

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, HashMap};

use serde::Serialize;

use super::channel::Channel;
use super::duct::FlowFrom;
use super::error::{BenchError, Fault, Finding, MOST_FAULTS, Place, Severity};
use super::layout::Layout;
use super::table::Table;
use super::table::error_value;
use super::text::{clip, did_you_mean};
use crate::quantity::{Dimension, Said};

/// What a run was for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Compressor and blower running.
    Cooling,
    /// Blower running, compressor off.
    FanOnly,
    /// Neither running.
    Standby,
}

impl Kind {
    /// The word used in tables.
    pub fn name(self) -> &'static str {
        match self {
            Kind::Cooling => "cooling",
            Kind::FanOnly => "fan-only",
            Kind::Standby => "standby",
        }
    }
}

/// A run's steady-state values in base units (degC, W, V, A, m3/h, m/s, Pa, fraction, kg/h).
#[derive(Clone, Debug)]
pub struct Point {
    /// The run's name.
    pub run: String,
    /// What the run was for.
    pub kind: Kind,
    /// Mode, empty for fan-only and standby runs or where the unit has one mode.
    pub mode: String,
    /// Fan level as written; empty where there is none.
    pub fan: String,
    /// Runs done together.
    pub block: Option<String>,
    /// Place in the order of testing.
    pub order: Option<f64>,
    /// Line in the points table.
    pub line: usize,
    /// Where its airflow comes from; none where it has none.
    pub flow_from: Option<FlowFrom>,
    values: [Option<f64>; Channel::ALL.len()],
    u: BTreeMap<Channel, f64>,
}

impl Point {
    /// The value of a channel in base units.
    pub fn get(&self, channel: Channel) -> Option<f64> {
        self.values.get(channel as usize).copied().flatten()
    }

    /// The run's own standard uncertainty of a channel, where the table gives one (`u_NAME`).
    pub fn own_u(&self, channel: Channel) -> Option<f64> {
        self.u.get(&channel).copied()
    }

    /// Draw in W; every point has one.
    pub fn draw_w(&self) -> f64 {
        self.get(Channel::Power).unwrap_or(f64::NAN)
    }

    /// Intake dry bulb, degC.
    pub fn intake_c(&self) -> Option<f64> {
        self.get(Channel::IntakeTemp)
    }

    /// Ambient dry bulb, degC.
    pub fn ambient_c(&self) -> Option<f64> {
        self.get(Channel::AmbientTemp)
    }

    /// Airflow, m3/h.
    pub fn airflow_m3h(&self) -> Option<f64> {
        self.get(Channel::Airflow)
    }

    pub(super) fn set(&mut self, channel: Channel, value: f64) {
        if let Some(slot) = self.values.get_mut(channel as usize) {
            *slot = Some(value);
        }
    }
}

/// How far `voltage × current` may stray from `power` before it is called a contradiction:
/// meters of a few per cent and readings of three digits stay inside. Common practice, no source.
const POWER_MISMATCH_RELATIVE: f64 = 0.05;
const POWER_MISMATCH_ABSOLUTE_W: f64 = 1.0;

/// A cooling run draws more than this, W; figures in kW under a heading in W come out below. Common practice, no source.
const LEAST_COOLING_DRAW_W: f64 = 1.0;
/// The longest name that tables and figures can show.
const LONGEST_NAME: usize = 100;

/// Reads the points from a table, collecting every fault before giving up.
///
/// # Errors
/// [`BenchError::Faults`] with the place of each: a missing or unitless column, an unknown kind, a repeated
/// run name, a cell that is no number, an implausible value, a run without draw, a contradiction between power, voltage and current.
pub fn read_points(table: &Table, findings: &mut Vec<Finding>) -> Result<Vec<Point>, BenchError> {
    if let Some(fault) = super::blank::in_table(table) {
        return Err(BenchError::Blanks(vec![fault]));
    }
    let layout = Layout::of(table, findings)?;
    let mut faults = Vec::new();
    let mut points: Vec<Point> = Vec::with_capacity(table.rows.len());
    let mut first_lines: BTreeMap<String, usize> = BTreeMap::new();
    for (line, cells) in &table.rows {
        if faults.len() >= MOST_FAULTS {
            break;
        }
        match layout.point(table, *line, cells, &mut faults) {
            Some(point) => {
                if let Some(first) = first_lines.get(&point.run) {
                    faults.push(
                        Fault::new(
                            table.place(*line, layout.run.unwrap_or(0)),
                            format!(
                                "the run `{}` again (first on {})",
                                clip(&point.run),
                                Place::line(&table.file, *first).spot()
                            ),
                            "each run once: a run is the experimental unit",
                        )
                        .remedy("give repeats names of their own"),
                    );
                } else {
                    first_lines.insert(point.run.clone(), *line);
                    points.push(point);
                }
            }
            None => continue,
        }
    }
    if faults.is_empty() {
        too_many(table, &layout, &points, &mut faults);
    }
    if !faults.is_empty() {
        return Err(BenchError::Faults(faults));
    }
    copies(table, &points, findings);
    cold_intake(table, &points, findings);
    Ok(points)
}

/// Modes and fan levels that a bench can have. Common practice, no source: units offer two to six modes and up to some ten levels;
/// far more is a column of another meaning, such as the run's name, under `mode`.
const MOST_MODES: usize = 24;
const MOST_LEVELS: usize = 60;

fn too_many(table: &Table, layout: &Layout, points: &[Point], faults: &mut Vec<Fault>) {
    type Name = fn(&Point) -> &str;
    let counted: [(Option<usize>, &str, usize, Name); 2] = [
        (layout.mode, "modes", MOST_MODES, |p| &p.mode),
        (layout.fan, "fan levels", MOST_LEVELS, |p| &p.fan),
    ];
    for (column, what, most, name) in counted {
        let mut names: Vec<&str> = points.iter().map(name).collect();
        names.sort_unstable();
        names.dedup();
        if let (Some(column), true) = (column, names.len() > most) {
            faults.push(
                Fault::new(
                    table.place(table.heading_line, column),
                    format!("{} different {what}", names.len()),
                    format!("at most {most} {what}"),
                )
                .remedy("a mode or level is a setting of the unit that several runs share; the run's own name goes under `run`"),
            );
        }
    }
}

/// Cooling runs whose every reading is the same as another's: a copied row is no repeat.
fn copies(table: &Table, points: &[Point], findings: &mut Vec<Finding>) {
    /// Fewer readings than this can agree by chance.
    const FEWEST_READINGS: usize = 4;
    let mut seen: HashMap<(&str, &str, Vec<Option<u64>>), &Point> = HashMap::new();
    let mut copied: Vec<(&Point, &Point)> = Vec::new();
    for p in points.iter().filter(|p| p.kind == Kind::Cooling) {
        if p.values.iter().flatten().count() < FEWEST_READINGS {
            continue;
        }
        let bits = p.values.iter().map(|v| v.map(f64::to_bits)).collect();
        match seen.entry((&p.mode, &p.fan, bits)) {
            Entry::Occupied(first) => copied.push((first.get(), p)),
            Entry::Vacant(place) => {
                place.insert(p);
            }
        }
    }
    if let Some((first, copy)) = copied.first() {
        let more = match copied.len() - 1 {
            0 => String::new(),
            n => format!(", and {n} more like them,"),
        };
        findings.push(
            Finding::new(
                Severity::Warning,
                "copied-runs",
                format!(
                    "The runs `{}` and `{}`{more} agree in every reading. A copied row is no repeat: it makes the scatter look smaller than it is.",
                    clip(&first.run),
                    clip(&copy.run)
                ),
            )
            .at(&Place::line(&table.file, copy.line)),
        );
    }
}

/// Under this intake a small unit is not run for cooling, degC; degC readings under a heading in degF come out there.
/// Common practice, no source.
const COLD_INTAKE_C: f64 = 10.0;

fn cold_intake(table: &Table, points: &[Point], findings: &mut Vec<Finding>) {
    let cold: Vec<&Point> = points
        .iter()
        .filter(|p| p.kind == Kind::Cooling && p.intake_c().is_some_and(|t| t < COLD_INTAKE_C))
        .collect();
    if let Some(first) = cold.first() {
        let finding = Finding::new(
            Severity::Warning,
            "cold-intake",
            Said::of(|units| {
                format!(
                    "{} cooling run{} with an intake below {}, the first `{}` at {}. Is the heading's unit the one that was read?",
                    cold.len(),
                    if cold.len() == 1 { "" } else { "s" },
                    units.shown(Dimension::Temperature, COLD_INTAKE_C, 0),
                    clip(&first.run),
                    units.shown(
                        Dimension::Temperature,
                        first.intake_c().unwrap_or_default(),
                        1
                    )
                )
            }),
        );
        findings.push(finding.at(&Place::line(&table.file, first.line)));
    }
}

impl Layout {
    fn point(
        &self,
        table: &Table,
        line: usize,
        cells: &[String],
        faults: &mut Vec<Fault>,
    ) -> Option<Point> {
        let text = |slot: Option<usize>| slot.and_then(|i| cells.get(i)).map_or("", String::as_str);
        let before = faults.len();
        let kind = match read_kind(text(self.kind), table.place(line, self.kind.unwrap_or(0))) {
            Ok(kind) => kind,
            Err(f) => {
                faults.push(*f);
                return None;
            }
        };
        for (slot, what) in [
            (self.run, "run"),
            (self.mode, "mode"),
            (self.fan, "fan"),
            (self.block, "block"),
        ] {
            let place = table.place(line, slot.unwrap_or(0));
            faults.extend(error_value(place, text(slot), what));
            let length = text(slot).chars().count();
            if length > LONGEST_NAME {
                faults.push(
                    Fault::new(
                        table.place(line, slot.unwrap_or(0)),
                        format!("`{}` under `{what}`, {length} characters", clip(text(slot))),
                        format!("a name of at most {LONGEST_NAME} characters"),
                    )
                    .remedy("give it a short name"),
                );
            }
        }
        let run = text(self.run).to_owned();
        if run.is_empty() {
            faults.push(
                Fault::new(
                    table.place(line, self.run.unwrap_or(0)),
                    "an empty run name",
                    "a name for the run",
                )
                .remedy("number the runs if they have no names"),
            );
        }
        let fan = text(self.fan).to_owned();
        if fan.is_empty() && kind != Kind::Standby {
            faults.push(
                Fault::new(
                    table.place(line, self.fan.unwrap_or(0)),
                    format!("no fan level for the {} run `{}`", kind.name(), clip(&run)),
                    "the fan level, a number or a word",
                )
                .remedy("fan levels tell settings apart; a unit with one level has level 1"),
            );
        }
        let mut point = Point {
            run,
            kind,
            mode: text(self.mode).to_owned(),
            fan,
            block: Some(text(self.block))
                .filter(|b| !b.is_empty())
                .map(str::to_owned),
            order: None,
            line,
            flow_from: None,
            values: [None; Channel::ALL.len()],
            u: BTreeMap::new(),
        };
        if let Some(i) = self.order {
            match table.number(line, i, text(self.order)) {
                Ok(v) => point.order = v,
                Err(f) => faults.push(*f),
            }
        }
        for (i, channel, unit) in &self.values {
            let cell = cells.get(*i).map_or("", String::as_str);
            match table.number(line, *i, cell) {
                Ok(None) => {}
                Ok(Some(v)) => {
                    let si = unit.to_si(v);
                    let (low, high, words) = channel.plausible();
                    let standby_zero = kind == Kind::Standby && si == 0.0;
                    if (si < low || si > high) && !standby_zero {
                        let fault = Fault::new(
                            table.place(line, *i),
                            format!(
                                "{} {} under `{}`",
                                clip(cell),
                                unit.symbol(),
                                channel.name()
                            ),
                            words,
                        );
                        faults.push(if si < 0.0 && matches!(channel, Channel::Power | Channel::Current) {
                            fault.remedy("where the meter counts discharge as negative, change the sign of the column")
                        } else {
                            fault.remedy("check the unit in the heading and the reading; leave the cell empty where the reading is bad")
                        });
                    } else {
                        point.set(*channel, si);
                    }
                }
                Err(f) => faults.push(*f),
            }
        }
        for (i, channel, unit) in &self.own_u {
            let cell = cells.get(*i).map_or("", String::as_str);
            match table.number(line, *i, cell) {
                Ok(None) => {}
                Ok(Some(v)) if v >= 0.0 => {
                    point.u.insert(*channel, unit.difference_to_si(v));
                }
                Ok(Some(_)) => faults.push(
                    Fault::new(
                        table.place(line, *i),
                        format!("{} under `u_{}`", clip(cell), channel.name()),
                        "a standard uncertainty of zero or more",
                    )
                    .remedy("leave the cell empty where it is not known"),
                ),
                Err(f) => faults.push(*f),
            }
        }
        if faults.len() == before {
            self.settle_draw(table, &mut point, faults);
        }
        (faults.len() == before).then_some(point)
    }

    /// Fills in the draw from voltage and current, or checks that the three agree.
    fn settle_draw(&self, table: &Table, point: &mut Point, faults: &mut Vec<Fault>) {
        let place = Place::line(&table.file, point.line);
        let product = match (point.get(Channel::Voltage), point.get(Channel::Current)) {
            (Some(v), Some(i)) => Some(v * i),
            _ => None,
        };
        match (point.get(Channel::Power), product) {
            (None, Some(p)) => point.set(Channel::Power, p),
            (None, None) => faults.push(
                Fault::new(
                    place,
                    format!("no draw for the run `{}`", clip(&point.run)),
                    "a power, or a voltage and a current",
                )
                .remedy("a run that was not metered cannot be a point; remove its row"),
            ),
            (Some(p), Some(vi)) => {
                let allowed = POWER_MISMATCH_RELATIVE * p.max(vi) + POWER_MISMATCH_ABSOLUTE_W;
                if (p - vi).abs() > allowed {
                    faults.push(
                        Fault::new(
                            place,
                            format!(
                                "power {p:.1} W, but voltage × current {vi:.1} W, in the run `{}`",
                                clip(&point.run)
                            ),
                            format!("two figures that agree within {allowed:.1} W"),
                        )
                        .remedy("find out which reading is right and leave the others empty"),
                    );
                }
            }
            (Some(_), None) => {}
        }
        if let (Kind::Cooling, Some(p)) = (point.kind, point.get(Channel::Power))
            && p < LEAST_COOLING_DRAW_W
        {
            faults.push(
                Fault::new(
                    Place::line(&table.file, point.line),
                    format!("a draw of {p} W in the cooling run `{}`", clip(&point.run)),
                    "a cooling run's draw above 1 W",
                )
                .remedy("figures in kW go under `power [kW]`; a run without compressor and blower is `standby`"),
            );
        }
    }
}

/// Reads a run's kind; empty means cooling.
pub(super) fn read_kind(cell: &str, place: Place) -> Result<Kind, Box<Fault>> {
    match cell.to_ascii_lowercase().as_str() {
        "" | "cooling" => Ok(Kind::Cooling),
        "fan-only" | "fan only" | "fan_only" => Ok(Kind::FanOnly),
        "standby" => Ok(Kind::Standby),
        other => {
            let near = did_you_mean(other, ["cooling", "fan-only", "standby"]);
            let found = format!("the kind `{}`{near}", clip(other));
            Err(Box::new(
                Fault::new(place, found, "`cooling`, `fan-only` or `standby`")
                    .remedy("an empty cell means `cooling`"),
            ))
        }
    }
}
