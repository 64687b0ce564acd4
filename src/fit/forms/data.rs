//! The cooling runs as numbers: settings by index, airflow by level, conditions about their means.

use crate::air::MoistAir;
use crate::bench::{Bench, Channel, Kind, Point};

use super::blower::Blower;
use super::lift::LiftModel;

/// What stands on the airflow axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FlowScale {
    /// Each level's mean measured airflow.
    Airflow,
    /// The relative speeds that `[fan]` states.
    RelativeSpeed,
    /// The level's number itself.
    LevelNumber,
    /// Nothing: the levels have only names.
    None,
}

/// A fan level.
#[derive(Clone, Debug)]
pub struct Level {
    /// As written in the table.
    pub label: String,
    /// Logarithm of airflow (or its stand-in) relative to the levels' geometric mean (to three digits); none where unknown.
    pub x: Option<f64>,
    /// The airflow (m3/h), relative speed or number that `x` was taken from.
    pub flow: Option<f64>,
    /// Number of airflow readings behind it.
    pub readings: usize,
}

/// A cooling run.
#[derive(Clone, Debug)]
pub struct DrawRow {
    /// Index into [`DrawData::modes`].
    pub mode: usize,
    /// Index into [`DrawData::levels`].
    pub level: usize,
    /// Intake dry bulb, degC (the mean of all where a run has none).
    pub intake: f64,
    /// Ambient dry bulb, degC (the mean of all where a run has none).
    pub ambient: f64,
    /// How much the intake's wet bulb lies above what is usual at its dry bulb on this bench, K.
    pub moisture: f64,
    /// Draw (or capacity, where that is the response), W.
    pub draw: f64,
    /// Index into [`DrawData::blocks`].
    pub block: usize,
    /// Place in the order of testing.
    pub order: Option<f64>,
    /// Index into the bench's points.
    pub point: usize,
}

/// Setting and conditions at which a form is evaluated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct At {
    /// Index into [`DrawData::modes`].
    pub mode: usize,
    /// Index into [`DrawData::levels`].
    pub level: usize,
    /// Intake dry bulb, degC.
    pub intake: f64,
    /// Ambient dry bulb, degC.
    pub ambient: f64,
    /// Wet bulb of the intake above what is usual at its dry bulb on this bench, K; zero unless asked for.
    pub moisture: f64,
}

impl At {
    /// A setting and dry bulbs, at the humidity that is usual for the intake on this bench.
    pub fn new(mode: usize, level: usize, intake: f64, ambient: f64) -> At {
        At {
            mode,
            level,
            intake,
            ambient,
            moisture: 0.0,
        }
    }
}

/// All that the draw forms need to know of a bench.
#[derive(Clone, Debug)]
pub struct DrawData {
    /// What the rows hold: `draw`, or `capacity` (see [`super::CapacityData`]).
    pub response: &'static str,
    /// Whether they hold a sensible capacity.
    pub sensible: bool,
    /// Modes in order of first appearance.
    pub modes: Vec<String>,
    /// Fan levels from low to high.
    pub levels: Vec<Level>,
    /// Blocks in order of first appearance.
    pub blocks: Vec<String>,
    /// Cooling runs.
    pub rows: Vec<DrawRow>,
    /// Which of the settings were tested: `tested[mode][level]` runs.
    pub tested: Vec<Vec<usize>>,
    /// Lowest and highest tested intake of each mode, degC.
    pub intake_ranges: Vec<(f64, f64)>,
    /// Set points of the intake: means of clusters at least 2 K apart, rising, degC.
    pub set_points: Vec<f64>,
    intake_gaps: Vec<(f64, f64)>,
    /// What the airflow axis is made of.
    pub flow_scale: FlowScale,
    /// Mean intake of the cooling runs, rounded to 0.1 so that equations stay readable, degC.
    pub intake_ref: f64,
    /// Mean ambient of the cooling runs, rounded likewise, degC.
    pub ambient_ref: f64,
    /// Mean ambient of the cooling runs, degC.
    pub ambient_mean: f64,
    /// Whether every cooling run has an intake reading, and they differ.
    pub intake_varied: bool,
    /// Whether every cooling run has an ambient reading, and they differ.
    pub ambient_varied: bool,
    /// Whether the intake's humidity was read in every run and varied by itself, not only with the dry bulb.
    pub moisture_varied: bool,
    /// Number of fan-only runs, whether they tell the blower's own draw or not.
    pub fan_only_runs: usize,
    /// The blower's own draw, where fan-only runs tell it.
    pub blower: Option<Blower>,
    /// Temperature lift between the air states, where outlet and ambient were read.
    pub lift: Option<LiftModel>,
}

/// A spread under which a condition counts as never varied, K: it is the scatter of a steady room. Common practice, no source.
const VARIED_SPREAD_K: f64 = 0.5;

/// A standard deviation of wet bulb about its own line under which humidity counts as never varied, K: it is the scatter of a
/// hygrometer. Common practice, no source.
const MOISTURE_VARIED_K: f64 = 0.5;

impl DrawData {
    /// Gathers the cooling runs of a bench. Runs without a finite draw cannot occur (reading refuses them).
    pub fn from_bench(bench: &Bench) -> DrawData {
        let cooling: Vec<(usize, &Point)> = bench
            .points
            .iter()
            .enumerate()
            .filter(|(_, p)| p.kind == Kind::Cooling)
            .collect();
        let mut modes: Vec<String> = Vec::new();
        let mut blocks: Vec<String> = Vec::new();
        for (_, p) in &cooling {
            note(&mut modes, &p.mode);
            note(&mut blocks, p.block.as_deref().unwrap_or(""));
        }
        let (levels, flow_scale) = levels_of(bench, &cooling);
        let intakes: Vec<f64> = cooling.iter().filter_map(|(_, p)| p.intake_c()).collect();
        let ambients: Vec<f64> = cooling.iter().filter_map(|(_, p)| p.ambient_c()).collect();
        let ambient_mean = mean_or(&ambients, 27.0);
        let tenths = |v: f64| (10.0 * v).round() / 10.0;
        let intake_ref = tenths(mean_or(&intakes, 27.0));
        let ambient_ref = tenths(ambient_mean);
        let index = |list: &[String], what: &str| list.iter().position(|m| m == what).unwrap_or(0);
        let rows: Vec<DrawRow> = cooling
            .iter()
            .map(|(i, p)| DrawRow {
                mode: index(&modes, &p.mode),
                level: levels.iter().position(|l| l.label == p.fan).unwrap_or(0),
                intake: p.intake_c().unwrap_or(intake_ref),
                ambient: p.ambient_c().unwrap_or(ambient_ref),
                moisture: 0.0,
                draw: p.draw_w(),
                block: index(&blocks, p.block.as_deref().unwrap_or("")),
                order: p.order,
                point: *i,
            })
            .collect();
        let mut tested = vec![vec![0; levels.len()]; modes.len()];
        for r in &rows {
            if let Some(n) = tested.get_mut(r.mode).and_then(|m| m.get_mut(r.level)) {
                *n += 1;
            }
        }
        let blower = Blower::from_bench(bench, &levels).filter(|b| {
            rows.iter().all(|r| {
                b.levels
                    .get(r.level)
                    .is_some_and(|l| l.draw_w < 0.9 * r.draw)
            })
        });
        let mut data = DrawData {
            response: "draw",
            sensible: false,
            intake_varied: intakes.len() == rows.len() && spread(&intakes) > VARIED_SPREAD_K,
            ambient_varied: ambients.len() == rows.len() && spread(&ambients) > VARIED_SPREAD_K,
            moisture_varied: false,
            intake_ranges: Vec::new(),
            set_points: Vec::new(),
            intake_gaps: Vec::new(),
            modes,
            levels,
            blocks,
            rows,
            tested,
            flow_scale,
            intake_ref,
            ambient_ref,
            ambient_mean,
            fan_only_runs: bench.of_kind(Kind::FanOnly).count(),
            blower,
            lift: None,
        };
        data.intake_ranges = (0..data.modes.len())
            .map(|mode| {
                let own = data.rows.iter().filter(|r| r.mode == mode);
                range(&own.map(|r| r.intake).collect::<Vec<_>>())
            })
            .collect();
        let clusters = clusters(data.rows.iter().map(|r| r.intake).collect());
        data.set_points = clusters.iter().map(|c| mean_or(c, 0.0)).collect();
        data.intake_gaps = clusters.windows(2).filter_map(gap_between).collect();
        data.read_moisture(bench);
        data.lift = LiftModel::from_bench(bench, &data);
        data
    }

    /// Fills in how far each run's wet bulb lies from the bench's own line of wet bulb on dry bulb. What follows the dry
    /// bulb cannot be told from it; only the rest can carry a slope of its own.
    fn read_moisture(&mut self, bench: &Bench) {
        let wet_bulb = |row: &DrawRow| {
            let p = bench.points.get(row.point)?;
            let pressure = p.get(Channel::Pressure).unwrap_or(bench.pressure_pa);
            let air = MoistAir::from_relative_humidity(
                p.intake_c()?,
                p.get(Channel::IntakeRh)?.min(1.0),
                pressure,
            )
            .ok()?;
            Some(air.wet_bulb_c())
        };
        let Some(wet): Option<Vec<f64>> = self.rows.iter().map(wet_bulb).collect() else {
            return;
        };
        let n = wet.len() as f64;
        let mean_wet = wet.iter().sum::<f64>() / n;
        let mean_dry = self.rows.iter().map(|r| r.intake).sum::<f64>() / n;
        let (mut sxy, mut sxx) = (0.0, 0.0);
        for (row, w) in self.rows.iter().zip(&wet) {
            sxy += (row.intake - mean_dry) * (w - mean_wet);
            sxx += (row.intake - mean_dry).powi(2);
        }
        let slope = if sxx > 0.0 { sxy / sxx } else { 0.0 };
        for (row, w) in self.rows.iter_mut().zip(&wet) {
            row.moisture = w - mean_wet - slope * (row.intake - mean_dry);
        }
        let sd = (self.rows.iter().map(|r| r.moisture.powi(2)).sum::<f64>() / n).sqrt();
        self.moisture_varied = sd > MOISTURE_VARIED_K;
    }

    /// The same without some of its runs, given as indices into [`DrawData::rows`]: tested settings and intake ranges are those of the runs
    /// left; levels, set points, reference conditions, blower and lift stay.
    pub fn without(&self, rows: &[usize]) -> DrawData {
        let mut less = self.clone();
        let mut index = 0;
        less.rows.retain(|_| {
            index += 1;
            !rows.contains(&(index - 1))
        });
        less.tested.iter_mut().flatten().for_each(|n| *n = 0);
        for r in &less.rows {
            if let Some(n) = { less.tested.get_mut(r.mode) }.and_then(|m| m.get_mut(r.level)) {
                *n += 1;
            }
        }
        for (mode, ends) in less.intake_ranges.iter_mut().enumerate() {
            let own = less.rows.iter().filter(|r| r.mode == mode);
            *ends = range(&own.map(|r| r.intake).collect::<Vec<_>>());
        }
        less
    }

    /// The logarithmic airflow of a level; zero where unknown (forms that use it are then not offered).
    pub fn x(&self, level: usize) -> f64 {
        self.levels.get(level).and_then(|l| l.x).unwrap_or(0.0)
    }

    /// The blower's own draw at a level, W; zero where no fan-only runs tell it.
    pub fn blower_w(&self, level: usize) -> f64 {
        self.blower
            .as_ref()
            .and_then(|b| b.levels.get(level))
            .map_or(0.0, |l| l.draw_w)
    }

    /// Conditions and setting of a run.
    pub fn at(&self, row: &DrawRow) -> At {
        At {
            mode: row.mode,
            level: row.level,
            intake: row.intake,
            ambient: row.ambient,
            moisture: row.moisture,
        }
    }

    /// Lowest and highest tested intake of a mode's runs, degC.
    pub fn intake_range(&self, mode: usize) -> (f64, f64) {
        self.intake_ranges
            .get(mode)
            .copied()
            .unwrap_or((self.intake_ref, self.intake_ref))
    }

    /// Lowest and highest tested intake of all modes, degC.
    pub fn whole_intake_range(&self) -> (f64, f64) {
        let ends = |(a, b): (f64, f64), r: &(f64, f64)| (a.min(r.0), b.max(r.1));
        self.intake_ranges
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), ends)
    }

    /// How many intakes were tested that are not one set point's scatter: a bend needs three, whether the runs stand at set points or anywhere
    /// between. A stretch of runs without a gap counts once more for every 2 K of its length; of a draw, where others lie beyond a gap, for every
    /// 4 K: a control's corner in the gap gives the runs about each set point a slope of their own, and a bend would make a hump of it.
    pub fn distinct_intakes(&self) -> usize {
        const ONE_SET_POINT_K: f64 = 4.0;
        const SWEPT_K: f64 = 2.0;
        let stretches = clusters(self.rows.iter().map(|r| r.intake).collect());
        let set = self.response == "draw" && stretches.len() > 1;
        let each_k = if set { ONE_SET_POINT_K } else { SWEPT_K };
        let count = |runs: &Vec<f64>| {
            let length = runs.last().zip(runs.first()).map_or(0.0, |(b, a)| b - a);
            // A finite number of kelvins, and no more intakes than runs.
            1 + (length / each_k).floor().min(runs.len() as f64 - 1.0) as usize
        };
        stretches.iter().map(count).sum()
    }

    /// The middle set point, at which a kinked form may kink, degC, rounded to 0.1; none with fewer than three.
    pub fn kink(&self) -> Option<f64> {
        let middle = self.set_points.get(self.set_points.len() / 2)?;
        (self.set_points.len() > 2).then(|| (10.0 * middle).round() / 10.0)
    }

    /// The gaps between neighbouring set points, from the warmest run of one to the coldest of the next, degC, to 0.1; rising.
    pub fn intake_gaps(&self) -> &[(f64, f64)] {
        &self.intake_gaps
    }

    /// The neighbouring set points between which an intake lies; none outside them.
    pub fn gap(&self, intake: f64) -> Option<(f64, f64)> {
        self.set_points.windows(2).find_map(|w| match w {
            [a, b] if *a < intake && intake < *b => Some((*a, *b)),
            _ => None,
        })
    }

    /// (intake − reference)² within the tested range, and its tangent beyond: a bend is never extrapolated.
    pub fn bend(&self, intake: f64) -> f64 {
        let (low, high) = self.whole_intake_range();
        let t = intake - self.intake_ref;
        let edge = intake.min(high).max(low) - self.intake_ref;
        edge * edge + 2.0 * edge * (t - edge)
    }

    /// Lowest and highest tested ambient, degC.
    pub fn ambient_range(&self) -> (f64, f64) {
        range(&self.rows.iter().map(|r| r.ambient).collect::<Vec<_>>())
    }

    /// Whether fan levels were varied within at least one mode.
    pub fn fan_varied_within_a_mode(&self) -> bool {
        self.tested
            .iter()
            .any(|m| m.iter().filter(|n| **n > 0).count() > 1)
    }
}

fn note(list: &mut Vec<String>, what: &str) {
    if !list.iter().any(|m| m == what) {
        list.push(what.to_owned());
    }
}

fn mean_or(values: &[f64], otherwise: f64) -> f64 {
    if values.is_empty() {
        otherwise
    } else {
        values.iter().sum::<f64>() / values.len() as f64
    }
}

/// Clusters of values, rising: broken where two neighbours lie more than 2 K apart, or more than 1 K and far more than neighbours mostly do
/// (where many runs stand at two set points, the strays of one come near those of the other).
fn clusters(mut values: Vec<f64>) -> Vec<Vec<f64>> {
    const APART_K: f64 = 2.0;
    const CLEARLY_APART_K: f64 = 1.0;
    const TIMES_USUAL: f64 = 8.0;
    values.sort_by(f64::total_cmp);
    let mut spacings: Vec<f64> = values
        .windows(2)
        .filter_map(|w| Some(w.last()? - w.first()?))
        .collect();
    spacings.sort_by(f64::total_cmp);
    let usual = spacings.get(spacings.len() / 2).copied().unwrap_or(0.0);
    let apart = (TIMES_USUAL * usual).clamp(CLEARLY_APART_K, APART_K);
    let mut list: Vec<Vec<f64>> = Vec::new();
    for v in values {
        match list.last_mut() {
            Some(own) if own.last().is_some_and(|last| v - last <= apart) => own.push(v),
            _ => list.push(vec![v]),
        }
    }
    list
}

/// Where one cluster ends and the next begins, to 0.1.
fn gap_between(pair: &[Vec<f64>]) -> Option<(f64, f64)> {
    let [below, above] = pair else { return None };
    Some((
        (10.0 * below.last()?).ceil() / 10.0,
        (10.0 * above.first()?).floor() / 10.0,
    ))
}

fn three_digits(v: f64) -> f64 {
    let scale = 10f64.powf(2.0 - v.log10().floor());
    if scale.is_finite() && v > 0.0 {
        (v * scale).round() / scale
    } else {
        v
    }
}

fn range(values: &[f64]) -> (f64, f64) {
    values
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
            (a.min(*v), b.max(*v))
        })
}

fn spread(values: &[f64]) -> f64 {
    let (a, b) = range(values);
    if a.is_finite() { b - a } else { 0.0 }
}

/// The fan levels of the cooling and fan-only runs, low to high, with the best airflow axis there is.
fn levels_of(bench: &Bench, cooling: &[(usize, &Point)]) -> (Vec<Level>, FlowScale) {
    let mut labels: Vec<String> = Vec::new();
    for (_, p) in cooling {
        note(&mut labels, &p.fan);
    }
    for p in bench.of_kind(Kind::FanOnly) {
        note(&mut labels, &p.fan);
    }
    let measured: Vec<(Option<f64>, usize)> = labels
        .iter()
        .map(|label| {
            let flows: Vec<f64> = bench
                .points
                .iter()
                .filter(|p| p.fan == *label && p.kind != Kind::Standby)
                .filter_map(|p| p.get(Channel::Airflow))
                .collect();
            let geometric = (!flows.is_empty())
                .then(|| (flows.iter().map(|f| f.ln()).sum::<f64>() / flows.len() as f64).exp());
            (geometric, flows.len())
        })
        .collect();
    let stated = |label: &String| {
        bench
            .fan
            .levels
            .iter()
            .find(|l| l.level == *label)
            .and_then(|l| l.relative_speed)
    };
    let number = |label: &String| {
        label
            .parse::<f64>()
            .ok()
            .filter(|v| v.is_finite() && *v > 0.0)
    };
    let speeds: Vec<Option<f64>> = labels.iter().map(stated).collect();
    let numbers: Vec<Option<f64>> = labels.iter().map(number).collect();
    let flows: Vec<Option<f64>> = measured.iter().map(|m| m.0).collect();
    let (scale, values) = if flows.iter().all(Option::is_some) {
        (FlowScale::Airflow, flows)
    } else if speeds.iter().all(Option::is_some) {
        (FlowScale::RelativeSpeed, speeds)
    } else if numbers.iter().all(Option::is_some) {
        (FlowScale::LevelNumber, numbers)
    } else {
        (FlowScale::None, vec![None; labels.len()])
    };
    let logs: Vec<f64> = values.iter().flatten().map(|v| v.ln()).collect();
    // Three digits: the centre stands in every equation.
    let centre = three_digits(mean_or(&logs, 0.0).exp()).ln();
    let mut levels: Vec<Level> = labels
        .into_iter()
        .zip(values)
        .zip(measured)
        .map(|((label, flow), (_, readings))| Level {
            label,
            x: flow.map(|v| v.ln() - centre),
            flow,
            readings,
        })
        .collect();
    // One rule for all levels: a rule for each pair could go round in circles and is no order.
    if levels.iter().all(|l| number(&l.label).is_some()) {
        let key = |l: &Level| number(&l.label).unwrap_or(0.0);
        levels.sort_by(|a, b| key(a).total_cmp(&key(b)));
    } else if levels.iter().all(|l| l.x.is_some()) {
        let key = |l: &Level| l.x.unwrap_or(0.0);
        levels.sort_by(|a, b| {
            key(a)
                .total_cmp(&key(b))
                .then_with(|| a.label.cmp(&b.label))
        });
    } else {
        levels.sort_by(|a, b| a.label.cmp(&b.label));
    }
    (levels, scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn set_points_are_told_apart_by_their_gaps() {
        let ends = |values: Vec<f64>| -> Vec<(f64, f64)> {
            let list = clusters(values);
            list.iter().map(|c| (c[0], c[c.len() - 1])).collect()
        };
        // Six runs at each of two set points, strays 1.7 K apart: not a gap among so few.
        let few = vec![
            27.6, 28.3, 29.0, 29.4, 30.1, 30.6, 32.3, 32.9, 33.4, 34.0, 34.6, 35.1,
        ];
        assert_eq!(ends(few), [(27.6, 35.1)]);
        // Thirty-one at each, an eighth of a kelvin apart: now it is.
        let row = |from: f64| (0..31).map(move |i| from + 0.125 * f64::from(i));
        let many: Vec<f64> = row(27.0).chain(row(32.5)).collect();
        assert_eq!(ends(many), [(27.0, 30.75), (32.5, 36.25)]);
        // More than 2 K always is, 1 K or less never.
        assert_eq!(ends(vec![20.0, 22.25]), [(20.0, 20.0), (22.25, 22.25)]);
        let close: Vec<f64> = row(27.0).chain(row(31.75)).collect();
        assert_eq!(ends(close).len(), 1);
    }

    #[test]
    fn the_spread_is_the_highest_less_the_lowest() {
        assert_eq!(spread(&[3.0, 5.0, 4.0]), 2.0);
        assert_eq!(spread(&[]), 0.0);
    }

    #[test]
    fn what_neighbours_mostly_do_is_their_median_spacing() {
        // Two of seven spacings are nought, most 0.25 K: 1.5 K is no gap. With five of them nought it is one.
        let few = vec![20.0, 20.0, 20.0, 20.25, 20.5, 20.75, 21.0, 22.5];
        assert_eq!(clusters(few).len(), 1);
        let many = vec![20.0, 20.0, 20.0, 20.0, 20.0, 20.0, 20.25, 21.75];
        assert_eq!(clusters(many).len(), 2);
    }
}
