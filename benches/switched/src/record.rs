//! Each test alone: how long it takes, and which operators it reaches.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::Failure;

/// A test that passes with every operator itself.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Test {
    /// Its program.
    pub program: PathBuf,
    /// The program's name.
    pub group: String,
    /// The test's name in it.
    pub name: String,
    /// How long it took.
    pub seconds: f64,
    /// Operators reached, by the number of their first replacement.
    pub reaches: BTreeSet<usize>,
}

/// Where the copy keeps its tests.
pub fn tests_file(copy: &Path) -> PathBuf {
    copy.join("switched/tests.json")
}

/// Threads that run tests.
pub fn workers() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// Runs a test; gives whether it passed, and nothing where it took longer than allowed.
pub fn run(
    copy: &Path,
    test: &Test,
    with: (&str, &str),
    at_most: Duration,
) -> std::io::Result<Option<bool>> {
    let mut command = Command::new(&test.program);
    // A group of its own, so that a program that a test has started ends with it.
    #[cfg(unix)]
    std::os::unix::process::CommandExt::process_group(&mut command, 0);
    let mut child = command
        .args([&test.name, "--exact", "--test-threads", "1"])
        .current_dir(copy)
        .env("CARGO_MANIFEST_DIR", copy)
        .env("RUST_BACKTRACE", "0")
        .env(with.0, with.1)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()?;
    let start = Instant::now();
    loop {
        if let Some(status) = child.try_wait()? {
            return Ok(Some(status.success()));
        }
        if start.elapsed() > at_most {
            #[cfg(unix)]
            Command::new("kill")
                .args(["-KILL", "--", &format!("-{}", child.id())])
                .status()?;
            #[cfg(not(unix))]
            child.kill()?;
            child.wait()?;
            return Ok(None);
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

/// Builds the copy's tests and runs each alone.
pub fn record(copy: &Path, leave: &[String]) -> Result<(), Failure> {
    let copy = &copy.canonicalize()?;
    let mut jobs = Vec::new();
    for (group, program) in programs(copy, leave)? {
        let list = Command::new(&program)
            .args(["--list", "--format", "terse"])
            .current_dir(copy)
            .output()?;
        for line in String::from_utf8_lossy(&list.stdout).lines() {
            if let Some(name) = line.strip_suffix(": test") {
                jobs.push(Test {
                    program: program.clone(),
                    group: group.clone(),
                    name: name.to_owned(),
                    seconds: 0.0,
                    reaches: BTreeSet::new(),
                });
            }
        }
    }
    println!("{} tests", jobs.len());
    let waiting = Mutex::new(jobs);
    let done = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..workers())
            .map(|_| scope.spawn(|| record_some(copy, &waiting, &done)))
            .collect();
        for worker in workers {
            match worker.join() {
                Ok(result) => result?,
                Err(_) => return Err(std::io::Error::other("a worker stopped").into()),
            }
        }
        Ok::<(), Failure>(())
    })?;
    let mut tests = done.into_inner().map_err(|_| "a worker stopped")?;
    tests.sort_by(|a, b| (&a.group, &a.name).cmp(&(&b.group, &b.name)));
    let reached: BTreeSet<usize> = { tests.iter() }
        .flat_map(|t| t.reaches.iter().copied())
        .collect();
    let seconds: f64 = tests.iter().map(|t| t.seconds).sum();
    println!(
        "{} pass, {seconds:.0} s, {} operators reached",
        tests.len(),
        reached.len()
    );
    std::fs::write(tests_file(copy), serde_json::to_string(&tests)?)?;
    Ok(())
}

fn record_some(
    copy: &Path,
    waiting: &Mutex<Vec<Test>>,
    done: &Mutex<Vec<Test>>,
) -> std::io::Result<()> {
    const AT_MOST: Duration = Duration::from_secs(400);
    let stopped = || std::io::Error::other("a worker stopped");
    loop {
        let next = waiting.lock().map_err(|_| stopped())?.pop();
        let Some(mut test) = next else {
            return Ok(());
        };
        let seen = tempfile::NamedTempFile::new()?;
        let path = seen.path().to_string_lossy().into_owned();
        let start = Instant::now();
        let passed = run(copy, &test, ("SWITCHES_SEEN", &path), AT_MOST)?;
        test.seconds = start.elapsed().as_secs_f64();
        if passed != Some(true) {
            println!("{} {} does not pass as it is", test.group, test.name);
            continue;
        }
        let text = std::fs::read_to_string(seen.path())?;
        test.reaches = text.lines().filter_map(|l| l.parse().ok()).collect();
        done.lock().map_err(|_| stopped())?.push(test);
    }
}

/// Builds the test programs; name and path of each.
fn programs(copy: &Path, leave: &[String]) -> Result<Vec<(String, PathBuf)>, Failure> {
    let mut build = Command::new("cargo");
    build.args([
        "test",
        "--no-run",
        "--message-format",
        "json",
        "--lib",
        "--bins",
    ]);
    let mut names: Vec<String> = std::fs::read_dir(copy.join("tests"))?
        .filter_map(|e| e.ok()?.file_name().into_string().ok())
        .filter_map(|n| n.strip_suffix(".rs").map(str::to_owned))
        .filter(|n| !leave.contains(n))
        .collect();
    names.sort();
    for name in &names {
        build.args(["--test", name]);
    }
    let output = build.current_dir(copy).stderr(Stdio::inherit()).output()?;
    if !output.status.success() {
        return Err("the copy's tests do not compile".into());
    }
    let mut list = Vec::new();
    for line in String::from_utf8_lossy(&output.stdout).lines() {
        let Ok(line) = serde_json::from_str::<Value>(line) else {
            continue;
        };
        if line["profile"]["test"] == true
            && let (Some(name), Some(path)) =
                (line["target"]["name"].as_str(), line["executable"].as_str())
        {
            list.push((name.to_owned(), PathBuf::from(path)));
        }
    }
    Ok(list)
}
