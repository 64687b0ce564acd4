//! How fast `reduce` reads a large log, beside a bare reading of the same file by the csv crate.
//!
//! `cargo run --release --example reduce_speed -- --megabytes 300`. Makes the log in a temporary folder and leaves nothing behind.

use std::fmt::Write as _;
use std::fs::File;
use std::io::Write as _;
use std::path::Path;
use std::time::Instant;

use clap::Parser;
use steadydraw::bench::logs::LogBench;
use steadydraw::made::dice::Dice;
use steadydraw::steady::reduce;

#[derive(Parser)]
struct Args {
    /// Size of the log
    #[arg(long, default_value_t = 300)]
    megabytes: usize,
    /// Times that each reading is repeated; the fastest counts
    #[arg(long, default_value_t = 3)]
    repeats: usize,
    /// What to measure: `both`, or one alone for its peak memory
    #[arg(long, default_value = "both")]
    only: String,
}

const TOML: &str = r#"title = "a large log"
[runs]
file = "runs.csv"
[[log]]
file = "meter.csv"
[log.time]
column = "Time"
format = "%Y-%m-%d %H:%M:%S"
zone = "UTC"
[log.channels]
voltage = { column = "U", unit = "V" }
current = { column = "I", unit = "A", sign = -1 }
intake_temp = { column = "in [degC]" }
outlet_temp = { column = "out [degC]" }
"#;

/// Writes readings once a second, in runs of two hours, until the file is large enough.
fn make(folder: &Path, bytes: usize) -> std::io::Result<()> {
    std::fs::write(folder.join("bench.toml"), TOML)?;
    let mut runs = String::from("run,kind,fan,start,end\n");
    let mut file = std::io::BufWriter::new(File::create(folder.join("meter.csv"))?);
    file.write_all(b"Time,U,I,in [degC],out [degC]\n")?;
    let mut dice = Dice::new(1, 0);
    let mut written = 0;
    let mut line = String::new();
    // Minutes since 2026-01-01 00:00, days of 24 h in months of 28 days: dates that all exist.
    let mut minute = 0_u64;
    let mut run = 0;
    while written < bytes {
        let stamp = |m: u64| {
            let day = m / 1440;
            format!(
                "{}-{:02}-{:02}T{:02}:{:02}:00Z",
                2026 + day / 336,
                day / 28 % 12 + 1,
                day % 28 + 1,
                m / 60 % 24,
                m % 60
            )
        };
        run += 1;
        let _ = writeln!(
            runs,
            "r{run},cooling,1,{},{}",
            stamp(minute),
            stamp(minute + 120)
        );
        for m in minute..minute + 120 {
            let at = stamp(m);
            let (date, clock) = (&at[..10], &at[11..16]);
            for s in 0..60 {
                line.clear();
                let watts = 200.0 + dice.normal();
                let _ = writeln!(
                    line,
                    "{date} {clock}:{s:02},25.{:02},-{:.3},{:.2},{:.2}",
                    dice.whole(55, 65),
                    watts / 25.6,
                    31.0 + 0.1 * dice.unit(),
                    22.0 + 0.1 * dice.unit()
                );
                file.write_all(line.as_bytes())?;
                written += line.len();
            }
        }
        minute += 120;
    }
    std::fs::write(folder.join("runs.csv"), runs)?;
    file.flush()
}

/// Fastest of several, s.
fn fastest<T>(repeats: usize, mut f: impl FnMut() -> T) -> (f64, T) {
    let mut best = None;
    for _ in 0..repeats.max(1) {
        let start = Instant::now();
        let value = f();
        let s = start.elapsed().as_secs_f64();
        if best.as_ref().is_none_or(|(b, _)| s < *b) {
            best = Some((s, value));
        }
    }
    best.expect("at least one")
}

/// Peak memory of this process so far, MB, where the system tells.
fn peak_mb() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|l| l.starts_with("VmHWM"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args = Args::parse();
    let folder = tempfile::tempdir()?;
    make(folder.path(), args.megabytes << 20)?;
    let path = folder.path().join("meter.csv");
    let size = std::fs::metadata(&path)?.len() as f64 / (1 << 20) as f64;
    println!(
        "log of {size:.0} MB; {} cores",
        std::thread::available_parallelism()?
    );
    if args.only != "csv" {
        let (s, result) = fastest(args.repeats, || {
            LogBench::open(folder.path()).and_then(|b| reduce(&b))
        });
        let reduction = result?;
        println!(
            "reduce: {s:.2} s, {:.0} MB/s, {} rows, {} runs of which steady {}; peak memory {:.0} MB",
            size / s,
            reduction.logs.iter().map(|l| l.rows).sum::<usize>(),
            reduction.runs.len(),
            reduction
                .runs
                .iter()
                .filter(|r| r.judged.status.name() == "steady")
                .count(),
            peak_mb().unwrap_or(f64::NAN)
        );
    }
    if args.only != "reduce" {
        let (s, rows) = fastest(args.repeats, || {
            let mut reader = csv::ReaderBuilder::new()
                .from_path(&path)
                .expect("the file");
            let mut record = csv::ByteRecord::new();
            let mut rows = 0_usize;
            while reader.read_byte_record(&mut record).expect("a record") {
                rows += 1;
            }
            rows
        });
        println!(
            "csv, nothing parsed: {s:.2} s, {:.0} MB/s, {rows} rows",
            size / s
        );
    }
    Ok(())
}
