//! A short run of the fuzz targets (`fuzz/`): their seeds, what broke once, and mutations of both.

#[path = "../fuzz/targets.rs"]
mod targets;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::time::{Duration, Instant};

use steadydraw::stats::random::{Stream, below, stream};

/// Mutations of one target.
const MUTATIONS: u64 = 2000;
/// No more time than this goes into one target, so that a slow machine is not held up.
const AT_MOST: Duration = Duration::from_secs(5);
/// One input may take this long.
const EACH_AT_MOST: Duration = Duration::from_secs(10);

fn inputs(kind: &str, target: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fuzz")
        .join(kind)
        .join(target);
    let Ok(entries) = std::fs::read_dir(&folder) else {
        return Vec::new();
    };
    let mut all: Vec<_> = entries
        .map(|e| {
            let path = e.unwrap().path();
            (path.display().to_string(), std::fs::read(&path).unwrap())
        })
        .collect();
    all.sort();
    all
}

/// Bytes that mean something to some parser.
const TOKENS: [&[u8]; 28] = [
    b"\n",
    b",",
    b";",
    b"\t",
    b"\"",
    b"#",
    b"[",
    b"]",
    b"=",
    b"-",
    b"1e309",
    b"nan",
    b"inf",
    b"0",
    b"99999999999999999999",
    b"\0",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"<",
    b"</",
    b"/>",
    b"&#0;",
    b"(",
    b")",
    b"^",
    b"%",
    "\u{202e}".as_bytes(),
    b"[degC]",
];

fn mutated(rng: &mut Stream, seeds: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut bytes = seeds[below(rng, seeds.len())].1.clone();
    for _ in 0..=below(rng, 6) {
        let at = below(rng, bytes.len() + 1);
        let to = (at + 1 + below(rng, 12)).min(bytes.len());
        match below(rng, 6) {
            0 if at < bytes.len() => bytes[at] ^= 1 << below(rng, 8),
            1 => {
                bytes.drain(at.min(to)..to);
            }
            2 => {
                let piece = bytes[at.min(to)..to].to_vec();
                bytes.splice(at..at, piece);
            }
            3 => {
                let other = &seeds[below(rng, seeds.len())].1;
                let from = below(rng, other.len() + 1);
                bytes.truncate(at);
                bytes.extend_from_slice(&other[from..]);
            }
            4 => bytes.truncate(at),
            _ => {
                bytes.splice(at..at, TOKENS[below(rng, TOKENS.len())].iter().copied());
            }
        }
    }
    bytes
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
            tried(name, target, "a mutation", &mutated(&mut rng, &seeds));
            done += 1;
        }
        assert!(done >= 100, "{name}: {done} mutations in {AT_MOST:?}");
    }
}
