//! A line that shows how far long work has come: on a terminal only, after half a second, and gone when the work is done.

use std::cell::Cell;
use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

use super::Common;

/// Shorter work shows nothing; the line is not written more often than this either, by a fifth.
const PATIENCE: Duration = Duration::from_millis(500);
const EVERY: Duration = Duration::from_millis(100);

/// The line.
pub struct Line {
    what: &'static str,
    wanted: bool,
    begun: Instant,
    written: Cell<Option<Instant>>,
}

impl Line {
    /// A line about some work; silent with `--quiet` and where standard error is no terminal.
    pub fn new(common: &Common, what: &'static str) -> Self {
        Line {
            what,
            wanted: !common.quiet && std::io::stderr().is_terminal(),
            begun: Instant::now(),
            written: Cell::new(None),
        }
    }

    /// Shows which share of the work is done.
    pub fn show(&self, share: f64) {
        if !self.wanted || self.begun.elapsed() < PATIENCE {
            return;
        }
        if self.written.get().is_some_and(|t| t.elapsed() < EVERY) {
            return;
        }
        self.written.set(Some(Instant::now()));
        let _ = write!(
            std::io::stderr(),
            "\r{}: {:.0} %\x1b[K",
            self.what,
            100.0 * share
        );
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        if self.written.get().is_some() {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }
}
