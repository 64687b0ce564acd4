//! How fast `reduce` reads a large log, beside bare readings of the same file by two general-purpose readers, and its peak memory.
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
    /// Rounds in which each reader reads the file once
    #[arg(long, default_value_t = 5)]
    repeats: usize,
    /// Reduce this bench once and say how long it took and how much memory
    #[arg(long, hide = true)]
    reduce_only: Option<std::path::PathBuf>,
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

/// Seconds that something takes.
fn timed<T>(f: impl FnOnce() -> T) -> (f64, T) {
    let start = Instant::now();
    let value = f();
    (start.elapsed().as_secs_f64(), value)
}

/// The middle one.
fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Peak memory of this process so far, MB, where the system tells.
fn peak_mb() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|l| l.starts_with("VmHWM"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}

/// The csv crate: cells told apart, nothing parsed.
fn by_csv(path: &Path) -> usize {
    let mut reader = csv::ReaderBuilder::new().from_path(path).expect("the file");
    let mut record = csv::ByteRecord::new();
    let mut rows = 0_usize;
    while reader.read_byte_record(&mut record).expect("a record") {
        rows += 1;
    }
    rows
}

/// pandas, where Python has it: numbers parsed, times left as text. Its own seconds, without the start of Python.
fn by_pandas(path: &Path) -> Option<f64> {
    let script = "import sys, time, pandas\nt = time.perf_counter()\npandas.read_csv(sys.argv[1])\nprint(time.perf_counter() - t)";
    let out = std::process::Command::new("python3")
        .args(["-c", script])
        .arg(path)
        .output()
        .ok()?;
    String::from_utf8(out.stdout).ok()?.trim().parse().ok()
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args = Args::parse();
    if let Some(folder) = &args.reduce_only {
        // A process of its own, whose peak memory is that of `reduce` alone.
        let (s, result) = timed(|| LogBench::open(folder).and_then(|b| reduce(&b)));
        let reduction = result?;
        let steady = reduction
            .runs
            .iter()
            .filter(|r| r.judged.status.name() == "steady");
        println!(
            "{s} {} {} {}",
            peak_mb().unwrap_or(f64::NAN),
            reduction.runs.len(),
            steady.count()
        );
        return Ok(());
    }
    let folder = tempfile::tempdir()?;
    make(folder.path(), args.megabytes << 20)?;
    let path = folder.path().join("meter.csv");
    let size = std::fs::metadata(&path)?.len() as f64 / (1 << 20) as f64;
    println!(
        "log of {size:.0} MB; {} cores; {} rounds, medians",
        std::thread::available_parallelism()?,
        args.repeats
    );
    let (mut ours, mut csvs, mut pandas, mut peak) = (Vec::new(), Vec::new(), Vec::new(), 0.0_f64);
    let mut counts = String::new();
    // All readers in every round, so that a busy moment slows all of them.
    for _ in 0..args.repeats.max(1) {
        let out = std::process::Command::new(std::env::current_exe()?)
            .arg("--reduce-only")
            .arg(folder.path())
            .output()?;
        let text = String::from_utf8(out.stdout)?;
        let figures: Vec<f64> = text
            .split_whitespace()
            .filter_map(|w| w.parse().ok())
            .collect();
        let [s, mb, runs, steady] = figures.as_slice() else {
            return Err(format!("reduce failed: {}", String::from_utf8_lossy(&out.stderr)).into());
        };
        ours.push(*s);
        peak = peak.max(*mb);
        counts = format!("{runs} runs, {steady} of them steady");
        csvs.push(timed(|| by_csv(&path)).0);
        pandas.extend(by_pandas(&path));
    }
    let ratio = |others: &[f64]| median(others.iter().zip(&ours).map(|(o, s)| o / s).collect());
    println!(
        "reduce: {:.2} s, {:.0} MB/s; {counts}; peak memory {peak:.0} MB",
        median(ours.clone()),
        size / median(ours.clone())
    );
    println!(
        "csv crate, cells told apart, nothing parsed: {:.2} s, {:.0} MB/s; reduce has {:.2} of its speed",
        median(csvs.clone()),
        size / median(csvs.clone()),
        ratio(&csvs)
    );
    if pandas.is_empty() {
        println!("pandas: not there");
    } else {
        println!(
            "pandas.read_csv, numbers parsed, times left as text: {:.2} s, {:.0} MB/s; reduce has {:.2} of its speed",
            median(pandas.clone()),
            size / median(pandas.clone()),
            ratio(&pandas)
        );
    }
    Ok(())
}
