//! Promises of the command `reduce`: the table that it writes, what it never overwrites, its JSON and exit codes.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

/// A copy of the stored night of logs, to write into.
fn night() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    copy(Path::new("tests/benches/night"), folder.path());
    folder
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

fn steadydraw(args: &[&str]) -> Command {
    let mut command = Command::cargo_bin("steadydraw").unwrap();
    command.args(args);
    command
}

fn json(args: &[&str]) -> Value {
    let output = steadydraw(args).arg("--json").output().unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn the_points_table_is_written_and_read_by_other_commands() {
    let folder = night();
    let bench = folder.path().to_str().unwrap();
    let answer = json(&["reduce", bench]);
    assert_eq!(
        (&answer["schema"], &answer["command"]),
        (&Value::from(1), &Value::from("reduce"))
    );
    let points = fs::read_to_string(folder.path().join("points.csv")).unwrap();
    let lines: Vec<&str> = points.lines().filter(|l| !l.starts_with('#')).collect();
    assert!(
        lines[0]
            .starts_with("run,kind,mode,fan,block,order,intake_temp [degC],u_intake_temp [degC]")
    );
    let names: Vec<&str> = lines[1..]
        .iter()
        .filter_map(|l| l.split(',').next())
        .collect();
    assert_eq!(names, ["r01", "r03", "r04", "r06"]);
    assert!(points.contains("# r02 left out, cycling: "), "{points}");
    // The bench has run windows and no [points]: other commands read what was written.
    let check = json(&["check", bench]);
    assert_eq!(check["runs"]["cooling"], 4);
}

#[test]
fn each_run_has_status_times_values_and_a_reason() {
    let folder = night();
    let answer = json(&["reduce", folder.path().to_str().unwrap()]);
    let runs = answer["runs"].as_array().unwrap();
    let status: Vec<&str> = runs.iter().map(|r| r["status"].as_str().unwrap()).collect();
    assert_eq!(
        status,
        [
            "steady", "cycling", "steady", "steady", "unsteady", "steady"
        ]
    );
    for run in runs {
        assert!(run["reason"].as_str().is_some_and(|r| !r.is_empty()));
        let stands = matches!(run["status"].as_str(), Some("steady" | "cycling"));
        for key in ["power_w", "intake_c", "outlet_c", "ambient_c"] {
            assert_eq!(run["values"][key].is_f64(), stands, "{run}");
            assert_eq!(run["u"][key].is_f64(), stands, "{run}");
        }
        assert_eq!(run["start"].is_string() && run["end"].is_string(), stands);
        assert_eq!(run["duration_s"].is_number(), stands);
    }
    assert_eq!(runs[0]["end"], "2026-10-24T23:49:00Z");
    assert_eq!(runs[1]["cycles"]["count"], 23);
}

#[test]
fn cycling_runs_are_taken_only_when_asked_for() {
    let folder = night();
    let bench = folder.path().to_str().unwrap();
    let answer = json(&["reduce", bench, "--with-cycling"]);
    assert_eq!(answer["taken"].as_array().unwrap().len(), 5);
    let points = fs::read_to_string(folder.path().join("points.csv")).unwrap();
    assert!(points.contains("\nr02,"));
}

#[test]
fn nothing_is_overwritten_without_force() {
    let folder = night();
    let bench = folder.path().to_str().unwrap();
    let table = folder.path().join("points.csv");
    fs::write(&table, "mine\n").unwrap();
    let output = steadydraw(&["reduce", bench]).output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--force"));
    assert_eq!(fs::read_to_string(&table).unwrap(), "mine\n");
    steadydraw(&["reduce", bench, "--force"]).assert().success();
    assert!(fs::read_to_string(&table).unwrap().contains("r01,cooling"));
    // The same table again is no overwriting.
    steadydraw(&["reduce", bench]).assert().success();
    let other = tempfile::tempdir().unwrap();
    steadydraw(&[
        "reduce",
        bench,
        "--out",
        other.path().join("new").to_str().unwrap(),
    ])
    .assert()
    .success();
    assert!(other.path().join("new/points.csv").is_file());
}

#[test]
fn a_bench_that_cannot_be_reduced_says_why() {
    let folder = night();
    let bench = folder.path().to_str().unwrap();
    for (from, to, code, word) in [
        (
            "zone = \"Europe/Amsterdam\"",
            "zone = \"Asia/Tokyo\"",
            4,
            "compare zones",
        ),
        (
            "column = \"Volt\"",
            "column = \"Vlot\"",
            3,
            "did you mean `Volt`?",
        ),
        ("logs/meter.csv", "logs/metre.csv", 3, "bench.toml, line 10"),
    ] {
        let toml = fs::read_to_string("tests/benches/night/bench.toml").unwrap();
        fs::write(folder.path().join("bench.toml"), toml.replace(from, to)).unwrap();
        let output = steadydraw(&["reduce", bench]).output().unwrap();
        let error = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{error}");
        assert!(error.contains(word), "no `{word}` in {error}");
        assert!(!folder.path().join("points.csv").exists());
    }
    // A points table alone has nothing to reduce, and a bench without its table says how it is made.
    let output = steadydraw(&["reduce", "data/demo"]).output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    fs::copy(
        "tests/benches/night/bench.toml",
        folder.path().join("bench.toml"),
    )
    .unwrap();
    let output = steadydraw(&["check", bench]).output().unwrap();
    assert_eq!(output.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&output.stderr).contains("steadydraw reduce"));
}

#[test]
fn each_run_is_drawn_with_what_was_left_out() {
    let folder = night();
    let bench = folder.path().to_str().unwrap();
    let figures = folder.path().join("figures");
    let args = ["reduce", bench, "--figures", figures.to_str().unwrap()];
    let answer = json(&args);
    for run in ["r01", "r02", "r03", "r04", "r05", "r06"] {
        for (name, start) in [
            (format!("run-{run}.svg"), &b"<svg"[..]),
            (format!("run-{run}-dark.svg"), b"<svg"),
            (format!("run-{run}.png"), b"\x89PNG"),
        ] {
            let bytes = fs::read(figures.join(&name)).unwrap();
            assert!(bytes.starts_with(start), "{name}");
            // Small whatever the log's length.
            assert!(bytes.len() < 400_000, "{name}: {} bytes", bytes.len());
        }
    }
    let left_out = answer["runs"][0]["left_out"].as_array().unwrap();
    assert!(
        left_out.iter().any(|p| p["why"] == "start-up"),
        "{left_out:?}"
    );
    // The same figures again are no overwriting; others are.
    steadydraw(&args).assert().success();
    fs::write(figures.join("run-r01.svg"), "mine").unwrap();
    assert_eq!(steadydraw(&args).output().unwrap().status.code(), Some(3));
    assert_eq!(
        fs::read_to_string(figures.join("run-r01.svg")).unwrap(),
        "mine"
    );
}

#[test]
fn the_write_up_of_logs_shows_how_each_run_was_read() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("report");
    let bench = night();
    let path = bench.path().to_str().unwrap();
    steadydraw(&["reduce", path]).assert().success();
    let output = steadydraw(&["report", path, "--out", out.to_str().unwrap()])
        .output()
        .unwrap();
    // Four runs of one setting may be too few for a curve; then there is no write-up at all.
    if output.status.code() == Some(4) {
        return;
    }
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let page = fs::read_to_string(out.join("index.html")).unwrap();
    assert!(page.contains("How each run was read"));
    assert!(page.len() < 2_000_000, "{} bytes", page.len());
}
