//! Promises of `reduce`: every kind of run is named, and the means are right, on benches whose answer is known.

use std::path::{Path, PathBuf};

use serde_json::Value;
use steadydraw::bench::Channel;
use steadydraw::bench::logs::LogBench;
use steadydraw::steady::{Reduction, Status, reduce};

/// Practice benches, beside the project's folder or where STEADYDRAW_SHARED points; absent for most users.
fn practice() -> Vec<PathBuf> {
    let shared = std::env::var("STEADYDRAW_SHARED").unwrap_or_else(|_| "../shared".to_owned());
    let root = Path::new(&shared).join("practice/logs");
    let Ok(entries) = std::fs::read_dir(&root) else {
        eprintln!("SKIPPED: no practice benches at {}", root.display());
        return Vec::new();
    };
    let mut folders: Vec<PathBuf> = entries.map(|e| e.unwrap().path()).collect();
    folders.sort();
    folders
}

fn reduced(folder: &Path) -> Reduction {
    let bench = LogBench::open(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    reduce(&bench).unwrap_or_else(|e| panic!("{}: {e}", folder.display()))
}

#[test]
fn practice_runs_are_named_and_their_means_hold() {
    for folder in practice() {
        let truth: Value =
            serde_json::from_str(&std::fs::read_to_string(folder.join("truth.json")).unwrap())
                .unwrap();
        let found = reduced(&folder);
        for (run, truth) in found.runs.iter().zip(truth["runs"].as_array().unwrap()) {
            let name = format!("{} {}", folder.display(), run.row.run);
            let want = match truth["status"].as_str().unwrap() {
                "two-plateaus" => "several",
                // A gap in the middle of a steady run leaves it steady.
                "gap" => "steady",
                other => other,
            };
            let j = &run.judged;
            println!("{name}: {} {} {:?}", j.status.name(), j.reason, j.notes);
            assert_eq!(j.status.name(), want, "{name}: {}", j.reason);
            let Some(plateau) = &j.plateau else { continue };
            let mean = |c: Channel| plateau.values[&c].value;
            let draw = truth["cycle_mean_w"]
                .as_f64()
                .or(truth["power_w"].as_f64())
                .unwrap();
            let off = mean(Channel::Power) / draw - 1.0;
            println!(
                "    draw {:+.3} % u {:?} start-up {:.0} s",
                100.0 * off,
                plateau.values[&Channel::Power].u,
                plateau.span.start - run.window.start
            );
            assert!(off.abs() < 0.01, "{name}: draw off by {off}");
            if j.status == Status::Steady {
                for (c, key) in [
                    (Channel::IntakeTemp, "intake_c"),
                    (Channel::OutletTemp, "outlet_c"),
                    (Channel::AmbientTemp, "ambient_c"),
                ] {
                    let off = mean(c) - truth[key].as_f64().unwrap();
                    println!("    {key} {off:+.3} u {:?}", plateau.values[&c].u);
                    assert!(off.abs() < 0.2, "{name}: {key} off by {off}");
                }
            }
        }
    }
}
