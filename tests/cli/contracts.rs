//! JSON that other programs may rely on: every key, its type, its unit; no NaN; null only where a figure can be absent.

use serde_json::Value;

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, Outcome, TOML, run};

/// One line a key: path, and `text`, `number`, `whole`, `flag`, with `?` where null stands for an absent figure.
const CHECK: &str = "
    findings[].severity text
    findings[].code text
    findings[].message text
    findings[].file text?
    findings[].line whole?
    runs.cooling whole
    runs.fan_only whole
    runs.standby whole
    modes[] text
    fan_levels[] text
    unit text
";
const BEST: &str = "
    .between_blocks_sd_relative number?
";
const CURVE: &str = "
    .form text
    .terms[].name text
    .terms[].value number
    .terms[].std_error number
    .terms[].low number
    .terms[].high number
    .terms[].unit text
    .covariance[][] number
    .residual_sd_w number
    .n whole
    .dof whole
    .aicc number
    .loo_rmse_w number
    .equation text
";
const COUPLING: &str = "
    verdict text
    p_value number?
    elasticity.value number
    elasticity.low number
    elasticity.high number
    allowance number
    fan_draw.source text
    fan_draw.levels[].fan text
    fan_draw.levels[].draw_w number
    fan_draw.levels[].u_w number
    fan_draw.levels[].runs whole
    fan_draw.limit_w number?
    fan_draw.break_even_w number?
    evidence[].name text
    evidence[].says text
    evidence[].detail text
    evidence[].p_value number?
    per_mode[].mode text
    per_mode[].verdict text
    per_mode[].elasticity.value number
    per_mode[].elasticity.low number
    per_mode[].elasticity.high number
    modes_differ flag
";
const PREDICT: &str = "
    predictions[].mode text
    predictions[].intake_c number
    predictions[].ambient_c number?
    predictions[].draw_w number
    predictions[].run_low_w number
    predictions[].run_high_w number
    predictions[].mean_low_w number
    predictions[].mean_high_w number
    predictions[].capacity_w number?
    predictions[].support text
";
const EXPLAIN: &str = "
    predictions[].explain.mean_u_w number
    predictions[].explain.run_u_w number
    predictions[].explain.shares[].of text
    predictions[].explain.shares[].name text
    predictions[].explain.shares[].run number
    predictions[].explain.shares[].mean number
    predictions[].explain.candidates[].form text
    predictions[].explain.candidates[].weight number
    predictions[].explain.candidates[].draw_w number
    predictions[].explain.runs[].run text
    predictions[].explain.runs[].mode text
    predictions[].explain.runs[].fan text
    predictions[].explain.runs[].intake_c number
    predictions[].explain.runs[].ambient_c number
    predictions[].explain.runs[].pull number
    predictions[].explain.runs[].without_shift_w number
    predictions[].explain.runs[].without_u_growth number
    predictions[].explain.runs[].silenced_weight number
    predictions[].explain.further_runs[].mode text
    predictions[].explain.further_runs[].intake_c number
    predictions[].explain.further_runs[].ambient_c number
    predictions[].explain.further_runs[].mean_u_after_w number
    predictions[].explain.further_runs[].change_w number
    predictions[].explain.further_runs[].asked_for flag
";
const ASSUMED: &str = "
    predictions[].assumed.draw.from_c number
    predictions[].assumed.draw.distance_k number
    predictions[].assumed.draw.slope_low_per_k number
    predictions[].assumed.draw.slope_high_per_k number
    predictions[].assumed.draw.u_per_k number
    predictions[].assumed.capacity.from_c number
    predictions[].assumed.capacity.slope_low_per_k number
";
const ADJUSTED: &str = "
    adjusted.intake_c number
    adjusted.ambient_c number
    adjusted.settings[].mode text
    adjusted.settings[].runs[].run text
    adjusted.settings[].runs[].measured_w number
    adjusted.settings[].runs[].adjusted_w number
    adjusted.settings[].draw_w number
    adjusted.settings[].mean_low_w number
    adjusted.settings[].mean_high_w number
    adjusted.settings[].capacity_w number
    adjusted.settings[].capacity_mean_low_w number
    adjusted.settings[].capacity_mean_high_w number
    adjusted.settings[].eer number
    adjusted.settings[].eer_low number
    adjusted.settings[].eer_high number
    adjusted.settings[].support text
    adjusted.differences[].mode text
    adjusted.differences[].over_mode text
    adjusted.differences[].value_w number
    adjusted.differences[].low_w number
    adjusted.differences[].high_w number
";
const LEFT_OUT: &str = "
    left_out[].of text
    left_out[].left_out text
    left_out[].times whole
    left_out[].runs whole
    left_out[].silent_runs whole
    left_out[].rms number
    left_out[].bias number
    left_out[].largest number
    left_out[].largest_run text
";
const PLAN: &str = "
    runs[].run text
    runs[].order whole
    runs[].block text
    runs[].kind text
    runs[].mode text?
    runs[].intake_c number?
    balanced flag
    time.total_h number
    time.blocks_h[] number
    time.intake_changes whole
    time.cooling_run_h number
    time.from_runs whole
    reach.allowance number
    reach.level number
    reach.simulations whole
    reach.cooling_runs whole
    reach.scatter number
    reach.scatter_from text
    reach.airflows_m3h[] number
    reach.blower_w[] number
    reach.cases[].elasticity number
    reach.cases[].coupled number
    reach.cases[].independent number
    reach.cases[].undecided number
    reach.cases[].share_u number
    reach.cases[].width number?
    reach.cases[].fan_seen number
    enough.wanted number
    enough.repeats whole?
    cautions[] text
";
const NEXT: &str = "
    next.of.target text
    next.of.value number
    next.u_now number
    next.runs[].kind text
    next.runs[].mode text?
    next.runs[].intake_c number?
    next.runs[].u_after number
    next.runs[].remark text?
    cautions[] text
";
/// Keys in addition to those above that may be null. A null anywhere else is a NaN that JSON cannot write, or a forgotten figure.
const OTHER_NULLS: [&str; 8] = [
    "runs[].fan",
    "reach.cases[].fan_seen_analytic",
    "reach.cases[].width_range",
    "confounders[].elasticity",
    "evidence[].value",
    "capacity_kind",
    "predictions[].capacity_mean_low_w",
    "predictions[].capacity_mean_high_w",
];

/// Every leaf of a value with its path, list indices left out.
fn leaves(value: &Value, path: &str, found: &mut Vec<(String, Value)>) {
    match value {
        Value::Object(map) => {
            for (key, inner) in map {
                let dot = if path.is_empty() { "" } else { "." };
                leaves(inner, &format!("{path}{dot}{key}"), found);
            }
        }
        Value::Array(list) => {
            for inner in list {
                leaves(inner, &format!("{path}[]"), found);
            }
        }
        leaf => found.push((path.to_owned(), leaf.clone())),
    }
}

/// Asserts what holds for every answer, and the keys of a contract.
#[track_caller]
fn keeps(outcome: &Outcome, contract: &str) -> Value {
    let json = outcome.json();
    let command = outcome.line.split(' ').next().unwrap();
    assert_eq!(json["schema"], 1, "{}", outcome.line);
    assert_eq!(json["command"], command);
    assert!(json["bench"].is_string());
    let notes = json["notes"].as_array().unwrap();
    assert!(notes.iter().all(Value::is_string));
    let mut found = Vec::new();
    leaves(&json, "", &mut found);
    let mut nullable: Vec<&str> = OTHER_NULLS.to_vec();
    for line in contract.lines().map(str::trim).filter(|l| !l.is_empty()) {
        let (path, kind) = line.split_once(' ').unwrap();
        let own: Vec<&Value> = found.iter().filter(|f| f.0 == path).map(|f| &f.1).collect();
        assert!(!own.is_empty(), "{}: no `{path}`", outcome.line);
        let (kind, absent) = match kind.strip_suffix('?') {
            Some(kind) => (kind, true),
            None => (kind, false),
        };
        if absent {
            nullable.push(path);
        }
        for value in own.into_iter().filter(|v| !(absent && v.is_null())) {
            let right = match kind {
                "text" => value.is_string(),
                "number" => value.as_f64().is_some_and(f64::is_finite),
                "whole" => value.is_u64(),
                "flag" => value.is_boolean(),
                other => panic!("{other}"),
            };
            assert!(right, "{}: `{path}` is {value}, no {kind}", outcome.line);
        }
    }
    for (path, value) in &found {
        assert!(
            !value.is_null() || nullable.contains(&path.as_str()),
            "{}: `{path}` is null",
            outcome.line
        );
    }
    json
}

fn fit_contract() -> String {
    [
        ("draw", BEST),
        ("draw", CURVE),
        ("draw_candidates[]", CURVE),
        ("capacity", BEST),
        ("capacity", CURVE),
        ("capacity_candidates[]", CURVE),
    ]
    .iter()
    .flat_map(|(part, keys)| {
        keys.lines()
            .map(move |l| l.trim().replacen('.', &format!("{part}."), 1))
    })
    .collect::<Vec<_>>()
    .join("\n")
}

/// The commands on the demo, and on the invented bench.
fn both(line: &str) -> [Outcome; 2] {
    [
        run(line).answers(),
        BenchDir::invented().run(line).answers(),
    ]
}

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key}: {value}"))
}

#[test]
fn check_lists_findings() {
    for outcome in both("check --json") {
        let json = keeps(&outcome, CHECK);
        for f in json["findings"].as_array().unwrap() {
            let severity = f["severity"].as_str().unwrap();
            assert!(
                ["note", "warning", "error"].contains(&severity),
                "{severity}"
            );
            let code = f["code"].as_str().unwrap();
            assert!(
                code.bytes().all(|b| b.is_ascii_lowercase() || b == b'-'),
                "{code}"
            );
        }
    }
    // The severest come first, and a finding about a line says which.
    let outcome = BenchDir::invented()
        .toml(TOML.replace("[site]", "colour = \"red\"\n[site]"))
        .run("check --json")
        .answers();
    let json = keeps(&outcome, CHECK);
    let list = json["findings"].as_array().unwrap();
    let key = list.iter().find(|f| f["code"] == "unknown-key").unwrap();
    assert_eq!(
        (&key["file"], &key["line"]),
        (&"bench.toml".into(), &8.into())
    );
    let ranks: Vec<usize> = list
        .iter()
        .map(|f| {
            ["error", "warning", "note"]
                .iter()
                .position(|s| f["severity"] == **s)
                .unwrap()
        })
        .collect();
    assert!(ranks.is_sorted());
}

#[test]
fn fit_gives_curves_with_terms_and_equations() {
    for outcome in both("fit --json") {
        let json = keeps(&outcome, &fit_contract());
        for (curve, list) in [
            ("draw", "draw_candidates"),
            ("capacity", "capacity_candidates"),
        ] {
            let best = &json[curve];
            // Both benches name two days; the built-in prior knows no more than 2.5 % between them.
            let between = number(best, "between_blocks_sd_relative");
            assert!(between > 0.0 && between < 0.025, "{between}");
            let candidates = json[list].as_array().unwrap();
            assert_eq!(best["form"], candidates[0]["form"]);
            let weights: Vec<f64> = candidates.iter().map(|c| number(c, "weight")).collect();
            assert!((weights.iter().sum::<f64>() - 1.0).abs() < 1e-9);
            assert!(weights.is_sorted_by(|a, b| a >= b));
            for c in candidates {
                let terms = c["terms"].as_array().unwrap();
                let p = terms.len();
                assert_eq!(number(c, "dof"), number(c, "n") - p as f64);
                let covariance = c["covariance"].as_array().unwrap();
                assert_eq!(covariance.len(), p);
                for (i, t) in terms.iter().enumerate() {
                    assert!(number(t, "low") < number(t, "value"));
                    assert!(number(t, "value") < number(t, "high"));
                    let row = covariance[i].as_array().unwrap();
                    assert_eq!(row.len(), p);
                    let (v, se) = (row[i].as_f64().unwrap(), number(t, "std_error"));
                    assert!((v.sqrt() / se - 1.0).abs() < 1e-9, "{v} {se}");
                    let unit = t["unit"].as_str().unwrap();
                    assert!(["ln W", "1", "1/K", "1/K2"].contains(&unit), "{unit}");
                }
                assert!(number(c, "loo_rmse_w") >= 0.5 * number(c, "residual_sd_w"));
            }
        }
    }
}

#[test]
fn coupling_gives_a_verdict_with_its_evidence() {
    for outcome in both("coupling --json") {
        let json = keeps(&outcome, COUPLING);
        // Both benches are made so.
        assert_eq!(json["verdict"], "coupled");
        let e = &json["elasticity"];
        assert!(number(e, "low") < number(e, "value") && number(e, "value") < number(e, "high"));
        assert!((0.0..=1.0).contains(&number(&json, "p_value")));
        assert_eq!(number(&json, "allowance"), 0.2);
        assert_eq!(json["would_settle"], serde_json::json!([]));
        assert_eq!(json["fan_draw"]["source"], "fan-only-runs");
        for m in json["per_mode"].as_array().unwrap() {
            let verdict = m["verdict"].as_str().unwrap();
            assert!(["coupled", "independent", "undecided"].contains(&verdict));
        }
    }
    // Undecided is an answer too, and says what would settle it.
    let confounded = Sheet::invented().keep(|kind, mode, fan| {
        kind != "cooling" || (mode, fan) == ("eco", "1") || (mode, fan) == ("steady", "3")
    });
    let outcome = BenchDir::invented()
        .points(confounded.csv())
        .run("coupling --json")
        .answers();
    let json = outcome.json();
    assert_eq!(json["verdict"], "undecided");
    assert_eq!(json["elasticity"], Value::Null);
    assert_eq!(json["p_value"], Value::Null);
    let runs = json["would_settle"].as_array().unwrap();
    assert!(!runs.is_empty() && runs.iter().all(Value::is_string));
}

#[test]
fn predict_gives_draws_with_two_intervals() {
    for outcome in both("predict --intake 28degC --intake 95degF --json") {
        let json = keeps(&outcome, PREDICT);
        let list = json["predictions"].as_array().unwrap();
        let intakes: Vec<f64> = list.iter().map(|p| number(p, "intake_c")).collect();
        assert!(
            intakes
                .iter()
                .all(|t| *t == 28.0 || (t - 35.0).abs() < 1e-12),
            "{intakes:?}"
        );
        for p in list {
            let fan = &p["fan"];
            assert!(fan.is_string() || fan.is_i64(), "{fan}");
            let order = [
                "run_low_w",
                "mean_low_w",
                "draw_w",
                "mean_high_w",
                "run_high_w",
            ];
            let values: Vec<f64> = order.iter().map(|k| number(p, k)).collect();
            assert!(values.is_sorted_by(|a, b| a < b), "{values:?}");
            // Draws of these benches lie between 60 and 400 W, capacities between 200 and 2000 W.
            assert!((60.0..400.0).contains(&number(p, "draw_w")));
            assert!((200.0..2000.0).contains(&number(p, "capacity_w")));
            assert!((15.0..35.0).contains(&number(p, "ambient_c")));
            let support = p["support"].as_str().unwrap();
            let inside = number(p, "intake_c") == 28.0;
            assert_eq!(support, if inside { "inside" } else { "outside" });
            let notes = p["notes"].as_array().unwrap();
            assert!(notes.iter().all(Value::is_string));
            let beyond = notes.iter().any(|n| {
                n.as_str()
                    .unwrap()
                    .contains(" K beyond the tested intake range")
            });
            assert_eq!(beyond, !inside, "{notes:?}");
        }
    }
}

#[test]
fn an_absent_figure_is_null_and_not_invented() {
    let bench = |sheet: Sheet| BenchDir::invented().points(sheet.csv());
    let no_ambient = bench(Sheet::invented().drop(&["ambient_temp"]));
    let json = keeps(
        &no_ambient.run("predict --intake 28degC --json").answers(),
        PREDICT,
    );
    for p in json["predictions"].as_array().unwrap() {
        assert_eq!(p["ambient_c"], Value::Null);
    }
    let no_air = bench(Sheet::invented().drop(&["airflow"]));
    let json = keeps(
        &no_air.run("predict --intake 28degC --json").answers(),
        PREDICT,
    );
    assert_eq!(json["capacity_kind"], Value::Null);
    for p in json["predictions"].as_array().unwrap() {
        assert_eq!(p["capacity_w"], Value::Null);
    }
    let json = no_air.run("fit --json").answers().json();
    assert_eq!(json["capacity"], Value::Null);
    assert_eq!(json["capacity_candidates"], Value::Null);
    let notes = json["notes"].as_array().unwrap();
    assert!(
        notes
            .iter()
            .any(|n| n.as_str().unwrap().contains("No capacity curve"))
    );
    assert!(json["draw"].is_object());
    let no_blocks = bench(Sheet::invented().drop(&["block", "mode"]));
    let json = keeps(
        &no_blocks.run("check --json").answers(),
        &CHECK.replace("modes[] text", ""),
    );
    assert_eq!(json["blocks"], serde_json::json!([]));
    assert_eq!(json["modes"], serde_json::json!([]));
}

#[test]
fn an_explanation_holds_shares_curves_runs_and_what_to_run_next() {
    for outcome in both("predict --intake 28degC,36degC --explain --json") {
        let json = keeps(&outcome, &format!("{PREDICT}{EXPLAIN}"));
        for p in json["predictions"].as_array().unwrap() {
            let e = &p["explain"];
            let sum = |list: &str, key: &str| {
                let list = e[list].as_array().unwrap();
                list.iter().map(|s| number(s, key)).sum::<f64>()
            };
            assert!((sum("shares", "run") - 1.0).abs() < 1e-9);
            assert!((sum("shares", "mean") - 1.0).abs() < 1e-9);
            assert!((sum("candidates", "weight") - 1.0).abs() < 1e-9);
            assert!(number(e, "mean_u_w") < number(e, "run_u_w"));
            let further = e["further_runs"].as_array().unwrap();
            assert_eq!(further.iter().filter(|f| f["asked_for"] == true).count(), 1);
        }
        assert!(!outcome.stdout.contains("\"assumed\""));
    }
    run("predict --mode cruise --fan 3 --intake 35degC --explain")
        .answers()
        .tells("Why cruise, fan 3 at 35.0 °C intake")
        .tells("What makes the interval wide")
        .tells("Which runs matter most")
        .tells("What one further run would buy");
    run("predict --intake 35degC")
        .answers()
        .keeps_silent_on("What makes the interval wide");
}

#[test]
fn an_assumption_is_labelled_wherever_it_is_used() {
    let line = "predict --intake 28degC --ambient 45degC";
    let assume = format!("{line} --assume-ambient-slope published");
    for outcome in both(&format!("{assume} --json")) {
        let json = keeps(&outcome, &format!("{PREDICT}{ASSUMED}"));
        for p in json["predictions"].as_array().unwrap() {
            assert_eq!(p["support"], "outside");
            let notes = p["notes"].to_string();
            assert!(notes.contains("Assumed, not measured"), "{notes}");
        }
        assert!(json["notes"].to_string().contains("NREL/TP-5500-56354"));
    }
    for line in [assume.clone(), format!("{assume} --quiet")] {
        run(&line).answers().tells("Assumed, not measured");
    }
    for outcome in both(line) {
        let silent = outcome.keeps_silent_on("Assumed");
        silent.keeps_silent_on("assumed");
    }
    let own = BenchDir::invented();
    let page = |line: &str| {
        own.run(line).answers();
        std::fs::read_to_string(own.path().join("out/writeup.md")).unwrap()
    };
    let hot = "report --out out --force --ambient 45degC";
    assert!(!page(hot).contains("ssumed, not measured"));
    let assumed = page(&format!("{hot} --assume-ambient-slope published"));
    assert!(assumed.contains("(assumed, not measured)"));
    assert!(assumed.contains("Assumed, not measured: the draw"));
}

#[test]
fn settings_at_common_conditions_come_with_their_runs() {
    for outcome in both("predict --adjusted --json") {
        let json = keeps(&outcome, ADJUSTED);
        let settings = json["adjusted"]["settings"].as_array().unwrap();
        let differences = json["adjusted"]["differences"].as_array().unwrap();
        assert_eq!(differences.len(), settings.len() - 1);
        for s in settings {
            for [low, value, high] in [
                ["mean_low_w", "draw_w", "mean_high_w"],
                ["capacity_mean_low_w", "capacity_w", "capacity_mean_high_w"],
                ["eer_low", "eer", "eer_high"],
            ] {
                assert!(number(s, low) < number(s, value));
                assert!(number(s, value) < number(s, high));
            }
            // Runs moved to the same conditions scatter about the setting's draw.
            let runs = s["runs"].as_array().unwrap();
            for r in runs {
                let off = number(r, "adjusted_w") / number(s, "draw_w") - 1.0;
                assert!(off.abs() < 0.06, "{r}");
            }
        }
        let notes = json["notes"].to_string();
        assert!(notes.contains("the runs' own mean"), "{notes}");
        assert!(notes.contains("cancels in a difference"), "{notes}");
    }
    run("predict --adjusted --mode cruise --intake 30degC --ambient 27degC")
        .answers()
        .tells("Every tested setting at 30.0 °C intake and 27.0 °C ambient")
        .keeps_silent_on("hush");
}

#[test]
fn left_out_runs_say_how_far_off_predictions_are() {
    for outcome in both("fit --leave-out --json") {
        let json = keeps(&outcome, LEFT_OUT);
        let list = json["left_out"].as_array().unwrap();
        let ways: Vec<&str> = list
            .iter()
            .filter(|m| m["of"] == "draw")
            .map(|m| m["left_out"].as_str().unwrap())
            .collect();
        assert_eq!(ways, ["run", "condition", "block"]);
        for m in list {
            assert!((0.001..0.2).contains(&number(m, "rms")), "{m}");
            assert!(number(m, "bias").abs() <= number(m, "rms"));
            assert!(number(m, "largest").abs() >= number(m, "rms"));
        }
    }
    run("fit --leave-out").answers().tells("each condition");
}

#[test]
fn a_plan_gives_its_runs_what_they_reach_and_the_next_one() {
    for outcome in both("plan --simulations 20 --decide 60% --json") {
        let json = keeps(&outcome, PLAN);
        let runs = json["runs"].as_array().unwrap();
        let orders: Vec<f64> = runs.iter().map(|r| number(r, "order")).collect();
        assert!(orders.iter().all(|o| *o >= 1.0));
        for r in runs {
            let kind = r["kind"].as_str().unwrap();
            assert_eq!(r["mode"].is_string(), kind == "cooling", "{r}");
            assert_eq!(r["fan"].is_null(), kind == "standby", "{r}");
        }
        for c in json["reach"]["cases"].as_array().unwrap() {
            let shares = ["coupled", "independent", "undecided"].map(|k| number(c, k));
            assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-9, "{c}");
        }
    }
    for outcome in both("plan --next elasticity --json") {
        let json = keeps(&outcome, NEXT);
        let now = number(&json["next"], "u_now");
        let runs = json["next"]["runs"].as_array().unwrap();
        let after: Vec<f64> = runs.iter().map(|r| number(r, "u_after")).collect();
        assert!(after.is_sorted() && after[0] < now, "{after:?} {now}");
    }
}
