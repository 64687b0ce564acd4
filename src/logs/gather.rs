//! Sorting a log's readings into runs.

use super::block::Batch;
use super::clock::Clock;
use super::dropout::{Dropped, Filter, Where};
use super::heading::Layout;
use super::series::Series;
use super::window::Span;
use crate::bench::Channel;
use crate::bench::logs::LogSpec;

/// Readings are kept this long before and after a window, s: for lining up clocks, not for means.
pub const MARGIN_S: f64 = 600.0;

/// The readings of one channel of one log in one run.
#[derive(Clone, Debug)]
pub struct Track {
    /// What was measured.
    pub channel: Channel,
    /// Index of the log in `bench.toml`.
    pub log: usize,
    /// Whether it was worked out row by row (voltage times current) instead of read.
    pub derived: bool,
    /// The readings, in base units.
    pub series: Series,
}

/// What was seen of the order of time stamps.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Order {
    /// Rows with the stamp of the row before and other readings.
    pub repeated: usize,
    /// Where the first stands.
    pub first_repeated: Where,
    /// Rows that repeat the row before in all: left out.
    pub doubled: usize,
    /// Times that the clock went back.
    pub backward: usize,
    /// Where the first stands.
    pub first_backward: Where,
    /// How far it went back there, s.
    pub first_backward_s: f64,
    /// Rows stamped earlier than one before them: left out.
    pub set_aside: usize,
}

/// Takes the batches of one log and sorts them into runs.
pub struct Gather<'a> {
    spans: &'a [Span],
    /// Moments at which a window with its margins starts or ends, sorted.
    bounds: Vec<f64>,
    /// Between these moments the same windows are open.
    valid: (f64, f64),
    open: Vec<usize>,
    clock: Clock,
    convert: Vec<(f64, f64)>,
    /// Files begun so far.
    files: usize,
    channels: Vec<Channel>,
    /// Columns of voltage and current where the draw is to be worked out.
    product: Option<(usize, usize)>,
    filters: Vec<Filter>,
    /// Series by channel and run.
    series: Vec<Vec<Option<Series>>>,
    room: usize,
    row_before: Vec<f64>,
    /// The stamp of the row before, in order or not.
    before: f64,
    /// What was seen of the order of stamps.
    pub order: Order,
    /// The first and the latest moment.
    pub reach: Option<(f64, f64)>,
    /// Rows outside every window.
    pub outside: usize,
    /// Rows whose moment cannot be told (no zone, or out of the calendar).
    pub unplaced: usize,
}

impl<'a> Gather<'a> {
    /// A gatherer for a log. `room` is the most bins that a series may hold.
    pub fn new(spec: &LogSpec, spans: &'a [Span], clock: Clock, room: usize) -> Self {
        let mut channels: Vec<Channel> = spec.channels.iter().map(|c| c.channel).collect();
        let at = |c: Channel| channels.iter().position(|x| *x == c);
        let product = match (
            at(Channel::Power),
            at(Channel::Voltage),
            at(Channel::Current),
        ) {
            (None, Some(u), Some(i)) => Some((u, i)),
            _ => None,
        };
        if product.is_some() {
            channels.push(Channel::Power);
        }
        let mut bounds: Vec<f64> = spans
            .iter()
            .flat_map(|s| [s.start - MARGIN_S, s.end + MARGIN_S])
            .collect();
        bounds.sort_by(f64::total_cmp);
        Gather {
            spans,
            bounds,
            valid: (f64::INFINITY, f64::NEG_INFINITY),
            open: Vec::new(),
            clock,
            convert: Vec::new(),
            files: 0,
            filters: channels.iter().map(|c| Filter::new(*c)).collect(),
            series: channels.iter().map(|_| vec![None; spans.len()]).collect(),
            channels,
            product,
            room,
            row_before: Vec::new(),
            before: f64::NEG_INFINITY,
            order: Order::default(),
            reach: None,
            outside: 0,
            unplaced: 0,
        }
    }

    /// Begins a file, with its own units.
    pub fn begin_file(&mut self, spec: &LogSpec, layout: &Layout) {
        self.files += 1;
        self.convert = spec
            .channels
            .iter()
            .zip(&layout.channels)
            .map(|(c, column)| {
                let zero = column.unit.to_si(0.0);
                let slope = column.unit.to_si(1.0) - zero;
                (slope * c.factor, zero + c.offset)
            })
            .collect();
    }

    /// Takes the next batch of the log.
    pub fn take(&mut self, batch: &Batch) {
        self.each_row(batch, |gather, t, row, at| gather.sort_in(t, row, at));
    }

    /// Hands on each row of a batch that is in order: moment, readings in base units, place.
    pub(super) fn each_row(
        &mut self,
        batch: &Batch,
        mut hand_on: impl FnMut(&mut Self, f64, &[f64], Where),
    ) {
        let width = self.convert.len().max(1);
        let mut row = vec![f64::NAN; self.channels.len()];
        // The readings of the row before, as written in the log; of the last batch for the first row.
        let carried = std::mem::take(&mut self.row_before);
        let mut before: &[f64] = &carried;
        for ((stamp, line), raw) in batch
            .stamps
            .iter()
            .zip(&batch.lines)
            .zip(batch.values.chunks_exact(width))
        {
            let Some(t) = self.clock.moment(*stamp) else {
                self.unplaced += 1;
                continue;
            };
            let at = Where {
                file: self.files.saturating_sub(1),
                line: *line,
            };
            if self.in_order(t, raw, before, at) {
                for (slot, (v, (slope, zero))) in row.iter_mut().zip(raw.iter().zip(&self.convert))
                {
                    *slot = slope * v + zero;
                }
                if let Some((u, i)) = self.product {
                    let product = row.get(u).copied().unwrap_or(f64::NAN)
                        * row.get(i).copied().unwrap_or(f64::NAN);
                    if let Some(slot) = row.last_mut() {
                        *slot = product;
                    }
                }
                hand_on(self, t, &row, at);
            }
            before = raw;
        }
        self.row_before = before.to_vec();
    }

    /// Whether a row is to be used; notes what is odd about its stamp.
    fn in_order(&mut self, t: f64, raw: &[f64], before: &[f64], line: Where) -> bool {
        let stamp_before = std::mem::replace(&mut self.before, t);
        let Some((first, last)) = self.reach else {
            self.reach = Some((t, t));
            return true;
        };
        if t > last {
            self.reach = Some((first, t));
            return true;
        }
        if t == last {
            let same = stamp_before == t
                && before.len() == raw.len()
                && before
                    .iter()
                    .zip(raw)
                    .all(|(a, b)| a.to_bits() == b.to_bits());
            if same {
                self.order.doubled += 1;
                return false;
            }
            if self.order.repeated == 0 {
                self.order.first_repeated = line;
            }
            self.order.repeated += 1;
            return true;
        }
        if t < stamp_before {
            if self.order.backward == 0 {
                self.order.first_backward = line;
                self.order.first_backward_s = stamp_before - t;
            }
            self.order.backward += 1;
        }
        self.order.set_aside += 1;
        false
    }

    fn sort_in(&mut self, t: f64, row: &[f64], line: Where) {
        self.open_at(t);
        if self.open.is_empty() {
            self.outside += 1;
        }
        for ((filter, by_run), v) in self
            .filters
            .iter_mut()
            .zip(&mut self.series)
            .zip(row)
            .filter(|(_, v)| !v.is_nan())
        {
            let (open, room) = (&self.open, self.room);
            filter.take(t, *v, line, &mut |t, v| {
                for run in open {
                    if let Some(slot) = by_run.get_mut(*run) {
                        slot.get_or_insert_with(|| Series::new(room)).add(t, v);
                    }
                }
            });
        }
    }

    /// Finds the windows that are open at a moment.
    fn open_at(&mut self, t: f64) {
        if t >= self.valid.0 && t < self.valid.1 {
            return;
        }
        let after = self.bounds.partition_point(|b| *b <= t);
        let bound = |i: Option<usize>| i.and_then(|i| self.bounds.get(i)).copied();
        self.valid = (
            bound(after.checked_sub(1)).unwrap_or(f64::NEG_INFINITY),
            bound(Some(after)).unwrap_or(f64::INFINITY),
        );
        self.open.clear();
        self.open.extend(
            self.spans
                .iter()
                .enumerate()
                .filter(|(_, s)| t >= s.start - MARGIN_S && t < s.end + MARGIN_S)
                .map(|(i, _)| i),
        );
    }

    /// The series of each run, and what was dropped of each channel.
    pub fn finish(mut self, log: usize) -> Gathered {
        let open = std::mem::take(&mut self.open);
        for (filter, by_run) in self.filters.iter_mut().zip(&mut self.series) {
            filter.finish(&mut |t, v| {
                for run in &open {
                    if let Some(Some(series)) = by_run.get_mut(*run) {
                        series.add(t, v);
                    }
                }
            });
        }
        let mut runs: Vec<Vec<Track>> = self.spans.iter().map(|_| Vec::new()).collect();
        let dropped = self
            .channels
            .iter()
            .zip(&self.filters)
            .map(|(c, f)| (*c, f.dropped))
            .collect();
        let derived_at = self.product.map(|_| self.channels.len() - 1);
        for (i, (channel, by_run)) in self.channels.iter().zip(self.series).enumerate() {
            for (run, series) in runs.iter_mut().zip(by_run) {
                if let Some(series) = series {
                    run.push(Track {
                        channel: *channel,
                        log,
                        derived: derived_at == Some(i),
                        series,
                    });
                }
            }
        }
        Gathered {
            runs,
            dropped,
            order: self.order,
            reach: self.reach,
            outside: self.outside,
            unplaced: self.unplaced,
            folded: self.clock.folded,
            skipped: self.clock.skipped,
        }
    }
}

/// One log, sorted.
#[derive(Debug)]
pub struct Gathered {
    /// Its tracks in each run, in table order.
    pub runs: Vec<Vec<Track>>,
    /// What was set aside of each channel.
    pub dropped: Vec<(Channel, Dropped)>,
    /// What was seen of the order of stamps.
    pub order: Order,
    /// The first and last moment.
    pub reach: Option<(f64, f64)>,
    /// Rows outside every window and its margins.
    pub outside: usize,
    /// Rows whose moment cannot be told.
    pub unplaced: usize,
    /// Rows in an hour that the wall clock shows twice.
    pub folded: usize,
    /// Rows in an hour that it skips.
    pub skipped: usize,
}
