//! A battery's discharge test: Ah and Wh from logs, against the rating, with what they are worth.
//!
//! Each file is read twice, in bounded memory. [`survey`] finds the usual sampling and the sign of discharge;
//! [`integrate`] sums charge and energy by trapezoids; [`pool()`] joins repeats. [`columns`] maps a bare table by its headings.

pub mod columns;
mod headings;
pub mod integrate;
pub mod pool;
pub mod resistance;
pub mod summary;
pub mod survey;
mod test;

use crate::bench::logs::LogSpec;
use crate::bench::{AccuracyAs, Bench, BenchError, Channel, Finding, SourceFile};
use crate::logs::read_rows;
use crate::quantity::Accuracy;
use integrate::{Integrator, Rules};
pub use pool::{Pooled, Worth, pool};
pub use resistance::{Resistance, Step};
pub use summary::{Discharge, Rating, bench_files};
use survey::Survey;
pub use survey::{Sign, SignFault};
pub use test::{Gaps, Test};

/// A moment on a log's clock, s: ISO 8601, in `zone` (UTC where none is named) where the text names no offset.
pub fn moment(text: &str, zone: Option<&str>) -> Option<f64> {
    crate::logs::window::origin(text, Some(zone.unwrap_or("UTC")))
}

/// One log to be read as a discharge test.
#[derive(Clone, Debug)]
pub struct DischargeFile {
    /// How it is read; channels are voltage and current, or voltage alone.
    pub spec: LogSpec,
    /// The file.
    pub file: SourceFile,
    /// What was taken from its headings, in words.
    pub taken: Vec<String>,
}

/// A load that is taken as constant where a log has no current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Load {
    /// A power, W.
    Power(f64),
    /// A current, A.
    Current(f64),
}

/// An edge of the part of a log that is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Edge {
    /// Seconds after the log's first reading.
    After(f64),
    /// A moment on the log's clock, s.
    At(f64),
}

/// Standard uncertainty of a meter's readings: a share of the reading and a constant, each the same error throughout a log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeterU {
    /// Share of the reading.
    pub relative: f64,
    /// Constant, in base units.
    pub absolute: f64,
    /// Whether the same meter read every test: its error is then shared by all.
    pub shared: bool,
}

impl MeterU {
    /// From an accuracy statement, read as limits that hold 95 % of readings or as a standard uncertainty.
    pub fn from_accuracy(accuracy: Accuracy, read_as: AccuracyAs, shared: bool) -> MeterU {
        let divisor = match read_as {
            AccuracyAs::Standard => 1.0,
            // 1.959964 = normal quantile at 0.975 (JCGM 100, 4.3.4).
            AccuracyAs::Limits => 1.959_963_984_540_054,
        };
        MeterU {
            relative: accuracy.relative / divisor,
            absolute: accuracy.absolute / divisor,
            shared,
        }
    }
}

/// How a discharge test is read.
#[derive(Clone, Debug, Default)]
pub struct DischargeOptions {
    /// Where the test ends, V; the end of the load where none is given.
    pub cutoff_v: Option<f64>,
    /// A longer pause between readings is a gap, s; found from the sampling where none is given.
    pub gap_s: Option<f64>,
    /// Whether the load is known to have gone on in gaps.
    pub load_went_on: bool,
    /// The sign of a discharging current; found from the voltage where none is given.
    pub sign: Option<Sign>,
    /// The load, for logs without a current.
    pub load: Option<Load>,
    /// The part of each log that is used.
    pub window: (Option<Edge>, Option<Edge>),
    /// What the current meters are good for.
    pub current_meters: Vec<MeterU>,
    /// What the voltmeters are good for.
    pub voltmeters: Vec<MeterU>,
}

impl DischargeOptions {
    /// What a bench says: cut-off voltage and instruments.
    pub fn from_bench(bench: &Bench) -> DischargeOptions {
        let meters = |channel: Channel| {
            bench
                .instruments
                .iter()
                .filter(|i| i.measures.contains(&channel))
                .map(|i| MeterU::from_accuracy(i.accuracy, i.read_as, i.shared))
                .collect()
        };
        DischargeOptions {
            cutoff_v: bench.supply.battery.as_ref().and_then(|b| b.cutoff_v),
            current_meters: meters(Channel::Current),
            voltmeters: meters(Channel::Voltage),
            ..DischargeOptions::default()
        }
    }
}

/// What one file shows.
#[derive(Clone, Debug)]
pub struct FileResult {
    /// Its name.
    pub file: String,
    /// What was taken from its headings, in words.
    pub taken: Vec<String>,
    /// The sign of discharge; none where the load was stated instead.
    pub sign: Option<Sign>,
    /// Usual time between readings, s.
    pub interval_s: f64,
    /// Pauses longer than this were gaps, s.
    pub gap_limit_s: f64,
    /// The discharges in it, in order of time.
    pub tests: Vec<Test>,
    /// Discharges too small to be tests: how many.
    pub small: usize,
    /// Its load steps.
    pub steps: Vec<Step>,
    /// The smallest step of its voltage, V: its resolution, or the noise where that is larger.
    pub step_v: Option<f64>,
    /// Internal resistance from them.
    pub resistance: Option<Resistance>,
    /// What was seen while reading.
    pub findings: Vec<Finding>,
}

/// Why a file gives no discharge.
#[derive(Debug, thiserror::Error)]
pub enum DischargeError {
    /// It could not be read.
    #[error(transparent)]
    Read(#[from] BenchError),
    /// The sign of discharge cannot be told.
    #[error("{file}: {fault}")]
    Sign {
        /// The file.
        file: String,
        /// Why.
        fault: SignFault,
    },
    /// There is no current and no load was stated.
    #[error(
        "{file}: no current was found under its headings, and a voltage alone says nothing of charge. Where a column holds it, name it: --current \"I [A]\". Where the load was constant, state it with its doubt: --load \"15 W\" --load-accuracy \"10 % of reading\""
    )]
    NoCurrent {
        /// The file.
        file: String,
    },
    /// Nothing flowed out.
    #[error("{file}: no reading shows current out of the battery{}", window_words(*.windowed))]
    NoDischarge {
        /// The file.
        file: String,
        /// Whether only a part of the log was used.
        windowed: bool,
    },
    /// The readings are no battery's.
    #[error(
        "{file}: voltages about {mean_v:.0} V; a battery of 0.5 to 1000 V is expected. Millivolts under a heading that says volts? State the unit: --voltage \"{heading} [mV]\""
    )]
    Implausible {
        /// The file.
        file: String,
        /// Mean of the readings, V.
        mean_v: f64,
        /// The column.
        heading: String,
    },
    /// The cut-off voltage does not fit the log.
    #[error(
        "{file}: the battery stood at {start_v:.2} V when the load came on, already at or below the cut-off of {cutoff_v:.2} V"
    )]
    BelowCutoff {
        /// The file.
        file: String,
        /// Voltage at the start, V.
        start_v: f64,
        /// The cut-off asked for, V.
        cutoff_v: f64,
    },
}

fn window_words(windowed: bool) -> &'static str {
    if windowed {
        " in the part that was asked for"
    } else {
        ""
    }
}

/// Reads one file as one or several discharge tests.
///
/// # Errors
/// [`DischargeError`].
pub fn measure(
    source: &DischargeFile,
    options: &DischargeOptions,
) -> Result<FileResult, DischargeError> {
    let spec = &source.spec;
    let file = || source.file.name.clone();
    let place = |c: Channel| spec.channels.iter().position(|s| s.channel == c);
    let voltage = place(Channel::Voltage);
    let current = place(Channel::Current);
    if current.is_none() && options.load.is_none() {
        return Err(DischargeError::NoCurrent { file: file() });
    }
    let load = options.load.filter(|_| current.is_none());
    let pick = move |row: &[f64], at: Option<usize>| {
        at.and_then(|i| row.get(i)).copied().unwrap_or(f64::NAN)
    };
    let reading = move |row: &[f64]| {
        let v = pick(row, voltage);
        let i = match load {
            Some(Load::Power(w)) => w / v,
            Some(Load::Current(a)) => a,
            None => pick(row, current),
        };
        (v.is_finite() && i.is_finite()).then_some((v, i))
    };
    let mut survey = Survey::new(options.window);
    let report = read_rows(spec, &source.file, |t, row| {
        if let Some((v, i)) = reading(row) {
            survey.take(t, v, i);
        }
    })?;
    let windowed = options.window.0.is_some() || options.window.1.is_some();
    let mean_v = survey.mean_v();
    if mean_v.is_some_and(|v| !(0.5..=1000.0).contains(&v)) {
        return Err(DischargeError::Implausible {
            file: file(),
            mean_v: mean_v.unwrap_or_default(),
            heading: voltage.map_or_else(String::new, |at| heading_of(spec, at)),
        });
    }
    let sign = match (load, options.sign) {
        (Some(_), _) => Sign::Positive,
        (None, Some(sign)) => sign,
        (None, None) => survey.sign().map_err(|fault| DischargeError::Sign {
            file: file(),
            fault,
        })?,
    };
    let largest = survey.largest(sign);
    if largest <= 0.0 {
        return Err(DischargeError::NoDischarge {
            file: file(),
            windowed,
        });
    }
    let gap_limit_s = match load {
        // The load is stated, not read: a pause between readings of the voltage leaves no current unknown.
        Some(_) => f64::INFINITY,
        None => options.gap_s.unwrap_or_else(|| survey.gap_limit_s()),
    };
    let mut integrator = Integrator::new(Rules {
        cutoff_v: options.cutoff_v,
        gap_limit_s,
        largest_a: largest,
        least_a: survey.least(sign).min(largest),
        load_went_on: options.load_went_on,
    });
    let (from, until) = survey.window();
    read_rows(spec, &source.file, |t, row| {
        if t < from || t > until {
            return;
        }
        if let Some((v, i)) = reading(row) {
            integrator.take(t, v, sign.out_of_battery(i));
        }
    })?;
    let done = integrator.finish();
    if let (Some(start_v), Some(cutoff_v)) = (done.below_from_start, options.cutoff_v)
        && done.tests.is_empty()
    {
        return Err(DischargeError::BelowCutoff {
            file: file(),
            start_v,
            cutoff_v,
        });
    }
    if done.tests.is_empty() {
        return Err(DischargeError::NoDischarge {
            file: file(),
            windowed,
        });
    }
    // A load that was stated shows no steps of its own.
    let steps = if load.is_none() {
        done.steps
    } else {
        Vec::new()
    };
    Ok(FileResult {
        file: file(),
        taken: source.taken.clone(),
        sign: load.is_none().then_some(sign),
        interval_s: survey.interval_s(),
        gap_limit_s,
        tests: done.tests,
        small: done.small,
        resistance: Resistance::from_steps(
            &steps,
            survey.step_v().unwrap_or(0.0),
            &options.current_meters,
            &options.voltmeters,
        ),
        step_v: survey.step_v(),
        steps,
        findings: report.findings(),
    })
}

fn heading_of(spec: &LogSpec, at: usize) -> String {
    use crate::bench::logs::ColumnRef;
    match spec.channels.get(at).map(|c| &c.column) {
        Some(ColumnRef::Name(name)) => name.clone(),
        Some(ColumnRef::Number(n)) => format!("#{n}"),
        None => String::new(),
    }
}
