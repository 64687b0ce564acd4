//! Options that every command takes: `--units`, `--level`, `--quiet`, `--color`, and the demo where no bench is named.

use serde_json::Value;

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, run};

const COMMANDS: [&str; 4] = ["check", "fit", "coupling", "predict --intake 35degC"];

#[test]
fn without_a_bench_the_demo_stands_in_and_says_so() {
    for line in COMMANDS {
        let outcome = run(line)
            .answers()
            .tells("No bench was named, so this is the built-in demo");
        let times = outcome.stdout.matches("built-in demo").count();
        assert_eq!(times, 1, "{line} says it {times} times");
        run(&format!("{line} --quiet"))
            .answers()
            .tells("built-in demo");
        let notes = run(&format!("{line} --json")).answers().json()["notes"].clone();
        assert!(
            notes[0].as_str().unwrap().contains("built-in demo"),
            "{line}"
        );
        BenchDir::invented()
            .run(line)
            .answers()
            .keeps_silent_on("demo");
    }
}

#[test]
fn units_change_words_and_never_json() {
    let bench = BenchDir::invented();
    for line in COMMANDS {
        let si = bench.run(&format!("{line} --json")).answers();
        let us = bench.run(&format!("{line} --json --units us")).answers();
        assert_eq!(si.stdout, us.stdout, "{line}");
    }
    let us = bench.run("predict --intake 28degC --units us").answers();
    // 28 degC is 82.4 degF exactly; the runs' mean ambient is 24.9 degC in the points table.
    let us = us
        .tells("82.4")
        .tells("°F")
        .tells("Btu/h")
        .tells("mean ambient, 76.7 degF");
    us.keeps_silent_on("degC").keeps_silent_on("°C");
    let beyond = bench
        .run("predict --intake 104degF --ambient 104degF --units us")
        .answers();
    // Beyond the warmest intake (32.99 degC) and ambient (29.44 degC) of the table: 7.0 K and 10.6 K.
    let beyond = beyond.tells("12.6 degF beyond the tested intake range");
    beyond
        .tells("19.0 degF beyond the ambient range")
        .keeps_silent_on("degC");
    let check = bench.run("check --units us").answers();
    check.tells("Intake 73.9 to 91.4 degF, ambient 70.9 to 85.0 degF.");
    bench
        .run("check")
        .answers()
        .tells("Intake 23.3 to 33.0 degC, ambient 21.6 to 29.4 degC.");
}

#[test]
fn units_reach_into_sentences() {
    let us = |line: &str| run(&format!("{line} --units us")).answers();
    for line in [
        "claims",
        "runtime",
        "plan --simulations 20",
        "plan --next elasticity",
    ] {
        let json = |more: &str| run(&format!("{line} --json {more}")).answers().stdout;
        assert_eq!(json(""), json("--units us"), "{line}");
    }
    us("check")
        .tells("degF cooler than the others")
        .keeps_silent_on(" K cooler");
    us("coupling").tells("degF between fan levels");
    // 35 and 40 degC; 1.699 m3/h for each cfm, of the levels' 122, 155, 194, 228 and 267 m3/h.
    us("claims")
        .tells("The claim is for ambient air of 95.0 degF")
        .keeps_silent_on("degC");
    us("runtime").tells("(copper at 104 degF)");
    us("plan --simulations 20").tells("airflow 72, 91, 114, 134, 157 cfm");
    us("fit").tells("equations stay in degC, m3/h and W");
    // A bench of modes with one fan level each: which runs would separate the two.
    let confounded = Sheet::invented()
        .keep(|kind, mode, fan| kind != "cooling" || (mode == "eco") == (fan == "1"));
    let confounded = confounded.keep(|kind, _, fan| kind != "cooling" || fan != "2");
    let bench = BenchDir::invented().points(confounded.csv());
    bench.run("coupling").answers().tells("degC intake, twice");
    bench
        .run("coupling --units us")
        .answers()
        .tells("degF intake, twice")
        .keeps_silent_on("degC");
}

#[test]
fn options_for_files_are_refused_where_none_are_written() {
    let bench = BenchDir::invented();
    for line in [
        "check",
        "fit",
        "coupling",
        "predict --intake 35degC",
        "claims",
    ] {
        for option in ["--out x", "--force"] {
            let command = line.split(' ').next().unwrap();
            bench
                .run(&format!("{line} {option}"))
                .exits(2)
                .complains(&format!("`{command}` writes no files"))
                .complains("report");
        }
    }
    run("schema --out x").exits(2).complains("writes no files");
    run("completions bash --out x")
        .exits(2)
        .complains("writes no files");
    assert!(!bench.path().join("x").exists());
    // A write-up is made again as it was asked for; other options would not be heard.
    for option in ["--level 0.9", "--seed 3", "--units us"] {
        run(&format!("report --verify x {option}"))
            .exits(2)
            .complains("cannot be used with");
    }
}

fn width(outcome: &Value, low: &str, high: &str) -> f64 {
    outcome[high].as_f64().unwrap() - outcome[low].as_f64().unwrap()
}

#[test]
fn the_level_widens_every_interval_and_moves_no_estimate() {
    let bench = BenchDir::invented();
    let at = |line: &str, level: &str| {
        bench
            .run(&format!("{line} --json --level {level}"))
            .answers()
            .json()
    };
    let levels = ["0.8", "0.95", "99%"];
    let [a, b, c] = levels.map(|l| at("predict --intake 28degC", l));
    assert_eq!(
        (a["level"].as_f64(), c["level"].as_f64()),
        (Some(0.8), Some(0.99))
    );
    for i in 0..a["predictions"].as_array().unwrap().len() {
        let [a, b, c] = [&a, &b, &c].map(|j| &j["predictions"][i]);
        assert!(a["draw_w"] == b["draw_w"] && b["draw_w"] == c["draw_w"]);
        for (low, high) in [
            ("run_low_w", "run_high_w"),
            ("mean_low_w", "mean_high_w"),
            ("capacity_mean_low_w", "capacity_mean_high_w"),
        ] {
            let [a, b, c] = [a, b, c].map(|p| width(p, low, high));
            assert!(a < b && b < c, "{low}: {a} {b} {c}");
        }
    }
    let [a, b, c] = levels.map(|l| at("fit", l));
    for i in 0..a["draw"]["terms"].as_array().unwrap().len() {
        let [a, b, c] = [&a, &b, &c].map(|j| &j["draw"]["terms"][i]);
        assert!(a["value"] == c["value"] && a["std_error"] == c["std_error"]);
        let [a, b, c] = [a, b, c].map(|t| width(t, "low", "high"));
        assert!(a < b && b < c);
    }
    let [a, b, c] = levels.map(|l| at("coupling", l)["elasticity"].clone());
    assert!(a["value"] == b["value"] && b["value"] == c["value"]);
    let [a, b, c] = [a, b, c].map(|e| width(&e, "low", "high"));
    assert!(a < b && b < c);
    bench
        .run("predict --intake 28degC --level 0.8")
        .answers()
        .tells("further run, 80 %");
}

#[test]
fn quiet_leaves_the_answer_and_drops_the_notes() {
    let bench = BenchDir::invented();
    for line in COMMANDS {
        let all = bench.run(line).answers();
        let quiet = bench.run(&format!("{line} --quiet")).answers();
        quiet
            .keeps_silent_on("Notes")
            .keeps_silent_on("Good to know");
        let json = |more: &str| bench.run(&format!("{line} --json {more}")).answers().stdout;
        assert_eq!(json(""), json("-q"), "{line}");
        assert!(!all.stdout.is_empty());
    }
    // What weakens an answer is no mere note.
    bench
        .run("check --quiet")
        .answers()
        .tells("Weakens an answer");
    let all = bench.run("predict --intake 35degC").answers().stdout;
    let quiet = bench.run("predict --intake 35degC -q").answers().stdout;
    assert!(all.starts_with(quiet.trim_end()), "{quiet}");
}

#[test]
fn colour_is_for_terminals_unless_asked_for() {
    let bench = BenchDir::invented();
    for line in COMMANDS {
        let plain = bench.run(line).answers().stdout;
        assert!(!plain.contains('\u{1b}'), "{line}");
        let bold = bench
            .run(&format!("{line} --color always"))
            .answers()
            .stdout;
        assert!(bold.contains("\u{1b}[1m"), "{line}");
        let json = bench
            .run(&format!("{line} --json --color always"))
            .answers();
        assert!(!json.stdout.contains('\u{1b}'), "{line}");
        assert_eq!(
            bench.run(&format!("{line} --color never")).answers().stdout,
            plain
        );
    }
}

#[test]
fn words_fit_a_terminal() {
    for line in ["check", "coupling", "predict --intake 35degC"] {
        for l in BenchDir::invented().run(line).answers().stdout.lines() {
            assert!(l.chars().count() <= 100, "{line}: {l}");
            assert_eq!(l, l.trim_end(), "{line}: blanks at the end");
        }
    }
}

#[test]
fn a_setting_may_be_picked_and_an_untested_one_named() {
    let bench = BenchDir::invented();
    let list = |more: &str| {
        let json = bench
            .run(&format!("predict --intake 28degC --json {more}"))
            .answers()
            .json();
        json["predictions"].as_array().unwrap().clone()
    };
    assert_eq!(list("").len(), 6);
    assert_eq!(list("--mode eco").len(), 3);
    assert_eq!(list("--fan 2").len(), 2);
    let one = list("--mode eco --fan 2");
    assert_eq!(
        (one.len(), &one[0]["mode"], &one[0]["fan"]),
        (1, &"eco".into(), &2.into())
    );
    let demo = run("predict --intake 28degC --mode damp --fan 2 --json")
        .answers()
        .json();
    let p = &demo["predictions"][0];
    assert_eq!(p["support"], "outside");
    assert!(
        p["notes"][0].as_str().unwrap().contains("never tested"),
        "{p}"
    );
}

#[test]
fn ambient_is_used_and_said() {
    let bench = BenchDir::invented();
    let draw = |more: &str| {
        let json = bench
            .run(&format!(
                "predict --intake 28degC --mode eco --fan 2 --json {more}"
            ))
            .answers()
            .json();
        json["predictions"][0].clone()
    };
    let (cool, warm) = (draw("--ambient 23degC"), draw("--ambient 29degC"));
    assert_eq!(warm["ambient_c"], 29.0);
    // The bench is made with 1.6 % more compressor draw for each kelvin of ambient.
    let ratio = warm["draw_w"].as_f64().unwrap() / cool["draw_w"].as_f64().unwrap();
    assert!((1.06..1.12).contains(&ratio), "{ratio}");
    let hot = draw("--ambient 36degC");
    assert_eq!(hot["support"], "outside");
    assert!(
        hot["notes"][0]
            .as_str()
            .unwrap()
            .contains("beyond the ambient range")
    );
}

#[test]
fn a_setting_left_out_is_predicted_about_as_the_runs_there_say() {
    let line = |mode: &str, fan: &str| {
        format!("predict --intake 28degC --ambient 26degC --json --mode {mode} --fan {fan}")
    };
    let first =
        |bench: &BenchDir, line: &str| bench.run(line).answers().json()["predictions"][0].clone();
    // Within the levels that the mode was run at; at the end of them an extrapolation is no promise.
    for mode in ["eco", "steady"] {
        let without =
            Sheet::invented().keep(|kind, m, f| kind != "cooling" || (m, f) != (mode, "2"));
        let without = BenchDir::invented().points(without.csv());
        let guess = first(&without, &line(mode, "2"));
        let known = first(&BenchDir::invented(), &line(mode, "2"));
        assert_eq!(
            (&guess["support"], &known["support"]),
            (&"outside".into(), &"inside".into())
        );
        let value = |p: &Value, key: &str| p[key].as_f64().unwrap();
        let truth = value(&known, "draw_w");
        assert!(
            value(&guess, "run_low_w") < truth && truth < value(&guess, "run_high_w"),
            "{guess} {truth}"
        );
        assert!(
            (value(&guess, "draw_w") / truth - 1.0).abs() < 0.05,
            "{guess} {truth}"
        );
    }
}
