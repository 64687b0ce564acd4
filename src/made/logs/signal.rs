//! A made bench happening in time: first-order start-ups, cycles, drifts, with correlated noise.

use super::RunKind;
use super::plan::{Plan, Style};
use crate::made::dice::Dice;

/// What the loggers read.
#[derive(Debug, Clone, Default)]
pub struct Readings {
    /// Meter: moment, voltage, current.
    pub meter: Vec<[f64; 3]>,
    /// Air: moment, intake, outlet, ambient (degC), intake relative humidity (%).
    pub air: Vec<[f64; 5]>,
}

/// Noise that forgets itself with a time constant.
pub(super) struct Noise {
    sd: f64,
    tau_s: f64,
    value: f64,
}

impl Noise {
    pub(super) fn new(sd: f64, tau_s: f64, dice: &mut Dice) -> Self {
        Noise {
            sd,
            tau_s,
            value: sd * dice.normal(),
        }
    }

    pub(super) fn step(&mut self, dt: f64, dice: &mut Dice) -> f64 {
        let keep = (-dt / self.tau_s).exp();
        self.value = keep * self.value + (1.0 - keep * keep).sqrt() * self.sd * dice.normal();
        self.value
    }
}

/// Step of the simulation, s.
const DT: f64 = 0.5;

/// Lets the runs happen, one after the other.
pub fn happen(plans: &[Plan], style: &Style, dice: &mut Dice) -> Readings {
    let mut out = Readings::default();
    // Ten minutes before the first run and after the last, where loggers go on between runs.
    let around = if style.continuous { 600.0 } else { 0.0 };
    let (share, tau) = style.draw_noise;
    let mut draw_noise = Noise::new(share, tau, dice);
    let (sd, tau) = style.temp_noise;
    let mut temps: Vec<Noise> = (0..3).map(|_| Noise::new(sd, tau, dice)).collect();
    let mut room: Vec<Noise> = (0..2)
        .map(|_| Noise::new(style.room_wander_k, 240.0, dice))
        .collect();
    let resolution_a = [0.001, 0.001, 0.005, 0.01][dice.whole(0, 3)];
    let resolution_k = [0.01, 0.01, 0.05, 0.1][dice.whole(0, 3)];
    for (i, plan) in plans.iter().enumerate() {
        let from = if i == 0 {
            plan.start - around
        } else {
            plan.start
        };
        let until = match plans.get(i + 1) {
            Some(next) if style.continuous => next.start,
            Some(_) => plan.start + plan.window_s,
            None => plan.start + plan.window_s + around,
        };
        let mut machine = Machine::new(plan, dice);
        let steps = ((until - from) / DT).round() as usize;
        for k in 0..steps {
            let t = from + k as f64 * DT;
            let since = t - plan.start;
            machine.step(since, DT, dice);
            let noise = 1.0 + draw_noise.step(DT, dice);
            let wander: Vec<f64> = room.iter_mut().map(|n| n.step(DT, dice)).collect();
            let read: Vec<f64> = temps.iter_mut().map(|n| n.step(DT, dice)).collect();
            let on_grid = |every: f64| (t / every).fract() < 0.99 * DT / every;
            if on_grid(style.meter_s) && !in_gap(plan, since) {
                // Draw follows the room's wander by 1.5 % a kelvin.
                let power = machine.power * noise * (1.0 + 0.015 * wander[0]);
                let current = power / style.supply_v;
                let volts = style.supply_v - 0.004 * current + 0.01 * dice.normal();
                // The current that gives this power at the sagging voltage.
                let current = power / volts;
                out.meter
                    .push([t, round(volts, 0.01), round(current, resolution_a)]);
            }
            if on_grid(style.air_s) {
                let c = |v: f64| round(v, resolution_k);
                out.air.push([
                    t,
                    c(machine.intake + wander[0] + read[0]),
                    c(machine.outlet + wander[0] + read[1]),
                    c(plan.ambient_c + wander[1] + read[2]),
                    round(45.0 + 0.3 * dice.normal(), 0.1),
                ]);
            }
        }
    }
    out
}

pub(super) fn round(v: f64, step: f64) -> f64 {
    (v / step).round() * step
}

fn in_gap(plan: &Plan, since: f64) -> bool {
    let (at, length) = plan.gap;
    let from = at * plan.window_s;
    plan.kind == RunKind::Gap && since >= from && since < from + length
}

/// The unit in one run.
struct Machine<'a> {
    plan: &'a Plan,
    /// Compressor part of the draw, W.
    compressor: f64,
    started: bool,
    power: f64,
    intake: f64,
    outlet: f64,
    wander: Noise,
    /// When the running half cycle ends, and whether the compressor is on.
    half_cycle: (f64, bool),
}

impl<'a> Machine<'a> {
    fn new(plan: &'a Plan, dice: &mut Dice) -> Self {
        let (sd, tau) = plan.wander;
        let (period, duty, _) = plan.cycle;
        // A cycling unit is met at any moment of its cycle.
        let phase = dice.unit() * period;
        let on = phase < duty * period;
        let ends = if on {
            duty * period - phase
        } else {
            period - phase
        };
        Machine {
            plan,
            compressor: 0.0,
            started: false,
            power: 0.0,
            intake: plan.intake_c,
            outlet: plan.intake_c,
            wander: Noise::new(sd, tau, dice),
            half_cycle: (ends, on),
        }
    }

    fn step(&mut self, since: f64, dt: f64, dice: &mut Dice) {
        let plan = self.plan;
        let (before, after) = if plan.kind == RunKind::Loose {
            plan.slack
        } else {
            (0.0, 0.0)
        };
        if since < before || since > plan.window_s - after {
            // Before and after a run the unit is off, but for its standby.
            self.compressor = 0.0;
            self.power = 1.2;
            self.outlet += (plan.intake_c - self.outlet) * (1.0 - (-dt / 90.0).exp());
            self.intake = plan.intake_c;
            return;
        }
        let share = since / plan.window_s;
        if plan.kind == RunKind::Drift {
            self.intake = plan.intake_c + plan.drift_k * share;
        }
        if plan.kind == RunKind::Cycling {
            self.cycle(since, dt, dice);
            return;
        }
        let mut target = plan.power_w - plan.blower_w;
        let mut tau = plan.tau_s;
        if plan.kind == RunKind::TwoSettings && share >= plan.second_at {
            target = plan.second_w - plan.blower_w;
            tau = 40.0;
        }
        if since >= before + plan.delay_s {
            if !self.started {
                self.started = true;
                self.compressor = target * plan.start_share;
            }
            self.compressor += (target - self.compressor) * (1.0 - (-dt / tau).exp());
        }
        let mut factor = 1.0;
        match plan.kind {
            RunKind::Drift => {
                factor += 0.03 * (self.intake - plan.intake_c) + plan.drift_share * share;
            }
            RunKind::Wander => factor += self.wander.step(dt, dice),
            _ => {}
        }
        self.power = (plan.blower_w + self.compressor) * factor;
        let drop = if self.started { plan.drop_k } else { 0.0 };
        self.outlet += (self.intake - drop - self.outlet) * (1.0 - (-dt / plan.tau_s).exp());
    }

    fn cycle(&mut self, since: f64, dt: f64, dice: &mut Dice) {
        let plan = self.plan;
        let (period, duty, jitter) = plan.cycle;
        while since >= self.half_cycle.0 {
            let (ends, on) = self.half_cycle;
            let length = if on { 1.0 - duty } else { duty } * period;
            self.half_cycle = (ends + length * (1.0 + jitter * dice.normal()).max(0.3), !on);
        }
        let on = self.half_cycle.1;
        self.power = if on { plan.power_w } else { plan.pause_w };
        let drop = if on { plan.drop_k } else { 0.2 * plan.drop_k };
        self.outlet += (self.intake - drop - self.outlet) * (1.0 - (-dt / 40.0).exp());
    }
}
