//! A fitted form as equations that can be pasted into a spreadsheet or a paper.
//!
//! Every number stands in the text; names carry their units: `flow_m3h`, `intake_degC`, `ambient_degC`, `draw_W`.

use super::data::{At, DrawData, FlowScale, Level};
use super::draw::{
    AmbientForm, DrawForm, Held, HeldSlope, IntakeForm, PLATEAU_SLOPE_PER_K, SettingForm,
};

/// An equation and where it holds.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Equation {
    /// The modes it is for.
    pub modes: String,
    /// The fan levels it is for.
    pub fan: String,
    /// The equation.
    pub text: String,
}

/// Digits after the decimal point of coefficients in an exponent: 1e-7 of ln W is 1e-5 % of the draw.
const DECIMALS: usize = 7;

impl DrawForm {
    /// The fitted form as one equation for each setting or, where the form knows airflow, for each group of modes.
    /// `coef` stands in the order of [`DrawForm::names`].
    pub fn equations(&self, data: &DrawData, coef: &[f64]) -> Vec<Equation> {
        let by_flow = matches!(
            self.setting,
            SettingForm::Power
                | SettingForm::PowerByGroup
                | SettingForm::Quadratic
                | SettingForm::QuadraticByGroup
        );
        // The lift and the blower differ by setting, so one equation a setting is needed then.
        let smooth =
            by_flow && !self.lift && data.blower.is_none() && data.flow_scale == FlowScale::Airflow;
        let mut list = Vec::new();
        for group in 0..self.group_count() {
            let Some(mode) = self.groups.iter().position(|g| *g == group) else {
                continue;
            };
            if smooth {
                if let Some(text) = self.flow_equation(data, coef, mode) {
                    list.push(Equation {
                        modes: self.group_name(data, group),
                        fan: "all".to_owned(),
                        text,
                    });
                }
                continue;
            }
            for (m, name) in data
                .modes
                .iter()
                .enumerate()
                .filter(|(m, _)| self.groups.get(*m) == Some(&group))
            {
                // Without the lift, modes of a group share their equations.
                if !self.lift && m != mode {
                    continue;
                }
                let modes = if self.lift {
                    name.clone()
                } else {
                    self.group_name(data, group)
                };
                for (level, l) in data.levels.iter().enumerate() {
                    let tested =
                        data.tested.iter().zip(&self.groups).any(|(runs, g)| {
                            *g == group && runs.get(level).is_some_and(|n| *n > 0)
                        });
                    if !tested {
                        continue;
                    }
                    if let Some(text) = self.setting_equation(data, coef, m, level) {
                        list.push(Equation {
                            modes: modes.clone(),
                            fan: l.label.clone(),
                            text,
                        });
                    }
                }
            }
        }
        list
    }

    fn left_side(data: &DrawData) -> String {
        format!("{}_W", data.response)
    }

    /// One setting: everything but the conditions folded into a constant.
    fn setting_equation(
        &self,
        data: &DrawData,
        coef: &[f64],
        mode: usize,
        level: usize,
    ) -> Option<String> {
        let at = |t: f64, a: f64| At::new(mode, level, data.intake_ref + t, data.ambient_ref + a);
        let value = |t: f64, a: f64| {
            Some(
                self.row(data, &at(t, a))?
                    .iter()
                    .zip(coef)
                    .map(|(r, c)| r * c)
                    .sum::<f64>(),
            )
        };
        let bend = self
            .names(data)
            .iter()
            .position(|n| n == "bend with intake")
            .and_then(|i| coef.get(i).copied())
            .unwrap_or(0.0);
        let kink = self
            .names(data)
            .iter()
            .position(|n| n == KINK)
            .and_then(|i| coef.get(i).copied())
            .unwrap_or(0.0);
        let above = |t: f64| {
            data.kink()
                .map_or(0.0, |k| (data.intake_ref + t - k).max(0.0))
        };
        let control = self.control(data, coef);
        let ramp = self.ramp(data, coef, mode);
        let controlled = |t: f64| match ramp {
            Some((slope, corner)) => {
                slope * (corner.split(data.intake_ref + t).0 - data.intake_ref)
            }
            None => { self.stepped_gaps(data).zip(control) }
                .map(|((a, b), s)| s * ((data.intake_ref + t - a) / (b - a)).clamp(0.0, 1.0))
                .sum(),
        };
        // What is left without bend, kink and control is linear in intake and ambient.
        let straight = |t: f64, a: f64| {
            let bent = bend * data.bend(data.intake_ref + t) + kink * above(t);
            Some(value(t, a)? - bent - controlled(t))
        };
        let constant = straight(0.0, 0.0)?;
        let slope = straight(1.0, 0.0)? - constant;
        let ambient = straight(0.0, 1.0)? - constant;
        let mut exponent = format!("{constant:.DECIMALS$}");
        let straight_slope = self.intake != IntakeForm::None && !self.intake.is_control();
        if straight_slope || self.held != HeldSlope::Assumed {
            exponent.push_str(&signed(
                slope,
                &format!("(intake_degC{})", less(data.intake_ref)),
            ));
        }
        if matches!(
            self.intake,
            IntakeForm::Quadratic | IntakeForm::QuadraticByGroup
        ) {
            exponent.push_str(&signed(bend, &bend_text(data)));
        }
        if matches!(self.intake, IntakeForm::Kinked | IntakeForm::KinkedByGroup) {
            exponent.push_str(&signed(kink, &kink_text(data)?));
        }
        exponent.push_str(&self.control_text(data, coef, mode));
        if self.ambient == AmbientForm::Common {
            exponent.push_str(&signed(
                ambient,
                &format!("(ambient_degC{})", less(data.ambient_ref)),
            ));
        }
        let mut right = format!("exp({exponent})");
        if self.lift {
            right = format!("{}*{right}", data.lift.as_ref()?.equation(mode, level)?);
        }
        if data.blower.is_some() {
            right = format!("{:.4} + {right}", data.blower_w(level));
        }
        Some(format!("{} = {right}", Self::left_side(data)))
    }

    /// A group of modes, with the airflow as a variable.
    fn flow_equation(&self, data: &DrawData, coef: &[f64], mode: usize) -> Option<String> {
        // A level at which no column of the group vanishes.
        let off_centre = |l: &Level| l.x.is_some_and(|x| x != 0.0);
        let level = data.levels.iter().position(off_centre)?;
        let names = self.names(data);
        let row = self.row(
            data,
            &At {
                moisture: 1.0,
                ..At::new(mode, level, data.intake_ref + 1.0, data.ambient_ref + 1.0)
            },
        )?;
        // Back from the logarithm; the centre was rounded to three digits.
        let centre = (data.levels.get(level)?.flow?.ln() - data.levels.get(level)?.x?).exp();
        let centre = format!("{centre:.9}")
            .trim_end_matches('0')
            .trim_end_matches('.')
            .to_owned();
        let x = format!("ln(flow_m3h/{centre})");
        let t = format!("(intake_degC{})", less(data.intake_ref));
        let a = format!("(ambient_degC{})", less(data.ambient_ref));
        let mut exponent = String::new();
        let control = self.control(data, coef);
        for ((name, c), r) in names.iter().zip(coef).zip(&row) {
            let factor = if name.starts_with("ln ") {
                if *r == 0.0 {
                    continue;
                }
                exponent.push_str(&format!("{c:.DECIMALS$}"));
                continue;
            } else if name.starts_with("exponent of airflow") {
                x.clone()
            } else if name.starts_with("bend with airflow") {
                format!("{x}^2")
            } else if !control.is_empty() && is_control(name) {
                continue;
            } else if name.starts_with("slope with intake") {
                t.clone()
            } else if name.starts_with("change of that slope") {
                format!("{t}*{x}")
            } else if name.starts_with("bend with intake") {
                bend_text(data)
            } else if name == KINK {
                kink_text(data)?
            } else if name.starts_with("slope with wet bulb") {
                // Zero at the usual humidity, for which the equation stands.
                continue;
            } else {
                a.clone()
            };
            // A column of another group is zero here; what names no group is everybody's.
            let own = *r != 0.0 || !name.contains(", ");
            if own {
                exponent.push_str(&signed(*c, &factor));
            }
        }
        exponent.push_str(&self.control_text(data, coef, mode));
        Some(format!("{} = exp({exponent})", Self::left_side(data)))
    }

    /// A control's steps or ramp in text, with the slope of a held speed.
    fn control_text(&self, data: &DrawData, coef: &[f64], mode: usize) -> String {
        let mut text = String::new();
        let reference = less(data.intake_ref);
        if let Some((slope, corner)) = self.ramp(data, coef, mode) {
            let c = corner.intake_c();
            let (ramped, beyond) = match corner.held {
                Held::Above => ("min", "max"),
                Held::Below => ("max", "min"),
            };
            let ramp = format!("({ramped}(intake_degC,{c}){reference})");
            text.push_str(&signed(slope, &ramp));
            let held = format!("{beyond}(0,intake_degC{})", less(c));
            text.push_str(&signed(PLATEAU_SLOPE_PER_K, &held));
        } else if self.intake.is_control() {
            for ((a, b), step) in self.stepped_gaps(data).zip(self.control(data, coef)) {
                // It lies somewhere in its gap, and on average that is a ramp across it.
                let ramp = format!("max(0,min(1,(intake_degC{})/{:.1}))", less(a), b - a);
                text.push_str(&signed(*step, &ramp));
            }
            let held = format!("(intake_degC{reference})");
            text.push_str(&signed(PLATEAU_SLOPE_PER_K, &held));
        }
        text
    }
}

/// Whether a column is a control's, as [`DrawForm::names`] names it.
fn is_control(name: &str) -> bool {
    [
        "step between",
        "slope with intake up to",
        "slope with intake from",
    ]
    .iter()
    .any(|start| name.starts_with(start))
}

/// The name of the kink's column, as [`DrawForm::names`] gives it.
const KINK: &str = "change of slope above the kink";

/// The kink in text.
fn kink_text(data: &DrawData) -> Option<String> {
    Some(format!("max(0, intake_degC{})", less(data.kink()?)))
}

/// The bend in text: a square within the tested intake, its tangent beyond.
fn bend_text(data: &DrawData) -> String {
    let (low, high) = data.whole_intake_range();
    let r = less(data.intake_ref);
    let held = format!("(max({low},min({high},intake_degC)){r})");
    format!("(2*{held}*(intake_degC{r}) - {held}^2)")
}

/// A number taken off: ` - 26.9`, and ` + 7.1` for -7.1.
fn less(v: f64) -> String {
    let sign = if v < 0.0 { '+' } else { '-' };
    format!(" {sign} {}", v.abs())
}

fn signed(c: f64, factor: &str) -> String {
    let sign = if c < 0.0 { '-' } else { '+' };
    format!(" {sign} {:.DECIMALS$}*{factor}", c.abs())
}
