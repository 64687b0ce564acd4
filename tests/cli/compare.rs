//! `compare`: what it prints, writes and refuses.

use crate::support::{BenchDir, POINTS, TOML, run, run_in};

/// Two benches in one folder; the second's ambient readings `warmer` by some kelvin.
fn two() -> BenchDir {
    let dir = BenchDir::new();
    for name in ["north", "south"] {
        std::fs::create_dir(dir.path().join(name)).unwrap();
        std::fs::write(dir.path().join(name).join("bench.toml"), TOML).unwrap();
        std::fs::write(dir.path().join(name).join("points.csv"), POINTS).unwrap();
    }
    dir
}

fn on(dir: &BenchDir, line: &str) -> crate::support::Outcome {
    let args: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
    run_in(dir.path(), &args, &[])
}

#[test]
fn two_benches_are_compared_with_every_promised_key() {
    let dir = two();
    let json = on(&dir, "compare north south --json").answers().json();
    assert_eq!(json["units"].as_array().unwrap().len(), 2);
    // Two units of one name are told apart by their folders.
    assert_eq!(json["units"][1]["name"], "shed cooler, invented (south)");
    for u in json["units"].as_array().unwrap() {
        for s in u["settings"].as_array().unwrap() {
            let d = &s["draw_w"];
            assert!(
                d["low"].as_f64() < d["value"].as_f64() && d["value"].as_f64() < d["high"].as_f64()
            );
            assert!(
                s["fan"].is_string() && s["hours_per_100_ah"]["value"].is_number(),
                "{s}"
            );
        }
    }
    let pairs = json["pairs"].as_array().unwrap();
    assert!(!pairs.is_empty());
    for p in pairs {
        // The same bench twice.
        assert!(
            (p["ratio"]["value"].as_f64().unwrap() - 1.0).abs() < 1e-9,
            "{p}"
        );
        assert!(
            ["same", "open"].contains(&p["finding"].as_str().unwrap()),
            "{p}"
        );
        assert!(p["p_same"].is_number() && p["first"]["unit"].is_string());
    }
    on(&dir, "compare north south")
        .answers()
        .tells("Taken for the same meter");
    on(&dir, "compare north south --meters-apart")
        .answers()
        .tells("No meter was taken to be shared");
}

#[test]
fn the_figure_is_written_once() {
    let dir = two();
    on(&dir, "compare north south --out figures").answers();
    for name in ["compare.svg", "compare.png"] {
        assert!(dir.path().join("figures").join(name).is_file(), "{name}");
    }
    on(&dir, "compare north south --out figures").exits(3);
    on(&dir, "compare north south --out figures --force").answers();
}

#[test]
fn what_cannot_be_compared_is_refused() {
    let dir = two();
    on(&dir, "compare north").exits(2).complains("two benches");
    run("compare").exits(2);
    on(&dir, "compare north nowhere").exits(3);
    on(&dir, "compare north south --intake 60degC")
        .exits(4)
        .complains("was tested at intake");
    on(&dir, "compare north south --margin 0").exits(2);
}
