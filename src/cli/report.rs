//! `steadydraw report`: the write-up.
use super::{Answer, CliError, Common};
use std::path::PathBuf;
/// Arguments of `report`.
#[derive(clap::Args, Debug)]
pub struct ReportArgs {
    /// Bench folder (or points table); the demo where none is given
    pub bench: Option<PathBuf>,
}
/// Runs the command.
pub fn run(_args: &ReportArgs, _common: &Common) -> Result<Answer, CliError> {
    Err(CliError::NoAnswer("not yet".to_owned()))
}
