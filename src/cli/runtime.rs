//! `steadydraw runtime`: how long a battery carries each setting, and a day on it.

mod shown;

use std::path::PathBuf;

use super::predict::parse_temperature;
use super::settings::{AskedAt, settings};
use super::{Answer, CliError, Common, figure_files, open};
use crate::bench::{Bench, Channel, Kind};
use crate::fit::candidates::{DrawFit, fit_draw};
use crate::fit::forms::{At, CapacityData, DrawData};
use crate::report::supply_figures::day_figure;
use crate::supply::day::{Day, day};
use crate::supply::runtime::{RuntimeRow, Supply, SupplyError};

const EXAMPLES: &str = "Examples:
  steadydraw runtime                                   the demo's bench and battery, with a day
  steadydraw runtime my-bench                          every setting at the intakes that were tested
  steadydraw runtime my-bench --intake 35degC --ambient 38degC --mode cruise
  steadydraw runtime my-bench --out figures            with the figure of the day

In bench.toml:
  [battery]                       [cable]                     [converter]
  nominal_voltage = \"25.6 V\"      length = \"3 m\"   # one way   efficiency = \"92 %\"
  capacity = \"200 Ah\"             area = \"16 mm2\"             tolerance = \"2 %\"
  tolerance = \"5 %\"               conductor_temp = \"40 degC\"
  usable = \"90 %\"                 max_current = \"80 A\"
  max_current = \"100 A\"           # or awg = \"6\" for area

  [day]                           [[day.use]]                 [day.space]  # duty from a heat balance
  ambient_low = \"18 degC\"         mode = \"cruise\"             inside = \"26 degC\"
  ambient_high = \"33 degC\"        fan = \"3\"                   loss_per_kelvin = \"25 W\"
  # or file = \"day.csv\" with      from = \"13:00\"              sun = \"300 W\"
  # hour,ambient_temp [degC],     until = \"23:00\"             people = \"160 W\"
  # intake_temp [degC],           [[day.charge]]
  # charge [W],gain [W]           power = \"200 W\"   from = \"09:00\"   until = \"16:00\"";

/// Arguments of `runtime`.
#[derive(clap::Args, Debug)]
#[command(after_help = EXAMPLES)]
pub struct RuntimeArgs {
    /// Bench folder (or points table); the demo where none is given
    pub bench: Option<PathBuf>,
    /// Intake temperature with its unit, such as 35degC; may be given several times; the tested ones where none is given
    #[arg(long, value_name = "TEMPERATURE", value_delimiter = ',', value_parser = parse_temperature, allow_hyphen_values = true)]
    pub intake: Vec<f64>,
    /// Ambient and settings
    #[command(flatten)]
    pub at: AskedAt,
}

/// All that there is to say.
struct Shown<'a> {
    bench: &'a Bench,
    fit: &'a DrawFit,
    supply: Supply,
    rows: Vec<RuntimeRow>,
    day: Option<Day>,
    ambient_known: bool,
    ambient_asked: Option<f64>,
    written: Vec<PathBuf>,
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Misuse`] for an unknown mode or level, [`CliError::Input`] for a bad bench, [`CliError::NoAnswer`] where the data cannot answer,
/// [`CliError::Write`] for files in the way.
pub fn run(args: &RuntimeArgs, common: &Common) -> Result<Answer, CliError> {
    let opened = open(args.bench.as_deref(), common)?;
    let bench = &opened.bench;
    let data = DrawData::from_bench(bench);
    if data.rows.is_empty() {
        return Err(CliError::NoAnswer(
            "the bench has no cooling runs; a runtime needs runs with the compressor on".to_owned(),
        ));
    }
    let settings = settings(&data, args.at.mode.as_deref(), args.at.fan.as_deref())?;
    let complete = |c: Channel| bench.of_kind(Kind::Cooling).all(|p| p.get(c).is_some());
    if !args.intake.is_empty() && !complete(Channel::IntakeTemp) {
        return Err(CliError::NoAnswer("not every cooling run comes with an intake temperature, so the bench cannot say what another intake does; leave --intake out, or record intake_temp in every run".to_owned()));
    }
    let ambient_known = complete(Channel::AmbientTemp);
    if args.at.ambient.is_some() && !ambient_known {
        return Err(CliError::NoAnswer("not every cooling run comes with an ambient temperature, so the bench cannot say what another ambient does; leave --ambient out, or record ambient_temp in every run".to_owned()));
    }
    let capacity_data = CapacityData::from_bench(bench, &data);
    let intakes = match (args.intake.as_slice(), data.set_points.as_slice()) {
        ([], []) => vec![data.intake_ref],
        ([], tested) => tested.to_vec(),
        (asked, _) => asked.to_vec(),
    };
    let fit = fit_draw(data).map_err(|e| CliError::NoAnswer(e.to_string()))?;
    let supply = Supply::of(bench, common.level).map_err(refused)?;
    let ambient = args.at.ambient.unwrap_or(fit.data.ambient_mean);
    let mut rows = Vec::new();
    for intake in &intakes {
        for (mode, level) in &settings {
            let at = At::new(*mode, *level, *intake, ambient);
            rows.push(
                supply
                    .runtime(bench, &fit, at, common.level)
                    .map_err(refused)?,
            );
        }
    }
    let played = match &bench.day {
        None => None,
        Some(asked) => {
            // Only a day with a heat balance needs the air side.
            let capacity = asked
                .space
                .and(capacity_data.ok())
                .and_then(|c| fit_draw(c.data).ok());
            let played = day(bench, asked, &supply, &fit, capacity.as_ref(), common.level);
            Some(played.map_err(refused)?)
        }
    };
    let written = match (&common.out, &played) {
        (Some(folder), Some(day)) => {
            let figure = day_figure(day, common.level).ok_or_else(|| {
                CliError::NoAnswer("without a [battery] there is no charge to draw".to_owned())
            })?;
            let paths = ["day.svg", "day.png"].map(|n| folder.join(n));
            figure_files(&figure, &paths, common)?
        }
        (Some(_), None) => {
            return Err(CliError::NoAnswer(
                "the bench has no [day], so there is no figure to write".to_owned(),
            ));
        }
        (None, _) => Vec::new(),
    };
    let shown = Shown {
        bench,
        fit: &fit,
        supply,
        rows,
        day: played,
        ambient_known,
        ambient_asked: args.at.ambient,
        written,
    };
    Ok(shown.answer(opened.demo_note(), common))
}

fn refused(error: SupplyError) -> CliError {
    match error {
        SupplyError::Input(e) => CliError::Input(e),
        other => CliError::NoAnswer(other.to_string()),
    }
}
