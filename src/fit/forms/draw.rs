//! A form for the draw: setting × intake × ambient × scatter, linear in its parameters on a logarithmic scale.
//!
//! With the blower's own draw B known by level, ln(P − B) is the response, otherwise ln P. The scatter
//! enters as weights, so that forms with proportional and with additive scatter are compared on the draw's own scale.

use super::data::{At, DrawData};

/// How the form depends on the setting. "Group" is a set of modes taken to be the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SettingForm {
    /// One value for all settings of a group.
    Flat,
    /// A value for each tested group and fan level.
    Cell,
    /// A value for each group plus one for each fan level.
    Additive,
    /// A value for each group, times airflow to one common power.
    Power,
    /// A value and a power of airflow for each group.
    PowerByGroup,
    /// A value for each group, times a common curve in airflow, quadratic in logarithms.
    Quadratic,
    /// A value for each group, times a curve in airflow of its own, quadratic in logarithms.
    QuadraticByGroup,
}

/// How the form depends on the intake temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum IntakeForm {
    /// Not at all.
    None,
    /// One slope.
    Common,
    /// A slope for each group.
    ByGroup,
    /// A slope that grows or falls with airflow.
    ByFlow,
    /// A slope for each group, all growing alike with airflow.
    ByGroupAndFlow,
    /// One slope and one bend.
    Quadratic,
    /// A slope for each group and one bend.
    QuadraticByGroup,
    /// One slope below the middle set point and another above it.
    Kinked,
    /// A slope for each group, and one common change of slope at the middle set point.
    KinkedByGroup,
    /// Plateaus with a step somewhere in each of some gaps between set points (bit by bit, the coldest gap first): a control that steps.
    /// On the plateaus a fixed-speed compressor's own slope.
    Terraced(u8),
    /// One slope up to a corner, or from a corner on, and a fixed-speed compressor's own slope on the other side: a control that ramps
    /// between its lowest and its highest speed.
    Ramp(Corner),
    /// The same with a slope for each group.
    RampByGroup(Corner),
}

impl IntakeForm {
    /// The corner of a ramp; none for other forms.
    pub fn corner(&self) -> Option<Corner> {
        match self {
            Self::Ramp(corner) | Self::RampByGroup(corner) => Some(*corner),
            _ => None,
        }
    }

    /// Whether it describes a control that follows the intake: one that steps or ramps.
    pub fn is_control(&self) -> bool {
        matches!(self, Self::Terraced(_)) || self.corner().is_some()
    }
}

/// Where a control's ramp with intake ends or begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Corner {
    /// Intake of the corner, tenths of degC.
    pub tenths: i32,
    /// Which side of it is held at one speed.
    pub held: Held,
    /// Length of the stretch of intakes for which it stands, tenths of K: the corner may lie anywhere in it.
    pub span: i32,
}

/// The side of a corner on which the speed is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Held {
    /// Warmer: the highest speed is reached.
    Above,
    /// Colder: the lowest speed is not left yet.
    Below,
}

impl Corner {
    /// Intake of the corner, degC.
    pub fn intake_c(&self) -> f64 {
        f64::from(self.tenths) / 10.0
    }

    /// Length of the stretch of intakes for which it stands, K.
    pub fn span_k(&self) -> f64 {
        f64::from(self.span) / 10.0
    }

    /// The intake as the ramp sees it, and how far the held side is entered (K, negative below), at an intake in degC.
    pub(super) fn split(&self, intake: f64) -> (f64, f64) {
        let c = self.intake_c();
        let ramped = match self.held {
            Held::Above => intake.min(c),
            Held::Below => intake.max(c),
        };
        (ramped, intake - ramped)
    }
}

/// Slope of ln(draw) with intake where [`IntakeForm::Terraced`] and [`IntakeForm::Ramp`] hold the speed, 1/K: the middle of what fixed-speed compressors do (−0.02 to +0.7 %
/// per K of entering wet bulb, curve sets of NREL/TP-5500-56354, evaluated; Carnot work at held ambient down to about −1.5 % per K).
/// Fitted only where [`HeldSlope`] asks for it: within a set point the intake hardly moves.
pub const PLATEAU_SLOPE_PER_K: f64 = -0.002;

/// How the draw follows the intake while a control that steps or ramps holds the speed; other forms have no such part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum HeldSlope {
    /// As [`PLATEAU_SLOPE_PER_K`] says.
    Assumed,
    /// One slope, fitted: how far it departs from the assumed.
    Common,
    /// One for each group.
    ByGroup,
    /// One that grows or falls with airflow.
    ByFlow,
}

/// How the form depends on the ambient temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum AmbientForm {
    /// Not at all (beyond the lift, where that is in the form).
    None,
    /// One slope.
    Common,
}

/// How the scatter between runs behaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scatter {
    /// A share of the draw.
    Proportional,
    /// The same number of watts at every draw.
    Additive,
}

/// A form for the draw.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawForm {
    /// Group of each mode; groups count from zero without gaps.
    pub groups: Vec<usize>,
    /// Dependence on the setting.
    pub setting: SettingForm,
    /// Dependence on the intake temperature.
    pub intake: IntakeForm,
    /// Dependence on the intake temperature at a speed that a control holds.
    pub held: HeldSlope,
    /// Dependence on the ambient temperature.
    pub ambient: AmbientForm,
    /// Whether the intake's humidity has a slope: see [`DrawRow::moisture`](super::DrawRow::moisture).
    pub moisture: bool,
    /// Whether ln(lift) is added, so that the draw bends as Carnot work does.
    pub lift: bool,
    /// Behaviour of the scatter.
    pub scatter: Scatter,
}

impl DrawForm {
    /// Number of groups of modes.
    pub fn group_count(&self) -> usize {
        self.groups.iter().max().map_or(0, |g| g + 1)
    }

    fn group(&self, mode: usize) -> usize {
        self.groups.get(mode).copied().unwrap_or(0)
    }

    /// Runs of a group at a level.
    fn tested(&self, data: &DrawData, group: usize, level: usize) -> bool {
        data.tested
            .iter()
            .zip(&self.groups)
            .any(|(runs, g)| *g == group && runs.get(level).is_some_and(|n| *n > 0))
    }

    pub(super) fn cells(&self, data: &DrawData) -> Vec<(usize, usize)> {
        (0..self.group_count())
            .flat_map(|g| (0..data.levels.len()).map(move |l| (g, l)))
            .filter(|(g, l)| self.tested(data, *g, *l))
            .collect()
    }

    pub(super) fn used_levels(&self, data: &DrawData) -> Vec<usize> {
        (0..data.levels.len())
            .filter(|l| {
                data.tested
                    .iter()
                    .any(|m| m.get(*l).is_some_and(|n| *n > 0))
            })
            .collect()
    }

    /// The design row at a setting and conditions; `None` where the form says nothing about it
    /// (a cell never tested, a level of unknown airflow).
    pub fn row(&self, data: &DrawData, at: &At) -> Option<Vec<f64>> {
        let g = self.group_count();
        let group = self.group(at.mode);
        let mut row = Vec::with_capacity(24);
        let one_of = |row: &mut Vec<f64>, value: f64| {
            for i in 0..g {
                row.push(if i == group { value } else { 0.0 });
            }
        };
        let x = || data.levels.get(at.level).and_then(|l| l.x);
        match self.setting {
            SettingForm::Flat => one_of(&mut row, 1.0),
            SettingForm::Cell => {
                let cells = self.cells(data);
                let own = cells.iter().position(|c| *c == (group, at.level))?;
                row.extend((0..cells.len()).map(|i| f64::from(u8::from(i == own))));
            }
            SettingForm::Additive => {
                one_of(&mut row, 1.0);
                let used = self.used_levels(data);
                let own = used.iter().position(|l| *l == at.level)?;
                row.extend((1..used.len()).map(|i| f64::from(u8::from(i == own))));
            }
            SettingForm::Power => {
                one_of(&mut row, 1.0);
                row.push(x()?);
            }
            SettingForm::PowerByGroup => {
                one_of(&mut row, 1.0);
                one_of(&mut row, x()?);
            }
            SettingForm::Quadratic => {
                one_of(&mut row, 1.0);
                let x = x()?;
                row.push(x);
                row.push(x * x);
            }
            SettingForm::QuadraticByGroup => {
                one_of(&mut row, 1.0);
                let x = x()?;
                one_of(&mut row, x);
                one_of(&mut row, x * x);
            }
        }
        let t = at.intake - data.intake_ref;
        match self.held {
            HeldSlope::Assumed => {}
            HeldSlope::Common => row.push(t),
            HeldSlope::ByGroup => one_of(&mut row, t),
            HeldSlope::ByFlow => row.extend([t, t * x()?]),
        }
        match self.intake {
            IntakeForm::None => {}
            IntakeForm::Common => row.push(t),
            IntakeForm::ByGroup => one_of(&mut row, t),
            IntakeForm::ByFlow => {
                row.push(t);
                row.push(t * x()?);
            }
            IntakeForm::ByGroupAndFlow => {
                one_of(&mut row, t);
                row.push(t * x()?);
            }
            IntakeForm::Kinked => row.push(t),
            IntakeForm::KinkedByGroup => one_of(&mut row, t),
            // The step may lie anywhere in its gap: on average that is a ramp across it.
            IntakeForm::Terraced(_) => row.extend(
                self.stepped_gaps(data)
                    .map(|(a, b)| ((at.intake - a) / (b - a)).clamp(0.0, 1.0)),
            ),
            IntakeForm::Ramp(corner) => row.push(corner.split(at.intake).0 - data.intake_ref),
            IntakeForm::RampByGroup(corner) => {
                one_of(&mut row, corner.split(at.intake).0 - data.intake_ref);
            }
            IntakeForm::Quadratic => {
                row.push(t);
                row.push(data.bend(at.intake));
            }
            IntakeForm::QuadraticByGroup => {
                one_of(&mut row, t);
                row.push(data.bend(at.intake));
            }
        }
        if matches!(self.intake, IntakeForm::Kinked | IntakeForm::KinkedByGroup) {
            row.push((at.intake - data.kink()?).max(0.0));
        }
        if self.ambient == AmbientForm::Common {
            row.push(at.ambient - data.ambient_ref);
        }
        if self.moisture {
            row.push(at.moisture);
        }
        Some(row)
    }

    /// The part of the response that has no parameter: ln(lift) where the form has it.
    pub fn offset(&self, data: &DrawData, at: &At) -> Option<f64> {
        let held_k = match self.intake {
            IntakeForm::Terraced(_) => at.intake - data.intake_ref,
            shape => { shape.corner() }.map_or(0.0, |corner| corner.split(at.intake).1),
        };
        let plateau = PLATEAU_SLOPE_PER_K * held_k;
        if self.lift {
            Some(data.lift.as_ref()?.lift_k(at)?.ln() + plateau)
        } else {
            Some(plateau)
        }
    }

    /// The gaps in which a terraced form steps, degC, rising; none for other forms.
    pub fn stepped_gaps<'d>(&self, data: &'d DrawData) -> impl Iterator<Item = (f64, f64)> + 'd {
        let mask = match self.intake {
            IntakeForm::Terraced(mask) => mask,
            _ => 0,
        };
        let gaps = data.intake_gaps().iter().enumerate();
        gaps.filter(move |(i, _)| *i < 8 && mask & (1 << i) != 0)
            .map(|(_, gap)| *gap)
    }

    /// The coefficients of a control's steps (changes of ln compressor side, from the coldest gap to the warmest) or of its ramp (1/K: one, or
    /// one for each group); empty for other forms.
    pub fn control<'c>(&self, data: &DrawData, coef: &'c [f64]) -> &'c [f64] {
        let count = match self.intake {
            IntakeForm::Terraced(_) => self.stepped_gaps(data).count(),
            IntakeForm::Ramp(_) => 1,
            IntakeForm::RampByGroup(_) => self.group_count(),
            _ => return &[],
        };
        let after = usize::from(self.ambient == AmbientForm::Common) + usize::from(self.moisture);
        let last = coef.len().saturating_sub(after);
        coef.get(last.saturating_sub(count)..last)
            .unwrap_or_default()
    }

    /// The slope of a mode's ramp with intake, 1/K, and its corner; none for other forms.
    pub fn ramp(&self, data: &DrawData, coef: &[f64], mode: usize) -> Option<(f64, Corner)> {
        let corner = self.intake.corner()?;
        let slopes = self.control(data, coef);
        let own = slopes.get(self.group(mode)).or(slopes.first());
        Some((*own?, corner))
    }

    /// Slopes of the response with intake at a speed that a control holds, 1/K: at the middle airflow, one for each group where they differ;
    /// empty for other forms.
    pub fn held_slopes(&self, data: &DrawData, coef: &[f64]) -> Vec<f64> {
        let fitted = match self.held {
            HeldSlope::Assumed => return Vec::new(),
            HeldSlope::Common | HeldSlope::ByFlow => 1,
            HeldSlope::ByGroup => self.group_count(),
        };
        let names = self.names(data);
        let first = names
            .iter()
            .position(|n| n.starts_with("slope with intake"));
        let own = first.and_then(|i| coef.get(i..i + fitted));
        own.unwrap_or_default()
            .iter()
            .map(|c| c + PLATEAU_SLOPE_PER_K)
            .collect()
    }

    /// The slopes of the response with intake and with ambient at a point, 1/K: central differences of row·coef + offset
    /// over a hundredth of a kelvin (the forms are smooth, so nothing is lost to rounding that matters).
    pub fn slopes(&self, data: &DrawData, at: &At, coef: &[f64]) -> Option<(f64, f64)> {
        const STEP_K: f64 = 0.01;
        let value = |intake: f64, ambient: f64| {
            let at = At {
                intake: at.intake + intake,
                ambient: at.ambient + ambient,
                ..*at
            };
            let row = self.row(data, &at)?;
            Some(dot(&row, coef) + self.offset(data, &at)?)
        };
        Some((
            (value(STEP_K, 0.0)? - value(-STEP_K, 0.0)?) / (2.0 * STEP_K),
            (value(0.0, STEP_K)? - value(0.0, -STEP_K)?) / (2.0 * STEP_K),
        ))
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
