//! A random machine of a given kind, and the settings and intakes at which its bench will test it. Every range here is made.

use super::control::{ByFan, ByIntake, Control};
use super::dice::Dice;
use super::kind::Kind;
use super::machine::{Machine, Mode};
use super::model::{Surroundings, humidity_ratio};
use super::unit::Sizing;

const NAMES: [&str; 6] = ["cabin", "hush", "brisk", "mild", "night", "damp"];

/// What a bench tests, and in which weather.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    /// The unit.
    pub machine: Machine,
    /// Intake temperatures set, °C, rising.
    pub temps: Vec<f64>,
    /// Runs of each setting at each intake.
    pub reps: usize,
    /// Tested settings: index of the mode and of the fan level.
    pub cells: Vec<(usize, usize)>,
    /// Mean ambient temperature aimed at, °C.
    pub ambient_c: f64,
    /// Humidity ratio of the intake air, kg/kg.
    pub intake_w: f64,
    /// Air pressure, Pa.
    pub pressure_pa: f64,
}

impl Design {
    /// A random design of this kind.
    pub fn random(kind: Kind, dice: &mut Dice) -> Self {
        let mut sizing = Sizing::random(dice);
        sizing.condenser_follows = dice.chance(0.2);
        let flows = flows(dice, sizing.full_m3h);
        let temps = temperatures(dice);
        let pressure_pa = 101_325.0
            - if dice.chance(0.3) {
                dice.between(0.0, 15_000.0)
            } else {
                0.0
            };
        // Intake humidity set at 25 °C: the coil is wet in some benches and dry in others.
        let intake_w = humidity_ratio(25.0, dice.between(25.0, 60.0), pressure_pa);
        let mut names = NAMES.map(str::to_string);
        dice.shuffle(&mut names);
        let mut machine = Machine {
            cooler: sizing.cooler(),
            flows,
            modes: Vec::new(),
        };
        let modes = dice.whole(2, 3).min(machine.flows.len());
        let middle_c = temps.iter().sum::<f64>() / temps.len() as f64;
        let ambient_c = dice.between((middle_c - 10.0).max(18.0), 35.0);
        let at = Surroundings {
            intake_c: middle_c,
            intake_w,
            ambient_c,
            pressure_pa,
        };
        let controls = controls(kind, dice, &machine, modes, &temps, &at);
        machine.modes = names
            .into_iter()
            .zip(controls)
            .map(|(name, control)| Mode { name, control })
            .collect();
        let cells = cells(kind, dice, modes, machine.flows.len());
        Self {
            machine,
            temps,
            reps: dice.whole(2, 3),
            cells,
            ambient_c,
            intake_w,
            pressure_pa,
        }
    }

    /// The surroundings of a condition.
    pub fn at(&self, intake_c: f64, ambient_c: f64) -> Surroundings {
        Surroundings {
            intake_c,
            intake_w: self.intake_w,
            ambient_c,
            pressure_pa: self.pressure_pa,
        }
    }
}

/// Three to five fan levels, unevenly spaced, the lowest at 40 to 60 % of the highest.
fn flows(dice: &mut Dice, full: f64) -> Vec<f64> {
    let levels = dice.whole(3, 5);
    let lowest = dice.between(0.4, 0.6);
    let steps: Vec<f64> = (1..levels).map(|_| dice.between(0.6, 1.4)).collect();
    let total: f64 = steps.iter().sum();
    let mut share = lowest;
    let mut flows = vec![full * share];
    for step in &steps {
        share += (1.0 - lowest) * step / total;
        flows.push(full * share);
    }
    flows
}

/// Two or three intakes in whole degrees, at least 3 K apart.
fn temperatures(dice: &mut Dice) -> Vec<f64> {
    let mut t = dice.between(19.0, 27.0).round();
    let mut temps = vec![t];
    for _ in 1..dice.whole(2, 3) {
        t += dice.between(3.0, 8.0).round();
        temps.push(t);
    }
    temps
}

/// Which settings are tested. A confounded bench gives each mode a level of its own; of the others one in four leaves some out.
fn cells(kind: Kind, dice: &mut Dice, modes: usize, levels: usize) -> Vec<(usize, usize)> {
    if kind.is_confounded() {
        let mut own: Vec<usize> = (0..levels).collect();
        dice.shuffle(&mut own);
        return own.into_iter().take(modes).enumerate().collect();
    }
    let gaps = dice.chance(0.25);
    let mut cells = Vec::new();
    for mode in 0..modes {
        // Three levels at least stay in each mode.
        let mut spare = levels.saturating_sub(3);
        for level in 0..levels {
            if gaps && spare > 0 && dice.chance(0.25) {
                spare -= 1;
            } else {
                cells.push((mode, level));
            }
        }
    }
    cells
}

/// One rule for each mode.
fn controls(
    kind: Kind,
    dice: &mut Dice,
    machine: &Machine,
    modes: usize,
    temps: &[f64],
    at: &Surroundings,
) -> Vec<Control> {
    let by_intake = intake_rule(kind, dice, temps);
    let (slow, fast) = (0.6, 1.1);
    match kind {
        Kind::Coupled | Kind::CoupledNoFan | Kind::ConfoundedCoupled => {
            let by_fan = fan_rule(dice, machine.flows.len());
            vec![
                Control {
                    full: dice.between(0.85, fast),
                    by_fan,
                    by_intake
                };
                modes
            ]
        }
        Kind::CoupledUneven => {
            let by_fan = uneven_rule(dice, machine.flows.len());
            vec![
                Control {
                    full: dice.between(0.85, fast),
                    by_fan,
                    by_intake
                };
                modes
            ]
        }
        Kind::CoupledModes => (0..modes)
            .map(|_| Control {
                full: dice.between(0.7, fast),
                by_fan: fan_rule(dice, machine.flows.len()),
                by_intake: by_intake.clone(),
            })
            .collect(),
        Kind::Weak => {
            let target = dice.between(0.31, 0.44);
            let exponent = exponent_for(target, machine, &by_intake, at);
            let by_fan = ByFan::Power { exponent };
            (0..modes)
                .map(|_| Control {
                    full: dice.between(0.8, fast),
                    by_fan: by_fan.clone(),
                    by_intake: by_intake.clone(),
                })
                .collect()
        }
        Kind::Independent
        | Kind::IndependentRamp
        | Kind::IndependentStepped
        | Kind::IndependentNoFan
        | Kind::ConfoundedIndependent => {
            let same = dice.chance(0.2);
            let first = dice.between(slow, fast);
            (0..modes)
                .map(|_| Control {
                    full: if same {
                        first
                    } else {
                        dice.between(slow, fast)
                    },
                    by_fan: ByFan::Fixed,
                    by_intake: by_intake.clone(),
                })
                .collect()
        }
    }
}

/// A rule that ties the speed firmly to the level: a power law, or a rising table that may hold for one step of four or more levels.
fn fan_rule(dice: &mut Dice, levels: usize) -> ByFan {
    if dice.chance(0.5) {
        return ByFan::Power {
            exponent: dice.between(0.7, 1.2),
        };
    }
    let lowest = dice.between(0.4, 0.6);
    let held = (levels > 3 && dice.chance(0.3)).then(|| dice.whole(1, levels - 1));
    let steps: Vec<f64> = (1..levels)
        .map(|step| {
            if held == Some(step) {
                0.0
            } else {
                dice.between(0.6, 1.4)
            }
        })
        .collect();
    let total: f64 = steps.iter().sum();
    let mut factor = lowest;
    let mut table = vec![factor];
    for step in &steps {
        factor += (1.0 - lowest) * step / total;
        table.push(factor);
    }
    ByFan::Table(table)
}

/// A table with its highest speed at a level between the lowest and the highest.
fn uneven_rule(dice: &mut Dice, levels: usize) -> ByFan {
    let top = dice.whole(1, levels.saturating_sub(2).max(1));
    let table = (0..levels).map(|level| {
        if level == top {
            1.0
        } else {
            dice.between(0.6, 0.75)
        }
    });
    ByFan::Table(table.collect())
}

fn intake_rule(kind: Kind, dice: &mut Dice, temps: &[f64]) -> ByIntake {
    let coldest = temps.first().copied().unwrap_or(20.0);
    let hottest = temps.last().copied().unwrap_or(30.0);
    let some_tied = matches!(kind, Kind::Coupled | Kind::CoupledModes) && dice.chance(0.2);
    if kind == Kind::IndependentRamp || some_tied {
        let from_c = coldest - dice.between(0.0, 4.0);
        // The top speed is reached inside the tested range, or up to 5 K beyond it where nobody looked.
        let to_c = dice.between(0.5 * (coldest + hottest), hottest + 5.0);
        return ByIntake::Ramp {
            from_c,
            to_c: to_c.max(from_c + 3.0),
            low: dice.between(0.5, 0.8),
        };
    }
    if kind == Kind::IndependentStepped {
        let set_c = dice.between(16.0, 20.0);
        // The control knows nothing of the test plan: its edges lie anywhere in and around the tested range. They keep clear of the set
        // intakes, where one run would land on either side of them.
        let mut edge = || clear_of(dice, coldest - 5.0, hottest + 5.0, temps) - set_c;
        let mut edges_k = vec![edge(), edge()];
        edges_k.sort_by(f64::total_cmp);
        let low = dice.between(0.55, 0.75);
        return ByIntake::Steps {
            set_c,
            edges_k,
            factors: vec![low, 0.5 * (1.0 + low), 1.0],
        };
    }
    ByIntake::Ignored
}

/// A temperature at least 1.5 K from every set intake; the last of fifty tries otherwise.
fn clear_of(dice: &mut Dice, low: f64, high: f64, temps: &[f64]) -> f64 {
    let mut edge = low;
    for _ in 0..50 {
        edge = dice.between(low, high);
        if temps.iter().all(|t| (t - edge).abs() >= 1.5) {
            break;
        }
    }
    edge
}

/// The exponent of the power rule at which the machine's elasticity is `target`.
fn exponent_for(target: f64, machine: &Machine, by_intake: &ByIntake, at: &Surroundings) -> f64 {
    let levels: Vec<usize> = (0..machine.flows.len()).collect();
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..24 {
        let exponent = 0.5 * (low + high);
        let control = Control {
            full: 0.95,
            by_fan: ByFan::Power { exponent },
            by_intake: by_intake.clone(),
        };
        if machine.elasticity(&control, &levels, at) < target {
            low = exponent;
        } else {
            high = exponent;
        }
    }
    0.5 * (low + high)
}
