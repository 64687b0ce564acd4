//! The answer that goes with a made bench. Its JSON is also the form of the practice benches' `truth.json`.

use super::rows::Bias;
use serde::{Deserialize, Serialize};

/// What is true of a made bench.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// The kind of bench, as in `independent-ramp`.
    pub kind: String,
    /// What a perfect analysis would say: `coupled`, `independent`, or `undecided` where the runs cannot tell.
    /// `weak` stands for a coupling so slight that `coupled` and `undecided` are both right, and only `independent` is wrong.
    pub verdict: String,
    /// d ln(compressor-side draw) / d ln(airflow), the median over tested modes and intakes of the slope over all levels.
    pub elasticity: f64,
    /// Names of the modes.
    pub modes: Vec<String>,
    /// Number of fan levels.
    pub levels: usize,
    /// Intake temperatures that were set, °C.
    pub temps: Vec<f64>,
    /// Runs of each setting and intake.
    pub reps: usize,
    /// Relative run-to-run standard deviation of the draw.
    pub run_sd: f64,
    /// Whether the control steps within 3 K beyond the tested intakes and nowhere among them: its runs are those of a fixed speed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub hidden_step: bool,
    /// The elasticity of each mode; empty where not recorded.
    #[serde(default)]
    pub per_mode: Vec<ModeTruth>,
    /// Instrument errors shared by all runs; only made benches of our own carry them in this form.
    #[serde(default, skip_deserializing)]
    pub bias: Bias,
    /// Conditions to predict.
    pub targets: Vec<Target>,
}

/// What is true of one mode.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModeTruth {
    /// The mode.
    pub mode: String,
    /// `coupled` or `independent`.
    pub verdict: String,
    /// As in [`Truth::elasticity`], for this mode alone.
    pub elasticity: f64,
}

/// A condition to predict, with the answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Target {
    /// Mode.
    pub mode: String,
    /// Fan level, 1 for the lowest.
    pub fan: usize,
    /// True intake temperature, °C.
    pub intake_c: f64,
    /// True ambient temperature, °C: the mean of the runs' recorded values.
    pub ambient_c: f64,
    /// `inside` the tested intake range or `outside` it.
    #[serde(rename = "where")]
    pub place: String,
    /// Long-run mean draw, W.
    pub mean_w: f64,
    /// The draw of one further run, W, as a perfect meter reads it.
    pub new_run_w: f64,
    /// Total capacity, W, the blower's heat taken off.
    pub capacity_w: f64,
    /// Its sensible part, W.
    pub sensible_w: f64,
}

impl Truth {
    /// The truth as JSON text.
    ///
    /// # Errors
    /// When serialisation fails, which no value of this type brings about.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self).map(|text| text + "\n")
    }

    /// Reads a truth file's text.
    ///
    /// # Errors
    /// When the text is not JSON or lacks a field.
    pub fn from_json(text: &str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(text)
    }
}
