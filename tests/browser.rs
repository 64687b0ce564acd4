//! The write-up's page in a browser: what it computes, what it shows, what it keeps out.
//!
//! The browser is one of the machine's own. Where there is none these tests say so and look at nothing, so that `cargo test` needs none;
//! the gate (`.ci/run`) fetches one. `BROWSER_PICTURES=folder cargo test --test browser` keeps pictures and prints to be looked at.

#[path = "browser/chrome.rs"]
mod chrome;
#[path = "browser/explorer.rs"]
mod explorer;
#[path = "browser/look.rs"]
mod look;
#[path = "browser/safe.rs"]
mod safe;
mod support;
#[path = "browser/tables.rs"]
mod tables;

use std::path::{Path, PathBuf};

use chrome::Chrome;
use support::BenchDir;

/// A page in a folder of its own, from a bench in its own.
pub struct Written {
    /// The bench; none for the demo.
    pub bench: Option<BenchDir>,
    folder: tempfile::TempDir,
}

impl Written {
    /// The demo's page.
    pub fn demo(options: &str) -> Written {
        Written::of(None, options)
    }

    /// The page of a bench.
    pub fn of(bench: Option<BenchDir>, options: &str) -> Written {
        let folder = tempfile::tempdir().unwrap();
        let out = folder.path().join("out");
        let line = format!("report --quiet --out {} {options}", out.display());
        match &bench {
            Some(b) => b.run(&line),
            None => support::run(&line),
        }
        .exits(0);
        Written { bench, folder }
    }

    /// The page's file.
    pub fn page(&self) -> PathBuf {
        self.folder.path().join("out/index.html")
    }

    /// Runs a command on the same bench and gives its JSON answer; `None` where the data cannot answer.
    pub fn ask(&self, line: &str) -> Option<serde_json::Value> {
        let line = format!("{line} --json");
        let outcome = match &self.bench {
            Some(b) => b.run(&line),
            None => support::run(&line),
        };
        (outcome.code == 0).then(|| serde_json::from_str(&outcome.stdout).unwrap())
    }
}

/// Whatever was done, the page has asked for nothing and complained of nothing.
#[track_caller]
fn quiet(chrome: &Chrome, page: &Path) {
    assert_eq!(chrome.complaints(), Vec::<String>::new());
    assert_eq!(chrome.requests(page), Vec::<String>::new());
}
