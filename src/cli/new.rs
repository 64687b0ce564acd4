//! `steadydraw new`: a bench to start from.

use std::path::{Path, PathBuf};

use serde_json::json;

use super::words::Words;
use super::{Answer, CliError, Common, write_files};
use crate::bench::{BLANK, visible};
use crate::quantity::{Dimension, parse_quantity};
use crate::report::write::Output;
use crate::starter::{Starter, StarterFile};

/// Arguments of `new`.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  steadydraw new my-bench\n  steadydraw new my-bench --modes cool,eco --fans 1,2,3 --supply 24V\n  steadydraw new my-bench --logs       for raw logs and run windows instead of steady points\n\nIt asks nothing: what it is not told is left as a blank (____), which `check` names until it is filled."
)]
pub struct NewArgs {
    /// Folder of the new bench; made where there is none
    pub dir: PathBuf,
    /// Start from raw logs and run windows instead of points that are steady already
    #[arg(long)]
    pub logs: bool,
    /// The unit's modes
    #[arg(long, value_name = "NAME,…", value_delimiter = ',', default_value = "cool", value_parser = parse_name)]
    pub modes: Vec<String>,
    /// Its fan levels
    #[arg(long, value_name = "LEVEL,…", value_delimiter = ',', default_value = "1,2,3", value_parser = parse_name)]
    pub fans: Vec<String>,
    /// Its nominal supply voltage, such as 24V
    #[arg(long, value_name = "VOLTAGE", value_parser = parse_supply)]
    pub supply: Option<String>,
}

/// Modes and levels that a bench can have.
const MOST_NAMES: usize = 24;

pub(super) fn parse_name(text: &str) -> Result<String, String> {
    let name = text.trim();
    if name.is_empty() {
        return Err(
            "a name is empty; write names with a comma between them, such as 1,2,3".to_owned(),
        );
    }
    if name.chars().count() > 60 || name.chars().any(char::is_control) || name.contains(BLANK) {
        return Err("a name has at most 60 characters, all of them visible".to_owned());
    }
    Ok(name.to_owned())
}

fn parse_supply(text: &str) -> Result<String, String> {
    match parse_quantity(text, Dimension::Voltage) {
        Ok(v) if v.is_finite() && v > 0.0 => Ok(text.trim().to_owned()),
        Ok(_) => Err("a supply voltage is above zero".to_owned()),
        Err(e) => Err(format!("expected {}", e.expected)),
    }
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Misuse`] for names given twice or `--out`; [`CliError::Write`] for a folder that is not empty, or where files cannot be
/// written.
pub fn run(args: &NewArgs, common: &Common) -> Result<Answer, CliError> {
    for (option, names) in [("--modes", &args.modes), ("--fans", &args.fans)] {
        if names.len() > MOST_NAMES {
            return Err(CliError::Misuse(format!(
                "{option} takes at most {MOST_NAMES} names"
            )));
        }
        if let Some(name) = names
            .iter()
            .enumerate()
            .find_map(|(i, n)| names.iter().take(i).any(|m| m == n).then_some(n))
        {
            return Err(CliError::Misuse(format!("{option} names `{name}` twice")));
        }
    }
    if common.out.is_some() {
        return Err(CliError::Misuse(
            "the bench is written into the folder that is named after `new`; leave out --out"
                .to_owned(),
        ));
    }
    let dir = &args.dir;
    let there = listed(dir)?;
    if !there.is_empty() && !common.force {
        return Err(CliError::Write(format!(
            "{} is not empty (it holds {}{}); nothing was written. Name a new folder, or add --force to write beside what is there and replace bench.toml and its table",
            shown(dir),
            there
                .iter()
                .take(3)
                .map(|n| visible(n))
                .collect::<Vec<_>>()
                .join(", "),
            if there.len() > 3 { ", …" } else { "" }
        )));
    }
    let starter = Starter {
        title: title(dir),
        supply: args.supply.clone(),
        modes: args.modes.clone(),
        fans: args.fans.clone(),
        logs: args.logs,
        system: common.system(),
    };
    let files = starter.files();
    let replaced: Vec<&str> = files
        .iter()
        .map(|f| f.name)
        .filter(|n| there.iter().any(|t| t == n))
        .collect();
    let outputs: Vec<Output> = files
        .iter()
        .map(|f| Output {
            path: dir.join(f.name),
            bytes: f.text.clone().into_bytes(),
        })
        .collect();
    write_files(&outputs, common)?;
    let blanks: usize = files.iter().map(StarterFile::blanks).sum();
    Ok(Answer {
        words: in_words(args, &starter, &outputs, &replaced, blanks),
        json: json!({
            "schema": 1,
            "command": "new",
            "bench": starter.title,
            "files": outputs.iter().map(|o| o.path.display().to_string()).collect::<Vec<_>>(),
            "replaced": replaced,
            "blanks": blanks,
            "notes": [],
        }),
    })
}

/// What a folder holds; nothing where there is none yet.
fn listed(dir: &Path) -> Result<Vec<String>, CliError> {
    let cannot = |e: std::io::Error| CliError::Write(format!("{} cannot be used: {e}", shown(dir)));
    let entries = match std::fs::read_dir(dir) {
        Ok(entries) => entries,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(cannot(e)),
    };
    let mut names = Vec::new();
    for entry in entries {
        let name = entry.map_err(cannot)?.file_name();
        names.push(name.to_string_lossy().into_owned());
    }
    names.sort();
    Ok(names)
}

fn shown(path: &Path) -> String {
    visible(&path.display().to_string()).into_owned()
}

/// The folder's own name.
fn title(dir: &Path) -> String {
    let whole = std::path::absolute(dir).unwrap_or_else(|_| dir.to_owned());
    let name = whole
        .file_name()
        .map(|n| visible(&n.to_string_lossy()).into_owned());
    name.filter(|n| !n.is_empty() && !n.contains(BLANK))
        .unwrap_or_else(|| "my bench".to_owned())
}

fn in_words(
    args: &NewArgs,
    starter: &Starter,
    outputs: &[Output],
    replaced: &[&str],
    blanks: usize,
) -> String {
    let mut words = Words::start(&starter.title, None);
    let paths: Vec<String> = outputs.iter().map(|o| shown(&o.path)).collect();
    words.paragraph(&format!("Written: {}.", paths.join(", ")));
    if !replaced.is_empty() {
        words.paragraph(&format!("Replaced: {}.", replaced.join(", ")));
    }
    let folder = shown(&args.dir);
    let then = if args.logs {
        format!(
            "put the logs into {folder}/logs, fill the blanks and run `steadydraw reduce {folder}`, then `check` and `fit`"
        )
    } else {
        format!("fill the blanks and run `steadydraw check {folder}`, then `fit`")
    };
    words.paragraph(&format!(
        "{blanks} blanks (____) are left: {then}. `check` names the blanks that are left."
    ));
    words.heading("Take care");
    for caution in [
        "A fuse at the battery, within its rating and the cable's; keep to the battery maker's limits.",
        "Never leave a heater in a duct unattended. Do not open the refrigerant circuit.",
        "Measurements are no approval: local codes and licensed practice decide on wiring, refrigerant and installation.",
    ] {
        words.item(caution);
    }
    words.finish()
}
