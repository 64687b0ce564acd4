//! The practice benches, whose truth is known: no wrong verdict, and a finite interval for every target.
//!
//! They stand beside the project, not in it; where they are missing the test says so and passes. The long run with coverage and
//! scores is `cargo run --release --example calibrate`.

use std::path::Path;

use steadydraw::bench::Bench;
use steadydraw::coupling::{Options, assess};
use steadydraw::fit::candidates::fit_draw;
use steadydraw::fit::forms::{At, DrawData};
use steadydraw::made::score::{Judgement, judge};
use steadydraw::made::truth::Truth;
use steadydraw::predict::predict;

#[test]
fn no_verdict_is_wrong_and_every_target_has_a_finite_interval() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/practice/points");
    let Ok(entries) = std::fs::read_dir(&folder) else {
        eprintln!("SKIPPED: no practice benches at {}", folder.display());
        return;
    };
    let mut seen = 0;
    for entry in entries {
        let path = entry.unwrap().path();
        let truth =
            Truth::from_json(&std::fs::read_to_string(path.join("truth.json")).unwrap()).unwrap();
        let bench = Bench::open(&path).unwrap();
        let fit = fit_draw(DrawData::from_bench(&bench)).unwrap();
        let answer = assess(&bench, &fit.data, &Options::default());
        let name = path.display();
        let judgement = judge(&truth.verdict, answer.verdict.name());
        assert_ne!(judgement, Judgement::Wrong, "{name}");
        if truth.verdict == "undecided" {
            assert_eq!(answer.verdict.name(), "undecided", "{name}");
            assert!(!answer.would_settle.is_empty(), "{name}");
        }
        for target in &truth.targets {
            let mode = fit
                .data
                .modes
                .iter()
                .position(|m| *m == target.mode)
                .unwrap();
            let fan = target.fan.to_string();
            let level = fit.data.levels.iter().position(|l| l.label == fan).unwrap();
            let at = At::new(mode, level, target.intake_c, target.ambient_c);
            let p = predict(&bench, &fit, at, 0.95).unwrap();
            for (low, high) in [p.run_w, p.mean_w] {
                assert!(
                    low.is_finite() && high.is_finite() && low < p.draw_w && p.draw_w < high,
                    "{name}"
                );
            }
            assert!(p.mean_w.0 >= p.run_w.0 && p.mean_w.1 <= p.run_w.1, "{name}");
        }
        seen += 1;
    }
    assert!(seen >= 36, "only {seen} practice benches");
}
