//! One discharge, as summed.

/// Points of a trace kept.
const TRACE: usize = 1000;

/// Pauses in which the current is not known. Estimates run straight from reading to reading; the ends hold whatever flowed: at least nothing, or
/// the log's smallest load where the load is known to have gone on; at most the log's largest current throughout. The voltage after a pause does
/// not tell: under load again, a battery that rested is back on its plateau.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Gaps {
    /// How many.
    pub count: usize,
    /// The longest, s.
    pub longest_s: f64,
    /// Whether the battery may have rested in one of them.
    pub rested: bool,
    /// Their estimated charge, Ah.
    pub charge_ah: f64,
    /// How much less may have flowed, Ah.
    pub less_ah: f64,
    /// How much more may have flowed, Ah.
    pub more_ah: f64,
    /// The same for energy, Wh.
    pub less_wh: f64,
    /// See `less_wh`.
    pub more_wh: f64,
}

/// One discharge.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Test {
    /// When the load came on, s on the log's clock.
    pub start_s: f64,
    /// When it ended, s on the log's clock.
    pub end_s: f64,
    /// Time under load, h.
    pub load_h: f64,
    /// Charge, Ah.
    pub charge_ah: f64,
    /// Energy, Wh.
    pub energy_wh: f64,
    /// Integral of the voltage over the time under load, V h: what a constant error of the current meter is worth in energy.
    pub volt_hours: f64,
    /// Voltage of the first reading under load, V.
    pub start_v: f64,
    /// Voltage at the end, V.
    pub end_v: f64,
    /// Whether the cut-off voltage was reached; none where none was stated.
    pub reached_cutoff: Option<bool>,
    /// Times that the voltage dipped below the cut-off for a single reading.
    pub dips: usize,
    /// Pauses in the log, under load.
    pub gaps: Gaps,
    /// Readings on either side of a load that came or went: charge that may lie in between, as the sum of squares of half widths, Ah².
    pub edges_ah2: f64,
    /// The same for energy, Wh².
    pub edges_wh2: f64,
    /// Charge put back during the test, Ah: not subtracted.
    pub returned_ah: f64,
    /// Charge that flowed out below the smallest current counted, Ah: left out.
    pub below_ah: f64,
    /// Voltage against charge: (Ah, V), thinned.
    pub trace: Vec<(f64, f64)>,
    pub(super) every: usize,
    pub(super) rows: usize,
}

impl Test {
    /// Mean voltage, weighed by current: Wh/Ah, V.
    pub fn mean_v(&self) -> f64 {
        self.energy_wh / self.charge_ah
    }

    /// Mean current under load, A.
    pub fn mean_a(&self) -> f64 {
        self.charge_ah / self.load_h
    }

    /// Standard uncertainty from what lies between readings: each gap and edge anywhere between its ends (rectangular, JCGM 100, 4.3.7).
    pub fn between_readings_u(&self) -> (f64, f64) {
        let gap_ah = self.gaps.less_ah.max(self.gaps.more_ah);
        let gap_wh = self.gaps.less_wh.max(self.gaps.more_wh);
        let u = |gap: f64, edges2: f64| ((gap * gap + edges2) / 3.0).sqrt();
        (u(gap_ah, self.edges_ah2), u(gap_wh, self.edges_wh2))
    }

    /// Adds a point to the trace; when it is full, every other is dropped and from then on half as many are kept.
    pub(super) fn add_to_trace(&mut self, v: f64) {
        self.rows += 1;
        if !self.rows.is_multiple_of(self.every.max(1)) {
            return;
        }
        self.trace.push((self.charge_ah, v));
        if self.trace.len() >= TRACE {
            let mut keep = false;
            self.trace.retain(|_| {
                keep = !keep;
                keep
            });
            self.every = 2 * self.every.max(1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_trace_is_thinned_evenly() {
        let mut test = Test::default();
        for row in 1..=2500 {
            test.charge_ah = f64::from(row);
            test.add_to_trace(30.0 - test.charge_ah / 500.0);
        }
        // By hand: 1000 rows fill it, the odd ones stay; every second to row 2000 fills it again, 250 of the first and 250 of the
        // second half stay; every fourth row from 2004 to 2500 makes 125 more.
        assert_eq!((test.trace.len(), test.every, test.rows), (625, 4, 2500));
        let ah: Vec<f64> = test.trace.iter().map(|p| p.0).collect();
        assert_eq!(
            (ah[0], ah[249], ah[250], ah[499], ah[500], ah[624]),
            (1.0, 997.0, 1002.0, 1998.0, 2004.0, 2500.0)
        );
        assert!(
            test.trace
                .iter()
                .all(|(q, v)| (v - (30.0 - q / 500.0)).abs() < 1e-12)
        );
    }
}
