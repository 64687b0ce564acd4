//! A run's readings at the width of a picture: for each moment the lowest and the highest, so that nothing is hidden.

use super::judge::{Judged, Status};
use super::readings::Readings;
use crate::bench::Channel;
use crate::logs::window::Span;

/// Readings of one channel in a window, in columns of equal time.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// The quantity.
    pub channel: Channel,
    /// Columns that hold readings: middle of their time (s), lowest and highest reading, base units.
    pub columns: Vec<(f64, f64, f64)>,
    /// Pauses in the readings, within the window.
    pub pauses: Vec<Span>,
}

impl Trace {
    /// The trace of draw, intake and outlet in a window, each of no more than so many columns.
    pub fn all(readings: &Readings, window: Span, columns: usize) -> Vec<Trace> {
        [Channel::Power, Channel::IntakeTemp, Channel::OutletTemp]
            .into_iter()
            .filter_map(|c| Self::of(readings, c, window, columns))
            .collect()
    }

    fn of(readings: &Readings, channel: Channel, window: Span, most: usize) -> Option<Trace> {
        let series = readings.get(channel)?;
        let width = window.length() / most.max(1) as f64;
        let mut columns: Vec<(usize, f64, f64, f64)> = Vec::new();
        for bin in series.within(window.start, window.end) {
            let at = ((bin.middle() - window.start) / width) as usize;
            let (low, high) = (f64::from(bin.low), f64::from(bin.high));
            match columns.last_mut() {
                Some(last) if last.0 == at => {
                    last.2 = last.2.min(low);
                    last.3 = last.3.max(high);
                }
                _ => columns.push((at, bin.middle(), low, high)),
            }
        }
        if columns.is_empty() {
            return None;
        }
        let limit = series.pause_limit().unwrap_or(f64::INFINITY);
        let pauses = series
            .pauses(window.start, window.end, limit)
            .into_iter()
            .map(|(start, end)| Span { start, end })
            .collect();
        Some(Trace {
            channel,
            columns: columns.into_iter().map(|(_, t, a, b)| (t, a, b)).collect(),
            pauses,
        })
    }
}

/// Why a part of a window does not stand in a run's means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// It comes before the steady stretch or the regular cycles.
    StartUp,
    /// It lies between two plateaus.
    Between,
    /// It comes after the last stretch that stands.
    After,
    /// It comes before the first whole cycle.
    BeforeCycles,
    /// It comes after the last.
    AfterCycles,
    /// The draw was not logged.
    Pause,
}

impl Why {
    /// The reason in a word or two.
    pub fn words(self) -> &'static str {
        match self {
            Why::StartUp => "start-up",
            Why::Between => "change",
            Why::After => "not steady",
            Why::BeforeCycles => "before the regular cycles",
            Why::AfterCycles => "after them",
            Why::Pause => "no readings",
        }
    }
}

/// Shorter parts are not worth a word, s.
const BRIEF: f64 = 20.0;

/// The parts of a window that were left out, in order of time; none for a run of which nothing stands.
pub fn left_out(judged: &Judged, window: Span, pauses: &[Span]) -> Vec<(Span, Why)> {
    let stand: Vec<Span> = match judged.status {
        Status::Several => judged.plateaus.iter().map(|p| p.span).collect(),
        _ => judged.plateau.iter().map(|p| p.span).collect(),
    };
    let (Some(first), Some(last)) = (stand.first(), stand.last()) else {
        return Vec::new();
    };
    let span = |start: f64, end: f64| Span { start, end };
    let (before, after) = if judged.status == Status::Cycling {
        (Why::BeforeCycles, Why::AfterCycles)
    } else {
        (Why::StartUp, Why::After)
    };
    let mut parts = vec![
        (span(window.start, first.start), before),
        (span(last.end, window.end), after),
    ];
    parts.extend(stand.windows(2).filter_map(|pair| match pair {
        [a, b] => Some((span(a.end, b.start), Why::Between)),
        _ => None,
    }));
    // Pauses outside the stretches lie in what is left out already.
    parts.extend(pauses.iter().flat_map(|p| {
        stand
            .iter()
            .map(move |s| (span(p.start.max(s.start), p.end.min(s.end)), Why::Pause))
    }));
    parts.retain(|(s, _)| s.length() > BRIEF);
    parts.sort_by(|a, b| a.0.start.total_cmp(&b.0.start));
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::series::Series;

    #[test]
    fn a_lone_spike_is_seen_however_long_the_log() {
        let mut series = Series::new(256);
        for k in 0..100_000 {
            let spike = if k == 54_321 { 900.0 } else { 0.0 };
            series.add(f64::from(k), 200.0 + spike);
        }
        let readings = Readings::from_series([(Channel::Power, series)]);
        let window = Span {
            start: 0.0,
            end: 100_000.0,
        };
        let traces = Trace::all(&readings, window, 200);
        let [trace] = traces.as_slice() else {
            panic!("{traces:?}")
        };
        assert!(trace.columns.len() <= 200);
        let high: Vec<&(f64, f64, f64)> = trace.columns.iter().filter(|c| c.2 > 300.0).collect();
        assert_eq!(high.len(), 1);
        assert!((high[0].0 - 54_321.0).abs() < 1000.0, "{high:?}");
        assert!(trace.columns.iter().all(|c| c.1 == 200.0));
    }

    #[test]
    fn columns_divide_the_window_from_its_start() {
        let mut series = Series::new(256);
        for k in 0..12 {
            series.add(1000.0 + 10.0 * f64::from(k), f64::from(k));
        }
        let readings = Readings::from_series([(Channel::Power, series)]);
        let window = Span {
            start: 1000.0,
            end: 1120.0,
        };
        let traces = Trace::all(&readings, window, 4);
        // Thirty seconds a column: three readings each.
        let ranges: Vec<(f64, f64)> = traces[0].columns.iter().map(|c| (c.1, c.2)).collect();
        assert_eq!(ranges, [(0.0, 2.0), (3.0, 5.0), (6.0, 8.0), (9.0, 11.0)]);
    }
}
