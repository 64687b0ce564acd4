//! How long the work takes: `cargo bench --bench speed`. Each line is a median of rounds, in milliseconds; `--json` gives the same as one
//! JSON object, which `benches/beside.py` reads to set general tools beside it. `RAYON_NUM_THREADS=1` keeps it on one core.

use std::hint::black_box;
use std::time::Instant;

use serde_json::{Map, Value, json};
use steadydraw::bench::Bench;
use steadydraw::coupling::{Options, assess};
use steadydraw::fit::candidates::fit_draw;
use steadydraw::fit::forms::{At, DrawData};
use steadydraw::fit::nonlinear::refit_nonlinear;
use steadydraw::fit::{CurveProblem, Equation, Settings, fit_nonlinear};
use steadydraw::made::demo;
use steadydraw::predict::predict;
use steadydraw::stats::bootstrap::{Resample, Scheme, Settings as Replicates, run};
use steadydraw::stats::permutation::{Settings as Draws, exchange_labels};
use steadydraw::stats::random::{normal, stream};

/// Rounds of one piece of work.
const ROUNDS: usize = 7;

/// The median time of some rounds, in ms.
fn median(mut work: impl FnMut()) -> f64 {
    work();
    let mut times: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let start = Instant::now();
            work();
            1000.0 * start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[ROUNDS / 2]
}

struct Lines {
    json: bool,
    found: Map<String, Value>,
}

impl Lines {
    fn add(&mut self, name: &str, ms: f64) {
        if !self.json {
            println!("{name:44} {ms:10.3} ms");
        }
        self.found.insert(name.to_owned(), json!(ms));
    }
}

/// Responses of 48 runs at three levels in four blocks; `beside.py` makes the like.
const RUNS: usize = 48;
const PERMUTATIONS: u64 = 100_000;
/// A curve of four parameters through 40 readings.
const READINGS: usize = 40;
const REFITS: usize = 2_000;

fn permutation(lines: &mut Lines) {
    let mut rng = stream(1, 0);
    let y: Vec<f64> = (0..RUNS).map(|_| normal(&mut rng)).collect();
    let labels: Vec<usize> = (0..RUNS).map(|i| i % 3).collect();
    let strata = vec![0; RUNS];
    let settings = Draws {
        exact_up_to: 0,
        draws: PERMUTATIONS,
        seed: 1,
    };
    // The sum of squares between levels, which orders arrangements as F does.
    let between = |labels: &[usize]| {
        let mut sums = [0.0; 3];
        for (y, l) in y.iter().zip(labels) {
            sums[*l] += y;
        }
        sums.iter().map(|s| s * s).sum::<f64>()
    };
    let ms = median(|| {
        black_box(exchange_labels(&labels, &strata, &settings, between).is_ok());
    });
    lines.add("permutation: 100 000 of 48 runs", ms);
}

fn bootstrap(lines: &mut Lines) {
    let equation = "y = a + b/(1 + exp(-c*(x - d)))";
    let curve = Equation::parse(equation)
        .unwrap()
        .with_columns(&["x".to_owned(), "y".to_owned()])
        .unwrap();
    let mut rng = stream(2, 0);
    let x: Vec<f64> = (0..READINGS)
        .map(|i| 10.0 * i as f64 / (READINGS - 1) as f64)
        .collect();
    let truth = |x: f64| 20.0 + 80.0 / (1.0 + (-1.3 * (x - 5.0)).exp());
    let y: Vec<f64> = x
        .iter()
        .map(|x| truth(*x) + 1.5 * normal(&mut rng))
        .collect();
    let data: Vec<&[f64]> = curve
        .columns()
        .iter()
        .map(|c| if c == "x" { x.as_slice() } else { y.as_slice() })
        .collect();
    let on = curve.on_data(&data, READINGS);
    let start: Vec<f64> = curve
        .parameters()
        .iter()
        .map(|p| match p.as_str() {
            "a" => 15.0,
            "b" => 90.0,
            "c" => 1.0,
            _ => 4.5,
        })
        .collect();
    let settings = Settings::default();
    let problem = CurveProblem::new(on, y.clone(), None).unwrap();
    let best = fit_nonlinear(&problem, &start, &settings).unwrap();
    let fitted: Vec<f64> = y.iter().zip(&best.residuals).map(|(y, r)| y + r).collect();
    let residuals: Vec<f64> = best.residuals.iter().map(|r| -r).collect();
    let scheme = Scheme::Residuals {
        fitted: &fitted,
        residuals: &residuals,
    };
    let quick = Settings {
        // As scipy's curve_fit by default.
        tolerance: 1.49e-8,
        ..Settings::default()
    };
    let ms = median(|| {
        let found = run(
            &scheme,
            &Replicates {
                replicates: REFITS,
                seed: 1,
            },
            |new| match new {
                Resample::Response(y) => {
                    let problem = problem.with_observed(y.to_vec()).ok()?;
                    refit_nonlinear(&problem, &best.params, &quick)
                        .ok()
                        .map(|f| f.params)
                }
                Resample::Rows(_) => None,
            },
        );
        black_box(found.is_ok());
    });
    lines.add("bootstrap: 2 000 refits of 4 parameters", ms);
}

/// A bench of many runs: two modes, three levels, three intakes.
fn bench_of(runs: usize) -> Bench {
    let mut rng = stream(3, runs as u64);
    let mut text = "run,kind,mode,fan,block,order,intake_temp [degC],ambient_temp [degC],airflow [m3/h],power [W]\n".to_owned();
    let (flows, blower) = ([180.0, 260.0, 390.0], [9.0, 16.0, 29.0]);
    for i in 0..runs {
        let (mode, fan, step) = (i % 2, i / 2 % 3, i / 6 % 3);
        let (t, a) = (
            22.0 + 4.0 * step as f64 + 0.3 * normal(&mut rng),
            24.0 + 2.0 * normal(&mut rng),
        );
        let day = i * 10 / runs;
        let flow = flows[fan] * (1.0 + 0.01 * normal(&mut rng));
        if i % 8 == 7 {
            let w = blower[fan] * (1.0 + 0.003 * normal(&mut rng));
            text.push_str(&format!(
                "r{i},fan-only,,{},day {day},{i},{t:.2},{a:.2},{flow:.1},{w:.2}\n",
                fan + 1
            ));
        } else {
            let side = [95.0, 140.0][mode]
                * (flow / 260.0_f64).powf(0.3)
                * (0.012 * (t - 26.0) + 0.018 * (a - 24.0)).exp();
            let w = blower[fan] + side * (1.0 + 0.01 * normal(&mut rng));
            text.push_str(&format!(
                "r{i},cooling,{},{},day {day},{i},{t:.2},{a:.2},{flow:.1},{w:.2}\n",
                ["eco", "full"][mode],
                fan + 1
            ));
        }
    }
    Bench::from_texts("title = \"t\"\n[points]\nfile = \"points.csv\"\n", &text).unwrap()
}

fn analysis(lines: &mut Lines, name: &str, bench: &Bench) {
    let data = DrawData::from_bench(bench);
    lines.add(
        &format!("fit: {name}"),
        median(|| {
            black_box(fit_draw(data.clone()).is_ok());
        }),
    );
    lines.add(
        &format!("coupling: {name}"),
        median(|| {
            black_box(assess(bench, &data, &Options::default()).p_value);
        }),
    );
    let fit = fit_draw(data.clone()).unwrap();
    lines.add(
        &format!("one prediction: {name}"),
        median(|| {
            black_box(predict(bench, &fit, At::new(0, 0, 35.0, 30.0), 0.95));
        }),
    );
}

fn main() {
    let json = std::env::args().any(|a| a == "--json");
    let short = std::env::args().any(|a| a == "--short");
    let mut lines = Lines {
        json,
        found: Map::new(),
    };
    permutation(&mut lines);
    bootstrap(&mut lines);
    analysis(
        &mut lines,
        "the demo, 78 runs",
        &Bench::embedded(demo::files()).unwrap(),
    );
    if !short {
        for runs in [100, 1_000, 10_000] {
            analysis(&mut lines, &format!("{runs} runs"), &bench_of(runs));
        }
    }
    if json {
        println!("{}", Value::Object(lines.found));
    }
}
