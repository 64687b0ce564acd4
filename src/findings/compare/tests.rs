use super::*;
use crate::fit::candidates::fit_draw;
use crate::fit::forms::{CapacityData, DrawData};
use crate::quantity::Dimension;
use crate::stats::random::{normal, stream};
use known::Meter;

fn meter(name: &str, bench: &Bench) -> Meter {
    let mut i = bench.instruments[0].clone();
    i.name = name.to_owned();
    Meter::of(&i, Dimension::Power)
}

fn known(value: f64, own: f64, shared: Vec<(Meter, f64)>) -> Known {
    Known {
        value,
        own,
        dof: f64::INFINITY,
        shared,
    }
}

/// A made unit: its draw is `scale` times 100 W at fan 1 and 200 W at fan 2, +1 % per K of ambient; scatter ±0.4 %; a meter of 3 %.
fn bench(name: &str, scale: f64, ambients: [f64; 3], outlet: bool) -> Bench {
    let mut csv = String::from(
        "run,kind,fan,order,intake_temp [degC],outlet_temp [degC],ambient_temp [degC],airflow [m3/h],power [W]\n",
    );
    let mut n = 0;
    for fan in [1.0, 2.0] {
        for intake in [22.0, 27.0, 32.0] {
            for ambient in ambients {
                let scatter = 1.0 + 0.004 * [1.0, -1.0, 0.5, -0.5, -1.0, 1.0, 0.0][n % 7];
                let draw = scale * 100.0 * fan * (0.01_f64 * (ambient - 35.0)).exp() * scatter;
                n += 1;
                let out = if outlet {
                    (intake - 10.0).to_string()
                } else {
                    String::new()
                };
                csv.push_str(&format!(
                    "r{n},cooling,{fan},{n},{intake},{out},{ambient},{},{draw:.3}\n",
                    120.0 * fan
                ));
            }
        }
    }
    let toml = format!(
        "title = \"Made\"\n[unit]\nname = \"{name}\"\nsupply = \"24 V\"\n[points]\nfile = \"points.csv\"\n[[instrument]]\nname = \"meter\"\nmeasures = [\"power\"]\naccuracy = \"3 % of reading\"\n[[instrument]]\nname = \"vane\"\nmeasures = [\"airflow\"]\naccuracy = \"3 % of reading\"\n"
    );
    Bench::from_texts(&toml, &csv).unwrap()
}

const ROOM: [f64; 3] = [31.0, 35.0, 39.0];

fn answer(a: &Bench, b: &Bench, options: &CompareOptions) -> Result<Comparison, CompareError> {
    answer_all(&[a, b], options)
}

fn answer_all(benches: &[&Bench], options: &CompareOptions) -> Result<Comparison, CompareError> {
    let fits: Vec<_> = benches
        .iter()
        .map(|bench| {
            let data = DrawData::from_bench(bench);
            let capacity = CapacityData::from_bench(bench, &data)
                .ok()
                .map(|c| (c.kind, fit_draw(c.data).unwrap()));
            (*bench, fit_draw(data).unwrap(), capacity)
        })
        .collect();
    let units: Vec<Compared<'_>> = fits
        .iter()
        .map(|(bench, draw, capacity)| Compared {
            name: bench.unit.name.clone(),
            bench,
            draw,
            capacity: capacity.as_ref().map(|(k, f)| (*k, f)),
        })
        .collect();
    compare(&units, options)
}

const OPTIONS: CompareOptions = CompareOptions {
    intake_c: None,
    ambient_c: None,
    margin: 0.03,
    level: 0.95,
    shared: true,
};

#[test]
fn a_shared_meter_cancels_by_hand() {
    let b = bench("x", 1.0, ROOM, true);
    let m = meter("meter", &b);
    let x = known(100.0, 0.01, vec![(m.clone(), 0.02)]);
    let y = known(110.0, 0.01, vec![(m.clone(), 0.02)]);
    // Alike in both: 1² + 1² + (2 − 2)² = 2, so 1.414 %. Apart: 1 + 1 + 4 + 4 = 10, so 3.162 %.
    assert!((x.apart(1.0, &y, 1.0, true).0 - 0.02_f64.sqrt() / 10.0).abs() < 1e-12);
    assert!((x.apart(1.0, &y, 1.0, false).0 - 0.1_f64.sqrt() / 10.0).abs() < 1e-12);
    // The difference 110 − 100: own 1.1 and 1.0 W; the meter moves it by 2.2 − 2.0 = 0.2 W: √(1.21 + 1 + 0.04) = 1.5 W.
    assert!((x.apart(100.0, &y, 110.0, true).0 - 1.5).abs() < 1e-12);
    // A meter of another name, or another that moves the figure the other way.
    let z = known(110.0, 0.01, vec![(meter("other", &b), 0.02)]);
    assert!((x.apart(1.0, &z, 1.0, true).0 - 0.1_f64.sqrt() / 10.0).abs() < 1e-12);
    let w = known(110.0, 0.01, vec![(m, -0.02)]);
    // 1 + 1 + (2 + 2)² = 18.
    assert!((x.apart(1.0, &w, 1.0, true).0 - 0.18_f64.sqrt() / 10.0).abs() < 1e-12);
}

#[test]
fn the_cancellation_agrees_with_trials() {
    let b = bench("x", 1.0, ROOM, true);
    let [p, q, r] = ["p", "q", "r"].map(|n| meter(n, &b));
    let x = known(
        700.0,
        0.012,
        vec![(p.clone(), 0.02), (q.clone(), -0.015), (r.clone(), 0.01)],
    );
    let y = known(640.0, 0.009, vec![(q.clone(), -0.02), (p.clone(), 0.012)]);
    let mut dice = stream(7, 0);
    let trials = 100_000;
    let mut squares = 0.0;
    for _ in 0..trials {
        // One error a meter, the same in both figures.
        let errors = [normal(&mut dice), normal(&mut dice), normal(&mut dice)];
        let error = |m: &Meter| errors[["p", "q", "r"].iter().position(|n| *n == m.name).unwrap()];
        let of = |k: &Known, own: f64| {
            k.own * own + k.shared.iter().map(|(m, u)| u * error(m)).sum::<f64>()
        };
        let (own_x, own_y) = (normal(&mut dice), normal(&mut dice));
        squares += (of(&y, own_y) - of(&x, own_x)).powi(2);
    }
    let seen = (squares / f64::from(trials)).sqrt();
    let told = x.apart(1.0, &y, 1.0, true).0;
    // The sd of 100 000 trials is known to 1/√200 000 = 0.22 %; four times that.
    assert!((told / seen - 1.0).abs() < 0.009, "{told} {seen}");
    assert!(x.apart(1.0, &y, 1.0, false).0 > 1.2 * told);
}

#[test]
fn the_true_ratio_lies_within_and_sharing_narrows_it() {
    let a = bench("first", 1.0, ROOM, true);
    let b = bench("second", 1.10, ROOM, true);
    let c = answer(&a, &b, &OPTIONS).unwrap();
    // All benches cover 22 to 32 and 31 to 39 degC: the middle is 27 and 35.
    assert_eq!((c.intake_c, c.ambient_c), (27.0, 35.0));
    assert_eq!(c.shared, ["meter", "vane"]);
    let p = c.pairs.iter().find(|p| p.figure == "draw_w").unwrap();
    let width = |i: (f64, f64)| i.1 - i.0;
    assert!(
        p.ratio_interval.0 < 1.10 && 1.10 < p.ratio_interval.1,
        "{p:?}"
    );
    assert_eq!(p.finding, Same::Differ, "{p:?}");
    // The meter of 3 % makes ±4.2 % of a ratio where nothing is shared.
    assert!(width(p.ratio_interval_apart) > 0.08, "{p:?}");
    assert!(
        width(p.ratio_interval) < 0.4 * width(p.ratio_interval_apart),
        "{p:?}"
    );
    // 100 Ah at 24 V are 2400 Wh: some 24 h at 100 W.
    let low = c.units[0].settings.iter().find(|s| s.fan == "1").unwrap();
    assert!((low.hours_per_100_ah.unwrap().value - 24.0).abs() < 0.3);
    assert!(low.roles.contains(&"least draw"));
}

#[test]
fn a_unit_is_the_same_as_itself_only_by_the_same_meter() {
    let (a, b) = (
        bench("first", 1.0, ROOM, true),
        bench("again", 1.0, ROOM, true),
    );
    let find = |c: &Comparison| {
        let p = c.pairs.iter().find(|p| p.figure == "draw_w").unwrap();
        (p.finding, p.ratio)
    };
    let (together, ratio) = find(&answer(&a, &b, &OPTIONS).unwrap());
    assert_eq!(together, Same::Same);
    assert!((ratio - 1.0).abs() < 1e-9);
    let apart = CompareOptions {
        shared: false,
        ..OPTIONS
    };
    let c = answer(&a, &b, &apart).unwrap();
    assert_eq!(find(&c).0, Same::Open);
    assert!(c.shared.is_empty());
}

#[test]
fn no_common_conditions_is_refused() {
    let a = bench("first", 1.0, ROOM, true);
    let far = bench("far", 1.0, [41.0, 43.0, 45.0], true);
    let e = answer(&a, &far, &OPTIONS).unwrap_err();
    assert!(
        matches!(
            e,
            CompareError::Apart {
                what: "ambient",
                ..
            }
        ),
        "{e}"
    );
    assert!(e.to_string().contains("31.0 to 39.0"), "{e}");
    let asked = CompareOptions {
        intake_c: Some(40.0),
        ..OPTIONS
    };
    let e = answer(&a, &a, &asked).unwrap_err();
    assert!(
        matches!(e, CompareError::Outside { what: "intake", .. }),
        "{e}"
    );
}

#[test]
fn a_bench_without_capacity_is_compared_by_draw_alone() {
    let a = bench("first", 1.0, ROOM, true);
    let b = bench("second", 1.0, ROOM, false);
    let c = answer(&a, &b, &OPTIONS).unwrap();
    assert!(c.pairs.iter().all(|p| p.figure == "draw_w"));
    assert!(!c.pairs.is_empty());
}

#[test]
fn many_units_are_compared_with_the_first_and_pairs_grow_no_faster_than_units() {
    let benches: Vec<Bench> = (0..MOST_EACH_WITH_EACH + 1)
        .map(|i| bench(&format!("unit {i}"), 1.0 + 0.02 * i as f64, ROOM, false))
        .collect();
    let couples = |c: &Comparison| {
        let mut all: Vec<_> = c.pairs.iter().map(|p| (p.a.0, p.b.0)).collect();
        all.dedup();
        all
    };
    let few: Vec<&Bench> = benches.iter().take(3).collect();
    let c = answer_all(&few, &OPTIONS).unwrap();
    assert_eq!(couples(&c), [(0, 1), (0, 2), (1, 2)]);
    let all: Vec<&Bench> = benches.iter().collect();
    let c = answer_all(&all, &OPTIONS).unwrap();
    let with_first: Vec<_> = (1..benches.len()).map(|b| (0, b)).collect();
    assert_eq!(couples(&c), with_first);
}

#[test]
fn the_front_is_what_no_other_setting_beats() {
    let a = bench("first", 1.0, ROOM, true);
    let mut units = answer(&a, &a, &OPTIONS).unwrap().units;
    let model = units[0].settings[0].clone();
    // Draw, capacity, on the front: the cheapest; beaten in both; beaten in one and level in the other, either way; two alike; the coolest.
    let cases = [
        [
            (90.0, 450.0, true),
            (110.0, 430.0, false),
            (100.0, 480.0, false),
        ],
        [
            (120.0, 500.0, false),
            (100.0, 500.0, true),
            (140.0, 600.0, true),
        ],
    ];
    for (unit, settings) in units.iter_mut().zip(cases) {
        let of = |(draw, capacity, _): (f64, f64, bool)| {
            let mut s = model.clone();
            s.draw_w.value = draw;
            s.capacity_w = s.capacity_w.map(|c| Measured {
                value: capacity,
                ..c
            });
            s
        };
        unit.settings = settings.map(of).to_vec();
    }
    let twin = units[1].settings[1].clone();
    units[0].settings.push(twin);
    front(&mut units);
    let found: Vec<bool> = (units.iter().flat_map(|u| &u.settings))
        .map(|s| s.on_front)
        .collect();
    assert_eq!(found, [true, false, false, true, false, true, true]);
}
