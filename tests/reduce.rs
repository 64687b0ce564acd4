//! Promises of `reduce`: every kind of run is named, and the means are right, on benches whose answer is known.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;
use steadydraw::bench::Channel;
use steadydraw::bench::logs::LogBench;
use steadydraw::made::logs::make;
use steadydraw::made::logs::varied::{self, Sort};
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

/// The bench in `tests/benches/night`: the end of summer time, Latin-1, degF, a clock that is behind.
fn night() -> PathBuf {
    PathBuf::from("tests/benches/night")
}

#[test]
fn the_stored_night_is_what_the_generator_makes() {
    for (name, bytes) in make(55).files {
        let stored = std::fs::read(night().join(&name)).unwrap();
        assert!(
            stored == bytes,
            "tests/benches/night/{name} is out of date: cargo run --example reduce_made -- --benches 1 --seed 55 --keep DIR"
        );
    }
}

#[test]
fn a_night_with_the_end_of_summer_time_is_reduced() {
    let found = reduced(&night());
    let truth = make(55).runs;
    for (run, truth) in found.runs.iter().zip(&truth) {
        assert_eq!(
            run.judged.status.name(),
            truth.kind.status(),
            "{}",
            truth.run
        );
        if run.judged.status == Status::Steady {
            let plateau = run.judged.plateau.as_ref().unwrap();
            let draw = plateau.values[&Channel::Power].value;
            assert!((draw / truth.power_w - 1.0).abs() < 0.01, "{}", truth.run);
        }
    }
    let doubled = found
        .findings
        .iter()
        .find(|f| f.code == "hour-shown-twice")
        .unwrap();
    // Two hours of wall clock, a reading every 30 s.
    assert!(
        doubled.message.starts_with("240 readings"),
        "{}",
        doubled.message
    );
}

#[test]
fn made_runs_of_every_kind_are_named_and_their_means_hold() {
    let mut counts: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    let (mut squares, mut figures) = (0.0, 0.0);
    for seed in 400..450 {
        let made = make(seed);
        let folder = tempfile::tempdir().unwrap();
        made.write_to(folder.path()).unwrap();
        let found = reduced(folder.path());
        for (run, truth) in found.runs.iter().zip(&made.runs) {
            let name = format!("seed {seed} {} {:?}", truth.run, truth.kind);
            let status = run.judged.status.name();
            *counts.entry((truth.kind.status(), status)).or_default() += 1;
            if truth.kind.status() != "steady" || status != "steady" {
                continue;
            }
            let values = &run.judged.plateau.as_ref().unwrap().values;
            let draw = values[&Channel::Power];
            let off = draw.value / truth.power_w - 1.0;
            assert!(off.abs() < 0.01, "{name}: draw off by {off}");
            squares += ((draw.value - truth.power_w) / draw.u.unwrap()).powi(2);
            figures += 1.0;
            for (c, t) in [
                (Channel::IntakeTemp, truth.intake_c),
                (Channel::OutletTemp, truth.outlet_c),
                (Channel::AmbientTemp, truth.ambient_c),
            ] {
                let off = values[&c].value - t;
                assert!(off.abs() < 0.2, "{name}: {} off by {off}", c.name());
            }
        }
    }
    println!(
        "{counts:?}, rms of error over u {:.2}",
        f64::sqrt(squares / figures)
    );
    let of = |truth: &str| -> usize {
        counts
            .iter()
            .filter(|((t, _), _)| *t == truth)
            .map(|(_, n)| n)
            .sum()
    };
    let right = |truth: &'static str| counts.get(&(truth, truth)).copied().unwrap_or(0);
    for truth in ["steady", "cycling", "several"] {
        assert!(of(truth) > 15, "{truth}: {} made", of(truth));
        assert_eq!(right(truth), of(truth), "{truth}: {counts:?}");
    }
    // A draw that wanders or drifts by chance like a start-up, or the other way round, is told apart most times, not always.
    for truth in ["unsteady", "short"] {
        assert!(right(truth) * 20 >= of(truth) * 19, "{truth}: {counts:?}");
    }
    // One would be honest to the letter; wander slower than the stretch is long cannot all be seen in it.
    let rms = f64::sqrt(squares / figures);
    assert!((0.7..1.6).contains(&rms), "rms of error over u {rms}");
}

#[test]
fn a_clock_that_is_behind_is_suggested_and_a_right_one_is_not() {
    // The night's thermometers are 76 s behind; with the shift taken out of bench.toml it is to be found again.
    assert!(reduced(&night()).shifts.is_empty());
    let folder = tempfile::tempdir().unwrap();
    let mut made = make(55);
    for (name, bytes) in &mut made.files {
        if name == "bench.toml" {
            let text = String::from_utf8(bytes.clone()).unwrap();
            *bytes = text.replace("shift = \"76 s\"\n", "").into_bytes();
        }
    }
    made.write_to(folder.path()).unwrap();
    let found = reduced(folder.path());
    let [shift] = found.shifts.as_slice() else {
        panic!("{:?}", found.shifts)
    };
    assert!((shift.add_s - 76.0).abs() <= 15.0, "{shift:?}");
    let finding = found
        .findings
        .iter()
        .find(|f| f.code == "clocks-disagree")
        .unwrap();
    assert!(
        finding.message.contains("shift = \""),
        "{}",
        finding.message
    );
}

#[test]
fn runs_of_many_sorts_are_named_and_their_means_hold() {
    // Each sort a dozen times; the figures of 500 each stand in DEVELOPERS.md.
    let mut counts: BTreeMap<Sort, (usize, usize)> = BTreeMap::new();
    for seed in 700..738 {
        let made = varied::make(seed);
        let folder = tempfile::tempdir().unwrap();
        write(&made.files, folder.path());
        let found = reduced(folder.path());
        for (run, truth) in found.runs.iter().zip(&made.runs) {
            let name = format!("seed {seed} {} {:?}", truth.run, truth.sort);
            let count = counts.entry(truth.sort).or_default();
            count.0 += 1;
            let status = run.judged.status.name();
            if status != truth.sort.status() {
                println!("{name}: {status} ({})", run.judged.reason);
                continue;
            }
            count.1 += 1;
            let (Some(plateau), Some([watts, ..])) = (&run.judged.plateau, truth.settled) else {
                continue;
            };
            let off = plateau.values[&Channel::Power].value - watts;
            let step = 0.5 * made.steps.0 * made.style.supply_v;
            assert!(
                off.abs() < (0.012 * watts).max(step),
                "{name}: off by {off} W"
            );
        }
    }
    for (sort, (made, right)) in &counts {
        assert_eq!(*made, 12, "{sort:?}");
        // What noise may hide: a drift just outside the tolerance, a wander, a step of 3 %.
        let least = match sort {
            Sort::Wander | Sort::DriftOutside | Sort::TwoSettings | Sort::ThreeSettings => 8,
            _ => 11,
        };
        assert!(*right >= least, "{sort:?}: {right} of {made}");
    }
}

fn write(files: &[(String, Vec<u8>)], folder: &Path) {
    for (name, bytes) in files {
        let path = folder.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }
}

#[test]
fn a_shift_is_suggested_with_its_sign_and_none_where_the_clocks_agree() {
    for behind in [90.0, -90.0, 0.0] {
        let (mut near, mut far) = (0, 0);
        for seed in 300..306 {
            let made = varied::make_untold(seed, behind);
            let folder = tempfile::tempdir().unwrap();
            write(&made.files, folder.path());
            for shift in reduced(folder.path()).shifts {
                if behind != 0.0 && (shift.add_s - behind).abs() <= 20.0 {
                    near += 1;
                } else {
                    far += 1;
                }
            }
        }
        assert_eq!(far, 0, "behind {behind}");
        assert!(behind == 0.0 || near >= 2, "behind {behind}: {near} of 6");
    }
}
