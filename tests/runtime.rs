//! Hours on the battery and a day on it, as a user meets them.

mod support;

use serde_json::Value;
use support::{BenchDir, TOML};

fn json(dir: &BenchDir, line: &str) -> Value {
    let out = dir.run(&format!("{line} --json"));
    assert_eq!(out.code, 0, "{}{}", out.stdout, out.stderr);
    serde_json::from_str(&out.stdout).unwrap()
}

fn number(v: &Value, path: &str) -> f64 {
    v.pointer(path)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("{path} in {v}"))
}

/// The invented bench with a supply of its own.
fn bench(supply: &str) -> BenchDir {
    let before: String = TOML
        .split("[battery]")
        .next()
        .unwrap_or_default()
        .to_owned();
    BenchDir::invented().toml(format!("{before}\n{supply}"))
}

const BATTERY: &str = "[battery]\nnominal_voltage = \"24 V\"\ncapacity = \"100 Ah\"\nusable = \"80 %\"\ntolerance = \"5 %\"\nmax_current = \"10 A\"\n";

#[test]
fn hours_are_energy_over_power_by_hand() {
    let v = json(&bench(BATTERY), "runtime");
    let rows = v["rows"].as_array().unwrap();
    assert!(!rows.is_empty());
    for row in rows {
        let draw = number(row, "/draw_w");
        // 100 Ah × 24 V × 80 % = 1920 Wh; without cable and converter the battery gives what the unit draws.
        assert!((number(row, "/hours") - 1920.0 / draw).abs() < 1e-9);
        assert!((number(row, "/per_100ah/value") - 2400.0 / draw).abs() < 1e-9);
        assert!((number(row, "/current_a") - draw / 24.0).abs() < 1e-9);
        let (low, hours, high) = (
            number(row, "/hours_low"),
            number(row, "/hours"),
            number(row, "/hours_high"),
        );
        // ±5 % of the battery and the draw's own interval, in quadrature: never narrower than either alone.
        assert!(low < hours * (-0.05f64).exp() + 1e-9 && high > hours * 0.05f64.exp() - 1e-9);
        let by_draw = number(row, "/draw_high_w") / draw;
        let expected = hours * (-(by_draw.ln().hypot(0.05))).exp();
        assert!((low - expected).abs() < 1e-9, "{low} {expected}");
        let by_draw = draw / number(row, "/draw_low_w");
        let expected = hours * by_draw.ln().hypot(0.05).exp();
        assert!((high - expected).abs() < 1e-9, "{high} {expected}");
    }
}

#[test]
fn losses_shorten_and_what_is_not_stated_is_said() {
    let plain = json(&bench(BATTERY), "runtime");
    let lossy = bench(&format!(
        "{BATTERY}[cable]\nlength = \"5 m\"\nawg = \"10\"\n[converter]\nefficiency = \"90 %\"\nidle = \"4 W\"\n"
    ));
    let v = json(&lossy, "runtime");
    // 2 × 5 m of 10 AWG: 10 × 3.27711 mohm (ASTM B258 and IEC 60028, from memory).
    assert!((number(&v, "/supply/cable_ohm") - 0.0327711).abs() < 1e-6);
    let row = &v["rows"][0];
    let (draw, i) = (number(row, "/draw_w"), number(row, "/current_a"));
    // P = (V − I R) I at the converter.
    let arrives = (24.0 - i * 0.0327711) * i;
    assert!((arrives - (draw / 0.9 + 4.0)).abs() < 1e-3, "{arrives}");
    assert!(number(row, "/hours") < number(&plain["rows"][0], "/hours") / 1.1);
    let notes = v["notes"].to_string();
    for words in [
        "No Peukert effect",
        "copper at 20 degC",
        "by its rating",
        "takes more as the voltage falls",
    ] {
        assert!(notes.contains(words), "{words}: {notes}");
    }
}

#[test]
fn currents_above_a_stated_limit_are_named_with_both_figures() {
    let tight = BATTERY.replace("10 A", "2 A")
        + "fuse = \"40 A\"\n[cable]\nlength = \"1 m\"\narea = \"2.5 mm2\"\nmax_current = \"20 A\"\n";
    let v = json(&bench(&tight), "runtime");
    let cautions = v["cautions"].to_string();
    assert!(cautions.contains("above 2.0 A"), "{cautions}");
    assert!(
        cautions.contains("fuse of 40.0 A does not protect the cable"),
        "{cautions}"
    );
    assert!(cautions.contains("local codes"), "{cautions}");
}

#[test]
fn a_cable_that_cannot_carry_the_power_is_refused_with_figures() {
    let thin = bench(&format!(
        "{BATTERY}[cable]\nlength = \"60 m\"\nawg = \"24\"\n"
    ));
    let out = thin.run("runtime");
    assert_eq!(out.code, 4, "{}", out.stdout);
    assert!(out.stderr.contains("V²/(4R)"), "{}", out.stderr);
}

#[test]
fn without_a_battery_hours_are_for_a_hundred_ampere_hours() {
    let v = json(&bench(""), "runtime");
    assert_eq!(v["rows"][0]["hours_for"], "100 Ah");
    assert!(v["battery"].is_null() && v["day"].is_null());
}

const DAY: &str = "[day]\nambient_low = \"20 degC\"\nambient_high = \"30 degC\"\nintake_low = \"22 degC\"\nintake_high = \"26 degC\"\n";

#[test]
fn a_days_energy_is_the_sum_of_its_hours_and_an_empty_battery_is_told() {
    let probe = json(&bench(BATTERY), "runtime");
    let (mode, fan) = (&probe["rows"][0]["mode"], &probe["rows"][0]["fan"]);
    let using = |from: &str, until: &str| {
        format!(
            "{BATTERY}{DAY}start = \"06:00\"\n[[day.use]]\nmode = {mode}\nfan = \"{}\"\nfrom = \"{from}\"\nuntil = \"{until}\"\n",
            fan.to_string().trim_matches('"')
        )
    };
    let v = json(&bench(&using("00:00", "24:00")), "runtime");
    let hours = v.pointer("/day/hours").and_then(Value::as_array).unwrap();
    assert_eq!((hours.len(), number(&hours[0], "/clock_h")), (24, 6.0));
    let sum: f64 = hours.iter().map(|h| number(h, "/battery_w")).sum();
    assert!((sum - number(&v, "/day/energy_wh")).abs() < 1e-6);
    // 1920 Wh usable: the middle course is empty when the hours' sum passes it.
    let mut left = 1920.0;
    let mut empty = None;
    for (k, h) in hours.iter().enumerate() {
        let w = number(h, "/battery_w");
        if empty.is_none() && left < w {
            empty = Some(k as f64 + left / w);
        }
        left -= w;
    }
    let told = v.pointer("/day/empty_h").and_then(Value::as_f64);
    match (empty, told) {
        (Some(a), Some(b)) => {
            assert!((a - b).abs() < 1e-9, "{a} {b}");
            let earliest = number(&v, "/day/empty_earliest_h");
            assert!(earliest < b);
        }
        (None, None) => {}
        other => panic!("{other:?}"),
    }
    // Half an hour of use is half an hour's energy.
    let v = json(&bench(&using("12:30", "13:00")), "runtime");
    let used = number(&v, "/day/energy_wh");
    let hour = v.pointer("/day/hours/6").unwrap();
    assert_eq!(number(hour, "/used"), 0.5);
    assert!((number(hour, "/battery_w") - used).abs() < 1e-9);
}

#[test]
fn a_stated_duty_two_uses_in_an_hour_and_charging_by_hand() {
    let probe = json(&bench(BATTERY), "runtime");
    let word = |v: &Value| v.to_string().trim_matches('"').to_owned();
    let (mode, fan) = (
        word(&probe["rows"][0]["mode"]),
        word(&probe["rows"][0]["fan"]),
    );
    let using = |from: &str, until: &str, duty: &str| {
        format!(
            "[[day.use]]\nmode = \"{mode}\"\nfan = \"{fan}\"\nfrom = \"{from}\"\nuntil = \"{until}\"\n{duty}"
        )
    };
    let day = |uses: String| {
        format!("{BATTERY}{DAY}start_charge = \"50 %\"\ncharge_efficiency = \"90 %\"\n{uses}")
    };
    let hour = |v: &Value, k: usize| v.pointer(&format!("/day/hours/{k}")).unwrap().clone();
    let whole = json(&bench(&day(using("12:00", "14:00", ""))), "runtime");
    let half = json(
        &bench(&day(using("12:00", "14:00", "duty = \"40 %\"\n"))),
        "runtime",
    );
    let none = json(
        &bench(&day(using("12:00", "14:00", "duty = \"0 %\"\n"))),
        "runtime",
    );
    for k in [12, 13] {
        let w = |v: &Value| number(&hour(v, k), "/battery_w");
        // The compressor runs two fifths of the time; what the unit draws meanwhile is what it draws at no duty.
        assert!((w(&half) - (0.4 * w(&whole) + 0.6 * w(&none))).abs() < 1e-9);
        assert!(w(&none) > 0.0 && w(&none) < 0.5 * w(&whole));
        assert_eq!(number(&hour(&half, k), "/duty"), 0.4);
    }
    assert_eq!(number(&hour(&whole, 14), "/battery_w"), 0.0);
    // A quarter of an hour at full duty and half an hour at 40 %: (¼ + ½ × 0.4)/¾ = 0.6 of the time in use.
    let two = format!(
        "{}{}[[day.charge]]\npower = \"200 W\"\nfrom = \"12:30\"\nuntil = \"13:15\"\n",
        using("12:00", "12:15", ""),
        using("12:30", "13:00", "duty = \"40 %\"\n")
    );
    let v = json(&bench(&day(two)), "runtime");
    let h = hour(&v, 12);
    assert_eq!(number(&h, "/used"), 0.75);
    assert!((number(&h, "/duty") - 0.6).abs() < 1e-12);
    let by_hand = 0.25 * number(&hour(&whole, 12), "/battery_w")
        + 0.5 * number(&hour(&half, 12), "/battery_w");
    assert!((number(&h, "/battery_w") - by_hand).abs() < 1e-9);
    // 200 W for half an hour and for a quarter of the next, of which 90 % can be taken out again: 135 Wh. Half of 1920 Wh to begin with.
    assert!((number(&v, "/day/charge_wh") - 135.0).abs() < 1e-9);
    let left = number(&hour(&v, 12), "/charge");
    assert!(
        (left - (960.0 - by_hand + 90.0) / 1920.0).abs() < 1e-9,
        "{left}"
    );
    // The same setting twice at once is a mistake.
    let twice = format!(
        "{}{}",
        using("12:00", "13:00", ""),
        using("12:30", "13:30", "")
    );
    let out = bench(&day(twice)).run("runtime");
    assert_eq!(out.code, 3, "{}", out.stdout);
    assert!(
        out.stderr.contains("overlap in the hour after 12:00"),
        "{}",
        out.stderr
    );
}

#[test]
fn what_a_day_or_a_battery_cannot_be_is_refused_with_its_key() {
    let use_of =
        "[[day.use]]\nmode = \"cruise\"\nfan = \"3\"\nfrom = \"12:00\"\nuntil = \"13:00\"\n";
    for (section, words) in [
        (
            format!("{DAY}start_charge = \"120 %\"\n{use_of}"),
            "start_charge",
        ),
        (
            format!("{DAY}charge_efficiency = \"0 %\"\n{use_of}"),
            "charge_efficiency",
        ),
        (
            format!("{DAY}charge_efficiency = \"101 %\"\n{use_of}"),
            "charge_efficiency",
        ),
        (format!("{DAY}start = \"24:30\"\n{use_of}"), "start"),
        (format!("{DAY}{use_of}duty = \"101 %\"\n"), "duty"),
        (format!("{DAY}{use_of}duty = \"-1 %\"\n"), "duty"),
        (
            format!("{DAY}{use_of}[[day.charge]]\nfrom = \"12:00\"\nuntil = \"13:00\"\n"),
            "power",
        ),
        (
            format!(
                "{DAY}{use_of}[[day.charge]]\npower = \"-5 W\"\nfrom = \"12:00\"\nuntil = \"13:00\"\n"
            ),
            "power",
        ),
        (
            format!(
                "{DAY}{use_of}[[day.charge]]\npower = \"5 W\"\nfrom = \"12:60\"\nuntil = \"13:00\"\n"
            ),
            "from",
        ),
        (
            format!("{DAY}[[day.use]]\nmode = \"cruise\"\nfan = \"3\"\nfrom = \"12:00\"\n"),
            "until",
        ),
        (
            format!("{DAY}{use_of}[day.space]\nloss_per_kelvin = \"25 W\"\n"),
            "inside",
        ),
        (
            format!("[day]\nambient_low = \"30 degC\"\nambient_high = \"20 degC\"\n{use_of}"),
            "ambient_high",
        ),
        (
            format!("[day]\nstart = \"06:00\"\n{use_of}"),
            "without temperatures",
        ),
    ] {
        let out = bench(&format!("{BATTERY}{section}")).run("runtime");
        assert_eq!(out.code, 3, "{section}{}", out.stdout);
        assert!(out.stderr.contains(words), "{words}: {}", out.stderr);
    }
    for (key, value) in [
        ("nominal_voltage", "0 V"),
        ("capacity", "-3 Ah"),
        ("energy", "0 Wh"),
        ("usable", "0 %"),
        ("usable", "140 %"),
        ("tolerance", "-5 %"),
        ("max_current", "-1 A"),
        ("cutoff", "-2 V"),
        ("fuse", "0 A"),
    ] {
        let mut text = String::from("[battery]\n");
        for (k, v) in [("nominal_voltage", "24 V"), ("capacity", "100 Ah")] {
            if k != key {
                text.push_str(&format!("{k} = \"{v}\"\n"));
            }
        }
        let out = bench(&format!("{text}{key} = \"{value}\"\n")).run("runtime");
        assert_eq!(out.code, 3, "{key} = {value}: {}", out.stdout);
        assert!(out.stderr.contains(key), "{key}: {}", out.stderr);
    }
    for (section, words) in [
        (
            "peukert = 0.9\nrated_over = \"20 h\"\n",
            "an exponent from 1 to 2",
        ),
        ("peukert = 1.1\n", "rated_over"),
        ("[converter]\nefficiency = \"0 %\"\n", "efficiency"),
        ("[converter]\nefficiency = \"102 %\"\n", "efficiency"),
        ("[converter]\nidle = \"4 W\"\n", "without an efficiency"),
        ("[cable]\nlength = \"5 m\"\n", "cross-section"),
        ("[cable]\nlength = \"5 m\"\nawg = \"41\"\n", "awg"),
        (
            "[cable]\nlength = \"5 m\"\nawg = \"10\"\narea = \"6 mm2\"\n",
            "one of the two",
        ),
        (
            "[cable]\nlength = \"5 m\"\nawg = \"10\"\nparallel = 0\n",
            "parallel",
        ),
        (
            "[cable]\nlength = \"5 m\"\nawg = \"10\"\nconductor_temp = \"300 degC\"\n",
            "conductor_temp",
        ),
    ] {
        let out = bench(&format!("{BATTERY}{section}")).run("runtime");
        assert_eq!(out.code, 3, "{section}{}", out.stdout);
        assert!(out.stderr.contains(words), "{words}: {}", out.stderr);
    }
}

#[test]
fn a_bad_day_is_told_with_its_place() {
    for (day, words) in [
        (
            format!(
                "{DAY}[[day.use]]\nmode = \"warp\"\nfan = \"1\"\nfrom = \"01:00\"\nuntil = \"02:00\"\n"
            ),
            "warp",
        ),
        (DAY.to_owned(), "[[day.use]]"),
        (
            "[day]\nambient_low = \"20 degC\"\n".to_owned(),
            "ambient_high",
        ),
        (
            "[day]\nfile = \"none.csv\"\n[[day.use]]\nfrom = \"01:00\"\nuntil = \"25:00\"\n"
                .to_owned(),
            "hour of the day",
        ),
    ] {
        let out = bench(&format!("{BATTERY}{day}")).run("runtime");
        assert_eq!(out.code, 3, "{day}{}", out.stdout);
        assert!(out.stderr.contains(words), "{words}: {}", out.stderr);
    }
}

#[test]
fn the_demo_answers_with_a_measured_battery_and_a_day() {
    let out = support::run("runtime --intake 30degC --mode cruise --fan 3 --json");
    let v: Value = serde_json::from_str(&out.stdout).unwrap();
    assert_eq!(v["battery"]["measured"], true);
    // The invented battery truly holds 191 Ah (`made::demo::BATTERY_AH`).
    let out = support::run("discharge --json");
    let d: Value = serde_json::from_str(&out.stdout).unwrap();
    let truth = steadydraw::made::demo::BATTERY_AH;
    assert!(number(&d, "/intervals/capacity_ah/low") < truth);
    assert!(number(&d, "/intervals/capacity_ah/high") > truth);
    assert!((number(&v, "/battery/energy_wh") - number(&d, "/energy_wh")).abs() < 1e-9);
    assert!(
        v["day"]["cannot_hold"]
            .as_array()
            .is_some_and(|c| !c.is_empty())
    );
}
