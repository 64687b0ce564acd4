//! What can hurt people: the usual cautions, and currents that pass a stated limit, with both figures.

use super::day::Day;
use super::runtime::{RuntimeRow, setting_name};
use crate::bench::SupplyInfo;
use crate::fit::candidates::DrawFit;
use crate::quantity::{Dimension, System};

/// Beside a discharge test.
pub const DISCHARGE: [&str; 3] = [FUSE, MAKER, CODES];

const FUSE: &str = "A battery delivers hundreds of amperes into a fault: fuse it at the battery, within its and the cable's rating.";
const MAKER: &str = "Keep to the battery maker's current, voltage and temperature limits; do not leave a discharge or a charge unattended.";
const CODES: &str = "The figures are measurements, not an approval; local codes and licensed practice decide on wiring.";

/// The largest current that a battery is asked for, and by what.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// Current, A.
    pub current_a: f64,
    /// "cruise, fan 5 at 35.0 °C".
    pub by: String,
}

/// The largest current of all rows (near empty, where a cut-off voltage is stated) and the day.
pub fn largest_asked(
    fit: &DrawFit,
    rows: &[RuntimeRow],
    day: Option<&Day>,
    system: System,
) -> Option<Asked> {
    let by_row = |r: &RuntimeRow| Asked {
        current_a: r.empty_a.unwrap_or(0.0).max(r.battery.current_a),
        by: format!(
            "{} at {}{}",
            setting_name(fit, r.draw.at),
            system.shown(Dimension::Temperature, r.draw.at.intake, 1),
            if r.empty_a.is_some() {
                ", near empty,"
            } else {
                ""
            }
        ),
    };
    let by_day = day.map(|d| Asked {
        current_a: d.largest_a,
        by: "The day".to_owned(),
    });
    rows.iter()
        .map(by_row)
        .chain(by_day)
        .max_by(|a, b| a.current_a.total_cmp(&b.current_a))
}

/// Cautions for a supply: first what passes a stated limit, with both figures, then the usual ones.
///
/// `day`: for the air of a day, where one is played. Temperatures in the reader's units.
pub fn of_supply(
    supply: &SupplyInfo,
    asked: Option<&Asked>,
    day: Option<&Day>,
    system: System,
) -> Vec<String> {
    let air = day.map(|d| {
        let ends = (f64::INFINITY, f64::NEG_INFINITY);
        d.hours
            .iter()
            .fold(ends, |(a, b), h| (a.min(h.ambient_c), b.max(h.ambient_c)))
    });
    let mut list = passed_limits(supply, asked, air, system);
    list.extend([FUSE, MAKER, CODES].map(str::to_owned));
    list
}

/// What passes a stated limit, with both figures; `ambient_c`: coolest and warmest air about the battery.
pub fn passed_limits(
    supply: &SupplyInfo,
    asked: Option<&Asked>,
    ambient_c: Option<(f64, f64)>,
    system: System,
) -> Vec<String> {
    let degrees = |c| system.shown(Dimension::Temperature, c, 1);
    let battery = supply.battery.as_ref();
    let battery_a = battery.and_then(|b| b.max_current_a);
    let fuse_a = battery.and_then(|b| b.fuse_a);
    let cable_a = supply.cable.and_then(|c| c.max_current_a);
    let mut list = Vec::new();
    if let Some(Asked { current_a, by }) = asked {
        let limits = [
            (battery_a, "the battery's stated limit"),
            (cable_a, "the cable's stated limit"),
            (fuse_a, "the fuse's rating, which would blow"),
        ];
        for (limit, what) in limits {
            if let Some(limit) = limit.filter(|l| current_a > l) {
                list.push(format!(
                    "{by} takes {current_a:.1} A from the battery, above {limit:.1} A, {what}."
                ));
            }
        }
    }
    if let Some(fuse) = fuse_a {
        for (limit, what) in [(cable_a, "the cable"), (battery_a, "the battery")] {
            if let Some(limit) = limit.filter(|l| fuse > *l) {
                list.push(format!(
                    "A fuse of {fuse:.1} A does not protect {what}, whose stated limit is {limit:.1} A."
                ));
            }
        }
    }
    if let (Some(b), Some((low, high))) = (battery, ambient_c) {
        if let Some(limit) = b.max_temp_c.filter(|l| high > *l) {
            list.push(format!(
                "The day's air reaches {}, above the battery's stated limit of {}, if the battery stands in that air.",
                degrees(high),
                degrees(limit)
            ));
        }
        if let Some(limit) = b.min_temp_c.filter(|l| low < *l) {
            list.push(format!(
                "The day's air falls to {}, below the battery's stated limit of {}, if the battery stands in that air.",
                degrees(low),
                degrees(limit)
            ));
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Battery, Cable};

    #[test]
    fn a_limit_that_is_passed_is_named_with_both_figures() {
        let supply = SupplyInfo {
            battery: Some(Battery {
                max_current_a: Some(50.0),
                fuse_a: Some(80.0),
                max_temp_c: Some(40.0),
                ..Battery::default()
            }),
            converter: None,
            cable: Some(Cable {
                length_m: 1.0,
                area_m2: 1e-5,
                parallel: 1.0,
                conductor_c: 20.0,
                conductor_stated: false,
                joints_ohm: 0.0,
                tolerance: 0.0,
                max_current_a: Some(70.0),
            }),
        };
        let asked = Asked {
            current_a: 61.26,
            by: "boost, fan 5".to_owned(),
        };
        let list = passed_limits(&supply, Some(&asked), Some((10.0, 43.0)), System::Si);
        let said = |words: &[&str]| list.iter().any(|l| words.iter().all(|w| l.contains(w)));
        assert!(said(&["61.3 A", "50.0 A", "battery"]), "{list:?}");
        assert!(!said(&["61.3 A", "70.0 A"]), "below the cable's limit");
        assert!(said(&["80.0 A", "70.0 A", "cable"]) && said(&["80.0 A", "50.0 A"]));
        assert!(said(&["43.0 degC", "40.0 degC"]));
        assert_eq!(
            of_supply(&SupplyInfo::default(), Some(&asked), None, System::Si).len(),
            3
        );
    }
}
