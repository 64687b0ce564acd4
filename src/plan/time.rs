//! How long a plan takes.

use crate::bench::Kind;
use crate::steady::{Reduction, RunResult, Status};

use super::Plan;

/// How long runs take, s, from one setting to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RunTimes {
    /// A cooling run: until it is steady, and the steady stretch.
    pub cooling_s: f64,
    /// A fan-only run.
    pub fan_only_s: f64,
    /// A standby run.
    pub standby_s: f64,
    /// More, where the intake is changed.
    pub intake_change_s: f64,
    /// Steady cooling runs of the logs that the time of a cooling run is taken from; 0 where it is common practice.
    pub from_runs: usize,
}

impl RunTimes {
    /// Common practice, no source: 45 min a cooling run, 10 min a fan-only run, 5 min at standby, and half an hour for a room to settle
    /// at another temperature.
    pub const COMMON: RunTimes = RunTimes {
        cooling_s: 2700.0,
        fan_only_s: 600.0,
        standby_s: 300.0,
        intake_change_s: 1800.0,
        from_runs: 0,
    };

    /// From the runs of a bench of logs: the time until the steady stretch began, which three cooling runs in four kept within, and the
    /// shortest stretch that the bench accepts (`at_least_s`). What no run tells stays common practice. None without a steady cooling run.
    pub fn seen(reduction: &Reduction, at_least_s: f64) -> Option<RunTimes> {
        let until = |kind: Kind| {
            let mut times: Vec<f64> = { reduction.runs.iter() }
                .filter(|r| r.row.kind == kind && r.judged.status == Status::Steady)
                .filter_map(settled_after_s)
                .collect();
            times.sort_by(f64::total_cmp);
            let at = (3 * times.len()).div_ceil(4).checked_sub(1)?;
            Some((times.get(at)? + at_least_s, times.len()))
        };
        let (cooling_s, from_runs) = until(Kind::Cooling)?;
        let common = RunTimes::COMMON;
        Some(RunTimes {
            cooling_s,
            fan_only_s: until(Kind::FanOnly).map_or(common.fan_only_s, |t| t.0),
            standby_s: until(Kind::Standby).map_or(common.standby_s, |t| t.0),
            intake_change_s: common.intake_change_s,
            from_runs,
        })
    }
}

impl RunTimes {
    /// Time of a cooling run, h.
    pub fn cooling_h(&self) -> f64 {
        self.cooling_s / 3600.0
    }
}

fn settled_after_s(run: &RunResult) -> Option<f64> {
    let start = run.judged.plateau.as_ref()?.span.start;
    let after = start - run.window.start;
    (after.is_finite() && after >= 0.0).then_some(after)
}

/// Time that a plan needs.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct TimeNeeded {
    /// In all, h.
    pub total_h: f64,
    /// Of each block, h.
    pub blocks_h: Vec<f64>,
    /// How often the intake is changed, the first setting of each block included.
    pub intake_changes: usize,
}

impl TimeNeeded {
    /// Adds up a plan's runs.
    pub fn of(plan: &Plan, times: &RunTimes) -> TimeNeeded {
        let mut blocks_h = vec![0.0; plan.design.blocks];
        let mut intake_changes = 0;
        let mut last = None;
        for run in &plan.runs {
            let mut seconds = match run.kind {
                Kind::Cooling => times.cooling_s,
                Kind::FanOnly => times.fan_only_s,
                Kind::Standby => times.standby_s,
            };
            if run.intake.is_some() {
                if last != Some((run.block, run.intake)) {
                    intake_changes += 1;
                    seconds += times.intake_change_s;
                }
                last = Some((run.block, run.intake));
            }
            if let Some(block) = blocks_h.get_mut(run.block) {
                *block += seconds / 3600.0;
            }
        }
        TimeNeeded {
            total_h: blocks_h.iter().sum(),
            blocks_h,
            intake_changes,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    use crate::bench::Place;
    use crate::bench::logs::RunRow;
    use crate::logs::Span;
    use crate::steady::{Judged, Plateau};

    /// A run whose window begins at 100 s, with a stretch that begins at `from_s`.
    fn run(status: Status, from_s: f64) -> RunResult {
        let place = Place::file("runs.csv");
        RunResult {
            row: RunRow {
                run: "r".to_owned(),
                kind: Kind::Cooling,
                mode: String::new(),
                fan: "1".to_owned(),
                block: String::new(),
                order: String::new(),
                start: String::new(),
                start_place: place.clone(),
                end: String::new(),
                end_place: place,
                constants: Vec::new(),
            },
            window: Span {
                start: 100.0,
                end: 9000.0,
            },
            judged: Judged {
                status,
                plateau: Some(Plateau {
                    span: Span {
                        start: from_s,
                        end: 9000.0,
                    },
                    values: BTreeMap::new(),
                }),
                plateaus: Vec::new(),
                cycles: None,
                reason: String::new(),
                notes: Vec::new(),
            },
            left_out: Vec::new(),
            traces: Vec::new(),
        }
    }

    #[test]
    fn three_steady_runs_in_four_are_settled_within_the_time_seen() {
        // Steady 10, 20, 30 and 40 min after the window's start: three in four within 30 min. A run that cycles does not count, nor one
        // without a time that can be.
        let mut reduction = Reduction {
            runs: [1300.0, 700.0, 2500.0, 1900.0]
                .map(|s| run(Status::Steady, s))
                .to_vec(),
            logs: Vec::new(),
            shifts: Vec::new(),
            findings: Vec::new(),
            elapsed: true,
        };
        reduction.runs.push(run(Status::Cycling, 4000.0));
        reduction.runs.push(run(Status::Steady, f64::INFINITY));
        reduction.runs.push(run(Status::Steady, 50.0));
        let times = RunTimes::seen(&reduction, 1800.0).unwrap();
        assert_eq!((times.cooling_s, times.from_runs), (3600.0, 4));
        assert_eq!(times.fan_only_s, RunTimes::COMMON.fan_only_s);
        reduction.runs = vec![run(Status::Cycling, 4000.0)];
        assert_eq!(RunTimes::seen(&reduction, 1800.0), None);
    }
}
