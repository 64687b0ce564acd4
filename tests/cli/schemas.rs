//! The published JSON Schemas: every command has one, and everything that `--json` prints on benches of many kinds keeps to it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use jsonschema::Validator;
use serde_json::{Value, json};

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, Outcome, TOML, run, run_in};

const NIGHT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/benches/night");
const DISCHARGES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/discharge");
const CHAMBER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/chamber-day");
const TWO_STAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/data/two-stage-heat-pump");

fn schema(name: &str) -> Value {
    run(&format!("schema {name}")).answers().json()
}

fn names() -> Vec<String> {
    let listed = run("schema --json").answers();
    serde_json::from_str(&listed.stdout).unwrap()
}

/// The commands that `--help` lists.
fn commands() -> Vec<String> {
    let help = run("--help").answers().stdout;
    let list = help.split("Commands:\n").nth(1).unwrap();
    let list = list.split("\n\n").next().unwrap();
    list.lines()
        .map(|l| l.split_whitespace().next().unwrap().to_owned())
        .filter(|c| c != "help")
        .collect()
}

/// Every object that a schema describes, with its path.
fn objects<'a>(schema: &'a Value, path: &str, found: &mut Vec<(String, &'a Value)>) {
    match schema {
        Value::Object(map) => {
            let kind = &schema["type"];
            let is_object = kind == "object"
                || kind
                    .as_array()
                    .is_some_and(|k| k.contains(&"object".into()));
            if is_object {
                found.push((path.to_owned(), schema));
            }
            for (key, inner) in map {
                objects(inner, &format!("{path}/{key}"), found);
            }
        }
        Value::Array(list) => {
            for inner in list {
                objects(inner, path, found);
            }
        }
        _ => {}
    }
}

#[test]
fn every_command_has_a_closed_schema_that_is_itself_valid() {
    let names = names();
    // The schemas are published as files too.
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/schema");
    let mut files: Vec<String> = std::fs::read_dir(&folder)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    files.sort();
    let mut expected: Vec<String> = names.iter().map(|n| format!("{n}.json")).collect();
    expected.sort();
    assert_eq!(files, expected);
    for command in commands().iter().filter(|c| *c != "schema") {
        assert!(names.contains(command), "{command} has no schema");
    }
    for name in &names {
        let schema = schema(name);
        assert_eq!(
            schema["$schema"],
            "https://json-schema.org/draft/2020-12/schema"
        );
        jsonschema::meta::validate(&schema).unwrap_or_else(|e| panic!("{name}: {e}"));
        let mut found = Vec::new();
        objects(&schema, "", &mut found);
        assert!(!found.is_empty());
        for (path, object) in found {
            let rest = &object["additionalProperties"];
            // A map from names to numbers is open in its names and closed in what they hold.
            let closed = *rest == json!(false) || rest["type"] == "number";
            assert!(closed, "{name}: {path} takes any key");
        }
        for key in ["schema", "notes"] {
            let required = schema["required"].as_array().unwrap();
            assert!(
                required.contains(&key.into()),
                "{name} does not ask for {key}"
            );
        }
    }
    run("schema predcit")
        .exits(2)
        .complains("did you mean `predict`?");
}

/// The schemas, and which of their keys were met.
struct Contracts {
    validators: BTreeMap<String, Validator>,
    met: BTreeMap<String, BTreeSet<String>>,
}

fn keys(value: &Value, found: &mut BTreeSet<String>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                found.insert(key.clone());
                keys(inner, found);
            }
        }
        Value::Array(list) => list.iter().for_each(|v| keys(v, found)),
        _ => {}
    }
}

impl Contracts {
    fn new() -> Contracts {
        let validators = names()
            .into_iter()
            .map(|name| {
                let validator = jsonschema::validator_for(&schema(&name)).unwrap();
                (name, validator)
            })
            .collect();
        Contracts {
            validators,
            met: BTreeMap::new(),
        }
    }

    fn keeps(&mut self, outcome: Outcome) {
        let answer = outcome.json();
        let name = match answer.get("error") {
            Some(_) => "error".to_owned(),
            None => answer["command"].as_str().unwrap().to_owned(),
        };
        assert_eq!(outcome.code == 0, name != "error", "{}", outcome.line);
        let validator = &self.validators[&name];
        let wrong: Vec<String> = validator
            .iter_errors(&answer)
            .map(|e| {
                let mut what = e.to_string();
                what.truncate(300);
                format!("{}: {what}", e.instance_path())
            })
            .collect();
        assert!(
            wrong.is_empty(),
            "`{}`:\n{}",
            outcome.line,
            wrong.join("\n")
        );
        keys(&answer, self.met.entry(name).or_default());
    }

    /// Keys that a schema names and no answer held.
    fn unmet(&self) -> Vec<String> {
        let mut list = Vec::new();
        for (name, met) in &self.met {
            let schema = schema(name);
            let mut found = Vec::new();
            objects(&schema, "", &mut found);
            let named: BTreeSet<&String> = found
                .iter()
                // Who made an answer is said by all alike; not every command reads a file.
                .filter(|(path, _)| !["/$defs/maker", "/$defs/input"].contains(&path.as_str()))
                .filter_map(|(_, o)| o["properties"].as_object())
                .flat_map(|p| p.keys())
                .collect();
            list.extend(
                named
                    .into_iter()
                    .filter(|k| !met.contains(*k))
                    .map(|k| format!("{name}: {k}")),
            );
        }
        list
    }
}

/// The commands that read a bench of points, in all that they can say.
const OF_A_BENCH: [&str; 12] = [
    "check --json",
    "fit --leave-out --json",
    "fit --budget --json",
    "coupling --json",
    "predict --intake 28degC,36degC --explain --json",
    "predict --intake 28degC --ambient 45degC --assume-ambient-slope published --json",
    "predict --adjusted --json",
    "runtime --intake 30degC --json",
    "claims --json",
    "plan --json --simulations 20 --decide 60%",
    "plan --next elasticity --json",
    "report --out out --force --json",
];

#[test]
fn what_commands_print_keeps_to_the_schemas_on_benches_of_many_kinds() {
    let mut contracts = Contracts::new();
    for line in OF_A_BENCH {
        contracts.keeps(run(line));
    }
    let invented = || BenchDir::invented();
    let spoilt = |sheet: Sheet| BenchDir::invented().points(sheet.csv());
    let benches = [
        invented(),
        spoilt(Sheet::invented().drop(&["ambient_temp"])),
        spoilt(Sheet::invented().drop(&["outlet_temp", "airflow"])),
        spoilt(Sheet::invented().drop(&["mode", "block"])),
        spoilt(Sheet::invented().keep(|kind, _, _| kind == "cooling")),
        spoilt(Sheet::invented().keep(|kind, mode, fan| {
            kind != "cooling" || (mode, fan) == ("eco", "1") || (mode, fan) == ("steady", "3")
        })),
        spoilt(Sheet::invented().keep(|kind, _, _| kind != "cooling")),
        invented().toml(TOML.replace("[site]", "colour = \"red\"\n[site]")),
        invented().points("run,kind\nr01,cooling\n"),
    ];
    for bench in &benches {
        for line in OF_A_BENCH {
            contracts.keeps(bench.run(line));
        }
    }
    for line in [
        "plan --next predict --intake 38degC --mode eco --fan 2 --json",
        "predict --intake 30degC --mode ecco --json",
        "plan --fans low,high --json --out sheet --simulations 20",
    ] {
        contracts.keeps(benches[0].run(line));
    }
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let elsewhere = |line: &str| {
        let args: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
        run_in(at, &args, &[])
    };
    std::fs::write(
        at.join("rows.csv"),
        "x,y\n1,2.1\n2,3.9\n3,6.2\n3,6.0\n4,8.1\n5,9.9\n",
    )
    .unwrap();
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/data/demo");
    let own = benches[0].path().to_str().unwrap();
    for line in [
        "new fresh --json".to_owned(),
        "new fresh --json --force --logs".to_owned(),
        "new fresh --json".to_owned(),
        "check fresh --json".to_owned(),
        "fit nowhere --json".to_owned(),
        "fit --frob --json".to_owned(),
        format!("reduce {NIGHT} --out reduced --json"),
        format!("reduce {NIGHT} --out reduced --with-cycling --figures drawn --json --force"),
        format!("reduce {CHAMBER} --out chamber --json"),
        format!("fit {TWO_STAGE} --json"),
        format!("compare {own} {own} --json"),
        format!("compare {own} {demo} --out drawn --json"),
        format!("compare {own} --json"),
        "discharge --json".to_owned(),
        format!("discharge {DISCHARGES}/pack_1C.csv --json"),
        "plan --modes cool --json --simulations 20".to_owned(),
        "curve rows.csv --equation y=a+b*x --at x=3 --json --plot drawn.svg".to_owned(),
        "curve rows.csv --equation y=a*x^b --start a=2,b=1 --range b=0..3 --json".to_owned(),
        "curve rows.csv --equation y=a+b*z --json".to_owned(),
        "report --out page --json".to_owned(),
        "report --verify page --json".to_owned(),
        "completions bash --json".to_owned(),
        "man --json".to_owned(),
        "man --json --out pages".to_owned(),
    ] {
        contracts.keeps(elsewhere(&line));
    }
    // What stands in a schema can be met; the rest is for benches that weigh water or whose logs disagree.
    let rare = [
        "fit: weighed_latent_w",
        "fit: weighed_less_air_w",
        "reduce: add_s",
        "reduce: air_speed_ms",
        "reduce: airflow_m3h",
        "reduce: condensate_kgh",
        "reduce: has_s",
        "reduce: outlet_rh",
        "reduce: pressure_pa",
        "report: weighed_latent_w",
        "report: weighed_less_air_w",
    ];
    let unmet: Vec<String> = contracts.unmet();
    let unknown: Vec<&String> = unmet
        .iter()
        .filter(|k| !rare.contains(&k.as_str()))
        .collect();
    assert!(
        unknown.is_empty(),
        "in a schema and never met: {unknown:#?}"
    );
    let met: Vec<&String> = contracts.met.keys().collect();
    assert_eq!(met.len(), contracts.validators.len(), "{met:?}");
}

#[test]
fn a_key_more_and_a_key_less_are_both_seen() {
    for (line, name) in [
        ("check --json", "check"),
        ("predict --intake 30degC --json", "predict"),
    ] {
        let validator = jsonschema::validator_for(&schema(name)).unwrap();
        let good = BenchDir::invented().run(line).answers().json();
        assert!(validator.is_valid(&good));
        let keys: Vec<String> = good.as_object().unwrap().keys().cloned().collect();
        for key in keys {
            let mut less = good.clone();
            less.as_object_mut().unwrap().remove(&key);
            assert!(!validator.is_valid(&less), "{name} does not miss {key}");
        }
        let mut more = good.clone();
        more["mood"] = json!(1);
        assert!(!validator.is_valid(&more));
        let list = if name == "check" {
            "findings"
        } else {
            "predictions"
        };
        let mut inside = good;
        inside[list][0]["mood"] = json!(1);
        assert!(!validator.is_valid(&inside));
    }
}
