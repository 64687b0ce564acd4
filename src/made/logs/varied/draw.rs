//! What happens in a varied run, drawn from dice.

use super::{Burden, Sort};
use crate::made::dice::Dice;
use crate::made::logs::plan::Style;

/// How the loggers of a bench read.
#[derive(Debug, Clone, Copy)]
pub struct Habits {
    /// Steps of the current (A) and of the temperatures (K).
    pub steps: (f64, f64),
    /// What weighs on the bench.
    pub burden: Burden,
}

/// The shape of a start-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Start {
    /// From a share of the draw towards it, with a time constant in s.
    Rise(f64, f64),
    /// In a straight line from half of it, for so many seconds.
    Ramp(f64),
    /// At so many times the draw for so many seconds, then down with a time constant of 30 s.
    Boost(f64, f64),
    /// Swings about the draw by a share, dying away with a time constant, with a period, in s.
    Ringing(f64, f64, f64),
}

/// Cycles.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    /// Length, s.
    pub period_s: f64,
    /// Share of it that is on.
    pub duty: f64,
    /// How much half cycles vary in length, share.
    pub jitter: f64,
    /// Draw in the pause, W.
    pub low_w: f64,
    /// Surge at each start, share, and its time constant, s.
    pub surge: (f64, f64),
    /// Change of the draw from the start to the end of the on phase, share.
    pub sag: f64,
}

/// A run as it is to happen. Times in s.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// What it is.
    pub sort: Sort,
    /// When the window starts, s since 1970.
    pub start: f64,
    /// How long it is.
    pub window_s: f64,
    /// Fan level.
    pub fan: usize,
    /// The blower's own draw, W.
    pub blower_w: f64,
    /// From which moment of the window on the draw aims at so many W.
    pub settings: Vec<(f64, f64)>,
    /// Intake, degC.
    pub intake_c: f64,
    /// Ambient, degC.
    pub ambient_c: f64,
    /// How much cooler the outlet is, K.
    pub drop_k: f64,
    /// The start-up.
    pub start_up: Start,
    /// How far below or above the draw still is after the start-up (share), and with which time constant it gets there.
    pub tail: (f64, f64),
    /// From when to when in the window the unit is on.
    pub on: (f64, f64),
    /// The compressor starts so long after the unit.
    pub delay_s: f64,
    /// Drift of the draw by itself over the window, share.
    pub drift_share: f64,
    /// Drift of the intake over the window, K; the draw follows by 3 % a kelvin.
    pub drift_k: f64,
    /// How far the draw wanders (share) and how slowly.
    pub wander: (f64, f64),
    /// The heater's ripple in the intake, K, and its period.
    pub ripple: (f64, f64),
    /// Cycles.
    pub cycle: Option<Cycle>,
    /// Pauses in the readings of the meter: from, to in the window.
    pub meter_gaps: Vec<(f64, f64)>,
    /// The same of the thermometers.
    pub air_gaps: Vec<(f64, f64)>,
    /// Share of readings that drop out.
    pub drop_outs: f64,
}

impl Drawn {
    /// Draw, intake and outlet once settled, where the run settles at all.
    pub fn settled(&self) -> Option<[f64; 3]> {
        let settles = self.sort.status() == "steady" && self.sort != Sort::DriftInside;
        let watts = self.settings.last()?.1;
        settles.then_some([watts, self.intake_c, self.intake_c - self.drop_k])
    }

    /// A run of a sort that starts at `start`.
    pub fn of(sort: Sort, start: f64, style: &Style, habits: &Habits, dice: &mut Dice) -> Self {
        let fan = dice.whole(1, 4);
        let blower_w = dice.between(4.0, 9.0) * (fan * fan) as f64;
        let watts = blower_w + dice.between(60.0, 320.0);
        let minutes = match sort {
            Sort::Short => dice.between(2.0, 8.0),
            Sort::Unfinished => dice.between(12.0, 20.0),
            Sort::Few => dice.between(16.0, 28.0),
            Sort::LongStart => dice.between(65.0, 110.0),
            Sort::SlowTail => dice.between(60.0, 120.0),
            Sort::ThreeSettings => dice.between(75.0, 150.0),
            _ if dice.chance(0.12) => dice.between(90.0, 300.0),
            _ => dice.between(40.0, 90.0),
        };
        let window_s = 60.0 * f64::round(minutes);
        let mut run = Drawn {
            sort,
            start,
            window_s,
            fan,
            blower_w,
            settings: vec![(0.0, watts)],
            intake_c: dice.between(20.0, 40.0),
            ambient_c: dice.between(18.0, 40.0),
            drop_k: dice.between(4.0, 13.0),
            start_up: start_up(sort, window_s, dice),
            tail: (0.0, 1.0),
            on: (f64::NEG_INFINITY, f64::INFINITY),
            delay_s: if style.delays && dice.chance(0.3) && sort != Sort::Few {
                dice.between(20.0, 180.0)
            } else {
                0.0
            },
            drift_share: 0.0,
            drift_k: 0.0,
            wander: (0.0, 1.0),
            ripple: if dice.chance(0.3) {
                (dice.between(0.05, 0.25), dice.between(120.0, 900.0))
            } else {
                (0.0, 1.0)
            },
            cycle: None,
            meter_gaps: Vec::new(),
            air_gaps: Vec::new(),
            drop_outs: 0.0,
        };
        run.shape(watts, style, habits, dice);
        run
    }

    /// What makes the run one of its sort.
    fn shape(&mut self, watts: f64, style: &Style, habits: &Habits, dice: &mut Dice) {
        let sign = if dice.chance(0.5) { 1.0 } else { -1.0 };
        let window = self.window_s;
        match self.sort {
            Sort::SlowTail => {
                self.tail = (
                    sign * dice.between(0.015, 0.05),
                    dice.between(480.0, 0.25 * window),
                );
            }
            Sort::Gap => {
                for _ in 0..dice.whole(1, 3) {
                    let length = dice.between(60.0, 0.2 * window);
                    let from = dice.between(0.2 * window, 0.95 * window - length);
                    let which = dice.whole(0, 2);
                    if which != 1 {
                        self.meter_gaps.push((from, from + length));
                    }
                    if which != 0 {
                        self.air_gaps.push((from, from + length));
                    }
                }
            }
            Sort::LateLog => {
                let length = dice.between(180.0, 0.35 * window);
                let gap = if dice.chance(0.5) {
                    (f64::NEG_INFINITY, length)
                } else {
                    (window - length, f64::INFINITY)
                };
                if dice.chance(0.5) {
                    self.meter_gaps.push(gap);
                } else {
                    self.air_gaps.push(gap);
                }
            }
            Sort::DropOuts => self.drop_outs = dice.between(0.003, 0.02),
            Sort::DriftInside | Sort::DriftOutside => {
                let inside = self.sort == Sort::DriftInside;
                // As shares of what is allowed over the window or half an hour: 2 % of the draw, 0.56 K of the intake, either of which
                // the draw follows by 3 % a kelvin, so that the draw keeps the tighter bound.
                let times = if inside {
                    dice.between(0.3, 0.7)
                } else {
                    dice.between(1.4, 4.0)
                };
                let horizons = if inside {
                    1.0_f64.max(1800.0 / window)
                } else {
                    window / 1800.0
                };
                // What a coarse display can show at all.
                let seen = if inside {
                    0.0
                } else {
                    4.0 * habits.steps.0 * style.supply_v / watts
                };
                self.start_up = Start::Rise(1.0, dice.between(5.0, 60.0));
                if dice.chance(0.5) {
                    self.drift_share =
                        sign * (0.02 * times * if inside { 1.0 } else { horizons }).max(seen);
                } else {
                    self.drift_k = sign
                        * (0.02 / 0.03 * times * if inside { 1.0 } else { horizons })
                            .max(seen / 0.03);
                    self.drift_k = self.drift_k.clamp(-9.0, 9.0);
                    if inside {
                        // The intake's own bound is tighter.
                        self.drift_k *= 0.8;
                    }
                }
            }
            Sort::Wander => {
                let slow = dice.between(150.0, 600.0).min(window / 6.0);
                let far = dice.between(0.05, 0.12);
                self.wander = (far, slow);
            }
            Sort::CyclingOnOff | Sort::CyclingShaped => {
                self.cycle = Some(self.cycles(watts, style, dice))
            }
            Sort::TwoSettings => {
                let change = change(habits, style, watts, dice);
                let least = 960.0;
                let at = dice.between(least, window - least);
                self.settings = vec![(0.0, watts), (at, watts * (1.0 + change))];
                self.start_up = Start::Rise(dice.between(0.5, 1.1), dice.between(5.0, 100.0));
            }
            Sort::ThreeSettings => {
                let least = 1080.0;
                let first = dice.between(least, window - 2.0 * least);
                let second = dice.between(first + least, window - least);
                let one = watts * (1.0 + change(habits, style, watts, dice));
                let two = one * (1.0 + change(habits, style, one, dice));
                self.settings = vec![(0.0, watts), (first, one), (second, two)];
                self.start_up = Start::Rise(dice.between(0.5, 1.1), dice.between(5.0, 100.0));
            }
            Sort::Loose => {
                let slack = 0.2 * window;
                self.on = (
                    dice.between(60.0, slack),
                    window - dice.between(60.0, slack),
                );
            }
            Sort::LateCompressor => self.delay_s = dice.between(240.0, 480.0),
            Sort::Plain
            | Sort::LongStart
            | Sort::Boost
            | Sort::Few
            | Sort::Short
            | Sort::Unfinished => {}
        }
    }

    fn cycles(&self, watts: f64, style: &Style, dice: &mut Dice) -> Cycle {
        let shaped = self.sort == Sort::CyclingShaped;
        // A meter sees no cycle shorter than several of its readings.
        let shortest = (10.0 * style.meter_s).max(90.0);
        let longest = (self.window_s / 5.0).min(1200.0).max(shortest);
        let duty = dice.between(0.15, 0.88);
        let low_w = if shaped {
            watts * dice.between(0.35, 0.8)
        } else {
            self.blower_w
        };
        // Neither phase shorter than three readings.
        let phase = f64::min(duty, 1.0 - duty);
        let period_s = dice
            .between(shortest, longest)
            .max(3.0 * style.meter_s / phase);
        Cycle {
            period_s: period_s.min(self.window_s / 4.5),
            duty,
            jitter: if dice.chance(0.5) {
                0.0
            } else {
                dice.between(0.0, 0.12)
            },
            low_w,
            surge: if shaped {
                (dice.between(0.0, 0.3), dice.between(5.0, 40.0))
            } else {
                (0.0, 1.0)
            },
            sag: if shaped {
                dice.between(-0.15, 0.15)
            } else {
                0.0
            },
        }
    }
}

/// A change of setting: 3 % to 50 %, and more than the display's steps.
fn change(habits: &Habits, style: &Style, watts: f64, dice: &mut Dice) -> f64 {
    let sign = if dice.chance(0.5) { 1.0 } else { -1.0 };
    let seen = 2.5 * habits.steps.0 * style.supply_v / watts;
    // Small ones as often as large ones.
    let size = 0.03 * (0.5_f64 / 0.03).powf(dice.unit());
    sign * size.max(seen)
}

fn start_up(sort: Sort, window_s: f64, dice: &mut Dice) -> Start {
    match sort {
        Sort::LongStart => match dice.whole(0, 1) {
            0 => Start::Rise(dice.between(0.5, 1.3), dice.between(360.0, 600.0)),
            _ => Start::Ramp(dice.between(1200.0, 0.45 * window_s)),
        },
        Sort::Boost => Start::Boost(dice.between(1.2, 1.7), dice.between(120.0, 420.0)),
        Sort::Few => Start::Rise(dice.between(0.6, 1.1), dice.between(5.0, 40.0)),
        Sort::Unfinished => Start::Rise(dice.between(0.4, 0.7), dice.between(350.0, 600.0)),
        Sort::Loose | Sort::LateCompressor | Sort::LateLog => {
            Start::Rise(dice.between(0.5, 1.15), dice.between(10.0, 240.0))
        }
        _ => match dice.whole(0, 4) {
            0 => Start::Ramp(dice.between(60.0, 480.0)),
            1 => Start::Ringing(
                dice.between(0.05, 0.3),
                dice.between(60.0, 240.0),
                dice.between(90.0, 300.0),
            ),
            _ => Start::Rise(dice.between(0.4, 1.25), dice.between(5.0, 420.0)),
        },
    }
}
