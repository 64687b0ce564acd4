//! Settings as they are named on the command line.

use serde_json::{Value, json};

use super::CliError;
use super::predict::parse_temperature;
use crate::bench::did_you_mean;
use crate::fit::forms::DrawData;

/// The ambient and the settings that a question is about.
#[derive(clap::Args, Debug)]
pub struct AskedAt {
    /// Ambient (condenser-side) temperature with its unit; the runs' mean where none is given
    #[arg(long, value_name = "TEMPERATURE", value_parser = parse_temperature, allow_hyphen_values = true)]
    pub ambient: Option<f64>,
    /// Only this mode
    #[arg(long, value_name = "MODE")]
    pub mode: Option<String>,
    /// Only this fan level
    #[arg(long, value_name = "LEVEL")]
    pub fan: Option<String>,
}

/// Fan levels stay what the table wrote: a number where it is one.
pub(super) fn fan_json(data: &DrawData, level: usize) -> Value {
    label_json(data.levels.get(level).map_or("", |l| l.label.as_str()))
}

/// A fan level by its label.
pub(super) fn label_json(label: &str) -> Value {
    match label.parse::<i64>() {
        Ok(n) => json!(n),
        Err(_) => json!(label),
    }
}

/// The settings asked for: all tested ones, or those of the mode and level named.
pub(super) fn settings(
    data: &DrawData,
    mode: Option<&str>,
    fan: Option<&str>,
) -> Result<Vec<(usize, usize)>, CliError> {
    let mode = mode
        .map(|m| find("mode", m, data.modes.iter().map(String::as_str)))
        .transpose()?;
    let level = fan
        .map(|f| find("fan level", f, data.levels.iter().map(|l| l.label.as_str())))
        .transpose()?;
    let mut list = Vec::new();
    for m in 0..data.modes.len() {
        for l in 0..data.levels.len() {
            let asked = mode.is_none_or(|x| x == m) && level.is_none_or(|x| x == l);
            let tested = data
                .tested
                .get(m)
                .and_then(|t| t.get(l))
                .is_some_and(|n| *n > 0);
            let named = mode.is_some() && level.is_some();
            if asked && (tested || named) {
                list.push((m, l));
            }
        }
    }
    if list.is_empty() {
        return Err(CliError::NoAnswer("no tested setting matches; name both --mode and --fan to ask about one that was not tested".to_owned()));
    }
    Ok(list)
}

fn find<'a>(
    what: &str,
    asked: &str,
    have: impl Iterator<Item = &'a str>,
) -> Result<usize, CliError> {
    let have: Vec<&str> = have.collect();
    if let Some(i) = have.iter().position(|h| *h == asked) {
        return Ok(i);
    }
    let names: Vec<&str> = have.iter().copied().filter(|h| !h.is_empty()).collect();
    Err(CliError::Misuse(if names.is_empty() {
        format!(
            "the bench names no {what}s; leave --{} out",
            what.split(' ').next().unwrap_or(what)
        )
    } else {
        format!(
            "the bench has no {what} `{asked}`; it has {}{}",
            names.join(", "),
            did_you_mean(asked, names.iter().copied())
        )
    }))
}
