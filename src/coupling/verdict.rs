//! From intervals to a verdict.

use super::elasticity::Elasticity;

/// The answer to "are fan level and compressor tied together?".
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// The whole interval lies beyond the allowance.
    Coupled,
    /// The whole interval lies inside the allowance.
    Independent,
    /// Neither is shown.
    Undecided,
}

impl Verdict {
    /// The word.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Coupled => "coupled",
            Verdict::Independent => "independent",
            Verdict::Undecided => "undecided",
        }
    }
}

/// How much a fixed-speed compressor's draw may follow airflow by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Allowance {
    /// On the rising side.
    pub up: f64,
    /// On the falling side, as a negative number.
    pub down: f64,
}

/// Default on the rising side: published curve sets at fixed speed lie within −0.16 … +0.16, most within −0.05 … +0.10
/// (42 sets of Cutler, Winkler, Kruis, Christensen, Brandemuehl 2013, NREL/TP-5500-56354, evaluated; see tests/reference/air).
pub const DEFAULT_ALLOWANCE: f64 = 0.2;
/// The falling side is twice as wide. With cool ambient air the lift is small, and more air over the evaporator
/// raises its temperature by some kelvin: d ln(lift)/d ln(airflow) of −5 K / 20 K = −0.25 is the compressor's own doing
/// (Carnot work; common practice, no source for the figures). A control that slows the compressor as the fan rises would go beyond it.
const FALLING_SIDE: f64 = 2.0;

impl Allowance {
    /// An allowance of `up` on the rising side.
    pub fn new(up: f64) -> Self {
        Allowance {
            up,
            down: -FALLING_SIDE * up,
        }
    }

    /// What an interval shows.
    pub fn judge(&self, e: &Elasticity) -> Verdict {
        if e.low > self.up || e.high < self.down {
            Verdict::Coupled
        } else if e.low >= self.down && e.high <= self.up {
            Verdict::Independent
        } else {
            Verdict::Undecided
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn interval(low: f64, high: f64) -> Elasticity {
        Elasticity {
            value: 0.5 * (low + high),
            low,
            high,
            u: 0.0,
            dof: 9,
        }
    }

    #[test]
    fn the_whole_interval_must_lie_on_one_side() {
        let a = Allowance::new(0.2);
        assert_eq!(a.judge(&interval(0.21, 0.9)), Verdict::Coupled);
        assert_eq!(a.judge(&interval(0.19, 0.9)), Verdict::Undecided);
        assert_eq!(a.judge(&interval(-0.1, 0.2)), Verdict::Independent);
        assert_eq!(a.judge(&interval(-0.39, 0.1)), Verdict::Independent);
        assert_eq!(a.judge(&interval(-0.45, 0.1)), Verdict::Undecided);
        assert_eq!(a.judge(&interval(-0.9, -0.45)), Verdict::Coupled);
    }
}
