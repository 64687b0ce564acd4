//! `steadydraw completions`: scripts that let a shell complete commands and options.

use clap_complete::Shell;
use serde_json::json;

use super::program::command;
use super::{Answer, CliError};

const EXAMPLES: &str = "Examples:
  steadydraw completions bash > steadydraw.bash
  steadydraw completions zsh > _steadydraw
  steadydraw completions fish > steadydraw.fish

Where a shell looks for them: bash in ~/.local/share/bash-completion/completions (the file then bears the name
steadydraw), zsh in a folder of $fpath, fish in ~/.config/fish/completions.";

/// Arguments of `completions`.
#[derive(clap::Args, Debug)]
#[command(after_help = EXAMPLES)]
pub struct CompletionsArgs {
    /// The shell
    pub shell: Shell,
}

/// Runs the command.
///
/// # Errors
/// None so far.
pub fn run(args: &CompletionsArgs) -> Result<Answer, CliError> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut command(), "steadydraw", &mut script);
    let script = String::from_utf8_lossy(&script).into_owned();
    let json = json!({
        "schema": 1,
        "command": "completions",
        "shell": args.shell.to_string(),
        "script": script,
        "notes": [],
    });
    Ok(Answer {
        words: script,
        json,
    })
}
