//! What must not matter: the order of rows, the units in which a table is written, the names of modes, the names of runs.
//! Verdict, draws and intervals stay the same to 1e-9 relative.

use serde_json::Value;

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, TOML, run_in};

/// Figures are sums over runs and logarithms: another order, or 297.2 K for 24.05 degC, moves their last digits only.
const RELATIVE: f64 = 1e-9;

/// Predictions by setting, and the coupling's answer.
struct Answers {
    predictions: Vec<Value>,
    coupling: Value,
}

fn answers(sheet: &Sheet, toml: &str) -> Answers {
    let bench = BenchDir::new().toml(toml).points(sheet.csv());
    let json = |line: &str| bench.run(&format!("{line} --json")).answers().json();
    let predictions = json("predict --intake 28degC --intake 38degC --ambient 27degC");
    Answers {
        predictions: predictions["predictions"].as_array().unwrap().clone(),
        coupling: json("coupling"),
    }
}

#[track_caller]
fn same(a: &Value, b: &Value, what: &str) {
    let (x, y) = (a.as_f64(), b.as_f64());
    match (x, y) {
        (Some(x), Some(y)) => assert!((x - y).abs() <= RELATIVE * x.abs(), "{what}: {x} and {y}"),
        _ => assert_eq!(a, b, "{what}"),
    }
}

/// Compares two benches' answers; `renamed` gives the second bench's name of a mode.
#[track_caller]
fn the_same(a: &Answers, b: &Answers, renamed: impl Fn(&str) -> String) {
    assert_eq!(a.predictions.len(), b.predictions.len());
    for p in &a.predictions {
        let mode = Value::from(renamed(p["mode"].as_str().unwrap()));
        let q = b
            .predictions
            .iter()
            .find(|q| {
                let near = q["intake_c"].as_f64().unwrap() - p["intake_c"].as_f64().unwrap();
                q["mode"] == mode && q["fan"] == p["fan"] && near.abs() < 1e-9
            })
            .unwrap_or_else(|| panic!("no prediction for {mode}, {}", p["fan"]));
        for (key, value) in p.as_object().unwrap() {
            if key.ends_with("_w") || key.ends_with("_c") || key == "support" {
                same(value, &q[key], key);
            }
        }
    }
    let (a, b) = (&a.coupling, &b.coupling);
    for key in ["verdict", "p_value", "modes_differ", "allowance"] {
        same(&a[key], &b[key], key);
    }
    for key in ["value", "low", "high"] {
        same(&a["elasticity"][key], &b["elasticity"][key], key);
    }
    for m in a["per_mode"].as_array().unwrap() {
        let mode = Value::from(renamed(m["mode"].as_str().unwrap()));
        let own = b["per_mode"].as_array().unwrap();
        let n = own.iter().find(|n| n["mode"] == mode).unwrap();
        same(&m["verdict"], &n["verdict"], "verdict by mode");
        for key in ["value", "low", "high"] {
            same(&m["elasticity"][key], &n["elasticity"][key], key);
        }
    }
    let levels = |v: &Value| v["fan_draw"]["levels"].as_array().unwrap().clone();
    for (l, m) in levels(a).iter().zip(&levels(b)) {
        same(&l["draw_w"], &m["draw_w"], "blower");
        same(&l["u_w"], &m["u_w"], "blower's uncertainty");
    }
}

fn same_as_before(changed: &Sheet) {
    let before = answers(&Sheet::invented(), TOML);
    the_same(&before, &answers(changed, TOML), str::to_owned);
}

#[test]
fn the_order_of_rows() {
    for seed in 1..=4 {
        same_as_before(&Sheet::invented().shuffled(seed));
    }
}

#[test]
fn the_names_of_modes_and_of_runs() {
    let before = answers(&Sheet::invented(), TOML);
    // The second name sorts the other way round than the first.
    let rename = |m: &str| {
        if m == "eco" {
            "zephyr".to_owned()
        } else {
            "absolute, full".to_owned()
        }
    };
    let quoted = |m: &str| format!("\"{}\"", rename(m));
    let renamed = Sheet::invented()
        .each("mode", quoted)
        .each("run", |r| format!("run {r}/b"));
    the_same(&before, &answers(&renamed, TOML), rename);
}

#[test]
fn fahrenheit_and_kelvin() {
    let mut f = Sheet::invented();
    let mut k = Sheet::invented();
    for name in ["intake_temp", "outlet_temp", "ambient_temp"] {
        f = f
            .numbers(name, |c| c * 1.8 + 32.0)
            .heading(name, &format!("{name} [degF]"));
        k = k
            .numbers(name, |c| c + 273.15)
            .heading(name, &format!("{name} [K]"));
    }
    same_as_before(&f);
    same_as_before(&k);
}

#[test]
fn kilowatts_millivolts_and_milliamperes() {
    let scaled = Sheet::invented()
        .numbers("power", |w| w / 1000.0)
        .heading("power", "power [kW]")
        .numbers("voltage", |v| v * 1000.0)
        .heading("voltage", "voltage [mV]")
        .numbers("current", |a| a * 1000.0)
        .heading("current", "current [mA]");
    same_as_before(&scaled);
}

#[test]
fn cubic_feet_a_minute_and_litres_a_second() {
    // 60 cubic feet of 0.3048^3 m3 each.
    let cfm = 60.0 * 0.3048_f64.powi(3);
    same_as_before(
        &Sheet::invented()
            .numbers("airflow", |v| v / cfm)
            .heading("airflow", "airflow [cfm]"),
    );
    same_as_before(
        &Sheet::invented()
            .numbers("airflow", |v| v / 3.6)
            .heading("airflow", "airflow [L/s]"),
    );
}

#[test]
fn humidity_as_a_fraction_and_accuracies_in_other_units() {
    let before = answers(&Sheet::invented(), TOML);
    let sheet = Sheet::invented()
        .numbers("intake_rh", |v| v / 100.0)
        .heading("intake_rh", "intake_rh [1]");
    let toml = TOML
        .replace("\"0.4 degC\"", "\"0.72 degF\"")
        .replace("\"25.6 V\"", "\"25600 mV\"")
        .replace("\"40 m\"", "\"4000 cm\"");
    assert_ne!(toml, TOML);
    the_same(&before, &answers(&sheet, &toml), str::to_owned);
}

#[test]
fn units_on_the_command_line() {
    let bench = BenchDir::invented();
    let predict = |intake: &str, ambient: &str| {
        let args = [
            "predict",
            ".",
            "--json",
            "--intake",
            intake,
            "--ambient",
            ambient,
        ];
        run_in(bench.path(), &args.map(str::to_owned), &[])
            .answers()
            .json()["predictions"]
            .clone()
    };
    let c = predict("35degC", "30degC");
    for (intake, ambient) in [
        ("95degF", "86 degF"),
        ("308.15 K", "303.15K"),
        ("95 °F", "30 °C"),
    ] {
        let other = predict(intake, ambient);
        for (a, b) in c.as_array().unwrap().iter().zip(other.as_array().unwrap()) {
            for key in [
                "draw_w",
                "run_low_w",
                "run_high_w",
                "mean_low_w",
                "mean_high_w",
                "capacity_w",
            ] {
                same(&a[key], &b[key], key);
            }
        }
    }
}
