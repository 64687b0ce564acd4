//! How long a battery carries a setting.

use crate::bench::{Bench, BenchError};
use crate::fit::candidates::DrawFit;
use crate::fit::forms::At;
use crate::predict::{Prediction, predict};
use crate::stats::normal;

use super::chain::{AtBattery, Chain, Holds};
use super::discharge::{Discharge, DischargeError};
use super::wire::TooMuch;

/// Ampere hours of the battery that every bench can be told for.
const HUNDRED_AH: f64 = 100.0;

/// Why there is no runtime.
#[derive(Debug, thiserror::Error)]
pub enum SupplyError {
    /// The input is at fault.
    #[error(transparent)]
    Input(#[from] BenchError),
    /// The discharge test gives nothing.
    #[error("the battery's discharge test: {0}")]
    Discharge(DischargeError),
    /// Nobody says at which voltage.
    #[error(
        "no voltage is known: state the battery's with [battery] nominal_voltage = \"25.6 V\", or the unit's with [unit] supply = \"24 V\""
    )]
    NoVoltage,
    /// The cable does not carry it.
    #[error("{setting}: {reason}")]
    TooMuch {
        /// The setting.
        setting: String,
        /// Why.
        reason: TooMuch,
    },
    /// No curve says anything about the setting.
    #[error("no curve says anything about {setting}: it was never tested; run it, twice")]
    NoCurve {
        /// The setting.
        setting: String,
    },
}

/// A value with the ends of its interval; an end that nothing bounds is absent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// The value.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end; none where the draw's interval reaches zero.
    pub high: Option<f64>,
}

/// One setting at one set of conditions.
#[derive(Clone, Debug)]
pub struct RuntimeRow {
    /// The draw at the unit's terminals.
    pub draw: Prediction,
    /// The same at the battery's.
    pub battery: AtBattery,
    /// Current when the battery is nearly empty, A; where a cut-off voltage is stated.
    pub empty_a: Option<f64>,
    /// Hours for every 100 Ah taken out at nominal voltage.
    pub per_100ah: Span,
    /// Hours on the bench's battery, its usable share; none where none is stated.
    pub hours: Option<Span>,
}

/// The supply of a bench.
#[derive(Clone, Debug)]
pub struct Supply {
    /// Converter, cable, voltage.
    pub chain: Chain,
    /// What the battery gives; none where neither a rating nor a test is there.
    pub holds: Option<Holds>,
    /// Its discharge test.
    pub tested: Option<Discharge>,
    /// Nominal voltage of the 100 Ah, V.
    pub nominal_v: f64,
}

impl Supply {
    /// Reads a bench's supply, with the discharge test that its `[battery.discharge]` names.
    ///
    /// # Errors
    /// [`SupplyError`] for a test that cannot be read, or where no voltage is known.
    pub fn of(bench: &Bench, level: f64) -> Result<Supply, SupplyError> {
        use super::discharge::{DischargeOptions, Rating, bench_files};
        let battery = bench.supply.battery.as_ref();
        let files = bench_files(bench)?;
        let tested = if files.is_empty() {
            None
        } else {
            let rating = battery.map(Rating::of).unwrap_or_default();
            let read = Discharge::of(&files, DischargeOptions::from_bench(bench), rating);
            Some(read.map_err(|e| match e {
                DischargeError::Read(e) => SupplyError::Input(e),
                other => SupplyError::Discharge(other),
            })?)
        };
        let tested_v = tested
            .as_ref()
            .and_then(Discharge::headline)
            .map(|h| h.mean_v);
        let chain = Chain::of(bench, tested_v).ok_or(SupplyError::NoVoltage)?;
        Ok(Supply {
            nominal_v: battery
                .and_then(|b| b.nominal_v)
                .or(bench.unit.supply_v)
                .unwrap_or(chain.volts),
            holds: battery.and_then(|b| Holds::of(b, tested.as_ref(), level)),
            chain,
            tested,
        })
    }

    /// Runtime at a setting and conditions.
    ///
    /// Hours are energy over power at the battery. In logarithms the half widths of draw (the long-run mean's interval, each side by itself),
    /// battery and losses are independent and add in quadrature (JCGM 100, 5.1.2); a test compares with Monte Carlo.
    ///
    /// # Errors
    /// [`SupplyError::NoCurve`], [`SupplyError::TooMuch`].
    pub fn runtime(
        &self,
        bench: &Bench,
        fit: &DrawFit,
        at: At,
        level: f64,
    ) -> Result<RuntimeRow, SupplyError> {
        let setting = || setting_name(fit, at);
        let draw = predict(bench, fit, at, level)
            .ok_or_else(|| SupplyError::NoCurve { setting: setting() })?;
        let through = |w: f64| {
            self.chain
                .at_battery(w)
                .map_err(|reason| SupplyError::TooMuch {
                    setting: setting(),
                    reason,
                })
        };
        let battery = through(draw.draw_w)?;
        let less = through(draw.mean_w.0)?.power_w;
        // The upper end of the interval may be more than the cable carries; the draw itself is not.
        let more = self
            .chain
            .at_battery(draw.mean_w.1)
            .map_or(f64::INFINITY, |b| b.power_w);
        let losses = normal::quantile(0.5 + 0.5 * level) * battery.losses_u;
        let ends = Ends {
            shorter: (more / battery.power_w).ln().max(0.0),
            longer: if less > 0.0 {
                (battery.power_w / less).ln().max(0.0)
            } else {
                f64::INFINITY
            },
            losses,
        };
        let holds = self.holds.as_ref();
        let cutoff = bench.supply.battery.as_ref().and_then(|b| b.cutoff_v);
        Ok(RuntimeRow {
            per_100ah: ends.span(HUNDRED_AH * self.nominal_v / battery.power_w, 0.0),
            hours: holds
                .map(|h| ends.span(h.usable_wh(battery.current_a) / battery.power_w, h.half)),
            empty_a: cutoff
                .and_then(|v| self.chain.at_voltage(draw.draw_w, v).ok())
                .map(|b| b.current_a),
            draw,
            battery,
        })
    }
}

/// Half widths in logarithms.
struct Ends {
    shorter: f64,
    longer: f64,
    losses: f64,
}

impl Ends {
    fn span(&self, value: f64, battery: f64) -> Span {
        let join = |draw: f64| draw.hypot(battery).hypot(self.losses);
        let high = value * join(self.longer).exp();
        Span {
            value,
            low: value * (-join(self.shorter)).exp(),
            high: high.is_finite().then_some(high),
        }
    }
}

/// "cruise, fan 3".
pub(super) fn setting_name(fit: &DrawFit, at: At) -> String {
    let level = fit
        .data
        .levels
        .get(at.level)
        .map_or("", |l| l.label.as_str());
    match fit.data.modes.get(at.mode).map_or("", String::as_str) {
        "" => format!("fan {level}"),
        mode => format!("{mode}, fan {level}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::random::{normal as draw_normal, stream};

    #[test]
    fn the_interval_is_that_of_a_monte_carlo() {
        // Draw 200 W with mean interval 190 to 212 W, battery 2400 Wh ± 4 %, losses u = 1 %: hours of 12.
        let ends = Ends {
            shorter: (212.0f64 / 200.0).ln(),
            longer: (200.0f64 / 190.0).ln(),
            losses: 1.96 * 0.01,
        };
        let span = ends.span(12.0, 0.04);
        let mut rng = stream(7, 0);
        let mut hours: Vec<f64> = (0..200_000)
            .map(|_| {
                let z = draw_normal(&mut rng);
                let side = if z > 0.0 { ends.shorter } else { ends.longer };
                let power = 200.0 * (z / 1.96 * side).exp() * (1.0 + 0.01 * draw_normal(&mut rng));
                2400.0 * (1.0 + 0.04 / 1.96 * draw_normal(&mut rng)) / power
            })
            .collect();
        hours.sort_by(f64::total_cmp);
        let (low, high) = (hours[5_000], hours[195_000]);
        // Half a width is 0.9 h; agreement within 3 % of that, where the Monte Carlo itself is good to 1 %.
        assert!((span.low - low).abs() < 0.03, "{} {low}", span.low);
        assert!(
            (span.high.unwrap() - high).abs() < 0.03,
            "{:?} {high}",
            span.high
        );
    }
}
