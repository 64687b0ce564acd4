//! What a machine does to a program: lines without end, a disk that is full, a program killed while it writes, links in circles.

#![cfg(unix)]

mod support;

use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use support::BenchDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_steadydraw");

/// Runs a shell line in a folder, with the program as `$P`; gives exit code and what it said.
fn shell(folder: &Path, line: &str) -> (i32, String) {
    let out = Command::new("sh")
        .args(["-c", line])
        .env("P", PROGRAM)
        .env("RAYON_NUM_THREADS", "2")
        .current_dir(folder)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    (out.status.code().unwrap_or(-1), said)
}

/// Every file below a folder.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(dir) = open.pop() {
        let Ok(entries) = std::fs::read_dir(&dir) else {
            continue;
        };
        for entry in entries {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().display().to_string();
                all.insert(name, std::fs::read(&path).unwrap());
            }
        }
    }
    all
}

const LOG_TOML: &str = "title = \"t\"\n[runs]\nfile = \"runs.csv\"\n[[log]]\nfile = \"log.csv\"\n[log.time]\ncolumn = \"time\"\nformat = \"iso\"\nzone = \"UTC\"\n[log.channels]\npower = { column = \"P\", unit = \"W\" }\n";
const RUNS: &str = "run,kind,mode,fan,block,start,end\nr1,cooling,eco,1,a,2026-08-25 09:00:00,2026-08-25 09:40:00\n";

/// A file of one gigabyte: some text, then digits for a while, then nothing but NUL (which takes no room on the disk). No line ends.
fn gigabyte(path: &Path, head: &str) {
    let mut file = std::fs::File::create(path).unwrap();
    file.write_all(head.as_bytes()).unwrap();
    let piece = vec![b'1'; 1 << 20];
    for _ in 0..8 {
        file.write_all(&piece).unwrap();
    }
    file.set_len(1 << 30).unwrap();
}

#[test]
fn a_line_of_a_gigabyte_is_refused_early_and_in_little_memory() {
    let bench = BenchDir::new().toml(LOG_TOML).file("runs.csv", RUNS);
    gigabyte(
        &bench.path().join("log.csv"),
        "time,P\n2026-08-25 09:00:00,",
    );
    gigabyte(
        &bench.path().join("points.csv"),
        "run,kind,mode,fan,power [W]\nr1,cooling,eco,1,",
    );
    let start = Instant::now();
    // 400 MB of address space hold the program, its threads' stacks and nothing of the size of the file.
    let (code, said) = shell(bench.path(), "ulimit -v 400000; exec $P reduce .");
    assert!(
        code == 3
            && said.contains("log.csv, line 2")
            && said.contains("a line of more than 1024 kB"),
        "{code}: {said}"
    );
    let (code, said) = shell(bench.path(), "ulimit -v 400000; exec $P check points.csv");
    assert!(
        code == 3
            && said.contains("points.csv")
            && said.contains("1024 MB")
            && said.contains("to do:"),
        "{code}: {said}"
    );
    assert!(
        start.elapsed() < Duration::from_secs(20),
        "{:?}",
        start.elapsed()
    );
}

#[test]
fn a_disk_that_is_full_leaves_what_was_there() {
    let bench = BenchDir::invented();
    let (code, said) = shell(bench.path(), "exec $P report . --out r");
    assert_eq!(code, 0, "{said}");
    let before = files(bench.path());
    // A limit on the size of files stands for the disk: the write fails in the middle, with an error and no signal. The larger figures
    // pass it, whatever the unit of the limit (512 or 1024 bytes).
    let full = "trap '' XFSZ; ulimit -f 40;";
    let (code, said) = shell(
        bench.path(),
        &format!("{full} exec $P report . --out r --force"),
    );
    assert!(
        code == 3 && said.contains("could not be written"),
        "{code}: {said}"
    );
    assert_eq!(
        before,
        files(bench.path()),
        "something was changed or left behind"
    );
    let (code, said) = shell(bench.path(), &format!("{full} exec $P report . --out new"));
    assert!(
        code == 3 && said.contains("could not be written"),
        "{code}: {said}"
    );
    assert_eq!(before, files(bench.path()), "something partial was left");
}

/// A report under way, at the moment at which its folder appears.
fn caught_writing(bench: &Path, out: &Path) -> Child {
    let child = Command::new(PROGRAM)
        .args(["report", ".", "--out"])
        .arg(out)
        .current_dir(bench)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let start = Instant::now();
    while !out.exists() && start.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(1));
    }
    child
}

#[test]
fn a_program_killed_while_it_writes_leaves_no_half_file_under_a_final_name() {
    let bench = BenchDir::invented();
    let (code, said) = shell(bench.path(), "exec $P report . --out whole");
    assert_eq!(code, 0, "{said}");
    let whole = files(&bench.path().join("whole"));
    // Killed at the moment at which the first passing file appears, and a little later each time.
    let mut caught = 0;
    for round in 0..4 {
        let out = bench.path().join(format!("r{round}"));
        let mut child = caught_writing(bench.path(), &out);
        std::thread::sleep(Duration::from_millis(4 * round));
        child.kill().unwrap();
        let done = child.wait().unwrap().success();
        caught += usize::from(!done);
        for (name, bytes) in files(&out) {
            let passing = name.rsplit('/').next().unwrap().starts_with(".steadydraw-");
            assert!(
                passing || bytes == whole[&name],
                "round {round}: {name} is not whole"
            );
        }
        if round == 3 {
            // The same command again, with --force, puts everything in place.
            let (code, said) = shell(bench.path(), "exec $P report . --force --out r3");
            assert_eq!(code, 0, "{said}");
            let (code, said) = shell(bench.path(), "exec $P report . --verify r3");
            assert_eq!(code, 0, "{said}");
            let there = files(&out);
            assert!(there.keys().eq(whole.keys()), "{:?}", there.keys());
        }
    }
    assert!(caught > 0, "the program was never caught in the act");
}

#[test]
fn a_program_that_is_asked_to_end_while_it_writes_leaves_nothing_or_all() {
    use std::os::unix::process::ExitStatusExt as _;
    let bench = BenchDir::invented();
    let (code, said) = shell(bench.path(), "exec $P report . --out whole");
    assert_eq!(code, 0, "{said}");
    let whole = files(&bench.path().join("whole"));
    let mut caught = 0;
    for (round, signal) in ["-TERM", "-INT", "-TERM", "-INT"].into_iter().enumerate() {
        let out = bench.path().join(format!("r{round}"));
        let mut child = caught_writing(bench.path(), &out);
        Command::new("kill")
            .args([signal, &child.id().to_string()])
            .status()
            .unwrap();
        let number = child.wait().unwrap().signal();
        caught += usize::from(number.is_some());
        let there = files(&out);
        let (none, all) = (there.is_empty(), there.keys().eq(whole.keys()));
        assert!(none || all, "round {round}: {:?}", there.keys());
    }
    assert!(caught > 0, "the program was never caught in the act");
}

#[test]
fn folders_that_link_in_circles_are_walked_once() {
    let bench = BenchDir::new()
        .toml(LOG_TOML.replace("log.csv", "*/*/log.csv"))
        .file("runs.csv", RUNS);
    std::os::unix::fs::symlink(".", bench.path().join("again")).unwrap();
    std::os::unix::fs::symlink("b", bench.path().join("a")).unwrap();
    std::os::unix::fs::symlink("a", bench.path().join("b")).unwrap();
    let start = Instant::now();
    let (code, said) = shell(bench.path(), "exec $P reduce .");
    assert!(
        code == 3 && said.contains("no file matches"),
        "{code}: {said}"
    );
    assert!(start.elapsed() < Duration::from_secs(10));
}

#[test]
fn a_file_that_may_not_be_read_is_named() {
    use std::os::unix::fs::PermissionsExt as _;
    let bench = BenchDir::invented();
    let points = bench.path().join("points.csv");
    std::fs::set_permissions(&points, std::fs::Permissions::from_mode(0o000)).unwrap();
    if std::fs::File::open(&points).is_ok() {
        eprintln!("SKIPPED: this user may read everything");
        return;
    }
    let (code, said) = shell(bench.path(), "exec $P check .");
    assert!(code == 3 && said.contains("points.csv"), "{code}: {said}");
}

#[test]
fn hostile_names_stay_names_in_every_file_of_a_report() {
    let hostile = [
        "<script>alert(1)</script>",
        "=cmd|' /C calc'!A0",
        "../../../outside",
        "\u{202e}txt.exe",
        "@SUM(1)",
    ];
    let mut bench = BenchDir::invented();
    let mut points = std::fs::read_to_string(bench.path().join("points.csv")).unwrap();
    points = points
        .replace(",eco,", &format!(",\"{}\",", hostile[0]))
        .replace(",steady,", &format!(",\"{}\",", hostile[1]))
        .replace("day 1", hostile[2])
        .replace("day 2", hostile[3])
        .replace("r01,", &format!("{},", hostile[4]));
    let toml = support::TOML.replace("Quay shed bench", "<img src=x onerror=alert(2)>");
    bench = bench.points(points).toml(toml);
    let (code, said) = shell(bench.path(), "exec $P report . --out deep/down/r");
    assert_eq!(code, 0, "{said}");
    let all = files(&bench.path().join("deep/down/r"));
    // Nothing went anywhere else.
    assert_eq!(files(bench.path()).len(), all.len() + 2);
    for (name, bytes) in &all {
        assert!(!name.contains("outside") && !name.contains('<'), "{name}");
        let text = String::from_utf8_lossy(bytes);
        if name.ends_with(".html") || name.ends_with(".svg") {
            assert!(
                !text.contains("<script>alert") && !text.contains("<img src=x"),
                "{name}"
            );
            assert!(!text.contains('\u{202e}'), "{name}: a direction mark");
        }
        if name.ends_with(".html") {
            assert!(
                text.contains("Content-Security-Policy") && text.contains("default-src 'none'")
            );
        }
        if name.ends_with(".csv") {
            for cell in text.lines().flat_map(|l| l.split(',')) {
                let bare = cell.trim_start_matches('"');
                assert!(
                    !bare.starts_with('@') && !bare.starts_with("=cmd"),
                    "{name}: a spreadsheet would take `{cell}` for a formula"
                );
            }
        }
    }
}
