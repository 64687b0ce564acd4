//! `steadydraw schema`: what the JSON of a command holds.

use super::words::Words;
use super::{Answer, CliError};
use crate::bench::did_you_mean;

/// The published contracts by command; `error` is that of any command that cannot answer.
pub const SCHEMAS: [(&str, &str); 16] = [
    ("new", include_str!("../../data/schema/new.json")),
    ("plan", include_str!("../../data/schema/plan.json")),
    ("check", include_str!("../../data/schema/check.json")),
    ("reduce", include_str!("../../data/schema/reduce.json")),
    ("fit", include_str!("../../data/schema/fit.json")),
    ("coupling", include_str!("../../data/schema/coupling.json")),
    ("predict", include_str!("../../data/schema/predict.json")),
    ("runtime", include_str!("../../data/schema/runtime.json")),
    (
        "discharge",
        include_str!("../../data/schema/discharge.json"),
    ),
    ("curve", include_str!("../../data/schema/curve.json")),
    ("claims", include_str!("../../data/schema/claims.json")),
    ("compare", include_str!("../../data/schema/compare.json")),
    ("report", include_str!("../../data/schema/report.json")),
    (
        "completions",
        include_str!("../../data/schema/completions.json"),
    ),
    ("man", include_str!("../../data/schema/man.json")),
    ("error", include_str!("../../data/schema/error.json")),
];

const EXAMPLES: &str = "Examples:
  steadydraw schema                  the commands that have one
  steadydraw schema predict          what `steadydraw predict --json` prints
  steadydraw schema error            what any command prints with --json where it cannot answer

JSON Schema, draft 2020-12. Objects are closed: a key that is not named does not appear. A later version of the
program may add keys; take the schema from the program that you run.";

/// Arguments of `schema`.
#[derive(clap::Args, Debug)]
#[command(after_help = EXAMPLES)]
pub struct SchemaArgs {
    /// Command whose JSON is asked about, or `error`; all names where none is given
    pub name: Option<String>,
}

/// Runs the command.
///
/// # Errors
/// [`CliError::Misuse`] for a name that has no schema.
pub fn run(args: &SchemaArgs) -> Result<Answer, CliError> {
    let names = || SCHEMAS.iter().map(|s| s.0);
    let Some(asked) = &args.name else {
        let mut words = Words::default();
        words.paragraph(
            "`steadydraw schema NAME` prints the JSON Schema of a command's --json. Names:",
        );
        for name in names() {
            words.verbatim(name);
        }
        let list: Vec<&str> = names().collect();
        return Ok(Answer {
            words: words.finish(),
            json: serde_json::json!(list),
        });
    };
    let Some((_, text)) = SCHEMAS.iter().find(|s| s.0 == asked) else {
        return Err(CliError::Misuse(format!(
            "`{asked}` has no schema; names are {}{}",
            names().collect::<Vec<_>>().join(", "),
            did_you_mean(asked, names())
        )));
    };
    Ok(Answer {
        words: (*text).to_owned(),
        json: serde_json::from_str(text)
            .map_err(|e| CliError::NoAnswer(format!("the schema of {asked} is damaged: {e}")))?,
    })
}
