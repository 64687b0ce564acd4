//! `steadydraw compare`: several units at the same conditions.

use std::path::PathBuf;

use serde_json::{Value, json};

use super::coupling::parse_margin;
use super::predict::parse_temperature;
use super::words::Words;
use super::{Answer, CliError, Common, figure_files, open};
use crate::bench::Bench;
use crate::coupling::DEFAULT_MARGIN;
use crate::findings::{
    CompareError, CompareOptions, Compared, ComparedSetting, Comparison, Measured, Pair, compare,
};
use crate::fit::candidates::{DrawFit, fit_draw};
use crate::fit::forms::{CapacityData, CapacityKind, DrawData};
use crate::report::compare::{conditions, figure, finding, pairs, sentences, settings};

/// Arguments of `compare`.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  steadydraw compare old-unit new-unit\n  steadydraw compare north south east --intake 30degC --ambient 28degC\n  steadydraw compare old-unit new-unit --margin 0.05 --out figures\n  steadydraw compare old-unit new-unit --meters-apart --json\n\nAn instrument of the same name and accuracy in two benches is taken for the same meter, whose error cancels in ratios;\n--meters-apart takes them for different ones. --out writes the figure of cooling against draw as SVG and PNG."
)]
pub struct CompareArgs {
    /// Bench folders (or points tables), two or more
    #[arg(required = true, num_args = 1..)]
    pub benches: Vec<PathBuf>,
    /// Intake air to compare at; the middle of what all benches cover where not given
    #[arg(long, value_name = "TEMPERATURE", value_parser = parse_temperature, allow_hyphen_values = true)]
    pub intake: Option<f64>,
    /// Ambient (condenser-side) air to compare at; likewise
    #[arg(long, value_name = "TEMPERATURE", value_parser = parse_temperature, allow_hyphen_values = true)]
    pub ambient: Option<f64>,
    /// Relative difference within which two units count as the same
    #[arg(long, value_name = "SHARE", default_value_t = DEFAULT_MARGIN, value_parser = parse_margin)]
    pub margin: f64,
    /// Take instruments of the same name and accuracy in two benches for different ones
    #[arg(long)]
    pub meters_apart: bool,
}

/// A bench with its curves.
struct Fitted {
    name: String,
    bench: Bench,
    draw: DrawFit,
    capacity: Option<(CapacityKind, DrawFit)>,
}

fn fitted(path: &std::path::Path, common: &Common) -> Result<Fitted, CliError> {
    let bench = open(Some(path), common)?.bench;
    let name = bench.unit.name.clone();
    let data = DrawData::from_bench(&bench);
    let capacity = CapacityData::from_bench(&bench, &data);
    let draw =
        fit_draw(data).map_err(|e| CliError::NoAnswer(format!("{}: {e}", path.display())))?;
    let capacity = capacity
        .ok()
        .and_then(|c| Some((c.kind, fit_draw(c.data).ok()?)));
    Ok(Fitted {
        name,
        bench,
        draw,
        capacity,
    })
}

/// Names that tell the units apart: the bench's place where two share a name.
fn tell_apart(units: &mut [Fitted], paths: &[PathBuf]) {
    let names: Vec<String> = units.iter().map(|u| u.name.clone()).collect();
    for (unit, path) in units.iter_mut().zip(paths) {
        if names.iter().filter(|n| **n == unit.name).count() > 1 {
            let place = path.file_stem().map_or_else(
                || path.display().to_string(),
                |n| n.to_string_lossy().into_owned(),
            );
            unit.name = format!("{} ({place})", unit.name);
        }
    }
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Misuse`] for fewer than two benches, [`CliError::Input`] for a bad bench, [`CliError::NoAnswer`] where the benches have no
/// conditions in common.
pub fn run(args: &CompareArgs, common: &Common) -> Result<Answer, CliError> {
    if args.benches.len() < 2 {
        return Err(CliError::Misuse(
            "name two benches or more: steadydraw compare old-unit new-unit".to_owned(),
        ));
    }
    let mut units = args
        .benches
        .iter()
        .map(|p| fitted(p, common))
        .collect::<Result<Vec<_>, _>>()?;
    tell_apart(&mut units, &args.benches);
    let compared: Vec<Compared<'_>> = units
        .iter()
        .map(|u| Compared {
            name: u.name.clone(),
            bench: &u.bench,
            draw: &u.draw,
            capacity: u.capacity.as_ref().map(|(k, f)| (*k, f)),
        })
        .collect();
    let options = CompareOptions {
        intake_c: args.intake,
        ambient_c: args.ambient,
        margin: args.margin,
        level: common.level,
        shared: !args.meters_apart,
    };
    let answer = compare(&compared, &options).map_err(|e| match e {
        CompareError::TooFew(_) => CliError::Misuse(e.to_string()),
        _ => CliError::NoAnswer(e.to_string()),
    })?;
    let chosen = args.intake.is_none() && args.ambient.is_none();
    let system = common.system();
    let said = sentences(&answer, options.shared);
    let mut files = Vec::new();
    if let Some(folder) = &common.out {
        let Some(drawn) = figure(&answer, system) else {
            return Err(CliError::NoAnswer(
                "no bench gives a capacity, so there is no figure of it to write; leave --out out"
                    .to_owned(),
            ));
        };
        let paths = ["svg", "png"].map(|e| folder.join(format!("compare.{e}")));
        files = figure_files(&drawn, &paths, common)?;
    }
    let mut words = Words::start("Units at the same conditions", None);
    words.paragraph(&conditions(&answer, chosen, system));
    for table in settings(&answer, system).iter().chain(&pairs(&answer)) {
        words.table(table);
    }
    words.gap();
    for s in &said {
        words.item(s);
    }
    for f in &files {
        words.item(&format!("Written: {}", f.display()));
    }
    Ok(Answer {
        words: words.finish(),
        json: to_json(&answer, chosen, &said, &files, &options),
    })
}

fn to_json(
    c: &Comparison,
    chosen: bool,
    said: &[String],
    files: &[PathBuf],
    options: &CompareOptions,
) -> Value {
    json!({
        "schema": 1,
        "command": "compare",
        "level": c.level,
        "margin": c.margin,
        "intake_c": c.intake_c,
        "ambient_c": c.ambient_c,
        "chosen": chosen,
        "covered": {
            "intake_c": [c.covered.0.0, c.covered.0.1],
            "ambient_c": [c.covered.1.0, c.covered.1.1],
        },
        "meters_shared": options.shared,
        "shared": c.shared,
        "units": c.units.iter().map(|u| json!({
            "name": u.name,
            "supply_v": u.supply_v,
            "capacity_kind": u.capacity_kind,
            "settings": u.settings.iter().map(setting).collect::<Vec<_>>(),
            "left_out": u.left_out,
        })).collect::<Vec<_>>(),
        "pairs": c.pairs.iter().map(|p| pair(c, p)).collect::<Vec<_>>(),
        "sentences": said,
        "files": files.iter().map(|f| f.display().to_string()).collect::<Vec<_>>(),
        "notes": [],
    })
}

fn setting(s: &ComparedSetting) -> Value {
    let of = |m: Option<Measured>| json!(m);
    json!({
        "mode": s.mode,
        "fan": s.fan,
        "draw_w": s.draw_w,
        "capacity_w": of(s.capacity_w),
        "eer_w_per_w": of(s.eer),
        "hours_per_100_ah": of(s.hours_per_100_ah),
        "roles": s.roles,
        "on_front": s.on_front,
    })
}

fn pair(c: &Comparison, p: &Pair) -> Value {
    let side = |(u, s): (usize, usize)| {
        let unit = c.units.get(u);
        let setting = unit.and_then(|x| x.settings.get(s));
        json!({
            "unit": unit.map(|x| x.name.as_str()),
            "mode": setting.map(|x| x.mode.as_str()),
            "fan": setting.map(|x| x.fan.as_str()),
        })
    };
    json!({
        "first": side(p.a),
        "second": side(p.b),
        "roles": p.roles,
        "figure": p.figure,
        "ratio": {"value": p.ratio, "low": p.ratio_interval.0, "high": p.ratio_interval.1},
        "ratio_no_meter_shared": {"low": p.ratio_interval_apart.0, "high": p.ratio_interval_apart.1},
        "difference": {"value": p.difference, "low": p.difference_interval.0, "high": p.difference_interval.1},
        "p_same": p.p_same,
        "finding": finding(p.finding),
        "shared": p.shared,
    })
}
