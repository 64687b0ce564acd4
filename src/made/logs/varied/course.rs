//! A varied bench happening in time.

use super::draw::{Drawn, Habits, Start};
use crate::made::dice::Dice;
use crate::made::logs::plan::Style;
use crate::made::logs::signal::{Noise, Readings, round};

/// Step of the simulation, s.
const DT: f64 = 0.5;
/// Every how many steps the course is kept.
const KEPT: usize = 2;

/// What a perfect meter would have read in a run's window, once a second.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Course {
    /// The window's start.
    pub start: f64,
    /// Draw, intake and outlet.
    pub values: Vec<[f64; 3]>,
}

impl Course {
    /// Means of draw, intake and outlet between two moments; none where nothing was kept there.
    pub fn mean(&self, from: f64, to: f64) -> Option<[f64; 3]> {
        let at = |t: f64| ((t - self.start) / (DT * KEPT as f64)).round().max(0.0) as usize;
        let part = self.values.get(at(from)..at(to).min(self.values.len()))?;
        let n = part.len() as f64;
        (n > 0.0).then(|| {
            let mut mean = [0.0; 3];
            for v in part {
                for (m, x) in mean.iter_mut().zip(v) {
                    *m += x / n;
                }
            }
            mean
        })
    }
}

/// Lets the runs happen, one after the other.
pub fn happen(
    runs: &[Drawn],
    style: &Style,
    habits: &Habits,
    dice: &mut Dice,
) -> (Readings, Vec<Course>) {
    let mut out = Readings::default();
    let mut courses = Vec::new();
    let around = if style.continuous { 600.0 } else { 0.0 };
    let (share, tau) = style.draw_noise;
    let mut draw_noise = Noise::new(share, tau, dice);
    let (sd, tau) = style.temp_noise;
    let mut temps: Vec<Noise> = (0..3).map(|_| Noise::new(sd, tau, dice)).collect();
    let mut room: Vec<Noise> = (0..2)
        .map(|_| Noise::new(style.room_wander_k, 240.0, dice))
        .collect();
    for (i, run) in runs.iter().enumerate() {
        let from = if i == 0 {
            run.start - around
        } else {
            run.start
        };
        let until = match runs.get(i + 1) {
            Some(next) if style.continuous => next.start,
            Some(_) => run.start + run.window_s,
            None => run.start + run.window_s + around,
        };
        let mut unit = Unit::new(run, dice);
        let mut course = Course {
            start: run.start,
            values: Vec::new(),
        };
        let steps = ((until - from) / DT).round() as usize;
        for k in 0..steps {
            let t = from + k as f64 * DT;
            let since = t - run.start;
            let [watts, intake, outlet] = unit.step(since, dice);
            if since >= 0.0 && since < run.window_s && k % KEPT == 0 {
                course.values.push([watts, intake, outlet]);
            }
            let noise = 1.0 + draw_noise.step(DT, dice);
            let wander: Vec<f64> = room.iter_mut().map(|n| n.step(DT, dice)).collect();
            let read: Vec<f64> = temps.iter_mut().map(|n| n.step(DT, dice)).collect();
            let on_grid = |every: f64| (t / every).fract() < 0.99 * DT / every;
            let within = |gaps: &[(f64, f64)]| gaps.iter().any(|g| since >= g.0 && since < g.1);
            if on_grid(style.meter_s) && !within(&run.meter_gaps) {
                let power = watts * noise * (1.0 + 0.015 * wander[0]);
                let volts = style.supply_v - 0.004 * power / style.supply_v + 0.01 * dice.normal();
                let mut current = round(power / volts, habits.steps.0);
                if run.drop_outs > 0.0 && dice.chance(run.drop_outs) {
                    current = 0.0;
                }
                out.meter.push([t, round(volts, 0.01), current]);
            }
            if on_grid(style.air_s) && !within(&run.air_gaps) {
                let mut c = |v: f64| {
                    if run.drop_outs > 0.0 && dice.chance(run.drop_outs) {
                        return [-127.0, 85.0, 0.0, -50.5][dice.whole(0, 3)];
                    }
                    round(v, habits.steps.1)
                };
                let row = [
                    t,
                    c(intake + wander[0] + read[0]),
                    c(outlet + wander[0] + read[1]),
                    c(run.ambient_c + wander[1] + read[2]),
                ];
                let [t, a, b, d] = row;
                out.air
                    .push([t, a, b, d, round(45.0 + 0.3 * dice.normal(), 0.1)]);
            }
        }
        courses.push(course);
    }
    (out, courses)
}

/// The unit in one run.
struct Unit<'a> {
    run: &'a Drawn,
    /// The draw towards which it goes, smoothed from setting to setting, W.
    level: f64,
    outlet: f64,
    wander: Noise,
    /// When the running half cycle began and ends, and whether it is on.
    half: (f64, f64, bool),
}

impl<'a> Unit<'a> {
    fn new(run: &'a Drawn, dice: &mut Dice) -> Self {
        let half = run.cycle.map_or((0.0, f64::INFINITY, true), |c| {
            let phase = dice.unit() * c.period_s;
            let on = phase < c.duty * c.period_s;
            if on {
                (-phase, c.duty * c.period_s - phase, true)
            } else {
                (c.duty * c.period_s - phase, c.period_s - phase, false)
            }
        });
        Unit {
            run,
            level: run.settings.first().map_or(0.0, |s| s.1),
            outlet: run.intake_c,
            wander: Noise::new(run.wander.0, run.wander.1, dice),
            half,
        }
    }

    /// Draw, intake and outlet after the next step.
    fn step(&mut self, since: f64, dice: &mut Dice) -> [f64; 3] {
        let run = self.run;
        let share = since.clamp(0.0, run.window_s) / run.window_s;
        let (ripple, period) = run.ripple;
        let intake = run.intake_c
            + run.drift_k * share
            + ripple * (std::f64::consts::TAU * since / period).sin();
        // A unit that is on from the start is on from the window's start: what stands before belongs to no run.
        let on_from = run.on.0.max(0.0);
        let ends = run.on.1.min(run.window_s + 60.0);
        if since < on_from || since > ends {
            self.follow(intake, 90.0);
            return [1.2, intake, self.outlet];
        }
        let aim = run
            .settings
            .iter()
            .rev()
            .find(|s| since >= s.0)
            .or(run.settings.first())
            .map_or(0.0, |s| s.1);
        self.level += (aim - self.level) * (1.0 - (-DT / 30.0).exp());
        if run.cycle.is_some() {
            return self.cycle(since, intake, dice);
        }
        let started = since - on_from - run.delay_s;
        if started < 0.0 {
            self.follow(intake, 90.0);
            return [run.blower_w, intake, self.outlet];
        }
        let (tail, slow) = run.tail;
        let factor = 1.0
            + run.drift_share * share
            + 0.03 * run.drift_k * share
            + if run.wander.0 > 0.0 {
                self.wander.step(DT, dice)
            } else {
                0.0
            }
            - tail * (-started / slow).exp();
        let compressor = (self.level - run.blower_w) * begun(run.start_up, started);
        let tau = match run.start_up {
            Start::Rise(_, tau) => tau.clamp(60.0, 420.0),
            _ => 120.0,
        };
        // The outlet follows what the compressor does.
        let drop = run.drop_k * begun(run.start_up, started).min(1.2);
        self.follow(intake - drop, tau.min(180.0));
        [(run.blower_w + compressor) * factor, intake, self.outlet]
    }

    fn follow(&mut self, towards: f64, tau: f64) {
        self.outlet += (towards - self.outlet) * (1.0 - (-DT / tau).exp());
    }

    fn cycle(&mut self, since: f64, intake: f64, dice: &mut Dice) -> [f64; 3] {
        let run = self.run;
        let Some(c) = run.cycle else {
            return [0.0, intake, self.outlet];
        };
        while since >= self.half.1 {
            let (_, ends, on) = self.half;
            let length = if on { 1.0 - c.duty } else { c.duty } * c.period_s;
            let length = length * (1.0 + c.jitter * dice.normal()).max(0.3);
            self.half = (ends, ends + length, !on);
        }
        let (from, to, on) = self.half;
        let high = run.settings.first().map_or(0.0, |s| s.1);
        let watts = if on {
            let (surge, tau) = c.surge;
            let share = (since - from) / (to - from);
            high * (1.0 + surge * (-(since - from) / tau).exp() + c.sag * (share - 0.5))
        } else {
            c.low_w
        };
        let drop = if on { run.drop_k } else { 0.2 * run.drop_k };
        self.follow(intake - drop, 40.0);
        [watts, intake, self.outlet]
    }
}

/// The share of the compressor's draw that a start-up has reached.
fn begun(start: Start, since: f64) -> f64 {
    match start {
        Start::Rise(share, tau) => 1.0 - (1.0 - share) * (-since / tau).exp(),
        Start::Ramp(length) => 0.5 + 0.5 * (since / length).min(1.0),
        Start::Boost(times, length) => {
            1.0 + (times - 1.0) * (-(since - length).max(0.0) / 30.0).exp()
        }
        Start::Ringing(share, tau, period) => {
            1.0 - share * (-since / tau).exp() * (std::f64::consts::TAU * since / period).cos()
        }
    }
}
