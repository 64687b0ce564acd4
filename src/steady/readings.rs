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
            notes.push(
                "voltage and current stand in different logs: the draw is each current times the voltage at that moment".to_owned(),
            );
            by_channel.insert(Channel::Power, power);
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

/// Current times voltage, at the current's own times.
fn product(voltage: &Series, current: &Series) -> Option<Series> {
    let bins: Vec<Bin> = current
        .bins()
        .iter()
        .filter_map(|b| {
            let u = at(voltage.bins(), b.middle())?;
            Some(Bin {
                mean: b.mean * u,
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
