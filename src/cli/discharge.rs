//! `steadydraw discharge`: a battery's discharge test.

mod shown;

use std::path::{Path, PathBuf};

use super::{Answer, CliError, Common, Opened, open};
use crate::bench::logs::{Decimal, TimeFormat};
use crate::bench::{AccuracyAs, SourceFile};
use crate::quantity::{Accuracy, Dimension, parse_quantity};
use crate::report::supply_figures::discharge_figure;
use crate::supply::discharge::columns::{Wish, map};
use crate::supply::discharge::{
    Discharge, DischargeError, DischargeFile, DischargeOptions, Edge, Load, MeterU, Rating, Sign,
    bench_files, moment,
};

const EXAMPLES: &str = "Examples:
  steadydraw discharge                                     the demo's battery
  steadydraw discharge test.csv --rating 100Ah --cutoff 20V
      columns found by headings such as `time [s],current [A],voltage [V]`
  steadydraw discharge test1.csv test2.csv --rating 100Ah --nominal 25.6V --price 980 \\
      --current-accuracy \"0.5 % of reading + 0.02 A\" --voltage-accuracy \"0.1 % of reading\"
  steadydraw discharge log.txt --time \"Total Time [s]\" --current \"I [A]\" --voltage \"U [V]\"
      headings without units: write the unit beside the name
  steadydraw discharge raw.csv --time \"#2 [s]\" --current \"#9 [A]\" --voltage \"#10 [V]\"
      a table without headings: columns by number
  steadydraw discharge volts.csv --load \"15 W\" --load-accuracy \"10 % of reading\" --from 1h
      voltages only, under a constant load, in a part of the log
  steadydraw discharge my-bench       what [battery.discharge] in its bench.toml names";

/// Arguments of `discharge`.
#[derive(clap::Args, Debug)]
#[command(after_help = EXAMPLES)]
pub struct DischargeArgs {
    /// Logs of discharge tests, or one bench folder; the demo where none is given
    pub files: Vec<PathBuf>,
    /// Bench whose battery and instruments hold for these files
    #[arg(long, value_name = "DIR")]
    pub bench: Option<PathBuf>,
    /// Time column: its heading, with a unit in brackets where the heading has none, or #3
    #[arg(long, value_name = "COLUMN")]
    pub time: Option<String>,
    /// How times are written: iso, unix, elapsed_s, … or a pattern such as "%d.%m.%Y %H:%M:%S"
    #[arg(long, value_name = "FORMAT", value_parser = parse_format)]
    pub time_format: Option<TimeFormat>,
    /// Time zone of a wall clock, such as Europe/Amsterdam
    #[arg(long, value_name = "ZONE", value_parser = parse_zone)]
    pub zone: Option<String>,
    /// Current column, such as "Current [A]"
    #[arg(long, value_name = "COLUMN")]
    pub current: Option<String>,
    /// Voltage column, such as "Voltage [V]"
    #[arg(long, value_name = "COLUMN")]
    pub voltage: Option<String>,
    /// What stands between cells: one character, or tab
    #[arg(long, value_name = "CHAR", value_parser = parse_delimiter)]
    pub delimiter: Option<u8>,
    /// The decimal mark of numbers
    #[arg(long, value_name = "MARK", value_parser = parse_decimal)]
    pub decimal: Option<Decimal>,
    /// Only rows in which a column reads so
    #[arg(long, value_name = "COLUMN=VALUE", value_parser = parse_only)]
    pub only: Option<(String, String)>,
    /// Voltage at which the test ends
    #[arg(long, value_name = "VOLTAGE", value_parser = parse_voltage)]
    pub cutoff: Option<f64>,
    /// Longer pauses between readings are gaps
    #[arg(long, value_name = "TIME", value_parser = parse_time)]
    pub gap: Option<f64>,
    /// The load is known to have gone on in gaps, so that no less than the log's smallest load flowed in them
    #[arg(long)]
    pub load_went_on: bool,
    /// Sign of a discharging current; found from the voltage where not given
    #[arg(long, value_name = "SIGN", value_parser = parse_sign)]
    pub discharge_sign: Option<Sign>,
    /// A constant load, such as "15 W" or "0.6 A", for logs without a current
    #[arg(long, value_name = "LOAD", value_parser = parse_load)]
    pub load: Option<Load>,
    /// What that load is known to
    #[arg(long, value_name = "ACCURACY", requires = "load")]
    pub load_accuracy: Option<String>,
    /// Use the log from here: a time after its first reading, or a moment on its clock
    #[arg(long, value_name = "TIME", value_parser = parse_edge)]
    pub from: Option<Asked>,
    /// Use the log until here
    #[arg(long, value_name = "TIME", value_parser = parse_edge)]
    pub until: Option<Asked>,
    /// Rated capacity, such as 100Ah
    #[arg(long, value_name = "CHARGE", value_parser = parse_charge)]
    pub rating: Option<f64>,
    /// Rated energy, where the maker states it
    #[arg(long, value_name = "ENERGY", value_parser = parse_energy)]
    pub rated_energy: Option<f64>,
    /// Nominal voltage
    #[arg(long, value_name = "VOLTAGE", value_parser = parse_voltage)]
    pub nominal: Option<f64>,
    /// Price of the battery, without a currency
    #[arg(long, value_name = "PRICE", value_parser = parse_price)]
    pub price: Option<f64>,
    /// Accuracy of the current meter, as limits that hold 95 % of readings
    #[arg(long, value_name = "ACCURACY")]
    pub current_accuracy: Option<String>,
    /// Accuracy of the voltmeter
    #[arg(long, value_name = "ACCURACY")]
    pub voltage_accuracy: Option<String>,
    /// Write the figure here: a name that ends in .svg or .png
    #[arg(long, value_name = "FILE")]
    pub plot: Option<PathBuf>,
}

/// An edge of the part of a log that is used, as typed.
#[derive(Clone, Debug)]
pub enum Asked {
    /// Seconds after the first reading.
    After(f64),
    /// A moment, to be read in the log's zone.
    Moment(String),
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Misuse`] for options that do not go together, [`CliError::Input`] for a log that cannot be read,
/// [`CliError::NoAnswer`] for one that shows no discharge, [`CliError::Write`] for files in the way.
pub fn run(args: &DischargeArgs, common: &Common) -> Result<Answer, CliError> {
    let (opened, named) = bench_of(args, common)?;
    let battery = opened
        .as_ref()
        .and_then(|o| o.bench.supply.battery.as_ref());
    let files = if named.is_empty() {
        match &opened {
            Some(o) => bench_files(&o.bench)?,
            None => Vec::new(),
        }
    } else {
        mapped(args, &named, common)?
    };
    if files.is_empty() {
        return Err(CliError::NoAnswer(
            "the bench names no discharge log; add [battery.discharge] with file, time and channels as in a [[log]], or name the files".to_owned(),
        ));
    }
    let rating = Rating {
        capacity_ah: args.rating,
        energy_wh: args.rated_energy,
        nominal_v: args.nominal,
        price: args.price,
    }
    .or(battery.map(Rating::of).unwrap_or_default());
    let options = options(args, opened.as_ref())?;
    let discharge = Discharge::of(&files, options, rating).map_err(|e| match e {
        DischargeError::Read(e) => CliError::Input(e),
        other => CliError::NoAnswer(other.to_string()),
    })?;
    let written = write(args, common, &discharge)?;
    let demo_note = opened.as_ref().and_then(Opened::demo_note);
    Ok(shown::answer(&discharge, &written, demo_note, common))
}

/// The bench whose battery is meant, and the files named.
fn bench_of(
    args: &DischargeArgs,
    common: &Common,
) -> Result<(Option<Opened>, Vec<PathBuf>), CliError> {
    let is_bench = |p: &Path| p.is_dir() || p.file_name().is_some_and(|n| n == "bench.toml");
    let (benches, files): (Vec<PathBuf>, Vec<PathBuf>) =
        args.files.iter().cloned().partition(|p| is_bench(p));
    let folder = match (benches.as_slice(), &args.bench) {
        ([], named) => named.clone(),
        ([one], None) => Some(one.clone()),
        _ => {
            return Err(CliError::Misuse(
                "name one bench, or files and one --bench".to_owned(),
            ));
        }
    };
    if folder.is_none() && !files.is_empty() {
        return Ok((None, files));
    }
    Ok((Some(open(folder.as_deref(), common)?), files))
}

fn mapped(
    args: &DischargeArgs,
    named: &[PathBuf],
    common: &Common,
) -> Result<Vec<DischargeFile>, CliError> {
    let wish = Wish {
        time: args.time.clone(),
        time_format: args.time_format.clone(),
        zone: args.zone.clone(),
        current: args.current.clone(),
        voltage: args.voltage.clone(),
        delimiter: args.delimiter,
        decimal: args.decimal,
        only: args.only.clone(),
        no_current: args.load.is_some(),
    };
    let last = |p: &Path| p.file_name().map(|n| n.to_string_lossy().into_owned());
    named
        .iter()
        .map(|path| {
            // The name alone, unless another file has it too.
            let alone = named.iter().filter(|p| last(p) == last(path)).count() == 1;
            let name = last(path).filter(|_| alone);
            let file =
                SourceFile::on_disk(path, &name.unwrap_or_else(|| path.display().to_string()))
                    .noted(&common.reads);
            let (spec, taken) = map(&file, &wish)?;
            Ok(DischargeFile { spec, file, taken })
        })
        .collect()
}

fn options(args: &DischargeArgs, opened: Option<&Opened>) -> Result<DischargeOptions, CliError> {
    let mut options = opened
        .map(|o| DischargeOptions::from_bench(&o.bench))
        .unwrap_or_default();
    options.cutoff_v = args.cutoff.or(options.cutoff_v);
    options.gap_s = args.gap;
    options.load_went_on = args.load_went_on;
    options.sign = args.discharge_sign;
    options.load = args.load;
    let edge = |asked: &Option<Asked>| {
        match asked {
        None => Ok(None),
        Some(Asked::After(s)) => Ok(Some(Edge::After(*s))),
        Some(Asked::Moment(text)) => moment(text, args.zone.as_deref()).map(|t| Some(Edge::At(t))).ok_or_else(|| {
            CliError::Misuse(format!("`{text}` is neither a time such as 90min nor a moment such as 2026-05-03T09:00:00"))
        }),
    }
    };
    options.window = (edge(&args.from)?, edge(&args.until)?);
    let accuracy = |text: &Option<String>, what: Dimension| {
        text.as_deref()
            .map(|t| Accuracy::parse(t, what).map_err(|e| CliError::Misuse(e.to_string())))
            .transpose()
    };
    if let Some(a) = accuracy(&args.current_accuracy, Dimension::Current)? {
        options.current_meters = vec![MeterU::from_accuracy(a, AccuracyAs::Limits, true)];
    }
    if let Some(a) = accuracy(&args.voltage_accuracy, Dimension::Voltage)? {
        options.voltmeters = vec![MeterU::from_accuracy(a, AccuracyAs::Limits, true)];
    }
    if let Some(load) = args.load {
        let what = match load {
            Load::Power(_) => Dimension::Power,
            Load::Current(_) => Dimension::Current,
        };
        options.current_meters = accuracy(&args.load_accuracy, what)?
            .map(|a| load.meter(a))
            .into_iter()
            .collect();
    }
    Ok(options)
}

fn write(
    args: &DischargeArgs,
    common: &Common,
    discharge: &Discharge,
) -> Result<Vec<PathBuf>, CliError> {
    let mut paths: Vec<PathBuf> = args.plot.iter().cloned().collect();
    if let Some(folder) = &common.out {
        paths.extend(["discharge.svg", "discharge.png"].map(|n| folder.join(n)));
    }
    super::figure_files(&discharge_figure(discharge), &paths, common)
}

fn parse_with(text: &str, what: Dimension, like: &str) -> Result<f64, String> {
    match parse_quantity(text, what) {
        Ok(v) if v > 0.0 => Ok(v),
        Ok(_) => Err(format!("{} above zero is expected", what.words())),
        Err(e) => Err(format!("{e}; write it like {like}")),
    }
}

fn parse_voltage(text: &str) -> Result<f64, String> {
    parse_with(text, Dimension::Voltage, "25.6V")
}

fn parse_charge(text: &str) -> Result<f64, String> {
    parse_with(text, Dimension::Charge, "100Ah")
}

fn parse_energy(text: &str) -> Result<f64, String> {
    parse_with(text, Dimension::Energy, "2560Wh")
}

fn parse_time(text: &str) -> Result<f64, String> {
    parse_with(text, Dimension::Time, "90s")
}

fn parse_price(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if v.is_finite() && v >= 0.0 => Ok(v),
        _ => Err("a price is a number such as 980, without a currency".to_owned()),
    }
}

fn parse_load(text: &str) -> Result<Load, String> {
    if let Ok(w) = parse_with(text, Dimension::Power, "15W") {
        return Ok(Load::Power(w));
    }
    parse_with(text, Dimension::Current, "0.6A")
        .map(Load::Current)
        .map_err(|_| "a load is a power or a current above zero, such as 15W or 0.6A".to_owned())
}

fn parse_edge(text: &str) -> Result<Asked, String> {
    match parse_quantity(text, Dimension::Time) {
        Ok(s) => Ok(Asked::After(s)),
        Err(_) => Ok(Asked::Moment(text.to_owned())),
    }
}

fn parse_format(text: &str) -> Result<TimeFormat, String> {
    TimeFormat::from_words(text).ok_or_else(|| format!("expected {}", TimeFormat::WORDS))
}

fn parse_zone(text: &str) -> Result<String, String> {
    match crate::logs::clock::zone(text) {
        Some(_) => Ok(text.to_owned()),
        None => Err(
            "a zone is an IANA name such as Europe/Amsterdam, UTC, or an offset such as +01:00"
                .to_owned(),
        ),
    }
}

fn parse_delimiter(text: &str) -> Result<u8, String> {
    match (text, text.as_bytes()) {
        ("tab" | "\\t", _) => Ok(b'\t'),
        (_, [b]) if b.is_ascii() && !b.is_ascii_alphanumeric() && !b"\"\r\n.-+".contains(b) => {
            Ok(*b)
        }
        _ => Err("one character between cells, such as ; or tab".to_owned()),
    }
}

fn parse_decimal(text: &str) -> Result<Decimal, String> {
    match text {
        "." => Ok(Decimal::Point),
        "," => Ok(Decimal::Comma),
        _ => Err("the decimal mark is . or ,".to_owned()),
    }
}

fn parse_only(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((c, v)) if !c.trim().is_empty() => Ok((c.trim().to_owned(), v.trim().to_owned())),
        _ => Err("write it like Mode=DCHG".to_owned()),
    }
}

fn parse_sign(text: &str) -> Result<Sign, String> {
    match text {
        "positive" => Ok(Sign::Positive),
        "negative" => Ok(Sign::Negative),
        _ => Err("positive or negative".to_owned()),
    }
}
