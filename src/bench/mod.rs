//! A bench: one folder, one unit under test, its runs. Reading and validation, no statistics.
//!
//! [`Bench::open`] reads a folder with `bench.toml` (or a bare points table); [`Bench::embedded`] reads files built in.

pub mod error;
pub mod logs;
mod manifest;
pub mod point;
mod rules;
mod runs;
mod source;
pub mod table;
mod wildcard;

use std::path::Path;

use crate::quantity::{Accuracy, Dimension};

pub use error::{BenchError, Fault, Finding, Place, Severity};
use manifest::{Manifest, Section};
pub use point::{Channel, Kind, Point};
pub use source::{Source, SourceFile};
use table::Table;

/// Standard atmosphere at sea level, Pa (ISO 2533, also ASHRAE Fundamentals 2017 ch. 1 table 1).
const SEA_LEVEL_PA: f64 = 101_325.0;

/// Gives a file of the bench by name; the place is that of the entry that asked for it.
type ReadFile<'a> = &'a dyn Fn(&str, &Place) -> Result<Vec<u8>, BenchError>;

/// A bench, read and in base units.
#[derive(Clone, Debug)]
pub struct Bench {
    /// The bench's title.
    pub title: String,
    /// The unit under test.
    pub unit: UnitUnderTest,
    /// Air pressure at the bench, Pa, and whether it was stated.
    pub pressure_pa: f64,
    /// Whether the pressure (or altitude) was stated; otherwise sea level is assumed.
    pub pressure_stated: bool,
    /// Steady points of all kinds, in table order.
    pub points: Vec<Point>,
    /// What the instruments are good for.
    pub instruments: Vec<Instrument>,
    /// What is known of the blower and the fan levels.
    pub fan: FanInfo,
    /// Where the airflow was measured.
    pub flow_at: FlowAt,
    /// Where the points came from, for messages.
    pub points_file: String,
    /// Notes made while reading.
    pub findings: Vec<Finding>,
}

/// The machine tested.
#[derive(Clone, Debug, Default)]
pub struct UnitUnderTest {
    /// Its name.
    pub name: String,
    /// Nominal supply voltage, V.
    pub supply_v: Option<f64>,
    /// What its maker states, in the order written: name, and value in base units with its dimension.
    pub claims: Vec<Claim>,
}

/// One of the maker's figures.
#[derive(Clone, Debug)]
pub struct Claim {
    /// Its key, such as `cooling` or `draw_high`.
    pub name: &'static str,
    /// Its value in base units.
    pub value: f64,
    /// What kind of quantity it is.
    pub dimension: Dimension,
}

/// Where the air's volume flow was measured: its density there turns it into a mass flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlowAt {
    /// At the evaporator's intake.
    Intake,
    /// At its outlet.
    Outlet,
}

/// What is known of the blower beside the runs.
#[derive(Clone, Debug, Default)]
pub struct FanInfo {
    /// The most that the blower can plausibly draw, W.
    pub draw_limit_w: Option<f64>,
    /// Levels with their airflow or relative speed.
    pub levels: Vec<FanLevel>,
}

/// A fan level as `bench.toml` describes it.
#[derive(Clone, Debug)]
pub struct FanLevel {
    /// The level as written in the points table.
    pub level: String,
    /// Airflow, m3/h.
    pub airflow_m3h: Option<f64>,
    /// Speed relative to any other level.
    pub relative_speed: Option<f64>,
}

/// How an instrument's accuracy is to be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AccuracyAs {
    /// Limits that hold 95 % of readings: standard uncertainty = limit / 1.96 (JCGM 100, 4.3.4).
    Limits,
    /// A standard uncertainty.
    Standard,
}

/// An instrument and what it reads.
#[derive(Clone, Debug)]
pub struct Instrument {
    /// Its name.
    pub name: String,
    /// What it measures.
    pub measures: Vec<Channel>,
    /// Its accuracy statement.
    pub accuracy: Accuracy,
    /// How the statement is to be read.
    pub read_as: AccuracyAs,
    /// Whether the same error is shared by all runs (the same sensor read them all).
    pub shared: bool,
}

impl Instrument {
    /// Standard uncertainty of a reading in base units.
    pub fn standard_u(&self, reading: f64) -> f64 {
        let limit = self.accuracy.limit_at(reading);
        match self.read_as {
            AccuracyAs::Standard => limit,
            // 1.959964 = normal quantile at 0.975.
            AccuracyAs::Limits => limit / 1.959_963_984_540_054,
        }
    }
}

/// A standard uncertainty in its two parts: shared by all runs, and fresh in each.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct InstrumentU {
    /// Shared by all runs: cancels in differences and ratios, added once to absolute figures.
    pub shared: f64,
    /// Fresh in each run: already part of the scatter between runs.
    pub fresh: f64,
}

impl Bench {
    /// Opens a bench folder, or a bare points table.
    ///
    /// # Errors
    /// [`BenchError`] naming file, line, column, what was found and what was expected.
    pub fn open(path: &Path) -> Result<Bench, BenchError> {
        let meta = std::fs::metadata(path).map_err(|source| BenchError::Io {
            path: path.to_owned(),
            source,
        })?;
        if meta.is_file() {
            if path.file_name().is_some_and(|n| n == "bench.toml") {
                let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
                return Self::from_source(&Source::Folder(
                    folder.unwrap_or(Path::new(".")).to_owned(),
                ));
            }
            let name = file_name(path);
            return Self::bare(&Source::Bare(path.to_owned()), &name);
        }
        if path.join("bench.toml").is_file() {
            return Self::from_source(&Source::Folder(path.to_owned()));
        }
        if path.join("points.csv").is_file() {
            return Self::bare(&Source::Folder(path.to_owned()), "points.csv");
        }
        Err(BenchError::NoBench {
            path: path.to_owned(),
            hint: String::new(),
        })
    }

    /// Reads a bench from files built into the program.
    ///
    /// # Errors
    /// As [`Bench::open`].
    pub fn embedded(files: &'static [(&'static str, &'static str)]) -> Result<Bench, BenchError> {
        Self::from_source(&Source::Embedded(files))
    }

    /// Reads a bench from texts in memory: `bench.toml` and its points table.
    ///
    /// # Errors
    /// As [`Bench::open`].
    pub fn from_texts(toml: &str, points_csv: &str) -> Result<Bench, BenchError> {
        Self::parse(toml, &|_, _| Ok(points_csv.as_bytes().to_vec()))
    }

    fn bare(source: &Source, name: &str) -> Result<Bench, BenchError> {
        let bytes = source.read(name, &Place::file(name))?;
        let table = Table::read(name, &bytes)?;
        let mut findings = vec![Finding::new(
            Severity::Note,
            "no-manifest",
            "a points table without bench.toml: the unit has no name, the instruments' accuracy is unknown, sea-level pressure is assumed",
        )];
        let points = point::read_points(&table, &mut findings)?;
        Ok(Bench {
            title: name.to_owned(),
            unit: UnitUnderTest {
                name: "unit under test".to_owned(),
                ..UnitUnderTest::default()
            },
            pressure_pa: SEA_LEVEL_PA,
            pressure_stated: false,
            points,
            instruments: Vec::new(),
            fan: FanInfo::default(),
            flow_at: FlowAt::Outlet,
            points_file: name.to_owned(),
            findings,
        })
    }

    fn from_source(source: &Source) -> Result<Bench, BenchError> {
        let bytes = source.read("bench.toml", &Place::file("bench.toml"))?;
        let text = utf8("bench.toml", bytes)?;
        Self::parse(&text, &|name, place| source.read(name, place))
    }

    fn parse(text: &str, read: ReadFile<'_>) -> Result<Bench, BenchError> {
        let manifest = Manifest::new("bench.toml", text);
        let document = manifest.parse()?;
        let root = manifest.root(&document);
        let title = root.text("title").unwrap_or_default();
        let unit = root
            .section("unit")
            .map(|s| read_unit(&s))
            .unwrap_or_default();
        let site = root
            .section("site")
            .map(|s| read_site(&s))
            .unwrap_or_default();
        let instruments = root
            .sections("instrument")
            .iter()
            .filter_map(read_instrument)
            .collect();
        let fan = root
            .section("fan")
            .map(|s| read_fan(&s))
            .unwrap_or_default();
        let duct = root
            .section("duct")
            .map(|s| read_duct(&s))
            .unwrap_or_default();
        // Sections that other commands read; they are known, so they raise no note here.
        for later in ["battery", "steady"] {
            root.section(later);
        }
        let has_runs = root.section("runs").is_some();
        root.sections("log");
        let points_section = root.section("points");
        let file = points_section.as_ref().and_then(|s| s.text("file"));
        if let Some(s) = &points_section {
            if file.is_none() {
                s.fault(Fault::new(
                    s.place(),
                    "[points] without a file",
                    "file = \"points.csv\"",
                ));
            }
            s.note_unknown_keys();
        } else if !has_runs {
            root.fault(Fault::new(
                Place::file("bench.toml"),
                "no section [points]",
                "a section [points] with file = \"points.csv\", or [runs] and [[log]] for `reduce`",
            ));
        }
        root.note_unknown_keys();
        let place = points_section
            .as_ref()
            .map_or(Place::file("bench.toml"), |s| s.place_of("file"));
        let mut findings = manifest.finish()?;
        let reduced = file.is_none();
        let points_file = file.unwrap_or_else(|| REDUCED_POINTS.to_owned());
        let bytes =
            read(&points_file, &place).map_err(|e| if reduced { unreduced(e) } else { e })?;
        let table = Table::read(&points_file, &bytes)?;
        let mut points = point::read_points(&table, &mut findings)?;
        fill_airflow(&mut points, &duct, &fan);
        Ok(Bench {
            title: if title.is_empty() {
                unit.name.clone()
            } else {
                title
            },
            unit,
            pressure_pa: site.unwrap_or(SEA_LEVEL_PA),
            pressure_stated: site.is_some(),
            points,
            instruments,
            fan,
            flow_at: duct.at.unwrap_or(FlowAt::Outlet),
            points_file,
            findings,
        })
    }

    /// Points of one kind.
    pub fn of_kind(&self, kind: Kind) -> impl Iterator<Item = &Point> {
        self.points.iter().filter(move |p| p.kind == kind)
    }

    /// Standard uncertainty that the instruments state for a channel's reading, in base units,
    /// the instruments' parts combined in quadrature. Zero where none is stated.
    pub fn instrument_u(&self, channel: Channel, reading: f64) -> InstrumentU {
        let mut sum = InstrumentU::default();
        for instrument in self
            .instruments
            .iter()
            .filter(|i| i.measures.contains(&channel))
        {
            let u = instrument.standard_u(reading);
            if instrument.shared {
                sum.shared = sum.shared.hypot(u);
            } else {
                sum.fresh = sum.fresh.hypot(u);
            }
        }
        sum
    }
}

/// The table that `reduce` writes into a bench folder, read where `bench.toml` names run windows but no points.
pub const REDUCED_POINTS: &str = "points.csv";

/// Says what makes the missing points table of a bench that has logs.
fn unreduced(error: BenchError) -> BenchError {
    match error {
        BenchError::Faults(faults) => BenchError::Faults(
            faults
                .into_iter()
                .map(|f| f.remedy("`steadydraw reduce` makes this table from the bench's logs"))
                .collect(),
        ),
        other => other,
    }
}

/// A file's bytes as text, without a byte-order mark.
fn utf8(file: &str, bytes: Vec<u8>) -> Result<String, BenchError> {
    let mut text = String::from_utf8(bytes).map_err(|e| {
        let at = e.utf8_error().valid_up_to();
        let line = e
            .as_bytes()
            .iter()
            .take(at)
            .filter(|&&b| b == b'\n')
            .count()
            + 1;
        Fault::new(
            Place::line(file, line),
            "bytes that are not UTF-8 text",
            "a text file in UTF-8",
        )
    })?;
    if text.starts_with('\u{feff}') {
        text.remove(0);
    }
    Ok(text)
}

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |n| n.to_string_lossy().into_owned(),
    )
}

#[derive(Default)]
struct Duct {
    area_m2: Option<f64>,
    at: Option<FlowAt>,
}

/// Airflow from air speed and duct, else from the fan level's stated airflow.
fn fill_airflow(points: &mut [Point], duct: &Duct, fan: &FanInfo) {
    for p in points {
        if p.airflow_m3h().is_some() {
            continue;
        }
        let from_speed = match (p.get(Channel::AirSpeed), duct.area_m2) {
            (Some(v), Some(a)) => Some(v * a * 3600.0),
            _ => None,
        };
        let stated = fan
            .levels
            .iter()
            .find(|l| l.level == p.fan)
            .and_then(|l| l.airflow_m3h);
        if let Some(flow) = from_speed.or(stated) {
            p.set(Channel::Airflow, flow);
        }
    }
}

fn read_unit(s: &Section<'_, '_>) -> UnitUnderTest {
    let unit = UnitUnderTest {
        name: s
            .text("name")
            .unwrap_or_else(|| "unit under test".to_owned()),
        supply_v: s.quantity("supply", Dimension::Voltage),
        claims: s
            .section("claims")
            .map(|c| read_claims(&c))
            .unwrap_or_default(),
    };
    s.note_unknown_keys();
    unit
}

fn read_claims(s: &Section<'_, '_>) -> Vec<Claim> {
    const CLAIMS: [(&str, Dimension); 7] = [
        ("cooling", Dimension::Power),
        ("draw_low", Dimension::Power),
        ("draw_high", Dimension::Power),
        ("current_low", Dimension::Current),
        ("current_high", Dimension::Current),
        ("airflow", Dimension::Flow),
        ("mass", Dimension::Mass),
    ];
    let claims = CLAIMS
        .into_iter()
        .filter_map(|(name, dimension)| {
            s.quantity(name, dimension).map(|value| Claim {
                name,
                value,
                dimension,
            })
        })
        .collect();
    s.note_unknown_keys();
    claims
}

fn read_site(s: &Section<'_, '_>) -> Option<f64> {
    let pressure = s.quantity("pressure", Dimension::Pressure);
    let altitude = s.quantity("altitude", Dimension::Length);
    if let Some(p) = pressure.filter(|p| !(2e4..=2e5).contains(p)) {
        s.fault(Fault::new(
            s.place_of("pressure"),
            format!("a pressure of {:.1} hPa", p / 100.0),
            "an air pressure between 200 and 2000 hPa",
        ));
    }
    if let Some(a) = altitude.filter(|a| !(-500.0..=9000.0).contains(a)) {
        s.fault(Fault::new(
            s.place_of("altitude"),
            format!("an altitude of {a:.0} m"),
            "an altitude between -500 and 9000 m",
        ));
    }
    s.note_unknown_keys();
    pressure.or_else(|| altitude.map(atmosphere_pressure_pa))
}

fn read_instrument(s: &Section<'_, '_>) -> Option<Instrument> {
    let name = s.text("name").unwrap_or_else(|| "instrument".to_owned());
    let measures = s.texts("measures");
    let accuracy = s.text("accuracy");
    let read_as = match s.text("as").as_deref() {
        None | Some("limits") => AccuracyAs::Limits,
        Some("standard") => AccuracyAs::Standard,
        Some(other) => {
            s.fault(Fault::new(
                s.place_of("as"),
                format!("as = \"{}\"", table::clip(other)),
                "\"limits\" (95 % of readings lie inside) or \"standard\" (a standard uncertainty)",
            ));
            AccuracyAs::Limits
        }
    };
    let shared = s.flag("shared").unwrap_or(true);
    s.note_unknown_keys();
    let Some(measures) = measures.filter(|m| !m.is_empty()) else {
        s.fault(Fault::new(
            s.place(),
            format!("the instrument `{}` without measures", table::clip(&name)),
            "measures = [\"power\"] or other columns' names",
        ));
        return None;
    };
    let mut channels = Vec::new();
    for m in &measures {
        match Channel::from_name(m) {
            Some(c) => channels.push(c),
            None => s.fault(Fault::new(
                s.place_of("measures"),
                format!("the quantity `{}`", table::clip(m)),
                format!("one of {}", Channel::ALL.map(Channel::name).join(", ")),
            )),
        }
    }
    let first = channels.first()?;
    if channels.iter().any(|c| c.dimension() != first.dimension())
        && accuracy
            .as_deref()
            .is_some_and(|a| a.contains('+') || !a.contains('%'))
    {
        s.fault(
            Fault::new(
                s.place_of("measures"),
                "quantities of different kinds with one absolute accuracy",
                "quantities of one kind",
            )
            .remedy("write an [[instrument]] for each kind"),
        );
        return None;
    }
    let Some(accuracy) = accuracy else {
        s.fault(Fault::new(
            s.place(),
            format!(
                "the instrument `{}` without an accuracy",
                table::clip(&name)
            ),
            "accuracy = \"0.5 % of reading + 0.02 A\"",
        ));
        return None;
    };
    match Accuracy::parse(&accuracy, first.dimension()) {
        Ok(accuracy) => Some(Instrument {
            name,
            measures: channels,
            accuracy,
            read_as,
            shared,
        }),
        Err(e) => {
            s.fault(Fault::new(
                s.place_of("accuracy"),
                format!("accuracy = \"{}\"", table::clip(&accuracy)),
                e.to_string(),
            ));
            None
        }
    }
}

fn read_fan(s: &Section<'_, '_>) -> FanInfo {
    let draw_limit_w = s.quantity("draw_limit", Dimension::Power);
    let mut levels = Vec::new();
    if let Some(list) = s.section("levels") {
        for (level, entry) in list.named_sections() {
            levels.push(FanLevel {
                level,
                airflow_m3h: entry
                    .quantity("airflow", Dimension::Flow)
                    .filter(|v| *v > 0.0),
                relative_speed: entry.number("relative_speed").filter(|v| *v > 0.0),
            });
            entry.note_unknown_keys();
        }
    }
    s.note_unknown_keys();
    FanInfo {
        draw_limit_w,
        levels,
    }
}

fn read_duct(s: &Section<'_, '_>) -> Duct {
    let shape = s.text("shape");
    let length = |key: &'static str| {
        s.quantity(key, Dimension::Length).filter(|v| {
            let good = *v > 0.0;
            if !good {
                s.fault(Fault::new(
                    s.place_of(key),
                    format!("{key} of {v} m"),
                    "a length above zero",
                ));
            }
            good
        })
    };
    let (width, height, diameter) = (length("width"), length("height"), length("diameter"));
    let at = match s.text("at").as_deref() {
        None => None,
        Some("intake") => Some(FlowAt::Intake),
        Some("outlet") => Some(FlowAt::Outlet),
        Some(other) => {
            s.fault(Fault::new(
                s.place_of("at"),
                format!("at = \"{}\"", table::clip(other)),
                "\"intake\" or \"outlet\"",
            ));
            None
        }
    };
    s.note_unknown_keys();
    let area_m2 = match (shape.as_deref(), width, height, diameter) {
        (Some("round") | None, None, None, Some(d)) => Some(std::f64::consts::PI * d * d / 4.0),
        (Some("rectangular") | None, Some(w), Some(h), None) => Some(w * h),
        (None, None, None, None) => None,
        _ => {
            s.fault(Fault::new(
                s.place(),
                "a duct whose shape and sizes do not fit together",
                "shape = \"round\" with diameter, or shape = \"rectangular\" with width and height",
            ));
            None
        }
    };
    Duct { area_m2, at }
}

/// Pressure of the standard atmosphere at an altitude in m, Pa (ISO 2533).
fn atmosphere_pressure_pa(altitude_m: f64) -> f64 {
    SEA_LEVEL_PA * (1.0 - 2.25577e-5 * altitude_m).powf(5.2559)
}
