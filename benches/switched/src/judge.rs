//! One operator changed at a time: does a test turn red?

use std::collections::{BTreeMap, HashMap, HashSet};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};
use std::time::{Duration, Instant};

use crate::Failure;
use crate::copy::sites_file;
use crate::record::{Test, run, tests_file, workers};

/// How far judging goes.
pub struct Limits {
    /// Seconds of tests for each change.
    pub seconds: f64,
    /// Minutes in all.
    pub minutes: f64,
    /// Which changes come first.
    pub seed: u64,
    /// Only these rooms, where any are named.
    pub rooms: Vec<String>,
    /// Only arithmetic.
    pub arithmetic: bool,
    /// One change of each operator.
    pub once: bool,
}

/// One operator changed.
#[derive(Debug, Clone)]
struct Change {
    number: usize,
    first: usize,
    place: String,
    operator: String,
    with: String,
    function: String,
}

impl Change {
    fn room(&self) -> &str {
        self.place.split('/').next().unwrap_or_default()
    }

    /// Whether it is a formula's operator, not a comparison's or a decision's.
    fn is_arithmetic(&self) -> bool {
        ["+", "-", "*", "/", "%", "+=", "-=", "*=", "/=", "minus"].contains(&self.operator.as_str())
    }

    fn line(&self, found: &str, by: &str) -> String {
        format!(
            "{}\t{}\t{}\t{}\t{}\t{found}\t{by}\n",
            self.number, self.place, self.operator, self.with, self.function
        )
    }
}

/// Where the copy keeps what came of each change.
pub fn judged_file(copy: &Path) -> PathBuf {
    copy.join("switched/judged.tsv")
}

/// What came of a change.
const RED: &str = "red";
const LATE: &str = "out of time";
const PASSED: &str = "passed";
const OPEN: &str = "open";
const UNREACHED: &str = "unreached";

/// Judges changes, drawn at random and evenly over the rooms, and says how many were found. Goes on where a former call stopped.
pub fn judge(copy: &Path, limits: &Limits) -> Result<(), Failure> {
    let copy = &copy.canonicalize()?;
    let tests: Vec<Test> = serde_json::from_str(&std::fs::read_to_string(tests_file(copy))?)?;
    let mut reached: HashMap<usize, Vec<usize>> = HashMap::new();
    for (i, test) in tests.iter().enumerate() {
        for first in &test.reaches {
            reached.entry(*first).or_default().push(i);
        }
    }
    let out = judged_file(copy);
    let before = std::fs::read_to_string(&out).unwrap_or_default();
    let done: HashSet<usize> = { before.lines() }
        .filter_map(|l| l.split('\t').next()?.parse().ok())
        .collect();
    let changes = in_turn(&std::fs::read_to_string(sites_file(copy))?, limits, &done);
    let file = std::fs::OpenOptions::new()
        .create(true)
        .append(true)
        .open(&out)?;
    let file = Mutex::new(file);
    let next = AtomicUsize::new(0);
    let start = Instant::now();
    let work = || -> std::io::Result<()> {
        while start.elapsed().as_secs_f64() < 60.0 * limits.minutes {
            let Some(change) = changes.get(next.fetch_add(1, Relaxed)) else {
                break;
            };
            let by = reached.get(&change.first).map_or(&[][..], Vec::as_slice);
            let line = judge_one(copy, change, &tests, by, limits.seconds)?;
            let mut file = file
                .lock()
                .map_err(|_| std::io::Error::other("a worker stopped"))?;
            file.write_all(line.as_bytes())?;
        }
        Ok(())
    };
    std::thread::scope(|scope| {
        let all: Vec<_> = (0..workers()).map(|_| scope.spawn(work)).collect();
        all.into_iter().try_for_each(|w| {
            w.join()
                .unwrap_or_else(|_| Err(std::io::Error::other("a worker stopped")))
        })
    })?;
    print(&std::fs::read_to_string(&out)?);
    Ok(())
}

/// The changes still to be judged: each room's in random order, the rooms evenly dealt.
fn in_turn(sites: &str, limits: &Limits, done: &HashSet<usize>) -> Vec<Change> {
    let mut rooms: BTreeMap<String, Vec<Change>> = BTreeMap::new();
    // Operators of which a change is judged or drawn.
    let mut met: HashSet<usize> = HashSet::new();
    for line in sites.lines() {
        let cells: Vec<&str> = line.split('\t').collect();
        let [first, file, row, column, operator, with, function] = cells[..] else {
            continue;
        };
        let Ok(first) = first.parse::<usize>() else {
            continue;
        };
        for (k, with) in with.split(' ').enumerate().filter(|(_, w)| *w != "-") {
            let change = Change {
                number: first + k,
                first,
                place: format!("{file}:{row}:{column}"),
                operator: operator.to_owned(),
                with: with.to_owned(),
                function: function.to_owned(),
            };
            let room = change.room().to_owned();
            let asked = (limits.rooms.is_empty() || limits.rooms.contains(&room))
                && (change.is_arithmetic() || !limits.arithmetic);
            if done.contains(&change.number) {
                met.insert(first);
            } else if asked {
                rooms.entry(room).or_default().push(change);
            }
        }
    }
    let mut dice = limits.seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut dealt = Vec::new();
    for (_, mut list) in rooms {
        // Fisher and Yates's shuffle with Marsaglia's shifts: any order will do.
        for i in (1..list.len()).rev() {
            dice ^= dice << 13;
            dice ^= dice >> 7;
            dice ^= dice << 17;
            list.swap(i, (dice % (i as u64 + 1)) as usize);
        }
        if limits.once {
            list.retain(|c| met.insert(c.first));
        }
        let n = list.len() as f64;
        dealt.extend({ list.into_iter().enumerate() }.map(|(k, c)| ((k as f64 + 0.5) / n, c)));
    }
    dealt.sort_by(|a, b| a.0.total_cmp(&b.0));
    dealt.into_iter().map(|(_, c)| c).collect()
}

fn judge_one(
    copy: &Path,
    change: &Change,
    tests: &[Test],
    reached: &[usize],
    seconds: f64,
) -> std::io::Result<String> {
    if reached.is_empty() {
        return Ok(change.line(UNREACHED, ""));
    }
    // The quickest first, and those of the same file and room before others.
    let file = change.place.split(".rs").next().unwrap_or_default();
    let near = |t: &Test| {
        let own = file.replace('/', "::");
        if t.name.starts_with(&own) {
            0.1
        } else if t.name.starts_with(change.room()) || t.name.contains(change.room()) {
            0.4
        } else {
            1.0
        }
    };
    let mut order: Vec<&Test> = reached.iter().filter_map(|i| tests.get(*i)).collect();
    order.sort_by(|a, b| {
        let rank = |t: &Test| (t.seconds + 0.02) * near(t);
        rank(a).total_cmp(&rank(b))
    });
    let number = change.number.to_string();
    let (mut spent, mut ran, mut open) = (0.0, 0, false);
    for test in &order {
        if ran > 0 && spent + test.seconds > seconds {
            open = true;
            continue;
        }
        let at_most = Duration::from_secs_f64((10.0 * test.seconds + 10.0).max(20.0));
        let start = Instant::now();
        let found = match run(copy, test, ("SWITCHED", &number), at_most)? {
            Some(true) => None,
            Some(false) => Some(RED),
            None => Some(LATE),
        };
        spent += start.elapsed().as_secs_f64();
        ran += 1;
        if let Some(found) = found {
            return Ok(change.line(found, &format!("{} {}", test.group, test.name)));
        }
    }
    let found = if open { OPEN } else { PASSED };
    Ok(change.line(found, &format!("{ran} of {} tests", order.len())))
}

/// Counts by room and by sort of operator.
fn print(judged: &str) {
    let names = [RED, LATE, PASSED, OPEN, UNREACHED];
    let mut counts: BTreeMap<String, [usize; 5]> = BTreeMap::new();
    for line in judged.lines() {
        let cells: Vec<&str> = line.split('\t').collect();
        let [_, place, operator, _, _, found, ..] = cells[..] else {
            continue;
        };
        let change = Change {
            number: 0,
            first: 0,
            place: place.to_owned(),
            operator: operator.to_owned(),
            with: String::new(),
            function: String::new(),
        };
        let sort = if change.is_arithmetic() {
            "~ arithmetic"
        } else {
            "~ comparisons and logic"
        };
        for row in [change.room(), sort, "~~ all"] {
            if let Some(i) = names.iter().position(|n| *n == found) {
                counts.entry(row.to_owned()).or_default()[i] += 1;
            }
        }
    }
    println!(
        "{:<26}{:>8}{}",
        "",
        "judged",
        names.map(|n| format!("{n:>13}")).concat()
    );
    for (row, n) in &counts {
        let all: usize = n.iter().sum();
        let cells = n.map(|x| format!("{x:>13}")).concat();
        println!("{:<26}{all:>8}{cells}", row.trim_start_matches(['~', ' ']));
    }
}
