//! From a logger's clock to the common one: zones, summer time, shifts.

use jiff::Timestamp;
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use super::stamp::{Stamp, offset};

/// How far a stamp may lie before the one ahead of it and still be taken for the same pass of a repeated hour, s.
const FOLD_SLACK: f64 = 600.0;

/// A zone by its IANA name, `UTC`, or an offset such as `+01:00`; none where there is no such zone.
pub fn zone(name: &str) -> Option<TimeZone> {
    if let Some((seconds, n)) = offset(name.trim().as_bytes())
        && n == name.trim().len()
    {
        return Offset::from_seconds(seconds).ok().map(TimeZone::fixed);
    }
    TimeZone::get(name.trim()).ok()
}

/// One logger's clock. Stamps are given in the order of the file.
#[derive(Debug)]
pub struct Clock {
    zone: Option<TimeZone>,
    shift: f64,
    /// Wall-clock times in this range have one offset.
    known: Option<(f64, f64, f64)>,
    last: Option<f64>,
    /// The hour that the wall clock shows twice is being shown for the second time.
    second_pass: bool,
    /// Stamps in an hour that the wall clock shows twice.
    pub folded: usize,
    /// Stamps in an hour that the wall clock skips.
    pub skipped: usize,
}

impl Clock {
    /// A clock in `zone`, with `shift_s` added to all its times.
    pub fn new(zone: Option<TimeZone>, shift_s: f64) -> Self {
        Clock {
            zone,
            shift: shift_s,
            known: None,
            last: None,
            second_pass: false,
            folded: 0,
            skipped: 0,
        }
    }

    /// The moment of a stamp, in seconds since 1970-01-01 00:00 UTC; none where a zone is needed and absent, or the year is out of reach.
    ///
    /// In the hour that a wall clock shows twice, the earlier reading is taken that does not lie before the last stamp.
    /// In the hour that it skips, the clock is taken not to have been put forward.
    pub fn moment(&mut self, stamp: Stamp) -> Option<f64> {
        let t = match stamp {
            Stamp::Instant(t) => t,
            Stamp::Local(local) => match self.known {
                Some((from, to, offset)) if (from..to).contains(&local) => local - offset,
                _ => self.look_up(local)?,
            },
        };
        let t = t + self.shift;
        self.last = Some(t);
        Some(t)
    }

    fn look_up(&mut self, local: f64) -> Option<f64> {
        let zone = self.zone.as_ref()?;
        if !(-1e11..1e11).contains(&local) {
            return None;
        }
        let wall = Timestamp::from_second(local.floor() as i64).ok()?;
        let wall = Offset::UTC.to_datetime(wall);
        let seconds = |o: Offset| f64::from(o.seconds());
        match zone.to_ambiguous_timestamp(wall).offset() {
            AmbiguousOffset::Unambiguous { offset } => {
                let t = local - seconds(offset);
                self.second_pass = false;
                // Until the next change of offset, and out of the hours around it, nothing is to be looked up.
                let now = Timestamp::from_second(t.floor() as i64).ok()?;
                let until = zone.following(now).next().map_or(f64::INFINITY, |next| {
                    let change = next.timestamp().as_second() as f64;
                    change + seconds(offset).min(seconds(next.offset()))
                });
                self.known = Some((local, until, seconds(offset)));
                Some(t)
            }
            AmbiguousOffset::Fold { before, after } => {
                self.folded += 1;
                let first = local - seconds(before);
                let second = local - seconds(after);
                let passed = self
                    .last
                    .is_some_and(|last| first + self.shift < last - FOLD_SLACK);
                self.second_pass |= passed;
                Some(if self.second_pass { second } else { first })
            }
            AmbiguousOffset::Gap { before, .. } => {
                self.skipped += 1;
                Some(local - seconds(before))
            }
        }
    }
}

/// A moment in words, UTC: `2026-08-25T07:00:00Z`; none out of the calendar's reach.
pub fn utc(t: f64) -> Option<String> {
    if !(-1e11..1e11).contains(&t) {
        return None;
    }
    let stamp = Timestamp::from_second(t.round() as i64).ok()?;
    Some(stamp.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::logs::TimeFormat;
    use crate::logs::stamp::StampReader;

    fn moments(zone_name: &str, texts: &[&str]) -> (Vec<String>, Clock) {
        let reader = StampReader::new(&TimeFormat::Iso, None, false).unwrap();
        let mut clock = Clock::new(zone(zone_name), 0.0);
        let out = texts
            .iter()
            .map(|t| {
                let t = clock.moment(reader.read(t.as_bytes()).unwrap()).unwrap();
                utc(t).unwrap()
            })
            .collect();
        (out, clock)
    }

    #[test]
    fn summer_time_is_taken_off() {
        let (out, clock) = moments(
            "Europe/Amsterdam",
            &["2026-08-25 09:00:00", "2026-12-25 09:00:00"],
        );
        assert_eq!(out, ["2026-08-25T07:00:00Z", "2026-12-25T08:00:00Z"]);
        assert_eq!((clock.folded, clock.skipped), (0, 0));
    }

    #[test]
    fn the_hour_shown_twice_is_read_in_order() {
        // EU summer time ends on 2026-10-25 at 01:00 UTC (Directive 2000/84/EC).
        let (out, clock) = moments(
            "Europe/Amsterdam",
            &[
                "2026-10-25 01:59:00",
                "2026-10-25 02:00:00",
                "2026-10-25 02:59:00",
                "2026-10-25 02:00:00",
                "2026-10-25 02:59:00",
                "2026-10-25 03:00:00",
            ],
        );
        assert_eq!(
            out,
            [
                "2026-10-24T23:59:00Z",
                "2026-10-25T00:00:00Z",
                "2026-10-25T00:59:00Z",
                "2026-10-25T01:00:00Z",
                "2026-10-25T01:59:00Z",
                "2026-10-25T02:00:00Z",
            ]
        );
        assert_eq!(clock.folded, 4);
    }

    #[test]
    fn the_hour_skipped_is_read_as_if_the_clock_had_not_been_put_forward() {
        let (out, clock) = moments(
            "Europe/Amsterdam",
            &[
                "2026-03-29 01:59:00",
                "2026-03-29 02:30:00",
                "2026-03-29 03:00:00",
            ],
        );
        assert_eq!(
            out,
            [
                "2026-03-29T00:59:00Z",
                "2026-03-29T01:30:00Z",
                "2026-03-29T01:00:00Z"
            ]
        );
        assert_eq!(clock.skipped, 1);
    }

    #[test]
    fn zones_by_name_and_by_offset() {
        let (out, _) = moments("+05:30", &["2026-08-25 09:00:00"]);
        assert_eq!(out, ["2026-08-25T03:30:00Z"]);
        let (out, _) = moments("UTC", &["2026-08-25 09:00:00"]);
        assert_eq!(out, ["2026-08-25T09:00:00Z"]);
        assert!(zone("Europe/Nowhere").is_none());
    }

    #[test]
    fn shifts_are_added_and_a_wall_clock_needs_a_zone() {
        let mut clock = Clock::new(None, -45.0);
        assert_eq!(clock.moment(Stamp::Instant(100.0)), Some(55.0));
        assert_eq!(clock.moment(Stamp::Local(100.0)), None);
    }
}
