//! Help teaches by example, and every example in it works; names that are nearly right are met with the right one.

use std::path::Path;

use crate::support::{BenchDir, POINTS, TOML, run, run_in};

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/demo");
const NIGHT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/benches/night");

fn commands() -> Vec<String> {
    let help = run("--help").answers().stdout;
    let list = help.split("Commands:\n").nth(1).unwrap();
    let list = list.split("\n\n").next().unwrap();
    let names: Vec<String> = list
        .lines()
        .map(|l| l.split_whitespace().next().unwrap().to_owned())
        .filter(|c| c != "help")
        .collect();
    assert!(names.len() >= 16, "{names:?}");
    names
}

/// A command line as a shell would split it: what pipes and redirects is left out, as is the remark after three blanks.
fn words(line: &str) -> Vec<String> {
    let (mut list, mut word, mut quoted, mut begun, mut blanks) =
        (Vec::new(), String::new(), false, false, 0);
    for c in line.trim().chars() {
        if c == '"' {
            (quoted, begun) = (!quoted, true);
        } else if c == ' ' && !quoted {
            blanks += 1;
            if begun {
                list.push(std::mem::take(&mut word));
                begun = false;
            }
        } else {
            if blanks > 2 || (!quoted && !begun && "|>".contains(c)) {
                return list;
            }
            (begun, blanks) = (true, 0);
            word.push(c);
        }
    }
    if begun {
        list.push(word);
    }
    list
}

/// The examples of a help text.
fn examples(help: &str) -> Vec<Vec<String>> {
    let shown = help.split("Examples:\n").nth(1).unwrap_or("");
    let shown = shown.split("\n\n").next().unwrap();
    let joined = shown.replace("\\\n", " ");
    joined
        .lines()
        .filter_map(|l| l.trim_start().strip_prefix("steadydraw "))
        .map(words)
        .collect()
}

fn copied(from: &str, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copied(entry.path().to_str().unwrap(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// A folder with everything that the examples name.
fn sandbox(command: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    if command != "new" {
        copied(DEMO, &at("my-bench"));
    }
    copied(NIGHT, &at("my-logs"));
    for name in ["old-unit", "north", "south"] {
        copied(DEMO, &at(name));
    }
    for name in ["new-unit", "east"] {
        std::fs::create_dir(at(name)).unwrap();
        std::fs::write(at(name).join("bench.toml"), TOML).unwrap();
        std::fs::write(at(name).join("points.csv"), POINTS).unwrap();
    }
    std::fs::write(at("points.csv"), POINTS).unwrap();
    let test = std::fs::read_to_string(Path::new(DEMO).join("discharge-1.csv")).unwrap();
    let (_, rows) = test.split_once('\n').unwrap();
    let with = |heading: &str| format!("{heading}\n{rows}");
    for name in ["test.csv", "test1.csv", "test2.csv"] {
        std::fs::write(at(name), with("time [s],voltage [V],current [A]")).unwrap();
    }
    std::fs::write(at("log.txt"), with("Total Time,U,I")).unwrap();
    let wide = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        format!("x,{},0,0,0,0,0,0,{},{}\n", cells[0], cells[2], cells[1])
    };
    let raw: String = rows.lines().map(wide).collect();
    std::fs::write(at("raw.csv"), raw).unwrap();
    let volts = |line: &str| line.rsplit_once(',').map(|l| format!("{}\n", l.0));
    let volts: String = rows.lines().filter_map(volts).collect();
    std::fs::write(at("volts.csv"), format!("time [s],voltage [V]\n{volts}")).unwrap();
    let curve = |x: f64| {
        format!(
            "{x},{}\n",
            480.0 * (1.0 - (-0.4 * x).exp()) + (3.0 * x).sin()
        )
    };
    let rows: String = (1..20).map(|i| curve(0.5 * f64::from(i))).collect();
    std::fs::write(at("runs.csv"), format!("x,y\n{rows}")).unwrap();
    folder
}

#[test]
fn every_example_in_every_help_text_works() {
    let mut ran = 0;
    for command in commands() {
        let help = run(&format!("{command} --help")).answers().stdout;
        for line in help.lines() {
            assert!(line.chars().count() <= 100, "{command}: {line}");
        }
        let list = examples(&help);
        assert!(
            list.len() >= 2,
            "`{command} --help` has no examples:\n{help}"
        );
        let folder = sandbox(&command);
        for example in list {
            assert_eq!(example[0], command, "{example:?}");
            run_in(folder.path(), &example, &[]).answers();
            ran += 1;
            if command == "new" {
                std::fs::remove_dir_all(folder.path().join("my-bench")).unwrap();
            }
        }
    }
    assert!(ran > 60, "{ran}");
}

#[test]
fn examples_of_the_program_itself_work() {
    let help = run("--help").answers().stdout;
    let shown = help.split("Start with:\n").nth(1).unwrap();
    let folder = sandbox("new");
    let lines = shown
        .lines()
        .filter_map(|l| l.trim_start().strip_prefix("steadydraw "));
    let mut ran = 0;
    for example in lines.map(words) {
        if example[0] == "check" {
            // The bench of the examples, filled in.
            copied(DEMO, &folder.path().join("my-bench"));
        }
        run_in(folder.path(), &example, &[]).answers();
        ran += 1;
    }
    assert_eq!(ran, 5);
}

#[test]
fn completions_and_manual_name_every_command() {
    let commands = commands();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = run(&format!("completions {shell}")).answers().stdout;
        for name in &commands {
            assert!(script.contains(name.as_str()), "{shell}: {name}");
        }
        for option in ["assume-ambient-slope", "leave-out", "quiet"] {
            assert!(script.contains(option), "{shell}: {option}");
        }
    }
    run("completions tcsh")
        .exits(2)
        .complains("possible values");
    let page = run("man").answers().stdout;
    assert!(page.contains(".TH steadydraw 1"), "{page}");
    let folder = tempfile::tempdir().unwrap();
    let args = ["man", "--out", "pages"].map(str::to_owned);
    run_in(folder.path(), &args, &[]).answers();
    for name in &commands {
        assert!(page.contains(&name.replace('-', "\\-")), "{name}");
        let own = folder.path().join(format!("pages/steadydraw-{name}.1"));
        let own = std::fs::read_to_string(own).unwrap();
        assert!(own.contains("Examples:"), "{name}:\n{own}");
    }
}

#[test]
fn a_name_that_is_nearly_right_is_met_with_the_right_one() {
    let bench = BenchDir::invented().file("rows.csv", "speed,draw\n1,2\n2,3\n3,5\n");
    let args = |line: &str| -> Vec<String> { line.split_whitespace().map(str::to_owned).collect() };
    for (line, near) in [
        ("compar", "'compare'"),
        ("predict --intkae 30degC", "'--intake'"),
        (
            "predict . --intake 30degC --mode eko",
            "did you mean `eco`?",
        ),
        (
            "predict --intake 30degC --mode cruse",
            "did you mean `cruise`?",
        ),
        ("predict --intake 30degX", "did you mean `degC`?"),
        ("runtime --mode hsh", "did you mean `hush`?"),
        ("plan --next elasticty", "'elasticity'"),
        ("check bench.tomel", "did you mean `bench.toml`?"),
        (
            "curve rows.csv --equation y=a+b*x --x sped --y draw",
            "did you mean `speed`?",
        ),
        ("fit --paste latx", "'latex'"),
        ("schema coupilng", "did you mean `coupling`?"),
        ("points.csv", "steadydraw check points.csv"),
    ] {
        let outcome = run_in(bench.path(), &args(line), &[]);
        assert!([2, 3].contains(&outcome.code), "{outcome:?}");
        outcome.complains(near);
    }
    let table = POINTS.replacen("outlet_temp", "outlet_tmep", 1);
    assert_ne!(table, POINTS);
    BenchDir::invented()
        .points(table)
        .run("check")
        .answers()
        .tells("did you mean `outlet_temp [degC]`?");
    let fans = BenchDir::invented().points(POINTS.replace("fan-only", "fan-onyl"));
    fans.run("check")
        .exits(3)
        .complains("did you mean `fan-only`?");
}

#[test]
fn colour_obeys_its_option_in_help_and_in_complaints_too() {
    let folder = tempfile::tempdir().unwrap();
    let seen = |line: &str, environment: &[(&str, &str)]| {
        let args: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
        let outcome = run_in(folder.path(), &args, environment);
        (outcome.stdout + &outcome.stderr).contains('\u{1b}')
    };
    for line in ["--help", "fit --help", "chekc", "check nowhere", "check"] {
        assert!(!seen(line, &[]), "{line}");
        assert!(seen(&format!("{line} --color always"), &[]), "{line}");
        assert!(
            !seen(&format!("{line} --color=never"), &[("CLICOLOR_FORCE", "1")]),
            "{line}"
        );
        assert!(!seen(line, &[("NO_COLOR", "1")]), "{line}");
    }
}
