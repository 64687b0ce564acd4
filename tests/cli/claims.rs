//! `claims`: what it prints, what it refuses.

use crate::support::{BenchDir, POINTS, TOML, run};

fn with(claims: &str) -> BenchDir {
    let toml = TOML.replacen(
        "\n[site]",
        &format!("\n[unit.claims]\n{claims}\n\n[site]"),
        1,
    );
    assert_ne!(toml, TOML);
    BenchDir::new().toml(toml).points(POINTS)
}

#[test]
fn the_demo_answers_with_every_promised_key() {
    let out = run("claims --json");
    assert_eq!(out.code, 0, "{}", out.stderr);
    let json = out.json();
    let claims = json["claims"].as_array().unwrap();
    assert_eq!(claims.len(), 7);
    for c in claims {
        for key in ["name", "unit", "finding", "reason"] {
            assert!(c[key].is_string(), "{key}: {c}");
        }
        assert!(
            c["stated"].is_number() && c["conditions"].is_object(),
            "{c}"
        );
        assert!(["holds", "fails", "cannot tell"].contains(&c["finding"].as_str().unwrap()));
        let numbers = ["measured", "low", "high"].map(|k| c[k].as_f64());
        if let [Some(m), Some(low), Some(high)] = numbers {
            assert!(low <= m && m <= high, "{c}");
        } else {
            assert_eq!(numbers, [None; 3], "{c}");
        }
    }
}

#[test]
fn bad_claims_are_placed_and_no_claims_are_no_answer() {
    for (claims, found) in [
        ("cooling = { intake = \"27 degC\" }", "without a value"),
        ("cooling = { value = \"900 W\", rating = \"T9\" }", "T9"),
        (
            "cooling = { value = \"900 W\", rating = \"T1\", intake = \"30 degC\" }",
            "rating",
        ),
        (
            "cooling = { value = \"900 W\", tolerance = \"200 %\" }",
            "tolerance",
        ),
        (
            "cooling = { value = \"900 W\", intake = \"900 degC\" }",
            "intake",
        ),
        (
            "cooling = { value = \"900 W\", intake = \"20 degC\", intake_wet_bulb = \"25 degC\" }",
            "wet bulb",
        ),
        ("cooling = 900", "cooling"),
        ("cooling = { value = 900 }", "value"),
        ("airflow = { value = \"300 m3/h\", fan = true }", "fan"),
    ] {
        let out = with(claims).run("claims");
        assert_eq!(out.code, 3, "{claims}: {}", out.stderr);
        assert!(
            out.stderr.contains(found) && out.stderr.contains("bench.toml"),
            "{claims}: {}",
            out.stderr
        );
    }
    let out = with("").run("claims");
    assert_eq!(out.code, 4, "{}", out.stderr);
    assert!(out.stderr.contains("[unit.claims]"));
}

#[test]
fn a_claim_at_the_edge_of_the_tests_is_judged_there() {
    // Cooling runs begin at 23.5 degC intake: a claim for 23.7 or for 23.2 is among them within half a kelvin, one for 22 is not.
    let from = |intake: &str| {
        let claim = format!(
            "draw_high = {{ value = \"900 W\", intake = \"{intake}\", ambient = \"23 degC\", mode = \"steady\", fan = 3 }}"
        );
        let json = with(&claim).run("claims --json").answers().json();
        json["claims"][0]["conditions"]["from"].clone()
    };
    assert_eq!(from("23.7 degC"), "claim");
    assert_eq!(from("23.2 degC"), "claim");
    assert_eq!(from("22 degC"), "nearest-tested");
}
