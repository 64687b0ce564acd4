//! A first look at a log: how often it was sampled, and which sign of the current empties the battery.

use super::Edge;

/// The sign of a current out of the battery, as the log writes it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Sign {
    /// A discharging current is positive.
    Positive,
    /// A discharging current is negative.
    Negative,
}

impl Sign {
    /// The current out of the battery, A, positive while it discharges.
    pub fn out_of_battery(self, current_a: f64) -> f64 {
        match self {
            Sign::Positive => current_a,
            Sign::Negative => -current_a,
        }
    }
}

/// Why the sign cannot be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SignFault {
    /// No current at all.
    #[error("the current is zero throughout, so nothing was discharged")]
    NoCurrent,
    /// The voltage rises while current flows.
    #[error(
        "the voltage rises while the current flows, so this seems to be a charge; if it is a discharge, say which sign it has: --discharge-sign positive or negative"
    )]
    Charging,
    /// Both signs raise the voltage, or both lower it.
    #[error(
        "the voltage does not tell which sign of the current empties the battery; say it: --discharge-sign positive or negative (and where charge and discharge have one sign, name the rows: --only \"Mode=DCHG\")"
    )]
    Unclear,
}

/// Logarithmic bins of time between readings: eighths of an octave from 1 ms.
const BINS: usize = 320;
const PER_OCTAVE: f64 = 8.0;
const SHORTEST_S: f64 = 1e-3;

/// Charge of one sign below this share of the other's is noise about zero.
const NOISE_SHARE: f64 = 0.02;

/// A current above this share of the largest so far is a load, not a meter's zero or the fringe of a step. Common practice, no source.
const LOAD_SHARE: f64 = 0.1;

/// A gap is longer than this many times the usual time between readings … Common practice, no source.
const GAP_TIMES: f64 = 10.0;
/// … and no shorter than this, s: one reading a minute is the least that a published battery test asks for
/// (10 CFR 430 Subpart B App. Y).
const GAP_LEAST_S: f64 = 60.0;

/// What the first reading of a log gathers.
#[derive(Debug)]
pub struct Survey {
    asked: (Option<Edge>, Option<Edge>),
    window: Option<(f64, f64)>,
    before: Option<(f64, f64, f64)>,
    /// Count and sum of the intervals in each bin.
    intervals: Vec<(u64, f64)>,
    /// For positive and negative current: charge (A s), charge-weighted change of voltage, largest.
    charge: [f64; 2],
    change: [f64; 2],
    largest: [f64; 2],
    least: [f64; 2],
    /// The smallest step of the voltage: its resolution, or the noise where that is larger, V.
    step_v: f64,
    sum_v: f64,
    count: u64,
}

impl Survey {
    pub(super) fn new(asked: (Option<Edge>, Option<Edge>)) -> Survey {
        Survey {
            asked,
            window: None,
            before: None,
            intervals: vec![(0, 0.0); BINS],
            charge: [0.0; 2],
            change: [0.0; 2],
            largest: [0.0; 2],
            least: [f64::INFINITY; 2],
            step_v: f64::INFINITY,
            sum_v: 0.0,
            count: 0,
        }
    }

    /// The part of the log that is used, s.
    pub(super) fn window(&self) -> (f64, f64) {
        self.window.unwrap_or((f64::NEG_INFINITY, f64::INFINITY))
    }

    pub(super) fn take(&mut self, t: f64, v: f64, i: f64) {
        let asked = self.asked;
        let (from, until) = *self.window.get_or_insert_with(|| {
            let at = |edge: Option<Edge>, open: f64| match edge {
                None => open,
                Some(Edge::After(s)) => t + s,
                Some(Edge::At(moment)) => moment,
            };
            (at(asked.0, f64::NEG_INFINITY), at(asked.1, f64::INFINITY))
        });
        if t < from || t > until {
            return;
        }
        self.sum_v += v;
        self.count += 1;
        let slot = usize::from(i < 0.0);
        if let (Some(largest), Some(least)) = (self.largest.get_mut(slot), self.least.get_mut(slot))
        {
            *largest = largest.max(i.abs());
            if i.abs() > LOAD_SHARE * *largest {
                *least = least.min(i.abs());
            }
        }
        if let Some((t0, v0, i0)) = self.before {
            let dt = t - t0;
            let step = (v - v0).abs();
            // Less is the rounding of a number, not of a reading.
            if step > 1e-9 {
                self.step_v = self.step_v.min(step);
            }
            if dt > 0.0 {
                let bin = (PER_OCTAVE * (dt / SHORTEST_S).log2()).round().max(0.0) as usize;
                if let Some((n, sum)) = self.intervals.get_mut(bin.min(BINS - 1)) {
                    *n += 1;
                    *sum += dt;
                }
            }
            if i * i0 > 0.0 {
                let mean = 0.5 * (i.abs() + i0.abs());
                if let (Some(q), Some(c)) = (self.charge.get_mut(slot), self.change.get_mut(slot)) {
                    *q += mean * dt;
                    *c += mean * (v - v0);
                }
            }
        }
        self.before = Some((t, v, i));
    }

    /// Mean of all voltages, V.
    pub(super) fn mean_v(&self) -> Option<f64> {
        (self.count > 0).then(|| self.sum_v / self.count as f64)
    }

    /// The largest current of discharge, A.
    pub(super) fn largest(&self, sign: Sign) -> f64 {
        let [positive, negative] = self.largest;
        match sign {
            Sign::Positive => positive,
            Sign::Negative => negative,
        }
    }

    /// The smallest current of discharge that is a load, A.
    pub(super) fn least(&self, sign: Sign) -> f64 {
        let [positive, negative] = self.least;
        match sign {
            Sign::Positive => positive,
            Sign::Negative => negative,
        }
    }

    /// The smallest step of the voltage, V; none where it never changed.
    pub(super) fn step_v(&self) -> Option<f64> {
        Some(self.step_v).filter(|s| s.is_finite())
    }

    /// Usual time between readings: the mean of the bin that holds the median, s.
    pub(super) fn interval_s(&self) -> f64 {
        let total: u64 = self.intervals.iter().map(|(n, _)| n).sum();
        let mut below = 0;
        for (n, sum) in &self.intervals {
            below += n;
            if 2 * below >= total && *n > 0 {
                return sum / *n as f64;
            }
        }
        0.0
    }

    pub(super) fn gap_limit_s(&self) -> f64 {
        (GAP_TIMES * self.interval_s()).max(GAP_LEAST_S)
    }

    /// The sign of discharge: the one under which the voltage falls, each change weighed by the current that flowed, so that a battery
    /// that recovers at rest does not count.
    pub(super) fn sign(&self) -> Result<Sign, SignFault> {
        let [q_pos, q_neg] = self.charge;
        let [c_pos, c_neg] = self.change;
        let most = q_pos.max(q_neg);
        if most <= 0.0 {
            return Err(SignFault::NoCurrent);
        }
        let falls = |q: f64, c: f64| (q > NOISE_SHARE * most).then_some(c < 0.0);
        match (falls(q_pos, c_pos), falls(q_neg, c_neg)) {
            (Some(true), Some(false) | None) => Ok(Sign::Positive),
            (Some(false) | None, Some(true)) => Ok(Sign::Negative),
            (Some(false), None) | (None, Some(false)) => Err(SignFault::Charging),
            _ => Err(SignFault::Unclear),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn survey(rows: &[(f64, f64, f64)]) -> Survey {
        let mut s = Survey::new((None, None));
        for (t, v, i) in rows {
            s.take(*t, *v, *i);
        }
        s
    }

    #[test]
    fn the_sign_is_the_one_under_which_the_voltage_falls() {
        // Rest with an offset, discharge, recovery with the same offset: the recovery's rise must not count.
        let mut rows = vec![(0.0, 26.0, -0.02), (1.0, 26.0, -0.02)];
        for k in 0..100 {
            rows.push((2.0 + f64::from(k), 25.5 - 0.03 * f64::from(k), -20.0));
        }
        rows.extend([
            (102.0, 24.0, -0.02),
            (103.0, 25.5, -0.02),
            (104.0, 25.8, -0.02),
        ]);
        let s = survey(&rows);
        assert_eq!(s.sign(), Ok(Sign::Negative));
        let turned: Vec<_> = rows.iter().map(|(t, v, i)| (*t, *v, -i)).collect();
        assert_eq!(survey(&turned).sign(), Ok(Sign::Positive));
        let charge: Vec<_> = (0..9)
            .map(|k| (f64::from(k), 24.0 + 0.1 * f64::from(k), 5.0))
            .collect();
        assert_eq!(survey(&charge).sign(), Err(SignFault::Charging));
        assert_eq!(
            survey(&[(0.0, 24.0, 0.0), (1.0, 24.0, 0.0)]).sign(),
            Err(SignFault::NoCurrent)
        );
        assert!((s.interval_s() - 1.0).abs() < 0.05);
        assert_eq!(s.gap_limit_s(), 60.0);
    }

    #[test]
    fn a_part_of_a_log_by_hand() {
        let rows = [
            (100.0, 27.0, 1.0),
            (102.0, 26.0, 20.0),
            (104.0, 25.5, 8.0),
            (106.0, 25.3, 1.5),
            (108.0, 25.4, 12.0),
            (120.0, 20.0, 90.0),
        ];
        let take = |from, until| {
            let mut s = Survey::new((from, until));
            for (t, v, i) in rows {
                s.take(t, v, i);
            }
            s
        };
        // Two seconds after the start to the moment 108: both ends belong to it. 1.5 A is less than a tenth of 20 A and no load.
        for s in [
            take(Some(Edge::After(2.0)), Some(Edge::At(108.0))),
            take(Some(Edge::At(102.0)), Some(Edge::After(8.0))),
        ] {
            assert!((s.mean_v().unwrap() - (26.0 + 25.5 + 25.3 + 25.4) / 4.0).abs() < 1e-12);
            assert_eq!(
                (s.largest(Sign::Positive), s.least(Sign::Positive)),
                (20.0, 8.0)
            );
            assert!((s.step_v().unwrap() - 0.1).abs() < 1e-9);
            assert_eq!(s.window(), (102.0, 108.0));
            assert!((s.interval_s() - 2.0).abs() < 1e-12);
        }
        // Half of all intervals are no longer than the usual: 2, 2, 2, 2, 12 s. Ten times that is less than a minute.
        let s = take(None, None);
        assert!((s.interval_s() - 2.0).abs() < 1e-12 && s.gap_limit_s() == 60.0);
        assert_eq!(s.mean_v().map(|v| (v * 1e6).round() / 1e6), Some(24.866667));
        let mut slow = Survey::new((None, None));
        for k in 0..5 {
            slow.take(30.0 * f64::from(k), 25.0, 4.0);
        }
        assert!((slow.gap_limit_s() - 300.0).abs() < 1e-9);
    }

    #[test]
    fn what_little_flows_the_other_way_has_no_say() {
        let fall: Vec<_> = (0..=100)
            .map(|k| (f64::from(k), 26.0 - 0.03 * f64::from(k), -20.0))
            .collect();
        let with = |more: &[(f64, f64, f64)]| survey(&[&fall[..], more].concat()).sign();
        // 0.1 A over 100 s: 10 A s beside 2000; 1 A over 100 s: 100 A s, of which the voltage falls too.
        assert_eq!(
            with(&[(101.0, 23.0, 0.1), (201.0, 22.9, 0.1)]),
            Ok(Sign::Negative)
        );
        assert_eq!(
            with(&[(101.0, 23.0, 1.0), (201.0, 22.9, 1.0)]),
            Err(SignFault::Unclear)
        );
        // A single reading between two of nothing is no flow.
        assert_eq!(
            with(&[(101.0, 23.0, 0.0), (201.0, 22.9, 5.0), (301.0, 22.8, 0.0)]),
            Ok(Sign::Negative)
        );
    }
}
