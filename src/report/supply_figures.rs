//! Figures of what feeds the unit: voltage against charge taken, and the charge left over a day.

use super::figure::{Along, Axis, Figure, Layer, Look, Panel};
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
