//! Real exports, as instruments wrote them: read rightly, or refused for the right reason. Excerpts with their sources in
//! `tests/reference/logs/README.md`; the whole files, where they stand beside the project, in the last tests.

use std::path::{Path, PathBuf};

use steadydraw::bench::Channel;
use steadydraw::bench::logs::LogBench;
use steadydraw::steady::{Reduction, Status, reduce};

/// Reduces one file with one `[[log]]` and one run window.
fn reduced(file: &Path, log: &str, window: &str, rules: &str) -> Result<Reduction, String> {
    let folder = tempfile::tempdir().unwrap();
    std::fs::copy(file, folder.path().join("log.txt")).unwrap();
    let toml = format!(
        "title = \"real\"\n[runs]\nfile = \"runs.csv\"\n{rules}\n[[log]]\nfile = \"log.txt\"\n{log}"
    );
    std::fs::write(folder.path().join("bench.toml"), toml).unwrap();
    std::fs::write(folder.path().join("runs.csv"), window).unwrap();
    LogBench::open(folder.path())
        .and_then(|b| reduce(&b))
        .map_err(|e| e.to_string())
}

fn excerpt(name: &str) -> PathBuf {
    Path::new("tests/reference/logs/real").join(name)
}

/// A whole file beside the project, or where STEADYDRAW_SHARED points; said loudly where it is not there.
fn whole(folder: &str, ends_with: &str) -> Option<PathBuf> {
    let shared = std::env::var("STEADYDRAW_SHARED").unwrap_or_else(|_| "../shared".to_owned());
    let folder = Path::new(&shared).join("reference/real").join(folder);
    let found = std::fs::read_dir(&folder).ok()?.find_map(|e| {
        let path = e.ok()?.path();
        path.to_str()?.ends_with(ends_with).then_some(path)
    });
    if found.is_none() {
        eprintln!("SKIPPED: no file …{ends_with} in {}", folder.display());
    }
    found
}

const CHAMBER: &str = r#"
[log.time]
column = "date_time"
format = "%m/%d %H:%M:%S"
year = 2022
zone = "America/New_York"
[log.channels]
power = { column = "od_power", unit = "W" }
intake_temp = { column = "zn_temp", unit = "degF" }
outlet_temp = { column = "sa_temp", unit = "degF" }
ambient_temp = { column = "oa_temp", unit = "degF" }
"#;

/// Cells of a plain comma-separated file: rows of those in the named columns.
fn columns(file: &Path, names: &[&str]) -> Vec<Vec<String>> {
    let text = std::fs::read_to_string(file).unwrap();
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let at: Vec<usize> = names
        .iter()
        .map(|n| head.iter().position(|h| h == n).unwrap())
        .collect();
    lines
        .map(|l| {
            let cells: Vec<&str> = l.split(',').collect();
            at.iter().map(|i| cells[*i].to_owned()).collect()
        })
        .collect()
}

#[test]
fn a_chamber_test_is_steady_where_its_low_stage_runs_on() {
    // The low stage runs from 12:53 to 14:31, after a while in the high one.
    let window = "run,fan,start,end\nr,1,2022-08-26T12:53:00-04:00,2022-08-26T14:31:00-04:00\n";
    let found = reduced(&excerpt("chamber.csv"), CHAMBER, window, "").unwrap();
    let log = &found.logs[0];
    // Ten minutes before and after the window count as inside; the last row, 24:00:00, is one of those outside.
    assert_eq!((log.rows, log.broken, log.outside), (137, 0, 19));
    let judged = &found.runs[0].judged;
    assert_eq!(judged.status, Status::Steady, "{}", judged.reason);
    let plateau = judged.plateau.as_ref().unwrap();
    // The means are those of the rows in the stretch, taken here by hand.
    let from = (plateau.span.start - found.runs[0].window.start) / 60.0 + 773.0;
    let to = (plateau.span.end - found.runs[0].window.start) / 60.0 + 773.0;
    let rows = columns(
        &excerpt("chamber.csv"),
        &["date_time", "od_power", "zn_temp"],
    );
    let inside: Vec<(f64, f64)> = rows
        .iter()
        .filter(|r| {
            let (h, m) = (&r[0][7..9], &r[0][10..12]);
            let minute = 60.0 * h.parse::<f64>().unwrap() + m.parse::<f64>().unwrap();
            minute >= from && minute < to
        })
        .map(|r| (r[1].parse().unwrap(), r[2].parse().unwrap()))
        .collect();
    let n = inside.len() as f64;
    assert!(n >= 20.0);
    let watts = inside.iter().map(|r| r.0).sum::<f64>() / n;
    let intake = (inside.iter().map(|r| r.1).sum::<f64>() / n - 32.0) / 1.8;
    assert!((plateau.values[&Channel::Power].value - watts).abs() < 1e-6);
    assert!((plateau.values[&Channel::IntakeTemp].value - intake).abs() < 1e-6);
}

const WEBLOGGER: &str = r#"
[log.time]
column = "Orario di rilevazione"
format = "%Y-%m-%d %H:%M:%S"
zone = "Europe/Rome"
[log.channels]
power = { column = "Potenza [W]" }
"#;

#[test]
fn devices_in_one_file_are_noticed_and_one_can_be_chosen() {
    let window = "run,fan,start,end\nr,1,2019-09-01T15:40:00Z,2019-09-01T17:00:00Z\n";
    let all = reduced(&excerpt("weblogger.txt"), WEBLOGGER, window, "").unwrap();
    let repeated = all.findings.iter().find(|f| f.code == "repeated-times");
    assert!(repeated.unwrap().message.contains("only = {"));
    let one = format!("only = {{ column = \"Numero dispositivo\", is = \"2\" }}\n{WEBLOGGER}");
    let found = reduced(&excerpt("weblogger.txt"), &one, window, "").unwrap();
    let log = &found.logs[0];
    assert_eq!((log.rows - log.others, log.broken), (19, 0));
    assert!(found.findings.iter().all(|f| f.code != "repeated-times"));
    // The sun goes down: nothing steady in that.
    assert_ne!(found.runs[0].judged.status, Status::Steady);
}

#[test]
fn a_voltage_alone_has_no_draw_and_words_for_nothing_are_drop_outs() {
    let log = r#"
[log.time]
column = "last_changed"
format = "iso"
[log.channels]
voltage = { column = "state", unit = "V" }
"#;
    let window = "run,fan,start,end\nr,1,2026-03-26T16:28:00Z,2026-03-26T16:41:00Z\n";
    let refused = reduced(&excerpt("home_voltage.csv"), log, window, "").unwrap_err();
    assert!(refused.contains("logs without a draw"), "{refused}");
    // Read as if it were one, to see that the words are no broken lines.
    let as_draw = log.replace("voltage", "power").replace("\"V\"", "\"W\"");
    let found = reduced(&excerpt("home_voltage.csv"), &as_draw, window, "").unwrap();
    let log = &found.logs[0];
    assert_eq!((log.rows, log.broken), (80, 0));
    assert_eq!(log.missing, [(Channel::Power, 2)]);
}

#[test]
fn a_ramp_is_not_steady() {
    let propeller = r#"
[log.time]
column = "Time (s)"
format = "elapsed_s"
[log.channels]
power = { column = "Electrical Power (W)", unit = "W" }
voltage = { column = "Voltage (V)", unit = "V" }
"#;
    let window = "run,fan,start [s],end [s]\nr,1,0,20\n";
    let rules = "[steady]\nat_least = \"5 s\"\n";
    let found = reduced(&excerpt("propeller.csv"), propeller, window, rules).unwrap();
    assert_eq!((found.logs[0].rows, found.logs[0].broken), (11, 0));
    assert_eq!(found.runs[0].judged.status, Status::Unsteady);
    // A flow in L/s, taken for a draw: what counts is its course.
    let blower = r#"
[log.time]
column = 1
format = "elapsed_s"
[log.channels]
power = { column = 2, unit = "W", scale = 100 }
"#;
    let window = "run,fan,start [s],end [s]\nr,1,18,42\n";
    let rules = "[steady]\nat_least = \"4 s\"\n";
    let found = reduced(&excerpt("blower_ramp.txt"), blower, window, rules).unwrap();
    assert_eq!((found.logs[0].rows, found.logs[0].broken), (526, 0));
    assert_eq!(found.runs[0].judged.status, Status::Unsteady);
}

#[test]
fn a_counter_that_starts_again_is_refused_and_the_total_is_read() {
    let log = |column: &str| {
        format!(
            "[log.time]\ncolumn = \"{column}\"\nformat = \"elapsed_s\"\n[log.channels]\ncurrent = {{ column = \"Current(A)\", unit = \"A\" }}\nvoltage = {{ column = \"Voltage(V)\", unit = \"V\" }}\n"
        )
    };
    let window = "run,fan,start [s],end [s]\nr,1,6000,9000\n";
    let refused = reduced(&excerpt("cycler.csv"), &log("Time(s)"), window, "").unwrap_err();
    assert!(refused.contains("log.txt, line 25"), "{refused}");
    assert!(
        refused.contains("name the column with the total time"),
        "{refused}"
    );
    let found = reduced(&excerpt("cycler.csv"), &log("Total Time(s)"), window, "").unwrap();
    assert_eq!((found.logs[0].rows, found.logs[0].broken), (60, 0));
}

#[test]
fn quoted_cells_keep_their_commas() {
    let log = r#"
[log.time]
column = "Time"
format = "%m/%d/%Y %H:%M"
zone = "America/Indiana/Indianapolis"
[log.channels]
power = { column = "wind_speed (m/s)", unit = "W" }
ambient_temp = { column = "temperature (degC)", unit = "degC" }
"#;
    let window = "run,fan,start,end\nr,1,2024-12-18T20:00:00Z,2024-12-20T10:00:00Z\n";
    let rules = "[steady]\nat_least = \"10 h\"\n";
    let found = reduced(&excerpt("weather.csv"), log, window, rules).unwrap();
    assert_eq!((found.logs[0].rows, found.logs[0].broken), (39, 0));
    // 15:00 in Indianapolis in winter is 20:00 UTC.
    assert_eq!(
        found.logs[0].reach_words().unwrap(),
        "2024-12-18T20:00:00Z to 2024-12-20T10:00:00Z"
    );
}

#[test]
fn whole_days_in_the_chamber_cycle_and_stand_still() {
    let Some(file) = whole("nist-two-stage-heat-pump", "Atlanta_Eff_Default.csv") else {
        return;
    };
    let window = "run,kind,fan,start,end\n\
        low,cooling,1,2022-08-26T12:53:00-04:00,2022-08-26T14:31:00-04:00\n\
        morning,cooling,1,2022-08-26T06:00:00-04:00,2022-08-26T11:00:00-04:00\n\
        night,standby,,2022-08-26T22:30:00-04:00,2022-08-27T00:00:00-04:00\n";
    let found = reduced(&file, CHAMBER, window, "").unwrap();
    assert_eq!((found.logs[0].rows, found.logs[0].broken), (1440, 0));
    let status: Vec<Status> = found.runs.iter().map(|r| r.judged.status).collect();
    assert_eq!(status, [Status::Steady, Status::Cycling, Status::Steady]);
    let cycles = found.runs[1].judged.cycles.as_ref().unwrap();
    // The stage column turns from 0 to 1 at 8:04, 8:31, 8:57, 9:25, 9:52, 10:21 and 10:53: 28 min a cycle.
    assert!((cycles.period_s / 60.0 - 28.0).abs() < 1.5, "{cycles:?}");
}

#[test]
fn a_whole_pack_discharge_is_read_past_its_preamble_and_footer() {
    let Some(file) = whole("leaf-24v-pack-discharge", "module123_1_0C.csv") else {
        return;
    };
    let log = r#"
[log.time]
column = "Real Time"
format = "%m/%d/%Y %I:%M:%S %p"
zone = "America/New_York"
[log.channels]
voltage = { column = "Voltage", unit = "V" }
current = { column = "Current", unit = "A", sign = -1 }
"#;
    let window = "run,fan,start,end\nr,1,2017-04-13T11:50:00Z,2017-04-13T12:35:00Z\n";
    let found = reduced(&file, log, window, "").unwrap();
    assert!(found.logs[0].rows >= 4140, "{}", found.logs[0].rows);
    assert!(found.logs[0].broken <= 3, "{:?}", found.logs[0].problems);
    // 65 A throughout while the voltage falls: a draw that drifts.
    let judged = &found.runs[0].judged;
    assert_eq!(judged.status, Status::Unsteady);
    assert!(
        judged.reason.contains("the draw drifts"),
        "{}",
        judged.reason
    );
}

#[test]
fn battery_testers_exports_are_read_or_refused_for_the_right_reason() {
    let folder = "battery-tester-exports";
    let hours = "run,fan,start [h],end [h]\nr,1,0,2\n";
    if let Some(file) = whole(folder, "_decimal_comma.txt") {
        let log = "[log.time]\ncolumn = \"TestTime\"\nformat = \"elapsed_min\"\n[log.channels]\nvoltage = { column = \"Voltage [V]\" }\ncurrent = { column = \"Current [A]\" }\n";
        let found = reduced(&file, log, hours, "").unwrap();
        // Its last line breaks off.
        assert_eq!((found.logs[0].rows, found.logs[0].broken), (214, 1));
    }
    if let Some(file) = whole(folder, "_mA_headers.txt") {
        let log = "[log.time]\ncolumn = \"TestTime\"\nformat = \"elapsed\"\n[log.channels]\nvoltage = { column = \"Volts\", unit = \"V\" }\ncurrent = { column = \"mAmps\", unit = \"mA\" }\n";
        let found = reduced(&file, log, hours, "").unwrap();
        // Millivolts under a heading that says volts: most are beyond anything possible, and that is said.
        let finding = found
            .findings
            .iter()
            .find(|f| f.code == "readings-impossible")
            .unwrap();
        assert!(
            finding.message.starts_with("3132 readings of voltage"),
            "{}",
            finding.message
        );
    }
}

#[test]
fn a_log_of_events_and_a_table_in_prose_are_refused() {
    let window = "run,fan,start,end\nr,1,2019-09-01T15:40:00Z,2019-09-01T17:00:00Z\n";
    if let Some(file) = whole("inverter-weblogger-messy", "events_first300lines.txt") {
        let refused = reduced(&file, WEBLOGGER, window, "").unwrap_err();
        assert!(refused.contains("no column `Potenza [W]`"), "{refused}");
        assert!(refused.contains("`Tipologia eventi`"), "{refused}");
    }
    if let Some(file) = whole("minisplit-airflow-proxy", "as_exported.csv") {
        let refused = reduced(&file, WEBLOGGER, window, "").unwrap_err();
        assert!(refused.contains("no line with the headings"), "{refused}");
    }
}

/// What is to come of a whole file.
enum Read {
    /// So many rows, and no more than so many that could not be read.
    Rows(usize, usize),
    /// Refused with these words.
    Refused(&'static str),
}

/// Every log beside the project: folder, end of the name, `[log.time]` and `[log.channels]`, and what is to come of it. Rows were
/// counted by hand (`wc -l` less headings and preambles).
fn every_log() -> Vec<(&'static str, &'static str, String, Read)> {
    use Read::{Refused, Rows};
    let chamber = || CHAMBER.to_owned();
    let log =
        |time: &str, channels: &str| format!("[log.time]\n{time}\n[log.channels]\n{channels}\n");
    let wall = |column: &str, format: &str, channels: &str| {
        log(
            &format!(
                "column = \"{column}\"\nformat = \"{format}\"\nzone = \"America/Indiana/Indianapolis\""
            ),
            channels,
        )
    };
    let elapsed = |column: &str, channels: &str| {
        log(
            &format!("column = {column}\nformat = \"elapsed_s\""),
            channels,
        )
    };
    let pack = "voltage = { column = \"Voltage\", unit = \"V\" }\ncurrent = { column = \"Current\", unit = \"A\", sign = -1 }";
    let pack = |name| {
        (
            "leaf-24v-pack-discharge",
            name,
            wall("Real Time", "%m/%d/%Y %I:%M:%S %p", pack),
        )
    };
    let five = |name, column: &str, rows| {
        (
            "purdue-house-ac-then-dc",
            name,
            wall(
                "time",
                "%Y-%m-%d %H:%M:%S",
                &format!("power = {{ column = \"{column}\", unit = \"W\" }}"),
            ),
            Rows(rows, 0),
        )
    };
    let hourly = |name, rows| {
        (
            "purdue-house-ac-then-dc",
            name,
            wall(
                "hour_start",
                "%Y-%m-%d %H:%M",
                "power = { column = \"outdoor_unit_W\", unit = \"W\" }\nambient_temp = { column = \"outdoor_temp_C\", unit = \"degC\" }",
            ),
            Rows(rows, 0),
        )
    };
    let mut all: Vec<(&str, &str, String, Read)> = [
        "Atlanta_Eff_Default.csv",
        "Atlanta_Eff_EnergySave.csv",
        "Atlanta_Eff_ExtrmSum.csv",
        "Atlanta_Shift_MPC.csv",
        "Buffalo_Eff_Default.csv",
        "Buffalo_Shift_MPC.csv",
        "NewYorkCity_Eff_Default.csv",
        "NewYorkCity_Eff_TypShldr.csv",
        "Tucson_Eff_ExtrmWin.csv",
    ]
    .map(|name| ("nist-two-stage-heat-pump", name, chamber(), Rows(1440, 0)))
    .into();
    all.push((
        "nist-two-stage-heat-pump",
        "wide_untrimmed_first300rows.csv",
        chamber(),
        Rows(300, 0),
    ));
    all.push((
        "nist-two-stage-heat-pump",
        "DERIVED_german_locale_excerpt.csv",
        format!(
            "unit_rows = 1\n{}",
            wall("Zeit", "%d.%m.%Y %H:%M", "power = { column = \"Aussengeraet [W]\", unit = \"W\" }\nambient_temp = { column = \"Aussentemperatur [F]\", unit = \"degF\" }")
        ),
        Rows(600, 0),
    ));
    all.extend(
        [
            "Atlanta_Eff_MPC.csv",
            "Buffalo_Shed_MPC.csv",
            "Tucson_Shed_DenseOcc.csv",
        ]
        .map(|name| ("nist-two-stage-mpc-runs", name, chamber(), Rows(1440, 0))),
    );
    all.extend([
        five("2024-07-31_5min.csv", "outdoor_unit_W", 13536),
        five("2025-01-16_5min.csv", "outdoor_unit_dc_W", 8256),
        hourly("jun_jul_2024_hourly.csv", 1118),
        hourly("jan2024_hourly.csv", 1185),
        hourly("dc_powered_winter_hourly.csv", 688),
        (
            "purdue-house-ac-then-dc",
            "original_BDinverter_DC_current_OUT_return.csv",
            wall("Time", "%Y-%m-%d %H:%M:%S", "current = { column = \"Value\", unit = \"A\" }"),
            // A current alone is no draw.
            Refused("logs without a draw"),
        ),
        (
            "purdue-house-ac-then-dc",
            "original_weather_2425.csv",
            wall("Time", "%m/%d/%Y %H:%M", "ambient_temp = { column = \"temperature (degC)\", unit = \"degC\" }"),
            Refused("logs without a draw"),
        ),
        (
            "lifepo4-12v-ups-home-log",
            "Test_D3_March_2026_Voltage.csv",
            wall("last_changed", "iso", "voltage = { column = \"state\", unit = \"V\" }").replace("zone = \"America/Indiana/Indianapolis\"\n", ""),
            Refused("logs without a draw"),
        ),
        (
            "lifepo4-12v-ups-home-log",
            "UPS_Temperature_2026-3-26_to_2026-4-4.csv",
            // The file gives no unit, and none may be guessed.
            wall("last_changed", "iso", "power = { column = \"state\" }").replace("zone = \"America/Indiana/Indianapolis\"\n", ""),
            Refused("`power` without a unit"),
        ),
        (
            "lipo-rate-test-cycler",
            "cycler_export_selected_columns.csv",
            elapsed("\"Total Time(s)\"", "voltage = { column = \"Voltage(V)\", unit = \"V\" }\ncurrent = { column = \"Current(A)\", unit = \"A\" }"),
            Rows(13084, 0),
        ),
        (
            "inverter-weblogger-messy",
            "details_first4000lines.txt",
            WEBLOGGER.to_owned(),
            Rows(3999, 0),
        ),
        (
            "blower-flow-at-fixed-rpm",
            "flow-test-21818rpm.csv",
            elapsed("\"t\"", "power = { column = \"Q1\", unit = \"W\" }"),
            Rows(288, 0),
        ),
        (
            "blower-flow-at-fixed-rpm",
            "flow-test-26666rpm.csv",
            elapsed("\"t\"", "power = { column = \"Q1\", unit = \"W\" }"),
            Rows(232, 0),
        ),
        (
            "blower-ramp-messy",
            "labchart_header_block.txt",
            elapsed("1", "power = { column = 2, unit = \"W\" }"),
            Rows(52600, 0),
        ),
        (
            "blower-ramp-messy",
            "pcb_log_no_header.txt",
            log("column = 1\nformat = \"elapsed_ms\"", "power = { column = 6, unit = \"W\" }"),
            Rows(1088, 0),
        ),
        (
            "battery-tester-exports",
            "semicolon_header_block.csv",
            elapsed("\"test_time\"", "voltage = { column = \"voltage\", unit = \"V\" }\ncurrent = { column = \"current\", unit = \"A\" }"),
            // Two lines of separators alone at its end.
            Rows(2444, 2),
        ),
        (
            "battery-tester-exports",
            "neware_three_level_header.csv",
            log(
                "column = \"Total Time\"\nformat = \"elapsed\"",
                "voltage = { column = \"Voltage(V)\", unit = \"V\" }\ncurrent = { column = \"Current(A)\", unit = \"A\", sign = -1 }",
            ),
            // Its third row of headings is that of the readings; the rows of cycles between them are no readings, and are told.
            Rows(9395, 20),
        ),
        (
            "battery-tester-exports",
            "pec_Test25205.csv",
            wall("Real Time", "%m/%d/%Y %H:%M:%S", "voltage = { column = \"Voltage (V)\", unit = \"V\" }\ncurrent = { column = \"Current (A)\", unit = \"A\" }"),
            Rows(490, 10),
        ),
        (
            "battery-tester-exports",
            "pec_Test25209.csv",
            wall("Real Time", "%m/%d/%Y %H:%M:%S", "voltage = { column = \"Voltage (V)\", unit = \"V\" }\ncurrent = { column = \"Current (A)\", unit = \"A\" }"),
            Rows(290, 10),
        ),
        (
            "leaf-24v-pack-discharge",
            "cell_1C_headerless.csv",
            elapsed("2", "voltage = { column = 10, unit = \"V\" }\ncurrent = { column = 9, unit = \"A\" }"),
            Rows(2287, 0),
        ),
        (
            "leaf-24v-pack-discharge",
            "cell_3C_temperatures.lvm",
            // Temperatures without a clock.
            elapsed("1", "power = { column = 2, unit = \"W\" }"),
            Refused("not the time format"),
        ),
        (
            "minisplit-airflow-proxy",
            "tidy.csv",
            elapsed("\"block\"", "power = { column = \"flow_cfm\", unit = \"W\" }"),
            Refused("not the time format"),
        ),
        (
            "minisplit-field-cop",
            "site1.csv",
            elapsed("\"time\"", "power = { column = \"cop\", unit = \"W\" }"),
            Refused("no column `time`"),
        ),
        (
            "fan-curve-supply",
            "supply_fan_875rpm.csv",
            elapsed("\"time\"", "power = { column = \"power_W\", unit = \"W\" }"),
            Refused("no column `time`"),
        ),
        (
            "nist-designed-tests",
            "AC.DAT",
            elapsed("\"time\"", "power = { column = \"Y\", unit = \"W\" }"),
            Refused("no line with the headings"),
        ),
    ]);
    for (name, rows) in [
        ("module123_0_3C_every5th.csv", 2775),
        ("module123_1_0C.csv", 4144),
        ("module123_2_75C.csv", 1680),
    ] {
        let (folder, name, log) = pack(name);
        all.push((folder, name, log, Rows(rows, 3)));
    }
    all
}

#[test]
fn every_log_beside_the_project_is_read_or_refused_for_the_right_reason() {
    let mut wrong = Vec::new();
    for (folder, name, log, want) in every_log() {
        let Some(file) = whole(folder, name) else {
            continue;
        };
        let window = if log.contains("elapsed") {
            "run,fan,start [s],end [s]\nr,1,0,3600\n"
        } else {
            "run,fan,start,end\nr,1,2024-07-01T12:00:00Z,2024-07-01T16:00:00Z\n"
        };
        let found = reduced(&file, &log, window, "");
        match (&found, want) {
            (Ok(found), Read::Rows(rows, broken)) => {
                let log = &found.logs[0];
                let off = log.rows.abs_diff(rows);
                if off > broken || log.broken > broken {
                    wrong.push(format!(
                        "{name}: {} rows, {} broken; expected {rows}",
                        log.rows, log.broken
                    ));
                }
            }
            (Err(said), Read::Refused(words)) if said.contains(words) => println!("{name}: {said}"),
            (Err(said), _) => wrong.push(format!("{name}: {said}")),
            (Ok(found), Read::Refused(words)) => wrong.push(format!(
                "{name}: read ({} rows, {} broken), expected a refusal with `{words}`",
                found.logs[0].rows, found.logs[0].broken
            )),
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
