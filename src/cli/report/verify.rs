//! `steadydraw report --verify`: a write-up held against its bench.

use std::path::Path;

use serde_json::json;

use super::{ReportArgs, make_all, stated_slope};
use crate::cli::words::Words;
use crate::cli::{Answer, CliError, Common, Units, parse_level};
use crate::report::reproduce::{FILE, Held, Reproduce, State, Verified, verify};

/// Makes the write-up in `folder` again, with the options that its list names, and compares.
///
/// # Errors
/// [`CliError::BadFile`] where the folder holds no such list, [`CliError::Differs`] where anything is not the same, and whatever
/// making a write-up may come to.
pub(super) fn run(folder: &Path, args: &ReportArgs, common: &Common) -> Result<Answer, CliError> {
    let bad = |e: String| CliError::BadFile(e);
    let list = Reproduce::read(folder).map_err(|e| bad(e.to_string()))?;
    let unusable = |what: &str| bad(format!("{}: {what}", folder.join(FILE).display()));
    if list.demo != args.bench.is_none() {
        return Err(CliError::Misuse(if list.demo {
            "this write-up is of the built-in demo: leave the bench out".to_owned()
        } else {
            "name the bench that this write-up was made from: steadydraw report BENCH --verify FOLDER".to_owned()
        }));
    }
    let asked = &list.asked;
    let again_args = ReportArgs {
        bench: args.bench.clone(),
        ambient: asked.ambient_c,
        assume_ambient_slope: asked
            .assume_ambient_slope
            .as_deref()
            .map(stated_slope)
            .transpose()
            .map_err(|e| unusable(&e))?,
        every_figure: asked.every_figure,
        verify: None,
    };
    let again_common = Common {
        level: parse_level(&asked.level.to_string()).map_err(|e| unusable(&e))?,
        seed: asked.seed,
        units: match asked.units.as_str() {
            "si" => Units::Si,
            "us" => Units::Us,
            other => {
                return Err(unusable(&format!(
                    "units \"{other}\"; expected \"si\" or \"us\""
                )));
            }
        },
        ..common.clone()
    };
    let made = make_all(&again_args, &again_common, folder)?;
    let held = verify(&list, &made.list, folder);
    let mut words = Words::start(&made.title, made.demo_note);
    for paragraph in sentences(&held) {
        words.paragraph(&paragraph);
    }
    let notes: Vec<&str> = made.demo_note.into_iter().collect();
    let matches = held.matches;
    let answer = Answer {
        words: words.finish(),
        json: json!({
            "schema": 1,
            "command": "report",
            "verify": folder.display().to_string(),
            "matches": matches,
            "version": held.version,
            "this_version": held.this_version,
            "asked": asked,
            "inputs": held.inputs,
            "outputs": held.outputs,
            "notes": notes,
        }),
    };
    if matches {
        Ok(answer)
    } else {
        Err(CliError::Differs(Box::new(answer)))
    }
}

fn sentences(v: &Verified) -> Vec<String> {
    let mut text = Vec::new();
    if v.matches {
        text.push(format!(
            "The write-up is what steadydraw {} makes of this bench: {} input files and {} output files are the same to the byte.",
            v.this_version,
            v.inputs.len(),
            v.outputs.len()
        ));
    } else {
        text.push("The write-up is not what this bench gives now.".to_owned());
    }
    if v.version != v.this_version {
        text.push(format!(
            "It was made by version {}, this is version {}: a file that comes out otherwise may do so for that alone.",
            v.version, v.this_version
        ));
    }
    text.extend(listed("Bench", &v.inputs));
    text.extend(listed("Write-up", &v.outputs));
    text
}

/// What is not the same, each way to differ in one sentence.
fn listed(what: &str, files: &[Held]) -> Vec<String> {
    const SHOWN: usize = 8;
    [
        State::Changed,
        State::Edited,
        State::Otherwise,
        State::Missing,
        State::New,
        State::Unknown,
    ]
    .into_iter()
    .filter_map(|state| {
        let names: Vec<&str> = files
            .iter()
            .filter(|f| f.state == state)
            .map(|f| f.file.as_str())
            .collect();
        if names.is_empty() {
            return None;
        }
        let mut list = names[..names.len().min(SHOWN)].join(", ");
        if names.len() > SHOWN {
            list.push_str(&format!(" and {} more", names.len() - SHOWN));
        }
        Some(format!("{what}, {}: {list}.", state.words()))
    })
    .collect()
}
