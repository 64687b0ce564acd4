//! `steadydraw report`: the write-up.

mod verify;

use std::path::{Path, PathBuf};

use serde_json::json;

use super::budget::{make, to_json};
use super::predict::{parse_slope, parse_temperature};
use super::progress::Line;
use super::words::Words;
use super::{Answer, CliError, Common, Units, open, write_replacing};
use crate::bench::Kind;
use crate::bench::logs::LogBench;
use crate::coupling::{Options, assess};
use crate::findings::{Fits, check, hold_claims};
use crate::fit::candidates::fit_draw;
use crate::fit::forms::{CapacityData, DrawData};
use crate::predict::AmbientAssumption;
use crate::report::budgets::{Shown, sentences};
use crate::report::reproduce::{Asked, Reproduce};
use crate::report::write::Output;
use crate::report::writeup::{HotDay, Results, SupplyResults, document, equations, files};
use crate::steady::{Reduction, Wishes, reduce_with};
use crate::supply::runtime::SupplyError;

const EXAMPLES: &str = "Examples:
  steadydraw report                              the built-in demo, written to ./report
  steadydraw report my-bench --out writeup
  steadydraw report my-bench --out hot-day --ambient 30degC
  steadydraw report my-bench --out hotter --ambient 40degC --assume-ambient-slope published
  steadydraw report my-bench --verify writeup    does the write-up still follow from the bench?

Written: index.html (one page that needs nothing else), writeup.md, figures/, tables/ (CSV), results.xlsx and
equations.tex.";

/// Arguments of `report`.
#[derive(clap::Args, Clone, Debug)]
#[command(after_help = EXAMPLES)]
pub struct ReportArgs {
    /// Bench folder (or points table); the demo where none is given
    pub bench: Option<PathBuf>,
    /// Also predict every setting on a day with this ambient (condenser-side) air, such as 40degC
    #[arg(long, value_name = "TEMPERATURE", value_parser = parse_temperature, allow_hyphen_values = true)]
    pub ambient: Option<f64>,
    /// Where the runs do not cover that ambient: assume the published slope of fixed-speed units, or one of your own such as
    /// "1.6 to 2.2 %/K"; labelled on the page
    #[arg(long, value_name = "published|SLOPE", value_parser = stated_slope, requires = "ambient", allow_hyphen_values = true)]
    pub assume_ambient_slope: Option<StatedSlope>,
    /// Write every figure for pages and for slides, in light and dark, each as SVG and as PNG; else as SVG for pages in light and dark,
    /// and as PNG for pages and slides in light
    #[arg(long)]
    pub every_figure: bool,
    /// Write nothing: make the write-up in FOLDER again from the bench and say what is no longer the same (an input, a file
    /// edited since, another version). Exit code 0 where all is the same, 3 where not
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["ambient", "assume_ambient_slope", "every_figure", "out", "force", "level", "seed", "units"])]
    pub verify: Option<PathBuf>,
}

/// An assumed slope, and how it was typed.
#[derive(Clone, Debug)]
pub struct StatedSlope {
    text: String,
    slope: AmbientAssumption,
}

fn stated_slope(text: &str) -> Result<StatedSlope, String> {
    Ok(StatedSlope {
        text: text.to_owned(),
        slope: parse_slope(text)?,
    })
}

/// Columns of time of a run among small multiples.
const COLUMNS: usize = 160;

/// How the points came from logs, where the bench has logs that can be read: the write-up shows it, and does without where not.
fn from_logs(bench: &Path, common: &Common) -> Option<Reduction> {
    let bench = LogBench::open_noting(bench, &common.reads).ok()?;
    let line = Line::new(common, "reading logs");
    let watch = |share: f64| line.show(share);
    let wishes = Wishes {
        columns: COLUMNS,
        watch: Some(&watch),
    };
    reduce_with(&bench, &wishes).ok()
}

/// Where the write-up goes where `--out` is not given.
const DEFAULT_FOLDER: &str = "report";

/// Runs the command.
///
/// # Errors
/// [`CliError::Input`] for a bad bench, [`CliError::NoAnswer`] where too few runs are there for any curve,
/// [`CliError::Write`] where files stand in the way or cannot be written.
pub fn run(args: &ReportArgs, common: &Common) -> Result<Answer, CliError> {
    if let Some(folder) = &args.verify {
        return verify::run(folder, args, common);
    }
    let folder = common
        .out
        .clone()
        .unwrap_or_else(|| PathBuf::from(DEFAULT_FOLDER));
    let made = make_all(args, common, &folder)?;
    // The demo's own folder is made anew each time; a user's files are never overwritten unasked.
    let replace = common.force || (made.list.demo && common.out.is_none());
    write_replacing(&made.outputs, replace)?;
    let index = folder.join("index.html");
    let mut words = Words::start(&made.title, made.demo_note);
    for sentence in &made.lead {
        words.paragraph(sentence);
    }
    words.gap();
    words.paragraph(&format!("The page is {}: open it in any browser. With it: {} files, writeup.md, results.xlsx, equations.tex, figures/ and tables/ among them.", index.display(), made.outputs.len()));
    Ok(Answer {
        words: words.finish(),
        json: made.json,
    })
}

/// A write-up, not yet written.
struct MadeReport {
    title: String,
    demo_note: Option<&'static str>,
    lead: Vec<String>,
    /// All its files, `reproduce.json` last.
    outputs: Vec<Output>,
    list: Reproduce,
    json: serde_json::Value,
}

/// What was asked for, as `reproduce.json` keeps it.
fn asked(args: &ReportArgs, common: &Common) -> Asked {
    Asked {
        level: common.level,
        seed: common.seed,
        units: match common.units {
            Units::Si => "si",
            Units::Us => "us",
        }
        .to_owned(),
        ambient_c: args.ambient,
        assume_ambient_slope: args.assume_ambient_slope.as_ref().map(|s| s.text.clone()),
        every_figure: args.every_figure,
    }
}

/// Computes the whole write-up, to stand in `folder`.
fn make_all(args: &ReportArgs, common: &Common, folder: &Path) -> Result<MadeReport, CliError> {
    let opened = open(args.bench.as_deref(), common)?;
    let bench = &opened.bench;
    let data = DrawData::from_bench(bench);
    let capacity_data = CapacityData::from_bench(bench, &data);
    let coupling = assess(
        bench,
        &data,
        &Options {
            level: common.level,
            seed: common.seed,
            ..Options::default()
        },
    );
    let budget_data = data.clone();
    let make_budget = || {
        if budget_data.rows.is_empty() {
            None
        } else {
            make(bench, &budget_data, common).ok()
        }
    };
    let (budget, (draw, (capacity, findings))) = rayon::join(make_budget, || {
        rayon::join(
            || fit_draw(data),
            || {
                rayon::join(
                    || match capacity_data {
                        Ok(c) => fit_draw(c.data)
                            .map(|f| (c.kind, f))
                            .map_err(|e| e.to_string()),
                        Err(e) => Err(e.to_string()),
                    },
                    || check(bench),
                )
            },
        )
    });
    let draw = draw.map_err(|e| CliError::NoAnswer(e.to_string()))?;
    let fits = Fits {
        draw: Ok(&draw),
        capacity: capacity
            .as_ref()
            .map(|(k, f)| (*k, f))
            .map_err(Clone::clone),
        budgets: budget.as_ref().map(|(b, _)| b),
    };
    let claims = hold_claims(bench, &fits, common.level);
    let shown = budget.as_ref().map(|(budgets, trials)| Shown {
        bench,
        data: &budget_data,
        budgets,
        trials: trials.as_ref(),
        system: common.system(),
    });
    let reduction = args.bench.as_deref().and_then(|b| from_logs(b, common));
    let hot_day = match args.ambient {
        None => None,
        Some(ambient_c) => {
            if bench
                .of_kind(Kind::Cooling)
                .any(|p| p.ambient_c().is_none())
            {
                return Err(CliError::NoAnswer("not every cooling run comes with an ambient temperature, so the bench cannot say what another ambient does; leave --ambient out, or record ambient_temp in every run".to_owned()));
            }
            let steps = match &args.assume_ambient_slope {
                Some(a) => Some(a.slope.steps(&draw.data, ambient_c).map_err(|e| {
                    CliError::Misuse(format!("{e}; leave --assume-ambient-slope out"))
                })?),
                None => None,
            };
            Some(HotDay { ambient_c, steps })
        }
    };
    let air_side = capacity.as_ref().ok().map(|(_, f)| f);
    let supply = match SupplyResults::of(bench, &draw, air_side, common.level) {
        Err(SupplyError::Input(e)) => return Err(CliError::Input(e)),
        other => other.map_err(|e| e.to_string()),
    };
    let results = Results {
        reduction: reduction.as_ref(),
        claims: &claims,
        bench,
        demo: opened.demo,
        draw: &draw,
        capacity: capacity
            .as_ref()
            .map(|(k, f)| (*k, f))
            .map_err(Clone::clone),
        coupling: &coupling,
        supply,
        findings: &findings,
        budget: shown.as_ref(),
        hot_day,
        level: common.level,
        system: common.system(),
    };
    let page = document(&results);
    let mut outputs = files(&page, &equations(&results), folder, args.every_figure)
        .map_err(|e| CliError::NoAnswer(e.to_string()))?;
    let list = Reproduce::of(
        asked(args, common),
        opened.demo,
        common.reads.inputs(),
        &outputs,
        folder,
    );
    outputs.push(list.to_output(folder));
    let notes: Vec<String> = opened.demo_note().map(str::to_owned).into_iter().collect();
    let json = json!({
        "schema": 1,
        "command": "report",
        "bench": bench.title,
        "page": folder.join("index.html").display().to_string(),
        "summary": page.lead,
        "budget": shown.as_ref().map(|s| to_json(&budget_data, s.budgets, s.trials, &sentences(s))),
        "claims": claims,
        "files": outputs.iter().map(|o| o.path.display().to_string()).collect::<Vec<_>>(),
        "notes": notes,
    });
    Ok(MadeReport {
        title: bench.title.clone(),
        demo_note: opened.demo_note(),
        lead: page.lead,
        outputs,
        list,
        json,
    })
}
