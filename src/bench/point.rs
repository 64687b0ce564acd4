//! Points: a run's steady values, and the table they are read from.

use std::collections::BTreeMap;

use serde::Serialize;

use super::error::{BenchError, Fault, Finding, Place, Severity};
use super::table::{Table, clip};
use crate::quantity::{Dimension, Unit};

/// What a column of a points table measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    /// Dry bulb of the air entering the evaporator side, degC.
    IntakeTemp,
    /// Its relative humidity, fraction.
    IntakeRh,
    /// Dry bulb of the air leaving the evaporator side, degC.
    OutletTemp,
    /// Its relative humidity, fraction.
    OutletRh,
    /// Dry bulb of the air entering the condenser side, degC.
    AmbientTemp,
    /// Volume flow on the evaporator side, m3/h.
    Airflow,
    /// Air speed in the duct, m/s.
    AirSpeed,
    /// Supply voltage at the unit, V.
    Voltage,
    /// Supply current, A.
    Current,
    /// Draw, W.
    Power,
    /// Air pressure, Pa.
    Pressure,
    /// Condensate collected per time, kg/h.
    Condensate,
}

impl Channel {
    /// All channels, in the order of a points table.
    pub const ALL: [Channel; 12] = [
        Channel::IntakeTemp,
        Channel::IntakeRh,
        Channel::OutletTemp,
        Channel::OutletRh,
        Channel::AmbientTemp,
        Channel::Airflow,
        Channel::AirSpeed,
        Channel::Voltage,
        Channel::Current,
        Channel::Power,
        Channel::Pressure,
        Channel::Condensate,
    ];

    /// The column's name in tables and in `measures = […]`.
    pub fn name(self) -> &'static str {
        match self {
            Channel::IntakeTemp => "intake_temp",
            Channel::IntakeRh => "intake_rh",
            Channel::OutletTemp => "outlet_temp",
            Channel::OutletRh => "outlet_rh",
            Channel::AmbientTemp => "ambient_temp",
            Channel::Airflow => "airflow",
            Channel::AirSpeed => "air_speed",
            Channel::Voltage => "voltage",
            Channel::Current => "current",
            Channel::Power => "power",
            Channel::Pressure => "pressure",
            Channel::Condensate => "condensate",
        }
    }

    /// The channel with this name.
    pub fn from_name(name: &str) -> Option<Channel> {
        Channel::ALL.into_iter().find(|c| c.name() == name)
    }

    /// What kind of unit its column needs.
    pub fn dimension(self) -> Dimension {
        match self {
            Channel::IntakeTemp | Channel::OutletTemp | Channel::AmbientTemp => {
                Dimension::Temperature
            }
            Channel::IntakeRh | Channel::OutletRh => Dimension::Fraction,
            Channel::Airflow => Dimension::Flow,
            Channel::AirSpeed => Dimension::Speed,
            Channel::Voltage => Dimension::Voltage,
            Channel::Current => Dimension::Current,
            Channel::Power => Dimension::Power,
            Channel::Pressure => Dimension::Pressure,
            Channel::Condensate => Dimension::MassRate,
        }
    }

    /// Values that a bench can show, in base units; anything else is a slip of unit or sign.
    /// Common practice, no source: wide enough for any room, cab or heated duct.
    fn plausible(self) -> (f64, f64, &'static str) {
        match self {
            Channel::IntakeTemp | Channel::OutletTemp | Channel::AmbientTemp => {
                (-40.0, 90.0, "an air temperature between -40 and 90 degC")
            }
            Channel::IntakeRh | Channel::OutletRh => {
                (0.0, 1.05, "a relative humidity of 0 to 100 %")
            }
            Channel::Airflow => (1e-9, 1e6, "an airflow above zero"),
            Channel::AirSpeed => (1e-9, 200.0, "an air speed above zero"),
            Channel::Voltage => (1e-9, 2000.0, "a supply voltage above zero"),
            Channel::Current => (1e-12, 1e5, "a supply current above zero"),
            Channel::Power => (1e-12, 1e7, "a draw above zero"),
            Channel::Pressure => (2e4, 2e5, "an air pressure between 200 and 2000 hPa"),
            Channel::Condensate => (0.0, 1e3, "a condensate rate of zero or more"),
        }
    }
}

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

/// Reads the points from a table, collecting every fault before giving up.
///
/// # Errors
/// [`BenchError::Faults`] with the place of each: a missing or unitless column, an unknown kind, a repeated
/// run name, a cell that is no number, an implausible value, a run without draw, a contradiction between power, voltage and current.
pub fn read_points(table: &Table, findings: &mut Vec<Finding>) -> Result<Vec<Point>, BenchError> {
    let layout = Layout::of(table, findings)?;
    let mut faults = Vec::new();
    let mut points: Vec<Point> = Vec::with_capacity(table.rows.len());
    let mut first_lines: BTreeMap<String, usize> = BTreeMap::new();
    for (line, cells) in &table.rows {
        match layout.point(table, *line, cells, &mut faults) {
            Some(point) => {
                if let Some(first) = first_lines.get(&point.run) {
                    faults.push(
                        Fault::new(
                            table.place(*line, layout.run.unwrap_or(0)),
                            format!(
                                "the run `{}` again (first on line {first})",
                                clip(&point.run)
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
        Ok(points)
    } else {
        Err(BenchError::Faults(faults))
    }
}

/// Where each thing stands in a points table.
struct Layout {
    run: Option<usize>,
    kind: Option<usize>,
    mode: Option<usize>,
    fan: Option<usize>,
    block: Option<usize>,
    order: Option<usize>,
    values: Vec<(usize, Channel, Unit)>,
    own_u: Vec<(usize, Channel, Unit)>,
}

impl Layout {
    fn of(table: &Table, findings: &mut Vec<Finding>) -> Result<Layout, BenchError> {
        let mut layout = Layout {
            run: None,
            kind: None,
            mode: None,
            fan: None,
            block: None,
            order: None,
            values: Vec::new(),
            own_u: Vec::new(),
        };
        let mut faults = Vec::new();
        for (i, column) in table.columns.iter().enumerate() {
            let slot = match column.name.as_str() {
                "run" => Some(&mut layout.run),
                "kind" => Some(&mut layout.kind),
                "mode" => Some(&mut layout.mode),
                "fan" => Some(&mut layout.fan),
                "block" => Some(&mut layout.block),
                "order" => Some(&mut layout.order),
                _ => None,
            };
            if let Some(slot) = slot {
                *slot = Some(i);
                continue;
            }
            let place = Place::at(&table.file, table.heading_line, column.number);
            let (base, is_u) = match column.name.strip_prefix("u_") {
                Some(base) => (base, true),
                None => (column.name.as_str(), false),
            };
            let Some(channel) = Channel::from_name(base) else {
                findings.push(kept_aside(&column.name, &place));
                continue;
            };
            match &column.unit {
                None => faults.push(Fault::new(
                    place,
                    format!("the heading `{}` without a unit", column.name),
                    format!(
                        "a unit in square brackets, such as `{} [{}]`",
                        column.name,
                        example_unit(channel, is_u)
                    ),
                )),
                Some(unit) => {
                    let want = channel.dimension();
                    if !unit.measures(want) {
                        faults.push(Fault::new(
                            place,
                            format!("the unit [{}] under `{}`", unit.symbol(), column.name),
                            format!(
                                "a unit of {}, such as [{}]",
                                want.words(),
                                example_unit(channel, is_u)
                            ),
                        ));
                    } else if is_u {
                        layout.own_u.push((i, channel, *unit));
                    } else {
                        layout.values.push((i, channel, *unit));
                    }
                }
            }
        }
        let has = |c: Channel| layout.values.iter().any(|v| v.1 == c);
        let heading = Place::line(&table.file, table.heading_line);
        if faults.is_empty() && layout.run.is_none() {
            faults.push(Fault::new(
                heading.clone(),
                "no column `run`",
                "a column `run` that names each run",
            ));
        }
        if faults.is_empty() && layout.fan.is_none() {
            faults.push(Fault::new(
                heading.clone(),
                "no column `fan`",
                "a column `fan` with each run's fan level",
            ));
        }
        if faults.is_empty()
            && !has(Channel::Power)
            && !(has(Channel::Voltage) && has(Channel::Current))
        {
            faults.push(
                Fault::new(
                    heading,
                    "no draw",
                    "a column `power [W]`, or `voltage [V]` and `current [A]`",
                )
                .remedy("name the columns as written here; others are kept aside"),
            );
        }
        if faults.is_empty() {
            Ok(layout)
        } else {
            Err(BenchError::Faults(faults))
        }
    }

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
        let run = text(self.run).to_owned();
        if run.is_empty() {
            faults.push(Fault::new(
                table.place(line, self.run.unwrap_or(0)),
                "an empty run name",
                "a name for the run",
            ));
        }
        let fan = text(self.fan).to_owned();
        if fan.is_empty() && kind != Kind::Standby {
            faults.push(Fault::new(
                table.place(line, self.fan.unwrap_or(0)),
                format!("no fan level for the {} run `{}`", kind.name(), clip(&run)),
                "the fan level, a number or a word",
            ));
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
                            format!("{cell} {} under `{}`", unit.symbol(), channel.name()),
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
                Ok(Some(_)) => faults.push(Fault::new(
                    table.place(line, *i),
                    format!("{cell} under `u_{}`", channel.name()),
                    "a standard uncertainty of zero or more",
                )),
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
            (None, None) => faults.push(Fault::new(
                place,
                format!("no draw for the run `{}`", clip(&point.run)),
                "a power, or a voltage and a current",
            )),
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
    }
}

fn example_unit(channel: Channel, _uncertainty: bool) -> &'static str {
    match channel.dimension() {
        Dimension::Temperature => "degC",
        Dimension::Fraction => "%",
        Dimension::Flow => "m3/h",
        Dimension::Speed => "m/s",
        Dimension::Voltage => "V",
        Dimension::Current => "A",
        Dimension::Power => "W",
        Dimension::Pressure => "hPa",
        Dimension::MassRate => "g/h",
        _ => "unit",
    }
}

/// Reads a run's kind; empty means cooling.
pub(super) fn read_kind(cell: &str, place: Place) -> Result<Kind, Box<Fault>> {
    match cell.to_ascii_lowercase().as_str() {
        "" | "cooling" => Ok(Kind::Cooling),
        "fan-only" | "fan only" | "fan_only" => Ok(Kind::FanOnly),
        "standby" => Ok(Kind::Standby),
        other => Err(Box::new(Fault::new(
            place,
            format!("the kind `{}`", clip(other)),
            "`cooling`, `fan-only` or `standby`",
        ))),
    }
}

pub(super) fn kept_aside(name: &str, place: &Place) -> Finding {
    let known = ["run", "kind", "mode", "fan", "block", "order"];
    let near = Channel::ALL
        .iter()
        .map(|c| c.name())
        .chain(known)
        .map(|k| (strsim::damerau_levenshtein(k, name), k))
        .min();
    let hint = match near {
        Some((distance, k)) if distance <= 2 => format!("; did you mean `{k}`?"),
        _ => String::new(),
    };
    Finding::new(
        Severity::Note,
        "column-kept-aside",
        format!("the column `{}` is not used{hint}", clip(name)),
    )
    .at(place)
}
