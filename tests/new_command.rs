//! Promises of the command `new`: a bench that teaches, names its blanks, and stands once they are filled.

mod support;

use std::fs;
use std::path::Path;

use support::{BenchDir, Outcome, run_in};

fn new(folder: &BenchDir, line: &str) -> Outcome {
    let args: Vec<String> = format!("new {line}")
        .split_whitespace()
        .map(str::to_owned)
        .collect();
    run_in(folder.path(), &args, &[])
}

fn read(folder: &BenchDir, name: &str) -> String {
    fs::read_to_string(folder.path().join(name)).unwrap()
}

/// Writes over each blank of a bench.toml: `1` before a unit, a word where it stands alone.
fn filled_toml(text: &str) -> String {
    text.lines()
        .map(|line| match line.starts_with('#') {
            true => format!("{line}\n"),
            false => format!(
                "{}\n",
                line.replace("zone = \"____\"", "zone = \"Europe/Amsterdam\"")
                    .replace("\"____\"", "\"word\"")
                    .replace("____", "1")
            ),
        })
        .collect()
}

/// Fills a points table with readings of an invented unit, by heading.
fn filled_points(text: &str) -> String {
    let mut headings: Vec<String> = Vec::new();
    let mut out = String::new();
    for (k, line) in text.lines().enumerate() {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        if line.starts_with('#') || headings.is_empty() {
            if !line.starts_with('#') {
                headings = cells;
            }
            out.push_str(&format!("{line}\n"));
            continue;
        }
        let fan: f64 = cells[3].parse().unwrap();
        let cooling = cells[1] == "cooling";
        // Two intakes in each day, with a little scatter.
        let warm = f64::from(u8::from(k % 4 > 1)) * 8.0 + (k * 7 % 5) as f64 / 10.0;
        let scatter = 1.0 + (k * 13 % 7) as f64 / 1000.0;
        let blower = 8.0 + 2.0 * fan * fan;
        let watts = blower
            + if cooling {
                90.0 + 30.0 * fan + warm
            } else {
                0.0
            };
        for (cell, heading) in cells.iter_mut().zip(&headings) {
            if cell != "____" {
                continue;
            }
            let value = match heading.split(" [").next().unwrap() {
                "intake_temp" => 22.0 + warm,
                "outlet_temp" => 22.0 + warm - if cooling { 9.0 } else { 0.0 },
                "ambient_temp" => 24.0 + warm / 4.0,
                "intake_rh" => 48.0,
                "outlet_rh" => 70.0,
                "airflow" => 120.0 + 60.0 * fan,
                "voltage" => 25.6,
                "current" => watts * scatter / 25.6,
                other => panic!("{other}"),
            };
            *cell = format!("{value:.3}");
        }
        out.push_str(&format!("{}\n", cells.join(",")));
    }
    out
}

#[test]
fn a_new_bench_names_its_blanks_and_stands_once_they_are_filled() {
    let folder = BenchDir::new();
    let json = new(&folder, "canal --modes cruise,hush --supply 24V --json")
        .answers()
        .json();
    assert_eq!(json["command"], "new");
    assert_eq!(json["files"].as_array().unwrap().len(), 2);
    let toml = read(&folder, "canal/bench.toml");
    let points = read(&folder, "canal/points.csv");
    let open = folder.run_on("canal".as_ref(), "check").exits(3);
    let line = 1 + toml
        .lines()
        .position(|l| l.starts_with("name = \"____\""))
        .unwrap();
    let open = open
        .complains(&format!("bench.toml, line {line}, column 9"))
        .complains("`altitude = \"____ m\"`; expected height above sea level")
        .complains("points.csv, line 6")
        .complains("240 blanks, from line 6 to line");
    assert_eq!(
        open.stderr.matches("expected").count(),
        11,
        "{}",
        open.stderr
    );
    // All of bench.toml filled, then the table.
    let folder = folder.file("canal/bench.toml", filled_toml(&toml));
    let one = folder.run_on("canal".as_ref(), "check").exits(3);
    assert_eq!(one.stderr.matches("expected").count(), 1, "{}", one.stderr);
    let folder = folder.file("canal/points.csv", filled_points(&points));
    let check = folder
        .run_on("canal".as_ref(), "check --json")
        .answers()
        .json();
    for finding in check["findings"].as_array().unwrap() {
        assert_ne!(finding["severity"], "error", "{finding}");
        assert!(
            !["unknown-key", "column-kept-aside"].contains(&finding["code"].as_str().unwrap()),
            "{finding}"
        );
    }
    assert_eq!(check["modes"], serde_json::json!(["cruise", "hush"]));
    assert_eq!(check["runs"]["cooling"], 24);
    folder
        .run_on("canal".as_ref(), "fit")
        .answers()
        .tells("draw");
    folder
        .run_on("canal".as_ref(), "coupling")
        .exits(0)
        .tells("Verdict");
    // A probe at the outlet that reads too high: every command says the same of it.
    let damp = filled_points(&points)
        .replace(",48.000,", ",20.000,")
        .replace(",70.000,", ",99.000,");
    let folder = folder.file("canal/points.csv", damp);
    folder
        .run_on("canal".as_ref(), "check")
        .answers()
        .tells("outlet-moister: In 24 of 24 cooling runs the outlet air carries more water");
    for line in ["fit", "predict --intake 28degC"] {
        folder
            .run_on("canal".as_ref(), line)
            .answers()
            .tells("No capacity")
            .tells("check the humidity probes")
            .keeps_silent_on("not colder");
    }
}

#[test]
fn keys_that_are_switched_off_are_keys_that_the_bench_knows() {
    for options in ["a", "b --logs --fans low,high"] {
        let folder = BenchDir::new();
        new(&folder, options).answers();
        let name = &options[..1];
        let toml = filled_toml(&read(&folder, &format!("{name}/bench.toml")));
        let mut switched = 0;
        // An altitude and a pressure, a rectangle and a round duct, are alternatives.
        let on: String = toml
            .lines()
            .filter(|l| {
                !["altitude", "#diameter", "#shape"]
                    .iter()
                    .any(|s| l.starts_with(s))
            })
            .map(|l| match l.strip_prefix('#') {
                Some(rest) if rest.starts_with(|c: char| c.is_ascii_lowercase() || c == '[') => {
                    switched += 1;
                    format!("{rest}\n")
                }
                _ => format!("{l}\n"),
            })
            .collect();
        assert!(switched > 60, "{switched}");
        let folder = folder.file(&format!("{name}/bench.toml"), on);
        let said = if options.contains("--logs") {
            // The windows are still blank: everything before them was read without a fault.
            let said = folder.run_on(name.as_ref(), "reduce").exits(3);
            assert!(said.stderr.contains("runs.csv, line 8"), "{}", said.stderr);
            assert!(!said.stderr.contains("bench.toml"), "{}", said.stderr);
            let runs = read(&folder, &format!("{name}/runs.csv"));
            let lines: Vec<String> = runs
                .lines()
                .enumerate()
                .map(|(k, l)| {
                    let time =
                        |m: usize| format!("2026-08-{:02} {:02}:{:02}", 1 + k / 20, k % 20, m);
                    l.replacen("____", &time(0), 1)
                        .replacen("____", &time(50), 1)
                        .replacen("____", "200", 1)
                })
                .collect();
            let folder = folder.file(&format!("{name}/runs.csv"), lines.join("\n"));
            folder.run_on(name.as_ref(), "check --json").exits(3)
        } else {
            let points = filled_points(&read(&folder, "a/points.csv"));
            let folder = folder.file("a/points.csv", points);
            folder.run_on(name.as_ref(), "check --json").answers()
        };
        assert!(!said.stdout.contains("unknown-key"), "{}", said.stdout);
    }
}

#[test]
fn a_new_bench_of_logs_is_reduced_checked_and_fitted() {
    let folder = BenchDir::new();
    new(&folder, "night --logs --supply 24V").answers();
    folder
        .run_on("night".as_ref(), "reduce")
        .exits(3)
        .complains("`zone = \"____\"`; expected the IANA time zone of those times")
        .complains("runs.csv, line 8: 54 blanks, from line 8 to line")
        .complains("`airflow`");
    let toml = filled_toml(&read(&folder, "night/bench.toml"));
    let mut headings = ["t", "U", "I", "t", "in", "out", "amb"].into_iter();
    let toml: String = toml
        .lines()
        .map(|l| {
            let is_column = l.contains("column = \"word\"") && !l.starts_with('#');
            let name = if is_column {
                headings.next().unwrap()
            } else {
                ""
            };
            format!(
                "{}\n",
                l.replace("column = \"word\"", &format!("column = \"{name}\""))
            )
        })
        .collect();
    fs::create_dir(folder.path().join("night/logs")).unwrap();
    let (mut meter, mut air) = ("t,U,I\n".to_owned(), "t,in,out,amb\n".to_owned());
    let mut minute = 0;
    let stamp = |m: usize, s: usize| {
        format!(
            "2026-08-{:02} {:02}:{:02}:{s:02}",
            1 + m / 1440,
            m / 60 % 24,
            m % 60
        )
    };
    let mut runs = String::new();
    for line in read(&folder, "night/runs.csv").lines() {
        if !line.contains("____") {
            runs.push_str(&format!("{line}\n"));
            continue;
        }
        let cells: Vec<&str> = line.split(',').collect();
        let fan: f64 = cells[3].parse().unwrap();
        let watts = 8.0
            + 2.0 * fan * fan
            + if cells[1] == "cooling" {
                100.0 + 30.0 * fan
            } else {
                0.0
            };
        let (start, end) = (stamp(minute, 0), stamp(minute + 45, 0));
        let flow = 120.0 + 60.0 * fan;
        runs.push_str(&format!("{},{start},{end},{flow}\n", cells[..6].join(",")));
        let warm = if minute / 45 % 9 > 5 { 8.0 } else { 0.0 };
        for k in 0..270 {
            let at = stamp(minute + k / 6, 10 * (k % 6));
            let ripple = 1.0 + 0.001 * ((k * 37 % 11) as f64 / 5.0 - 1.0);
            meter.push_str(&format!("{at},25.60,{:.4}\n", watts * ripple / 25.6));
            let c = 22.0 + warm + 0.02 * (k % 3) as f64;
            air.push_str(&format!(
                "{at},{c:.2},{:.2},{:.2}\n",
                c - 9.0,
                24.0 + warm / 4.0
            ));
        }
        minute += 45;
    }
    let folder = folder
        .file("night/bench.toml", toml)
        .file("night/runs.csv", runs)
        .file("night/logs/meter.csv", meter)
        .file("night/logs/air.csv", air);
    let reduced = folder
        .run_on("night".as_ref(), "reduce --json")
        .answers()
        .json();
    assert_eq!(
        reduced["taken"].as_array().unwrap().len(),
        18,
        "{reduced:#}"
    );
    let check = folder
        .run_on("night".as_ref(), "check --json")
        .answers()
        .json();
    assert_eq!(check["runs"]["cooling"], 12);
    let findings = check["findings"].as_array().unwrap();
    assert!(
        findings.iter().all(|f| f["severity"] != "error"),
        "{check:#}"
    );
    // The airflow that was read by hand gives a capacity.
    let fit = folder.run_on("night".as_ref(), "fit --json").answers();
    assert_eq!(fit.json()["capacity"]["kind"], "sensible");
}

#[test]
fn nothing_is_overwritten_unasked_and_files_beside_are_left_alone() {
    let folder = BenchDir::new().file("mine.txt", "mine");
    fs::create_dir(folder.path().join("empty")).unwrap();
    new(&folder, "empty").answers();
    new(&folder, ".")
        .exits(3)
        .complains("is not empty (it holds empty, mine.txt)")
        .complains("--force");
    assert!(!folder.path().join("bench.toml").exists());
    let folder = folder.toml("old");
    new(&folder, ". --force --fans 1,2")
        .answers()
        .tells("Replaced: bench.toml.");
    assert!(read(&folder, "bench.toml").contains("[unit]"));
    assert_eq!(read(&folder, "mine.txt"), "mine");
    new(&folder, "mine.txt").exits(3).complains("mine.txt");
    new(&folder, "x --out y").exits(2).complains("--out");
    new(&folder, "x --fans 1,1").exits(2).complains("`1` twice");
    new(&folder, "x --modes a,,b")
        .exits(2)
        .complains("a name is empty");
    new(&folder, "x --supply 24").exits(2).complains("--supply");
    new(&folder, "x --supply=-5V")
        .exits(2)
        .complains("above zero");
    assert!(!folder.path().join("x").exists());
    // A folder that cannot be made.
    new(&folder, "mine.txt/x").exits(3);
}

#[test]
fn headings_and_names_follow_the_options() {
    let folder = BenchDir::new();
    let args: Vec<String> = [
        "new",
        "us",
        "--units",
        "us",
        "--modes",
        "say \"hi\"",
        "--fans",
        "low,7",
    ]
    .map(str::to_owned)
    .to_vec();
    run_in(folder.path(), &args, &[]).answers();
    let points = read(&folder, "us/points.csv");
    assert!(
        points.contains("intake_temp [degF],intake_rh [%],"),
        "{points}"
    );
    assert!(
        points.contains("airflow [cfm],voltage [V],current [A]"),
        "{points}"
    );
    assert!(
        points.contains(",cooling,\"say \"\"hi\"\"\",low,day 1,"),
        "{points}"
    );
    // Settings come in opposite orders on the two days.
    let fans = |day: &str| -> Vec<String> {
        points
            .lines()
            .filter(|l| l.contains("fan-only") && l.contains(day) && !l.starts_with('#'))
            .map(|l| l.split(',').nth(3).unwrap().to_owned())
            .collect()
    };
    assert_eq!(fans("day 1"), ["low", "7"]);
    assert_eq!(fans("day 2"), ["7", "low"]);
    let help = run_in(Path::new("."), &["--help".to_owned()], &[]);
    assert!(
        help.stdout.contains("new ") && help.stdout.contains("A bench to start from"),
        "{}",
        help.stdout
    );
}
