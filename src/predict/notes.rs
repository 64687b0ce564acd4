//! What a reader of a prediction must be told.

use crate::fit::forms::DrawData;

use super::Prediction;

/// A spread of ambient temperatures that counts as varied on purpose, K. Common practice, no source.
const AMBIENT_VARIED_K: f64 = 5.0;

/// Notes on one prediction: distance beyond the tested range, settings never tested.
pub fn prediction_notes(data: &DrawData, p: &Prediction) -> Vec<String> {
    let mut notes = Vec::new();
    if p.intake_beyond_k > 0.0 {
        let (low, high) = data.intake_range(p.at.mode);
        notes.push(format!(
            "{:.1} K beyond the tested intake range of {low:.1} to {high:.1} degC; the interval is widened for a curve that bends and a control that clips.",
            p.intake_beyond_k
        ));
    }
    if p.intake_beyond_k <= 0.0 && p.control_follows_intake {
        notes.push("The draw changes so steeply with the intake that the control seems to follow it. Between tested intakes this assumes that it does so smoothly; a control that steps would jump somewhere between.".to_owned());
    }
    if p.ambient_beyond_k > 0.0 {
        let (low, high) = data.ambient_range();
        notes.push(format!(
            "{:.1} K beyond the ambient range of the runs, {low:.1} to {high:.1} degC.",
            p.ambient_beyond_k
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

/// What to say about ambient for a whole set of predictions; `asked` is the ambient asked for, if any.
pub fn ambient_caution(data: &DrawData, asked: Option<f64>, warmest_intake: f64) -> Vec<String> {
    let mut notes = Vec::new();
    let (low, high) = data.ambient_range();
    let recorded = data.ambient_varied || high > low;
    if !recorded && !data.ambient_varied {
        notes.push("Ambient (condenser-side) air was not recorded or never varied. A hot day is not covered: compressor draw typically rises 1.4 to 2.4 % for each kelvin of condenser-side air at fixed speed.".to_owned());
        return notes;
    }
    if asked.is_none() {
        notes.push(format!(
            "No ambient was asked for, so these are for the runs' mean ambient, {:.1} degC.",
            data.ambient_mean
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
            "Ambient air stayed within {low:.1} to {high:.1} degC in the runs. A hot day warms the condenser side too, and draw typically rises 1.4 to 2.4 % for each kelvin of it at fixed speed (published curve sets): runs at a warmer ambient would be needed to say."
        ));
    }
    notes
}
