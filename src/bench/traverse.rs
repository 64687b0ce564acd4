//! Air speeds read across a duct, point by point, at each fan level.

use std::collections::{BTreeMap, BTreeSet};

use super::channel::Channel;
use super::error::{BenchError, Fault, Finding, MOST_FAULTS, Place};
use super::layout::unit_of;
use super::table::{Table, clip};

/// How the points on a line are placed. Their positions are in `air::traverse`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    /// Log-Tchebycheff: allows for the slow air near the walls. The better rule.
    LogTchebycheff,
    /// Log-linear, for round ducts only.
    LogLinear,
    /// Centres of equal areas; reads 0.5–0.9 % high in round ducts (computed for a 1/7-power profile).
    EqualArea,
}

impl Rule {
    /// All rules.
    pub const ALL: [Rule; 3] = [Rule::LogTchebycheff, Rule::LogLinear, Rule::EqualArea];

    /// Its name in `bench.toml`.
    pub fn name(self) -> &'static str {
        match self {
            Rule::LogTchebycheff => "log-tchebycheff",
            Rule::LogLinear => "log-linear",
            Rule::EqualArea => "equal-area",
        }
    }

    /// The rule with this name.
    pub fn from_name(name: &str) -> Option<Rule> {
        Rule::ALL.into_iter().find(|r| r.name() == name)
    }

    /// Whether the rule has positions for so many points on a line (a diameter, in a round duct).
    ///
    /// # Errors
    /// The numbers that it has, in words.
    pub fn allows(self, round: bool, points: usize) -> Result<(), &'static str> {
        let (good, expected) = match (self, round) {
            (Rule::EqualArea, true) => (
                (2..=50).contains(&points) && points.is_multiple_of(2),
                "an even number up to 50",
            ),
            (Rule::EqualArea, false) => ((1..=50).contains(&points), "1 to 50"),
            (Rule::LogTchebycheff, false) => ((5..=7).contains(&points), "5, 6 or 7"),
            (Rule::LogLinear, false) => (false, "a round duct"),
            (_, true) => (matches!(points, 6 | 8 | 10), "6, 8 or 10"),
        };
        if good { Ok(()) } else { Err(expected) }
    }
}

/// Speeds read across the duct at some or all fan levels.
#[derive(Clone, Debug, PartialEq)]
pub struct Traverse {
    /// The table's file.
    pub file: String,
    /// The rule that placed the points.
    pub rule: Rule,
    /// Fan levels in order of first appearance.
    pub levels: Vec<LevelTraverse>,
}

/// One fan level's traverse.
#[derive(Clone, Debug, PartialEq)]
pub struct LevelTraverse {
    /// The level as written.
    pub level: String,
    /// Lines across the duct (diameters, in a round one).
    pub lines: usize,
    /// Points on each line.
    pub points: usize,
    /// Mean speed of each pass, m/s.
    pub passes_m_s: Vec<f64>,
    /// Lowest and highest single speed, m/s.
    pub range_m_s: (f64, f64),
}

impl LevelTraverse {
    /// Mean speed over all passes, m/s: the plain mean, because the rule places the points for it.
    pub fn mean_m_s(&self) -> f64 {
        self.passes_m_s.iter().sum::<f64>() / self.passes_m_s.len().max(1) as f64
    }

    /// Standard uncertainty of that mean from the scatter between passes, m/s, and its degrees of freedom;
    /// none with a single pass.
    pub fn repeat_u_m_s(&self) -> Option<(f64, f64)> {
        let n = self.passes_m_s.len() as f64;
        if n < 2.0 {
            return None;
        }
        let mean = self.mean_m_s();
        let squares: f64 = self.passes_m_s.iter().map(|v| (v - mean).powi(2)).sum();
        Some(((squares / (n - 1.0) / n).sqrt(), n - 1.0))
    }
}

/// The largest number of a line, point or pass: anything beyond is a column of another meaning.
const MOST: f64 = 60.0;
/// Speeds that a probe in a small unit's duct can show, m/s; it may show backflow in a corner. Common practice, no source.
const FASTEST_M_S: f64 = 50.0;

/// Readings of one pass: (line, point) to speed.
type Pass = BTreeMap<(usize, usize), f64>;

impl Traverse {
    /// The traverse of a fan level.
    pub fn level(&self, level: &str) -> Option<&LevelTraverse> {
        self.levels.iter().find(|l| l.level == level)
    }

    /// Reads the table: `fan, line, point, air_speed [m/s]`, and `pass` where the whole traverse was repeated.
    ///
    /// # Errors
    /// [`BenchError::Faults`] with the place of each: a missing column, a position read twice, one that is missing, a number of
    /// points or lines that the rule has no positions for.
    pub(super) fn read(
        file: &str,
        bytes: &[u8],
        rule: Rule,
        round: bool,
        findings: &mut Vec<Finding>,
    ) -> Result<Traverse, BenchError> {
        let table = Table::open(file, bytes, findings)?;
        let file = table.file.as_str();
        let columns = Columns::of(&table)?;
        let mut faults = Vec::new();
        let mut order: Vec<String> = Vec::new();
        let mut read: BTreeMap<String, BTreeMap<usize, Pass>> = BTreeMap::new();
        let mut first: BTreeMap<(String, usize, usize, usize), usize> = BTreeMap::new();
        for (line, cells) in &table.rows {
            if faults.len() >= MOST_FAULTS {
                break;
            }
            let Some(r) = columns.reading(&table, *line, cells, &mut faults) else {
                continue;
            };
            if let Some(before) = first.insert((r.fan.clone(), r.pass, r.line, r.point), *line) {
                faults.push(
                    Fault::new(
                        table.place(*line, columns.point),
                        format!(
                            "line {}, point {} at the fan level `{}` again (first on {})",
                            r.line,
                            r.point,
                            clip(&r.fan),
                            Place::line(file, before).spot()
                        ),
                        "each point once in a pass",
                    )
                    .remedy("number a repeated traverse in a column `pass`"),
                );
                continue;
            }
            if !order.contains(&r.fan) {
                order.push(r.fan.clone());
            }
            read.entry(r.fan)
                .or_default()
                .entry(r.pass)
                .or_default()
                .insert((r.line, r.point), r.speed);
        }
        let mut levels = Vec::new();
        if faults.is_empty() {
            for fan in order {
                let passes = read.remove(&fan).unwrap_or_default();
                match level_of(file, fan, &passes, rule, round) {
                    Ok(level) => levels.push(level),
                    Err(fault) => faults.push(*fault),
                }
            }
        }
        if !faults.is_empty() {
            return Err(BenchError::Faults(faults));
        }
        Ok(Traverse {
            file: file.to_owned(),
            rule,
            levels,
        })
    }
}

/// A level's passes, checked to be whole and of the rule's size.
fn level_of(
    file: &str,
    level: String,
    passes: &BTreeMap<usize, Pass>,
    rule: Rule,
    round: bool,
) -> Result<LevelTraverse, Box<Fault>> {
    let all: BTreeSet<(usize, usize)> = passes.values().flat_map(|p| p.keys().copied()).collect();
    let lines = all.iter().map(|k| k.0).max().unwrap_or(0);
    let points = all.iter().map(|k| k.1).max().unwrap_or(0);
    let named = clip(&level);
    let fault = |found: String, expected: String, remedy: &str| {
        Box::new(Fault::new(Place::file(file), found, expected).remedy(remedy.to_owned()))
    };
    let shape = if round { "round" } else { "rectangular" };
    if let Err(expected) = rule.allows(round, points) {
        return Err(fault(
            format!("{points} points on a line at the fan level `{named}`"),
            format!(
                "{expected}: so many the rule {} has in a {shape} duct",
                rule.name()
            ),
            "read the points that the rule places, or name the rule that placed these",
        ));
    }
    if round && !(2..=4).contains(&lines) {
        return Err(fault(
            format!("{lines} diameters at the fan level `{named}`"),
            "2 to 4 diameters that cross in the middle".to_owned(),
            "a single diameter cannot show a lopsided flow; number the diameters in `line`",
        ));
    }
    if !round && let Err(expected) = rule.allows(round, lines) {
        return Err(fault(
            format!("{lines} lines at the fan level `{named}`"),
            format!(
                "{expected}: so many the rule {} has in a {shape} duct",
                rule.name()
            ),
            "read the lines that the rule places, or name the rule that placed these",
        ));
    }
    let mut means = Vec::with_capacity(passes.len());
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for (number, pass) in passes {
        for line in 1..=lines {
            for point in 1..=points {
                let Some(speed) = pass.get(&(line, point)) else {
                    let of = match passes.len() {
                        1 => String::new(),
                        _ => format!(" in pass {number}"),
                    };
                    return Err(fault(
                        format!(
                            "no reading at line {line}, point {point} of the fan level `{named}`{of}"
                        ),
                        format!("all {points} points on each of {lines} lines"),
                        "read the missing point; a mean without it is not the rule's mean",
                    ));
                };
                low = low.min(*speed);
                high = high.max(*speed);
            }
        }
        means.push(pass.values().sum::<f64>() / pass.len() as f64);
    }
    let traverse = LevelTraverse {
        level,
        lines,
        points,
        passes_m_s: means,
        range_m_s: (low, high),
    };
    let mean = traverse.mean_m_s();
    if mean < 0.01 {
        return Err(fault(
            format!("a mean speed of {mean:.3} m/s at the fan level `{named}`"),
            "a mean speed above 0.01 m/s".to_owned(),
            "check the readings' unit and sign",
        ));
    }
    Ok(traverse)
}

/// One reading.
struct Reading {
    fan: String,
    pass: usize,
    line: usize,
    point: usize,
    speed: f64,
}

/// Where each thing stands in the table.
struct Columns {
    fan: usize,
    line: usize,
    point: usize,
    pass: Option<usize>,
    speed: usize,
    unit: crate::quantity::Unit,
}

impl Columns {
    fn of(table: &Table) -> Result<Columns, BenchError> {
        let mut faults = Vec::new();
        let mut need = |name: &str, what: &str| {
            table.find(name).unwrap_or_else(|| {
                faults.push(
                    Fault::new(
                        Place::line(&table.file, table.heading_line),
                        format!("no column `{name}`"),
                        format!("a column `{name}`: {what}"),
                    )
                    .remedy("head the table fan,line,point,air_speed [m/s]"),
                );
                0
            })
        };
        let fan = need("fan", "the fan level as in the points table");
        let line = need(
            "line",
            "the line's number (of the diameter in a round duct)",
        );
        let point = need("point", "the point's number along the line, from the wall");
        let speed = need("air_speed", "the speed read there, with its unit");
        if !faults.is_empty() {
            return Err(BenchError::Faults(faults));
        }
        let column = table.columns.get(speed).ok_or_else(|| {
            BenchError::from(Fault::new(
                Place::file(&table.file),
                "no column `air_speed`",
                "a column `air_speed [m/s]`",
            ))
        })?;
        let place = Place::at(&table.file, table.heading_line, column.number);
        let unit = unit_of(column, Channel::AirSpeed, place).map_err(|f| BenchError::from(*f))?;
        Ok(Columns {
            fan,
            line,
            point,
            pass: table.find("pass"),
            speed,
            unit,
        })
    }

    fn reading(
        &self,
        table: &Table,
        line: usize,
        cells: &[String],
        faults: &mut Vec<Fault>,
    ) -> Option<Reading> {
        let cell = |i: usize| cells.get(i).map_or("", String::as_str);
        let fan = cell(self.fan).to_owned();
        if fan.is_empty() {
            faults.push(
                Fault::new(
                    table.place(line, self.fan),
                    "no fan level",
                    "the fan level at which the speed was read",
                )
                .remedy("repeat the level in every row"),
            );
            return None;
        }
        let mut whole = |i: usize, what: &str| match table.number(line, i, cell(i)) {
            Ok(Some(v)) if v.fract() == 0.0 && (1.0..=MOST).contains(&v) => Some(v as usize),
            Ok(_) => {
                faults.push(
                    Fault::new(
                        table.place(line, i),
                        format!("`{}` under `{what}`", clip(cell(i))),
                        format!("a whole number from 1 to {MOST}"),
                    )
                    .remedy("number lines and points from 1, in the order in which they were read"),
                );
                None
            }
            Err(fault) => {
                faults.push(*fault);
                None
            }
        };
        let on_line = whole(self.line, "line");
        let point = whole(self.point, "point");
        let pass = match self.pass {
            Some(i) => whole(i, "pass"),
            None => Some(1),
        };
        let speed = match table.number(line, self.speed, cell(self.speed)) {
            Ok(Some(v)) if self.unit.to_si(v).abs() <= FASTEST_M_S => Some(self.unit.to_si(v)),
            Ok(_) => {
                faults.push(
                    Fault::new(
                        table.place(line, self.speed),
                        format!("`{}` under `air_speed`", clip(cell(self.speed))),
                        format!("a speed between -{FASTEST_M_S} and {FASTEST_M_S} m/s"),
                    )
                    .remedy("every point of a traverse needs its reading; check the unit in the heading"),
                );
                None
            }
            Err(fault) => {
                faults.push(*fault);
                None
            }
        };
        Some(Reading {
            fan,
            pass: pass?,
            line: on_line?,
            point: point?,
            speed: speed?,
        })
    }
}
