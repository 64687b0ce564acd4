//! The plan: its order, its tables, what it promises against made runs of a physical unit, and the command.

mod support;

use std::collections::BTreeMap;

use steadydraw::bench::logs::RunTable;
use steadydraw::bench::{Bench, Kind, Place};
use steadydraw::coupling::{Options, Verdict, assess};
use steadydraw::fit::forms::DrawData;
use steadydraw::made::dice::Dice;
use steadydraw::made::drawn::Design as Unit;
use steadydraw::made::kind::Kind as Made;
use steadydraw::made::rows::{Bias, Label, Sensors};
use steadydraw::plan::{
    Assumed, Design, Known, Plan, PlanError, Question, RunTimes, TimeNeeded, enough, levels_differ,
    points_csv, reach, runs_csv,
};
use steadydraw::quantity::System;
use steadydraw::stats::chi_square;
use support::{BenchDir, run};

fn design(repeats: usize, blocks: usize, grouped: bool) -> Design {
    Design {
        modes: vec!["cool".to_owned(), "eco".to_owned()],
        repeats,
        blocks,
        group_intakes: grouped,
        ..Design::of(None)
    }
}

#[test]
fn every_setting_as_often_as_asked_and_blocks_balanced() {
    for (repeats, blocks) in [(2, 2), (3, 2), (4, 2), (1, 3), (5, 3), (2, 1)] {
        for grouped in [false, true] {
            let plan = design(repeats, blocks, grouped).plan(7).unwrap();
            let mut cells: BTreeMap<_, Vec<usize>> = BTreeMap::new();
            let mut sizes = vec![0; blocks];
            for r in plan.runs.iter().filter(|r| r.kind == Kind::Cooling) {
                let held = cells.entry((r.mode, r.fan, r.intake)).or_default();
                held.push(r.block);
                sizes[r.block] += 1;
            }
            assert_eq!(cells.len(), 12);
            for held in cells.values() {
                assert_eq!(held.len(), repeats);
                for block in 0..blocks {
                    let here = held.iter().filter(|b| **b == block).count();
                    assert!(here == repeats / blocks || here == repeats.div_ceil(blocks));
                }
            }
            let (least, most) = (sizes.iter().min().unwrap(), sizes.iter().max().unwrap());
            assert!(most - least <= 1, "{sizes:?}");
            assert_eq!(plan.count(Kind::FanOnly), 6);
            assert_eq!(plan.count(Kind::Standby), blocks);
            let order: Vec<usize> = plan.runs.iter().map(|r| r.order).collect();
            assert_eq!(order, (1..=plan.runs.len()).collect::<Vec<_>>());
        }
    }
}

#[test]
fn the_seed_gives_the_order() {
    let order = |seed| design(2, 2, false).plan(seed).unwrap().runs;
    assert_eq!(order(1), order(1));
    assert_ne!(order(1), order(2));
}

#[test]
fn grouped_intakes_change_once_a_block() {
    let plan = design(2, 2, true).plan(3).unwrap();
    for block in 0..2 {
        let own = plan.runs.iter().filter(|r| r.block == block);
        let intakes: Vec<_> = own.filter_map(|r| r.intake).collect();
        assert_eq!(intakes.windows(2).filter(|w| w[0] != w[1]).count(), 1);
    }
    let hours = |grouped| {
        let plan = design(2, 2, grouped).plan(3).unwrap();
        TimeNeeded::of(&plan, &RunTimes::COMMON)
    };
    assert_eq!(hours(true).intake_changes, 4);
    // By hand: 24 runs of 45 min, 6 of 10 min, 2 of 5 min, 4 changes of 30 min.
    let by_hand = (24.0 * 45.0 + 6.0 * 10.0 + 2.0 * 5.0 + 4.0 * 30.0) / 60.0;
    assert!((hours(true).total_h - by_hand).abs() < 1e-9);
    assert!(hours(false).total_h > by_hand);
}

#[test]
fn every_run_may_come_first() {
    // After standby: 12 settings and 3 levels; of 15 runs in a block each is expected 40 times in 600.
    let mut counts: BTreeMap<_, f64> = BTreeMap::new();
    for seed in 0..600 {
        let plan = design(2, 2, false).plan(seed).unwrap();
        let r = &plan.runs[1];
        *counts.entry((r.mode, r.fan, r.intake)).or_default() += 1.0;
    }
    let statistic: f64 = counts.values().map(|c| (c - 40.0).powi(2) / 40.0).sum();
    assert_eq!(counts.len(), 15);
    assert!(chi_square::sf(statistic, 14.0) > 1e-3, "{statistic}");
}

#[test]
fn designs_without_sense_are_refused() {
    let mut d = design(2, 2, false);
    d.fans = vec!["1".to_owned(), "1".to_owned()];
    assert!(matches!(d.plan(1), Err(PlanError::Twice { .. })));
    for (repeats, blocks) in [(0, 2), (2, 51), (usize::MAX, 1), (2, 0)] {
        let refused = design(repeats, blocks, false).plan(1);
        assert!(matches!(refused, Err(PlanError::Count { .. })));
    }
    let mut d = design(2, 2, false);
    d.intakes_c = vec![f64::NAN];
    assert!(matches!(d.plan(1), Err(PlanError::Value { .. })));
    d.intakes_c.clear();
    assert!(matches!(d.plan(1), Err(PlanError::Empty { .. })));
}

#[test]
fn a_filled_run_sheet_is_a_run_table() {
    for system in [System::Si, System::Us] {
        let mut d = design(2, 2, false);
        d.modes = vec!["cool, \"soft\"".to_owned(), "#2".to_owned()];
        let plan = d.plan(5).unwrap();
        let blank = runs_csv(&plan, system);
        let read = |text: &str, findings: &mut Vec<_>| {
            RunTable::read(
                "runs.csv",
                text.as_bytes(),
                None,
                Place::file("bench.toml"),
                findings,
            )
        };
        assert!(read(&blank, &mut Vec::new()).is_err(), "blanks are named");
        let mut minute = 0;
        let filled: Vec<String> = { blank.lines() }
            .map(|line| {
                minute += 50;
                let at = |m: i32| {
                    format!(
                        "2026-08-{:02} {:02}:{:02}",
                        20 + m / 1440,
                        m / 60 % 24,
                        m % 60
                    )
                };
                line.replacen("____", &at(minute), 1)
                    .replacen("____", &at(minute + 45), 1)
            })
            .collect();
        let mut findings = Vec::new();
        let table = read(&filled.join("\n"), &mut findings).unwrap();
        assert_eq!(table.rows.len(), plan.runs.len());
        for (row, run) in table.rows.iter().zip(&plan.runs) {
            assert_eq!((row.run.as_str(), row.kind), (run.run.as_str(), run.kind));
            assert_eq!(
                (row.mode.as_str(), row.fan.as_str()),
                (plan.mode(run), plan.fan(run))
            );
            assert_eq!(
                (&row.block, &row.order),
                (&plan.block(run), &run.order.to_string())
            );
        }
        let warned: Vec<_> = { findings.iter() }
            .filter(|f| f.severity != steadydraw::bench::Severity::Note)
            .collect();
        assert!(warned.is_empty(), "{warned:?}");
    }
}

/// Fills the plan's own `points.csv` with what a physical unit of `made` would have shown; day steps of 1 %.
fn played(plan: &Plan, unit: &Unit, scatter: f64, seed: u64) -> String {
    let mut dice = Dice::new(seed, 77);
    let sensors = Sensors {
        bias: Bias {
            power: 0.004 * dice.normal(),
            intake_k: 0.2 * dice.normal(),
            outlet_k: 0.2 * dice.normal(),
            ambient_k: 0.2 * dice.normal(),
            flow: 0.02 * dice.normal(),
        },
        temp_noise_k: 0.1,
        flow_noise: 0.012,
        rh_noise: 0.5,
        temp_step: 0.01,
        flow_step: 0.1,
        supply_v: 25.6,
        supply_ohm: 0.01,
    };
    let days: Vec<f64> = (0..plan.design.blocks)
        .map(|_| 0.01 * dice.normal())
        .collect();
    let table = points_csv(plan, System::Si);
    let mut runs = plan.runs.iter();
    let mut text = String::new();
    for line in table.lines() {
        if !line.contains(",____") {
            text.push_str(line);
            text.push('\n');
            continue;
        }
        let run = runs.next().unwrap();
        let set_c = plan.intake_c(run).unwrap_or(27.0);
        let at = unit.at(set_c + 0.4 * dice.normal(), unit.ambient_c + dice.normal());
        let own = scatter * dice.normal();
        let machine = &unit.machine;
        let level = run.fan.unwrap_or(0);
        let (state, departure) = match run.mode {
            Some(m) => {
                let control = &machine.modes[m].control;
                (
                    machine.steady(control, level, &at),
                    (own + days[run.block]).exp_m1(),
                )
            }
            None => (machine.fan_only(level, &at), own.exp_m1()),
        };
        let label = Label {
            kind: run.kind.name(),
            mode: String::new(),
            fan: String::new(),
            block: String::new(),
        };
        let row = sensors.read(
            &mut dice,
            label,
            &state,
            &at,
            machine.flow(level),
            departure,
        );
        let mut readings = [
            row.intake_c,
            row.intake_rh,
            row.outlet_c,
            row.outlet_rh,
            row.ambient_c,
            row.airflow_m3h,
            row.voltage_v,
            row.current_a,
        ]
        .map(|v| format!("{v:.3}"));
        if run.kind == Kind::Standby {
            for i in [2, 3, 5] {
                readings[i].clear();
            }
            readings[7] = "0.15".to_owned();
        }
        let (who, _) = line.split_once(",____").unwrap();
        text.push_str(&format!("{who},{}\n", readings.join(",")));
    }
    text
}

/// A unit of a kind, the plan for it, what is to be assumed of it, and its true elasticity.
fn unit(kind: Made, seed: u64, scatter: f64) -> (Unit, Plan, Assumed, f64) {
    let unit = Unit::random(kind, &mut Dice::new(seed, 3));
    let machine = &unit.machine;
    let levels: Vec<usize> = (0..machine.flows.len()).collect();
    let plan = Design {
        modes: machine.modes.iter().map(|m| m.name.clone()).collect(),
        fans: levels.iter().map(|l| (l + 1).to_string()).collect(),
        intakes_c: vec![24.0, 30.0],
        ..Design::of(None)
    }
    .plan(seed)
    .unwrap();
    let at = unit.at(27.0, unit.ambient_c);
    let middle = levels.len() / 2;
    let assumed = Assumed {
        airflows_m3h: machine.flows.clone(),
        airflows: Known::Given,
        blower_w: levels
            .iter()
            .map(|l| machine.fan_only(*l, &at).draw_w)
            .collect(),
        blower: Known::Given,
        compressor_w: { machine.modes.iter() }
            .map(|m| machine.steady(&m.control, middle, &at).compressor_side_w)
            .collect(),
        scatter,
        scatter_from: Known::Given,
    };
    let slopes: Vec<f64> = { machine.modes.iter() }
        .map(|m| machine.elasticity(&m.control, &levels, &at))
        .collect();
    let elasticity = slopes.iter().sum::<f64>() / slopes.len() as f64;
    (unit, plan, assumed, elasticity)
}

fn toml(unit: &Unit) -> String {
    format!(
        "title = \"played\"\n[site]\npressure = \"{:.1} kPa\"\n[points]\nfile = \"points.csv\"\n",
        unit.pressure_pa / 1000.0
    )
}

/// Shares of coupled and independent, and the median width, promised and found.
fn promised_and_found(kind: Made, seed: u64, scatter: f64, n: usize) -> ([f64; 3], [f64; 3]) {
    use rayon::prelude::*;
    let (unit, plan, assumed, elasticity) = unit(kind, seed, scatter);
    let toml = toml(&unit);
    // The true slope at one condition is not quite what the unit shows over all of them; near the allowance a few hundredths count.
    let shown: Vec<f64> = (0..40)
        .filter_map(|i| {
            let table = played(&plan, &unit, 1e-4, 500_000_000 + i);
            let bench = Bench::from_texts(&toml, &table).unwrap();
            let answer = assess(&bench, &DrawData::from_bench(&bench), &Options::default());
            Some(answer.elasticity?.value)
        })
        .collect();
    let shown = shown.iter().sum::<f64>() / shown.len() as f64;
    assert!((shown - elasticity).abs() < 0.15, "{shown} {elasticity}");
    let elasticity = shown;
    let question = Question {
        elasticities: vec![elasticity],
        simulations: n,
        allowance: 0.2,
        level: 0.95,
        seed,
    };
    let promised = reach(&plan, &assumed, &question).unwrap();
    let case = &promised.cases[0];
    let found: Vec<(Verdict, f64)> = (0..n)
        .into_par_iter()
        .map(|i| {
            let table = played(&plan, &unit, scatter, 1_000_000 * seed + i as u64);
            let bench = Bench::from_texts(&toml, &table).unwrap();
            let options = Options {
                permute: false,
                ..Options::default()
            };
            let answer = assess(&bench, &DrawData::from_bench(&bench), &options);
            let width = answer.elasticity.map_or(f64::NAN, |e| e.high - e.low);
            (answer.verdict, width)
        })
        .collect();
    let share = |v| found.iter().filter(|f| f.0 == v).count() as f64 / n as f64;
    let mut widths: Vec<f64> = found.iter().map(|f| f.1).collect();
    widths.sort_by(f64::total_cmp);
    let found = [
        share(Verdict::Coupled),
        share(Verdict::Independent),
        widths[n / 2],
    ];
    eprintln!(
        "{kind:?} {seed}: elasticity {elasticity:.2}, {:.3} {:.3} {:.3} promised, {found:.3?} found",
        case.coupled,
        case.independent,
        case.width.unwrap()
    );
    ([case.coupled, case.independent, case.width.unwrap()], found)
}

/// Within 3 points, and three times the chance error of the two shares' difference at `n` replicates.
fn within(a: [f64; 3], b: [f64; 3], n: usize) {
    for i in 0..2 {
        let chance = 3.0 * ((a[i] * (1.0 - a[i]) + b[i] * (1.0 - b[i])) / n as f64).sqrt();
        assert!(
            (a[i] - b[i]).abs() < 0.03 + chance,
            "{a:?} promised, {b:?} found"
        );
    }
    assert!(
        (a[2] / b[2] - 1.0).abs() < 0.1,
        "{a:?} promised, {b:?} found"
    );
}

#[test]
fn what_a_plan_promises_a_physical_unit_keeps() {
    // The scatter is such that the verdict hangs in the balance.
    for (kind, seed, scatter) in [(Made::Independent, 1, 0.11), (Made::Weak, 2, 0.12)] {
        let n = 600;
        let (a, b) = promised_and_found(kind, seed, scatter, n);
        within(a, b, n);
    }
}

/// `cargo test --release --test plan -- --ignored --nocapture`
#[test]
#[ignore = "some minutes: many units"]
fn what_plans_promise_many_units_keep() {
    let n = 4000;
    for seed in 0..8 {
        for (kind, scatter) in [
            (Made::Independent, 0.10),
            (Made::Coupled, 0.25),
            (Made::Weak, 0.12),
        ] {
            let (a, b) = promised_and_found(kind, seed, scatter, n);
            within(a, b, n);
        }
    }
}

fn reference(name: &str) -> serde_json::Value {
    let path = format!(
        "{}/tests/reference/statistics/{name}.json",
        env!("CARGO_MANIFEST_DIR")
    );
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

#[test]
fn noncentral_f_power_as_published() {
    // Balanced one-way analysis of variance; source in the file: the published output of a statistics system's own examples.
    let want = &reference("ex_power_t_and_anova")["expected"];
    // Four groups of 5 runs, variance of the means 1 (divisor 3), within 3.
    let step = 0.6_f64.sqrt();
    let means = [-1.5, -0.5, 0.5, 1.5].map(|k| k * step);
    let got = levels_differ(&means, 5, 3f64.sqrt(), 16.0, 0.05);
    assert!(
        (got / want["a1_power"].as_f64().unwrap() - 1.0).abs() < 1e-12,
        "{got}"
    );
    // Means 120 to 150, variance 500: 16 runs a group are the first that reach 0.90.
    let power = |n: usize| {
        let dof = (4 * (n - 1)) as f64;
        levels_differ(&[120.0, 130.0, 140.0, 150.0], n, 500f64.sqrt(), dof, 0.05)
    };
    let n = want["a3_n_integer"].as_u64().unwrap() as usize;
    assert!(power(n) >= 0.9 && power(n - 1) < 0.9);
}

#[test]
fn simulated_and_analytic_power_agree_where_the_plan_is_balanced() {
    for (modes, scatter, elasticity) in [(1, 0.06, 0.15), (2, 0.08, 0.2), (2, 0.06, 0.0)] {
        let mut d = design(2, 2, false);
        d.modes.truncate(modes);
        let plan = d.plan(1).unwrap();
        let assumed = Assumed::of(&d, None, Some(scatter), &[]).unwrap();
        let question = Question {
            elasticities: vec![elasticity],
            simulations: 2000,
            allowance: 0.2,
            level: 0.95,
            seed: 4,
        };
        let case = reach(&plan, &assumed, &question).unwrap().cases.remove(0);
        let analytic = case.fan_seen_analytic.unwrap();
        eprintln!("{:.3} simulated, {analytic:.3} analytic", case.fan_seen);
        // Chance alone: sd 1.1 points at most. The blower's own error costs a little more.
        assert!((case.fan_seen - analytic).abs() < 0.03, "{case:?}");
    }
    // Where repeats do not divide among the blocks no analytic figure is stated.
    let d = design(3, 2, false);
    let assumed = Assumed::of(&d, None, None, &[]).unwrap();
    assert_eq!(steadydraw::plan::fan_seen(&d, &assumed, 0.5, 0.05), None);
}

#[test]
fn reach_is_the_same_on_any_number_of_cores() {
    let d = design(2, 2, false);
    let plan = d.plan(1).unwrap();
    let assumed = Assumed::of(&d, None, Some(0.06), &[]).unwrap();
    let question = Question {
        elasticities: vec![0.0, 0.5],
        simulations: 60,
        allowance: 0.2,
        level: 0.95,
        seed: 9,
    };
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| serde_json::to_string(&reach(&plan, &assumed, &question).unwrap()).unwrap())
    };
    assert_eq!(on(1), on(3));
    // Each replicate has one verdict, and the share of the undecided has the standard error of a binomial share.
    let cases = reach(&plan, &assumed, &question).unwrap().cases;
    assert!(cases.iter().any(|c| c.undecided > 0.0 && c.undecided < 1.0));
    for c in cases {
        assert!((c.coupled + c.independent + c.undecided - 1.0).abs() < 1e-12);
        let variance = c.undecided * (1.0 - c.undecided) / 60.0;
        assert!((c.share_u.powi(2) - variance).abs() < 1e-12, "{c:?}");
    }
}

#[test]
fn more_repeats_decide_more_and_enough_says_how_many() {
    let d = design(2, 2, false);
    let assumed = Assumed::of(&d, None, Some(0.08), &[]).unwrap();
    let question = Question {
        elasticities: vec![0.0, 1.0],
        simulations: 200,
        allowance: 0.2,
        level: 0.95,
        seed: 1,
    };
    let found = enough(&d, &assumed, &question, 0.9).unwrap();
    let repeats = found.repeats.unwrap();
    assert!(repeats > 1);
    let shares: Vec<f64> = found.tried.iter().map(|t| t.2).collect();
    assert!(shares[repeats - 1] >= 0.9 && shares[repeats - 2] < 0.9);
    assert!(enough(&d, &assumed, &question, 1.0).is_err());
}

#[test]
fn the_bench_gives_scatter_airflow_and_blower() {
    let bench = BenchDir::invented();
    let answer = bench.run("plan --simulations 20 --json").answers().json();
    for key in ["scatter_from", "airflows_from", "blower_from"] {
        assert_eq!(answer["reach"][key], "measured", "{key}");
    }
    let runs = answer["runs"].as_array().unwrap();
    // The bench has days 1 and 2 already.
    assert_eq!(runs[0]["block"], "day 3");
    let text = std::fs::read_to_string(bench.path().join("points.csv")).unwrap();
    for run in runs {
        let name = run["run"].as_str().unwrap();
        assert!(!text.contains(&format!("\n{name},")), "{name} is taken");
    }
    assert!(answer["cautions"].as_array().unwrap().len() > 3);
}

#[test]
fn times_come_from_logs_where_there_are_some() {
    let answer = run("plan --modes cool --simulations 5 --json")
        .answers()
        .json();
    assert_eq!(answer["time"]["from_runs"], 0);
    let night = BenchDir::new();
    copy("tests/benches/night".as_ref(), night.path());
    night.run("reduce").exits(0);
    let answer = night.run("plan --simulations 5 --json").answers().json();
    assert!(answer["time"]["from_runs"].as_u64().unwrap() > 0);
    let hours = answer["time"]["cooling_run_h"].as_f64().unwrap();
    assert!(hours > 0.16 && hours < 3.0, "{hours}");
}

fn copy(from: &std::path::Path, to: &std::path::Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

#[test]
fn the_files_appear_whole_and_nothing_is_overwritten() {
    let folder = BenchDir::new();
    let words = |more: &str| {
        let line = format!("plan --modes cool --simulations 5 --out sheet {more}");
        let args: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
        support::run_in(folder.path(), &args, &[])
    };
    words("")
        .answers()
        .tells("fuse it at the battery")
        .tells("run-sheet.html");
    let there = |name: &str| folder.path().join("sheet").join(name);
    for name in ["runs.csv", "points.csv", "run-sheet.md", "run-sheet.html"] {
        assert!(there(name).exists(), "{name}");
    }
    std::fs::remove_file(there("runs.csv")).unwrap();
    words("").exits(3).complains("--force");
    assert!(!there("runs.csv").exists(), "nothing was written");
    words("--force").answers();
    assert!(there("runs.csv").exists());
}

#[test]
fn the_next_run() {
    let bench = BenchDir::invented();
    let of = |line: &str| {
        let answer = bench.run(line).answers().json();
        let now = answer["next"]["u_now"].as_f64().unwrap();
        let runs = answer["next"]["runs"].as_array().unwrap();
        let after: Vec<f64> = runs
            .iter()
            .map(|r| r["u_after"].as_f64().unwrap())
            .collect();
        assert!(after[0] < now && after.windows(2).all(|w| w[0] <= w[1]));
        answer
    };
    let answer = of("plan --next elasticity --json");
    let kinds: Vec<&str> = { answer["next"]["runs"].as_array().unwrap().iter() }
        .map(|r| r["kind"].as_str().unwrap())
        .collect();
    assert!(kinds.contains(&"cooling") && kinds.contains(&"fan-only"));
    let modes = bench.run("check --json").json()["modes"].clone();
    let mode = modes[0].as_str().unwrap();
    of(&format!(
        "plan --next predict --intake 33degC --mode {mode} --fan 2 --json"
    ));
    bench
        .run("plan --next predict")
        .exits(2)
        .complains("--intake");
    bench
        .run("plan --intake 33degC")
        .exits(2)
        .complains("--next predict");
}

#[test]
fn too_many_runs_are_counted_before_they_are_planned() {
    let names = |what: &str, n: usize| (1..=n).map(|k| format!("{what} {k}")).collect();
    let mut asked = Design {
        modes: names("mode", 5),
        fans: names("level", 10),
        intakes_c: (20..29).map(f64::from).collect(),
        repeats: 7,
        blocks: 4,
        fan_only: 3,
        ..Design::of(None)
    };
    // 5 × 10 × 9 × 7 = 3150 cooling runs, 10 × 3 with the fan alone, a standby run for each of 4 blocks.
    let counted = |d: &Design| match d.plan(1) {
        Err(PlanError::Count { what, found, .. }) => (what, found),
        other => panic!("{other:?}"),
    };
    assert_eq!(counted(&asked), ("runs", 3184));
    asked.standby = false;
    assert_eq!(counted(&asked), ("runs", 3180));
}

#[test]
fn intakes_from_frost_to_the_hottest_room_are_planned() {
    let asked = |intake| {
        Design {
            intakes_c: vec![intake],
            ..Design::of(None)
        }
        .plan(1)
    };
    assert!(asked(-20.0).is_ok() && asked(5.0).is_ok() && asked(60.0).is_ok());
    for outside in [-20.1, 60.1] {
        assert!(matches!(asked(outside), Err(PlanError::Value { .. })));
    }
}
