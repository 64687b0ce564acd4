//! A line that shows how far long work has come: on a terminal only, after half a second, and gone when the work is done.

use std::cell::Cell;
use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::Common;

/// Shorter work shows nothing; the line is not written more often than this either, by a fifth.
const PATIENCE: Duration = Duration::from_millis(500);
const EVERY: Duration = Duration::from_millis(100);

/// Whether a line with a share stands on the terminal; then the seconds keep silent.
static SHARE_KNOWN: AtomicBool = AtomicBool::new(false);

/// The seconds that a command takes, where no share of its work is known. Gone when dropped.
pub struct Seconds {
    // Dropped before the thread is waited for, which ends it.
    end: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Seconds {
    /// Counts for a command; silent with `--quiet` and where standard error is no terminal.
    pub fn of(command: &'static str, common: &Common) -> Seconds {
        // These two know more than the time.
        let own_line = matches!(command, "reduce" | "curve");
        if own_line || common.quiet || !std::io::stderr().is_terminal() {
            return Seconds {
                end: None,
                thread: None,
            };
        }
        let begun = Instant::now();
        let (end, ended) = channel();
        let count = move || {
            let mut shown = false;
            let mut wait = PATIENCE;
            while ended.recv_timeout(wait) == Err(RecvTimeoutError::Timeout) {
                wait = EVERY;
                if !SHARE_KNOWN.load(Ordering::Relaxed) {
                    shown = true;
                    let seconds = begun.elapsed().as_secs_f64();
                    let _ = write!(std::io::stderr(), "\r{command}: {seconds:.1} s\x1b[K");
                }
            }
            if shown {
                let _ = write!(std::io::stderr(), "\r\x1b[K");
            }
        };
        // Without a thread the work is done all the same.
        let thread = std::thread::Builder::new().spawn(count).ok();
        Seconds {
            end: Some(end),
            thread,
        }
    }
}

impl Drop for Seconds {
    fn drop(&mut self) {
        drop(self.end.take());
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

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
        SHARE_KNOWN.store(true, Ordering::Relaxed);
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
        SHARE_KNOWN.store(false, Ordering::Relaxed);
        if self.written.get().is_some() {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }
}
