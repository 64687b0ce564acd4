//! A short run of the fuzz targets (`fuzz/`): their seeds, what broke once, and mutations of both.

#[path = "../fuzz/mutate.rs"]
mod mutate;
#[path = "../fuzz/targets.rs"]
mod targets;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::time::{Duration, Instant};

use steadydraw::stats::random::stream;

/// Mutations of one target.
const MUTATIONS: u64 = 2000;
/// No more time than this goes into one target, so that a slow machine is not held up.
const AT_MOST: Duration = Duration::from_secs(5);
/// One input may take this long.
const EACH_AT_MOST: Duration = Duration::from_secs(10);

fn inputs(kind: &str, target: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz");
    mutate::inputs(&folder.join(kind).join(target))
}

fn tried(name: &str, target: fn(&[u8]), what: &str, bytes: &[u8]) {
    let start = Instant::now();
    let done = catch_unwind(AssertUnwindSafe(|| target(bytes)));
    assert!(
        done.is_ok(),
        "{name} on {what}: keep these bytes under fuzz/found/{name}/:\n{:?}",
        String::from_utf8_lossy(bytes)
    );
    assert!(
        start.elapsed() < EACH_AT_MOST,
        "{name} on {what} took {:?}",
        start.elapsed()
    );
}

#[test]
fn every_target_withstands_its_seeds_what_broke_once_and_mutations() {
    for (n, (name, target)) in targets::ALL.into_iter().enumerate() {
        let mut seeds = inputs("seeds", name);
        assert!(!seeds.is_empty(), "no seeds for {name}");
        seeds.extend(inputs("found", name));
        for (what, bytes) in &seeds {
            tried(name, target, what, bytes);
        }
        let (start, mut done) = (Instant::now(), 0);
        while done < MUTATIONS && start.elapsed() < AT_MOST {
            let mut rng = stream(n as u64, done);
            tried(
                name,
                target,
                "a mutation",
                &mutate::mutated(&mut rng, &seeds),
            );
            done += 1;
        }
        assert!(done >= 100, "{name}: {done} mutations in {AT_MOST:?}");
    }
}
