//! Made log benches whose answer is known: raw logs of runs that are steady, cycle, drift, are too short or hold two settings,
//! as loggers of many kinds would write them.
//!
//! [`plan`] draws the runs from a seed, [`signal`] lets each run happen in time, [`write`](mod@write) writes it as two loggers would.
//! [`varied`] makes runs of many more sorts.
//! Nothing here shares a formula with [`crate::steady`] or [`crate::logs`].

pub mod plan;
pub mod signal;
pub mod varied;
pub mod write;

use std::path::Path;

use super::dice::Dice;
use plan::{Plan, Style};

/// A made bench of logs.
#[derive(Debug, Clone)]
pub struct MadeLogs {
    /// Its files: name inside the folder, bytes.
    pub files: Vec<(String, Vec<u8>)>,
    /// What is true of each run.
    pub runs: Vec<RunTruth>,
    /// What was drawn of the loggers, for a message.
    pub style: Style,
}

/// What is true of one run.
#[derive(Debug, Clone, PartialEq)]
pub struct RunTruth {
    /// Its name.
    pub run: String,
    /// What was made.
    pub kind: RunKind,
    /// Long-run mean of the draw once settled (over whole cycles, for a cycling run), W.
    pub power_w: f64,
    /// Intake, degC.
    pub intake_c: f64,
    /// Outlet once settled, degC.
    pub outlet_c: f64,
    /// Ambient, degC.
    pub ambient_c: f64,
    /// All that was drawn for it, for a message.
    pub plan: Plan,
}

/// Kinds of made runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RunKind {
    /// A start-up and then steady.
    Steady,
    /// Steady, with a pause in the meter's readings.
    Gap,
    /// On and off, or up and down, at regular times.
    Cycling,
    /// The intake drifts and the draw follows, or the draw drifts by itself.
    Drift,
    /// The draw wanders.
    Wander,
    /// Steady, in a window that begins before the unit is switched on and ends after it is switched off.
    Loose,
    /// Too short a window.
    Short,
    /// A window that ends before the start-up does.
    Unfinished,
    /// The setting is changed within the window.
    TwoSettings,
}

impl RunKind {
    /// All kinds.
    pub const ALL: [RunKind; 9] = [
        RunKind::Steady,
        RunKind::Gap,
        RunKind::Loose,
        RunKind::Cycling,
        RunKind::Drift,
        RunKind::Wander,
        RunKind::Short,
        RunKind::Unfinished,
        RunKind::TwoSettings,
    ];

    /// The status that `reduce` should give.
    pub fn status(self) -> &'static str {
        match self {
            RunKind::Steady | RunKind::Gap | RunKind::Loose => "steady",
            RunKind::Cycling => "cycling",
            RunKind::Drift | RunKind::Wander => "unsteady",
            RunKind::Short | RunKind::Unfinished => "short",
            RunKind::TwoSettings => "several",
        }
    }
}

/// Makes the bench of a seed: six runs, two loggers.
pub fn make(seed: u64) -> MadeLogs {
    let mut dice = Dice::new(seed, 77);
    let style = Style::random(&mut dice);
    let mut plans = Vec::new();
    let mut start = style.first_start;
    for _ in 0..6 {
        let plan = Plan::random(&mut dice, start, &style);
        start = plan.start + plan.window_s + 60.0 * dice.whole(2, 9) as f64;
        plans.push(plan);
    }
    let readings = signal::happen(&plans, &style, &mut dice);
    let windows: Vec<write::Window> = plans
        .iter()
        .map(|p| write::Window {
            fan: p.fan,
            start: p.start,
            length_s: p.window_s,
        })
        .collect();
    let files = write::files(&windows, &style, &readings, &mut dice);
    let runs = plans
        .iter()
        .enumerate()
        .map(|(i, p)| RunTruth {
            run: format!("r{:02}", i + 1),
            kind: p.kind,
            power_w: p.true_power_w(),
            intake_c: p.intake_c,
            outlet_c: p.intake_c - p.drop_k,
            ambient_c: p.ambient_c,
            plan: p.clone(),
        })
        .collect();
    MadeLogs { files, runs, style }
}

impl MadeLogs {
    /// Writes the bench's files into a folder.
    ///
    /// # Errors
    /// What the system says.
    pub fn write_to(&self, folder: &Path) -> std::io::Result<()> {
        for (name, bytes) in &self.files {
            let path = folder.join(name);
            if let Some(parent) = path.parent() {
                std::fs::create_dir_all(parent)?;
            }
            std::fs::write(path, bytes)?;
        }
        Ok(())
    }
}
