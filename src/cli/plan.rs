//! `steadydraw plan`: what to run, in which order, what that can decide, and the next run worth doing.

mod next;

use std::path::{Path, PathBuf};

use serde_json::json;

use super::predict::parse_temperature;
use super::settings::label_json;
use super::words::Words;
use super::{Answer, CliError, Common, Opened, open, write_files};
use crate::bench::Bench;
use crate::bench::logs::LogBench;
use crate::coupling::DEFAULT_ALLOWANCE;
use crate::plan::{
    Assumed, CAUTIONS, DEFAULT_SCATTER, Design, Enough, Known, Plan, PlanError, Question, Reach,
    RunTimes, TimeNeeded, enough, points_csv, reach, runs_csv,
};
use crate::quantity::{Dimension, System, parse_quantity};
use crate::report::write::Output;
use crate::report::{html, markdown, run_sheet};
use crate::steady::reduce;

/// Arguments of `plan`.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  steadydraw plan --modes cool,eco --fans 1,2,3 --intakes 24degC,30degC --out my-plan\n  steadydraw plan my-bench --repeats 3 --blocks 3           with the scatter of the bench\n  steadydraw plan --fans low,high --airflows 140m3/h,260m3/h --scatter 2%\n  steadydraw plan --modes cool --decide 90%                 repeats that it takes\n  steadydraw plan my-bench --next elasticity                the one further run that narrows it most\n  steadydraw plan my-bench --next predict --intake 38degC --mode cruise --fan 3\n\nWith --out it writes runs.csv and points.csv, their blanks to be filled, and the run sheet as Markdown and HTML."
)]
pub struct PlanArgs {
    /// Bench to go on from; a plan from scratch where none is given but modes, fans or intakes are; else the demo
    pub bench: Option<PathBuf>,
    /// Modes; those of the bench, or cool
    #[arg(long, value_name = "NAME,…", value_delimiter = ',', value_parser = super::new::parse_name)]
    pub modes: Vec<String>,
    /// Fan levels from low to high; those of the bench, or 1,2,3
    #[arg(long, value_name = "LEVEL,…", value_delimiter = ',', value_parser = super::new::parse_name)]
    pub fans: Vec<String>,
    /// Intake temperatures with their unit; those of the bench, or 24degC,30degC
    #[arg(long, value_name = "TEMPERATURE,…", value_delimiter = ',', value_parser = parse_temperature, allow_hyphen_values = true)]
    pub intakes: Vec<f64>,
    /// Cooling runs of each setting
    #[arg(long, value_name = "N", default_value_t = 2)]
    pub repeats: usize,
    /// Blocks (such as days) over which they are spread
    #[arg(long, value_name = "N", default_value_t = 2)]
    pub blocks: usize,
    /// Fan-only runs at each level
    #[arg(long, value_name = "N", default_value_t = 2)]
    pub fan_only: usize,
    /// Leave out the standby run that begins each block
    #[arg(long)]
    pub no_standby: bool,
    /// Keep runs at one intake together within a block: for a room that takes long to settle
    #[arg(long)]
    pub group_intakes: bool,
    /// Airflow of each level, for the simulation; as measured, or 55 to 100 % in even steps
    #[arg(long, value_name = "AIRFLOW,…", value_delimiter = ',', value_parser = parse_airflow)]
    pub airflows: Vec<f64>,
    /// Scatter of one run's draw (standard deviation); as measured on the bench, or 1.2 %
    #[arg(long, value_name = "SHARE", value_parser = parse_share)]
    pub scatter: Option<f64>,
    /// Elasticities to simulate: 0 for a fixed compressor, 1 for one that follows the airflow
    #[arg(
        long,
        value_name = "ELASTICITY,…",
        value_delimiter = ',',
        default_value = "0,0.5,1",
        allow_hyphen_values = true
    )]
    pub elasticities: Vec<f64>,
    /// Simulated benches for each elasticity
    #[arg(long, value_name = "N", default_value_t = 400)]
    pub simulations: usize,
    /// How much a fixed-speed compressor's draw may follow airflow by itself, as an elasticity
    #[arg(long, value_name = "ELASTICITY", default_value_t = DEFAULT_ALLOWANCE, value_parser = super::coupling::parse_allowance, allow_negative_numbers = true)]
    pub allowance: f64,
    /// Find the repeats at which this share of simulated benches ends in the right verdict
    #[arg(long, value_name = "SHARE", value_parser = parse_share)]
    pub decide: Option<f64>,
    /// The one further run on the bench that most narrows this
    #[arg(long, value_name = "TARGET", value_enum)]
    pub next: Option<next::Target>,
    /// With --next predict: intake temperature of the prediction
    #[arg(long, value_name = "TEMPERATURE", value_parser = parse_temperature, allow_hyphen_values = true)]
    pub intake: Option<f64>,
    /// With --next predict: ambient temperature; the runs' mean where none is given
    #[arg(long, value_name = "TEMPERATURE", value_parser = parse_temperature, allow_hyphen_values = true)]
    pub ambient: Option<f64>,
    /// With --next predict: mode
    #[arg(long, value_name = "MODE")]
    pub mode: Option<String>,
    /// With --next predict: fan level
    #[arg(long, value_name = "LEVEL")]
    pub fan: Option<String>,
}

fn parse_airflow(text: &str) -> Result<f64, String> {
    parse_quantity(text, Dimension::Flow).map_err(|e| format!("{e}; write it like 180m3/h"))
}

fn parse_share(text: &str) -> Result<f64, String> {
    parse_quantity(text, Dimension::Fraction).map_err(|e| format!("{e}; write it like 1.2%"))
}

impl From<PlanError> for CliError {
    fn from(error: PlanError) -> Self {
        CliError::Misuse(error.to_string())
    }
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Misuse`] for a plan without sense, [`CliError::Input`] for a bad bench, [`CliError::NoAnswer`] where the bench cannot tell
/// which run comes next, [`CliError::Write`] where files are in the way.
pub fn run(args: &PlanArgs, common: &Common) -> Result<Answer, CliError> {
    if let Some(target) = args.next {
        return next::run(target, args, common);
    }
    if args.intake.is_some() || args.ambient.is_some() || args.mode.is_some() || args.fan.is_some()
    {
        return Err(CliError::Misuse(
            "--intake, --ambient, --mode and --fan go with --next predict; a plan takes --intakes, --modes and --fans".to_owned(),
        ));
    }
    let scratch = args.bench.is_none()
        && !(args.modes.is_empty() && args.fans.is_empty() && args.intakes.is_empty());
    let opened = if scratch {
        None
    } else {
        Some(open(args.bench.as_deref(), common)?)
    };
    let bench = opened.as_ref().map(|o| &o.bench);
    let plan = design(args, bench).plan(common.seed)?;
    let assumed = Assumed::of(&plan.design, bench, args.scatter, &args.airflows)?;
    let question = Question {
        elasticities: args.elasticities.clone(),
        simulations: args.simulations,
        allowance: args.allowance,
        level: common.level,
        seed: common.seed,
    };
    let reached = reach(&plan, &assumed, &question)?;
    let enough = match args.decide {
        Some(wanted) => Some(enough(&plan.design, &assumed, &question, wanted)?),
        None => None,
    };
    let times = { args.bench.as_deref() }
        .and_then(|path| times_seen(path, common))
        .unwrap_or(RunTimes::COMMON);
    let made = Made {
        needed: TimeNeeded::of(&plan, &times),
        plan,
        times,
        assumed,
        reached,
        enough,
    };
    let files = write(&made, common)?;
    Ok(Answer {
        words: in_words(&made, opened.as_ref(), &files, common),
        json: in_json(&made, opened.as_ref(), &files, args, common),
    })
}

struct Made {
    plan: Plan,
    times: RunTimes,
    needed: TimeNeeded,
    assumed: Assumed,
    reached: Reach,
    enough: Option<Enough>,
}

fn design(args: &PlanArgs, bench: Option<&Bench>) -> Design {
    let own = Design::of(bench);
    let or =
        |given: &Vec<String>, own: Vec<String>| if given.is_empty() { own } else { given.clone() };
    Design {
        modes: or(&args.modes, own.modes),
        fans: or(&args.fans, own.fans),
        intakes_c: if args.intakes.is_empty() {
            own.intakes_c
        } else {
            args.intakes.clone()
        },
        repeats: args.repeats,
        blocks: args.blocks,
        fan_only: args.fan_only,
        standby: !args.no_standby,
        group_intakes: args.group_intakes,
        ..own
    }
}

/// From the bench's logs; none where it has none that can be read.
fn times_seen(path: &Path, common: &Common) -> Option<RunTimes> {
    let logs = LogBench::open_noting(path, &common.reads).ok()?;
    RunTimes::seen(&reduce(&logs).ok()?, logs.rules.at_least_s)
}

fn write(made: &Made, common: &Common) -> Result<Vec<PathBuf>, CliError> {
    let Some(dir) = &common.out else {
        return Ok(Vec::new());
    };
    let system = common.system();
    let sheet = run_sheet::document(&made.plan, &made.times, &made.needed, system);
    let page = html::page(&sheet)
        .map_err(|e| CliError::NoAnswer(format!("the sheet cannot be drawn: {e}")))?;
    let outputs = [
        ("runs.csv", runs_csv(&made.plan, system)),
        ("points.csv", points_csv(&made.plan, system)),
        ("run-sheet.md", markdown::text(&sheet, "")),
        ("run-sheet.html", page),
    ]
    .map(|(name, text)| Output {
        path: dir.join(name),
        bytes: text.into_bytes(),
    });
    write_files(&outputs, common)?;
    Ok(outputs.into_iter().map(|o| o.path).collect())
}

fn known_words(known: Known) -> &'static str {
    match known {
        Known::Given => "given",
        Known::Measured => "as measured on the bench",
        Known::CommonPractice => "common practice, no source",
    }
}

/// What the simulation takes for granted.
fn assumptions(made: &Made, system: System) -> String {
    let a = &made.assumed;
    let flows: Vec<String> = { a.airflows_m3h.iter() }
        .map(|q| format!("{:.0}", system.convert(Dimension::Flow, *q)))
        .collect();
    let unit = system.symbol(Dimension::Flow);
    let blower: Vec<String> = a.blower_w.iter().map(|w| format!("{w:.0}")).collect();
    format!(
        "Simulated: {} benches for each elasticity, run-to-run scatter {:.1} % ({}), airflow {} {unit} ({}), blower {} W ({}).",
        made.reached.simulations,
        100.0 * a.scatter,
        known_words(a.scatter_from),
        flows.join(", "),
        known_words(a.airflows),
        blower.join(", "),
        known_words(a.blower),
    )
}

fn enough_words(enough: &Enough) -> String {
    let tried: Vec<String> = { enough.tried.iter() }
        .map(|(repeats, runs, share)| {
            format!("{repeats} × ({runs} cooling runs) {:.0} %", 100.0 * share)
        })
        .collect();
    let wanted = 100.0 * enough.wanted;
    let answer = match enough.repeats {
        Some(n) => format!(
            "{n} repeats of each setting give the right verdict on {wanted:.0} % of benches or more, whichever of these elasticities is true."
        ),
        None => format!(
            "As many repeats as were tried do not give the right verdict on {wanted:.0} % of benches: spread the airflow further, or lower the scatter."
        ),
    };
    format!("{answer} Tried: {}.", tried.join("; "))
}

fn in_words(made: &Made, opened: Option<&Opened>, files: &[PathBuf], common: &Common) -> String {
    let title = opened.map_or("A plan from scratch", |o| o.bench.title.as_str());
    let mut words = Words::start(title, opened.and_then(Opened::demo_note));
    words.paragraph(&run_sheet::contents(&made.plan));
    words.paragraph(&run_sheet::time_sentence(&made.times, &made.needed));
    words.table(&run_sheet::runs(&made.plan, common.system()));
    words.table(&run_sheet::reach(&made.reached, common.level));
    words.paragraph(&assumptions(made, common.system()));
    if let Some(enough) = &made.enough {
        words.heading("Repeats that it takes");
        words.paragraph(&enough_words(enough));
    }
    if !files.is_empty() {
        words.heading("Written");
        for file in files {
            words.item(&file.display().to_string());
        }
    }
    words.heading("Take care");
    for caution in CAUTIONS {
        words.item(caution);
    }
    words.finish()
}

fn in_json(
    made: &Made,
    opened: Option<&Opened>,
    files: &[PathBuf],
    args: &PlanArgs,
    common: &Common,
) -> serde_json::Value {
    let plan = &made.plan;
    let runs: Vec<_> = { plan.runs.iter() }
        .map(|r| {
            json!({
                "run": r.run,
                "order": r.order,
                "block": plan.block(r),
                "kind": r.kind,
                "mode": r.mode.map(|_| plan.mode(r)),
                "fan": r.fan.map(|_| label_json(plan.fan(r))),
                "intake_c": plan.intake_c(r),
            })
        })
        .collect();
    let a = &made.assumed;
    let mut notes: Vec<String> = opened
        .and_then(Opened::demo_note)
        .map(str::to_owned)
        .into_iter()
        .collect();
    notes.push(assumptions(made, System::Si));
    json!({
        "schema": 1,
        "command": "plan",
        "bench": opened.map(|o| o.bench.title.as_str()),
        "runs": runs,
        "balanced": plan.design.balanced(),
        "time": {
            "total_h": made.needed.total_h,
            "blocks_h": made.needed.blocks_h,
            "intake_changes": made.needed.intake_changes,
            "cooling_run_h": made.times.cooling_h(),
            "from_runs": made.times.from_runs,
        },
        "reach": {
            "allowance": args.allowance,
            "level": common.level,
            "simulations": made.reached.simulations,
            "cooling_runs": made.reached.cooling_runs,
            "scatter": a.scatter,
            "scatter_from": a.scatter_from,
            "default_scatter": DEFAULT_SCATTER,
            "airflows_m3h": a.airflows_m3h,
            "airflows_from": a.airflows,
            "blower_w": a.blower_w,
            "blower_from": a.blower,
            "cases": made.reached.cases,
        },
        "enough": made.enough,
        "files": files.iter().map(|f| f.display().to_string()).collect::<Vec<_>>(),
        "cautions": CAUTIONS,
        "notes": notes,
    })
}
