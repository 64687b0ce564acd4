//! A write-up can be made again: what it was made from is listed, and `report --verify` holds it against its bench.

mod support;

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;
use support::{BenchDir, run_in};

/// Every file under a folder by its name.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(dir) = open.pop() {
        for entry in std::fs::read_dir(dir).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().display().to_string();
                all.insert(name, std::fs::read(&path).unwrap());
            }
        }
    }
    all
}

fn run(folder: &Path, line: &str, threads: &str) -> support::Outcome {
    let args: Vec<String> = line.split(' ').map(str::to_owned).collect();
    run_in(folder, &args, &[("RAYON_NUM_THREADS", threads)])
}

fn held(json: &Value, kind: &str, state: &str) -> Vec<String> {
    json[kind]
        .as_array()
        .unwrap()
        .iter()
        .filter(|f| f["state"] == state)
        .map(|f| f["file"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn one_thread_or_two_every_file_of_a_report_is_the_same_to_the_byte() {
    let bench = BenchDir::invented();
    run(bench.path(), "report . --out one", "1").answers();
    run(bench.path(), "report . --out two", "2").answers();
    let (one, two) = (
        files(&bench.path().join("one")),
        files(&bench.path().join("two")),
    );
    assert!(one.len() > 10 && one.contains_key("reproduce.json"));
    assert_eq!(
        one.keys().collect::<Vec<_>>(),
        two.keys().collect::<Vec<_>>()
    );
    for (name, bytes) in &one {
        assert!(
            *bytes == two[name],
            "{name} differs between one thread and two"
        );
    }
}

#[test]
fn the_list_names_version_seed_inputs_and_every_other_file() {
    let bench = BenchDir::invented();
    let answer = run(bench.path(), "report . --out r --seed 7 --json", "2").answers();
    let all = files(&bench.path().join("r"));
    let list: Value = serde_json::from_slice(&all["reproduce.json"]).unwrap();
    assert_eq!(list["version"], env!("CARGO_PKG_VERSION"));
    assert_eq!(list["asked"]["seed"], 7);
    let names = |v: &Value| -> Vec<String> {
        let mut n: Vec<String> = v
            .as_array()
            .unwrap()
            .iter()
            .map(|f| f["file"].as_str().unwrap().to_owned())
            .collect();
        n.sort();
        n
    };
    assert_eq!(names(&list["inputs"]), ["bench.toml", "points.csv"]);
    let others: Vec<&String> = all.keys().filter(|n| *n != "reproduce.json").collect();
    assert_eq!(names(&list["outputs"]).iter().collect::<Vec<_>>(), others);
    // The answer itself names the same inputs.
    let json: Value = serde_json::from_str(&answer.stdout).unwrap();
    assert_eq!(json["made_by"]["inputs"], list["inputs"]);
    assert_eq!(json["made_by"]["seed"], 7);
    // Nothing in it depends on when or where it was made.
    assert!(
        !String::from_utf8_lossy(&all["reproduce.json"])
            .contains(&bench.path().display().to_string())
    );
}

#[test]
fn an_untouched_report_verifies_with_the_options_it_was_made_with() {
    let bench = BenchDir::invented();
    let made = "report . --out r --level 0.9 --units us --ambient 104degF --assume-ambient-slope published";
    run(bench.path(), made, "2").answers();
    let before = files(bench.path());
    let same = run(bench.path(), "report . --verify r", "1").answers();
    assert!(same.stdout.contains("same to the byte"), "{}", same.stdout);
    let json = run(bench.path(), "report bench.toml --verify r --json", "2").answers();
    let json: Value = serde_json::from_str(&json.stdout).unwrap();
    assert_eq!(json["matches"], true);
    assert_eq!(before, files(bench.path()), "verifying writes nothing");
}

#[test]
fn what_differs_is_named_and_the_exit_code_is_3() {
    let bench = BenchDir::invented();
    run(bench.path(), "report . --out r", "2").answers();
    let verify = || {
        let out = run(bench.path(), "report . --verify r --json", "2");
        let json: Value = serde_json::from_str(&out.stdout).unwrap();
        (out.code, json)
    };
    // Edited by hand, deleted.
    let page = bench.path().join("r/writeup.md");
    let text = std::fs::read_to_string(&page).unwrap();
    std::fs::write(&page, text.replacen('1', "2", 1)).unwrap();
    std::fs::remove_file(bench.path().join("r/figures/draw-by-fan.svg")).unwrap();
    let (code, json) = verify();
    assert_eq!(code, 3);
    assert_eq!(held(&json, "outputs", "edited"), ["writeup.md"]);
    assert_eq!(
        held(&json, "outputs", "missing"),
        ["figures/draw-by-fan.svg"]
    );
    assert_eq!(held(&json, "outputs", "otherwise"), Vec::<String>::new());
    let said = run(bench.path(), "report . --verify r", "2");
    assert!(
        said.stdout
            .contains("edited since it was written: writeup.md"),
        "{}",
        said.stdout
    );

    // One digit of the input.
    run(bench.path(), "report . --out r --force", "2").answers();
    let points = bench.path().join("points.csv");
    let text = std::fs::read_to_string(&points).unwrap();
    let last = text.rfind(|c: char| c.is_ascii_digit()).unwrap();
    let digit = if &text[last..=last] == "1" { "2" } else { "1" };
    std::fs::write(
        &points,
        format!("{}{digit}{}", &text[..last], &text[last + 1..]),
    )
    .unwrap();
    let (code, json) = verify();
    assert_eq!(code, 3);
    assert_eq!(held(&json, "inputs", "changed"), ["points.csv"]);
    assert_eq!(held(&json, "inputs", "same"), ["bench.toml"]);
    assert!(held(&json, "outputs", "otherwise").contains(&"index.html".to_owned()));
    assert_eq!(held(&json, "outputs", "edited"), Vec::<String>::new());

    // Another version's list.
    std::fs::write(&points, text).unwrap();
    let list = bench.path().join("r/reproduce.json");
    let other = std::fs::read_to_string(&list)
        .unwrap()
        .replace("\"version\": \"", "\"version\": \"9");
    std::fs::write(&list, other).unwrap();
    let said = run(bench.path(), "report . --verify r", "2").answers();
    assert!(said.stdout.contains("made by version 9"), "{}", said.stdout);
}

#[test]
fn a_folder_without_a_list_a_list_of_something_else_and_the_wrong_bench_are_told_apart() {
    let bench = BenchDir::invented();
    std::fs::create_dir(bench.path().join("r")).unwrap();
    let out = run(bench.path(), "report . --verify r", "2");
    assert!(
        out.code == 3 && out.stderr.contains("no reproduce.json"),
        "{}",
        out.stderr
    );
    std::fs::write(bench.path().join("r/reproduce.json"), "{}").unwrap();
    let out = run(bench.path(), "report . --verify r", "2");
    assert!(
        out.code == 3 && out.stderr.contains("does not read as such a list"),
        "{}",
        out.stderr
    );
    run(bench.path(), "report --out demo", "2").answers();
    let out = run(bench.path(), "report . --verify demo", "2");
    assert!(
        out.code == 2 && out.stderr.contains("built-in demo"),
        "{}",
        out.stderr
    );
    run(bench.path(), "report --verify demo", "2").answers();
}
