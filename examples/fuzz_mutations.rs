//! Throws mutations at the fuzz targets, without the instruments of a fuzzer, and so many times faster; from the inputs that one has
//! collected (`fuzz/corpus`), where there are any, and the seeds. See `fuzz/README.md`.
//!
//! ```sh
//! cargo run --release --config profile.release.debug-assertions=true --config profile.release.overflow-checks=true \
//!     --example fuzz_mutations -- units 10000000 [SEED]
//! ```

#[path = "../fuzz/mutate.rs"]
mod mutate;
#[path = "../fuzz/targets.rs"]
mod targets;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use steadydraw::stats::random::stream;

/// An input that takes longer counts as a hang.
const HANG: Duration = Duration::from_secs(10);
/// So many different failures end the run.
const MOST_FAILURES: usize = 20;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let (Some(name), Some(Ok(times))) = (args.first(), args.get(1).map(|n| n.parse::<u64>()))
    else {
        eprintln!("expected: fuzz_mutations TARGET EXECUTIONS [SEED]");
        return ExitCode::from(2);
    };
    let seed = args.get(2).and_then(|s| s.parse().ok()).unwrap_or(1);
    let Some((_, target)) = targets::ALL.into_iter().find(|(n, _)| n == name) else {
        eprintln!("no target {name}");
        return ExitCode::from(2);
    };
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz");
    let mut seeds = mutate::inputs(&folder.join("seeds").join(name));
    seeds.extend(mutate::inputs(&folder.join("found").join(name)));
    seeds.extend(mutate::inputs(&folder.join("corpus").join(name)));
    std::panic::set_hook(Box::new(|_| {}));
    let kept = folder.join("artifacts").join(name);
    let (start, mut slowest, mut failures) = (Instant::now(), Duration::ZERO, 0);
    for n in 0..times {
        let bytes = mutate::mutated(&mut stream(seed, n), &seeds);
        let one = Instant::now();
        let panicked = catch_unwind(AssertUnwindSafe(|| target(&bytes))).is_err();
        let took = one.elapsed();
        slowest = slowest.max(took);
        if panicked || took > HANG {
            failures += 1;
            let path = kept.join(format!("seed-{seed}-number-{n}"));
            let written =
                std::fs::create_dir_all(&kept).and_then(|()| std::fs::write(&path, &bytes));
            eprintln!("{name}: {} ({took:?}), {written:?}", path.display());
            if failures >= MOST_FAILURES {
                break;
            }
        }
    }
    let seconds = start.elapsed().as_secs_f64();
    println!(
        "{name}: {times} executions from {} inputs in {seconds:.0} s ({:.0} a second), slowest {:.1} ms, {failures} failures, peak memory {} MB",
        seeds.len(),
        times as f64 / seconds,
        1000.0 * slowest.as_secs_f64(),
        peak_mb().map_or_else(|| "?".to_owned(), |mb| mb.to_string())
    );
    ExitCode::from(u8::from(failures > 0))
}

/// The most memory this process has held, where the system tells.
fn peak_mb() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace()
        .nth(1)?
        .parse::<u64>()
        .ok()
        .map(|kb| kb / 1024)
}
