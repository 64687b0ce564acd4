//! What was seen in a log: for the user to judge whether it was read rightly, and for refusing one that was not.

use super::block::{Batch, KEPT_PROBLEMS, Problem, ProblemKind};
use super::clock::utc;
use super::dropout::{Dropped, Where};
use super::gather::{Gathered, Order};
use super::heading::Layout;
use super::stamp::StampReader;
use crate::bench::logs::{LogSpec, TimeFormat};
use crate::bench::{BenchError, Channel, Fault, Finding, Place, Severity};

/// A log is refused when more of its lines than this share cannot be read …
const TOO_MANY_SHARE: f64 = 0.1;
/// … and more than this many.
const TOO_MANY: usize = 10;
/// Lines after which a hopeless file is given up.
const EARLY: usize = 5000;
/// Problems shown in a message.
const SHOWN: usize = 5;

/// What was seen in one `[[log]]`.
#[derive(Clone, Debug)]
pub struct LogReport {
    /// Its files, in order of time.
    pub files: Vec<String>,
    /// Lines that hold anything, headings apart.
    pub rows: usize,
    /// Lines that could not be read whole.
    pub broken: usize,
    /// The first of them: file and problem.
    pub problems: Vec<(String, Problem)>,
    /// Lines of other devices.
    pub others: usize,
    /// Headings that came again.
    pub headings: usize,
    /// Cells without a reading, for each channel.
    pub missing: Vec<(Channel, usize)>,
    /// What was set aside of each channel.
    pub dropped: Vec<(Channel, Dropped)>,
    /// The order of stamps.
    pub order: Order,
    /// First and last moment, s on the common clock.
    pub reach: Option<(f64, f64)>,
    /// Rows outside every window.
    pub outside: usize,
    /// Rows in an hour that the wall clock shows twice.
    pub folded: usize,
    /// Rows in an hour that it skips.
    pub skipped: usize,
    /// What there is to say of its files beside their readings.
    of_files: Vec<Finding>,
    /// Whether times are counted from the log's zero.
    elapsed: bool,
    file_rows: usize,
    file_broken: usize,
    file_first_problem: usize,
}

impl LogReport {
    pub(super) fn new(spec: &LogSpec) -> Self {
        LogReport {
            files: Vec::new(),
            rows: 0,
            broken: 0,
            problems: Vec::new(),
            others: 0,
            headings: 0,
            missing: spec.channels.iter().map(|c| (c.channel, 0)).collect(),
            dropped: Vec::new(),
            order: Order::default(),
            reach: None,
            outside: 0,
            folded: 0,
            skipped: 0,
            of_files: Vec::new(),
            elapsed: matches!(
                spec.time.format,
                TimeFormat::Elapsed(_) | TimeFormat::ElapsedClock
            ) && spec.time.origin.is_none(),
            file_rows: 0,
            file_broken: 0,
            file_first_problem: 0,
        }
    }

    pub(super) fn begin(&mut self, file: &str, findings: &[Finding]) {
        self.of_files.extend_from_slice(findings);
        self.files.push(file.to_owned());
        self.file_rows = 0;
        self.file_broken = 0;
        self.file_first_problem = self.problems.len();
    }

    pub(super) fn add(&mut self, batch: &Batch) {
        self.rows += batch.rows;
        self.broken += batch.broken;
        self.others += batch.others;
        self.headings += batch.headings;
        self.file_rows += batch.rows;
        self.file_broken += batch.broken;
        for ((_, sum), n) in self.missing.iter_mut().zip(&batch.missing) {
            *sum += n;
        }
        let file = self.files.last().cloned().unwrap_or_default();
        let room = KEPT_PROBLEMS.saturating_sub(self.problems.len() - self.file_first_problem);
        self.problems.extend(
            batch
                .problems
                .iter()
                .take(room)
                .map(|p| (file.clone(), p.clone())),
        );
    }

    /// Gives up on a file of which more than half cannot be read, before it is read to its end.
    pub(super) fn check_early(&self) -> Result<(), BenchError> {
        if self.file_rows >= EARLY && self.file_broken * 2 > self.file_rows {
            return Err(self.refusal("so far"));
        }
        Ok(())
    }

    pub(super) fn end(&mut self, spec: &LogSpec, layout: &Layout) -> Result<(), BenchError> {
        let _ = layout;
        let read = self.file_rows - self.file_broken;
        if self.file_broken > TOO_MANY
            && self.file_broken as f64 > TOO_MANY_SHARE * self.file_rows as f64
        {
            return Err(self.refusal("in all"));
        }
        if read == 0 {
            if self.file_broken > 0 {
                return Err(self.refusal("in all"));
            }
            let file = self.files.last().cloned().unwrap_or_default();
            return Err(Fault::new(
                Place::file(&file),
                "headings and no readings",
                "a row for each reading",
            )
            .remedy(format!(
                "check the file, or narrow file = \"{}\"",
                spec.file
            ))
            .into());
        }
        Ok(())
    }

    /// The fault for a file of which too much cannot be read, with the first lines at fault.
    fn refusal(&self, when: &str) -> BenchError {
        let file = self.files.last().cloned().unwrap_or_default();
        let shown: Vec<&Problem> = self
            .problems
            .iter()
            .skip(self.file_first_problem)
            .take(SHOWN)
            .map(|(_, p)| p)
            .collect();
        let commas = shown.iter().any(
            |p| matches!(&p.kind, ProblemKind::Number { text, .. } if super::number::has_decimal_comma(text.as_bytes())),
        );
        let times = shown
            .iter()
            .any(|p| matches!(p.kind, ProblemKind::Time { .. }));
        let remedy = if commas {
            "where numbers have decimal commas write decimal = \",\" and the delimiter".to_owned()
        } else if times {
            format!(
                "compare the time with `format` under [log.time]{}, and unit_rows where rows of units follow the headings",
                fitting_formats(&shown)
            )
        } else {
            "compare these lines with the columns, delimiter and decimal mark under [[log]]"
                .to_owned()
        };
        let list: Vec<String> = shown.iter().map(|p| p.words(&file)).collect();
        Fault::new(
            shown.first().map_or(Place::file(&file), |p| p.place(&file)),
            format!(
                "{} of {} lines ({when}) that cannot be read; {}",
                self.file_broken,
                self.file_rows,
                list.join("; ")
            ),
            format!(
                "a log of which at most {:.0} % of the lines are broken",
                100.0 * TOO_MANY_SHARE
            ),
        )
        .remedy(remedy)
        .into()
    }

    pub(super) fn finish(&mut self, spec: &LogSpec, g: &Gathered) -> Result<(), BenchError> {
        self.dropped.clone_from(&g.dropped);
        self.order = g.order;
        self.reach = g.reach;
        self.outside = g.outside;
        self.folded = g.folded;
        self.skipped = g.skipped;
        let file = self.files.first().cloned().unwrap_or_default();
        let read = self.rows - self.broken.min(self.rows);
        if g.unplaced > 0 {
            let fault = if spec.time.zone.is_none() {
                Fault::new(
                    spec.time.place.clone(),
                    format!("times in {file} without a zone"),
                    "zone = \"Europe/Amsterdam\" (the bench's own), \"UTC\" or an offset such as \"+01:00\"",
                )
            } else {
                Fault::new(
                    Place::file(&file),
                    format!("{} times far outside the calendar", g.unplaced),
                    "times of this century",
                )
                .remedy("compare the time with `format` under [log.time]; unix times in milliseconds are \"unix_ms\"")
            };
            return Err(fault.into());
        }
        if g.order.set_aside * 5 > read {
            let remedy = if g.skipped > 0 {
                "there are times in the hour that the wall clock skips at the start of summer time, so this logger seems not to follow it: write its offset as the zone, such as zone = \"+01:00\""
            } else {
                "a counter that starts again at each step is no clock: name the column with the total time; where several devices write into one file write only = { column = \"…\", is = \"…\" }"
            };
            return Err(Fault::new(
                self.at(g.order.first_backward),
                format!(
                    "a clock that goes back {}, first by {:.0} s, so that {} of {read} readings lie before others",
                    times(g.order.backward), g.order.first_backward_s, g.order.set_aside
                ),
                "times that grow from line to line",
            )
            .remedy(remedy)
            .into());
        }
        Ok(())
    }

    /// The files in words.
    fn names(&self) -> String {
        match self.files.as_slice() {
            [] => String::new(),
            [one] => one.clone(),
            [one, .., last] => format!("{one} … {last} ({} files)", self.files.len()),
        }
    }

    fn at(&self, place: Where) -> Place {
        match self.files.get(place.file) {
            Some(file) => Place::line(file, place.line),
            None => Place::file(self.names()),
        }
    }

    /// A line in words; with its file where there are several.
    fn line(&self, place: Where) -> String {
        match self.files.get(place.file).filter(|_| self.files.len() > 1) {
            Some(file) => format!("{} of {file}", self.at(place).spot()),
            None => self.at(place).spot(),
        }
    }

    fn problem_words(&self, file: &str, problem: &Problem) -> String {
        if self.files.len() > 1 {
            format!("{file}, {}", problem.words(file))
        } else {
            problem.words(file)
        }
    }

    /// The reach of the log in words.
    pub fn reach_words(&self) -> Option<String> {
        let (from, to) = self.reach?;
        if self.elapsed {
            return Some(format!("{from:.0} s to {to:.0} s"));
        }
        Some(format!("{} to {}", utc(from)?, utc(to)?))
    }

    /// What a careful reader would be told of this log.
    pub fn findings(&self) -> Vec<Finding> {
        let file = self.names();
        let first = self.files.first().cloned().unwrap_or_default();
        let mut out = self.of_files.clone();
        let mut say = |severity, code, place: Option<Place>, text: String| {
            let place = place.unwrap_or_else(|| Place::file(&first));
            out.push(Finding::new(severity, code, text).at(&place));
        };
        if self.broken > 0 {
            let list: Vec<String> = self
                .problems
                .iter()
                .take(SHOWN)
                .map(|(f, p)| self.problem_words(f, p))
                .collect();
            let more = if self.broken > list.len() {
                format!("; and {} more", self.broken - list.len())
            } else {
                String::new()
            };
            say(
                Severity::Warning,
                "broken-lines",
                self.problems.first().map(|(f, p)| Place::line(f, p.line)),
                format!(
                    "{} of {} lines of {file} could not be read whole: {}{more}",
                    self.broken,
                    self.rows,
                    list.join("; ")
                ),
            );
        }
        let o = &self.order;
        if o.repeated > 0 {
            let many = o.repeated * 3 > self.rows;
            let hint = if many {
                "; where several devices write into the file, name one: only = { column = \"…\", is = \"…\" }"
            } else {
                ""
            };
            say(
                if many {
                    Severity::Warning
                } else {
                    Severity::Note
                },
                "repeated-times",
                Some(self.at(o.first_repeated)),
                format!(
                    "{} readings of {file} have the time of the reading before (first on {}); they are kept{hint}",
                    o.repeated,
                    self.line(o.first_repeated)
                ),
            );
        }
        if o.doubled > 0 {
            say(
                Severity::Note,
                "doubled-lines",
                None,
                format!(
                    "{} lines of {file} have the time and the readings of the line before and are left out",
                    o.doubled
                ),
            );
        }
        if o.backward > 0 {
            let summer = if (o.first_backward_s - 3600.0).abs() < 120.0 {
                " (an hour: the end of summer time? name the zone)"
            } else {
                ""
            };
            say(
                Severity::Warning,
                "clock-went-back",
                Some(self.at(o.first_backward)),
                format!(
                    "the clock of {file} goes back {}, first on {} by {:.0} s{summer}; {} readings that lie before others are left out",
                    times(o.backward),
                    self.line(o.first_backward),
                    o.first_backward_s,
                    o.set_aside
                ),
            );
        }
        if self.folded > 0 {
            say(
                Severity::Note,
                "hour-shown-twice",
                None,
                format!(
                    "{} readings of {file} lie in the hour that the wall clock shows twice at the end of summer time; they are read in the order in which they stand",
                    self.folded
                ),
            );
        }
        if self.skipped > 0 {
            say(
                Severity::Warning,
                "hour-skipped",
                None,
                format!(
                    "{} readings of {file} lie in the hour that the wall clock skips at the start of summer time: this logger seems not to follow it; write its offset as the zone, such as zone = \"+01:00\"",
                    self.skipped
                ),
            );
        }
        for (channel, n) in self.missing.iter().filter(|(_, n)| *n > 0) {
            say(
                Severity::Note,
                "readings-missing",
                None,
                format!(
                    "{n} of {} lines of {file} have no reading of {}",
                    self.rows,
                    channel.name()
                ),
            );
        }
        for (channel, d) in &self.dropped {
            if d.impossible > 0 {
                say(
                    Severity::Warning,
                    "readings-impossible",
                    Some(self.at(d.first_impossible)),
                    format!(
                        "{} readings of {} in {file} are outside anything possible (first on {}) and are left out",
                        d.impossible,
                        channel.name(),
                        self.line(d.first_impossible)
                    ),
                );
            }
            if d.leapt > 0 {
                say(
                    Severity::Warning,
                    "sensor-drop-outs",
                    Some(self.at(d.first_leapt)),
                    format!(
                        "{} readings of {} in {file} leap away and back at once (first on {}): taken for drop-outs and left out",
                        d.leapt,
                        channel.name(),
                        self.line(d.first_leapt)
                    ),
                );
            }
        }
        if self.headings > 0 {
            say(
                Severity::Note,
                "headings-again",
                None,
                format!("the headings stand {} more times in {file}", self.headings),
            );
        }
        out
    }
}

fn times(n: usize) -> String {
    match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}

/// Ways of writing a time that are tried on times that the stated format does not read.
const USUAL_FORMATS: [&str; 9] = [
    "iso",
    "%d.%m.%Y %H:%M:%S",
    "%d.%m.%Y %H:%M",
    "%d/%m/%Y %H:%M:%S",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %H:%M:%S",
    "%m/%d/%Y %H:%M",
    "%m/%d/%Y %I:%M:%S %p",
    "elapsed",
];

/// Names the usual formats that read all the times shown; nothing where none does.
fn fitting_formats(shown: &[&Problem]) -> String {
    let times: Vec<&str> = { shown.iter() }
        .filter_map(|p| match &p.kind {
            ProblemKind::Time { text, .. } => Some(text.as_str()),
            _ => None,
        })
        .collect();
    let fits = |words: &&&str| {
        let reader = TimeFormat::from_words(words)
            .and_then(|format| StampReader::new(&format, None, false).ok());
        reader.is_some_and(|r| times.iter().all(|t| r.read(t.as_bytes()).is_ok()))
    };
    let list: Vec<String> = { USUAL_FORMATS.iter() }
        .filter(fits)
        .map(|words| format!("\"{words}\""))
        .collect();
    if times.is_empty() || list.is_empty() {
        String::new()
    } else {
        format!(" (these read as {})", list.join(" or as "))
    }
}

impl Problem {
    fn place(&self, file: &str) -> Place {
        match &self.kind {
            ProblemKind::Short { .. } => Place::line(file, self.line),
            ProblemKind::Time { column, .. } | ProblemKind::Number { column, .. } => {
                Place::at(file, self.line, *column)
            }
        }
    }

    /// The problem in words, with its place in the file.
    pub fn words(&self, file: &str) -> String {
        let spot = self.place(file).spot();
        match &self.kind {
            ProblemKind::Short { cells, needed } => {
                format!("{spot}: {cells} cells where {needed} are needed")
            }
            ProblemKind::Time { text, no_such, .. } => format!(
                "{spot}: {} `{text}`",
                if *no_such {
                    "no such time"
                } else {
                    "not the time format"
                }
            ),
            ProblemKind::Number { text, .. } => format!("{spot}: no number `{text}`"),
        }
    }
}
