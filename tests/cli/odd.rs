//! Odd benches that can be read: each is answered, with the finding that fits, and never with a panic, a hang or an invented figure.

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, TOML};

const COMMANDS: [&str; 4] = ["check", "fit", "coupling", "predict --intake 28degC"];

fn bench(sheet: Sheet) -> BenchDir {
    BenchDir::invented().points(sheet.csv())
}

/// Asserts a finding of `check`, and the exit codes of fit, coupling and predict, in words and in JSON.
#[track_caller]
fn found(bench: &BenchDir, finding: &str, codes: [i32; 3]) {
    let list = bench.run("check --json").answers().finding_codes();
    assert!(
        list.iter().any(|c| c == finding),
        "no `{finding}` among {list:?}"
    );
    bench
        .run("check")
        .answers()
        .tells(&format!("- {finding}: "));
    for (line, code) in COMMANDS[1..].iter().zip(codes) {
        bench.run(line).exits(code);
        bench.run(&format!("{line} --json")).exits(code).json();
    }
}

#[track_caller]
fn verdict(bench: &BenchDir) -> String {
    bench.run("coupling --json").answers().json()["verdict"]
        .as_str()
        .unwrap()
        .to_owned()
}

#[test]
fn too_few_runs() {
    for n in 1..4 {
        let few = Sheet {
            rows: Sheet::invented().rows[..n].to_vec(),
            ..Sheet::invented()
        };
        let bench = bench(few);
        found(&bench, "too-few-runs", [4, 0, 4]);
        assert_eq!(verdict(&bench), "undecided");
    }
    found(
        &bench(Sheet::invented().keep(|k, _, _| k == "fan-only")),
        "no-cooling-runs",
        [4, 4, 4],
    );
    found(
        &bench(Sheet::invented().keep(|k, _, _| k == "standby")),
        "no-cooling-runs",
        [4, 4, 4],
    );
}

#[test]
fn more_settings_than_runs_can_carry() {
    let names: Vec<String> = (0..9).map(|i| format!("r{i}")).collect();
    let draws: Vec<String> = (0..9)
        .map(|i| format!("{}", 100 + 13 * i + i * i))
        .collect();
    let (modes, fans) = (["a", "b", "c"], ["1", "2", "3"]);
    let rows: Vec<_> = (0..9)
        .map(|i| {
            (
                names[i].as_str(),
                modes[i % 3],
                fans[i / 3],
                draws[i].as_str(),
            )
        })
        .collect();
    let bench = BenchDir::new()
        .toml("[points]\nfile = \"points.csv\"\n")
        .points(Sheet::bare(&rows).csv());
    let list = bench.run("check --json").answers().finding_codes();
    assert!(
        list.contains(&"settings-not-repeated".to_owned()),
        "{list:?}"
    );
    bench.run("coupling").answers();
    // Every curve that is offered leaves degrees of freedom for its interval.
    let json = bench.run("fit --json").answers().json();
    for c in json["draw_candidates"].as_array().unwrap() {
        assert!(c["dof"].as_u64().unwrap() >= 3, "{c}");
    }
    bench
        .run("predict --intake 28degC")
        .exits(4)
        .complains("come without an intake temperature");
}

#[test]
fn runs_that_are_copies() {
    let mut copies = Sheet {
        rows: vec![Sheet::invented().rows[0].clone(); 12],
        ..Sheet::invented()
    };
    for (i, row) in copies.rows.iter_mut().enumerate() {
        row[0] = format!("copy {i}");
    }
    let copied = bench(copies);
    found(&copied, "copied-runs", [0, 0, 0]);
    assert_eq!(verdict(&copied), "undecided");
    // A repeat that agrees to the last digit in the draw alone is no copy.
    let agreeing = bench(
        Sheet::invented()
            .set("r17", "power", "182.3")
            .set("r17", "current", ""),
    );
    let list = agreeing.run("check --json").answers().finding_codes();
    assert!(!list.contains(&"copied-runs".to_owned()));
}

#[test]
fn no_scatter_at_all() {
    // Draws that follow from setting and nothing else: repeats agree to the last digit.
    let sheet = Sheet::invented().drop(&["voltage", "current"]);
    let (k, m, f) = (
        sheet.column("kind"),
        sheet.column("mode"),
        sheet.column("fan"),
    );
    let p = sheet.column("power");
    let mut exact = sheet;
    for row in &mut exact.rows {
        let base = if row[m] == "eco" { 100.0 } else { 130.0 };
        let fan: f64 = row[f].parse().unwrap_or(0.0);
        row[p] = match row[k].as_str() {
            "cooling" => base + 40.0 * fan,
            "fan-only" => 5.0 * fan,
            _ => 1.0,
        }
        .to_string();
    }
    let bench = bench(exact);
    for line in COMMANDS {
        bench.run(line).answers();
    }
    let json = bench
        .run("predict --intake 28degC --mode eco --fan 2 --json")
        .answers()
        .json();
    let p = &json["predictions"][0];
    assert!(
        (p["draw_w"].as_f64().unwrap() / 180.0 - 1.0).abs() < 1e-3,
        "{p}"
    );
    assert!(p["run_low_w"].as_f64().unwrap() < p["run_high_w"].as_f64().unwrap());
}

#[test]
fn conditions_that_were_not_recorded_or_never_varied() {
    let no_ambient = bench(Sheet::invented().drop(&["ambient_temp"]));
    found(&no_ambient, "no-ambient", [0, 0, 0]);
    no_ambient
        .run("check")
        .answers()
        .tells("Intake 23.3 to 33.0 degC.")
        .keeps_silent_on("ambient 2");
    no_ambient
        .run("predict --intake 28degC")
        .answers()
        .tells("A hot day is not covered");
    let no_intake = bench(Sheet::invented().drop(&["intake_temp"]));
    found(&no_intake, "no-intake", [0, 0, 4]);
    no_intake.run("check").answers().keeps_silent_on("Intake 2");
    found(
        &bench(Sheet::invented().drop(&["outlet_temp"])),
        "no-outlet",
        [0, 0, 0],
    );
    let same_intake = bench(Sheet::invented().each("intake_temp", |_| "27.0".to_owned()));
    found(&same_intake, "intake-not-varied", [0, 0, 0]);
    let same_ambient = bench(Sheet::invented().each("ambient_temp", |_| "25.0".to_owned()));
    found(&same_ambient, "ambient-not-varied", [0, 0, 0]);
    let json = same_ambient
        .run("predict --intake 28degC --json")
        .answers()
        .json();
    assert_eq!(json["predictions"][0]["ambient_c"], 25.0);
    same_ambient
        .run("predict --intake 28degC --ambient 40degC")
        .answers()
        .tells("outside")
        .tells("15.0 K beyond the ambient range");
}

#[test]
fn fan_levels_without_airflow() {
    // Numbers put the levels in order, names do not.
    let numbers = bench(Sheet::invented().drop(&["airflow"]));
    found(&numbers, "no-airflow", [0, 0, 0]);
    assert_eq!(verdict(&numbers), "coupled");
    numbers.run("fit").answers().tells("No capacity curve");
    let word = |c: &str| ["low", "mid", "high"][c.parse::<usize>().unwrap() - 1].to_owned();
    let named = || Sheet::invented().drop(&["airflow"]).each("fan", word);
    let names = bench(named());
    found(&names, "no-airflow", [0, 0, 0]);
    let answer = names.run("coupling").answers().tells("Verdict: undecided");
    let answer = answer.tells("neither airflow nor names put the fan levels in order");
    answer
        .tells("Measure the airflow at each fan level")
        .keeps_silent_on("Repeat each setting");
    // Stated speeds do what names cannot.
    let speeds = format!(
        "{TOML}[fan.levels]\nlow = {{ relative_speed = 1 }}\nmid = {{ relative_speed = 1.4 }}\nhigh = {{ relative_speed = 1.9 }}\n"
    );
    assert_eq!(
        verdict(&BenchDir::invented().toml(speeds).points(named().csv())),
        "coupled"
    );
    let flows = format!(
        "{TOML}[fan.levels]\nlow = {{ airflow = \"210 m3/h\" }}\nmid = {{ airflow = \"290 m3/h\" }}\nhigh = {{ airflow = \"400 m3/h\" }}\n"
    );
    let stated = BenchDir::invented().toml(flows).points(named().csv());
    assert_eq!(verdict(&stated), "coupled");
    assert!(stated.run("fit --json").answers().json()["capacity"].is_object());
}

#[test]
fn one_mode_and_no_mode() {
    let one = bench(Sheet::invented().keep(|k, m, _| k != "cooling" || m == "eco"));
    let none = bench(
        Sheet::invented()
            .keep(|k, m, _| k != "cooling" || m == "eco")
            .drop(&["mode"]),
    );
    for bench in [&one, &none] {
        for line in COMMANDS {
            bench.run(line).answers();
        }
        assert_eq!(verdict(bench), "coupled");
    }
    one.run("check").answers().tells("modes eco;");
    none.run("check").answers().tells("no modes named;");
    // The name of the only mode changes nothing else.
    let draws = |b: &BenchDir| {
        b.run("predict --intake 28degC --json")
            .answers()
            .stdout_of_any_bytes()
            .replace("\"eco\"", "\"\"")
    };
    assert_eq!(draws(&one), draws(&none));
}

#[test]
fn mode_and_fan_level_never_varied_apart() {
    let confounded = bench(
        Sheet::invented()
            .keep(|k, m, f| k != "cooling" || (m, f) == ("eco", "1") || (m, f) == ("steady", "3")),
    );
    found(&confounded, "mode-and-fan-together", [0, 0, 0]);
    let answer = confounded
        .run("coupling")
        .answers()
        .tells("Verdict: undecided");
    answer
        .tells("No analysis can say which of the two moved the draw")
        .tells("What would settle it");
}

#[test]
fn many_modes_and_levels_in_good_time() {
    let table = |modes: usize, levels: usize, temperatures: usize| {
        let mut text = "run,mode,fan,order,intake_temp [degC],outlet_temp [degC],ambient_temp [degC],airflow [m3/h],power [W]\n".to_owned();
        let mut n = 0;
        for repeat in 0..2 {
            for m in 0..modes {
                for f in 1..=levels {
                    for t in 0..temperatures {
                        n += 1;
                        let intake = 22.0 + 4.0 * t as f64 + (n * 31 % 11) as f64 / 20.0;
                        let flow = 150.0 + 40.0 * f as f64 + (n * 29 % 5) as f64;
                        let draw = 80.0
                            + 3.0 * m as f64
                            + 9.0 * f as f64
                            + 3.0 * t as f64
                            + (n * 7919 % 13) as f64 / 5.0;
                        text += &format!(
                            "r{n},m{m},{f},{n},{intake},{},{},{flow},{draw}\n",
                            intake - 8.0,
                            24 + (n * 13 + repeat) % 7
                        );
                    }
                }
            }
        }
        BenchDir::new()
            .toml("[points]\nfile = \"points.csv\"\n")
            .points(text)
    };
    for bench in [table(6, 6, 1), table(12, 4, 2), table(24, 2, 1)] {
        for line in COMMANDS {
            bench.run(line).answers();
        }
    }
}

#[test]
fn thirty_levels_with_words_among_the_numbers() {
    let mut text = "run,mode,fan,airflow [m3/h],power [W]\n".to_owned();
    for n in 0..60 {
        let level = (n * 17) % 30;
        let word = if level % 2 == 0 { "L" } else { "" };
        text += &format!(
            "r{n},m,{word}{level},{},{}\n",
            500 - 4 * level + n % 3,
            80 + level + n % 5
        );
    }
    let bench = BenchDir::new()
        .toml("[points]\nfile = \"points.csv\"\n")
        .points(text);
    for line in &COMMANDS[..3] {
        bench.run(line).answers();
    }
}

#[test]
fn columns_and_keys_that_are_not_known() {
    let own = bench(Sheet::invented().heading("intake_rh", "noise [dB]"));
    let list = own.run("check --json").answers().json()["findings"].clone();
    let finding = |code: &str| {
        list.as_array()
            .unwrap()
            .iter()
            .find(|f| f["code"] == code)
            .unwrap()
            .clone()
    };
    let aside = finding("column-kept-aside");
    assert_eq!(aside["severity"], "note");
    assert!(aside["message"].as_str().unwrap().contains("`noise`"));
    // A name that was meant to be known changes the answer, so it weighs more.
    let misspelt = bench(Sheet::invented().heading("ambient_temp", "ambiant_temp [degC]"));
    let answer = misspelt.run("check --quiet").answers();
    answer.tells("The column `ambiant_temp` is not used; did you mean `ambient_temp [degC]`? [points.csv, line 1]");
    let keys = BenchDir::invented()
        .toml(TOML.replace("altitude =", "altitud = \"3 m\"\naltitude =") + "[extra]\nx = 1\n");
    let answer = keys.run("check").answers();
    let answer = answer.tells("the key `site.altitud` is not known and not used; did you mean `altitude`? [bench.toml, line 9]");
    answer.tells("the key `extra` is not known and not used");
}

#[test]
fn readings_that_can_be_but_look_wrong() {
    let cold = bench(Sheet::invented().heading("intake_temp", "intake_temp [degF]"));
    found(&cold, "cold-intake", [0, 0, 0]);
    let hot_coil = bench(Sheet::invented().each("outlet_temp", |_| "45".to_owned()));
    found(&hot_coil, "outlet-not-colder", [0, 0, 0]);
    let meter = bench(Sheet::invented().set("r03", "power", "118"));
    found(&meter, "power-mismatch", [0, 0, 0]);
    let backwards = |c: &str| (800.0 - c.parse::<f64>().unwrap()).to_string();
    found(
        &bench(Sheet::invented().each("airflow", backwards)),
        "airflow-not-rising",
        [0, 0, 0],
    );
    found(
        &bench(Sheet::invented().set("r01", "mode", "Eco")),
        "names-alike",
        [0, 0, 0],
    );
    found(
        &bench(Sheet::invented().set("r01", "fan", "3.0")),
        "names-alike",
        [0, 0, 0],
    );
    let sheet = Sheet::invented().drop(&["voltage", "current"]);
    let (k, p) = (sheet.column("kind"), sheet.column("power"));
    let mut running = sheet;
    running
        .rows
        .iter_mut()
        .filter(|r| r[k] == "fan-only")
        .for_each(|r| r[p] = "300".to_owned());
    let running = bench(running);
    found(&running, "fan-only-draws-too-much", [0, 0, 0]);
    let answer = running
        .run("coupling")
        .answers()
        .tells("the fan-only runs do not tell the blower's own draw");
    answer.keeps_silent_on("no fan-only runs were made");
    let both = TOML.replace("altitude =", "pressure = \"990 hPa\"\naltitude =");
    found(
        &BenchDir::invented().toml(both),
        "altitude-and-pressure",
        [0, 0, 0],
    );
    let unused = format!("{TOML}[fan.levels]\n9 = {{ airflow = \"300 m3/h\" }}\n");
    found(
        &BenchDir::invented().toml(unused),
        "fan-level-unused",
        [0, 0, 0],
    );
    let speed = bench(
        Sheet::invented()
            .heading("airflow", "air_speed [m/s]")
            .numbers("air_speed", |v| v / 100.0),
    );
    found(&speed, "no-duct", [0, 0, 0]);
}

#[test]
fn names_that_would_act_on_a_reader() {
    for name in [
        "<script>alert(1)</script>",
        "=cmd()",
        "../..",
        "%s%n",
        "**bold** `code` | cell",
        "\u{202e}gnidaer",
        "\u{1b}[31mred",
        "Kühlen – β 🧊",
        "a, b + c",
        "line\nbreak",
        "ln draw, eco",
    ] {
        let mut sheet = Sheet::invented();
        let m = sheet.column("mode");
        let quoted = format!("\"{}\"", name.replace('"', "\"\""));
        sheet
            .rows
            .iter_mut()
            .filter(|r| r[m] == "steady")
            .for_each(|r| r[m].clone_from(&quoted));
        let bench = bench(sheet);
        let expected = BenchDir::invented();
        for line in COMMANDS {
            let words = bench.run(line).answers().stdout;
            let acting = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
            assert!(!words.contains(acting), "{name:?}: {words:?}");
            bench.run(&format!("{line} --json")).answers().json();
        }
        // Programs get the name as it stands, and the figures are those of any other name.
        let json = |b: &BenchDir| {
            b.run("predict --intake 28degC --json").answers().json()["predictions"].clone()
        };
        let (own, plain) = (json(&bench), json(&expected));
        for (a, b) in own
            .as_array()
            .unwrap()
            .iter()
            .zip(plain.as_array().unwrap())
        {
            let mode = if b["mode"] == "steady" { name } else { "eco" };
            assert_eq!(a["mode"], mode);
            assert_eq!(a["draw_w"], b["draw_w"], "{name:?}");
        }
        bench.run("check --json").answers();
    }
}
