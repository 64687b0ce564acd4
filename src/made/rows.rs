//! From a true steady state to the row that a bench's instruments would have written.

use super::dice::Dice;
use super::model::{Steady, Surroundings, relative_humidity};
use serde::{Deserialize, Serialize};

/// What the instruments add to the truth. Biases are the same in every run; noise is fresh in each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensors {
    /// What repeats in every run.
    pub bias: Bias,
    /// Noise of a temperature reading averaged over a run, sd in K.
    pub temp_noise_k: f64,
    /// Noise of an airflow reading, relative sd.
    pub flow_noise: f64,
    /// Noise of a humidity reading, sd in % RH.
    pub rh_noise: f64,
    /// Smallest step of the temperature readings, K.
    pub temp_step: f64,
    /// Smallest step of the airflow readings, m³/h.
    pub flow_step: f64,
    /// Supply voltage at no load, V.
    pub supply_v: f64,
    /// Resistance of supply and leads, ohm.
    pub supply_ohm: f64,
}

/// Instrument errors shared by every run of a bench.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Bias {
    /// Power, relative.
    pub power: f64,
    /// Intake thermometer, K.
    pub intake_k: f64,
    /// Outlet thermometer, K.
    pub outlet_k: f64,
    /// Ambient thermometer, K.
    pub ambient_k: f64,
    /// Airflow, relative.
    pub flow: f64,
}

/// What a run is called and where it belongs.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// `cooling`, `fan-only` or `standby`.
    pub kind: &'static str,
    /// Empty for runs without a compressor.
    pub mode: String,
    /// Fan level as written; empty for standby.
    pub fan: String,
    /// Day.
    pub block: String,
}

/// One row of `points.csv`, as read.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What it is.
    pub label: Label,
    /// °C.
    pub intake_c: f64,
    /// % RH.
    pub intake_rh: f64,
    /// °C.
    pub outlet_c: f64,
    /// % RH.
    pub outlet_rh: f64,
    /// °C.
    pub ambient_c: f64,
    /// m³/h.
    pub airflow_m3h: f64,
    /// V.
    pub voltage_v: f64,
    /// A.
    pub current_a: f64,
    /// W.
    pub power_w: f64,
}

/// Which columns a bench's table has, beside those that it always has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Columns {
    /// Outlet temperature.
    pub outlet: bool,
    /// Outlet humidity.
    pub outlet_rh: bool,
    /// Voltage and current.
    pub volts_amps: bool,
    /// Power.
    pub power: bool,
}

fn to_step(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

impl Sensors {
    /// Reads a run: `scatter` is the run's own relative departure of the draw from the long-run mean.
    pub fn read(
        &self,
        dice: &mut Dice,
        label: Label,
        truth: &Steady,
        at: &Surroundings,
        m3h: f64,
        scatter: f64,
    ) -> Row {
        let temp = |dice: &mut Dice, true_c: f64, bias: f64| {
            to_step(
                true_c + bias + self.temp_noise_k * dice.normal(),
                self.temp_step,
            )
        };
        let rh = |dice: &mut Dice, t: f64, w: f64| {
            let true_rh = relative_humidity(t, w, at.pressure_pa);
            to_step(
                (true_rh + self.rh_noise * dice.normal()).clamp(1.0, 100.0),
                0.1,
            )
        };
        let intake_c = temp(dice, at.intake_c, self.bias.intake_k);
        let intake_rh = rh(dice, at.intake_c, at.intake_w);
        let outlet_c = temp(dice, truth.outlet_c, self.bias.outlet_k);
        let outlet_rh = rh(dice, truth.outlet_c, truth.outlet_w);
        let ambient_c = temp(dice, at.ambient_c, self.bias.ambient_k);
        let flow = m3h * (1.0 + self.bias.flow) * (1.0 + self.flow_noise * dice.normal());
        let power = truth.draw_w * (1.0 + scatter) * (1.0 + self.bias.power);
        let voltage_v = to_step(
            self.supply_v - self.supply_ohm * power / self.supply_v,
            0.01,
        );
        Row {
            label,
            intake_c,
            intake_rh,
            outlet_c,
            outlet_rh,
            ambient_c,
            airflow_m3h: to_step(flow, self.flow_step),
            voltage_v,
            current_a: to_step(power / voltage_v, 0.001),
            power_w: to_step(power, 0.1),
        }
    }
}

/// The rows, in the order in which they were run, as the text of a `points.csv`.
pub fn to_csv(rows: &[Row], columns: &Columns) -> String {
    let mut heading = vec![
        "run",
        "kind",
        "mode",
        "fan",
        "block",
        "order",
        "intake_temp [degC]",
        "intake_rh [%]",
    ];
    let optional = [
        (columns.outlet, "outlet_temp [degC]"),
        (columns.outlet_rh, "outlet_rh [%]"),
        (true, "ambient_temp [degC]"),
        (true, "airflow [m3/h]"),
        (columns.volts_amps, "voltage [V]"),
        (columns.volts_amps, "current [A]"),
        (columns.power, "power [W]"),
    ];
    heading.extend(
        optional
            .iter()
            .filter(|(there, _)| *there)
            .map(|(_, name)| *name),
    );
    let mut text = heading.join(",") + "\n";
    for (i, row) in rows.iter().enumerate() {
        let label = &row.label;
        let first = label.kind.chars().next().unwrap_or('r');
        let letter = if label.kind == "cooling" { 'r' } else { first };
        let standby = label.kind == "standby";
        let mut cells = vec![
            format!("{letter}{:02}", i + 1),
            label.kind.to_string(),
            label.mode.clone(),
            label.fan.clone(),
            label.block.clone(),
            (i + 1).to_string(),
            format!("{:.2}", row.intake_c),
            format!("{:.1}", row.intake_rh),
        ];
        let blank_at_standby = |text: String| if standby { String::new() } else { text };
        let optional = [
            (
                columns.outlet,
                blank_at_standby(format!("{:.2}", row.outlet_c)),
            ),
            (
                columns.outlet_rh,
                blank_at_standby(format!("{:.1}", row.outlet_rh)),
            ),
            (true, format!("{:.2}", row.ambient_c)),
            (true, blank_at_standby(format!("{:.1}", row.airflow_m3h))),
            (columns.volts_amps, format!("{:.2}", row.voltage_v)),
            (columns.volts_amps, format!("{:.3}", row.current_a)),
            (columns.power, format!("{:.1}", row.power_w)),
        ];
        cells.extend(
            optional
                .into_iter()
                .filter(|(there, _)| *there)
                .map(|(_, cell)| cell),
        );
        text.push_str(&cells.join(","));
        text.push('\n');
    }
    text
}
