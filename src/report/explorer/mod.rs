//! The explorer: a form in the page that answers for any setting and conditions as `predict` and `runtime` do, computed in the page.
//!
//! * `model.rs` hands over the candidates as they were fitted; nothing is rounded or made simpler on the way.
//! * `numbers.js` and `predict.js` compute from it, `form.js` and `figure.js` show; a test in a browser compares with the command.
//! * Where scripts do not run, and in other formats, a table of the same figures stands in its place.

mod battery;
mod html;
mod model;

use rayon::prelude::*;

pub use model::Fitted;

use super::predictions::capacity_name;
use super::tables::{Cell, Column, Table};
use super::words;
use crate::bench::Channel;
use crate::fit::forms::At;
use crate::predict::{Eer, Support, predict, predict_capacity};
use crate::quantity::{Dimension, System};

/// The scripts, in the order in which they build on one another.
pub(super) const SCRIPTS: [&str; 4] = [
    include_str!("numbers.js"),
    include_str!("predict.js"),
    include_str!("figure.js"),
    include_str!("form.js"),
];

/// An explorer, ready for a page.
#[derive(Debug, Clone, PartialEq)]
pub struct Explorer {
    /// What the page computes from: JSON without `<`.
    pub(super) model: String,
    /// The form.
    pub(super) form: Form,
    /// The same figures at the tested intakes, for where no script runs.
    pub table: Table,
}

/// What stands in the form before it is used. Temperatures in the reader's unit.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Form {
    pub modes: Vec<String>,
    pub fans: Vec<String>,
    /// The setting that is chosen at first.
    pub first: (usize, usize),
    pub temperature_sign: String,
    pub limits: (f64, f64),
    pub intake: f64,
    pub intake_tested: String,
    /// None where the runs did not record ambient air.
    pub ambient: Option<f64>,
    pub ambient_tested: String,
    /// The bench's battery in words; none where it states none.
    pub battery: Option<String>,
    /// Voltage for a battery that the reader names, V.
    pub volts: f64,
}

/// Air temperatures that may be asked for, degC, as at the command line.
const LIMITS_C: (f64, f64) = (-40.0, 90.0);
/// A voltage to start from where the bench names none, V. Common practice, no source.
const USUAL_VOLTS: f64 = 12.0;
/// Tested intakes shown in the table at most.
const MOST_INTAKES: usize = 4;

/// The explorer of a bench; none where the runs came without intake temperatures, so that no intake can be asked for.
pub fn explorer(fitted: &Fitted<'_>) -> Option<Explorer> {
    if !fitted.complete(Channel::IntakeTemp) {
        return None;
    }
    Some(Explorer {
        model: fitted.json()?,
        form: form(fitted),
        table: table(fitted),
    })
}

fn form(f: &Fitted<'_>) -> Form {
    let data = &f.draw.data;
    let show = |c: f64| tenths(f.system.convert(Dimension::Temperature, c));
    let sign = words::unit_sign(f.system.symbol(Dimension::Temperature)).into_owned();
    let range =
        |(low, high): (f64, f64)| format!("tested: {:.1} to {:.1} {sign}", show(low), show(high));
    let tested = data.tested.iter().enumerate().flat_map(|(m, levels)| {
        let own = levels.iter().enumerate().filter(|(_, n)| **n > 0);
        own.map(move |(l, _)| (m, l))
    });
    let tested: Vec<(usize, usize)> = tested.collect();
    let shown = |text: &String| words::visible(text).into_owned();
    let battery = f.supply.and_then(|s| s.holds.as_ref()).map(|h| {
        format!(
            "{:.0} Wh, {:.0} % of it used",
            h.energy_wh,
            100.0 * h.usable
        )
    });
    Form {
        modes: data.modes.iter().map(shown).collect(),
        fans: data.levels.iter().map(|l| shown(&l.label)).collect(),
        first: tested.get(tested.len() / 2).copied().unwrap_or((0, 0)),
        limits: (show(LIMITS_C.0), show(LIMITS_C.1)),
        intake: show(data.intake_ref),
        intake_tested: range(data.whole_intake_range()),
        ambient: f
            .complete(Channel::AmbientTemp)
            .then(|| show(data.ambient_mean)),
        ambient_tested: range(data.ambient_range()),
        battery,
        volts: f.supply.map_or(USUAL_VOLTS, |s| tenths(s.nominal_v)),
        temperature_sign: sign,
    }
}

fn tenths(v: f64) -> f64 {
    (10.0 * v).round() / 10.0
}

/// Every tested setting at the tested intakes, with ambient air as in the runs.
fn table(f: &Fitted<'_>) -> Table {
    let data = &f.draw.data;
    let unit = f.system.symbol(Dimension::Temperature);
    let percent = format!("{:.0} %", 100.0 * f.level);
    let efficiency = match f.system {
        System::Si => "W/W",
        System::Us => "Btu/h per W",
    };
    let mut columns = vec![
        Column::text("mode"),
        Column::text("fan"),
        Column::number("intake", unit),
        Column::number("draw", "W"),
        Column::interval(format!("mean, {percent}"), "W"),
    ];
    if let Some((kind, _)) = f.capacity {
        columns.push(Column::number(
            capacity_name(kind),
            f.system.capacity_symbol(),
        ));
        columns.push(Column::number("EER", efficiency));
    }
    let battery = f.supply.filter(|s| s.holds.is_some());
    if battery.is_some() {
        columns.push(Column::number("battery", "h"));
    }
    columns.push(Column::text("support"));
    let places: Vec<At> = data
        .tested
        .iter()
        .enumerate()
        .flat_map(|(mode, levels)| {
            let own = levels.iter().enumerate().filter(|(_, n)| **n > 0);
            own.flat_map(move |(level, _)| {
                let at = move |t| At::new(mode, level, t, data.ambient_mean);
                intakes(&data.set_points).into_iter().map(at)
            })
        })
        .collect();
    let rows: Vec<Vec<Cell>> = places
        .into_par_iter()
        .filter_map(|at| {
            let p = predict(f.bench, f.draw, at, f.level)?;
            let mut row = vec![
                Cell::text(data.modes.get(at.mode).map_or("", String::as_str)),
                Cell::text(data.levels.get(at.level).map_or("", |l| l.label.as_str())),
                Cell::number(f.system.convert(Dimension::Temperature, at.intake), 1),
                Cell::number(p.draw_w, 1),
                Cell::interval(p.mean_w.0, p.mean_w.1, 1),
            ];
            if let Some((_, fit)) = f.capacity {
                let c = predict_capacity(f.bench, fit, at, f.level);
                let show = |w: f64| f.system.convert_capacity(w);
                row.push(Cell::maybe(c.map(|c| show(c.capacity_w)), 0));
                let eer = c.and_then(|c| Eer::of(&p, &c));
                row.push(Cell::maybe(eer.map(|e| show(e.value)), 2));
            }
            if let Some(s) = battery {
                let hours = s.runtime(f.bench, f.draw, at, f.level).ok();
                row.push(Cell::maybe(hours.and_then(|h| h.hours).map(|h| h.value), 1));
            }
            row.push(Cell::text(match p.support {
                Support::Inside => "inside",
                Support::Outside => "outside",
            }));
            Some(row)
        })
        .collect();
    let mut table = Table::new("Every tested setting at the tested intakes", columns)
        .with_note("Ambient air as in the runs. “outside”: that mode was not run at that intake.");
    for row in rows {
        table.row(row);
    }
    table
}

/// The set points, or some spread over them where they are many.
fn intakes(set_points: &[f64]) -> Vec<f64> {
    let n = set_points.len();
    if n <= MOST_INTAKES {
        return set_points.to_vec();
    }
    (0..MOST_INTAKES)
        .filter_map(|i| set_points.get(i * (n - 1) / (MOST_INTAKES - 1)).copied())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_model_holds_every_digit_and_nothing_that_ends_its_element() {
        use crate::bench::Bench;
        use crate::fit::candidates::fit_draw;
        use crate::fit::forms::DrawData;
        let mut table = "run,mode,fan,intake_temp [degC],power [W]\n".to_owned();
        for i in 0..12 {
            let (fan, t) = (1 + i % 3, 24.0 + f64::from(i / 3));
            table.push_str(&format!(
                "r{i},</script>,{fan},{t},{}\n",
                90 * fan + i * i % 5
            ));
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        let fit = fit_draw(DrawData::from_bench(&bench)).unwrap();
        let made = explorer(&Fitted {
            bench: &bench,
            draw: &fit,
            capacity: None,
            supply: None,
            level: 0.95,
            system: System::Si,
        })
        .unwrap();
        assert!(!made.model.contains('<'));
        let model: serde_json::Value = serde_json::from_str(&made.model).unwrap();
        assert_eq!(model["modes"][0], "</script>");
        let candidates = model["draw"]["candidates"].as_array().unwrap();
        assert_eq!(candidates.len(), fit.candidates.len());
        for (mine, own) in candidates.iter().zip(&fit.candidates) {
            assert_eq!(mine["weight"].as_f64(), Some(own.weight));
            let coef: Vec<f64> = serde_json::from_value(mine["coef"].clone()).unwrap();
            assert_eq!(coef, own.fit.coef);
        }
        // Ambient was never read, so it cannot be asked for.
        assert_eq!(made.form.ambient, None);
        assert_eq!(
            made.table.rows().len(),
            3 * intakes(&fit.data.set_points).len()
        );
    }

    #[test]
    fn many_set_points_are_thinned_out_with_both_ends_kept() {
        assert_eq!(intakes(&[20.0, 27.0, 32.0]), [20.0, 27.0, 32.0]);
        let many: Vec<f64> = (0..11).map(|i| 20.0 + 2.5 * f64::from(i)).collect();
        assert_eq!(intakes(&many), [20.0, 27.5, 35.0, 45.0]);
        assert!(intakes(&[]).is_empty());
    }
}
