//! Published fixed-speed machines tested on made benches: the tool's own pipeline must find in them what their curves say.
//!
//! Two sources, both in tests/reference/air (README there): 42 curve sets of capacity and energy-input ratio, and three ten-coefficient
//! compressor maps. Each becomes a bench: four fan levels from 0.7 to 1.1 of rated flow (as far as the set's own flow range goes), three intakes, two ambients, humidity varied by
//! itself, runs that scatter by 1 %, fan-only runs of a blower (made) whose draw is added to the published one. Then fit, verdict and
//! predictions, through the library.

use std::collections::{BTreeMap, BTreeSet};

use steadydraw::air::MoistAir;
use steadydraw::air::behaviour::{CAPACITY_BY_AMBIENT, DEFAULT_ALLOWANCE, POWER_BY_AMBIENT};
use steadydraw::air::curves::{Biquadratic, CurveSet, Quadratic};
use steadydraw::air::polynomial::TenCoefficients;
use steadydraw::bench::Bench;
use steadydraw::coupling::{self, Verdict, assess};
use steadydraw::fit::candidates::{DrawFit, fit_draw};
use steadydraw::fit::forms::{At, CapacityData, DrawData};
use steadydraw::made::dice::Dice;
use steadydraw::predict::{predict, predict_capacity};

type Row = BTreeMap<String, String>;

const PRESSURE_PA: f64 = 101_325.0;
/// Fan levels as shares of rated flow, lowest and highest.
const FLOW_ENDS: (f64, f64) = (0.7, 1.1);
const AMBIENTS: [f64; 2] = [28.0, 36.0];
const RUN_SD: f64 = 0.01;
const SEEDS: u64 = 2;

fn table(name: &str) -> Vec<Row> {
    let path = format!("tests/reference/air/{name}");
    let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    reader.deserialize().map(|row| row.unwrap()).collect()
}

fn num(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap()
}

/// Four even levels.
fn levels((low, high): (f64, f64)) -> [f64; 4] {
    std::array::from_fn(|i| low + (high - low) * i as f64 / 3.0)
}

/// Name, curves, and the levels that lie within the flow range that the set states.
fn curve_sets() -> Vec<(String, CurveSet, [f64; 4])> {
    table("curve_sets.csv")
        .iter()
        .map(|row| {
            let six = |stem: &str| Biquadratic {
                c: std::array::from_fn(|i| num(row, &format!("{stem}_{i}"))),
            };
            // The mini-split has no flow curves: its power and capacity do not follow airflow here.
            let three = |stem: &str| Quadratic {
                c: match row[&format!("{stem}_0")].as_str() {
                    "" => [1.0, 0.0, 0.0],
                    _ => std::array::from_fn(|i| num(row, &format!("{stem}_{i}"))),
                },
            };
            let set = CurveSet {
                capacity_temps: six("capacity_temps"),
                input_temps: six("input_temps"),
                capacity_flow: three("capacity_flow"),
                input_flow: three("input_flow"),
            };
            let end = |column: &str, otherwise: f64| row[column].parse().unwrap_or(otherwise);
            let (low, high) = FLOW_ENDS;
            let flows = levels((
                low.max(end("flow_low", low)),
                high.min(end("flow_high", high)),
            ));
            (row["name"].clone(), set, flows)
        })
        .collect()
}

/// W at an intake state, an ambient (degC) and a share of rated flow.
type Figure = Box<dyn Fn(&MoistAir, f64, f64) -> f64>;

/// A machine whose compressor side and capacity are known, W.
struct Machine {
    flows: [f64; 4],
    rated_m3h: f64,
    intakes: [f64; 3],
    humidities: [f64; 2],
    power: Figure,
    capacity: Figure,
}

impl Machine {
    fn of_curves(set: CurveSet, flows: [f64; 4]) -> Machine {
        // A small unit: 2 kW and 600 W at rating.
        Machine {
            flows,
            rated_m3h: 380.0,
            intakes: [23.0, 27.0, 31.0],
            humidities: [0.42, 0.58],
            power: Box::new(move |air, ambient, f| 600.0 * set.power(air.wet_bulb_c(), ambient, f)),
            capacity: Box::new(move |air, ambient, f| {
                2000.0 * set.capacity(air.wet_bulb_c(), ambient, f)
            }),
        }
    }

    /// A compressor map between a dry coil and a condenser: the map's capacity meets what the coil can carry, UA·(intake − suction) with
    /// UA growing with the root of airflow, sized for 16 K at 18 °C intake and full flow; condensing 12 K above ambient. Coil and
    /// approaches are made; the compressor is the published one.
    fn of_map(capacity: TenCoefficients, power: TenCoefficients) -> Machine {
        let ua_full = capacity.at(2.0, 44.0) / 16.0;
        let suction = move |intake: f64, ambient: f64, f: f64| {
            let excess =
                |s: f64| capacity.at(s, ambient + 12.0) - ua_full * f.sqrt() * (intake - s);
            let (mut low, mut high) = (intake - 45.0, intake);
            for _ in 0..80 {
                let middle = 0.5 * (low + high);
                if excess(middle) > 0.0 {
                    high = middle;
                } else {
                    low = middle;
                }
            }
            0.5 * (low + high)
        };
        Machine {
            flows: levels(FLOW_ENDS),
            rated_m3h: 0.19 * capacity.at(2.0, 44.0),
            intakes: [14.0, 17.0, 20.0],
            humidities: [0.30, 0.36],
            power: Box::new(move |air, ambient, f| {
                power.at(suction(air.temp_c(), ambient, f), ambient + 12.0)
            }),
            capacity: Box::new(move |air, ambient, f| {
                capacity.at(suction(air.temp_c(), ambient, f), ambient + 12.0)
            }),
        }
    }

    fn blower_w(&self, f: f64) -> f64 {
        // Some 0.1 W per m3/h at full flow, with an exponent seen in place.
        3.0 + 0.1 * self.rated_m3h * f.powf(2.2)
    }

    /// Elasticity of the compressor side over the tested levels, at the middle conditions: a straight line through the logarithms.
    fn elasticity(&self) -> f64 {
        let air = MoistAir::from_relative_humidity(self.intakes[1], 0.5, PRESSURE_PA).unwrap();
        let points = self
            .flows
            .map(|f| (f.ln(), (self.power)(&air, 32.0, f).ln()));
        let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / 4.0;
        let (mx, my) = (mean(|p| p.0), mean(|p| p.1));
        let sxy: f64 = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
        sxy / points.iter().map(|p| (p.0 - mx).powi(2)).sum::<f64>()
    }

    fn bench(&self, seed: u64) -> (Bench, Vec<(f64, f64)>) {
        let mut dice = Dice::new(seed, 4);
        let mut rows = Vec::new();
        let mut wet_bulbs = Vec::new();
        for rep in 0..2 {
            let mut day = Vec::new();
            for level in 0..self.flows.len() {
                for intake in 0..3 {
                    for ambient in 0..2 {
                        day.push((level, intake, ambient));
                    }
                }
            }
            dice.shuffle(&mut day);
            for (level, intake, ambient) in day {
                let rh = self.humidities[(level + intake + ambient + rep) % 2];
                let intake_c = self.intakes[intake] + 0.3 * dice.normal();
                let air = MoistAir::from_relative_humidity(intake_c, rh, PRESSURE_PA).unwrap();
                let ambient_c = AMBIENTS[ambient] + 0.4 * dice.normal();
                let f = self.flows[level];
                let flow = self.rated_m3h * f;
                let scatter = |dice: &mut Dice| 1.0 + RUN_SD * dice.normal();
                let power =
                    (self.power)(&air, ambient_c, f) * scatter(&mut dice) + self.blower_w(f);
                let capacity = (self.capacity)(&air, ambient_c, f) * scatter(&mut dice);
                let (out_c, out_rh) = outlet(&air, capacity, flow);
                let read_flow = flow * (1.0 + 0.005 * dice.normal());
                wet_bulbs.push((intake_c, air.wet_bulb_c()));
                rows.push(format!(
                    "cooling,on,{},day {},{intake_c:.3},{:.3},{out_c:.3},{:.3},{ambient_c:.3},{read_flow:.2},{power:.3}",
                    level + 1,
                    rep + 1,
                    100.0 * rh,
                    100.0 * out_rh
                ));
            }
        }
        for (level, f) in self.flows.iter().enumerate() {
            for rep in 0..2 {
                let power = self.blower_w(*f) * (1.0 + RUN_SD * dice.normal());
                rows.push(format!(
                    "fan-only,,{},day {},{},50,,,{},{:.2},{power:.3}",
                    level + 1,
                    rep + 1,
                    self.intakes[1],
                    AMBIENTS[0],
                    self.rated_m3h * f
                ));
            }
        }
        let mut csv = "run,kind,mode,fan,block,intake_temp [degC],intake_rh [%],outlet_temp [degC],outlet_rh [%],ambient_temp [degC],airflow [m3/h],power [W]\n".to_owned();
        for (i, row) in rows.iter().enumerate() {
            csv.push_str(&format!("r{i:02},{row}\n"));
        }
        let toml = "[points]\nfile = \"points.csv\"\n[site]\npressure = \"101.325 kPa\"\n[duct]\nat = \"intake\"\n";
        (Bench::from_texts(toml, &csv).unwrap(), wet_bulbs)
    }
}

/// The outlet's state after a cooling in W: on the saturation side at 92 %, or dry where the coil is.
fn outlet(intake: &MoistAir, capacity_w: f64, flow_m3h: f64) -> (f64, f64) {
    let dry_air_kg_s = flow_m3h / 3600.0 / intake.volume_m3_kg();
    let wanted = intake.enthalpy_j_kg() - capacity_w / dry_air_kg_s;
    let state = |t: f64| {
        let damp = MoistAir::from_relative_humidity(t, 0.92, PRESSURE_PA).unwrap();
        let w = damp.humidity_ratio().min(intake.humidity_ratio());
        MoistAir::from_humidity_ratio(t, w, PRESSURE_PA).unwrap()
    };
    let (mut low, mut high) = (-20.0, intake.temp_c());
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if state(middle).enthalpy_j_kg() > wanted {
            high = middle;
        } else {
            low = middle;
        }
    }
    let out = state(0.5 * (low + high));
    (out.temp_c(), out.relative_humidity())
}

/// How often intervals held what is true.
#[derive(Default)]
struct Held {
    held: usize,
    asked: usize,
}

impl Held {
    fn put(&mut self, (low, high): (f64, f64), truth: f64) {
        self.asked += 1;
        self.held += usize::from(low <= truth && truth <= high);
    }

    fn share(&self) -> f64 {
        self.held as f64 / self.asked as f64
    }
}

/// A straight line through (x, y).
fn line(points: &[(f64, f64)]) -> impl Fn(f64) -> f64 {
    let n = points.len() as f64;
    let mx = points.iter().map(|p| p.0).sum::<f64>() / n;
    let my = points.iter().map(|p| p.1).sum::<f64>() / n;
    let sxy: f64 = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum();
    let slope = sxy / points.iter().map(|p| (p.0 - mx).powi(2)).sum::<f64>();
    move |x| my + slope * (x - mx)
}

/// What the pipeline found of one machine on one bench.
struct Found {
    verdict: Verdict,
    elasticity: (f64, f64, f64),
    /// ln ratio per K between the two ambients, of the compressor side and of the capacity.
    power_ambient: f64,
    capacity_ambient: f64,
}

/// Runs everything; counts predictions of draw and capacity within the tests, at wet bulbs usual and other.
fn pipeline(
    machine: &Machine,
    seed: u64,
    [usual_draws, other_draws, capacities]: &mut [Held; 3],
) -> Found {
    let (bench, wet_bulbs) = machine.bench(seed);
    let data = DrawData::from_bench(&bench);
    let answer = assess(&bench, &data, &coupling::Options::default());
    let capacity = CapacityData::from_bench(&bench, &data).unwrap();
    let draw_fit = fit_draw(data).unwrap();
    let capacity_fit = fit_draw(capacity.data).unwrap();
    let usual = line(&wet_bulbs);
    let [cool, middle, warm] = machine.intakes;
    for (level, intake, ambient, moisture) in [
        (0, cool + 1.0, 29.0, 0.0),
        (1, middle, 35.0, 0.0),
        (2, middle, 32.0, 1.2),
        (3, warm - 1.0, 34.0, -1.2),
    ] {
        if moisture != 0.0 && !draw_fit.data.moisture_varied {
            continue;
        }
        let at = At {
            moisture,
            ..At::new(0, level, intake, ambient)
        };
        let wet_bulb = usual(intake) + moisture;
        let air = MoistAir::from_wet_bulb(intake, wet_bulb, PRESSURE_PA).unwrap();
        let f = machine.flows[level];
        let truth = (machine.power)(&air, ambient, f) + machine.blower_w(f);
        let draws = if moisture == 0.0 {
            &mut *usual_draws
        } else {
            &mut *other_draws
        };
        draws.put(predict(&bench, &draw_fit, at, 0.95).unwrap().mean_w, truth);
        let c = predict_capacity(&bench, &capacity_fit, at, 0.95).unwrap();
        capacities.put(c.mean_w, (machine.capacity)(&air, ambient, f));
    }
    let per_k = |of: &dyn Fn(f64) -> f64| (of(AMBIENTS[1]) / of(AMBIENTS[0])).ln() / 8.0;
    let side = |fit: &DrawFit, ambient: f64, blower: f64| {
        predict(&bench, fit, At::new(0, 2, middle, ambient), 0.95)
            .unwrap()
            .draw_w
            - blower
    };
    let e = answer.elasticity.unwrap();
    Found {
        verdict: answer.verdict,
        elasticity: (e.value, e.low, e.high),
        power_ambient: per_k(&|a| side(&draw_fit, a, draw_fit.data.blower_w(2))),
        capacity_ambient: per_k(&|a| {
            let at = At::new(0, 2, middle, a);
            predict_capacity(&bench, &capacity_fit, at, 0.95)
                .unwrap()
                .capacity_w
        }),
    }
}

/// Flow curves that are not 1 at rated flow (tests/published_behaviour.rs): they say nothing of power against airflow.
const FAULTY: [&str; 2] = ["NREL window AC (lab test)", "packaged unit 27"];

#[test]
fn every_sound_curve_set_comes_out_independent_with_its_own_slopes() {
    let mut held: [Held; 3] = Default::default();
    let mut elasticities = Held::default();
    let mut open = Vec::new();
    let (mut power_misses, mut capacity_misses) = (Vec::new(), Vec::new());
    let (mut powers, mut slopes) = (Vec::new(), Vec::new());
    for (i, (name, set, flows)) in curve_sets().into_iter().enumerate() {
        if FAULTY.contains(&name.as_str()) {
            continue;
        }
        let machine = Machine::of_curves(set, flows);
        let truth = machine.elasticity();
        for k in 0..SEEDS {
            let seed = SEEDS * i as u64 + k;
            let found = pipeline(&machine, seed, &mut held);
            let (value, low, high) = found.elasticity;
            elasticities.put((low, high), truth);
            // Wet bulb at the middle intake, as on the bench.
            let air = MoistAir::from_relative_humidity(27.0, 0.5, PRESSURE_PA).unwrap();
            let own = |of: &dyn Fn(f64) -> f64| (of(AMBIENTS[1]) / of(AMBIENTS[0])).ln() / 8.0;
            let wet = air.wet_bulb_c();
            power_misses.push(found.power_ambient - own(&|a| set.power(wet, a, flows[2])));
            capacity_misses.push(found.capacity_ambient - own(&|a| set.capacity(wet, a, flows[2])));
            powers.push(found.power_ambient);
            slopes.push(found.capacity_ambient);
            println!(
                "{name} seed {seed}: {} {value:.3} ({low:.3} to {high:.3}), own {truth:.3}; ambient {:.2} {:.2} %/K",
                found.verdict.name(),
                100.0 * found.power_ambient,
                100.0 * found.capacity_ambient
            );
            if found.verdict != Verdict::Independent {
                open.push((name.clone(), found.verdict, truth));
            }
        }
    }
    let largest = |list: &[f64]| list.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    let [draws, other_draws, capacities] = &held;
    println!(
        "elasticity held {}/{}; draws {}/{}; at other humidity {}/{}; capacities {}/{}; ambient slopes within {:.3} and {:.3} %/K; not independent: {open:?}",
        elasticities.held,
        elasticities.asked,
        draws.held,
        draws.asked,
        other_draws.held,
        other_draws.asked,
        capacities.held,
        capacities.asked,
        100.0 * largest(&power_misses),
        100.0 * largest(&capacity_misses)
    );
    assert_eq!(elasticities.asked, 40 * SEEDS as usize);
    assert!(elasticities.share() >= 0.9, "{}", elasticities.share());
    // 160 targets, four of each machine: 92 % with a standard error of about 2 %. The curve sets are products of polynomials in
    // wet bulb and ambient, which no form of ours holds.
    assert!(draws.share() >= 0.9, "{}", draws.share());
    // The humidity's slope is one straight line for all conditions, and these machines bend with wet bulb: held 85 % of the time. The
    // commands predict at the bench's usual humidity.
    assert!(other_draws.share() >= 0.8, "{}", other_draws.share());
    assert!(capacities.share() >= 0.9, "{}", capacities.share());
    // One slope with ambient for all wet bulbs, against the set's own at the middle one. The farthest is a low stage that rises by 3 % per K
    // and changes with wet bulb.
    power_misses.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
    let most = power_misses[power_misses.len() * 9 / 10].abs();
    println!("nine in ten power slopes within {:.3} %/K", 100.0 * most);
    assert!(most < 0.002, "{most}");
    assert!(largest(&power_misses) < 0.003);
    assert!(largest(&capacity_misses) < 0.0015);
    // The middle of what was found lies in the published range of both.
    for (list, range) in [
        (&mut powers, POWER_BY_AMBIENT),
        (&mut slopes, CAPACITY_BY_AMBIENT),
    ] {
        list.sort_by(f64::total_cmp);
        let middle = list[list.len() / 2];
        assert!(range.holds(middle), "{}: {middle}", range.what);
    }
    // Never coupled. Undecided are five catalogue sets of packaged units whose power follows airflow by 0.15 to 0.32 over the levels that
    // their own range allows: their power probably counts the indoor fan (inference; the makers' tables were not at hand), and two of
    // them state so narrow a range that an interval of ±0.1 is all that runs can give.
    let undecided: BTreeSet<&str> = open.iter().map(|o| o.0.as_str()).collect();
    assert!(open.iter().all(|o| o.1 == Verdict::Undecided), "{open:?}");
    assert!(
        open.iter().all(|o| o.2 > 0.7 * DEFAULT_ALLOWANCE),
        "{open:?}"
    );
    let known = ["06", "11", "19", "23", "24"].map(|n| format!("packaged unit {n}"));
    assert!(
        undecided.iter().all(|n| known.iter().any(|k| k == n)),
        "{undecided:?}"
    );
}

#[test]
fn compressor_maps_at_fixed_speed_come_out_independent() {
    let mut maps: BTreeMap<String, [Option<TenCoefficients>; 2]> = BTreeMap::new();
    for row in table("compressor_maps.csv") {
        let c = TenCoefficients {
            c: std::array::from_fn(|i| num(&row, &format!("c{}", i + 1))),
        };
        let slot = usize::from(row["quantity"] == "power");
        maps.entry(row["map"].clone()).or_default()[slot] = Some(c);
    }
    let mut asked = 0;
    let mut held: [Held; 3] = Default::default();
    let mut elasticities = Held::default();
    for (name, [capacity, power]) in maps {
        // A map for freezing is not to be used at the evaporating temperatures of a cooler.
        if name.contains("low temp") {
            continue;
        }
        let machine = Machine::of_map(capacity.unwrap(), power.unwrap());
        let truth = machine.elasticity();
        assert!(truth.abs() < DEFAULT_ALLOWANCE, "{name}: {truth}");
        for seed in 0..3 {
            let found = pipeline(&machine, seed, &mut held);
            let (value, low, high) = found.elasticity;
            println!(
                "{name} seed {seed}: {} {value:.3} ({low:.3} to {high:.3}), own {truth:.3}; ambient {:.2} {:.2} %/K",
                found.verdict.name(),
                100.0 * found.power_ambient,
                100.0 * found.capacity_ambient
            );
            elasticities.put((low, high), truth);
            assert_eq!(found.verdict, Verdict::Independent, "{name}, seed {seed}");
            asked += 1;
        }
    }
    let [draws, _, capacities] = &held;
    println!(
        "elasticity held {}/{}; draws {}/{}; capacities {}/{}",
        elasticities.held, asked, draws.held, draws.asked, capacities.held, capacities.asked
    );
    assert_eq!(asked, 6);
    assert!(elasticities.held >= 5);
    assert!(draws.share() >= 0.9 && capacities.share() >= 0.9);
}
