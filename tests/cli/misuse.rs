//! Command lines that make no sense end with exit code 2, data that cannot answer with 4, and both teach.

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, run};

#[test]
fn command_lines_that_make_no_sense() {
    for (line, complaint) in [
        ("", "Usage"),
        ("chekc", "check"),
        ("fit --colour", "--color"),
        ("check --level 95", "0.5 to 0.999"),
        ("check --level 0.2", "0.5 to 0.999"),
        ("check --level NaN", "0.5 to 0.999"),
        ("check --units metric", "[possible values: si, us]"),
        ("check --seed -1", "--seed"),
        ("predict", "steadydraw predict my-bench --adjusted"),
        ("predict", "say where: --intake"),
        ("predict --adjusted --explain", "single predictions"),
        ("predict --adjusted --intake 25degC,30degC", "one intake"),
        (
            "predict --adjusted --ambient 40degC --assume-ambient-slope published",
            "nothing is assumed in it",
        ),
        (
            "predict --intake 30degC --assume-ambient-slope published",
            "name the ambient too",
        ),
        (
            "predict --intake 30degC --ambient 26degC --assume-ambient-slope published",
            "the runs cover ambient air",
        ),
        (
            "predict --intake 30degC --ambient 40degC --assume-ambient-slope 1.9%/K",
            "a slope without a range",
        ),
        (
            "predict --intake 30degC --ambient 40degC --assume-ambient-slope steep",
            "expected `published`",
        ),
        ("report --assume-ambient-slope published", "--ambient"),
        (
            "report --ambient 26degC --assume-ambient-slope published",
            "the runs cover ambient air",
        ),
        ("fit --budget --leave-out", "--leave-out"),
        ("predict --intake 35", "35degC"),
        ("predict --intake warm", "35degC"),
        ("predict --intake 35degX", "degC"),
        ("predict --intake 35W", "temperature"),
        ("predict --intake 300K,500degC", "between -40 and 90 degC"),
        (
            "predict --intake 35degC --ambient 400degF",
            "between -40 and 90 degC",
        ),
        ("predict --intake NaNdegC", "35degC"),
        ("coupling --allowance 0", "above 0 and up to 2"),
        ("coupling --allowance -0.2", "--allowance"),
        ("coupling --allowance many", "above 0 and up to 2"),
    ] {
        let outcome = run(line).exits(2).complains(complaint);
        assert_eq!(outcome.stdout, "", "{line}");
        if line.is_empty() {
            continue;
        }
        let outcome = run(&format!("{line} --json")).exits(2).complains(complaint);
        let json = outcome.json();
        assert_eq!(json["schema"], 1, "{line}");
        assert_eq!(json["error"]["kind"], "misuse", "{line}");
        assert!(
            json["error"]["message"]
                .as_str()
                .unwrap()
                .contains(complaint),
            "{line}"
        );
        assert_eq!(json["error"]["faults"], serde_json::json!([]), "{line}");
    }
}

#[test]
fn two_benches_where_one_is_asked_for() {
    for line in [
        "check a b",
        "fit a b",
        "coupling a b",
        "predict a b --intake 30degC",
    ] {
        run(line).exits(2).complains("unexpected argument 'b'");
    }
}

#[test]
fn names_that_the_bench_does_not_have() {
    let bench = BenchDir::invented();
    let predict = |more: &str| bench.run(&format!("predict --intake 28degC {more}"));
    predict("--mode stedy")
        .exits(2)
        .complains("the bench has no mode `stedy`; it has eco, steady; did you mean `steady`?");
    predict("--fan 9")
        .exits(2)
        .complains("the bench has no fan level `9`; it has 1, 2, 3");
    predict("--mode Eco")
        .exits(2)
        .complains("did you mean `eco`?");
    let json = predict("--mode stedy --json").exits(2).json();
    assert_eq!(json["command"], "predict");
    assert_eq!(json["error"]["kind"], "misuse");
    let nameless = BenchDir::invented().points(Sheet::invented().drop(&["mode"]).csv());
    nameless
        .run("predict --intake 28degC --mode eco")
        .exits(2)
        .complains("the bench names no modes; leave --mode out");
}

#[test]
fn data_that_cannot_answer() {
    let bench = |sheet: Sheet| BenchDir::invented().points(sheet.csv());
    let one = bench(Sheet {
        rows: Sheet::invented().rows[..1].to_vec(),
        ..Sheet::invented()
    });
    let fan_only = bench(Sheet::invented().keep(|kind, _, _| kind == "fan-only"));
    let standby = bench(Sheet::invented().keep(|kind, _, _| kind == "standby"));
    let no_intake = bench(Sheet::invented().drop(&["intake_temp"]));
    let one_intake_missing = bench(Sheet::invented().set("r01", "intake_temp", ""));
    let no_ambient = bench(Sheet::invented().drop(&["ambient_temp"]));
    for (bench, line, complaint) in [
        (&one, "fit", "a curve with an interval needs at least 4"),
        (
            &one,
            "predict --intake 28degC",
            "a curve with an interval needs at least 4",
        ),
        (&fan_only, "fit", "0 cooling runs"),
        (&fan_only, "coupling", "no cooling runs"),
        (&fan_only, "predict --intake 28degC", "no cooling runs"),
        (&standby, "coupling", "no cooling runs"),
        (&standby, "predict --intake 28degC", "no cooling runs"),
        (
            &no_intake,
            "predict --intake 28degC",
            "24 of 24 cooling runs come without an intake temperature",
        ),
        (
            &one_intake_missing,
            "predict --intake 28degC",
            "1 of 24 cooling runs come without an intake temperature",
        ),
        (
            &no_ambient,
            "predict --intake 28degC --ambient 30degC",
            "24 of 24 cooling runs come without an ambient temperature",
        ),
    ] {
        let outcome = bench.run(line).exits(4).complains(complaint);
        assert_eq!(outcome.stdout, "", "{line}");
        let json = bench.run(&format!("{line} --json")).exits(4).json();
        assert_eq!(json["schema"], 1);
        assert_eq!(json["error"]["kind"], "cannot-answer", "{line}");
        assert!(
            json["error"]["message"]
                .as_str()
                .unwrap()
                .contains(complaint)
        );
    }
}

#[test]
fn help_and_version_are_answers() {
    for line in ["--help", "--version", "fit --help", "predict --help"] {
        let outcome = run(line).answers();
        assert!(!outcome.stdout.is_empty(), "{line}");
    }
    run("--help")
        .tells("Exit codes: 0 answered, 2 misuse, 3 bad input, 4 the data cannot answer this.");
}
