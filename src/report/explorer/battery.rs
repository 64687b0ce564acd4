//! The supply as a page needs it: what `runtime` knows of converter, cable and battery.

use serde::Serialize;

use crate::bench::Bench;
use crate::stats::normal;
use crate::supply::chain::Chain;
use crate::supply::runtime::Supply;

/// Converter, cable, battery.
#[derive(Serialize)]
pub(super) struct SupplyModel {
    /// Half width of an interval for each standard uncertainty of the losses.
    normal: f64,
    ohm: f64,
    ohm_u: f64,
    efficiency: f64,
    efficiency_u: f64,
    idle_w: f64,
    cable_max_a: Option<f64>,
    /// The voltage of the runs or of the unit, for a battery that the reader names.
    volts: Option<f64>,
    battery: Option<BatteryModel>,
}

/// The bench's own battery.
#[derive(Serialize)]
struct BatteryModel {
    volts: f64,
    energy_wh: f64,
    half: f64,
    usable: f64,
    peukert: Option<(f64, f64)>,
    cutoff_v: Option<f64>,
    max_a: Option<f64>,
    fuse_a: Option<f64>,
}

/// The supply of a bench; `known` where a voltage is.
pub(super) fn supply(bench: &Bench, known: Option<&Supply>, level: f64) -> SupplyModel {
    // With a voltage given there is always a chain; its losses do not depend on which.
    let chain = known
        .map(|s| s.chain.clone())
        .or_else(|| Chain::of(bench, Some(1.0)));
    let own = bench.supply.battery.as_ref();
    let battery = known.and_then(|s| {
        let holds = s.holds?;
        Some(BatteryModel {
            volts: s.chain.volts,
            energy_wh: holds.energy_wh,
            half: holds.half,
            usable: holds.usable,
            peukert: holds.peukert,
            cutoff_v: own.and_then(|b| b.cutoff_v),
            max_a: own.and_then(|b| b.max_current_a),
            fuse_a: own.and_then(|b| b.fuse_a),
        })
    });
    SupplyModel {
        normal: normal::quantile(0.5 + 0.5 * level),
        ohm: chain.as_ref().map_or(0.0, |c| c.ohm),
        ohm_u: chain.as_ref().map_or(0.0, |c| c.ohm_u),
        efficiency: chain.as_ref().map_or(1.0, |c| c.efficiency),
        efficiency_u: chain.as_ref().map_or(0.0, |c| c.efficiency_u),
        idle_w: chain.as_ref().map_or(0.0, |c| c.idle_w),
        cable_max_a: bench.supply.cable.and_then(|c| c.max_current_a),
        volts: known.map(|s| s.nominal_v),
        battery,
    }
}
