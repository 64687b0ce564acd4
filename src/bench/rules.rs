//! What counts as steady: the tolerances of `[steady]`.

use super::error::Fault;
use super::manifest::Section;
use crate::quantity::Dimension;

/// Tolerances that a stretch must keep to be called steady.
///
/// Readings are judged as averages over a minute ([`SteadyRules::average_s`]): published tests record at equal intervals of at most
/// one minute (AHRI certification operations manual OM 210/240, January 2017, section 5.3.4) and judge those readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SteadyRules {
    /// The shortest stretch that can be called steady, s. Key `at_least`.
    pub at_least_s: f64,
    /// Largest drift of the draw, as a fraction of it, over the stretch or half an hour, whichever is longer. Key `draw_drift`.
    pub draw_drift: f64,
    /// Largest spread (highest less lowest) of the draw, as a fraction of it. Key `draw_spread`.
    pub draw_spread: f64,
    /// Largest drift of intake and outlet, K, over the stretch or half an hour, whichever is longer. Key `temp_drift`.
    pub temp_drift_k: f64,
    /// Largest spread (highest less lowest) of intake and outlet, K. Key `temp_spread`.
    pub temp_spread_k: f64,
    /// Fewest whole on/off cycles that make a run `cycling`. Key `cycles`.
    pub cycles: usize,
}

impl Default for SteadyRules {
    fn default() -> Self {
        SteadyRules {
            // Published tests record half an hour (10 CFR 430 Subpart B Appendix M1, 3.3 b: 30 min, at samples of at most 5 min).
            // A bench run of 45 min whose start-up takes 30 has no such half hour, so a third of it is accepted and said.
            at_least_s: 600.0,
            // The published tables limit no drift of power. Supply voltage may range over 2 % (ASHRAE 37-2009, table 2, from memory),
            // and draw follows it about in proportion.
            draw_drift: 0.02,
            // Common practice, no source.
            draw_spread: 0.05,
            // Half the spread below, so that a drift cannot use up the whole of it.
            temp_drift_k: 1.0 / 1.8,
            // 2.0 degF for the dry bulb of the air entering and leaving: total range of all readings over 30 min
            // (ASHRAE 37-2009, table 2; 10 CFR 430 Subpart B Appendix M1, table for 3.3; figures from memory).
            temp_spread_k: 2.0 / 1.8,
            // Common practice, no source: two can be chance.
            cycles: 3,
        }
    }
}

impl SteadyRules {
    /// The time over which drift is judged where the stretch is shorter, s: the half hour that published tests record
    /// (10 CFR 430 Subpart B Appendix M1, 3.3 b), or three times the shortest stretch where the user has set that.
    pub fn horizon_s(&self) -> f64 {
        3.0 * self.at_least_s
    }

    /// The time over which readings are averaged before they are judged, s: one minute, or a tenth of the shortest stretch.
    pub fn average_s(&self) -> f64 {
        self.at_least_s / 10.0
    }

    pub(super) fn read(s: &Section<'_, '_>) -> Self {
        let mut rules = Self::default();
        let set = |key, dimension, slot: &mut f64| {
            if let Some(v) = s.quantity(key, dimension) {
                if v > 0.0 {
                    *slot = v;
                } else {
                    s.fault(Fault::new(
                        s.place_of(key),
                        format!("{key} of {v}"),
                        "a tolerance above zero",
                    ));
                }
            }
        };
        set("at_least", Dimension::Time, &mut rules.at_least_s);
        set("draw_drift", Dimension::Fraction, &mut rules.draw_drift);
        set("draw_spread", Dimension::Fraction, &mut rules.draw_spread);
        set(
            "temp_drift",
            Dimension::TemperatureDifference,
            &mut rules.temp_drift_k,
        );
        set(
            "temp_spread",
            Dimension::TemperatureDifference,
            &mut rules.temp_spread_k,
        );
        if let Some(n) = s.number("cycles") {
            if (2.0..=1000.0).contains(&n) && n.fract() == 0.0 {
                rules.cycles = n as usize;
            } else {
                s.fault(Fault::new(
                    s.place_of("cycles"),
                    format!("cycles = {n}"),
                    "a whole number of cycles, 2 or more",
                ));
            }
        }
        s.note_unknown_keys();
        rules
    }
}
