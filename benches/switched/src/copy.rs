//! The copy with switches: written, then mended until it compiles.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use walkdir::WalkDir;

use crate::Failure;
use crate::rewrite::{LeftOut, Site, rewrite};

/// Files of words: what is said, not what is computed.
const WORDS: [&str; 9] = [
    "words.rs",
    "error.rs",
    "sentences.rs",
    "notes.rs",
    "show.rs",
    "tests.rs",
    "cautions.rs",
    "written.rs",
    "headings.rs",
];
/// What the copy takes from the project beside `src`.
const TAKEN: [&str; 7] = [
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "data",
    "tests",
    "notebooks-md",
    "benches",
];
/// Replacements that do not compile hide others behind them, but not often.
const MENDED_AT_MOST: usize = 8;

/// Where the copy keeps its operators: number of the first replacement, file, line, column, operator, replacements by blanks, function.
pub fn sites_file(copy: &Path) -> PathBuf {
    copy.join("switched/sites.tsv")
}

/// Writes the copy.
pub fn prepare(project: &Path, copy: &Path, rooms: &[String]) -> Result<(), Failure> {
    std::fs::create_dir_all(copy.join("switched"))?;
    for name in TAKEN {
        take(&project.join(name), &copy.join(name))?;
    }
    let examples = project.join("examples");
    if examples.exists() {
        take(&examples, &copy.join("examples"))?;
    }
    // Quick tests, and what a change makes overflow must not stop them from comparing answers.
    let manifest = std::fs::read_to_string(copy.join("Cargo.toml"))?;
    let manifest = manifest.replacen("opt-level = 1", "opt-level = 2", 1);
    std::fs::write(copy.join("Cargo.toml"), manifest)?;

    let mut left_out = LeftOut::new();
    for _ in 0..MENDED_AT_MOST {
        let sites = write_sources(project, copy, rooms, &left_out)?;
        let more = failing(copy, &sites)?;
        if more.is_empty() {
            save(copy, &sites, &left_out)?;
            let all: usize = sites.iter().map(|s| s.replacements.len()).sum();
            let kept = all - left_out.iter().filter(|l| l.3 > 0).count();
            println!("{} operators, {kept} changes", sites.len());
            return Ok(());
        }
        println!("{} changes do not compile and are left out", more.len());
        left_out.extend(more);
    }
    Err("the copy does not compile; see `cargo check --lib` in it".into())
}

fn take(from: &Path, to: &Path) -> Result<(), Failure> {
    for entry in WalkDir::new(from) {
        let entry = entry?;
        let part = entry.path().strip_prefix(from)?;
        // This tool is no part of what it tests.
        if part.starts_with("switched") {
            continue;
        }
        let place = if part.as_os_str().is_empty() {
            to.to_owned()
        } else {
            to.join(part)
        };
        if entry.file_type().is_dir() {
            std::fs::create_dir_all(place)?;
        } else {
            std::fs::copy(entry.path(), place)?;
        }
    }
    Ok(())
}

fn write_sources(
    project: &Path,
    copy: &Path,
    rooms: &[String],
    left_out: &LeftOut,
) -> Result<Vec<Site>, Failure> {
    let (from, to) = (project.join("src"), copy.join("src"));
    take(&from, &to)?;
    let (mut sites, mut next) = (Vec::new(), 1);
    for room in rooms {
        for entry in WalkDir::new(from.join(room)).sort_by_file_name() {
            let entry = entry?;
            let path = entry.path();
            let name = entry.file_name().to_string_lossy();
            if path.extension().is_none_or(|e| e != "rs") || WORDS.contains(&&*name) {
                continue;
            }
            let file = path.strip_prefix(&from)?.to_string_lossy().into_owned();
            let source = std::fs::read_to_string(path)?;
            let switched = rewrite(&file, &source, &mut next, left_out, &mut sites)
                .map_err(|e| format!("{file}: {e}"))?;
            std::fs::write(to.join(&file), switched)?;
        }
    }
    let lib = std::fs::read_to_string(from.join("lib.rs"))?;
    let allowed = "#![allow(arithmetic_overflow, unconditional_panic, unused, warnings)]";
    std::fs::write(
        to.join("lib.rs"),
        format!("{allowed}\n{lib}\npub mod switches;\n"),
    )?;
    std::fs::write(to.join("switches.rs"), include_str!("switches.rs"))?;
    Ok(sites)
}

/// What does not compile: the innermost switch before each error, and its arm.
fn failing(copy: &Path, sites: &[Site]) -> Result<LeftOut, Failure> {
    let output = Command::new("cargo")
        .args(["check", "--lib", "--message-format", "json"])
        .current_dir(copy)
        .output()?;
    let mut found = LeftOut::new();
    let mut elsewhere = String::new();
    for line in String::from_utf8_lossy(&output.stdout).lines() {
        let Ok(line) = serde_json::from_str::<Value>(line) else {
            continue;
        };
        let message = &line["message"];
        if message["level"] != "error" {
            continue;
        }
        let spans = message["spans"].as_array().into_iter().flatten();
        for span in spans.filter(|s| s["is_primary"] == true) {
            let place = |key: &str| span[key].as_u64().unwrap_or(0) as usize;
            let file = span["file_name"].as_str().unwrap_or_default();
            let text = std::fs::read_to_string(copy.join(file))?;
            let line = text.lines().nth(place("line_start").saturating_sub(1));
            let line: String = { line.unwrap_or_default().chars() }
                .take(place("column_start").saturating_sub(1) + 1)
                .collect();
            match switch_before(&line, sites) {
                Some(out) => {
                    found.insert(out);
                }
                None => {
                    let _ = writeln!(elsewhere, "{}", message["rendered"].as_str().unwrap_or(""));
                }
            }
        }
    }
    if !elsewhere.is_empty() || (!output.status.success() && found.is_empty()) {
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        return Err(format!("errors outside the switches:\n{elsewhere}{told}").into());
    }
    Ok(found)
}

fn switch_before(line: &str, sites: &[Site]) -> Option<(String, usize, usize, usize)> {
    const ASKS: &str = "crate::switches::at(";
    // An error's column may be that of the switch itself, then it begins before the name.
    let from = line.rfind(ASKS).or_else(|| line.rfind("crate::sw"))?;
    let rest = line.get(from + ASKS.len()..).unwrap_or_default();
    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
    let first: usize = digits.parse().ok()?;
    let site = sites.iter().find(|s| s.first == first)?;
    let (file, row, column) = site.place.clone();
    let arm = (1..=site.replacements.len())
        .filter_map(|k| Some((rest.rfind(&format!("{k} => "))?, k)))
        .max();
    let last = rest.rfind("_ => ");
    let which = match arm {
        Some((at, k)) if last.is_none_or(|l| l < at) => k,
        _ => 0,
    };
    Some((file, row, column, which))
}

fn save(copy: &Path, sites: &[Site], left_out: &LeftOut) -> Result<(), Failure> {
    let mut text = String::new();
    for s in sites {
        let (file, line, column) = &s.place;
        let shown: Vec<&str> = { s.replacements.iter().enumerate() }
            .map(|(i, r)| {
                let out = (file.clone(), *line, *column, i + 1);
                if left_out.contains(&out) { "-" } else { *r }
            })
            .collect();
        let shown = shown.join(" ");
        let (first, operator, function) = (s.first, s.operator, &s.function);
        writeln!(
            text,
            "{first}\t{file}\t{line}\t{column}\t{operator}\t{shown}\t{function}"
        )?;
    }
    std::fs::write(sites_file(copy), text)?;
    Ok(())
}
