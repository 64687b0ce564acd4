//! What a runtime rests on, in sentences.

use crate::bench::Bench;
use crate::quantity::{Dimension, System};

use super::runtime::Supply;

/// What the hours rest on: voltage, battery, losses, and what was not stated.
pub fn runtime_notes(bench: &Bench, supply: &Supply, system: System) -> Vec<String> {
    let chain = &supply.chain;
    let info = &bench.supply;
    let mut notes = vec![format!(
        "Currents are for {:.2} V at the battery ({}); a load of constant power takes more as the voltage falls. “per 100 Ah” is for every 100 Ah taken out at {:.1} V, {:.0} Wh.",
        chain.volts,
        chain.volts_from,
        supply.nominal_v,
        100.0 * supply.nominal_v
    )];
    match (&supply.holds, info.battery.as_ref()) {
        (Some(h), Some(b)) => {
            let usable = if h.usable_stated {
                format!("{:.0} % of it may be used", 100.0 * h.usable)
            } else {
                "all of it is used, since no usable share is stated".to_owned()
            };
            notes.push(if h.measured {
                format!("The battery holds {:.0} Wh by its discharge test; {usable}.", h.energy_wh)
            } else {
                let doubt = match b.tolerance {
                    Some(t) => format!("taken within ±{:.1} % of it", 100.0 * t),
                    None => "taken as exact, since no tolerance is stated and no discharge test is there".to_owned(),
                };
                format!("The battery holds {:.0} Wh by its rating, {doubt}; {usable}.", h.energy_wh)
            });
            notes.push(match h.peukert {
                Some((p, at_a)) => format!("Peukert's law is applied with the exponent stated, {p}, about {at_a:.1} A."),
                None => "No Peukert effect is applied, since no exponent is stated; it is small for lithium cells and large for lead ones.".to_owned(),
            });
        }
        _ => notes.push("No battery is stated ([battery] with nominal_voltage and capacity), so hours are given for every 100 Ah only.".to_owned()),
    }
    notes.push(match (&info.cable, &info.converter) {
        (None, None) => "No [cable] and no [converter] are stated: the draw at the unit's terminals is taken as the battery's.".to_owned(),
        (cable, converter) => {
            let mut parts = Vec::new();
            if let Some(c) = converter {
                parts.push(format!(
                    "a converter of {:.1} %{}",
                    100.0 * c.efficiency,
                    if c.idle_w > 0.0 { format!(" and {:.1} W for itself", c.idle_w) } else { String::new() }
                ));
            }
            if let Some(c) = cable {
                parts.push(format!(
                    "a cable of {:.2} mohm there and back (copper at {}{})",
                    1000.0 * chain.ohm,
                    system.shown(Dimension::Temperature, c.conductor_c, 0),
                    if c.conductor_stated { "" } else { ", since no conductor_temp is stated: a warm one has some 0.4 % more for each kelvin" }
                ));
            }
            format!("Losses between battery and unit: {}.", parts.join(", "))
        }
    });
    notes
}
