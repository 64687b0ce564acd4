//! The same input gives the same bytes: run after run, on any number of threads, from any folder.

use crate::support::{BenchDir, Outcome, run_in};

const LINES: [&str; 5] = [
    "check",
    "fit",
    "coupling",
    "predict --intake 28degC --intake 38degC",
    "coupling --seed 7",
];

fn json(bench: &BenchDir, line: &str, threads: &str) -> Outcome {
    let mut args: Vec<String> = line.split(' ').map(str::to_owned).collect();
    args.insert(1, ".".to_owned());
    args.push("--json".to_owned());
    run_in(bench.path(), &args, &[("RAYON_NUM_THREADS", threads)]).answers()
}

#[test]
fn the_same_bytes_run_after_run_and_on_any_number_of_threads() {
    let bench = BenchDir::invented();
    for line in LINES {
        let first = json(&bench, line, "1").stdout;
        for threads in ["1", "2", "2", "3"] {
            assert_eq!(
                json(&bench, line, threads).stdout,
                first,
                "{line}, {threads} threads"
            );
        }
    }
}

#[test]
fn the_demo_gives_the_same_bytes_too() {
    let folder = tempfile::tempdir().unwrap();
    for line in LINES {
        let args: Vec<String> = format!("{line} --json")
            .split(' ')
            .map(str::to_owned)
            .collect();
        let [a, b] =
            ["1", "2"].map(|n| run_in(folder.path(), &args, &[("RAYON_NUM_THREADS", n)]).answers());
        assert_eq!(a.stdout, b.stdout, "{line}");
    }
}

#[test]
fn reading_leaves_no_trace() {
    let bench = BenchDir::invented();
    for line in LINES {
        bench.run(line).answers();
    }
    let mut names: Vec<String> = std::fs::read_dir(bench.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["bench.toml", "points.csv"]);
}
