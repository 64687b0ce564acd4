//! Broken benches: each is refused with exit code 3 and a message that teaches, by every command, in words and in JSON.
//!
//! `tests/bad/NAME.txt` holds the whole message of `check`. After a change that is meant to alter messages:
//! `BLESS=1 cargo test --test bad_input`, then read the difference. All benches are the invented one, spoilt.

#[path = "bad_input/manifest.rs"]
mod manifest;
mod support;

use std::path::Path;

use support::sheet::Sheet;
use support::{BenchDir, POINTS, TOML};

/// How exact a fault's place must be.
#[derive(Clone, Copy, PartialEq)]
enum At {
    /// The file as a whole.
    File,
    /// A line.
    Line,
    /// A line and a column.
    Cell,
}

const COMMANDS: [&str; 4] = ["check", "fit", "coupling", "predict --intake 30degC"];

/// Runs every command on the bench, in words and in JSON, and compares the message with `tests/bad/NAME.txt`.
fn refused(name: &str, at: At, bench: BenchDir) {
    let stored = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/bad")
        .join(format!("{name}.txt"));
    for line in COMMANDS {
        let command = line.split(' ').next().unwrap();
        let words = bench.run(line).exits(3);
        assert_eq!(words.stdout, "", "{name}");
        let prefix = format!("steadydraw {command}: ");
        let message = words
            .stderr
            .strip_prefix(&prefix)
            .unwrap_or_else(|| panic!("{name}: {}", words.stderr));
        if command == "check" && std::env::var_os("BLESS").is_some() {
            std::fs::write(&stored, message).unwrap();
        }
        let expected = std::fs::read_to_string(&stored).unwrap_or_default();
        assert_eq!(message, expected, "{name}: {line}");
        let json = bench.run(&format!("{line} --json")).exits(3).json();
        assert_eq!(json["schema"], 1, "{name}");
        assert_eq!(json["command"], command, "{name}");
        assert_eq!(json["error"]["kind"], "bad-input", "{name}");
        assert!(json["notes"].is_array(), "{name}");
        let faults = json["error"]["faults"].as_array().unwrap();
        assert!(!faults.is_empty() && faults.len() <= 400, "{name}");
        for f in faults {
            for key in ["found", "expected", "remedy"] {
                let text = f[key].as_str().unwrap();
                assert!(!text.is_empty(), "{name}: a fault without {key}: {f}");
                assert!(text.chars().count() < 400, "{name}: {text}");
                assert!(!text.chars().any(char::is_control), "{name}: {text:?}");
            }
            assert!(!f["place"]["file"].as_str().unwrap().is_empty(), "{name}");
        }
        let exact = match (
            faults[0]["place"]["line"].as_u64(),
            faults[0]["place"]["column"].as_u64(),
        ) {
            (Some(_), Some(_)) => At::Cell,
            (Some(_), None) => At::Line,
            _ => At::File,
        };
        assert!(exact == at, "{name}: {}", faults[0]["place"]);
    }
}

fn points(name: &str, at: At, bytes: impl AsRef<[u8]>) {
    refused(name, at, BenchDir::new().toml(TOML).points(bytes));
}

fn sheet(name: &str, at: At, sheet: Sheet) {
    points(name, at, sheet.csv());
}

fn toml(name: &str, at: At, text: impl AsRef<[u8]>) {
    refused(name, at, BenchDir::new().toml(text).points(POINTS));
}

/// The bench's TOML with a piece replaced; the piece must be there.
fn replaced(from: &str, to: &str) -> String {
    assert!(TOML.contains(from), "{from}");
    TOML.replace(from, to)
}

#[test]
fn files_that_are_no_table() {
    points("empty", At::File, "");
    points("blank-lines", At::File, "\n \n\n");
    points("comments-only", At::File, "# one\n# two\n");
    let headings = Sheet {
        rows: Vec::new(),
        ..Sheet::invented()
    };
    sheet("headings-only", At::Line, headings);
    points("cut-off", At::Line, &POINTS[..POINTS.len() / 2]);
    let noise: Vec<u8> = (0..4000_u32)
        .map(|i| (i * 197 + i / 7 + 130) as u8)
        .collect();
    points("binary", At::Line, noise);
    points("nul", At::Line, POINTS.replace(",steady,", ",st\0eady,"));
    let utf16: Vec<u8> = std::iter::once(0xFEFF)
        .chain(POINTS.encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    points("utf-16", At::File, utf16);
    let latin1: Vec<u8> = POINTS
        .replace("steady", "d\u{e9}s")
        .chars()
        .map(|c| c as u8)
        .collect();
    points("latin-1", At::Line, latin1);
    points("workbook", At::File, b"PK\x03\x04\x14\0\x06\0");
    points("document", At::File, "%PDF-1.7\n");
    points("compressed", At::File, [0x1F, 0x8B, 8, 0, 0]);
}

#[test]
fn headings_that_do_not_fit() {
    let s = Sheet::invented;
    sheet("unit-missing", At::Cell, s().heading("power", "power"));
    sheet("unit-wrong", At::Cell, s().heading("power", "power [degC]"));
    sheet(
        "unit-misspelt",
        At::Cell,
        s().heading("airflow", "airflow [m3/hh]"),
    );
    sheet(
        "unit-unknown",
        At::Cell,
        s().heading("power", "power [horses]"),
    );
    sheet(
        "unit-not-closed",
        At::Cell,
        s().heading("power", "power [W"),
    );
    sheet(
        "unit-of-uncertainty-missing",
        At::Cell,
        s().heading("intake_rh", "u_intake_temp"),
    );
    sheet(
        "unit-in-round-brackets",
        At::Line,
        s().heading("power", "power (W)")
            .heading("current", "current (A)"),
    );
    sheet(
        "headings-in-capitals",
        At::Line,
        s().heading("run", "Run").heading("fan", "FAN"),
    );
    sheet(
        "column-twice",
        At::Cell,
        s().heading("outlet_temp", "intake_temp [degC]"),
    );
    sheet("no-run-column", At::Line, s().drop(&["run"]));
    sheet("no-fan-column", At::Line, s().drop(&["fan"]));
    sheet("no-draw-column", At::Line, s().drop(&["power", "current"]));
    sheet(
        "cells-without-heading",
        At::Cell,
        s().heading("intake_rh", ""),
    );
    let wide = |cell: &str| vec![cell; 10_000].join(",");
    points(
        "ten-thousand-columns",
        At::Line,
        format!("{}\n{}\n", wide("a"), wide("1")),
    );
}

#[test]
fn rows_that_do_not_fit() {
    let s = Sheet::invented;
    points(
        "delimiters-mixed",
        At::Line,
        POINTS.replace("r05,cooling,eco,2,", "r05;cooling;eco;2;"),
    );
    points("quote-open", At::Line, POINTS.replace("r05,", "\"r05,"));
    points(
        "line-very-long",
        At::Line,
        format!("{}\n{}\n", s().headings.join(","), "x".repeat(3_000_000)),
    );
    let decimals = |s: Sheet| s.written(";", "\n").replace('.', ",");
    points(
        "decimal-marks-mixed",
        At::Cell,
        decimals(s()).replacen("24,07", "24.07", 1),
    );
    sheet("thousands", At::Line, s().set("r03", "power", "1,200"));
    sheet(
        "thousands-quoted",
        At::Cell,
        s().set("r03", "power", "\"1,200\""),
    );
    sheet("run-twice", At::Cell, s().set("r05", "run", "r04"));
    sheet("run-unnamed", At::Cell, s().set("r05", "run", ""));
    sheet("kind-misspelt", At::Cell, s().set("r03", "kind", "coolign"));
    sheet("fan-level-missing", At::Cell, s().set("r03", "fan", ""));
    sheet("order-in-words", At::Cell, s().set("r03", "order", "first"));
    sheet(
        "name-very-long",
        At::Cell,
        s().set("r01", "mode", &"y".repeat(1_000_000)),
    );
    let mut runs_as_modes = s();
    for i in 0..runs_as_modes.rows.len() {
        runs_as_modes.rows[i][2] = runs_as_modes.rows[i][0].clone();
    }
    sheet("run-names-as-modes", At::Cell, runs_as_modes);
    let mut many = s();
    let rows = many.rows.clone();
    for i in 0..3000 {
        let mut row = rows[i % rows.len()].clone();
        row[0] = format!("x{i}");
        row[13] = "?".to_owned();
        many.rows.push(row);
    }
    sheet("thousands-of-faults", At::Cell, many);
}

#[test]
fn readings_that_cannot_be() {
    let s = Sheet::invented;
    sheet("all-nan", At::Cell, s().each("power", |_| "NaN".to_owned()));
    sheet("infinite", At::Cell, s().set("r03", "power", "inf"));
    sheet("overflowing", At::Cell, s().set("r03", "power", "1e999"));
    sheet(
        "digits-without-end",
        At::Cell,
        s().set("r03", "power", &"1".repeat(5000)),
    );
    sheet("word-for-number", At::Cell, s().set("r03", "power", "high"));
    sheet(
        "unit-in-cell",
        At::Cell,
        s().set("r03", "intake_temp", "23.75 degC"),
    );
    sheet("draw-negative", At::Cell, s().numbers("power", |v| -v));
    sheet(
        "draw-contradicts-meter",
        At::Line,
        s().set("r03", "power", "300"),
    );
    sheet(
        "draw-missing",
        At::Line,
        s().set("r03", "power", "").set("r03", "current", ""),
    );
    let no_meter = || s().drop(&["voltage", "current"]);
    sheet(
        "kw-as-w",
        At::Line,
        no_meter().numbers("power", |v| v / 1000.0),
    );
    sheet(
        "w-as-kw",
        At::Cell,
        no_meter().heading("power", "power [kW]"),
    );
    sheet("humidity-150", At::Cell, s().set("r03", "intake_rh", "150"));
    sheet(
        "humidity-fraction-as-percent",
        At::Cell,
        s().numbers("intake_rh", |v| v / 100.0),
    );
    sheet(
        "kelvin-as-degc",
        At::Cell,
        s().each("intake_temp", |c| {
            format!("{:.2}", c.parse::<f64>().unwrap() + 273.15)
        }),
    );
    sheet(
        "degf-as-degc",
        At::Cell,
        s().each("intake_temp", |c| {
            format!("{:.1}", c.parse::<f64>().unwrap() * 1.8 + 32.0)
        }),
    );
    sheet("airflow-zero", At::Cell, s().set("r03", "airflow", "0"));
    sheet(
        "voltage-negative",
        At::Cell,
        s().set("r03", "voltage", "-25.7"),
    );
    sheet(
        "uncertainty-negative",
        At::Cell,
        s().heading("intake_rh", "u_power [W]")
            .numbers("u_power", |v| -v),
    );
}

#[test]
fn names_that_would_act_on_a_terminal() {
    let s = Sheet::invented;
    sheet(
        "escape-in-number",
        At::Cell,
        s().set("r03", "power", "\u{1b}[31m9"),
    );
    sheet(
        "escape-in-kind",
        At::Cell,
        s().set("r03", "kind", "\u{1b}]0;title\u{7}"),
    );
    sheet(
        "direction-mark-in-unit",
        At::Cell,
        s().heading("power", "power [\u{202e}W]"),
    );
    points(
        "forged-lines",
        At::Cell,
        POINTS.replacen("114.0\n", "\"9\n  expected: nothing\"\n", 1),
    );
    toml(
        "escape-in-toml",
        At::Cell,
        replaced("\"25.6 V\"", "\"25.6 \\u001b[31mV\""),
    );
}

#[test]
fn a_table_by_itself_is_refused_like_one_in_a_bench() {
    let bench = BenchDir::new().file(
        "mine.csv",
        Sheet::invented().set("r03", "power", "-5").csv(),
    );
    let outcome = bench.run_on(Path::new("mine.csv"), "fit").exits(3);
    outcome.complains("mine.csv, line 4, column 14 found: -5 W under `power`");
}

#[test]
fn every_stored_message_belongs_to_a_bench() {
    let source = [
        include_str!("bad_input.rs"),
        include_str!("bad_input/manifest.rs"),
    ]
    .concat();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bad");
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let name = name.strip_suffix(".txt").unwrap();
        assert!(
            source.contains(&format!("\"{name}\"")),
            "tests/bad/{name}.txt"
        );
        count += 1;
    }
    assert!(count >= 45, "{count}");
}
