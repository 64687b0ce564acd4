//! All that a page needs to compute what `predict` and `runtime` compute: the candidates as they were fitted, the fixed figures
//! behind the doubts, the instruments, the supply. Nothing is rounded: JSON holds every double to its last digit.

use serde::Serialize;

use crate::bench::{AccuracyAs, Bench, Channel, Kind};
use crate::budget::shared_capacity_u;
use crate::fit::candidates::{Candidate, DrawFit};
use crate::fit::forms::{
    AmbientForm, CapacityKind, DrawData, DrawForm, Held, HeldSlope, IntakeForm, LiftParts,
    PLATEAU_SLOPE_PER_K, Scatter, SettingForm,
};
use crate::predict::{Doubts, control_note, doubts, ramp_chance, seen_control};
use crate::quantity::{Dimension, System};
use crate::report::font::base64;
use crate::report::words;

use super::battery::{SupplyModel, supply};
use crate::supply::runtime::Supply;

/// The whole of it, as it stands in the page.
#[derive(Serialize)]
pub(super) struct Model<'a> {
    level: f64,
    modes: Vec<String>,
    fans: Vec<String>,
    /// Logarithmic airflow by fan level.
    x: Vec<Option<f64>>,
    tested: &'a [Vec<usize>],
    intake_ranges: &'a [(f64, f64)],
    ambient_range: (f64, f64),
    ambient_known: bool,
    ambient_varied: bool,
    intake_ref: f64,
    ambient_ref: f64,
    ambient_mean: f64,
    set_points: &'a [f64],
    gaps: &'a [(f64, f64)],
    kink: Option<f64>,
    plateau_slope: f64,
    blower_w: Vec<f64>,
    lift: Option<LiftParts<'a>>,
    /// Mode, level, intake, ambient, moisture, draw of every run.
    runs: Vec<(usize, usize, f64, f64, f64, f64)>,
    doubts: Doubts,
    ramp_chance: f64,
    control_note: Option<&'static str>,
    volts: Option<f64>,
    instruments: Vec<InstrumentModel>,
    draw: FitModel,
    capacity: Option<CapacityModel>,
    supply: SupplyModel,
    units: Units,
}

/// An instrument whose error all runs share, as far as a draw leans on it.
#[derive(Serialize)]
struct InstrumentModel {
    power: bool,
    voltage: bool,
    current: bool,
    intake: bool,
    ambient: bool,
    relative: f64,
    absolute: f64,
    divisor: f64,
}

#[derive(Serialize)]
struct CapacityModel {
    total: bool,
    fit: FitModel,
    /// Relative standard uncertainty that instruments add alike in all runs, by mode and level.
    shared: Vec<Vec<f64>>,
}

#[derive(Serialize)]
struct FitModel {
    typical_w: f64,
    block_variance: f64,
    candidates: Vec<CandidateModel>,
}

#[derive(Serialize)]
struct CandidateModel {
    weight: f64,
    groups: Vec<usize>,
    setting: &'static str,
    intake: &'static str,
    held: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    steps: Option<u8>,
    #[serde(skip_serializing_if = "Option::is_none")]
    corner: Option<f64>,
    corner_span: Option<f64>,
    ambient: bool,
    moisture: bool,
    lift: bool,
    additive: bool,
    coef: Vec<f64>,
    /// Upper triangle of the covariance root, column by column: little-endian doubles in base 64.
    root: String,
    /// By how much each coefficient moves for a unit of each block's effect, block by block, written likewise.
    #[serde(skip_serializing_if = "String::is_empty")]
    pulls: String,
    /// Relative standard deviation within blocks.
    sd: f64,
    dof: f64,
}

/// How the reader's units come from those of the model: shown = scale × value + offset.
#[derive(Serialize)]
struct Units {
    temperature: String,
    temperature_scale: f64,
    temperature_offset: f64,
    difference: &'static str,
    capacity: String,
    capacity_scale: f64,
    efficiency: &'static str,
}

impl Units {
    fn of(system: System) -> Units {
        let at = |c: f64| system.convert(Dimension::Temperature, c);
        Units {
            temperature: words::unit_sign(system.symbol(Dimension::Temperature)).into_owned(),
            temperature_scale: system.convert(Dimension::TemperatureDifference, 1.0),
            temperature_offset: at(0.0),
            difference: match system {
                System::Si => "K",
                System::Us => "°F",
            },
            capacity: system.capacity_symbol().to_owned(),
            capacity_scale: system.convert_capacity(1.0),
            efficiency: match system {
                System::Si => "W/W",
                System::Us => "Btu/h per W",
            },
        }
    }
}

/// What the model is made from.
pub struct Fitted<'a> {
    /// The bench.
    pub bench: &'a Bench,
    /// The draw's candidates.
    pub draw: &'a DrawFit,
    /// The capacity's candidates, where the bench gives a capacity.
    pub capacity: Option<(CapacityKind, &'a DrawFit)>,
    /// The supply, where a voltage is known.
    pub supply: Option<&'a Supply>,
    /// Confidence level of the intervals.
    pub level: f64,
    /// Units for the reader.
    pub system: System,
}

impl Fitted<'_> {
    /// Whether every cooling run comes with a channel.
    pub(super) fn complete(&self, channel: Channel) -> bool {
        let mut cooling = self.bench.of_kind(Kind::Cooling);
        cooling.all(|p| p.get(channel).is_some())
    }

    /// The model as JSON that may stand in a page: no `<` that could end the element it stands in.
    pub(super) fn json(&self) -> Option<String> {
        let text = serde_json::to_string(&self.model()).ok()?;
        Some(text.replace('<', "\\u003c"))
    }

    fn model(&self) -> Model<'_> {
        let (bench, data) = (self.bench, &self.draw.data);
        let shown = |text: &String| words::visible(text).into_owned();
        Model {
            level: self.level,
            modes: data.modes.iter().map(shown).collect(),
            fans: data.levels.iter().map(|l| shown(&l.label)).collect(),
            x: data.levels.iter().map(|l| l.x).collect(),
            tested: &data.tested,
            intake_ranges: &data.intake_ranges,
            ambient_range: data.ambient_range(),
            ambient_known: self.complete(Channel::AmbientTemp),
            ambient_varied: data.ambient_varied,
            intake_ref: data.intake_ref,
            ambient_ref: data.ambient_ref,
            ambient_mean: data.ambient_mean,
            set_points: &data.set_points,
            gaps: data.intake_gaps(),
            kink: data.kink(),
            plateau_slope: PLATEAU_SLOPE_PER_K,
            blower_w: (0..data.levels.len()).map(|l| data.blower_w(l)).collect(),
            lift: data.lift.as_ref().map(|l| l.parts()),
            runs: { data.rows.iter() }
                .map(|r| (r.mode, r.level, r.intake, r.ambient, r.moisture, r.draw))
                .collect(),
            doubts: doubts(self.capacity.is_some_and(|(_, f)| f.data.sensible)),
            ramp_chance: ramp_chance(self.draw),
            control_note: control_note(seen_control(self.draw)),
            volts: volts(bench),
            instruments: bench.instruments.iter().filter_map(instrument).collect(),
            draw: fit(self.draw),
            capacity: self.capacity.map(|(kind, f)| CapacityModel {
                total: kind == CapacityKind::Total,
                fit: fit(f),
                shared: shared(bench, &f.data),
            }),
            supply: supply(bench, self.supply, self.level),
            units: Units::of(self.system),
        }
    }
}

/// The mean voltage by which a draw is voltage times current; none where the power has its own meter.
fn volts(bench: &Bench) -> Option<f64> {
    match bench.draw_parts(1.0).as_slice() {
        [(Channel::Voltage, volts, _), ..] => Some(*volts),
        _ => None,
    }
}

fn instrument(i: &crate::bench::Instrument) -> Option<InstrumentModel> {
    let of = |c| i.measures.contains(&c);
    let model = InstrumentModel {
        power: of(Channel::Power),
        voltage: of(Channel::Voltage),
        current: of(Channel::Current),
        intake: of(Channel::IntakeTemp),
        ambient: of(Channel::AmbientTemp),
        relative: i.accuracy.relative,
        absolute: i.accuracy.absolute,
        divisor: match i.read_as {
            AccuracyAs::Standard => 1.0,
            AccuracyAs::Limits => 1.0 / AccuracyAs::Limits.standard(1.0),
        },
    };
    i.shared.then_some(model)
}

fn shared(bench: &Bench, data: &DrawData) -> Vec<Vec<f64>> {
    let one = |mode, level| shared_capacity_u(bench, data, (mode, level)).unwrap_or_default();
    (0..data.modes.len())
        .map(|m| (0..data.levels.len()).map(|l| one(m, l)).collect())
        .collect()
}

fn fit(f: &DrawFit) -> FitModel {
    FitModel {
        typical_w: f.typical_draw_w,
        block_variance: f.block_variance,
        candidates: f.candidates.iter().map(candidate).collect(),
    }
}

fn candidate(c: &Candidate) -> CandidateModel {
    // Taken apart by name, so that a form with a new part does not compile until the page knows it.
    let DrawForm {
        groups,
        setting,
        intake,
        held,
        ambient,
        moisture,
        lift,
        scatter,
    } = &c.form;
    let (mut steps, mut corner, mut corner_span) = (None, None, None);
    let intake = match intake {
        IntakeForm::None => "none",
        IntakeForm::Common => "common",
        IntakeForm::ByGroup => "by-group",
        IntakeForm::ByFlow => "by-flow",
        IntakeForm::ByGroupAndFlow => "by-group-and-flow",
        IntakeForm::Quadratic => "quadratic",
        IntakeForm::QuadraticByGroup => "quadratic-by-group",
        IntakeForm::Kinked => "kinked",
        IntakeForm::KinkedByGroup => "kinked-by-group",
        IntakeForm::Terraced(mask) => {
            steps = Some(*mask);
            "terraced"
        }
        IntakeForm::Ramp(at) | IntakeForm::RampByGroup(at) => {
            corner = Some(at.intake_c());
            corner_span = Some(at.span_k());
            match (at.held, matches!(intake, IntakeForm::Ramp(_))) {
                (Held::Above, true) => "ramp-held-above",
                (Held::Below, true) => "ramp-held-below",
                (Held::Above, false) => "ramp-held-above-by-group",
                (Held::Below, false) => "ramp-held-below-by-group",
            }
        }
    };
    CandidateModel {
        weight: c.weight,
        groups: groups.clone(),
        setting: match setting {
            SettingForm::Flat => "flat",
            SettingForm::Cell => "cell",
            SettingForm::Additive => "additive",
            SettingForm::Power => "power",
            SettingForm::PowerByGroup => "power-by-group",
            SettingForm::Quadratic => "quadratic",
            SettingForm::QuadraticByGroup => "quadratic-by-group",
        },
        intake,
        held: match held {
            HeldSlope::Assumed => "assumed",
            HeldSlope::Common => "common",
            HeldSlope::ByGroup => "by-group",
            HeldSlope::ByFlow => "by-flow",
        },
        steps,
        corner,
        corner_span,
        ambient: *ambient == AmbientForm::Common,
        moisture: *moisture,
        lift: *lift,
        additive: *scatter == Scatter::Additive,
        coef: c.fit.coef.clone(),
        root: doubles(&c.fit.covariance_root()),
        pulls: { c.blocks.as_ref() }.map_or_else(String::new, |b| doubles(b.pulls())),
        sd: c.within_sd,
        dof: c.fit.dof().max(1) as f64,
    }
}

fn doubles(values: &[f64]) -> String {
    let bytes: Vec<u8> = values.iter().flat_map(|v| v.to_le_bytes()).collect();
    base64(&bytes)
}
