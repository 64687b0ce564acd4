//! `steadydraw man`: the manual in the format of `man`.

use std::path::PathBuf;

use serde_json::json;

use super::program::command;
use super::words::Words;
use super::{Answer, CliError, Common, write_files};
use crate::report::write::Output;

const EXAMPLES: &str = "Examples:
  steadydraw man | man -l -                 read it
  steadydraw man --out man1                 a page for the program and one for each command
  steadydraw man > steadydraw.1";

/// Arguments of `man`.
#[derive(clap::Args, Debug)]
#[command(after_help = EXAMPLES)]
pub struct ManArgs {}

/// Pages by file name: the program's own, then one for each command.
fn pages() -> Result<Vec<(String, Vec<u8>)>, CliError> {
    let broken = |e: std::io::Error| CliError::NoAnswer(format!("the manual cannot be made: {e}"));
    let mut whole = command().disable_help_subcommand(true);
    whole.build();
    let mut list = vec![("steadydraw.1".to_owned(), whole.clone())];
    for sub in whole.get_subcommands() {
        list.push((format!("steadydraw-{}.1", sub.get_name()), sub.clone()));
    }
    list.into_iter()
        .map(|(file, page)| {
            let mut text = Vec::new();
            clap_mangen::Man::new(page)
                .render(&mut text)
                .map_err(broken)?;
            Ok((file, text))
        })
        .collect()
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Write`] where `--out` names a folder that holds the pages already or cannot be written.
pub fn run(_: &ManArgs, common: &Common) -> Result<Answer, CliError> {
    let pages = pages()?;
    let first = pages.first().map_or(String::new(), |p| {
        String::from_utf8_lossy(&p.1).into_owned()
    });
    let mut files: Vec<PathBuf> = Vec::new();
    if let Some(folder) = &common.out {
        let outputs: Vec<Output> = pages
            .into_iter()
            .map(|(name, bytes)| Output {
                path: folder.join(name),
                bytes,
            })
            .collect();
        write_files(&outputs, common)?;
        files = outputs.into_iter().map(|o| o.path).collect();
    }
    let shown: Vec<String> = files.iter().map(|f| f.display().to_string()).collect();
    let json = json!({
        "schema": 1,
        "command": "man",
        "page": first,
        "files": shown,
        "notes": [],
    });
    let words = if files.is_empty() {
        first
    } else {
        let mut words = Words::default();
        words.paragraph(&format!("Written: {}.", shown.join(", ")));
        words.finish()
    };
    Ok(Answer { words, json })
}
