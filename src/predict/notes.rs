//! What a reader of a prediction must be told.

use crate::bench::Bench;
use crate::fit::candidates::DrawFit;
use crate::fit::forms::DrawData;
use crate::quantity::{Dimension, System};

use super::{AmbientStep, Prediction, SeenControl};

/// A spread of ambient temperatures that counts as varied on purpose, K. Common practice, no source.
const AMBIENT_VARIED_K: f64 = 5.0;

/// Distances that round to nothing are not worth a note, K.
const SHOWN_BEYOND_K: f64 = 0.05;

/// Notes on one prediction, in the reader's units: distance beyond the tested range, settings never tested.
pub fn prediction_notes(data: &DrawData, p: &Prediction, system: System) -> Vec<String> {
    let mut notes = Vec::new();
    if p.intake_beyond_k > SHOWN_BEYOND_K {
        let (low, high) = data.intake_range(p.at.mode);
        notes.push(format!(
            "{} beyond the tested intake range of {}; the interval is widened for a curve that bends and a control that clips.",
            distance(p.intake_beyond_k, system),
            range(low, high, system)
        ));
    }
    if p.intake_beyond_k <= SHOWN_BEYOND_K {
        let note = control_note(p.control);
        notes.extend(note.map(str::to_owned));
    }
    if let Some(step) = &p.assumed {
        notes.push(assumed_note("draw", step, p.at.ambient, system));
    } else if p.ambient_beyond_k > SHOWN_BEYOND_K {
        let (low, high) = data.ambient_range();
        notes.push(format!(
            "{} beyond the ambient range of the runs, {}.",
            distance(p.ambient_beyond_k, system),
            range(low, high, system)
        ));
    }
    if !p.setting_tested {
        notes.push(
            "This setting was never tested; it is read off curves through other settings."
                .to_owned(),
        );
    }
    notes
}

/// Says that runs stand apart, which widens every interval; nothing where none does.
pub fn apart_note(bench: &Bench, fit: &DrawFit) -> Option<String> {
    let apart = fit.runs_apart();
    let names: Vec<&str> = { apart.iter() }
        .filter_map(|(point, _)| Some(bench.points.get(*point)?.run.as_str()))
        .collect();
    match names.as_slice() {
        [] => None,
        [one] => Some(format!(
            "Run {one} stands apart from the curve. It is kept, and widens every interval: look it up in the notes, and repeat it. `check` says by how much."
        )),
        [head @ .., last] => Some(format!(
            "Runs {} and {last} stand apart from the curve. They are kept, and widen every interval: look them up in the notes, and repeat them. `check` says by how much.",
            head.join(", ")
        )),
    }
}

/// What to say of a control between the tested intakes; nothing of one that does what a fixed speed would.
pub fn control_note(control: SeenControl) -> Option<&'static str> {
    match control {
        SeenControl::Fixed => None,
        SeenControl::Follows => Some(
            "The draw changes so steeply with the intake that the control seems to follow it, smoothly as far as the runs show.",
        ),
        SeenControl::Steps => Some(
            "The control seems to step between tested intakes. Where it does was not seen, so between them the interval holds both sides of the step.",
        ),
    }
}

/// Says that a figure (`draw` or `capacity`) was carried to an ambient by assumption, and by which.
pub fn assumed_note(figure: &str, step: &AmbientStep, ambient_c: f64, system: System) -> String {
    let per_k = |slope: f64| {
        // A slope for each kelvin; for each degree Fahrenheit it is smaller.
        let scale = match system {
            System::Si => 1.0,
            System::Us => system.convert(Dimension::TemperatureDifference, 1.0),
        };
        100.0 * slope / scale
    };
    let side = if figure == "draw" {
        "the compressor side's draw"
    } else {
        "the capacity"
    };
    format!(
        "Assumed, not measured: the {figure} at {} ambient takes {side} to change by {:+.2} to {:+.2} % for each {} beyond {}, over {}.",
        temperature(ambient_c, system),
        per_k(step.slope.low),
        per_k(step.slope.high),
        match system {
            System::Si => "kelvin",
            System::Us => "degF",
        },
        temperature(step.from_c, system),
        distance(step.distance_k.abs(), system),
    )
}

/// What to say about ambient for a whole set of predictions; `asked` is the ambient asked for, if any.
pub fn ambient_caution(
    data: &DrawData,
    asked: Option<f64>,
    warmest_intake: f64,
    system: System,
) -> Vec<String> {
    let mut notes = Vec::new();
    let (low, high) = data.ambient_range();
    let recorded = data.ambient_varied || high > low;
    if !recorded && !data.ambient_varied {
        notes.push("Ambient (condenser-side) air was not recorded or never varied. A hot day is not covered: compressor draw typically rises 1.4 to 2.4 % for each kelvin of condenser-side air at fixed speed.".to_owned());
        return notes;
    }
    if asked.is_none() {
        notes.push(format!(
            "No ambient was asked for, so these are for the runs' mean ambient, {}.",
            temperature(data.ambient_mean, system)
        ));
    }
    let narrow = high - low < AMBIENT_VARIED_K;
    let (_, tested_high) = data
        .rows
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), r| {
            (a.min(r.intake), b.max(r.intake))
        });
    if narrow
        && (asked.is_some_and(|a| a > high + 0.5 || a < low - 0.5) || warmest_intake > tested_high)
    {
        notes.push(format!(
            "Ambient air stayed within {} in the runs. A hot day warms the condenser side too, and draw typically rises 1.4 to 2.4 % for each kelvin of it at fixed speed (published curve sets): runs at a warmer ambient would be needed to say.",
            range(low, high, system)
        ));
    }
    notes
}

fn temperature(v: f64, system: System) -> String {
    system.shown(Dimension::Temperature, v, 1)
}

fn range(low: f64, high: f64, system: System) -> String {
    system.range(Dimension::Temperature, low, high, 1)
}

fn distance(v: f64, system: System) -> String {
    system.shown(Dimension::TemperatureDifference, v, 1)
}
