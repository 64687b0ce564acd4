//! Sentences of the write-up. Each is made from a result and says no more than it.

use super::Results;
use super::summary::temperature;
use crate::bench::{Channel, FlowAt, Kind};
use crate::fit::forms::CapacityKind;
use crate::predict::ambient_caution;
use crate::supply::cautions::{largest_asked, passed_limits};

/// What the bench is, as terms.
pub(super) fn bench_terms(r: &Results<'_>) -> Vec<(String, String)> {
    let bench = r.bench;
    let data = &r.draw.data;
    let runs = |k| bench.of_kind(k).count();
    let mut terms = vec![("Unit".to_owned(), bench.unit.name.clone())];
    if let Some(v) = bench.unit.supply_v {
        terms.push(("Supply".to_owned(), format!("{v} V DC")));
    }
    terms.push((
        "Runs".to_owned(),
        format!(
            "{} cooling, {} fan-only, {} standby",
            runs(Kind::Cooling),
            runs(Kind::FanOnly),
            runs(Kind::Standby)
        ),
    ));
    let modes: Vec<&str> = data
        .modes
        .iter()
        .map(String::as_str)
        .filter(|m| !m.is_empty())
        .collect();
    if !modes.is_empty() {
        terms.push(("Modes".to_owned(), modes.join(", ")));
    }
    terms.push((
        "Fan levels".to_owned(),
        data.levels
            .iter()
            .map(|l| l.label.as_str())
            .collect::<Vec<_>>()
            .join(", "),
    ));
    let range = |c: Channel| {
        let v: Vec<f64> = bench
            .of_kind(Kind::Cooling)
            .filter_map(|p| p.get(c))
            .collect();
        let low = v.iter().copied().fold(f64::INFINITY, f64::min);
        let high = v.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (!v.is_empty()).then_some((low, high))
    };
    for (channel, label) in [
        (Channel::IntakeTemp, "Intake air"),
        (Channel::AmbientTemp, "Ambient air"),
    ] {
        if let Some((low, high)) = range(channel) {
            terms.push((
                label.to_owned(),
                format!("{} to {}", temperature(r, low), temperature(r, high)),
            ));
        }
    }
    terms.push((
        "Air pressure".to_owned(),
        format!(
            "{:.0} hPa{}",
            bench.pressure_pa / 100.0,
            if bench.pressure_stated {
                ""
            } else {
                " (assumed: sea level)"
            }
        ),
    ));
    for i in &bench.instruments {
        let measures: Vec<String> = i
            .measures
            .iter()
            .map(|c| c.name().replace('_', " "))
            .collect();
        terms.push((
            i.name.clone(),
            format!(
                "{}; {}",
                measures.join(", "),
                if i.shared {
                    "the same in every run"
                } else {
                    "another in each run"
                }
            ),
        ));
    }
    terms
}

/// How it was done.
pub(super) fn methods(r: &Results<'_>) -> Vec<String> {
    let data = &r.draw.data;
    let best = r.draw.best();
    let response = if data.blower.is_some() {
        "the draw less the blower's own draw (from fan-only runs)"
    } else {
        "the draw"
    };
    let mut text = vec![
        "The run is the unit of evidence: each run enters once, with its steady values, and repeated runs give the scatter.".to_owned(),
        format!(
            "The logarithm of {response} was fitted by weighted least squares in {} forms (setting, intake, ambient, humidity, temperature lift, kind of scatter, modes taken as the same). Forms are weighed by AICc; all within 12 of the best enter every figure by their weight, with odds of e to 1 in favour of forms that bend with the temperature lift. The most credible has {} runs, {} coefficients and {} degrees of freedom.",
            r.draw.tried, best.fit.n, best.fit.p, best.fit.dof()
        ),
        format!(
            "Intervals are at {}: a weighted mixture of Student's t distributions with the scatter between runs, what the runs of one block (a day, a battery charge) share beyond it, the coefficients' uncertainty and the instruments' shared errors. Instrument limits are read as holding 95 % of readings (u = limit / 1.96); an error shared by all runs is added once, not averaged away (JCGM 100:2008). Beyond the tested intake the interval also holds an unseen bend and a control that clips at its top speed.",
            r.percent()
        ),
        format!(
            "Coupling: within each mode, ln(compressor-side draw) against ln(airflow), with intake, ambient and block taken out. The verdict is “coupled” when the whole interval lies beyond the allowance of {:+.2} (or below {:.2}), “independent” when it lies between, and “undecided” otherwise.",
            r.coupling.allowance.up, r.coupling.allowance.down
        ),
    ];
    match &r.capacity {
        Ok((kind, fit)) => {
            let what = match kind {
                CapacityKind::Total => {
                    "Total capacity is the dry-air mass flow times the enthalpy difference of intake and outlet (air-enthalpy method)"
                }
                CapacityKind::Sensible => {
                    "Sensible capacity is the mass flow times the heat capacity of moist air times the temperature drop; the latent part is not known, for outlet humidity is missing"
                }
            };
            text.push(format!("{what}, with moist-air properties after Hyland and Wexler (1983) as in the ASHRAE Handbook (2017), and each fan level's mean airflow, so that the noise of one flow reading does not stand on both axes. Its {} forms are weighed like the draw's.", fit.tried));
        }
        Err(why) => text.push(format!("No capacity is given: {why}")),
    }
    if r.capacity.is_ok() {
        let air = match r.bench.duct.at {
            Some(FlowAt::Intake) => "the density of the intake air, where it was measured",
            Some(FlowAt::Outlet) => "the density of the outlet air, where it was measured",
            None => {
                "a density midway between those of intake and outlet air, for the place of its measurement is not stated (the doubt stands in the budget)"
            }
        };
        text.push(format!(
            "The volume flow becomes a mass flow by {air}, at the stated pressure and humidity."
        ));
    }
    if r.budget.is_some() {
        text.push("Uncertainty budgets follow JCGM 100:2008. An instrument has one error for all that it reads of one kind, in all runs: it is added once to an absolute figure, and cancels in ratios between settings and wherever it reads both ends of a difference. The scatter between repeated runs is pooled over all settings, with common slopes in the conditions that varied; what an instrument does afresh in each run, and the run's own averaging, stand in it already. Slopes of each figure in each source are taken numerically.".to_owned());
        if let Some(t) = r.budget.and_then(|b| b.trials) {
            text.push(format!("For the setting whose budget is shown, {} random trials (JCGM 101:2008) go through the whole calculation; where their interval is not that of the linear one to the digits that matter, theirs stands.", t.trials));
        }
    }
    text
}

/// What the answers lean on.
pub(super) fn limitations(r: &Results<'_>) -> Vec<String> {
    let mut list: Vec<String> = { r.findings.iter() }
        .map(|f| f.message.in_units(r.system).to_owned())
        .collect();
    list.extend(ambient_caution(
        &r.draw.data,
        Some(r.draw.data.ambient_mean),
        f64::INFINITY,
        r.system,
    ));
    list.dedup();
    list
}

/// Cautions that fit the situation.
pub(super) fn cautions(r: &Results<'_>) -> Vec<String> {
    let mut list = Vec::new();
    let currents: Vec<(f64, &str)> = r
        .bench
        .points
        .iter()
        .filter_map(|p| Some((p.get(Channel::Current)?, p.run.as_str())))
        .collect();
    let most = currents.iter().max_by(|a, b| a.0.total_cmp(&b.0));
    list.push(match most {
        Some((a, run)) => format!("The supply carried up to {a:.1} A (run {run}); starting currents are higher than any steady reading. Fuse at the battery, within its and the cable's rating, and keep to the battery maker's current and temperature limits."),
        None => "Fuse at the battery, within its and the cable's rating, and keep to the battery maker's current and temperature limits.".to_owned(),
    });
    if let Ok(s) = &r.supply {
        let asked = largest_asked(r.draw, &s.rows, s.day.as_ref(), r.system);
        list.extend(passed_limits(
            &r.bench.supply,
            asked.as_ref(),
            None,
            r.system,
        ));
    }
    list.push("Never leave a heater in a duct unattended. Keep hands and leads clear of blades. Do not open the refrigerant circuit.".to_owned());
    list.push("These figures are measurements on one unit, not an approval. Local codes and licensed practice decide on wiring, refrigerant and installation in vehicles and boats.".to_owned());
    list
}

/// What made the page.
pub(super) fn foot(r: &Results<'_>) -> Vec<String> {
    let mut text = vec![format!(
        "Made by steadydraw {} from {}.",
        env!("CARGO_PKG_VERSION"),
        if r.demo {
            "its built-in demo bench"
        } else {
            r.bench.points_file.as_str()
        }
    )];
    if r.demo {
        text.push("All data of this page is invented.".to_owned());
    }
    text.push("reproduce.json beside it names what was asked for and the digest of every file read and written; `steadydraw report BENCH --verify FOLDER` makes the write-up again and says what is no longer the same.".to_owned());
    text
}
