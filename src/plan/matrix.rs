//! The factorial matrix and its order.
//!
//! Every setting (mode × fan level × intake) is run equally often; blocks hold every setting as often as repeats allow, and what is left
//! over is dealt to the blocks in turn. Within a block the order is random, so that a drift does not pass for an effect of a setting
//! (G. E. P. Box, J. S. Hunter, W. G. Hunter, *Statistics for Experimenters*, 2005, chapter 3: block what you can, randomise the rest).

use crate::bench::{Bench, Kind};
use crate::fit::forms::DrawData;
use crate::stats::random::{Stream, below, shuffle, stream};

use super::PlanError;

/// What is to be planned.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// Modes; a single empty name for a unit without modes.
    pub modes: Vec<String>,
    /// Fan levels, as they will be written in the tables.
    pub fans: Vec<String>,
    /// Intake set points, degC.
    pub intakes_c: Vec<f64>,
    /// Cooling runs of each setting.
    pub repeats: usize,
    /// Blocks, such as days.
    pub blocks: usize,
    /// Fan-only runs at each level, over all blocks.
    pub fan_only: usize,
    /// Whether each block begins with a standby run.
    pub standby: bool,
    /// Whether runs at one intake are kept together within a block, where the room takes long to settle.
    pub group_intakes: bool,
    /// Number of the first block; above 1 where the plan continues a bench.
    pub first_block: usize,
    /// What run names begin with.
    pub prefix: String,
}

/// A planned run.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedRun {
    /// Its name.
    pub run: String,
    /// Its place in the whole order, from 1.
    pub order: usize,
    /// Its block, counted from 0.
    pub block: usize,
    /// What it is for.
    pub kind: Kind,
    /// Index into [`Design::modes`]; cooling runs only.
    pub mode: Option<usize>,
    /// Index into [`Design::fans`]; none at standby.
    pub fan: Option<usize>,
    /// Index into [`Design::intakes_c`]; cooling runs only.
    pub intake: Option<usize>,
}

/// A plan: its runs in the order in which they are to be done.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// What was planned.
    pub design: Design,
    /// The runs.
    pub runs: Vec<PlannedRun>,
}

/// Most names of modes or levels, set points, repeats and blocks.
const MOST: usize = 50;
/// Most runs: far more than a bench sees in a year.
const MOST_RUNS: usize = 2000;

impl Design {
    /// Two repeats in two blocks, two fan-only runs a level and standby, over what the bench was run at; without cooling runs over one mode
    /// `cool`, levels 1 to 3, and intakes of 24 and 30 degC. Blocks and run names go on from those of the bench.
    pub fn of(bench: Option<&Bench>) -> Design {
        let mut design = Design {
            modes: vec!["cool".to_owned()],
            fans: ["1", "2", "3"].map(str::to_owned).to_vec(),
            intakes_c: vec![24.0, 30.0],
            repeats: 2,
            blocks: 2,
            fan_only: 2,
            standby: true,
            group_intakes: false,
            first_block: 1,
            prefix: "r".to_owned(),
        };
        let Some(bench) = bench else { return design };
        let data = DrawData::from_bench(bench);
        if !data.rows.is_empty() {
            design.fans = data.levels.iter().map(|l| l.label.clone()).collect();
            design.modes = data.modes.clone();
            if data.intake_varied {
                // Set points are round; their means over runs are not.
                let halves = |c: &f64| (2.0 * c).round() / 2.0;
                design.intakes_c = data.set_points.iter().map(halves).collect();
            }
        }
        let number = |p: &crate::bench::Point| {
            let own = p.block.as_deref()?.strip_prefix("day ")?;
            own.trim().parse::<usize>().ok().filter(|n| *n < MOST_RUNS)
        };
        design.first_block += bench.points.iter().filter_map(number).max().unwrap_or(0);
        while bench
            .points
            .iter()
            .any(|p| p.run.starts_with(&design.prefix))
        {
            design.prefix = match design.prefix.as_str() {
                "r" => "p".to_owned(),
                other => format!("{other}p"),
            };
        }
        design
    }

    /// Checks what was asked.
    ///
    /// # Errors
    /// [`PlanError`] for an empty or repeated entry, a count or an intake outside what makes sense.
    fn check(&self) -> Result<(), PlanError> {
        let counts = [
            ("modes", self.modes.len(), 1),
            ("fan levels", self.fans.len(), 1),
            ("intakes", self.intakes_c.len(), 1),
            ("repeats", self.repeats, 1),
            ("blocks", self.blocks, 1),
            ("fan-only runs a level", self.fan_only, 0),
        ];
        for (what, found, least) in counts {
            if found == 0 && least == 1 && !matches!(what, "repeats" | "blocks") {
                return Err(PlanError::Empty { what });
            }
            if !(least..=MOST).contains(&found) {
                return Err(PlanError::Count {
                    what,
                    found,
                    least,
                    most: MOST,
                });
            }
        }
        for (what, names) in [("mode", &self.modes), ("fan level", &self.fans)] {
            if let Some(name) = twice(names) {
                return Err(PlanError::Twice { what, name });
            }
        }
        let intakes: Vec<String> = self
            .intakes_c
            .iter()
            .map(|c| format!("{c:.1} degC"))
            .collect();
        if let Some(name) = twice(&intakes) {
            return Err(PlanError::Twice {
                what: "intake",
                name,
            });
        }
        if let Some(found) = self.intakes_c.iter().find(|c| !(-20.0..=60.0).contains(*c)) {
            return Err(PlanError::Value {
                what: "an intake",
                found: *found,
                expected: "-20 to 60 degC",
            });
        }
        let runs = self.modes.len() * self.fans.len() * self.intakes_c.len() * self.repeats
            + self.fans.len() * self.fan_only
            + if self.standby { self.blocks } else { 0 };
        if runs > MOST_RUNS {
            return Err(PlanError::Count {
                what: "runs",
                found: runs,
                least: 1,
                most: MOST_RUNS,
            });
        }
        Ok(())
    }

    /// Whether every block holds every setting equally often.
    pub fn balanced(&self) -> bool {
        self.repeats.is_multiple_of(self.blocks.max(1))
    }

    /// The plan, in the order that the seed gives.
    ///
    /// # Errors
    /// As for a design that makes no sense: [`PlanError::Empty`], [`PlanError::Twice`], [`PlanError::Count`], [`PlanError::Value`].
    pub fn plan(&self, seed: u64) -> Result<Plan, PlanError> {
        self.check()?;
        let mut rng = stream(seed, 0);
        let mut cells = Vec::new();
        for mode in 0..self.modes.len() {
            for fan in 0..self.fans.len() {
                for intake in 0..self.intakes_c.len() {
                    cells.push((Kind::Cooling, Some(mode), Some(fan), Some(intake)));
                }
            }
        }
        let levels = (0..self.fans.len()).map(|fan| (Kind::FanOnly, None, Some(fan), None));
        let mut blocks = vec![Vec::new(); self.blocks];
        let mut next = below(&mut rng, self.blocks);
        deal(&mut rng, cells, self.repeats, &mut blocks, &mut next);
        deal(
            &mut rng,
            levels.collect(),
            self.fan_only,
            &mut blocks,
            &mut next,
        );
        let mut runs = Vec::new();
        for (block, own) in blocks.into_iter().enumerate() {
            let mut ordered = self.ordered(&mut rng, own);
            if self.standby {
                ordered.insert(0, (Kind::Standby, None, None, None));
            }
            for (kind, mode, fan, intake) in ordered {
                let order = runs.len() + 1;
                runs.push(PlannedRun {
                    run: format!("{}{order:02}", self.prefix),
                    order,
                    block,
                    kind,
                    mode,
                    fan,
                    intake,
                });
            }
        }
        Ok(Plan {
            design: self.clone(),
            runs,
        })
    }

    fn ordered(&self, rng: &mut Stream, mut own: Vec<Cell>) -> Vec<Cell> {
        shuffle(rng, &mut own);
        if !self.group_intakes {
            return own;
        }
        let mut groups: Vec<usize> = (0..self.intakes_c.len()).collect();
        shuffle(rng, &mut groups);
        let place: Vec<usize> = own
            .iter()
            .map(|cell| match cell.3 {
                Some(intake) => groups.iter().position(|g| *g == intake).unwrap_or(0),
                // A run without an intake of its own goes into any group.
                None => below(rng, groups.len()),
            })
            .collect();
        (0..groups.len())
            .flat_map(|g| {
                own.iter()
                    .zip(&place)
                    .filter(move |(_, p)| **p == g)
                    .map(|(cell, _)| *cell)
            })
            .collect()
    }
}

/// Kind, mode, fan, intake.
type Cell = (Kind, Option<usize>, Option<usize>, Option<usize>);

/// Deals each cell `times` over the blocks: equally as far as that goes, the rest in turn, beginning with `next`.
fn deal(
    rng: &mut Stream,
    mut cells: Vec<Cell>,
    times: usize,
    blocks: &mut [Vec<Cell>],
    next: &mut usize,
) {
    let count = blocks.len().max(1);
    shuffle(rng, &mut cells);
    for cell in cells {
        for block in blocks.iter_mut() {
            block.extend(std::iter::repeat_n(cell, times / count));
        }
        for _ in 0..times % count {
            if let Some(block) = blocks.get_mut(*next) {
                block.push(cell);
            }
            *next = (*next + 1) % count;
        }
    }
}

fn twice(names: &[String]) -> Option<String> {
    names
        .iter()
        .enumerate()
        .find(|(i, n)| names.iter().take(*i).any(|m| m == *n))
        .map(|(_, n)| n.clone())
}

impl Plan {
    /// A run's mode; empty where it has none.
    pub fn mode(&self, run: &PlannedRun) -> &str {
        let name = run.mode.and_then(|m| self.design.modes.get(m));
        name.map_or("", String::as_str)
    }

    /// A run's fan level; empty where it has none.
    pub fn fan(&self, run: &PlannedRun) -> &str {
        let name = run.fan.and_then(|f| self.design.fans.get(f));
        name.map_or("", String::as_str)
    }

    /// A run's intake set point, degC; none where any will do.
    pub fn intake_c(&self, run: &PlannedRun) -> Option<f64> {
        self.design.intakes_c.get(run.intake?).copied()
    }

    /// A run's block, as it is written in the tables.
    pub fn block(&self, run: &PlannedRun) -> String {
        format!("day {}", self.design.first_block + run.block)
    }

    /// Runs of a kind.
    pub fn count(&self, kind: Kind) -> usize {
        self.runs.iter().filter(|r| r.kind == kind).count()
    }
}
