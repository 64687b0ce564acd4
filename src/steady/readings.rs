//! The readings of one run: for each quantity one series, and the draw.

use std::collections::BTreeMap;

use crate::bench::Channel;
use crate::logs::gather::Track;
use crate::logs::series::{Bin, Series};
use crate::logs::window::Span;

/// One series a quantity.
#[derive(Clone, Debug, Default)]
pub struct Readings {
    by_channel: BTreeMap<Channel, Series>,
    /// How the draw came about where it was not read: shown with the run.
    pub notes: Vec<String>,
}

impl Readings {
    /// Chooses a series for each quantity among a run's tracks: the one with most readings in the window.
    ///
    /// Where no log gives the draw but one gives the voltage and another the current, the draw is each current reading times
    /// the voltage at that moment, read off a straight line between its neighbours in time.
    pub fn of(tracks: Vec<Track>, span: Span) -> Self {
        let mut notes = Vec::new();
        let mut best: BTreeMap<Channel, (bool, usize, Track)> = BTreeMap::new();
        for track in tracks {
            let count: usize = track
                .series
                .within(span.start, span.end)
                .iter()
                .map(|b| b.count as usize)
                .sum();
            if count == 0 {
                continue;
            }
            // A draw that was read beats one that was worked out.
            let rank = (!track.derived, count);
            match best.get(&track.channel) {
                Some((read, n, other)) => {
                    if !track.derived && !other.derived {
                        notes.push(format!(
                            "two logs give {} in this run: the one with more readings is used",
                            track.channel.name()
                        ));
                    }
                    if rank > (*read, *n) {
                        best.insert(track.channel, (rank.0, rank.1, track));
                    }
                }
                None => {
                    best.insert(track.channel, (rank.0, rank.1, track));
                }
            }
        }
        let mut worked_out = best.get(&Channel::Power).is_some_and(|(read, _, _)| !read);
        let mut by_channel: BTreeMap<Channel, Series> = best
            .into_iter()
            .map(|(c, (_, _, t))| (c, t.series))
            .collect();
        if !by_channel.contains_key(&Channel::Power)
            && let (Some(u), Some(i)) = (
                by_channel.get(&Channel::Voltage),
                by_channel.get(&Channel::Current),
            )
            && let Some(power) = product(u, i)
        {
            worked_out = true;
            notes.push(
                "voltage and current stand in different logs: the draw is each current times the voltage at that moment".to_owned(),
            );
            by_channel.insert(Channel::Power, power);
        }
        if worked_out && let Some(step) = step_of_product(&by_channel) {
            by_channel
                .entry(Channel::Power)
                .and_modify(|power| *power = std::mem::take(power).no_finer_than(step));
        }
        if let Some((draw, count)) = by_channel
            .get(&Channel::Power)
            .and_then(|draw| without_falls(draw, span))
        {
            notes.push(format!(
                "{count} {} of the draw fell to nothing between two at one level and {} left out: a meter that missed a reading",
                if count == 1 { "reading" } else { "readings" },
                if count == 1 { "is" } else { "are" }
            ));
            by_channel.insert(Channel::Power, draw);
        }
        Readings { by_channel, notes }
    }

    /// Readings of the given series.
    pub fn from_series(series: impl IntoIterator<Item = (Channel, Series)>) -> Self {
        Readings {
            by_channel: series.into_iter().collect(),
            notes: Vec::new(),
        }
    }

    /// The series of a quantity.
    pub fn get(&self, channel: Channel) -> Option<&Series> {
        self.by_channel.get(&channel)
    }

    /// The draw.
    pub fn draw(&self) -> Option<&Series> {
        self.get(Channel::Power)
    }

    /// All series.
    pub fn all(&self) -> impl Iterator<Item = (Channel, &Series)> {
        self.by_channel.iter().map(|(c, s)| (*c, s))
    }
}

/// Below this share of both its neighbours a reading has fallen to nothing.
const FALLEN: f64 = 0.02;
/// Both neighbours of a reading that was missed stand at one level, to this share.
const AT_ONE_LEVEL: f64 = 0.1;
/// Readings in a row that may have been missed.
const MISSED: usize = 2;
/// A meter misses no more than this share of its readings; what falls more often is switched off and on.
const RARE: f64 = 0.04;

/// The draw without readings that fell to nothing for a moment, and how many there were; none where there were none.
///
/// While readings come in, one that falls and comes back at once is set aside ([`crate::logs::dropout`]), unless they come so
/// seldom that a unit may have been off between them. Over a whole run that can be told: a unit that was off starts again, and
/// does so regularly or seldom comes back to the very level that it left.
fn without_falls(draw: &Series, span: Span) -> Option<(Series, usize)> {
    let bins = draw.bins();
    let mut fallen: Vec<usize> = Vec::new();
    let mut at = 1;
    while at < bins.len() {
        let run = bins
            .get(at..)
            .unwrap_or_default()
            .iter()
            .take_while(|b| {
                let before = bins.get(at - 1).map_or(0.0, |b| b.mean);
                b.count == 1 && b.mean.abs() < FALLEN * before
            })
            .count();
        if run == 0 {
            at += 1;
            continue;
        }
        if run <= MISSED
            && let (Some(before), Some(after)) = (bins.get(at - 1), bins.get(at + run))
            && (after.mean - before.mean).abs() < AT_ONE_LEVEL * before.mean
        {
            fallen.extend(at..at + run);
        }
        at += run;
    }
    let inside = draw.within(span.start, span.end).len();
    let rare = (fallen.len() as f64) < RARE * inside as f64;
    (rare && !fallen.is_empty()).then(|| (draw.without(&fallen), fallen.len()))
}

/// The step in which a draw is known that was worked out: the current's step at the usual voltage, or the voltage's at the usual
/// current, whichever is larger. Each reading's product moves by less only because the other moves too.
fn step_of_product(by_channel: &BTreeMap<Channel, Series>) -> Option<f64> {
    let usual = |c: Channel| {
        let bins = by_channel.get(&c)?.bins();
        let mut all: Vec<f64> = bins.iter().map(|b| b.mean.abs()).collect();
        let middle = all.len() / 2;
        (!all.is_empty()).then(|| *all.select_nth_unstable_by(middle, f64::total_cmp).1)
    };
    let step = |c: Channel| by_channel.get(&c)?.step();
    let (u, i) = (Channel::Voltage, Channel::Current);
    let by_current = step(i).zip(usual(u)).map(|(step, usual)| step * usual);
    let by_voltage = step(u).zip(usual(i)).map(|(step, usual)| step * usual);
    match (by_current, by_voltage) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    }
}

/// Current times voltage, at the current's own times.
fn product(voltage: &Series, current: &Series) -> Option<Series> {
    let bins: Vec<Bin> = current
        .bins()
        .iter()
        .filter_map(|b| {
            let u = at(voltage.bins(), b.middle())?;
            Some(Bin {
                mean: b.mean * u,
                low: (f64::from(b.low) * u) as f32,
                high: (f64::from(b.high) * u) as f32,
                ..*b
            })
        })
        .collect();
    (!bins.is_empty()).then(|| Series::from_bins(bins))
}

/// A series at a moment: on the straight line between its neighbours; the nearest reading outside its reach.
pub(super) fn at(bins: &[Bin], t: f64) -> Option<f64> {
    let after = bins.partition_point(|b| b.middle() < t);
    let left = after.checked_sub(1).and_then(|i| bins.get(i));
    match (left, bins.get(after)) {
        (Some(a), Some(b)) => {
            let width = b.middle() - a.middle();
            if width <= 0.0 {
                return Some(b.mean);
            }
            Some(a.mean + (b.mean - a.mean) * (t - a.middle()) / width)
        }
        (Some(a), None) => Some(a.mean),
        (None, Some(b)) => Some(b.mean),
        (None, None) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPAN: Span = Span {
        start: 0.0,
        end: 1e5,
    };

    /// A draw a minute.
    fn track(log: usize, derived: bool, draws: &[f64]) -> Track {
        let mut series = Series::new(1000);
        for (k, draw) in draws.iter().enumerate() {
            series.add(60.0 * k as f64, *draw);
        }
        Track {
            channel: Channel::Power,
            log,
            derived,
            series,
        }
    }

    #[test]
    fn a_draw_that_was_read_stands_before_one_worked_out_and_else_the_more_readings() {
        let first = |tracks: Vec<Track>| {
            let readings = Readings::of(tracks, SPAN);
            let draw = readings.draw().unwrap().bins()[0].mean;
            (draw, readings.notes.len())
        };
        let (read, worked_out) = (
            || track(0, false, &[250.0; 10]),
            || track(1, true, &[240.0; 90]),
        );
        assert_eq!(first(vec![read(), worked_out()]), (250.0, 0));
        assert_eq!(first(vec![worked_out(), read()]), (250.0, 0));
        let more = || track(2, false, &[260.0; 11]);
        assert_eq!(first(vec![read(), more()]), (260.0, 1));
        assert_eq!(first(vec![more(), read()]), (260.0, 1));
        // Of two with as many, the log that is named first.
        assert_eq!(
            first(vec![read(), track(2, false, &[260.0; 10])]),
            (250.0, 1)
        );
    }

    #[test]
    fn readings_that_fell_to_nothing_between_two_at_one_level_are_left_out() {
        // A reading and two in a row were missed. After another the draw stands 15 % higher: that may be a unit that was off.
        let mut draws = [200.0; 120];
        draws[61..].fill(230.0);
        for missed in [10, 20, 21, 60] {
            draws[missed] = 0.0;
        }
        let readings = Readings::of(vec![track(0, false, &draws)], SPAN);
        let kept: Vec<f64> = { readings.draw().unwrap().bins().iter() }
            .map(|b| b.mean)
            .collect();
        assert_eq!(kept.len(), 117);
        assert_eq!(kept.iter().filter(|w| **w == 0.0).count(), 1);
        assert!(readings.notes[0].starts_with("3 readings of the draw fell to nothing"));
    }

    #[test]
    fn a_product_takes_the_voltage_between_its_readings() {
        // Midway between 24 V and 26 V; 8 to 12 A, 10 A on average.
        let mut voltage = Series::new(16);
        voltage.add(0.0, 24.0);
        voltage.add(10.0, 26.0);
        let current = Series::from_bins(vec![Bin {
            first: 4.0,
            last: 6.0,
            count: 3,
            mean: 10.0,
            low: 8.0,
            high: 12.0,
        }]);
        let draw = product(&voltage, &current).unwrap();
        let bin = draw.bins()[0];
        assert_eq!((bin.mean, bin.low, bin.high), (250.0, 200.0, 300.0));
    }
}
