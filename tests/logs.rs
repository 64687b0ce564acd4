//! Promises of log reading: what is read, what is refused, and what a refusal says.

#[path = "logs/layouts.rs"]
mod layouts;

use std::path::Path;

use steadydraw::bench::Channel;
use steadydraw::bench::logs::LogBench;
use steadydraw::steady::{Reduction, reduce};

/// A bench of logs in the making: one run of an hour, a meter and, where asked, more files.
struct LogFolder {
    toml: String,
    files: Vec<(String, Vec<u8>)>,
}

/// The run's window, 2026-08-25 07:00 to 08:00 UTC.
const START: i64 = 1_787_641_200;

impl LogFolder {
    fn new(log: &str) -> Self {
        LogFolder {
            toml: format!("title = \"a bench\"\n[runs]\nfile = \"runs.csv\"\n{log}"),
            files: vec![(
                "runs.csv".to_owned(),
                b"run,kind,mode,fan,block,start,end\nr1,cooling,m,1,d,2026-08-25T07:00:00Z,2026-08-25T08:00:00Z\n".to_vec(),
            )],
        }
    }

    fn file(mut self, name: &str, bytes: impl Into<Vec<u8>>) -> Self {
        self.files.retain(|(n, _)| n != name);
        self.files.push((name.to_owned(), bytes.into()));
        self
    }

    fn reduce(&self) -> Result<Reduction, String> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("bench.toml"), &self.toml).unwrap();
        for (name, bytes) in &self.files {
            let path = folder.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, bytes).unwrap();
        }
        LogBench::open(folder.path())
            .and_then(|b| reduce(&b))
            .map_err(|e| e.to_string())
    }

    /// The draw of the only run, which must be steady.
    #[track_caller]
    fn draw_w(&self) -> f64 {
        let found = self.reduce().unwrap_or_else(|e| panic!("{e}"));
        let run = &found.runs[0].judged;
        let plateau = run
            .plateau
            .as_ref()
            .unwrap_or_else(|| panic!("{}", run.reason));
        plateau.values[&Channel::Power].value
    }

    /// The refusal, which must say all of these.
    #[track_caller]
    fn refused_with(&self, parts: &[&str]) {
        let message = match self.reduce() {
            Ok(_) => panic!("read, not refused"),
            Err(message) => message,
        };
        for part in parts {
            assert!(message.contains(part), "no `{part}` in:\n{message}");
        }
    }

    /// A finding with this code says all of these.
    #[track_caller]
    fn finds(&self, code: &str, parts: &[&str]) {
        let found = self.reduce().unwrap_or_else(|e| panic!("{e}"));
        let finding = found
            .findings
            .iter()
            .find(|f| f.code == code)
            .unwrap_or_else(|| panic!("no {code} among {:?}", found.findings));
        for part in parts {
            assert!(
                finding.message.contains(part),
                "no `{part}` in: {}",
                finding.message
            );
        }
    }
}

const METER: &str = r#"[[log]]
file = "meter.csv"
[log.time]
column = "t"
format = "unix"
[log.channels]
power = { column = "P", unit = "W" }
"#;

/// An hour of one reading every 10 s that stays within 0.2 % of 200 W.
fn hour(head: &str, row: impl Fn(i64, f64) -> String) -> String {
    let mut text = format!("{head}\n");
    for k in 0..360 {
        let watts = 200.0 + 0.4 * ((k * 37 % 11) as f64 / 5.0 - 1.0);
        text.push_str(&row(START + 10 * k, watts));
        text.push('\n');
    }
    text
}

fn plain() -> String {
    hour("t,P", |t, p| format!("{t},{p:.2}"))
}

#[test]
fn a_plain_log_is_read() {
    let draw = LogFolder::new(METER).file("meter.csv", plain()).draw_w();
    assert!((draw - 200.0).abs() < 0.1, "{draw}");
}

#[test]
fn voltage_and_current_give_the_draw_with_a_sign_and_a_scale() {
    let log = METER.replace(
        "power = { column = \"P\", unit = \"W\" }",
        "voltage = { column = \"U\", unit = \"V\" }\ncurrent = { column = \"I\", unit = \"mA\", sign = -1, scale = 10 }",
    );
    let text = hour("t,U,I", |t, p| format!("{t},25.0,{:.3}", -p / 25.0 * 100.0));
    let draw = LogFolder::new(&log).file("meter.csv", text).draw_w();
    assert!((draw - 200.0).abs() < 0.1, "{draw}");
}

#[test]
fn current_counted_as_negative_is_refused_with_the_sign_to_add() {
    let text = hour("t,P", |t, p| format!("{t},{:.2}", -p));
    LogFolder::new(METER)
        .file("meter.csv", text)
        .refused_with(&["bench.toml, line 10", "`power` below zero", "sign = -1"]);
}

#[test]
fn voltage_and_current_may_stand_in_different_logs() {
    let log = r#"
[[log]]
file = "volts.csv"
[log.time]
column = "t"
format = "unix"
[log.channels]
voltage = { column = "U", unit = "V" }
[[log]]
file = "amps.csv"
[log.time]
column = "t"
format = "unix"
[log.channels]
current = { column = "I", unit = "A" }
"#;
    let folder = LogFolder::new(log)
        .file(
            "volts.csv",
            hour("t,U", |t, p| format!("{},{:.3}", t + 3, 25.0 - p / 200.0)),
        )
        .file(
            "amps.csv",
            hour("t,I", |t, p| format!("{t},{:.4}", p / 24.0)),
        );
    assert!((folder.draw_w() - 200.0).abs() < 0.2, "{}", folder.draw_w());
}

#[test]
fn decimal_commas_are_found_out_and_can_be_stated() {
    let text = hour("t;P", |t, p| format!("{t};{p:.2}").replace('.', ","));
    let folder = LogFolder::new(METER).file("meter.csv", text.clone());
    assert!((folder.draw_w() - 200.0).abs() < 0.1);
    let stated = METER.replace(
        "[log.time]",
        "decimal = \",\"\ndelimiter = \";\"\n[log.time]",
    );
    assert!((LogFolder::new(&stated).file("meter.csv", text).draw_w() - 200.0).abs() < 0.1);
}

#[test]
fn a_comma_between_cells_and_in_numbers_is_refused() {
    let log = METER.replace(
        "[log.time]",
        "decimal = \",\"\ndelimiter = \",\"\n[log.time]",
    );
    LogFolder::new(&log)
        .file("meter.csv", plain())
        .refused_with(&[
            "bench.toml, line 6",
            "a comma both between cells and in numbers",
        ]);
}

#[test]
fn a_few_broken_lines_are_counted_with_their_numbers() {
    let mut lines: Vec<String> = plain().lines().map(str::to_owned).collect();
    lines.insert(5, "logger restarted".to_owned());
    lines[20] = "not a time,200".to_owned();
    lines[30] = lines[30].replace("200", "2o0").replace("199", "1g9");
    LogFolder::new(METER)
        .file("meter.csv", lines.join("\r\n"))
        .finds(
            "broken-lines",
            &[
                "3 of 361 lines",
                "line 6: 1 cells where 2 are needed",
                "line 21, column 1",
                "line 31, column 2",
            ],
        );
}

#[test]
fn a_log_with_many_broken_lines_is_refused_with_the_first_of_them() {
    let text = hour("t,P", |t, p| {
        if t % 30 == 0 {
            format!("{t},{p:.2}")
        } else {
            format!("{t},bad")
        }
    });
    LogFolder::new(METER)
        .file("meter.csv", text)
        .refused_with(&[
            "meter.csv, line 3, column 2",
            "240 of 360 lines (in all) that cannot be read",
            "no number `bad`",
            "at most 10 % of the lines",
        ]);
}

#[test]
fn a_wrong_time_format_is_refused_with_an_example() {
    let log = METER.replace("\"unix\"", "\"%d.%m.%Y %H:%M:%S\"\nzone = \"UTC\"");
    LogFolder::new(&log)
        .file("meter.csv", plain())
        .refused_with(&[
            "meter.csv, line 2, column 1",
            "not the time format `1787641200`",
            "compare the time with `format`",
        ]);
    // Where a usual format reads the times, it is named.
    let log = METER.replace("\"unix\"", "\"iso\"\nzone = \"UTC\"");
    let rows: String = (0..40)
        .map(|i| format!("25.08.2026 09:00:{i:02},100\n"))
        .collect();
    LogFolder::new(&log)
        .file("meter.csv", format!("t,P\n{rows}"))
        .refused_with(&["(these read as \"%d.%m.%Y %H:%M:%S\")"]);
}

#[test]
fn a_missing_column_is_refused_with_those_that_are_there() {
    let log = METER.replace("\"P\"", "\"Powr\"");
    LogFolder::new(&log)
        .file("meter.csv", plain().replace("t,P", "t,Power"))
        .refused_with(&[
            "meter.csv, line 1",
            "no column `Powr`",
            "`t`, `Power`",
            "did you mean `Power`?",
        ]);
}

#[test]
fn headings_that_stand_twice_are_refused() {
    LogFolder::new(METER)
        .file("meter.csv", hour("t,P,P", |t, p| format!("{t},{p},{p}")))
        .refused_with(&["the heading `P` 2 times, in columns 2, 3", "by its number"]);
}

#[test]
fn a_column_without_a_unit_is_refused() {
    let log = METER.replace(", unit = \"W\"", "");
    LogFolder::new(&log)
        .file("meter.csv", plain())
        .refused_with(&["bench.toml, line 10", "`power` without a unit", "add unit"]);
    // Brackets in the heading, or a row of units, do as well.
    let bracket = plain().replace("t,P", "t,P [kW]");
    let folder = LogFolder::new(&log).file("meter.csv", bracket);
    assert!((folder.draw_w() - 200_000.0).abs() < 100.0);
    let rows = log.replace("[log.time]", "unit_rows = 1\n[log.time]");
    let folder = LogFolder::new(&rows).file("meter.csv", plain().replace("t,P\n", "t,P\ns,W\n"));
    assert!((folder.draw_w() - 200.0).abs() < 0.1);
}

#[test]
fn files_without_headings_name_columns_by_number() {
    let log = METER.replace("\"t\"", "1").replace("\"P\"", "3");
    let text = hour("Interval=\t10 s\nTitle=\tDraw", |t, p| {
        format!("{t}\tx\t{p:.2}")
    });
    let folder = LogFolder::new(&log).file("meter.csv", text);
    assert!((folder.draw_w() - 200.0).abs() < 0.1);
    assert!(
        folder
            .reduce()
            .unwrap()
            .findings
            .iter()
            .all(|f| f.code != "broken-lines")
    );
}

#[test]
fn preambles_and_footers_do_not_stop_a_log() {
    let mut text = String::from("Test name,Draw\nOperator,\n,\n\"Comment\",\"a, b\"\n");
    text.push_str(&plain());
    text.push_str("Total Number of Data Lines 360\n");
    let folder = LogFolder::new(METER).file("meter.csv", text);
    assert!((folder.draw_w() - 200.0).abs() < 0.1);
    folder.finds("broken-lines", &["1 of 361 lines", "line 366"]);
}

#[test]
fn an_unclosed_quote_spoils_its_own_line_only() {
    let text = plain().replacen("1787641300,", "\"1787641300,", 1);
    LogFolder::new(METER)
        .file("meter.csv", text)
        .finds("broken-lines", &["1 of 360 lines", "line 12"]);
}

#[test]
fn encodings_are_found_out() {
    let text = plain()
        .replace("t,P", "Größe,P [W]")
        .replace("\n", ",x\n")
        .replace("P [W],x", "P [W],°C");
    let log = METER.replace("\"t\"", "\"Größe\"");
    let latin: Vec<u8> = text.chars().map(|c| c as u8).collect();
    let marked: Vec<u8> = [&[0xEF, 0xBB, 0xBF], text.as_bytes()].concat();
    let utf16: Vec<u8> = std::iter::once(0xFEFF)
        .chain(text.encode_utf16())
        .flat_map(u16::to_be_bytes)
        .collect();
    for bytes in [text.clone().into_bytes(), latin, marked, utf16] {
        let draw = LogFolder::new(&log).file("meter.csv", bytes).draw_w();
        assert!((draw - 200.0).abs() < 0.1, "{draw}");
    }
}

#[test]
fn wall_clocks_need_a_zone() {
    let text = hour("t,P", |t, p| {
        let s = t - START;
        format!("2026-08-25 09:{:02}:{:02},{p:.2}", s / 60, s % 60)
    });
    let log = METER.replace("\"unix\"", "\"%Y-%m-%d %H:%M:%S\"");
    LogFolder::new(&log)
        .file("meter.csv", text.clone())
        .refused_with(&["bench.toml", "times in meter.csv without a zone", "zone = "]);
    let zoned = log.replace(
        "[log.channels]",
        "zone = \"Europe/Amsterdam\"\n[log.channels]",
    );
    assert!(
        (LogFolder::new(&zoned)
            .file("meter.csv", text.clone())
            .draw_w()
            - 200.0)
            .abs()
            < 0.1
    );
    let wrong = log.replace(
        "[log.channels]",
        "zone = \"Europe/Amsterdan\"\n[log.channels]",
    );
    LogFolder::new(&wrong)
        .file("meter.csv", text.clone())
        .refused_with(&["bench.toml, line 9", "Europe/Amsterdan", "IANA"]);
    // The wrong zone leaves the run without readings, and what the log covers is said.
    let other = log.replace("[log.channels]", "zone = \"UTC\"\n[log.channels]");
    LogFolder::new(&other).file("meter.csv", text).finds(
        "runs-without-readings",
        &["r1", "2026-08-25T09:00:00Z", "compare zones"],
    );
}

#[test]
fn elapsed_times_need_an_origin_or_elapsed_windows() {
    let text = hour("t,P", |t, p| format!("{},{p:.2}", t - START));
    let log = METER.replace("\"unix\"", "\"elapsed_s\"");
    LogFolder::new(&log)
        .file("meter.csv", text.clone())
        .refused_with(&["elapsed times in this log", "origin", "start [s]"]);
    let with_origin = log.replace(
        "[log.channels]",
        "origin = \"2026-08-25T07:00:00Z\"\n[log.channels]",
    );
    assert!(
        (LogFolder::new(&with_origin)
            .file("meter.csv", text.clone())
            .draw_w()
            - 200.0)
            .abs()
            < 0.1
    );
    let runs = "run,fan,start [min],end [min]\nr1,1,0,60\n";
    let folder = LogFolder::new(&log)
        .file("meter.csv", text)
        .file("runs.csv", runs);
    assert!((folder.draw_w() - 200.0).abs() < 0.1);
}

#[test]
fn shifts_are_added_to_a_log_s_clock() {
    let text = hour("t,P", |t, p| format!("{},{p:.2}", t - 7200));
    let log = METER.replace("[log.channels]", "shift = \"2 h\"\n[log.channels]");
    assert!((LogFolder::new(&log).file("meter.csv", text).draw_w() - 200.0).abs() < 0.1);
}

#[test]
fn a_clock_that_goes_back_is_told_and_one_that_starts_again_is_refused() {
    let back = hour("t,P", |t, p| {
        let late = if t > START + 3000 { 45 } else { 0 };
        format!("{},{p:.2}", t - late)
    });
    LogFolder::new(METER).file("meter.csv", back).finds(
        "clock-went-back",
        &["goes back once", "line 303", "35 s", "4 readings"],
    );
    let again = hour("t,P", |t, p| {
        format!("{},{p:.2}", START + (t - START) % 300)
    });
    LogFolder::new(METER)
        .file("meter.csv", again)
        .refused_with(&["meter.csv, line 32", "goes back 11 times", "no clock"]);
}

#[test]
fn repeated_times_are_kept_and_doubled_lines_left_out() {
    let text = plain();
    let line = text.lines().nth(100).unwrap();
    let doubled = text.replacen(line, &format!("{line}\n{line}"), 1);
    LogFolder::new(METER)
        .file("meter.csv", doubled)
        .finds("doubled-lines", &["1 lines"]);
    let repeated = hour("t,P", |t, p| format!("{},{p:.3}", t - t % 20));
    let folder = LogFolder::new(METER).file("meter.csv", repeated);
    folder.finds("repeated-times", &["180 readings"]);
    assert!((folder.draw_w() - 200.0).abs() < 0.1);
}

#[test]
fn devices_that_write_into_one_file_are_told_apart() {
    let text = hour("t,device,P", |t, p| {
        format!("{t},1,{p:.2}\n{t},2,{:.2}", p / 10.0)
    });
    LogFolder::new(METER)
        .file("meter.csv", text.clone())
        .finds("repeated-times", &["360 readings", "only = {"]);
    let log = METER.replace(
        "[log.time]",
        "only = { column = \"device\", is = \"2\" }\n[log.time]",
    );
    assert!((LogFolder::new(&log).file("meter.csv", text).draw_w() - 20.0).abs() < 0.1);
}

#[test]
fn drop_outs_are_left_out_and_counted() {
    let text = hour("t,P", |t, p| match (t - START) / 10 {
        50 => format!("{t},0.00"),
        100 => format!("{t},NaN"),
        150 => format!("{t},-9999"),
        200 => format!("{t},9e8"),
        _ => format!("{t},{p:.2}"),
    });
    let folder = LogFolder::new(METER).file("meter.csv", text);
    assert!((folder.draw_w() - 200.0).abs() < 0.1, "{}", folder.draw_w());
    folder.finds("sensor-drop-outs", &["1 readings", "line 52"]);
    folder.finds("readings-impossible", &["1 readings", "line 202"]);
    folder.finds("readings-missing", &["2 of 360"]);
    let missing = METER.replace("[log.time]", "missing = [\"77\"]\n[log.time]");
    let text = hour("t,P", |t, p| {
        format!(
            "{t},{}",
            if t % 70 == 0 {
                "77".to_owned()
            } else {
                format!("{p:.2}")
            }
        )
    });
    assert!((LogFolder::new(&missing).file("meter.csv", text).draw_w() - 200.0).abs() < 0.1);
}

#[test]
fn patterns_name_files_in_the_order_of_their_times() {
    let log = METER.replace("meter.csv", "logs/m-*.csv");
    let text = plain();
    let lines: Vec<&str> = text.lines().collect();
    let mut folder = LogFolder::new(&log);
    for (k, piece) in lines[1..].chunks(30).enumerate() {
        folder = folder.file(
            &format!("logs/m-{}.csv", k + 1),
            format!("t,P\n{}\n", piece.join("\n")),
        );
    }
    assert!((folder.draw_w() - 200.0).abs() < 0.1);
    assert!(
        folder
            .reduce()
            .unwrap()
            .findings
            .iter()
            .all(|f| f.code != "clock-went-back")
    );
    LogFolder::new(&log).refused_with(&["bench.toml, line 5", "logs/m-*.csv", "no file matches"]);
}

#[test]
fn date_and_time_may_stand_in_two_columns() {
    let text = hour("Date,Time,P", |t, p| {
        let s = t - START;
        format!("8/25/2026,3:{:02}:{:02} AM,{p:.2}", s / 60, s % 60)
    });
    let log = METER
        .replace("column = \"t\"", "column = [\"Date\", \"Time\"]")
        .replace(
            "\"unix\"",
            "\"%m/%d/%Y %I:%M:%S %p\"\nzone = \"America/New_York\"",
        );
    assert!((LogFolder::new(&log).file("meter.csv", text).draw_w() - 200.0).abs() < 0.1);
}

#[test]
fn what_is_no_text_is_refused_with_what_to_do() {
    LogFolder::new(METER)
        .file("meter.csv", b"PK\x03\x04 and so on".to_vec())
        .refused_with(&["meter.csv", "spreadsheet", "export the sheet as CSV"]);
    LogFolder::new(METER)
        .file("meter.csv", b"t,P\n1\x00,2\n".to_vec())
        .refused_with(&["meter.csv, line 2", "a byte of zero"]);
    LogFolder::new(METER)
        .file("meter.csv", "")
        .refused_with(&["meter.csv"]);
    LogFolder::new(METER)
        .file("meter.csv", "t,P\n")
        .refused_with(&["headings and no readings"]);
}

#[test]
fn paths_stay_inside_the_bench() {
    for path in ["../meter.csv", "/etc/passwd", "logs/../../x.csv"] {
        LogFolder::new(&METER.replace("meter.csv", path))
            .refused_with(&["bench.toml, line 5", "inside the bench folder"]);
    }
}

#[test]
fn run_windows_are_checked() {
    let folder = || LogFolder::new(METER).file("meter.csv", plain());
    for (runs, parts) in [
        (
            "run,fan,start,end\nr1,1,2026-08-25T08:00:00Z,2026-08-25T07:00:00Z\n",
            &["runs.csv, line 2, column 4", "an end after the start"][..],
        ),
        (
            "run,fan,start,end\nr1,1,yesterday,2026-08-25T07:00:00Z\n",
            &["runs.csv, line 2, column 3", "`yesterday`"],
        ),
        (
            "run,fan,start,end\nr1,1,2026-08-25 07:00,2026-08-25 08:00\n",
            &["runs.csv, line 2, column 3", "zone = "],
        ),
        (
            "run,fan,start\nr1,1,2026-08-25T07:00:00Z\n",
            &["no column `end`"],
        ),
        (
            "run,fan,start,end,airflow\nr1,1,2026-08-25T07:00:00Z,2026-08-25T08:00:00Z,200\n",
            &["`airflow` without a unit"],
        ),
    ] {
        folder().file("runs.csv", runs).refused_with(parts);
    }
}

#[test]
fn a_bench_without_logs_or_draw_is_refused() {
    LogFolder::new("").refused_with(&["no section [[log]]"]);
    let log = METER.replace(
        "power = { column = \"P\", unit = \"W\" }",
        "voltage = { column = \"P\", unit = \"V\" }",
    );
    LogFolder::new(&log)
        .file("meter.csv", plain())
        .refused_with(&["logs without a draw"]);
    assert!(
        LogBench::open(Path::new("tests"))
            .unwrap_err()
            .to_string()
            .contains("[[log]] and [runs]")
    );
}
