//! Figures of what feeds the unit: voltage against charge taken, and the charge left over a day.

use super::figure::{Along, Axis, Figure, Holds, Layer, Look, Panel};
use super::supply_tables::day_sentences;
use crate::quantity::System;
use crate::supply::day::Day;
use crate::supply::discharge::Discharge;

/// More tests than this are drawn alike, without names.
const MOST_NAMED: usize = 8;

/// Voltage against charge, every test.
pub fn discharge_figure(discharge: &Discharge) -> Figure {
    let tests = discharge.tests().count();
    let name = |file: &str, mean_a: f64| match (tests, discharge.files.len()) {
        (2..=MOST_NAMED, 1) => format!("{:.3} A", Digits(mean_a)),
        (2..=MOST_NAMED, _) => format!("{:.3} A, {}", Digits(mean_a), short(file)),
        _ => String::new(),
    };
    let mut layers: Vec<Layer> = discharge
        .tests()
        .enumerate()
        .map(|(k, (file, test))| Layer::Curve {
            through: test.trace.clone(),
            look: Look::series(if tests > MOST_NAMED { 0 } else { k }),
            label: name(&file.file, test.mean_a()),
        })
        .collect();
    if let Some(v) = discharge.options.cutoff_v {
        layers.push(Layer::Rule {
            along: Along::Y,
            at: v,
            label: "cut-off".to_owned(),
        });
    }
    let longest = discharge
        .tests()
        .map(|(_, t)| t.charge_ah)
        .fold(0.0, f64::max);
    if let Some(ah) = discharge.rating.capacity_ah
        && ah < 1.6 * longest
    {
        layers.push(Layer::Rule {
            along: Along::X,
            at: ah,
            label: "rated".to_owned(),
        });
    }
    let claim = discharge.headline().map_or_else(String::new, |h| {
        let ratio = discharge.ratio_ah().map_or_else(String::new, |r| {
            format!(", {:.1} % of the rating", 100.0 * r.value)
        });
        format!(
            "{:.4} Ah and {:.5} Wh at {:.3} A{ratio}",
            Digits(h.charge_ah.value),
            Digits(h.energy_wh.value),
            Digits(h.mean_a)
        )
    });
    Figure {
        name: "discharge".to_owned(),
        title: "Voltage against charge taken".to_owned(),
        claim,
        x: Axis::new("Charge taken", "Ah").from_zero(),
        y: Axis::new("Voltage under load", "V"),
        panels: vec![Panel {
            y: None,
            title: String::new(),
            layers,
        }],
        note: "Rest and charge are left out; the curves show readings under load.".to_owned(),
        alt: format!(
            "{} discharge tests, voltage against charge.",
            discharge.tests().count()
        ),
    }
}

/// The charge left over a day, with its band; none without a battery.
pub fn day_figure(day: &Day, level: f64) -> Option<Figure> {
    let played = day.played.as_ref()?;
    let start = day.hours.first()?.clock_h;
    let percent = |v: f64| 100.0 * v;
    // Each hour's charge holds at its end.
    let at = |k: usize| start + k as f64 + 1.0;
    let begin = day.start_charge;
    let mut course = vec![(start, percent(begin))];
    let mut band = vec![(start, percent(begin), percent(begin))];
    for (k, (value, low, high)) in played.charge.iter().enumerate() {
        course.push((at(k), percent(*value)));
        band.push((at(k), percent(*low), percent(*high)));
    }
    let look = Look::series(0);
    let mut layers = vec![
        Layer::Curve {
            through: course,
            look,
            label: String::new(),
        },
        Layer::Band {
            across: band,
            look,
            holds: Holds::Mean,
            label: String::new(),
        },
    ];
    layers.extend(
        stretches(day, |h| h.used > 0.0).map(|(from, to)| Layer::Region {
            along: Along::X,
            from: start + from,
            to: start + to,
            label: "in use".to_owned(),
        }),
    );
    let claim = day_sentences(day, level, System::Si).into_iter().nth(1);
    Some(Figure {
        name: "day".to_owned(),
        title: "Charge left over the day".to_owned(),
        claim: claim.unwrap_or_default(),
        x: Axis::new("Time of day", "")
            .clock()
            .reaching(start, start + 24.0),
        y: Axis::new("Usable charge left", "%").reaching(0.0, 100.0),
        panels: vec![Panel {
            layers,
            ..Panel::default()
        }],
        note: format!(
            "Band: {:.0} %, from the doubt about draw, losses and battery; one error holds all day, so all hours move together.",
            percent(level)
        ),
        alt: "The battery's usable charge from hour to hour, with its band.".to_owned(),
    })
}

/// Stretches of hours of which something holds, in hours from the day's start.
fn stretches(
    day: &Day,
    holds: impl Fn(&crate::supply::day::DayHour) -> bool,
) -> impl Iterator<Item = (f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    for (k, _) in day.hours.iter().enumerate().filter(|(_, h)| holds(h)) {
        let from = k as f64;
        match found.last_mut() {
            Some(last) if last.1 == from => last.1 = from + 1.0,
            _ => found.push((from, from + 1.0)),
        }
    }
    found.into_iter()
}

/// A number with as many significant digits as the precision asks.
struct Digits(f64);

impl std::fmt::Display for Digits {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let digits = f.precision().unwrap_or(3);
        f.write_str(&crate::quantity::significant(
            self.0,
            u32::try_from(digits).unwrap_or(3),
        ))
    }
}

/// A file's name without its folders.
fn short(name: &str) -> &str {
    name.rsplit(['/', '\\']).next().unwrap_or(name)
}
