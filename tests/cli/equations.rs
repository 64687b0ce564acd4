//! Every equation that `fit --json` prints, read back as a reader would, gives the library's own figure.

use std::path::Path;

use serde_json::Value;
use steadydraw::bench::Bench;
use steadydraw::fit::Equation;
use steadydraw::fit::candidates::{DrawFit, fit_draw};
use steadydraw::fit::forms::{At, CapacityData, DrawData};
use steadydraw::made::bench::{Kind, Options, make};

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, run};

/// Coefficients stand in the equations to seven decimals of ln W, over at most some 20 K from the reference.
const RELATIVE: f64 = 1e-5;

/// Intake and ambient: inside the tested ranges, at their edge, and well beyond on both sides.
const CONDITIONS: [(f64, f64); 6] = [
    (27.0, 26.0),
    (24.0, 22.0),
    (32.5, 31.0),
    (21.0, 35.0),
    (40.0, 38.0),
    (15.0, 12.0),
];

/// Evaluates an equation's right side; names that it may use stand with their values.
fn evaluate(text: &str, values: &[(&str, f64)]) -> f64 {
    let (left, right) = text.split_once(" = ").unwrap_or_else(|| panic!("{text}"));
    // The reader wants a parameter; this one changes nothing.
    let whole = format!("{left} = {right} + 0*nothing");
    let columns: Vec<String> = values
        .iter()
        .map(|v| v.0.to_owned())
        .chain([left.to_owned()])
        .collect();
    let curve = Equation::parse(&whole)
        .and_then(|e| e.with_columns(&columns))
        .unwrap_or_else(|e| panic!("{text}: {e}"));
    assert_eq!(
        curve.parameters(),
        ["nothing"],
        "a name without a value in {text}"
    );
    let data: Vec<[f64; 1]> = curve
        .columns()
        .iter()
        .map(|c| [values.iter().find(|v| v.0 == c).map_or(f64::NAN, |v| v.1)])
        .collect();
    curve.right_values(&[0.0], &data, 1)[0]
}

/// Compares the equations of one candidate; gives how many figures were compared.
fn compare(fit: &DrawFit, index: usize, json: &Value) -> usize {
    let data = &fit.data;
    let candidate = &fit.candidates[index];
    let form = &candidate.form;
    assert_eq!(json["form"], form.words(data));
    let equations = json["equations"].as_array().unwrap();
    assert!(!equations.is_empty(), "{}", json["form"]);
    assert_eq!(json["equation"], equations[0]["text"]);
    let mut compared = 0;
    // Which (mode, level) has been spoken for by an equation.
    let mut covered = vec![vec![false; data.levels.len()]; data.modes.len()];
    for (k, e) in equations.iter().enumerate() {
        let (modes, fan) = (e["modes"].as_str().unwrap(), e["fan"].as_str().unwrap());
        let text = e["text"].as_str().unwrap();
        for (m, mode) in data.modes.iter().enumerate() {
            // Equations with the airflow as a variable come group by group.
            let meant = match fan {
                "all" => form.groups[m] == k,
                _ => modes == mode || modes == form.group_name(data, form.groups[m]),
            };
            if !meant {
                continue;
            }
            for (l, level) in data.levels.iter().enumerate() {
                if fan != "all" && fan != level.label {
                    continue;
                }
                covered[m][l] = true;
                for (intake, ambient) in CONDITIONS {
                    let at = At::new(m, l, intake, ambient);
                    let Some(own) = fit.draw_of(candidate, &at) else {
                        continue;
                    };
                    let mut values = vec![("intake_degC", intake), ("ambient_degC", ambient)];
                    values.extend(level.flow.map(|f| ("flow_m3h", f)));
                    let read = evaluate(text, &values);
                    assert!(
                        (read / own.draw_w - 1.0).abs() < RELATIVE,
                        "{text}\n{mode}, fan {fan}, {intake}, {ambient}: {read} and {}",
                        own.draw_w
                    );
                    compared += 1;
                }
            }
        }
    }
    for (m, levels) in data.tested.iter().enumerate() {
        for (l, runs) in levels.iter().enumerate() {
            assert!(
                *runs == 0 || covered[m][l],
                "no equation for a tested setting: {}",
                json["form"]
            );
        }
    }
    compared
}

#[track_caller]
fn equations_hold(bench: &Bench, json: &Value) -> usize {
    let data = DrawData::from_bench(bench);
    let capacity = CapacityData::from_bench(bench, &data)
        .ok()
        .and_then(|c| fit_draw(c.data).ok());
    let draw = fit_draw(data).unwrap();
    let mut compared = 0;
    for (fit, list) in [
        (Some(draw), "draw_candidates"),
        (capacity, "capacity_candidates"),
    ] {
        let Some(fit) = fit else {
            assert_eq!(json[list], Value::Null);
            continue;
        };
        let candidates = json[list].as_array().unwrap();
        assert_eq!(candidates.len(), fit.candidates.len());
        for (i, c) in candidates.iter().enumerate() {
            compared += compare(&fit, i, c);
        }
    }
    compared
}

fn hold(bench: &BenchDir) -> usize {
    let json = bench.run("fit --json").answers().json();
    equations_hold(&Bench::open(bench.path()).unwrap(), &json)
}

#[test]
fn on_the_demo() {
    let json = run("fit --json").answers().json();
    let demo = Bench::embedded(steadydraw::made::demo::files()).unwrap();
    assert!(equations_hold(&demo, &json) > 1000);
}

#[test]
fn on_the_invented_bench_and_on_benches_that_lack_something() {
    let bench = |sheet: Sheet| BenchDir::invented().points(sheet.csv());
    assert!(hold(&BenchDir::invented()) > 1000);
    // No blower is known; then the equations have the airflow as a variable.
    hold(&bench(
        Sheet::invented().keep(|kind, _, _| kind == "cooling"),
    ));
    hold(&bench(
        Sheet::invented()
            .drop(&["outlet_temp"])
            .keep(|kind, _, _| kind == "cooling"),
    ));
    hold(&bench(Sheet::invented().drop(&["airflow"])));
    hold(&bench(Sheet::invented().drop(&["ambient_temp"])));
    hold(&bench(
        Sheet::invented().drop(&["intake_temp", "ambient_temp"]),
    ));
    hold(&bench(Sheet::invented().drop(&["mode"])));
}

#[test]
fn with_humidity_that_varied_by_itself() {
    let mut i = 0;
    let mut humid = Sheet::invented();
    let rh = humid.column("intake_rh");
    for row in &mut humid.rows {
        i += 1;
        row[rh] = (30 + i * 7 % 40).to_string();
    }
    hold(&BenchDir::invented().points(humid.csv()));
}

#[test]
fn with_references_below_zero_and_names_that_look_like_parts_of_an_equation() {
    let cold = Sheet::invented()
        .numbers("ambient_temp", |t| t - 32.0)
        .numbers("intake_temp", |t| t - 20.0);
    hold(&BenchDir::invented().points(cold.csv()));
    // Without a blower the equations have the airflow as a variable and go by groups of modes.
    let cooling = || Sheet::invented().keep(|kind, _, _| kind == "cooling");
    let named = cooling().each("mode", |m| format!("\"slope with intake, {m}\""));
    hold(&BenchDir::invented().points(named.csv()));
    let joined = |m: &str| {
        if m == "eco" {
            "a + b".to_owned()
        } else {
            "\"exponent of airflow, a + b\"".to_owned()
        }
    };
    hold(&BenchDir::invented().points(cooling().each("mode", joined).csv()));
    // A mode whose name is that of two others taken together.
    let mut three = Sheet::invented();
    let (m, r) = (three.column("mode"), three.column("order"));
    for row in three.rows.iter_mut().filter(|row| !row[m].is_empty()) {
        let order: u32 = row[r].parse().unwrap();
        row[m] = match (row[m].as_str(), order % 2) {
            ("eco", 0) => "b",
            ("eco", _) => "a",
            _ => "a + b",
        }
        .to_owned();
    }
    let cooling = three.keep(|kind, _, _| kind == "cooling");
    assert!(hold(&BenchDir::invented().points(cooling.csv())) > 1000);
}

#[test]
fn with_a_control_that_ramps_or_steps() {
    for (kind, seed) in [(Kind::IndependentRamp, 9), (Kind::IndependentStepped, 3)] {
        let made = make(kind, seed, &Options::default());
        let bench = || BenchDir::new().toml(&made.toml);
        let json = bench().points(&made.points_csv).run("fit --json").answers();
        for part in [
            "held speed with a slope by mode",
            "held speed with a slope growing",
        ] {
            assert!(json.stdout.contains(part), "no {part}: choose another seed");
        }
        let ramps = json.stdout.contains("speed, slope by mode");
        assert_eq!(ramps, kind == Kind::IndependentRamp);
        assert!(hold(&bench().points(&made.points_csv)) > 1000);
        // Without a blower the equations have the airflow as a variable.
        let lines = made.points_csv.lines().filter(|l| !l.contains("fan-only"));
        hold(&bench().points(lines.map(|l| format!("{l}\n")).collect::<String>()));
    }
}

#[test]
fn on_the_published_bench() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/two-stage-heat-pump");
    let args = [
        "fit".to_owned(),
        path.to_str().unwrap().to_owned(),
        "--json".to_owned(),
    ];
    let folder = tempfile::tempdir().unwrap();
    let json = crate::support::run_in(folder.path(), &args, &[])
        .answers()
        .json();
    assert!(equations_hold(&Bench::open(&path).unwrap(), &json) > 50);
}
