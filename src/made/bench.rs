//! Made benches: a unit, a design and instruments drawn from a seed, with the answer beside them.

use super::dice::Dice;
use super::drawn::Design;
pub use super::kind::Kind;
use super::machine::median;
use super::model::Steady;
use super::rows::{Bias, Columns, Label, Row, Sensors, to_csv};
use super::truth::{ModeTruth, Target, Truth};

/// What to add to a bench beside the usual scatter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options {
    /// Some cooling runs (about one in twenty-five, one at least) draw 6 to 15 % too much or too little.
    pub outliers: bool,
    /// Every day shifts the draw of all its cooling runs by a common amount, sd 1 %; so will the day of the next run.
    pub day_effects: bool,
}

/// A bench with its answer.
#[derive(Debug, Clone, PartialEq)]
pub struct MadeBench {
    /// Text of `bench.toml`.
    pub toml: String,
    /// Text of `points.csv`.
    pub points_csv: String,
    /// What is true.
    pub truth: Truth,
}

/// Standard deviations of the instruments' shared errors; `bench.toml` states twice these, as limits.
const POWER_SD: f64 = 0.004;
const TEMP_SD_K: f64 = 0.2;
const FLOW_SD: f64 = 0.02;
/// How far beyond the tested intakes is asked, K.
const BEYOND_K: f64 = 3.0;
/// Relative sd of a day's effect, with [`Options::day_effects`].
const DAY_SD: f64 = 0.01;

const TOML: &str = r#"title = "Made bench (answer known)"

[unit]
name = "made unit"
supply = "SUPPLY V"

[site]
pressure = "PRESSURE kPa"

[points]
file = "points.csv"

[[instrument]]
name = "meter"
measures = ["voltage", "current", "power"]
accuracy = "0.8 % of reading"
as = "limits"
shared = true

[[instrument]]
name = "intake thermometer"
measures = ["intake_temp"]
accuracy = "0.4 degC"
as = "limits"
shared = true

[[instrument]]
name = "outlet thermometer"
measures = ["outlet_temp"]
accuracy = "0.4 degC"
as = "limits"
shared = true

[[instrument]]
name = "ambient thermometer"
measures = ["ambient_temp"]
accuracy = "0.4 degC"
as = "limits"
shared = true

[[instrument]]
name = "anemometer"
measures = ["airflow"]
accuracy = "4 % of reading"
as = "limits"
shared = true
"#;

/// Makes the bench of a kind and seed: the same text for the same arguments.
///
/// Two or three modes, three to five fan levels, two or three intakes, two or three runs of each, on two days in random order;
/// two fan-only runs a level unless the kind has none. Run-to-run scatter 0.6 to 1.5 %, in proportion to the draw.
pub fn make(kind: Kind, seed: u64, options: &Options) -> MadeBench {
    let mut dice = Dice::new(seed, kind.stream());
    let design = Design::random(kind, &mut dice);
    let supply_v = [12.8, 25.6, 26.4, 51.2][dice.whole(0, 3)];
    let sensors = sensors(&mut dice, supply_v);
    let run_sd = dice.between(0.006, 0.015);
    let day_sd = if options.day_effects { DAY_SD } else { 0.0 };
    let days = [day_sd * dice.normal(), day_sd * dice.normal()];
    // Outliers have dice of their own, so that all else stays as it would be without them.
    let odd = options
        .outliers
        .then(|| Dice::new(seed, kind.stream() + 1000));
    let plans = plans(kind, &mut dice, &design);
    let rows = rows(
        &mut dice,
        &design,
        &sensors,
        &plans,
        Scatter { run_sd, days, odd },
    );
    let columns = columns(&mut dice);
    let truth = truth(
        kind,
        &mut dice,
        &design,
        &rows,
        sensors.bias,
        run_sd,
        day_sd,
    );
    let toml = TOML
        .replace("SUPPLY", &format!("{supply_v}"))
        .replace("PRESSURE", &format!("{:.2}", design.pressure_pa / 1000.0));
    MadeBench {
        toml,
        points_csv: to_csv(&rows, &columns),
        truth,
    }
}

/// The unit and the settings behind the bench that [`make`] makes of this kind and seed.
pub fn design(kind: Kind, seed: u64) -> Design {
    Design::random(kind, &mut Dice::new(seed, kind.stream()))
}

/// How runs depart from the long-run mean.
struct Scatter {
    run_sd: f64,
    days: [f64; 2],
    /// Dice for outliers, where there are to be any.
    odd: Option<Dice>,
}

/// A run to be done; without a mode the compressor is off.
#[derive(Clone, Copy)]
struct Plan {
    mode: Option<usize>,
    level: usize,
    set_c: f64,
    /// 0 or 1; none for runs done after both days, without a block.
    day: Option<usize>,
}

fn sensors(dice: &mut Dice, supply_v: f64) -> Sensors {
    let intake_k = TEMP_SD_K * dice.normal();
    // One kind of thermometer read by one logger may share its error; separate ones have errors of their own.
    let (outlet_k, ambient_k) = if dice.chance(0.5) {
        (intake_k, intake_k)
    } else {
        (TEMP_SD_K * dice.normal(), TEMP_SD_K * dice.normal())
    };
    let bias = Bias {
        power: POWER_SD * dice.normal(),
        intake_k,
        outlet_k,
        ambient_k,
        flow: FLOW_SD * dice.normal(),
    };
    Sensors {
        bias,
        temp_noise_k: dice.between(0.03, 0.15),
        flow_noise: dice.between(0.005, 0.02),
        rh_noise: dice.between(0.3, 1.0),
        temp_step: if dice.chance(0.3) { 0.1 } else { 0.01 },
        flow_step: if dice.chance(0.3) { 1.0 } else { 0.1 },
        supply_v,
        supply_ohm: dice.between(0.0, 0.0008) * supply_v,
    }
}

fn columns(dice: &mut Dice) -> Columns {
    let outlet = dice.chance(0.8);
    let outlet_rh = outlet && dice.chance(0.5);
    let (volts_amps, power) =
        [(true, true), (true, true), (true, false), (false, true)][dice.whole(0, 3)];
    Columns {
        outlet,
        outlet_rh,
        volts_amps,
        power,
    }
}

/// All runs in the order in which they are done.
fn plans(kind: Kind, dice: &mut Dice, design: &Design) -> Vec<Plan> {
    let mut by_day = [Vec::new(), Vec::new()];
    for &(mode, level) in &design.cells {
        for &set_c in &design.temps {
            for rep in 0..design.reps {
                // The third run of a setting falls on either day.
                let day = if rep < 2 { rep } else { dice.whole(0, 1) };
                by_day[day].push(Plan {
                    mode: Some(mode),
                    level,
                    set_c,
                    day: Some(day),
                });
            }
        }
    }
    let mut last = Vec::new();
    if kind.has_fan_only() {
        let among_the_rest = dice.chance(0.5);
        for repeat in 0..2 {
            for level in 0..design.machine.flows.len() {
                let set_c = design.temps.first().copied().unwrap_or(design.ambient_c);
                let day = among_the_rest.then_some(repeat);
                let plan = Plan {
                    mode: None,
                    level,
                    set_c,
                    day,
                };
                match day {
                    Some(day) => by_day[day].push(plan),
                    None => last.push(plan),
                }
            }
        }
    }
    let [mut first, mut second] = by_day;
    dice.shuffle(&mut first);
    dice.shuffle(&mut second);
    [first, second, last].concat()
}

fn rows(
    dice: &mut Dice,
    design: &Design,
    sensors: &Sensors,
    plans: &[Plan],
    mut scatter: Scatter,
) -> Vec<Row> {
    let cooling = plans.iter().filter(|plan| plan.mode.is_some()).count();
    let sure = scatter
        .odd
        .as_mut()
        .map_or(0, |odd| odd.whole(1, cooling.max(1)));
    let day_mean = [0.0, dice.between(-2.0, 2.0)];
    let rise_k = dice.between(0.0, 4.0);
    let wander_k = dice.between(0.3, 1.2);
    let intake_k = dice.between(0.2, 0.7);
    let mut seen = 0;
    let mut rows = Vec::with_capacity(plans.len());
    for (i, plan) in plans.iter().enumerate() {
        let day = plan.day.unwrap_or(1);
        let passed = i as f64 / plans.len() as f64 * 2.0 - day as f64;
        let ambient_c = design.ambient_c
            + day_mean[day.min(1)]
            + rise_k * (passed.clamp(0.0, 1.0) - 0.5)
            + wander_k * dice.normal();
        let mut at = design.at(plan.set_c + intake_k * dice.normal(), ambient_c);
        at.intake_w *= 1.0 + 0.02 * dice.normal();
        let own = scatter.run_sd * dice.normal();
        let machine = &design.machine;
        let mode = plan.mode.and_then(|m| machine.modes.get(m));
        let (kind, name, state, mut departure): (_, _, Steady, f64) = match mode {
            Some(mode) => {
                let day_effect = scatter.days[day.min(1)];
                (
                    "cooling",
                    mode.name.clone(),
                    machine.steady(&mode.control, plan.level, &at),
                    own + day_effect,
                )
            }
            None => (
                "fan-only",
                String::new(),
                machine.fan_only(plan.level, &at),
                own,
            ),
        };
        if let (Some(odd), true) = (scatter.odd.as_mut(), mode.is_some()) {
            seen += 1;
            if seen == sure || odd.chance(0.03) {
                let size = odd.between(0.06, 0.15);
                departure += if odd.chance(0.5) { size } else { -size };
            }
        }
        let block = plan
            .day
            .map(|day| format!("day {}", day + 1))
            .unwrap_or_default();
        let label = Label {
            kind,
            mode: name,
            fan: (plan.level + 1).to_string(),
            block,
        };
        rows.push(sensors.read(
            dice,
            label,
            &state,
            &at,
            machine.flow(plan.level),
            departure,
        ));
    }
    rows
}

fn truth(
    kind: Kind,
    dice: &mut Dice,
    design: &Design,
    rows: &[Row],
    bias: Bias,
    run_sd: f64,
    day_sd: f64,
) -> Truth {
    let machine = &design.machine;
    let ambient: Vec<f64> = rows
        .iter()
        .filter(|row| row.label.kind == "cooling")
        .map(|row| row.ambient_c)
        .collect();
    let ambient_c = ambient.iter().sum::<f64>() / ambient.len() as f64;
    let levels: Vec<usize> = (0..machine.flows.len()).collect();
    let mut all = Vec::new();
    let mut per_mode = Vec::new();
    for mode in &machine.modes {
        let slopes: Vec<f64> = design
            .temps
            .iter()
            .map(|&t| machine.elasticity(&mode.control, &levels, &design.at(t, ambient_c)))
            .collect();
        per_mode.push(ModeTruth {
            mode: mode.name.clone(),
            verdict: kind.verdict().to_string(),
            elasticity: median(&slopes),
        });
        all.extend(slopes);
    }
    let mut targets = Vec::new();
    for (intake_c, place) in intakes_to_predict(dice, &design.temps) {
        for &(m, level) in &design.cells {
            let Some(mode) = machine.modes.get(m) else {
                continue;
            };
            let state = machine.steady(&mode.control, level, &design.at(intake_c, ambient_c));
            let departure = run_sd * dice.normal() + day_sd * dice.normal();
            targets.push(Target {
                mode: mode.name.clone(),
                fan: level + 1,
                intake_c,
                ambient_c,
                place: place.to_string(),
                mean_w: state.draw_w,
                new_run_w: state.draw_w * (1.0 + departure),
                capacity_w: state.capacity_w(),
                sensible_w: state.sensible_w,
            });
        }
    }
    Truth {
        kind: kind.name().to_string(),
        verdict: kind.verdict().to_string(),
        elasticity: median(&all),
        modes: machine.modes.iter().map(|mode| mode.name.clone()).collect(),
        levels: machine.flows.len(),
        temps: design.temps.clone(),
        reps: design.reps,
        run_sd,
        hidden_step: machine.modes.iter().any(|mode| {
            let tested = design.temps.first().zip(design.temps.last());
            tested.is_some_and(|(low, high)| {
                mode.control
                    .by_intake
                    .steps_only_beyond(*low, *high, BEYOND_K)
            })
        }),
        per_mode,
        bias,
        targets,
    }
}

/// Two intakes inside the tested range, one up to 2 K and one 3 K beyond its warm end.
fn intakes_to_predict(dice: &mut Dice, temps: &[f64]) -> Vec<(f64, &'static str)> {
    let coldest = temps.first().copied().unwrap_or(20.0);
    let hottest = temps.last().copied().unwrap_or(30.0);
    let tenth = |t: f64| (10.0 * t).round() / 10.0;
    let span = hottest - coldest;
    vec![
        (tenth(coldest + span * dice.between(0.15, 0.5)), "inside"),
        (tenth(coldest + span * dice.between(0.5, 0.85)), "inside"),
        (tenth(hottest + dice.between(0.5, 2.0)), "outside"),
        (hottest + BEYOND_K, "outside"),
    ]
}
