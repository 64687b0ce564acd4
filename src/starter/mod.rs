//! A bench to start from: `bench.toml` with every key explained, and tables with a row for each run.
//!
//! What cannot be known is left as a blank ([`BLANK`]), which `check` names until it is filled. Keys that a bench can do without are
//! there too, switched off by a `#` right before them.

use crate::bench::{BLANK, Channel};
use crate::quantity::System;

/// What is known of the bench before it begins.
#[derive(Clone, Debug)]
pub struct Starter {
    /// Its title.
    pub title: String,
    /// Nominal supply voltage as a quantity with its unit; a blank where it is not known.
    pub supply: Option<String>,
    /// Names of the unit's modes; at least one.
    pub modes: Vec<String>,
    /// Names of its fan levels; at least one.
    pub fans: Vec<String>,
    /// Raw logs and run windows instead of steady points.
    pub logs: bool,
    /// Units of the tables' headings.
    pub system: System,
}

/// A file of the starter bench.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StarterFile {
    /// Its name in the bench folder.
    pub name: &'static str,
    /// Its text.
    pub text: String,
}

impl StarterFile {
    /// Blanks left to be filled, those in explanations aside.
    pub fn blanks(&self) -> usize {
        let lines = self.text.lines().filter(|l| !l.starts_with('#'));
        lines.map(|l| l.matches(BLANK).count()).sum()
    }
}

/// Blocks (days) over which the runs are spread: settings are repeated once in each, in opposite orders, so that a drift over a day
/// does not pass for an effect of a setting.
const BLOCKS: usize = 2;
/// Intakes at which each setting is run in a block, in words for the table's comments.
const INTAKES: [&str; 2] = [
    "the intake air as it comes",
    "the intake air warmed by some 8 K",
];

impl Starter {
    /// The files of the bench.
    pub fn files(&self) -> Vec<StarterFile> {
        let source = if self.logs {
            include_str!("from_logs.toml")
        } else {
            include_str!("from_points.toml")
        };
        let supply = self.supply.clone().unwrap_or(format!("{BLANK} V"));
        let toml = [
            include_str!("opening.toml"),
            source,
            include_str!("closing.toml"),
        ]
        .concat()
        .replace("{title}", &quoted(&self.title))
        // As wide as the place for it, so that the explanations stand in one column.
        .replace("{supply}", &format!("{:<8}", quoted(&supply)))
        .replace(
            "{mode}",
            &quoted(self.modes.first().map_or("cool", String::as_str)),
        )
        .replace(
            "{fan}",
            &quoted(self.fans.first().map_or("1", String::as_str)),
        );
        vec![
            StarterFile {
                name: "bench.toml",
                text: toml,
            },
            if self.logs {
                StarterFile {
                    name: "runs.csv",
                    text: self.table(RUNS_TOP, &["start", "end"], &[Channel::Airflow]),
                }
            } else {
                StarterFile {
                    name: "points.csv",
                    text: self.table(POINTS_TOP, &[], &Channel::BY_HAND),
                }
            },
        ]
    }

    /// A table of all runs: who they are, then a blank for each further column and each channel.
    fn table(&self, top: &str, more: &[&str], channels: &[Channel]) -> String {
        let mut text = top.to_owned();
        let headings: Vec<String> = ["run", "kind", "mode", "fan", "block", "order"]
            .into_iter()
            .map(str::to_owned)
            .chain(more.iter().map(|m| (*m).to_owned()))
            .chain(channels.iter().map(|c| self.heading(*c)))
            .collect();
        let columns = channels.len() + more.len();
        text.push_str(&headings.join(","));
        text.push('\n');
        let mut run = 0;
        for block in 1..=BLOCKS {
            let mut order = 0;
            let mut row = |kind: &str, mode: &str, fan: &str, text: &mut String| {
                run += 1;
                order += 1;
                text.push_str(&format!(
                    "r{run:02},{kind},{},{},day {block},{order}",
                    cell(mode),
                    cell(fan)
                ));
                text.push_str(&format!(",{BLANK}").repeat(columns));
                text.push('\n');
            };
            let turned = block % 2 == 0;
            text.push_str(&format!(
                "# day {block}: the blower alone, compressor off\n"
            ));
            for fan in either_way(&self.fans, turned) {
                row("fan-only", "", fan, &mut text);
            }
            for intake in INTAKES {
                text.push_str(&format!("# day {block}: {intake}\n"));
                for mode in either_way(&self.modes, turned) {
                    for fan in either_way(&self.fans, turned) {
                        row("cooling", mode, fan, &mut text);
                    }
                }
            }
        }
        text
    }

    fn heading(&self, channel: Channel) -> String {
        let unit = self.system.symbol(channel.dimension());
        format!("{} [{unit}]", channel.name())
    }
}

const POINTS_TOP: &str = "# One row a run, with its steady readings. Write them over the blanks; empty a cell without a reading.
# Remove columns that you do not measure, add rows for further runs; lines that begin with # are comments.
# kind is cooling, fan-only (compressor off) or standby. Runs of one block were made together, in this order.
";

const RUNS_TOP: &str = "# One row a run: when it began and ended, such as 2026-08-25 09:00 (the zone is stated in bench.toml).
# Begin when the setting is made: reduce leaves out the start-up by itself. Readings taken by hand have columns with a unit in the
# heading, such as the airflow, without which there is no capacity; remove those that a log holds or that you do not have. Lines that begin
# with # are comments.
# kind is cooling, fan-only (compressor off) or standby. Runs of one block were made together, in this order.
";

/// Names from first to last, or from last to first.
fn either_way(names: &[String], turned: bool) -> impl Iterator<Item = &str> {
    (0..names.len()).filter_map(move |i| {
        let at = if turned { names.len() - 1 - i } else { i };
        names.get(at).map(String::as_str)
    })
}

/// A cell of a table with commas.
fn cell(text: &str) -> String {
    if text.contains([',', '"']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// A text as TOML writes it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
