//! A claimed airflow.

use crate::bench::{Bench, Channel, Claim};
use crate::budget::{Cause, SettingBudget, Source};
use crate::fit::forms::{DrawData, FlowScale};
use crate::stats::normal;

use super::measured::{Air, Figure, Seen, extreme, place, settings};
use super::{Fits, Measured, TakenFrom};

/// The claim's airflow against that of the tested levels.
pub(super) fn airflow(
    bench: &Bench,
    fits: &Fits<'_>,
    claim: &Claim,
    level: f64,
) -> Result<Seen, String> {
    let own = DrawData::from_bench(bench);
    let data = fits.draw.as_ref().map_or(&own, |f| &f.data);
    if data.flow_scale != FlowScale::Airflow {
        return Err("The bench has no airflow.".to_owned());
    }
    let budgets = fits
        .budgets
        .ok_or("The airflow's uncertainty is not known.")?;
    let z = normal::upper_quantile(0.5 - 0.5 * level);
    let wanted = settings(data, claim)?;
    let list: Vec<((usize, usize), Measured)> = budgets
        .middle(data)
        .into_iter()
        .filter(|s| wanted.contains(&(s.mode, s.level)))
        .filter_map(|s| {
            let value = data.levels.get(s.level)?.flow?;
            let half = z * volume_u(s);
            let measured = Measured {
                value,
                low: (value - half).max(0.0),
                high: value + half,
            };
            (half > 0.0 && half.is_finite()).then_some(((s.mode, s.level), measured))
        })
        .collect();
    let (setting, measured) = extreme(list, false).ok_or(
        "The airflow's uncertainty is not known: no [[instrument]] states the accuracy of what read it.",
    )?;
    let shown = Figure {
        measured,
        conditions: place(data, setting, (None, None), TakenFrom::Setting),
    };
    let duct = bench.duct.section.is_some();
    Ok(Seen {
        all: vec![shown.clone()],
        shown,
        air: if claim.at.fan.is_some() {
            Air::AsStated
        } else {
            Air::NotStated("fan level".to_owned())
        },
        no_failure: duct.then(|| "Less was measured, but through the bench's duct, whose resistance takes flow away; the maker's figure may be for free air.".to_owned()),
        notes: Vec::new(),
    })
}

/// Standard uncertainty of a setting's volume flow, m3/h. Where it was measured counts for the mass flow only.
fn volume_u(s: &SettingBudget) -> f64 {
    let of = |s: &Source| {
        s.moves
            .iter()
            .filter(|m| m.0 == Channel::Airflow)
            .map(|m| m.1)
            .sum::<f64>()
    };
    s.sources
        .iter()
        .filter(|s| s.cause != Cause::FlowPlace)
        .map(of)
        .fold(0.0, f64::hypot)
}
