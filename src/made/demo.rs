//! The demo bench: a 24 V cabin cooler on a canal boat, made by nobody. The files stand in `data/demo/` and in the program;
//! [`make`] writes them anew.

use super::control::{ByFan, ByIntake, Control};
use super::dice::Dice;
use super::discharge::{Tested, log};
use super::machine::{Machine, Mode, median};
use super::model::{Cooler, Surroundings, humidity_ratio};
use super::rows::{Bias, Columns, Label, Row, Sensors, to_csv};
use super::truth::{ModeTruth, Target, Truth};
use super::unit::Sizing;

const BENCH: &str = include_str!("../../data/demo/bench.toml");
const POINTS: &str = include_str!("../../data/demo/points.csv");
const README: &str = include_str!("../../data/demo/README.md");
const DISCHARGE: [&str; 2] = [
    include_str!("../../data/demo/discharge-1.csv"),
    include_str!("../../data/demo/discharge-2.csv"),
];
const TRUTH: &str = include_str!("../../data/demo/truth.json");

const INTAKES: [f64; 3] = [22.0, 27.0, 32.0];
const RUN_SD: f64 = 0.009;
const PRESSURE_PA: f64 = 100_900.0;

/// Charge that the demo's battery truly holds at the test's load, Ah: less than its rated 200.
pub const BATTERY_AH: f64 = 191.0;

/// The demo bench's files, name and text: `bench.toml`, `points.csv`, `README.md`, and two logs of a discharge test.
pub fn files() -> &'static [(&'static str, &'static str)] {
    &[
        ("bench.toml", BENCH),
        ("points.csv", POINTS),
        ("README.md", README),
        ("discharge-1.csv", DISCHARGE[0]),
        ("discharge-2.csv", DISCHARGE[1]),
    ]
}

/// The demo's discharge logs, made anew: name and text. The battery differs by 0.4 % between the two tests, the meter reads 0.3 % high in both.
pub fn discharge_logs() -> [(&'static str, String); 2] {
    let mut dice = Dice::new(24, 2);
    let mut test = |share: f64| {
        let tested = Tested {
            capacity_ah: BATTERY_AH * share,
            load_a: 40.0,
            current_gain: 1.003,
            voltage_gain: 1.001,
        };
        log(&mut dice, &tested)
    };
    [
        ("discharge-1.csv", test(1.002)),
        ("discharge-2.csv", test(0.998)),
    ]
}

/// What is true of the demo, as JSON ([`Truth`]).
pub fn truth_json() -> &'static str {
    TRUTH
}

/// The demo's measured table and its truth, made anew.
///
/// # Errors
/// When the truth cannot be written as JSON, which does not happen.
pub fn make() -> Result<(String, String), serde_json::Error> {
    let machine = machine();
    let rows = rows(&machine);
    let columns = Columns {
        outlet: true,
        outlet_rh: true,
        volts_amps: true,
        power: true,
    };
    let truth = truth(&machine, &rows);
    Ok((to_csv(&rows, &columns), truth.to_json()?))
}

fn cooler() -> Cooler {
    Sizing {
        capacity_w: 900.0,
        full_m3h: 270.0,
        bypass: 0.18,
        ntu_fall: 0.45,
        inner_k: 5.0,
        approach_k: 11.0,
        condenser_fan_w: 14.0,
        condenser_follows: false,
        efficiency: 0.55,
        best_ratio: 3.6,
        ratio_loss: 0.2,
        speed_loss: 0.08,
        clearance: 0.03,
        drive_w: 3.0,
        blower_idle_w: 2.2,
        blower_full_w: 31.0,
        blower_exponent: 2.1,
        standby_w: 1.8,
    }
    .cooler()
}

/// `cruise` and `hush` share one table of compressor speeds by fan level, and `hush` stops at level 3; `damp` holds one speed.
fn machine() -> Machine {
    let by_level = ByFan::Table(vec![0.48, 0.60, 0.73, 0.86, 1.0]);
    let mode = |name: &str, full, by_fan| Mode {
        name: name.to_string(),
        control: Control {
            full,
            by_fan,
            by_intake: ByIntake::Ignored,
        },
    };
    Machine {
        cooler: cooler(),
        flows: vec![124.0, 158.0, 196.0, 232.0, 270.0],
        modes: vec![
            mode("cruise", 1.0, by_level.clone()),
            mode("hush", 1.0, by_level),
            mode("damp", 0.66, ByFan::Fixed),
        ],
    }
}

/// Fan levels (from 0) at which each mode is tested.
fn tested(mode: &str) -> &'static [usize] {
    match mode {
        "hush" => &[0, 1, 2],
        "damp" => &[0, 2, 4],
        _ => &[0, 1, 2, 3, 4],
    }
}

/// A run to be done: mode (none with the compressor off), level (none at standby), intake.
#[derive(Clone, Copy)]
struct Plan {
    mode: Option<usize>,
    level: Option<usize>,
    intake_c: f64,
}

/// One day's runs in order. The trap: the two loud levels wait for the afternoon, when the towpath is awake and the shed is warm.
fn day(machine: &Machine, dice: &mut Dice) -> Vec<Plan> {
    let mut plans = Vec::new();
    for (m, mode) in machine.modes.iter().enumerate() {
        for &level in tested(&mode.name) {
            plans.extend(INTAKES.map(|intake_c| Plan {
                mode: Some(m),
                level: Some(level),
                intake_c,
            }));
        }
    }
    plans.extend((0..5).map(|level| Plan {
        mode: None,
        level: Some(level),
        intake_c: 24.0,
    }));
    dice.shuffle(&mut plans);
    // Two loud runs slip into the morning, three quiet ones into the afternoon, as happens.
    let loud = |plan: &Plan| plan.level.is_some_and(|level| level >= 3);
    let (late, early): (Vec<Plan>, Vec<Plan>) = plans.into_iter().partition(loud);
    let (slipped, late) = late.split_at(2);
    let (morning, held) = early.split_at(early.len() - 3);
    let mut morning = [morning, slipped].concat();
    let mut afternoon = [late, held].concat();
    dice.shuffle(&mut morning);
    dice.shuffle(&mut afternoon);
    let standby = Plan {
        mode: None,
        level: None,
        intake_c: 22.0,
    };
    [vec![standby], morning, afternoon].concat()
}

fn rows(machine: &Machine) -> Vec<Row> {
    let mut dice = Dice::new(24, 0);
    let sensors = Sensors {
        bias: Bias {
            power: 0.003,
            intake_k: -0.12,
            outlet_k: 0.15,
            ambient_k: 0.1,
            flow: -0.014,
        },
        temp_noise_k: 0.06,
        flow_noise: 0.012,
        rh_noise: 0.5,
        temp_step: 0.01,
        flow_step: 0.1,
        supply_v: 25.9,
        supply_ohm: 0.02,
    };
    let mut rows = Vec::new();
    for (block, morning_c, dew_rh) in [("day 1", 20.0, 56.0), ("day 2", 21.5, 60.0)] {
        let plans = day(machine, &mut dice);
        for (i, plan) in plans.iter().enumerate() {
            // The sun, the heater and the unit's own waste heat warm the shed all day.
            let passed = (i as f64 + 0.5) / plans.len() as f64;
            let warmth = passed.powf(0.85);
            let at = Surroundings {
                intake_c: plan.intake_c + 0.3 * dice.normal(),
                intake_w: humidity_ratio(22.0, dew_rh + 1.5 * dice.normal(), PRESSURE_PA),
                ambient_c: morning_c + 10.5 * warmth + 0.4 * dice.normal(),
                pressure_pa: PRESSURE_PA,
            };
            rows.push(run(machine, &sensors, &mut dice, plan, &at, block));
        }
    }
    rows
}

fn run(
    machine: &Machine,
    sensors: &Sensors,
    dice: &mut Dice,
    plan: &Plan,
    at: &Surroundings,
    block: &str,
) -> Row {
    let mode = plan.mode.and_then(|m| machine.modes.get(m));
    let label = Label {
        kind: match (mode, plan.level) {
            (Some(_), _) => "cooling",
            (None, Some(_)) => "fan-only",
            (None, None) => "standby",
        },
        mode: mode.map(|m| m.name.clone()).unwrap_or_default(),
        fan: plan
            .level
            .map(|level| (level + 1).to_string())
            .unwrap_or_default(),
        block: block.to_string(),
    };
    let level = plan.level.unwrap_or(0);
    let mut truth = match mode {
        Some(mode) => machine.steady(&mode.control, level, at),
        None => machine.fan_only(level, at),
    };
    if plan.level.is_none() {
        truth.draw_w = machine.cooler.standby_w;
    }
    let scatter = RUN_SD * dice.normal();
    sensors.read(dice, label, &truth, at, machine.flow(level), scatter)
}

fn truth(machine: &Machine, rows: &[Row]) -> Truth {
    let cooling: Vec<f64> = rows
        .iter()
        .filter(|r| r.label.kind == "cooling")
        .map(|r| r.ambient_c)
        .collect();
    let ambient_c = cooling.iter().sum::<f64>() / cooling.len() as f64;
    let at = |intake_c| Surroundings {
        intake_c,
        intake_w: humidity_ratio(22.0, 58.0, PRESSURE_PA),
        ambient_c,
        pressure_pa: PRESSURE_PA,
    };
    let mut dice = Dice::new(24, 1);
    let mut targets = Vec::new();
    let mut per_mode = Vec::new();
    let mut all = Vec::new();
    for mode in &machine.modes {
        let slopes = INTAKES.map(|t| machine.elasticity(&mode.control, tested(&mode.name), &at(t)));
        all.extend(slopes);
        let verdict = if mode.control.by_fan == ByFan::Fixed {
            "independent"
        } else {
            "coupled"
        };
        per_mode.push(ModeTruth {
            mode: mode.name.clone(),
            verdict: verdict.to_string(),
            elasticity: median(&slopes),
        });
        for &level in tested(&mode.name) {
            for (intake_c, place) in [(24.5, "inside"), (29.5, "inside"), (35.0, "outside")] {
                let state = machine.steady(&mode.control, level, &at(intake_c));
                targets.push(Target {
                    mode: mode.name.clone(),
                    fan: level + 1,
                    intake_c,
                    ambient_c,
                    place: place.to_string(),
                    mean_w: state.draw_w,
                    new_run_w: state.draw_w * (1.0 + RUN_SD * dice.normal()),
                    capacity_w: state.capacity_w(),
                    sensible_w: state.sensible_w,
                });
            }
        }
    }
    Truth {
        kind: "demo".to_string(),
        verdict: "coupled".to_string(),
        elasticity: median(&all),
        modes: machine.modes.iter().map(|m| m.name.clone()).collect(),
        levels: machine.flows.len(),
        temps: INTAKES.to_vec(),
        reps: 2,
        run_sd: RUN_SD,
        hidden_step: false,
        per_mode,
        bias: Bias::default(),
        targets,
    }
}
