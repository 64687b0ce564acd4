//! How a unit's control board sets the compressor's speed from the fan level and the intake temperature.

/// What the fan level does to the compressor's speed.
#[derive(Debug, Clone, PartialEq)]
pub enum ByFan {
    /// Nothing: one speed at every level.
    Fixed,
    /// Speed goes with the level's airflow to a power.
    Power {
        /// 1 would hold the speed in proportion to airflow.
        exponent: f64,
    },
    /// A table: one speed factor for each level, lowest level first; levels beyond the table take its last entry.
    Table(Vec<f64>),
}

/// What the intake temperature does to the compressor's speed.
#[derive(Debug, Clone, PartialEq)]
pub enum ByIntake {
    /// Nothing.
    Ignored,
    /// The speed factor rises in a straight line from `low` at `from_c` to 1 at `to_c`, and is clipped outside.
    Ramp {
        /// Where the rise begins, °C.
        from_c: f64,
        /// Where the top speed is reached, °C.
        to_c: f64,
        /// Factor at and below `from_c`.
        low: f64,
    },
    /// Steps in the intake's excess over the set temperature: `factors[i]` until the excess passes `edges_k[i]`.
    Steps {
        /// Set temperature, °C.
        set_c: f64,
        /// Excess at which the next factor begins, K, rising.
        edges_k: Vec<f64>,
        /// One factor more than there are edges; the last holds beyond the last edge.
        factors: Vec<f64>,
    },
}

impl ByIntake {
    /// Whether it steps up to `beyond_k` above the intakes from `low_c` to `high_c` and nowhere between them: nobody who ran those intakes has
    /// seen it step.
    pub fn steps_only_beyond(&self, low_c: f64, high_c: f64, beyond_k: f64) -> bool {
        let Self::Steps { set_c, edges_k, .. } = self else {
            return false;
        };
        let any_in = |from: f64, to: f64| {
            let mut edges = edges_k.iter().map(|e| e + set_c);
            edges.any(|e| from < e && e < to)
        };
        !any_in(low_c, high_c) && any_in(high_c, high_c + beyond_k)
    }
}

/// One mode's rule: speed = `full` × fan factor × intake factor.
#[derive(Debug, Clone, PartialEq)]
pub struct Control {
    /// Relative compressor speed where both factors are 1.
    pub full: f64,
    /// The fan level's factor.
    pub by_fan: ByFan,
    /// The intake's factor.
    pub by_intake: ByIntake,
}

impl Control {
    /// Relative compressor speed at fan `level` (0 for the lowest), whose airflow is `flow_share` of the highest level's.
    pub fn speed(&self, level: usize, flow_share: f64, intake_c: f64) -> f64 {
        let fan = match &self.by_fan {
            ByFan::Fixed => 1.0,
            ByFan::Power { exponent } => flow_share.powf(*exponent),
            ByFan::Table(factors) => factors
                .get(level)
                .or(factors.last())
                .copied()
                .unwrap_or(1.0),
        };
        let intake = match &self.by_intake {
            ByIntake::Ignored => 1.0,
            ByIntake::Ramp { from_c, to_c, low } => {
                let along = ((intake_c - from_c) / (to_c - from_c)).clamp(0.0, 1.0);
                low + (1.0 - low) * along
            }
            ByIntake::Steps {
                set_c,
                edges_k,
                factors,
            } => {
                let passed = edges_k
                    .iter()
                    .filter(|edge| intake_c - set_c > **edge)
                    .count();
                factors
                    .get(passed)
                    .or(factors.last())
                    .copied()
                    .unwrap_or(1.0)
            }
        };
        self.full * fan * intake
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_clips_at_both_ends() {
        let ramp = ByIntake::Ramp {
            from_c: 24.0,
            to_c: 34.0,
            low: 0.6,
        };
        let control = Control {
            full: 1.2,
            by_fan: ByFan::Fixed,
            by_intake: ramp,
        };
        let speeds = [20.0, 24.0, 29.0, 34.0, 40.0].map(|t| control.speed(0, 1.0, t));
        for (speed, expected) in speeds.iter().zip([0.72, 0.72, 0.96, 1.2, 1.2]) {
            assert!((speed - expected).abs() < 1e-12, "{speeds:?}");
        }
    }

    #[test]
    fn steps_hold_between_their_edges() {
        let by_intake = ByIntake::Steps {
            set_c: 20.0,
            edges_k: vec![3.0, 7.0],
            factors: vec![0.5, 0.8, 1.0],
        };
        let control = Control {
            full: 1.0,
            by_fan: ByFan::Fixed,
            by_intake,
        };
        assert_eq!(
            [22.0, 23.0, 24.0, 27.5, 50.0].map(|t| control.speed(3, 0.4, t)),
            [0.5, 0.5, 0.8, 1.0, 1.0]
        );
    }

    #[test]
    fn a_step_beyond_the_tests_is_hidden_unless_another_is_seen() {
        let steps = |edges_k: Vec<f64>| ByIntake::Steps {
            set_c: 20.0,
            edges_k,
            factors: vec![0.5, 0.8, 1.0],
        };
        let hidden = |edges: Vec<f64>| steps(edges).steps_only_beyond(24.0, 30.0, 3.0);
        assert!(hidden(vec![2.0, 12.0]));
        assert!(!hidden(vec![6.0, 12.0]), "one is among the tests");
        assert!(!hidden(vec![2.0, 14.0]), "too far to be asked about");
        assert!(!ByIntake::Ignored.steps_only_beyond(24.0, 30.0, 3.0));
    }

    #[test]
    fn fan_rules_read_airflow_or_level() {
        let with = |by_fan| Control {
            full: 2.0,
            by_fan,
            by_intake: ByIntake::Ignored,
        };
        assert_eq!(
            with(ByFan::Power { exponent: 2.0 }).speed(0, 0.5, 30.0),
            0.5
        );
        let table = with(ByFan::Table(vec![0.5, 0.75]));
        assert_eq!(
            [0, 1, 2].map(|level| table.speed(level, 1.0, 30.0)),
            [1.0, 1.5, 1.5]
        );
    }
}
