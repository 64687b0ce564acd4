//! The `curve` command, run as a user runs it.

#[path = "reference/strd/sets.rs"]
mod sets;

use std::path::PathBuf;
use std::process::{Command, Output};

use serde_json::Value;
use sets::{Set, digits};

/// A folder of its own for each test, gone afterwards.
struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn file(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    }

    /// Runs `curve` in the folder.
    fn curve(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_steadydraw"));
        command
            .arg("curve")
            .args(arguments)
            .current_dir(self.0.path())
            .output()
            .unwrap()
    }

    fn json(&self, arguments: &[&str]) -> Value {
        let output = self.curve(&[arguments, &["--json"]].concat());
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(
            output.status.success(),
            "{arguments:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
        assert!(!text.contains("NaN") && !text.contains("inf,"), "{text}");
        serde_json::from_str(&text).unwrap()
    }

    /// Exit code and what is said on standard error.
    fn refusal(&self, arguments: &[&str]) -> (i32, String) {
        let output = self.curve(arguments);
        assert!(
            output.stdout.is_empty(),
            "{}",
            String::from_utf8_lossy(&output.stdout)
        );
        (
            output.status.code().unwrap(),
            String::from_utf8(output.stderr).unwrap(),
        )
    }
}

fn parameter<'v>(answer: &'v Value, name: &str) -> &'v Value {
    answer["params"]
        .as_array()
        .unwrap()
        .iter()
        .find(|p| p["name"] == name)
        .unwrap()
}

/// Asserts at least `least` digits in every certified figure of a set.
fn check(set: &Set, answer: &Value, least: f64) {
    let found = |value: &Value, certified: f64, scale: f64| {
        value
            .as_f64()
            .map_or(0.0, |value| digits(value, certified, scale))
    };
    for (name, estimate, sd) in &set.certified {
        let p = parameter(answer, name);
        let value = found(&p["value"], *estimate, 1.0);
        assert!(
            value >= least,
            "{} {name}: {value:.1} digits, {p}",
            set.name
        );
        if sd.is_finite() {
            let error = found(&p["std_error"], *sd, *estimate);
            assert!(
                error >= least,
                "{} sd of {name}: {error:.1} digits, {p}",
                set.name
            );
        }
    }
    let size: f64 = set.column("y").iter().map(|y| y * y).sum();
    if let (Some(rss), Some(sd)) = (set.residual_ss, set.residual_sd) {
        assert!(
            found(&answer["rss"], rss, size) >= least,
            "{} {}",
            set.name,
            answer["rss"]
        );
        assert!(
            found(&answer["residual_sd"], sd, size.sqrt()) >= least,
            "{} {}",
            set.name,
            answer["residual_sd"]
        );
    }
    assert_eq!(answer["dof"], set.residual_df, "{}", set.name);
    assert_eq!(answer["converged"], true, "{}", set.name);
    assert_eq!(
        (&answer["schema"], &answer["command"]),
        (&Value::from(1), &Value::from("curve"))
    );
}

#[test]
fn linear_reference_sets_need_no_start_and_reach_thirteen_digits() {
    let folder = Folder::new();
    for set in &sets::all(true) {
        folder.file("set.csv", &set.csv());
        let answer = folder.json(&["set.csv", "--equation", &set.model]);
        check(set, &answer, 13.0);
        assert_eq!(
            (&answer["method"], &answer["termination"]),
            (&Value::from("linear"), &Value::from("direct"))
        );
    }
}

#[test]
fn nonlinear_reference_sets_reach_nine_digits_from_both_starts() {
    let folder = Folder::new();
    for set in &sets::all(false) {
        folder.file("set.csv", &set.csv());
        for start in &set.starts {
            let pairs: Vec<String> = set
                .certified
                .iter()
                .zip(start)
                .map(|((name, _, _), value)| format!("{name}={value}"))
                .collect();
            let answer = folder.json(&[
                "set.csv",
                "--equation",
                &set.model,
                "--start",
                &pairs.join(","),
            ]);
            check(set, &answer, 9.0);
        }
    }
}

/// Separators, decimal commas, comments, units and other names for columns do not change the answer.
#[test]
fn the_same_numbers_in_other_files_give_the_same_answer() {
    let folder = Folder::new();
    let rows = [(1.5, 3.1), (2.5, 5.2), (3.5, 6.8), (4.5, 9.3)];
    let lines = |cell: &dyn Fn(f64) -> String, between: &str| -> String {
        rows.iter()
            .map(|(x, y)| format!("{}{between}{}\n", cell(*x), cell(*y)))
            .collect()
    };
    let point = |v: f64| v.to_string();
    let comma = |v: f64| v.to_string().replace('.', ",");
    folder.file("a.csv", &format!("x [degC],y [W]\n{}", lines(&point, ",")));
    folder.file(
        "b.csv",
        &format!("# a comment\nx;y\n{}", lines(&comma, ";")),
    );
    folder.file("c.tsv", &format!("x\ty\n{}", lines(&point, "\t")));
    folder.file(
        "d.txt",
        &format!("x [degC]  y [W]\n{}", lines(&point, "   ")),
    );
    folder.file(
        "e.csv",
        &format!("intake temp [degC],power [W]\n{}", lines(&point, ",")),
    );
    folder.file("f.txt", &lines(&point, " "));
    let equation = ["--equation", "y = a + b*x"];
    let first = folder.json(&[&["a.csv"], &equation[..]].concat());
    for (file, more) in [
        ("b.csv", &[][..]),
        ("c.tsv", &[]),
        ("d.txt", &[]),
        ("e.csv", &["--x", "intake temp", "--y", "power"]),
        (
            "e.csv",
            &["--column", "x=intake temp", "--column", "y=power"],
        ),
        ("f.txt", &["--x", "c1", "--y", "c2"]),
    ] {
        let answer = folder.json(&[&[file], &equation[..], more].concat());
        assert_eq!(answer["params"], first["params"], "{file}");
        assert_eq!(answer["rss"], first["rss"], "{file}");
    }
}

/// NIST/SEMATECH e-Handbook, sections 4.5.1.1 and 4.5.1.2 (pressure and temperature); recomputed values in the file.
#[test]
fn points_asked_for_come_with_intervals_of_the_curve_and_of_a_further_row() {
    let text = include_str!("reference/regression/ex_prediction_pressure_temperature.json");
    let example: Value = serde_json::from_str(text).unwrap();
    let numbers = |key: &str| {
        example["data"][key]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
    };
    let rows: String = numbers("x_temperature")
        .zip(numbers("y_pressure"))
        .map(|(x, y)| format!("{x},{y}\n"))
        .collect();
    let folder = Folder::new();
    folder.file("p.csv", &format!("x,y\n{rows}"));
    let answer = folder.json(&[
        "p.csv",
        "--equation",
        "y = a + b*x",
        "--at",
        "x=25,x=45",
        "--at",
        "x=47,x=65",
    ]);
    let expected = example["expected"]["predictions"].as_array().unwrap();
    let values = answer["values"].as_array().unwrap();
    assert_eq!((values.len(), expected.len()), (4, 4));
    for (value, expected) in values.iter().zip(expected) {
        let close = |found: &Value, expected: &Value| {
            let found = digits(found.as_f64().unwrap(), expected.as_f64().unwrap(), 1.0);
            assert!(found >= 10.0, "{value} {expected}");
        };
        close(&value["at"]["x"], &expected["x"]);
        close(&value["value"], &expected["y_hat"]);
        close(&value["std_error"], &expected["u_mean"]);
        close(&value["mean_low"], &expected["ci95_mean"][0]);
        close(&value["mean_high"], &expected["ci95_mean"][1]);
        let t = example["expected"]["t_0_975"].as_f64().unwrap();
        let half = t * expected["u_prediction"].as_f64().unwrap();
        close(
            &value["run_low"],
            &Value::from(expected["y_hat"].as_f64().unwrap() - half),
        );
        close(
            &value["run_high"],
            &Value::from(expected["y_hat"].as_f64().unwrap() + half),
        );
    }
}

#[test]
fn weights_count_and_a_weight_of_zero_leaves_its_row_out() {
    let folder = Folder::new();
    folder.file(
        "w.csv",
        "x,y,w\n1,2.1,1\n2,3.9,2\n3,6.2,1\n4,7.7,4\n9,99,0\n",
    );
    folder.file("v.csv", "x,y,w\n1,2.1,1\n2,3.9,2\n3,6.2,1\n4,7.7,4\n");
    let with = folder.json(&["w.csv", "--equation", "y = a + b*x", "--weight", "w"]);
    let without = folder.json(&["v.csv", "--equation", "y = a + b*x", "--weight", "w"]);
    assert_eq!(with["params"], without["params"]);
    assert_eq!(
        (&with["n"], &with["dof"]),
        (&Value::from(4), &Value::from(2))
    );
    assert!(with["notes"][0].as_str().unwrap().contains("1 of 5 rows"));
    // A search weighs the same: y = a + b*x written so that it does not look linear.
    let searched = folder.json(&[
        "v.csv",
        "--equation",
        "y = a + exp(c)*x",
        "--weight",
        "w",
        "--start",
        "c=1",
    ]);
    let (a, c) = (parameter(&searched, "a"), parameter(&searched, "c"));
    let line = parameter(&without, "b")["value"].as_f64().unwrap();
    assert!((c["value"].as_f64().unwrap().exp() / line - 1.0).abs() < 1e-10);
    let ratio =
        a["std_error"].as_f64().unwrap() / parameter(&without, "a")["std_error"].as_f64().unwrap();
    assert!((ratio - 1.0).abs() < 1e-9);
}

#[test]
fn ranges_hold_and_replace_starts() {
    let folder = Folder::new();
    let set = sets::all(false)
        .into_iter()
        .find(|set| set.name == "Misra1a")
        .unwrap();
    folder.file("m.csv", &set.csv());
    let equation = ["m.csv", "--equation", "y = b1*(1 - exp(-b2*x))"];
    // b1 enters linearly and needs nothing; b2 is searched for.
    let answer = folder.json(&[&equation[..], &["--range", "b2=1e-6..1"]].concat());
    check(&set, &answer, 9.0);
    let answer = folder.json(
        &[
            &equation[..],
            &["--start", "b2=1e-4", "--range", "b1=..200"],
        ]
        .concat(),
    );
    let b1 = parameter(&answer, "b1");
    assert_eq!(
        (&b1["value"], &b1["at_bound"], &b1["std_error"]),
        (&Value::from(200.0), &Value::from(true), &Value::Null)
    );
    assert!(answer["notes"].to_string().contains("b1 ended at the edge"));
}

#[test]
fn a_search_that_ends_nowhere_does_not_call_itself_converged() {
    let folder = Folder::new();
    folder.file("f.csv", "x,y\n1,5\n2,5.1\n3,4.9\n4,5\n");
    // From here exp(-b*x) is nothing at every x: b has no influence.
    let line = [
        "f.csv",
        "--equation",
        "y = a + exp(-b*x)",
        "--start",
        "a=5,b=900",
        "--plot",
        "f.svg",
    ];
    let output = folder.curve(&[&line[..], &["--json"]].concat());
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(4), "{said}");
    assert!(said.contains("did not end at a best fit"), "{said}");
    assert!(!folder.0.path().join("f.svg").exists());
    let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(answer["files"], serde_json::json!([]));
    let words = folder.curve(&line);
    assert_eq!(words.status.code(), Some(4));
    assert!(String::from_utf8_lossy(&words.stdout).contains("NOT a best fit"));
    assert_eq!(
        (&answer["converged"], &answer["termination"]),
        (&Value::from(false), &Value::from("flat"))
    );
    assert_eq!(parameter(&answer, "b")["std_error"], Value::Null);
    assert!(
        answer["notes"][0]
            .as_str()
            .unwrap()
            .starts_with("NOT CONVERGED"),
        "{}",
        answer["notes"]
    );
}

#[test]
fn as_many_parameters_as_rows_leave_no_uncertainty_to_state() {
    let folder = Folder::new();
    folder.file("s.csv", "x,y\n1,5\n2,7\n");
    let answer = folder.json(&["s.csv", "--equation", "y = a + b*x"]);
    assert_eq!(
        (&answer["dof"], &answer["residual_sd"]),
        (&Value::from(0), &Value::Null)
    );
    assert_eq!(parameter(&answer, "b")["low"], Value::Null);
    assert!((parameter(&answer, "b")["value"].as_f64().unwrap() - 2.0).abs() < 1e-14);
}

#[test]
fn files_are_written_once_and_overwritten_only_when_asked() {
    let folder = Folder::new();
    folder.file("a.csv", "x [degC],y [W]\n1,2.1\n2,3.9\n3,6.2\n4,7.7\n");
    let plain = [
        "a.csv",
        "--equation",
        "y = a + b*x",
        "--plot",
        "p.svg",
        "--out",
        "o",
    ];
    let answer = folder.json(&plain);
    let files: Vec<&str> = answer["files"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| f.as_str().unwrap())
        .collect();
    assert_eq!(files.len(), 4);
    for file in &files {
        assert!(
            std::fs::metadata(folder.0.path().join(file)).unwrap().len() > 0,
            "{file}"
        );
    }
    let rows = std::fs::read_to_string(folder.0.path().join("o/rows.csv")).unwrap();
    assert!(
        rows.starts_with("line,x [degC],observed,fitted,residual,leverage\n2,1,2.1,"),
        "{rows}"
    );
    let (code, said) = folder.refusal(&plain);
    assert!(code == 3 && said.contains("already there"), "{said}");
    folder.json(&[&plain[..], &["--force"]].concat());
    let (code, said) = folder.refusal(&["a.csv", "--equation", "y = a + b*x", "--plot", "p.gif"]);
    assert!(code == 2 && said.contains(".svg or .png"), "{said}");
}

#[test]
fn mistakes_are_refused_with_their_place() {
    let folder = Folder::new();
    folder.file("d.csv", "x,y,w\n1,2,1\n2,3,1\n3,five,1\n");
    folder.file("g.csv", "x,y,w\n1,2,1\n2,3,-1\n3,4,1\n0,5,1\n");
    let cases: [(&[&str], i32, &[&str]); 16] = [
        (
            &["g.csv", "--equation", "y = a + 2x"],
            2,
            &["an operator is missing before `x`", "\n         ^"],
        ),
        (
            &["g.csv", "--equation", "z = a + b*x"],
            2,
            &["`z` stands on the left side", "x, y, w"],
        ),
        (
            &["g.csv", "--equation", "y = a + b*x^c"],
            2,
            &["--start c=…", "x, y, w"],
        ),
        (
            &["g.csv", "--equation", "y = a*x^c", "--start", "d=1"],
            2,
            &["`d` is not a parameter"],
        ),
        (
            &["g.csv", "--equation", "y = a*x^c", "--start", "c=1,c=2"],
            2,
            &["names `c` twice"],
        ),
        (
            &["g.csv", "--equation", "y = a*x^c", "--start", "c=one"],
            2,
            &["`one` is not a finite number"],
        ),
        (
            &["g.csv", "--equation", "y = a*x^c", "--range", "c=2..1"],
            2,
            &["holds no value"],
        ),
        (
            &[
                "g.csv",
                "--equation",
                "y = a*x^c",
                "--start",
                "c=9",
                "--range",
                "c=0..1",
            ],
            2,
            &["start of `c`", "outside its own range"],
        ),
        (
            &["g.csv", "--equation", "y = a + b*x", "--at", "t=3"],
            2,
            &["`t` is not a column on the right side"],
        ),
        (
            &["g.csv", "--equation", "y = a + b*x", "--weight", "v"],
            2,
            &["no column `v`"],
        ),
        (
            &["d.csv", "--equation", "y = a + b*x"],
            3,
            &["d.csv, line 4, column 2", "`five` under `y`"],
        ),
        (
            &["g.csv", "--equation", "y = a + b*x", "--weight", "w"],
            3,
            &["line 3", "negative"],
        ),
        (&["none.csv", "--equation", "y = a + b*x"], 3, &["none.csv"]),
        (
            &["g.csv", "--equation", "y = a + b*x + c*x"],
            4,
            &["cannot tell apart b, c", "Columns are x, y, w"],
        ),
        (
            &["g.csv", "--equation", "y = a + b*log(x)"],
            4,
            &["a + b*log(x) has no finite value in line 5"],
        ),
        (
            &["g.csv", "--equation", "y = a*x^b", "--start", "b=-1"],
            4,
            &["line 5", "choose another --start"],
        ),
    ];
    for (arguments, code, said) in cases {
        let (found, text) = folder.refusal(arguments);
        assert_eq!(found, code, "{arguments:?}: {text}");
        for words in said {
            assert!(
                text.contains(words),
                "{arguments:?}: `{words}` not in: {text}"
            );
        }
    }
}

#[test]
fn a_figure_is_drawn_whole_and_never_over_another_unasked() {
    let dir = tempfile::tempdir().unwrap();
    let table = dir.path().join("t.csv");
    std::fs::write(&table, "x,y,w\n1,2,1\n2,4.1,1\n3,5.9,1\n4,8.2,1\n9,90,0\n").unwrap();
    let plot = dir.path().join("c.svg");
    let run = |more: &[&str]| {
        assert_cmd::Command::cargo_bin("steadydraw")
            .unwrap()
            .args([
                "curve",
                table.to_str().unwrap(),
                "--equation",
                "y = a + b*x",
                "--weight",
                "w",
            ])
            .args(["--plot", plot.to_str().unwrap()])
            .args(more)
            .assert()
    };
    run(&[]).success();
    let svg = std::fs::read_to_string(&plot).unwrap();
    assert!(svg.contains("<svg") && !svg.contains("NaN") && !svg.contains("<text"));
    run(&[]).code(3);
    run(&["--force"]).success();
    assert_eq!(svg, std::fs::read_to_string(&plot).unwrap());
}
