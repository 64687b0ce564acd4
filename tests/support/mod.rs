//! Benches on disk and commands run on them, for the tests of the program as a user meets it.
//!
//! No network, no clock, nothing outside a temporary folder. [`BenchDir`] builds a bench, [`BenchDir::run`] runs a command on it,
//! [`Outcome`] holds what came out.
#![allow(dead_code, reason = "each test program uses a part of this")]

pub mod book;
pub mod sheet;

use std::path::{Path, PathBuf};
use std::time::Duration;

use serde_json::Value;

/// `bench.toml` of the invented bench: two modes, three fan levels, two intakes, two days, fan-only and standby runs.
pub const TOML: &str = include_str!("invented/bench.toml");
/// Its points table.
pub const POINTS: &str = include_str!("invented/points.csv");

/// Longer than any of these commands may take in a debug build on a busy machine: past it, it hangs.
const HANGS_AFTER: Duration = Duration::from_secs(60);

/// A bench folder of its own, removed at the end of the test.
pub struct BenchDir {
    folder: tempfile::TempDir,
}

impl BenchDir {
    /// An empty folder.
    pub fn new() -> BenchDir {
        BenchDir {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    /// The invented bench, ready to be spoilt.
    pub fn invented() -> BenchDir {
        BenchDir::new().toml(TOML).points(POINTS)
    }

    /// Writes `bench.toml`.
    pub fn toml(self, text: impl AsRef<[u8]>) -> BenchDir {
        self.file("bench.toml", text)
    }

    /// Writes `points.csv`.
    pub fn points(self, bytes: impl AsRef<[u8]>) -> BenchDir {
        self.file("points.csv", bytes)
    }

    /// Writes any file.
    pub fn file(self, name: &str, bytes: impl AsRef<[u8]>) -> BenchDir {
        std::fs::write(self.folder.path().join(name), bytes).unwrap();
        self
    }

    /// Removes a file.
    pub fn without(self, name: &str) -> BenchDir {
        std::fs::remove_file(self.folder.path().join(name)).unwrap();
        self
    }

    /// The folder.
    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// Runs a command line such as `"predict --intake 35degC"` on the bench: the folder's path stands after the command.
    pub fn run(&self, line: &str) -> Outcome {
        self.run_on(Path::new("."), line)
    }

    /// As [`BenchDir::run`], on a path inside the folder.
    pub fn run_on(&self, bench: &Path, line: &str) -> Outcome {
        let mut words = line.split_whitespace().map(str::to_owned);
        let mut args: Vec<String> = words.by_ref().take(1).collect();
        args.push(bench.to_str().unwrap().to_owned());
        args.extend(words);
        run_in(self.path(), &args, &[])
    }
}

/// What a command gave back.
#[derive(Debug)]
pub struct Outcome {
    /// The command line.
    pub line: String,
    /// Exit code.
    pub code: i32,
    /// Standard output.
    pub stdout: String,
    /// Standard error.
    pub stderr: String,
}

/// Runs the program on the built-in demo, or on whatever the arguments name.
pub fn run(line: &str) -> Outcome {
    let folder = tempfile::tempdir().unwrap();
    let args: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
    run_in(folder.path(), &args, &[])
}

/// Runs the program in a folder, with environment variables.
pub fn run_in(folder: &Path, args: &[String], environment: &[(&str, &str)]) -> Outcome {
    let program = PathBuf::from(env!("CARGO_BIN_EXE_steadydraw"));
    let output = assert_cmd::Command::new(program)
        .args(args)
        .current_dir(folder)
        .env_remove("NO_COLOR")
        .env_remove("CLICOLOR_FORCE")
        .envs(environment.iter().copied())
        .timeout(HANGS_AFTER)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    let outcome = Outcome {
        line: args.join(" "),
        code: output.status.code().unwrap_or(-1),
        stdout: text(&output.stdout),
        stderr: text(&output.stderr),
    };
    assert!(
        outcome.code >= 0,
        "`{}` hung or was killed\n{outcome:?}",
        outcome.line
    );
    assert!(!outcome.stderr.contains("panicked"), "{outcome:?}");
    outcome
}

impl Outcome {
    /// Asserts the exit code.
    #[track_caller]
    pub fn exits(self, code: i32) -> Outcome {
        assert_eq!(
            self.code, code,
            "`{}`\n{}{}",
            self.line, self.stdout, self.stderr
        );
        self
    }

    /// Asserts an answer: exit code 0 and not a word on standard error.
    #[track_caller]
    pub fn answers(self) -> Outcome {
        let outcome = self.exits(0);
        assert_eq!(outcome.stderr, "", "`{}`", outcome.line);
        outcome
    }

    /// Asserts that standard output holds a text, line breaks aside.
    #[track_caller]
    pub fn tells(self, text: &str) -> Outcome {
        assert!(
            on_one_line(&self.stdout).contains(text),
            "`{}` does not say `{text}`:\n{}",
            self.line,
            self.stdout
        );
        self
    }

    /// Asserts that standard output does not hold a text, line breaks aside.
    #[track_caller]
    pub fn keeps_silent_on(self, text: &str) -> Outcome {
        assert!(
            !on_one_line(&self.stdout).contains(text),
            "`{}` says `{text}`:\n{}",
            self.line,
            self.stdout
        );
        self
    }

    /// Asserts that standard error holds a text, line breaks aside.
    #[track_caller]
    pub fn complains(self, text: &str) -> Outcome {
        assert!(
            on_one_line(&self.stderr).contains(text),
            "`{}` does not complain of `{text}`:\n{}",
            self.line,
            self.stderr
        );
        self
    }

    /// Standard output as the one JSON object that it must be.
    #[track_caller]
    pub fn json(&self) -> Value {
        let value: Value = serde_json::from_str(&self.stdout)
            .unwrap_or_else(|e| panic!("`{}` prints no JSON: {e}\n{}", self.line, self.stdout));
        assert!(value.is_object(), "`{}`", self.line);
        value
    }

    /// Standard output without `made_by`, which names the very bytes that were read.
    #[track_caller]
    pub fn stdout_of_any_bytes(&self) -> String {
        let mut value = self.json();
        let made = value
            .as_object_mut()
            .and_then(|o| o.shift_remove("made_by"));
        assert!(made.is_some(), "`{}` does not say what made it", self.line);
        value.to_string()
    }

    /// Codes of the findings in the JSON of `check`.
    #[track_caller]
    pub fn finding_codes(&self) -> Vec<String> {
        let list = self.json()["findings"].as_array().cloned().unwrap();
        list.iter()
            .map(|f| f["code"].as_str().unwrap().to_owned())
            .collect()
    }
}

fn on_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
