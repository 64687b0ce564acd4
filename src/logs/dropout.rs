//! Readings that no air or battery can have given: sensor drop-outs.

use crate::bench::Channel;

/// Readings in a row that may be taken for a drop-out; more are a change.
const LONGEST: usize = 2;
/// A drop-out of electrical channels lasts no longer than this, s: a compressor's pause does.
const LONGEST_S: f64 = 15.0;
/// A dry bulb that leaps this far and back within two readings is no air, K. Sensors that are unplugged read 0, 85 or -127 degC.
const LEAP_K: f64 = 15.0;
/// Voltage, current or draw that falls below this share of its neighbours and comes back at once.
const FALL: f64 = 0.02;

/// Voltage, current or draw that leaps above this many times its neighbours and comes back at once; an inrush is less.
const BURST: f64 = 30.0;
/// A level is more than this share of the largest reading.
const LEVEL: f64 = 0.1;
/// Numbers that loggers write for "no reading". Common practice, no source.
const STAND_INS: [f64; 4] = [-999.0, -9999.0, -99_999.0, -999_999.0];

/// Whether a number as written in the log stands for "no reading".
pub fn stands_in(written: f64) -> bool {
    STAND_INS.contains(&written)
}

/// A line of one of a log's files.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Where {
    /// Index of the file.
    pub file: usize,
    /// Number of the line.
    pub line: usize,
}

/// What was set aside in one channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Dropped {
    /// Readings outside anything that a bench can show.
    pub impossible: usize,
    /// Where the first stands.
    pub first_impossible: Where,
    /// Readings that leapt away and back.
    pub leapt: usize,
    /// Where the first stands.
    pub first_leapt: Where,
}

/// Sets aside drop-outs in one channel of one log, reading by reading.
#[derive(Debug)]
pub struct Filter {
    rule: Rule,
    low: f64,
    high: f64,
    good: Option<f64>,
    /// The largest good reading so far, without its sign.
    largest: f64,
    held: [(f64, f64); LONGEST],
    holds: usize,
    first_held: Where,
    /// What was set aside so far.
    pub dropped: Dropped,
}

#[derive(Clone, Copy, Debug)]
enum Rule {
    Leap,
    Fall,
    None,
}

impl Filter {
    /// A filter for a channel. The limits and rules are common practice without a source.
    pub fn new(channel: Channel) -> Self {
        let (rule, low, high) = match channel {
            Channel::IntakeTemp | Channel::OutletTemp | Channel::AmbientTemp => {
                (Rule::Leap, -50.0, 120.0)
            }
            Channel::IntakeRh | Channel::OutletRh => (Rule::None, -0.02, 1.1),
            Channel::Voltage => (Rule::Fall, -1.0, 2000.0),
            Channel::Current => (Rule::Fall, -1e5, 1e5),
            Channel::Power => (Rule::Fall, -1e7, 1e7),
            Channel::Pressure => (Rule::None, 2e4, 2e5),
            Channel::Airflow | Channel::AirSpeed => (Rule::None, -1e6, 1e6),
            Channel::Condensate => (Rule::None, -1e3, 1e3),
        };
        Filter {
            rule,
            low,
            high,
            good: None,
            largest: 0.0,
            held: [(0.0, 0.0); LONGEST],
            holds: 0,
            first_held: Where::default(),
            dropped: Dropped::default(),
        }
    }

    /// Takes the next reading and hands on those that stand, in order of time.
    pub fn take(&mut self, t: f64, v: f64, line: Where, out: &mut impl FnMut(f64, f64)) {
        if !(self.low..=self.high).contains(&v) {
            if self.dropped.impossible == 0 {
                self.dropped.first_impossible = line;
            }
            self.dropped.impossible += 1;
            return;
        }
        if self.holds == 0 {
            let odd = self.good.is_some_and(|good| self.odd(good, v));
            if !odd {
                self.accept(v);
                out(t, v);
                return;
            }
            self.hold(t, v, line);
            return;
        }
        let good = self.good.unwrap_or(v);
        let since = self.held.first().map_or(t, |h| h.0);
        let brief = t - since <= LONGEST_S || matches!(self.rule, Rule::Leap);
        if !self.odd(good, v) && brief && self.returned(good, v) {
            if self.dropped.leapt == 0 {
                self.dropped.first_leapt = self.first_held;
            }
            self.dropped.leapt += self.holds;
            self.holds = 0;
            self.accept(v);
            out(t, v);
        } else if self.odd(good, v) && self.holds < LONGEST {
            self.hold(t, v, line);
        } else {
            // It stayed: a change, not a drop-out.
            self.finish(out);
            self.accept(v);
            out(t, v);
        }
    }

    fn accept(&mut self, v: f64) {
        self.good = Some(v);
        self.largest = self.largest.max(v.abs());
    }

    /// Hands on what is still held at the end of the log.
    pub fn finish(&mut self, out: &mut impl FnMut(f64, f64)) {
        for (t, v) in self.held.iter().take(self.holds) {
            out(*t, *v);
        }
        self.holds = 0;
    }

    fn hold(&mut self, t: f64, v: f64, line: Where) {
        if self.holds == 0 {
            self.first_held = line;
        }
        if let Some(slot) = self.held.get_mut(self.holds) {
            *slot = (t, v);
            self.holds += 1;
        }
    }

    fn odd(&self, good: f64, v: f64) -> bool {
        match self.rule {
            Rule::Leap => (v - good).abs() > LEAP_K,
            // Noise about zero falls and rises by any factor: only falls from a level, and bursts above all levels, are odd.
            Rule::Fall => {
                (good.abs() > LEVEL * self.largest && v.abs() < FALL * good.abs())
                    || (self.largest > 0.0
                        && v.abs() > BURST * good.abs()
                        && v.abs() > 3.0 * self.largest)
            }
            Rule::None => false,
        }
    }

    /// Whether a reading is back where the good ones were.
    fn returned(&self, good: f64, v: f64) -> bool {
        match self.rule {
            Rule::Leap => (v - good).abs() < LEAP_K / 4.0,
            Rule::Fall => v.abs() > 0.5 * good.abs() && v.abs() < 2.0 * good.abs(),
            Rule::None => true,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn through(channel: Channel, interval: f64, values: &[f64]) -> (Vec<f64>, Dropped) {
        let mut filter = Filter::new(channel);
        let mut out = Vec::new();
        for (i, v) in values.iter().enumerate() {
            let at = Where {
                file: 0,
                line: i + 1,
            };
            filter.take(i as f64 * interval, *v, at, &mut |_, v| out.push(v));
        }
        filter.finish(&mut |_, v| out.push(v));
        (out, filter.dropped)
    }

    #[test]
    fn single_leaps_and_impossible_readings_are_set_aside() {
        let (out, dropped) = through(
            Channel::OutletTemp,
            60.0,
            &[19.0, 19.1, 85.0, 19.0, -127.0, 19.2, 0.0, 0.0, 19.1],
        );
        assert_eq!(out, [19.0, 19.1, 19.0, 19.2, 19.1]);
        assert_eq!((dropped.leapt, dropped.impossible), (3, 1));
        assert_eq!(
            (dropped.first_leapt.line, dropped.first_impossible.line),
            (3, 5)
        );
    }

    #[test]
    fn a_step_that_stays_is_kept_whole() {
        let values = [20.0, 20.0, 40.0, 40.1, 40.0, 40.2];
        let (out, dropped) = through(Channel::OutletTemp, 60.0, &values);
        assert_eq!((out.as_slice(), dropped), (&values[..], Dropped::default()));
        // A compressor that stops for one reading a minute is no drop-out.
        let values = [276.0, 275.0, 0.5, 276.0, 275.0, 0.4, 0.5, 0.4];
        let (out, _) = through(Channel::Power, 60.0, &values);
        assert_eq!(out, values);
    }

    #[test]
    fn a_meter_that_reads_zero_for_a_moment_is_set_aside() {
        let (out, dropped) = through(Channel::Power, 1.0, &[276.0, 0.0, 275.0, 274.0, 0.0]);
        // The last cannot be told from a stop.
        assert_eq!(out, [276.0, 275.0, 274.0, 0.0]);
        assert_eq!(dropped.leapt, 1);
        let (out, dropped) = through(
            Channel::Current,
            1.0,
            &[0.05, 32.0, 11.0, 10.9, 9.9e4, 10.8],
        );
        assert_eq!(out, [0.05, 32.0, 11.0, 10.9, 10.8]);
        assert_eq!(dropped.leapt, 1);
    }
}
