//! Every layout, encoding and clock that the guide promises, through `reduce` to the draw.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::*;

/// Within a tenth of a per cent of the 200 W that every log here was made with.
#[track_caller]
fn right(folder: &LogFolder) {
    let draw = folder.draw_w();
    assert!((draw - 200.0).abs() < 0.2, "{draw}");
}

/// The log's section with more keys under `[[log]]`.
fn keys(more: &str) -> String {
    METER.replace("[log.time]", &format!("{more}\n[log.time]"))
}

/// The log's section with another time format, and more keys under `[log.time]`.
fn timed(format: &str, more: &str) -> String {
    METER
        .replace("\"unix\"", &format!("\"{format}\""))
        .replace("[log.channels]", &format!("{more}\n[log.channels]"))
}

#[test]
fn every_delimiter_is_found_out_and_can_be_stated() {
    for (mark, key) in [
        (",", ","),
        (";", ";"),
        ("\t", "tab"),
        ("|", "|"),
        ("  ", "space"),
    ] {
        let text = plain().replace(',', mark);
        right(
            &LogFolder::new(&keys(&format!("delimiter = \"{key}\"")))
                .file("meter.csv", text.clone()),
        );
        if key != "space" {
            right(&LogFolder::new(METER).file("meter.csv", text));
        }
    }
    LogFolder::new(&keys("delimiter = \"tba\""))
        .file("meter.csv", plain())
        .refused_with(&["bench.toml, line 6", "delimiter = \"tba\"", "\"tab\""]);
}

#[test]
fn line_ends_of_every_kind_are_read() {
    for end in ["\r\n", "\r", "\n\n", "\r\n\r\n"] {
        right(&LogFolder::new(METER).file("meter.csv", plain().replace('\n', end)));
    }
    let text = plain();
    right(&LogFolder::new(METER).file("meter.csv", text.trim_end().to_owned()));
}

#[test]
fn two_byte_text_is_read_with_and_without_its_mark() {
    let log = METER.replace("\"P\"", "\"Leistung gemäß Zähler\"");
    let text = plain().replace("t,P", "t,Leistung gemäß Zähler");
    for big in [false, true] {
        for mark in [true, false] {
            let bytes: Vec<u8> = mark
                .then_some(0xFEFF)
                .into_iter()
                .chain(text.encode_utf16())
                .flat_map(|u: u16| {
                    if big {
                        u.to_be_bytes()
                    } else {
                        u.to_le_bytes()
                    }
                })
                .collect();
            right(&LogFolder::new(&log).file("meter.csv", bytes.clone()));
            let stated = log.replace(
                "[log.time]",
                if big {
                    "encoding = \"utf-16be\"\n[log.time]"
                } else {
                    "encoding = \"utf-16le\"\n[log.time]"
                },
            );
            right(&LogFolder::new(&stated).file("meter.csv", bytes));
        }
    }
}

#[test]
fn headings_stand_in_any_language() {
    for (time, power) in [
        ("Zeitstempel", "Leistung"),
        ("Время", "Мощность"),
        ("時刻", "電力"),
        ("Heure", "Puissance électrique"),
    ] {
        let log = METER
            .replace("\"t\"", &format!("\"{time}\""))
            .replace("\"P\"", &format!("\"{power}\""));
        right(&LogFolder::new(&log).file(
            "meter.csv",
            plain().replace("t,P", &format!("{time},{power} [W]")),
        ));
    }
}

#[test]
fn unit_rows_give_the_units_and_are_no_readings() {
    let log = keys("unit_rows = 2").replace(", unit = \"W\"", "");
    let text = hour("t,P\nepoch,(kW)\nmean,mean", |t, p| {
        format!("{t},{:.5}", p / 1000.0)
    });
    let folder = LogFolder::new(&log).file("meter.csv", text.clone());
    right(&folder);
    assert_eq!(folder.reduce().unwrap().logs[0].rows, 360);
    // Unannounced, they are two lines that cannot be read, and said.
    let told = METER.replace("unit = \"W\"", "unit = \"kW\"");
    LogFolder::new(&told).file("meter.csv", text).finds(
        "broken-lines",
        &[
            "2 of 362 lines",
            "line 2, column 1: not the time format `epoch`",
        ],
    );
}

#[test]
fn scale_and_offset_bring_a_channel_to_its_reading() {
    // A shunt of 50 A at 60 mV whose amplifier reads 3 mV at no current.
    let log = METER.replace(
        "power = { column = \"P\", unit = \"W\" }",
        "voltage = { column = \"U\", unit = \"V\", offset = \"-0.5 V\" }\ncurrent = { column = \"shunt\", unit = \"A\", scale = 0.8333333333, offset = \"-2.5 A\" }\nintake_temp = { column = \"in\", unit = \"degF\", offset = \"1 K\" }",
    );
    let text = hour("t,U,shunt,in", |t, p| {
        format!("{t},25.5,{:.4},{:.1}", p / 25.0 * 1.2 + 3.0, 77.0)
    });
    let folder = LogFolder::new(&log).file("meter.csv", text);
    right(&folder);
    let found = folder.reduce().unwrap();
    let plateau = found.runs[0].judged.plateau.as_ref().unwrap();
    assert!((plateau.values[&Channel::IntakeTemp].value - 26.0).abs() < 1e-6);
}

/// An hour of 200 W from `start` on, and 100 W for an hour before and after, every 10 s: a wrong clock shows in the draw.
fn step(start: i64, stamp: impl Fn(i64) -> String) -> String {
    let mut text = "t,P\n".to_owned();
    for t in (start - 3600..start + 7200).step_by(10) {
        let inside = (start..start + 3600).contains(&t);
        let watts =
            if inside { 200.0 } else { 100.0 } + 0.4 * ((t / 10 * 37 % 11) as f64 / 5.0 - 1.0);
        text.push_str(&format!("{},{watts:.2}\n", stamp(t)));
    }
    text
}

/// A run table of one run of an hour.
fn window(start: i64) -> String {
    let at = |t: i64| Timestamp::from_second(t).unwrap().to_string();
    format!(
        "run,kind,mode,fan,block,start,end\nr1,cooling,m,1,d,{},{}\n",
        at(start),
        at(start + 3600)
    )
}

/// A wall clock's stamp in a zone.
fn wall(zone: &str, pattern: &'static str) -> impl Fn(i64) -> String {
    let zone = TimeZone::get(zone).unwrap();
    move |t| {
        let at = zone.to_datetime(Timestamp::from_second(t).unwrap());
        jiff::fmt::strtime::format(pattern, at).unwrap()
    }
}

#[test]
fn stamps_of_every_format_give_the_same_hour() {
    let utc = "zone = \"UTC\"";
    for (format, more, pattern) in [
        ("iso", utc, "%Y-%m-%d %H:%M:%S"),
        ("iso", utc, "%Y-%m-%dT%H:%M:%S.250"),
        ("iso", "", "%Y-%m-%dT%H:%M:%SZ"),
        ("%d.%m.%Y %H:%M:%S", utc, "%d.%m.%Y %H:%M:%S"),
        ("%m/%d/%Y %I:%M:%S %p", utc, "%m/%d/%Y %I:%M:%S %p"),
        ("%d %b %y %H.%M.%S", utc, "%d %b %y %H.%M.%S"),
        ("%Y%m%d%H%M%S", utc, "%Y%m%d%H%M%S"),
        ("%Y %j %H:%M:%S", utc, "%Y %j %H:%M:%S"),
        (
            "%d.%m. %H:%M:%S",
            "zone = \"UTC\"\nyear = 2026",
            "%d.%m. %H:%M:%S",
        ),
    ] {
        let log = timed(format, more);
        let folder = LogFolder::new(&log)
            .file("runs.csv", window(START))
            .file("meter.csv", step(START, wall("UTC", pattern)));
        right(&folder);
    }
    let offset = step(START, |t| {
        format!("{}+05:30", wall("Asia/Kolkata", "%Y-%m-%dT%H:%M:%S")(t))
    });
    right(&LogFolder::new(&timed("iso", "")).file("meter.csv", offset));
    let with_z = step(START, |t| {
        format!("{} -0300", wall("Etc/GMT+3", "%d/%m/%Y %H:%M:%S")(t))
    });
    right(&LogFolder::new(&timed("%d/%m/%Y %H:%M:%S %z", "")).file("meter.csv", with_z));
    let ms = step(START, |t| format!("{}", 1000 * t));
    right(&LogFolder::new(&timed("unix_ms", "")).file("meter.csv", ms));
}

#[test]
fn noon_and_midnight_of_a_twelve_hour_clock_are_told_apart() {
    // The hours from 11:30 to 12:30, before noon and before midnight.
    for start in [START + 4 * 3600 + 1800, START + 16 * 3600 + 1800] {
        for pattern in ["%m/%d/%Y %I:%M:%S %p", "%d.%m.%Y %I:%M:%S%p"] {
            let folder = LogFolder::new(&timed(pattern, "zone = \"UTC\""))
                .file("runs.csv", window(start))
                .file("meter.csv", step(start, wall("UTC", pattern)));
            right(&folder);
        }
    }
}

#[test]
fn wall_clocks_are_followed_through_every_change_of_summer_time() {
    // Changes from the IANA time zone database as the time library carries it: Europe at 01:00 UTC, New York at 02:00 of its own time,
    // Lord Howe by half an hour.
    for (zone, change, skips) in [
        ("Europe/Amsterdam", "2026-03-29T01:00:00Z", true),
        ("Europe/Amsterdam", "2026-10-25T01:00:00Z", false),
        ("America/New_York", "2026-03-08T07:00:00Z", true),
        ("America/New_York", "2026-11-01T06:00:00Z", false),
        ("Australia/Lord_Howe", "2026-10-03T15:30:00Z", true),
        ("Australia/Lord_Howe", "2026-04-04T15:00:00Z", false),
    ] {
        let change: Timestamp = change.parse().unwrap();
        let start = change.as_second() - 1800;
        let pattern = "%Y-%m-%d %H:%M:%S";
        let folder = LogFolder::new(&timed(pattern, &format!("zone = \"{zone}\"")))
            .file("runs.csv", window(start))
            .file("meter.csv", step(start, wall(zone, pattern)));
        right(&folder);
        let found = folder.reduce().unwrap();
        let run = &found.runs[0].judged;
        let plateau = run.plateau.as_ref().unwrap();
        assert!(
            plateau.span.length() > 3500.0,
            "{zone} {change}: {}",
            run.reason
        );
        let twice = found.findings.iter().any(|f| f.code == "hour-shown-twice");
        assert_eq!(twice, !skips, "{zone} {change}");
        let wrong = ["hour-skipped", "clock-went-back"];
        assert!(
            found.findings.iter().all(|f| !wrong.contains(&f.code)),
            "{zone} {change}: {:?}",
            found.findings
        );
    }
    // A logger that keeps winter time shows times that its zone does not have.
    let start = "2026-03-29T01:00:00Z"
        .parse::<Timestamp>()
        .unwrap()
        .as_second();
    let fixed = wall("Etc/GMT-1", "%Y-%m-%d %H:%M:%S");
    let log = timed("%Y-%m-%d %H:%M:%S", "zone = \"Europe/Amsterdam\"");
    LogFolder::new(&log)
        .file("runs.csv", window(start))
        .file("meter.csv", step(start, &fixed))
        .refused_with(&["goes back once, first by 3590 s", "zone = \"+01:00\""]);
    right(
        &LogFolder::new(&timed("%Y-%m-%d %H:%M:%S", "zone = \"+01:00\""))
            .file("runs.csv", window(start))
            .file("meter.csv", step(start, fixed)),
    );
}

#[test]
fn what_cannot_be_read_is_told_by_line_and_column_up_to_a_tenth_of_the_lines() {
    let broken = |every: usize| -> String {
        plain()
            .lines()
            .enumerate()
            .map(|(k, l)| match k {
                k if k > 0 && k % every == 0 => format!("{},x{k}\n", l.split(',').next().unwrap()),
                _ => format!("{l}\n"),
            })
            .collect()
    };
    let few = LogFolder::new(METER).file("meter.csv", broken(12));
    right(&few);
    few.finds(
        "broken-lines",
        &[
            "30 of 360 lines of meter.csv",
            "line 13, column 2: no number `x12`",
            "and 25 more",
        ],
    );
    LogFolder::new(METER)
        .file("meter.csv", broken(9))
        .refused_with(&[
            "meter.csv, line 10, column 2",
            "40 of 360 lines (in all)",
            "no number `x9`",
            "at most 10 % of the lines",
        ]);
}
