//! Made log benches of many more sorts than [`super::make`] draws: start-ups of several shapes, slow settling, few and coarse
//! readings, gaps, logs that begin late, lopsided cycles, plateaus of unequal length, drifts just inside and just outside what is
//! allowed, clocks that are told and clocks that are not.
//!
//! [`draw`] draws each run, [`course`] lets it happen and keeps what a perfect meter would have read.

pub mod course;
pub mod draw;

use super::plan::Style;
use super::write::{self, Window};
use crate::made::dice::Dice;
use course::{Course, happen};
use draw::{Drawn, Habits};

/// Sorts of runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Sort {
    /// Steady after a start-up of any usual shape.
    Plain,
    /// A start-up of a third of an hour and more.
    LongStart,
    /// At high speed for some minutes, then at the set one.
    Boost,
    /// The draw settles slowly by a few per cent.
    SlowTail,
    /// A quarter of an hour to half an hour, with a reading every half minute or minute.
    Few,
    /// Pauses in one log or both.
    Gap,
    /// One of the logs begins late or ends early.
    LateLog,
    /// Readings that drop out: zeros, unplugged sensors, words.
    DropOuts,
    /// A drift of three to seven tenths of what is allowed.
    DriftInside,
    /// A drift of 1.4 to 4 times what is allowed.
    DriftOutside,
    /// The draw wanders.
    Wander,
    /// On and off, lopsided.
    CyclingOnOff,
    /// Up and down, with a surge at each start and a draw that sags or climbs while on.
    CyclingShaped,
    /// Two settings, of unequal length.
    TwoSettings,
    /// Three settings.
    ThreeSettings,
    /// Too short a window.
    Short,
    /// A start-up that has not ended.
    Unfinished,
    /// The window begins before the unit is on and ends after it is off.
    Loose,
    /// The compressor starts some minutes late.
    LateCompressor,
}

impl Sort {
    /// All of them.
    pub const ALL: [Sort; 19] = [
        Sort::Plain,
        Sort::LongStart,
        Sort::Boost,
        Sort::SlowTail,
        Sort::Few,
        Sort::Gap,
        Sort::LateLog,
        Sort::DropOuts,
        Sort::DriftInside,
        Sort::DriftOutside,
        Sort::Wander,
        Sort::CyclingOnOff,
        Sort::CyclingShaped,
        Sort::TwoSettings,
        Sort::ThreeSettings,
        Sort::Short,
        Sort::Unfinished,
        Sort::Loose,
        Sort::LateCompressor,
    ];

    /// The status that `reduce` should give.
    pub fn status(self) -> &'static str {
        match self {
            Sort::DriftOutside | Sort::Wander => "unsteady",
            Sort::CyclingOnOff | Sort::CyclingShaped => "cycling",
            Sort::TwoSettings | Sort::ThreeSettings => "several",
            Sort::Short | Sort::Unfinished => "short",
            _ => "steady",
        }
    }
}

/// What may weigh on a whole bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Burden {
    /// Nothing.
    None,
    /// The meter shows steps of 0.1 A, the thermometers of 0.5 K.
    Coarse,
    /// The meter is read every 30 or 60 s.
    Slow,
    /// Voltage and current stand in two logs with clocks of their own.
    Split,
}

impl Burden {
    /// All of them.
    pub const ALL: [Burden; 4] = [Burden::None, Burden::Coarse, Burden::Slow, Burden::Split];
}

/// What is true of one run.
#[derive(Debug, Clone)]
pub struct VariedRun {
    /// Its name.
    pub run: String,
    /// What it is.
    pub sort: Sort,
    /// What was drawn for it.
    pub drawn: Drawn,
    /// Draw, intake and outlet once settled, W and degC, where the run settles.
    pub settled: Option<[f64; 3]>,
    /// Ambient, degC.
    pub ambient_c: f64,
    /// What a perfect meter would have read: draw, intake and outlet.
    pub course: Course,
}

/// A made bench.
#[derive(Debug, Clone)]
pub struct VariedLogs {
    /// Its files: name inside the folder, bytes.
    pub files: Vec<(String, Vec<u8>)>,
    /// What is true of each run.
    pub runs: Vec<VariedRun>,
    /// What weighs on it.
    pub burden: Burden,
    /// Steps of the meter's current (A) and of the thermometers (K).
    pub steps: (f64, f64),
    /// How its loggers write.
    pub style: Style,
}

/// Runs in a bench.
pub const RUNS: usize = 6;

/// Makes the bench of a seed: six runs of sorts that follow each other from bench to bench, so that any 19 seeds hold each sort six times.
pub fn make(seed: u64) -> VariedLogs {
    let mut dice = Dice::new(seed, 78);
    let sorts: Vec<Sort> = (0..RUNS)
        .filter_map(|k| {
            let at = (seed as usize).wrapping_mul(RUNS).wrapping_add(k) % Sort::ALL.len();
            Sort::ALL.get(at).copied()
        })
        .collect();
    let burden = Burden::ALL[dice.whole(0, Burden::ALL.len() - 1)];
    make_of(&sorts, burden, None, &mut dice)
}

/// Makes a bench of plain steady runs whose thermometers are `behind_s` and whose `bench.toml` does not say so.
pub fn make_untold(seed: u64, behind_s: f64) -> VariedLogs {
    let mut dice = Dice::new(seed, 79);
    let sorts = [Sort::Plain; RUNS];
    make_of(&sorts, Burden::None, Some(behind_s), &mut dice)
}

fn make_of(sorts: &[Sort], burden: Burden, untold: Option<f64>, dice: &mut Dice) -> VariedLogs {
    let mut style = Style::random(dice);
    match burden {
        Burden::Slow => {
            style.meter_s = [30.0, 60.0][dice.whole(0, 1)];
            style.air_s = [30.0, 60.0, 120.0][dice.whole(0, 2)];
        }
        Burden::Split => style.split_meter_s = Some(dice.whole(0, 120) as f64 - 60.0),
        Burden::None | Burden::Coarse => style.meter_s = style.meter_s.min(10.0),
    }
    if let Some(behind) = untold {
        style.behind_s = behind;
        style.told = false;
    }
    style.draw_noise = (dice.between(0.001, 0.02), dice.between(1.0, 20.0));
    let habits = Habits {
        steps: match burden {
            Burden::Coarse => (0.1, 0.5),
            _ => (
                [0.001, 0.005, 0.01, 0.02][dice.whole(0, 3)],
                [0.01, 0.05, 0.1, 0.1][dice.whole(0, 3)],
            ),
        },
        burden,
    };
    let mut drawn = Vec::new();
    let mut start = style.first_start;
    for sort in sorts {
        let run = Drawn::of(*sort, start, &style, &habits, dice);
        start = run.start + run.window_s + 60.0 * dice.whole(2, 9) as f64;
        drawn.push(run);
    }
    let (readings, courses) = happen(&drawn, &style, &habits, dice);
    let windows: Vec<Window> = drawn
        .iter()
        .map(|d| Window {
            fan: d.fan,
            start: d.start,
            length_s: d.window_s,
        })
        .collect();
    let files = write::files(&windows, &style, &readings, dice);
    let runs = drawn
        .into_iter()
        .zip(courses)
        .enumerate()
        .map(|(i, (d, course))| VariedRun {
            run: format!("r{:02}", i + 1),
            sort: d.sort,
            settled: d.settled(),
            ambient_c: d.ambient_c,
            course,
            drawn: d,
        })
        .collect();
    VariedLogs {
        files,
        runs,
        burden,
        steps: habits.steps,
        style,
    }
}
