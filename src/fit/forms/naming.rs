//! What a form and its parameters are called.

use super::data::DrawData;
use super::draw::{
    AmbientForm, Corner, DrawForm, Held, HeldSlope, IntakeForm, Scatter, SettingForm,
};

impl DrawForm {
    /// Names of the columns, in words, in the order of [`DrawForm::row`].
    pub fn names(&self, data: &DrawData) -> Vec<String> {
        let g = self.group_count();
        let group = |i: usize| self.group_name(data, i);
        let level = |i: usize| data.levels.get(i).map_or("", |l| l.label.as_str());
        let mut names: Vec<String> = Vec::new();
        match self.setting {
            SettingForm::Flat => {
                names.extend((0..g).map(|i| format!("ln {}, {}", data.response, group(i))));
            }
            SettingForm::Cell => names.extend(
                self.cells(data)
                    .into_iter()
                    .map(|(i, l)| format!("ln {}, {}, fan {}", data.response, group(i), level(l))),
            ),
            SettingForm::Additive => {
                names.extend((0..g).map(|i| format!("ln {}, {}", data.response, group(i))));
                names.extend(
                    self.used_levels(data)
                        .into_iter()
                        .skip(1)
                        .map(|l| format!("fan {} over the lowest", level(l))),
                );
            }
            _ => {
                names.extend((0..g).map(|i| format!("ln {}, {}", data.response, group(i))));
                let by_group = matches!(
                    self.setting,
                    SettingForm::PowerByGroup | SettingForm::QuadraticByGroup
                );
                let curved = matches!(
                    self.setting,
                    SettingForm::Quadratic | SettingForm::QuadraticByGroup
                );
                if by_group {
                    names.extend((0..g).map(|i| format!("exponent of airflow, {}", group(i))));
                } else {
                    names.push("exponent of airflow".to_owned());
                }
                if curved && by_group {
                    names.extend((0..g).map(|i| format!("bend with airflow, {}", group(i))));
                } else if curved {
                    names.push("bend with airflow".to_owned());
                }
            }
        }
        match self.held {
            HeldSlope::Assumed => {}
            HeldSlope::Common => names.push("slope with intake".to_owned()),
            HeldSlope::ByGroup => {
                names.extend((0..g).map(|i| format!("slope with intake, {}", group(i))));
            }
            HeldSlope::ByFlow => names.extend([
                "slope with intake".to_owned(),
                "change of that slope with ln airflow".to_owned(),
            ]),
        }
        match self.intake {
            IntakeForm::None => {}
            IntakeForm::Common
            | IntakeForm::ByFlow
            | IntakeForm::Quadratic
            | IntakeForm::Kinked => names.push("slope with intake".to_owned()),
            IntakeForm::ByGroup
            | IntakeForm::ByGroupAndFlow
            | IntakeForm::QuadraticByGroup
            | IntakeForm::KinkedByGroup => {
                names.extend((0..g).map(|i| format!("slope with intake, {}", group(i))));
            }
            IntakeForm::Terraced(_) => names.extend(
                self.stepped_gaps(data)
                    .map(|(a, b)| format!("step between {a:.1} and {b:.1} degC intake")),
            ),
            IntakeForm::Ramp(corner) => names.push(ramp_name(corner)),
            IntakeForm::RampByGroup(corner) => {
                names.extend((0..g).map(|i| format!("{}, {}", ramp_name(corner), group(i))));
            }
        }
        if matches!(self.intake, IntakeForm::ByFlow | IntakeForm::ByGroupAndFlow) {
            names.push("change of that slope with ln airflow".to_owned());
        }
        if matches!(
            self.intake,
            IntakeForm::Quadratic | IntakeForm::QuadraticByGroup
        ) {
            names.push("bend with intake".to_owned());
        }
        if matches!(self.intake, IntakeForm::Kinked | IntakeForm::KinkedByGroup) {
            names.push("change of slope above the kink".to_owned());
        }
        if self.ambient == AmbientForm::Common {
            names.push("slope with ambient".to_owned());
        }
        if self.moisture {
            names.push("slope with wet bulb beyond its usual".to_owned());
        }
        names
    }

    /// Units of the parameters, in the order of [`DrawForm::names`]; `1` where there is none.
    pub fn units(&self, data: &DrawData) -> Vec<&'static str> {
        self.names(data)
            .iter()
            .map(|n| {
                if n.starts_with("ln ") {
                    "ln W"
                } else if n.starts_with("bend with intake") {
                    "1/K2"
                } else if n.starts_with("slope")
                    || n.starts_with("change of that slope")
                    || n.starts_with("change of slope")
                {
                    "1/K"
                } else {
                    "1"
                }
            })
            .collect()
    }

    /// A group's modes in words.
    pub fn group_name(&self, data: &DrawData, group: usize) -> String {
        if self.group_count() == 1 {
            return if data.modes.len() > 1 {
                "all modes".to_owned()
            } else {
                "all runs".to_owned()
            };
        }
        let members: Vec<&str> = data
            .modes
            .iter()
            .zip(&self.groups)
            .filter(|(_, g)| **g == group)
            .map(|(m, _)| m.as_str())
            .collect();
        // A mode may itself be called `a + b`; then the members of a group are quoted.
        if members.len() > 1 && data.modes.iter().any(|m| m.contains(" + ")) {
            return format!("“{}”", members.join("” + “"));
        }
        members.join(" + ")
    }

    /// The form in a line of words.
    pub fn words(&self, data: &DrawData) -> String {
        let modes = if data.modes.len() < 2 {
            String::new()
        } else if self.group_count() == 1 {
            ", modes alike".to_owned()
        } else if self.group_count() == data.modes.len() {
            ", modes apart".to_owned()
        } else {
            let groups: Vec<String> = (0..self.group_count())
                .map(|i| self.group_name(data, i))
                .collect();
            format!(", modes as {}", groups.join(" | "))
        };
        let setting = match self.setting {
            SettingForm::Flat => "one value",
            SettingForm::Cell => "a value for each setting",
            SettingForm::Additive => "a value for each fan level",
            SettingForm::Power => "a power of airflow",
            SettingForm::PowerByGroup => "a power of airflow for each mode",
            SettingForm::Quadratic => "a bent power of airflow",
            SettingForm::QuadraticByGroup => "a bent power of airflow for each mode",
        };
        let intake = match self.intake {
            IntakeForm::None => "",
            IntakeForm::Common => "; one intake slope",
            IntakeForm::ByGroup => "; intake slope by mode",
            IntakeForm::ByFlow => "; intake slope growing with airflow",
            IntakeForm::ByGroupAndFlow => "; intake slope by mode and airflow",
            IntakeForm::Quadratic => "; bent with intake",
            IntakeForm::QuadraticByGroup => "; bent with intake, slope by mode",
            IntakeForm::Kinked => "; kinked with intake",
            IntakeForm::KinkedByGroup => "; kinked with intake, slope by mode",
            IntakeForm::Terraced(_) => "; stepped with intake",
            IntakeForm::Ramp(corner) => match corner.held {
                Held::Above => "; ramp with intake to a top speed",
                Held::Below => "; ramp with intake from a lowest speed",
            },
            IntakeForm::RampByGroup(corner) => match corner.held {
                Held::Above => "; ramp with intake to a top speed, slope by mode",
                Held::Below => "; ramp with intake from a lowest speed, slope by mode",
            },
        };
        let held = match self.held {
            HeldSlope::Assumed => "",
            HeldSlope::Common => ", held speed with a slope",
            HeldSlope::ByGroup => ", held speed with a slope by mode",
            HeldSlope::ByFlow => ", held speed with a slope growing with airflow",
        };
        let lift = if self.lift { "; times the lift" } else { "" };
        let ambient = match self.ambient {
            AmbientForm::None => "",
            AmbientForm::Common => "; ambient slope",
        };
        let moisture = if self.moisture {
            "; humidity slope"
        } else {
            ""
        };
        let scatter = match self.scatter {
            Scatter::Proportional => "",
            Scatter::Additive => "; scatter in watts",
        };
        format!("{setting}{modes}{intake}{held}{lift}{ambient}{moisture}{scatter}")
    }
}

fn ramp_name(corner: Corner) -> String {
    let side = match corner.held {
        Held::Above => "up to",
        Held::Below => "from",
    };
    format!("slope with intake {side} {:.1} degC", corner.intake_c())
}
