//! A bench: one folder, one unit under test, its runs. Reading and validation, no statistics.
//!
//! [`Bench::open`] reads a folder with `bench.toml` (or a bare points table); [`Bench::embedded`] reads files built in.

mod blank;
mod channel;
mod claim;
mod day;
mod duct;
pub mod error;
mod flow;
mod layout;
mod log_section;
pub mod logs;
mod manifest;
pub mod point;
mod reads;
mod rules;
mod runs;
mod sections;
mod source;
mod supply;
pub mod table;
mod text;
mod traverse;
mod wildcard;
pub(crate) mod workbook;

use std::path::{Path, PathBuf};

use crate::quantity::{Accuracy, Dimension, STANDARD_PRESSURE_PA};

pub use blank::BLANK;
pub use channel::Channel;
pub use claim::{Claim, ClaimAt, RATINGS, Rating};
pub use day::{DayCharge, DayInfo, DaySpace, DayUse, clock_hour};
pub use duct::{CrossSection, DuctInfo, FlowFrom};
use duct::{add_traverse, read_duct};
pub use error::{BenchError, Fault, Finding, Place, Severity};
use manifest::Manifest;
pub use point::{Kind, Point};
pub use reads::{Input, Reads, digest_bytes, digest_file};
use sections::{read_fan, read_instrument, read_site, read_unit};
pub use source::{Source, SourceFile};
pub use supply::{Battery, Cable, Converter, DischargeLog, SupplyInfo, awg_area_m2};
use table::Table;
use text::utf8;
pub use text::visible;
pub(crate) use text::{clip, did_you_mean};
pub use traverse::{LevelTraverse, Rule, Traverse};

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
    /// Where the pressure comes from.
    pub pressure_from: PressureFrom,
    /// Steady points of all kinds, in table order.
    pub points: Vec<Point>,
    /// What the instruments are good for.
    pub instruments: Vec<Instrument>,
    /// What is known of the blower and the fan levels.
    pub fan: FanInfo,
    /// What feeds the unit.
    pub supply: SupplyInfo,
    /// The day that `runtime` plays through.
    pub day: Option<DayInfo>,
    /// Where the bench's files are; none for a bench from texts in memory.
    pub source: Option<Source>,
    /// The duct, and what was read across it.
    pub duct: DuctInfo,
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

/// Where the air's volume flow was measured: its density there turns it into a mass flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlowAt {
    /// At the evaporator's intake.
    Intake,
    /// At its outlet.
    Outlet,
}

/// Where the air pressure comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PressureFrom {
    /// Stated as a pressure.
    Stated,
    /// Taken from the altitude, so the weather's share is not in it.
    Altitude,
    /// Nothing was stated: sea level.
    Assumed,
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
        self.read_as.standard(self.accuracy.limit_at(reading))
    }

    /// What it adds to a figure given as in [`Bench::combined_u`], one part for each kind that it reads.
    pub(crate) fn parts_of(&self, figure: &[(Channel, f64, f64)]) -> Vec<(Dimension, f64)> {
        let mut kinds: Vec<(Dimension, f64)> = Vec::new();
        for (channel, reading, slope) in figure {
            if !self.measures.contains(channel) {
                continue;
            }
            let part = slope * self.standard_u(*reading);
            match kinds.iter_mut().find(|k| k.0 == channel.dimension()) {
                Some(kind) => kind.1 += part,
                None => kinds.push((channel.dimension(), part)),
            }
        }
        kinds
    }
}

impl AccuracyAs {
    /// The standard uncertainty that a stated figure amounts to.
    pub fn standard(self, stated: f64) -> f64 {
        match self {
            AccuracyAs::Standard => stated,
            // 1.959964 = normal quantile at 0.975.
            AccuracyAs::Limits => stated / 1.959_963_984_540_054,
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
        Self::open_noting(path, &Reads::default())
    }

    /// As [`Bench::open`]; every file read, now or later through [`Bench::source`], is noted.
    ///
    /// # Errors
    /// As [`Bench::open`].
    pub fn open_noting(path: &Path, reads: &Reads) -> Result<Bench, BenchError> {
        if let Some((book, name)) = sheet_of(path) {
            let file = file_name(&book);
            return Self::bare(&Source::bare(&book, reads), &file, &name);
        }
        let meta = std::fs::metadata(path).map_err(|source| BenchError::Io {
            path: path.to_owned(),
            source,
        })?;
        if meta.is_file() {
            if path.file_name().is_some_and(|n| n == "bench.toml") {
                let folder = path.parent().unwrap_or(Path::new("."));
                return Self::from_source(&Source::folder(folder, reads));
            }
            let name = file_name(path);
            return Self::bare(&Source::bare(path, reads), &name, &name);
        }
        // Whatever is called bench.toml speaks for the folder, even a broken link: no other table is read in its place.
        if path.join("bench.toml").symlink_metadata().is_ok() {
            return Self::from_source(&Source::folder(path, reads));
        }
        if path.join("points.csv").symlink_metadata().is_ok() {
            return Self::bare(&Source::folder(path, reads), "points.csv", "points.csv");
        }
        let found = if meta.is_dir() {
            "a folder without bench.toml or points.csv"
        } else {
            "neither a folder nor an ordinary file"
        };
        let place = Place::file(visible(&path.display().to_string()));
        Err(Fault::new(
            place,
            found,
            "a folder with bench.toml, or a points table such as points.csv",
        )
        .remedy("name the folder that holds the bench")
        .into())
    }

    /// Reads a bench from files built into the program.
    ///
    /// # Errors
    /// As [`Bench::open`].
    pub fn embedded(files: &'static [(&'static str, &'static str)]) -> Result<Bench, BenchError> {
        Self::embedded_noting(files, &Reads::default())
    }

    /// As [`Bench::embedded`], noting what is read.
    ///
    /// # Errors
    /// As [`Bench::open`].
    pub fn embedded_noting(
        files: &'static [(&'static str, &'static str)],
        reads: &Reads,
    ) -> Result<Bench, BenchError> {
        Self::from_source(&Source::in_memory(files.iter().copied(), reads))
    }

    /// Reads a bench from texts in memory: `bench.toml` and its points table.
    ///
    /// # Errors
    /// As [`Bench::open`].
    pub fn from_texts(toml: &str, points_csv: &str) -> Result<Bench, BenchError> {
        Self::parse(toml, &|_, _| Ok(points_csv.as_bytes().to_vec()))
    }

    /// A points table alone; `name` is the file's, with a sheet where one is named.
    fn bare(source: &Source, file: &str, name: &str) -> Result<Bench, BenchError> {
        let bytes = source.read(file, &Place::file(file))?;
        let mut findings = vec![Finding::new(
            Severity::Note,
            "no-manifest",
            "a points table without bench.toml: the unit has no name, the instruments' accuracy is unknown, sea-level pressure is assumed",
        )];
        let table = Table::open(name, &bytes, &mut findings)?;
        let points = point::read_points(&table, &mut findings)?;
        Ok(Bench {
            title: name.to_owned(),
            unit: UnitUnderTest {
                name: "unit under test".to_owned(),
                ..UnitUnderTest::default()
            },
            pressure_pa: STANDARD_PRESSURE_PA,
            pressure_stated: false,
            pressure_from: PressureFrom::Assumed,
            points,
            instruments: Vec::new(),
            fan: FanInfo::default(),
            supply: SupplyInfo::default(),
            day: None,
            source: Some(source.clone()),
            duct: DuctInfo::none(),
            points_file: table.file,
            findings,
        })
    }

    /// Reads a bench from any source.
    ///
    /// # Errors
    /// As [`Bench::open`].
    pub fn from_source(source: &Source) -> Result<Bench, BenchError> {
        let bytes = source.read("bench.toml", &Place::file("bench.toml"))?;
        let text = utf8("bench.toml", bytes)?;
        let mut bench = Self::parse(&text, &|name, place| source.read(name, place))?;
        bench.source = Some(source.clone());
        Ok(bench)
    }

    fn parse(text: &str, read: ReadFile<'_>) -> Result<Bench, BenchError> {
        blank::refuse(text, read)?;
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
        let (mut duct, traverse) = root
            .section("duct")
            .map_or((DuctInfo::none(), None), |s| read_duct(&s));
        let supply = SupplyInfo {
            battery: root.section("battery").map(|s| supply::read_battery(&s)),
            converter: root
                .section("converter")
                .and_then(|s| supply::read_converter(&s)),
            cable: root.section("cable").and_then(|s| supply::read_cable(&s)),
        };
        let day = root.section("day").map(|s| day::read_day(&s));
        // A section that another command reads; it is known, so it raises no note here.
        root.section("steady");
        let has_runs = root.section("runs").is_some();
        root.sections("log");
        let points_section = root.section("points");
        let file = points_section.as_ref().and_then(|s| s.text("file"));
        if let Some(s) = &points_section {
            if !s.has("file") {
                s.fault(
                    Fault::new(
                        s.place(),
                        "[points] without a file",
                        "file = \"points.csv\"",
                    )
                    .remedy("name the table of steady runs"),
                );
            }
            s.note_unknown_keys();
        } else if !has_runs && !root.has("points") {
            root.fault(
                Fault::new(
                    Place::file("bench.toml"),
                    "no section [points]",
                    "a section [points] with file = \"points.csv\", or [runs] and [[log]] for `reduce`",
                )
                .remedy("name the table of steady runs under [points]"),
            );
        }
        root.note_unknown_keys();
        let place = points_section
            .as_ref()
            .map_or(Place::file("bench.toml"), |s| s.place_of("file"));
        let mut findings = manifest.finish()?;
        let reduced = file.is_none();
        let points_file = file.unwrap_or_else(|| REDUCED_POINTS.to_owned());
        let bytes = read(workbook::split(&points_file).0, &place)
            .map_err(|e| if reduced { unreduced(e) } else { e })?;
        let table = Table::open(&points_file, &bytes, &mut findings)?;
        let mut points = point::read_points(&table, &mut findings)?;
        if let Some(asked) = traverse {
            let bytes = read(workbook::split(&asked.file).0, &asked.place)?;
            add_traverse(&mut duct, &asked, &bytes, &mut findings)?;
        }
        flow::note_unused(&points, &duct, &fan, &mut findings);
        flow::fill(&mut points, &duct, &fan);
        Ok(Bench {
            title: if title.is_empty() {
                unit.name.clone()
            } else {
                title
            },
            unit,
            pressure_pa: site.map_or(STANDARD_PRESSURE_PA, |s| s.0),
            pressure_stated: site.is_some(),
            pressure_from: site.map_or(PressureFrom::Assumed, |s| s.1),
            points,
            instruments,
            fan,
            supply,
            day,
            source: None,
            duct,
            points_file: table.file,
            findings,
        })
    }

    /// Points of one kind.
    pub fn of_kind(&self, kind: Kind) -> impl Iterator<Item = &Point> {
        self.points.iter().filter(move |p| p.kind == kind)
    }

    /// Lowest and highest reading of a channel over the runs of one kind, in base units; none where none was read.
    pub fn range_of(&self, kind: Kind, channel: Channel) -> Option<(f64, f64)> {
        self.of_kind(kind)
            .filter_map(|p| p.get(channel))
            .fold(None, |range, v| {
                let (low, high) = range.unwrap_or((v, v));
                Some((v.min(low), v.max(high)))
            })
    }

    /// Standard uncertainty that the instruments state for a channel's reading, in base units,
    /// the instruments' parts combined in quadrature. Zero where none is stated.
    pub fn instrument_u(&self, channel: Channel, reading: f64) -> InstrumentU {
        self.combined_u(&[(channel, reading, 1.0)])
    }

    /// Standard uncertainty that the instruments add to a figure that moves by `slope` for each unit of a channel, given as (channel,
    /// reading, slope). One instrument has one error for all channels of a kind that it reads: their parts are added with their signs,
    /// so that they may cancel; those of different instruments and kinds are combined in quadrature.
    pub fn combined_u(&self, figure: &[(Channel, f64, f64)]) -> InstrumentU {
        let mut sum = InstrumentU::default();
        for instrument in &self.instruments {
            for (_, u) in instrument.parts_of(figure) {
                if instrument.shared {
                    sum.shared = sum.shared.hypot(u);
                } else {
                    sum.fresh = sum.fresh.hypot(u);
                }
            }
        }
        sum
    }

    /// What each instrument adds to [`Bench::combined_u`]'s shared part, in the order of [`Bench::instruments`].
    pub fn shared_by_instrument(&self, figure: &[(Channel, f64, f64)]) -> Vec<f64> {
        let one = |i: &Instrument| {
            if i.shared {
                i.parts_of(figure)
                    .into_iter()
                    .map(|p| p.1)
                    .fold(0.0, f64::hypot)
            } else {
                0.0
            }
        };
        self.instruments.iter().map(one).collect()
    }
}

impl Bench {
    /// Whether the draw is as sure as the power's instrument says; otherwise it is voltage times current, each with its own.
    pub fn power_metered(&self) -> bool {
        let of = |c: Channel| self.instruments.iter().any(|i| i.measures.contains(&c));
        let read = |c: Channel| self.points.iter().any(|p| p.get(c).is_some());
        of(Channel::Power) || !(read(Channel::Voltage) && read(Channel::Current))
    }

    /// A draw in W as [`Bench::combined_u`] takes it: by the power's own instrument, or by those of voltage and current.
    pub fn draw_parts(&self, draw_w: f64) -> Vec<(Channel, f64, f64)> {
        let volts: Vec<f64> = self
            .points
            .iter()
            .filter_map(|p| p.get(Channel::Voltage))
            .collect();
        let volt = volts.iter().sum::<f64>() / volts.len().max(1) as f64;
        if self.power_metered() || volt <= 0.0 {
            return vec![(Channel::Power, draw_w, 1.0)];
        }
        let ampere = draw_w / volt;
        vec![
            (Channel::Voltage, volt, ampere),
            (Channel::Current, ampere, volt),
        ]
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
                .map(|f| {
                    f.remedy("run `steadydraw reduce` on this bench first: it makes the table from the logs; then this command again. A plan for a unit that was not run yet needs no bench: `steadydraw plan --modes … --fans …`")
                })
                .collect(),
        ),
        other => other,
    }
}

/// A path such as `book.xlsx#Runs` as the workbook's path and the file name with its sheet; none for a path of any other kind, or one that
/// is there as it stands.
fn sheet_of(path: &Path) -> Option<(PathBuf, String)> {
    let text = path.to_str()?;
    let (book, _) = workbook::split(text);
    if book.len() == text.len() || path.symlink_metadata().is_ok() {
        return None;
    }
    let sheet = text.get(book.len()..)?;
    let book = PathBuf::from(book);
    let name = format!("{}{sheet}", file_name(&book));
    Some((book, name))
}

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |n| n.to_string_lossy().into_owned(),
    )
}
