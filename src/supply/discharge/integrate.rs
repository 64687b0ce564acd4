//! Charge and energy by trapezoids, with what gaps leave open.

use super::resistance::Step;
use super::test::Test;

/// Below this share of the largest discharging current the battery rests: meters do not read zero at zero. Common practice, no source.
const REST_SHARE: f64 = 0.01;
/// A charge that puts back more than this share of what was taken ends a test.
const RECHARGED_SHARE: f64 = 0.05;
/// A load that comes back at a voltage this near the test's first (as a share of the fall so far) finds a battery that was charged unseen.
const RECOVERED_SHARE: f64 = 0.9;
/// Discharges smaller than this share of the largest are no tests.
const SMALL_SHARE: f64 = 0.05;
/// Two readings no further apart than this can show a load step, s. Common practice, no source.
const STEP_S: f64 = 10.0;
/// And no closer: testers have been seen whose voltage follows the current some 30 ms late. Rounded down, for stamps of 0.1 s.
const SETTLED_S: f64 = 0.099;
/// A load step is at least this share of the largest current.
const STEP_SHARE: f64 = 0.1;
/// Steps kept.
const MOST_STEPS: usize = 10_000;
/// Seconds in an hour.
const HOUR: f64 = 3600.0;

/// How a log is summed.
#[derive(Clone, Copy, Debug)]
pub struct Rules {
    /// Where a test ends, V.
    pub cutoff_v: Option<f64>,
    /// A longer pause is a gap, s.
    pub gap_limit_s: f64,
    /// The largest discharging current of the log, A.
    pub largest_a: f64,
    /// The smallest that is a load, A.
    pub least_a: f64,
    /// Whether the load is known to have gone on in gaps.
    pub load_went_on: bool,
}

#[derive(Clone, Copy, Debug)]
struct Row {
    t: f64,
    v: f64,
    i: f64,
}

#[derive(Debug)]
enum State {
    /// Before a load.
    Waiting,
    /// A test is open. Where the voltage has crossed the cut-off once: the test as it stood then.
    Open(Box<Test>, Option<Box<Test>>),
    /// A test has ended; a charge, or a voltage as at its start, begins the next.
    Ended(Box<Test>),
}

/// Sums a log, row by row.
#[derive(Debug)]
pub struct Integrator {
    rules: Rules,
    rest_a: f64,
    before: Option<Row>,
    /// The reading before a load step, and the current after it.
    stepping: Option<(Row, f64)>,
    state: State,
    tests: Vec<Test>,
    /// Charge put back since the last discharge, Ah.
    charged_ah: f64,
    steps: Vec<Step>,
    below_from_start: Option<f64>,
}

/// A log summed.
#[derive(Debug)]
pub struct Summed {
    /// The discharges, in order.
    pub tests: Vec<Test>,
    /// How many were too small to be tests.
    pub small: usize,
    /// Load steps.
    pub steps: Vec<Step>,
    /// Voltage at the start of a load that never stood above the cut-off, V.
    pub below_from_start: Option<f64>,
}

impl Integrator {
    /// An integrator; currents are positive out of the battery.
    pub fn new(rules: Rules) -> Integrator {
        Integrator {
            rules,
            rest_a: REST_SHARE * rules.largest_a,
            before: None,
            stepping: None,
            state: State::Waiting,
            tests: Vec::new(),
            charged_ah: 0.0,
            steps: Vec::new(),
            below_from_start: None,
        }
    }

    /// Takes the next reading: moment (s), voltage (V), current out of the battery (A).
    pub fn take(&mut self, t: f64, v: f64, i: f64) {
        let now = Row { t, v, i };
        let Some(before) = self.before.replace(now) else {
            return;
        };
        let dt = t - before.t;
        self.note_step(before, now);
        let (was, is) = (before.i > self.rest_a, i > self.rest_a);
        if dt <= 0.0 {
            // Testers write the last reading of one step and the first of the next at one moment.
            if !was && is {
                self.begin(before, now);
            }
            return;
        }
        if was || is {
            self.under_load(before, now, was, is);
            return;
        }
        let charge_ah = 0.5 * (before.i + i) * dt / HOUR;
        if charge_ah < 0.0 {
            self.charged_ah -= charge_ah;
        }
        // At rest: a crossing of the cut-off that the load's end followed stands.
        if let State::Open(test, crossed) = &mut self.state {
            if crossed.is_some() {
                self.end();
            } else if charge_ah > 0.0 {
                test.below_ah += charge_ah;
            }
        }
    }

    /// A step reaches from the last reading before it to the first that has had time to settle, under a current that stays.
    fn note_step(&mut self, before: Row, now: Row) {
        let large = STEP_SHARE * self.rules.largest_a;
        let lapsed = |(from, to_a): (Row, f64)| {
            (now.i - to_a).abs() > 0.5 * large || now.t - from.t > STEP_S
        };
        if self.stepping.is_some_and(lapsed) {
            self.stepping = None;
        }
        if self.stepping.is_none() && (now.i - before.i).abs() >= large {
            self.stepping = Some((before, now.i));
        }
        if let Some((from, _)) = self.stepping
            && now.t - from.t >= SETTLED_S
        {
            self.stepping = None;
            if now.t - from.t <= STEP_S && self.steps.len() < MOST_STEPS {
                self.steps.push(Step {
                    current_a: now.i - from.i,
                    voltage_v: now.v - from.v,
                    within_s: now.t - from.t,
                });
            }
        }
    }

    fn under_load(&mut self, before: Row, now: Row, was: bool, is: bool) {
        // The load comes on: is it the same test still?
        if !was {
            self.begin(before, now);
        } else if matches!(self.state, State::Waiting) {
            // The log begins under load.
            self.begin(before, before);
        }
        let State::Open(test, crossed) = &mut self.state else {
            return;
        };
        add(test, before, now, was && is, &self.rules);
        test.add_to_trace(now.v);
        if !is {
            if crossed.is_some() {
                self.end();
            }
            return;
        }
        let Some(cutoff) = self.rules.cutoff_v else {
            return;
        };
        let below = now.v <= cutoff;
        match (below, crossed.is_some()) {
            (true, false) => {
                // The test as it stood when the straight line between the readings crossed.
                let mut at = test.clone();
                undo(&mut at, test, before, now, was, cutoff, &self.rules);
                *crossed = Some(at);
            }
            (true, true) => self.end(),
            (false, true) => {
                *crossed = None;
                test.dips += 1;
            }
            (false, false) => {}
        }
    }

    fn begin(&mut self, before: Row, first: Row) {
        let fresh = || {
            Box::new(Test {
                start_s: first.t,
                end_s: first.t,
                start_v: first.v,
                end_v: first.v,
                every: 1,
                ..Test::default()
            })
        };
        let charged = std::mem::replace(&mut self.charged_ah, 0.0);
        let state = std::mem::replace(&mut self.state, State::Waiting);
        let new = |test: &Test| {
            let fall = test.start_v - test.end_v;
            charged > RECHARGED_SHARE * test.charge_ah
                || (fall > 0.0 && before.v.min(first.v) > test.end_v + RECOVERED_SHARE * fall)
                    && before.t - test.end_s > self.rules.gap_limit_s.min(HOUR)
        };
        self.state = match state {
            State::Waiting => State::Open(fresh(), None),
            State::Open(test, crossed) if new(&test) => {
                self.tests.push(*crossed.unwrap_or(test));
                State::Open(fresh(), None)
            }
            State::Open(mut test, crossed) => {
                test.returned_ah += charged;
                State::Open(test, crossed)
            }
            State::Ended(test) if new(&test) => {
                self.tests.push(*test);
                State::Open(fresh(), None)
            }
            State::Ended(test) => {
                self.charged_ah = charged;
                State::Ended(test)
            }
        };
    }

    /// Ends the open test at its crossing of the cut-off.
    fn end(&mut self) {
        if let State::Open(test, crossed) = std::mem::replace(&mut self.state, State::Waiting) {
            let mut done = crossed.unwrap_or(test);
            done.reached_cutoff = Some(true);
            if done.charge_ah <= 0.0 {
                self.below_from_start.get_or_insert(done.start_v);
            }
            self.state = State::Ended(done);
        }
    }

    /// The tests at the end of the log.
    pub fn finish(mut self) -> Summed {
        if matches!(&self.state, State::Open(_, Some(_))) {
            self.end();
        }
        match self.state {
            State::Waiting => {}
            State::Open(test, _) => self.tests.push(*test),
            State::Ended(test) => self.tests.push(*test),
        }
        let most = self.tests.iter().map(|t| t.charge_ah).fold(0.0, f64::max);
        let all = self.tests.len();
        let cutoff = self.rules.cutoff_v;
        let tests: Vec<Test> = self
            .tests
            .into_iter()
            .filter(|t| t.charge_ah > SMALL_SHARE * most)
            .map(|mut t| {
                if cutoff.is_some() && t.reached_cutoff.is_none() {
                    t.reached_cutoff = Some(false);
                }
                t
            })
            .collect();
        Summed {
            small: all - tests.len(),
            tests,
            steps: self.steps,
            below_from_start: self.below_from_start,
        }
    }
}

/// Adds what flowed between two readings: `whole` where both are under load.
fn add(test: &mut Test, a: Row, b: Row, whole: bool, rules: &Rules) {
    let hours = (b.t - a.t) / HOUR;
    let (ia, ib) = (a.i.max(0.0), b.i.max(0.0));
    let (pa, pb) = (ia * a.v, ib * b.v);
    let charge = 0.5 * (ia + ib) * hours;
    let energy = 0.5 * (pa + pb) * hours;
    if b.t - a.t > rules.gap_limit_s {
        let most = rules.largest_a * hours;
        let went_on = whole && rules.load_went_on;
        let least = if went_on {
            rules.least_a.min(ia).min(ib) * hours
        } else {
            0.0
        };
        let g = &mut test.gaps;
        g.rested |= !went_on;
        g.count += 1;
        g.longest_s = g.longest_s.max(b.t - a.t);
        g.charge_ah += charge;
        g.less_ah += charge - least;
        g.more_ah += most - charge;
        g.less_wh += energy - least * a.v.min(b.v);
        g.more_wh += most * a.v.max(b.v) - energy;
    } else if !whole {
        // Somewhere between the readings the load came or went: half the rectangle, give or take the other half.
        test.edges_ah2 += charge * charge;
        test.edges_wh2 += energy * energy;
    }
    test.charge_ah += charge;
    test.energy_wh += energy;
    test.load_h += if whole { hours } else { 0.5 * hours };
    test.volt_hours += 0.5 * (a.v + b.v) * if whole { hours } else { 0.5 * hours };
    test.end_s = b.t;
    // Once the load is gone the battery recovers: the last reading under load counts.
    let released = !whole && ib < ia;
    test.end_v = if released { a.v } else { b.v };
}

/// Takes back what flowed after the straight line from `a` to `b` crossed the cut-off.
fn undo(at: &mut Test, full: &Test, a: Row, b: Row, was: bool, cutoff: f64, rules: &Rules) {
    let share = if was && a.v > cutoff && a.v > b.v {
        (a.v - cutoff) / (a.v - b.v)
    } else {
        // The load itself pulled the voltage below: nothing of it counts.
        0.0
    };
    let cross = Row {
        t: a.t + share * (b.t - a.t),
        v: if share > 0.0 { cutoff } else { a.v },
        i: a.i + share * (b.i - a.i),
    };
    let mut rest = Test::default();
    add(&mut rest, cross, b, was, rules);
    at.charge_ah = full.charge_ah - rest.charge_ah;
    at.energy_wh = full.energy_wh - rest.energy_wh;
    at.load_h = full.load_h - rest.load_h;
    at.volt_hours = full.volt_hours - rest.volt_hours;
    at.end_s = cross.t;
    at.end_v = cutoff.min(cross.v);
    if let Some(last) = at.trace.last_mut() {
        *last = (at.charge_ah, at.end_v);
    }
}

#[cfg(test)]
mod tests;
