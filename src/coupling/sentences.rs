//! The answer in three sentences: what it is, by how much, and how well it stands.

use crate::fit::forms::{DrawData, FlowScale};
use crate::quantity::Said;

use super::elasticity::Elasticity;
use super::verdict::Verdict;
use super::{Coupling, ModeAnswer};

/// Three sentences that a reader of the write-up understands.
pub(super) fn sentences(data: &DrawData, answer: &Coupling, level: f64) -> Vec<Said> {
    let apart = modes_by_verdict(answer);
    vec![
        verdict_sentence(data, answer, apart.as_ref()).into(),
        figure_sentence(data, answer, apart.is_some(), level).into(),
        standing_sentence(answer),
    ]
}

fn verdict_sentence(
    data: &DrawData,
    answer: &Coupling,
    apart: Option<&(Vec<&str>, Vec<&str>)>,
) -> String {
    if let Some((coupled, independent)) = apart {
        return format!(
            "Fan level and compressor are tied together in {}, but not in {}.",
            listed(coupled.iter().map(|m| quoted(m))),
            listed(independent.iter().map(|m| quoted(m)))
        );
    }
    // Where modes differ, a mode that is open by itself is not spoken for by the others.
    let (with, open): (Vec<&ModeAnswer>, Vec<&ModeAnswer>) =
        { answer.per_mode.iter() }.partition(|m| m.verdict == answer.verdict);
    if answer.modes_differ
        && answer.verdict != Verdict::Undecided
        && !with.is_empty()
        && !open.is_empty()
    {
        let named = |list: &[&ModeAnswer]| listed(list.iter().map(|m| quoted(&m.mode)));
        let what = match answer.verdict {
            Verdict::Coupled => "tied together",
            _ => "independent",
        };
        return format!(
            "Fan level and compressor are {what} in {}; in {} the runs do not decide.",
            named(&with),
            named(&open)
        );
    }
    match (answer.verdict, &answer.elasticity) {
        (Verdict::Coupled, _) => "Fan level and compressor are tied together: the fan level moves the compressor's draw beyond what more air does to a compressor at fixed speed.".to_owned(),
        (Verdict::Independent, _) => "Fan level and compressor are independent: what the compressor side draws hardly moves with the fan level.".to_owned(),
        (_, Some(_)) => "These runs do not decide whether fan level and compressor are tied together.".to_owned(),
        (_, None) => {
            let why = if !data.fan_varied_within_a_mode() {
                "every mode was run at one fan level only, so mode and fan level never varied apart"
            } else if data.flow_scale == FlowScale::None {
                "neither airflow nor names put the fan levels in order"
            } else {
                "they are too few"
            };
            format!("These runs cannot tell whether fan level and compressor are tied together: {why}.")
        }
    }
}

/// By how much, within what allowance, and what was done about the blower.
fn figure_sentence(data: &DrawData, answer: &Coupling, by_mode: bool, level: f64) -> String {
    let Some(e) = &answer.elasticity else {
        return if data.fan_varied_within_a_mode() {
            "No elasticity can be given.".to_owned()
        } else {
            "No analysis can say which of the two moved the draw.".to_owned()
        };
    };
    let percent = format!("{:.0} %", 100.0 * level);
    let range = |e: &Elasticity| format!("{:+.1} to {:+.1} %", 10.0 * e.low, 10.0 * e.high);
    let figures = if by_mode || answer.modes_differ {
        let of = |m: &ModeAnswer| {
            let e = m.elasticity?;
            let value = 10.0 * e.value;
            Some(format!(
                "{value:+.1} % ({}) in {}",
                range(&e),
                quoted(&m.mode)
            ))
        };
        let list = listed(answer.per_mode.iter().filter_map(of));
        format!("by {list} ({percent} intervals, all modes together)")
    } else if answer.verdict == Verdict::Undecided {
        format!(
            "by something between {} ({percent} interval)",
            range(e).replace(" to ", " and ")
        )
    } else {
        format!(
            "by {:+.1} % ({percent} interval {})",
            10.0 * e.value,
            range(e)
        )
    };
    let allowed = format!(
        "a fixed-speed compressor stays within {:+.0} to {:+.0} %",
        10.0 * answer.allowance.down,
        10.0 * answer.allowance.up
    );
    let more = match data.flow_scale {
        FlowScale::RelativeSpeed => "10 % more fan speed (as stated; no airflow was measured)",
        FlowScale::LevelNumber => {
            "a fan level's number 10 % higher (it stands in for the airflow, which was not measured)"
        }
        _ => "10 % more airflow",
    };
    format!(
        "For {more} the compressor side's draw changes {figures}, where {allowed}; {}.",
        blower_clause(data, answer)
    )
}

fn blower_clause(data: &DrawData, answer: &Coupling) -> String {
    let fan = &answer.fan_draw;
    if fan.source != "bounded" {
        return "the blower's own draw, from the fan-only runs, was taken off first".to_owned();
    }
    if fan.limit_w == Some(0.0) {
        return "the blower has no part in this draw (its limit is stated as 0 W), so nothing was taken off".to_owned();
    }
    let limit =
        { fan.limit_w }.map_or_else(|| "an unknown limit".to_owned(), |w| format!("{w:.0} W"));
    let why = if data.fan_only_runs == 0 {
        "no fan-only runs were made"
    } else {
        "the fan-only runs do not tell the blower's own draw (they leave fan levels out, or draw nearly as much as the cooling runs)"
    };
    let break_even = fan.break_even_w.map_or(String::new(), |w| {
        format!(", and one of about {w:.0} W there would explain the data without any coupling")
    });
    format!(
        "{why}, so the blower was taken as anything from nothing to {limit} at the highest level{break_even}"
    )
}

/// Which other lines agree, which do not, and what else could explain the answer; or what would settle it.
fn standing_sentence(answer: &Coupling) -> Said {
    if answer.verdict == Verdict::Undecided {
        return match answer.would_settle.as_slice() {
            [] => "No further runs of this kind would settle it.".into(),
            [one] => Said::of(|units| {
                format!("What would settle it: {}", lower_first(one.in_units(units)))
            }),
            [first, rest @ ..] => Said::of(|units| {
                format!(
                    "What would settle it, with {} more below: {}",
                    rest.len(),
                    lower_first(first.in_units(units))
                )
            }),
        };
    }
    let lines = |wanted: Standing| -> Vec<String> {
        { answer.evidence.iter() }
            .filter(|l| {
                l.name != "elasticity" && standing(l.name, l.says, answer.verdict) == Some(wanted)
            })
            .map(|l| plain_name(l.name).to_owned())
            .collect()
    };
    let clauses: Vec<String> = [
        (Standing::Agrees, "agree", "agrees"),
        (Standing::Conflicts, "speak against it", "speaks against it"),
        (Standing::Open, "stay open", "stays open"),
    ]
    .into_iter()
    .filter_map(|(wanted, many, one)| {
        let names = lines(wanted);
        let verb = match names.as_slice() {
            [name] if !is_plural(name) => one,
            _ => many,
        };
        (!names.is_empty()).then(|| format!("{} {verb}", listed(names.into_iter())))
    })
    .collect();
    let rest = if answer.confounders.is_empty() {
        "nothing else that was recorded differs with the fan level so as to explain it".to_owned()
    } else {
        let names = answer.confounders.iter().map(|c| c.name.to_owned());
        format!("mind what differed with the fan level: {}", listed(names))
    };
    if clauses.is_empty() {
        return format!("No other line of evidence speaks on it; {rest}.").into();
    }
    format!(
        "Of the other lines of evidence, {}; {rest}.",
        clauses.join(", ")
    )
    .into()
}

/// How a line of evidence stands to the verdict.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Standing {
    Agrees,
    Conflicts,
    Open,
}

/// `None` for a line that is silent, or that speaks of something else. A test that the fan matters at all agrees with `coupled` and says nothing
/// of `independent`: with many runs the little that a fixed speed does is seen too.
fn standing(name: &str, says: &str, verdict: Verdict) -> Option<Standing> {
    match (name, says, verdict) {
        ("mode-given-fan", ..) | (_, "silent", _) => None,
        (_, "fan-matters", Verdict::Coupled) => Some(Standing::Agrees),
        (_, "fan-not-seen", Verdict::Coupled) => Some(Standing::Conflicts),
        (_, "fan-not-seen", Verdict::Independent) => Some(Standing::Agrees),
        (_, "fan-matters", _) => None,
        (_, "undecided", _) => Some(Standing::Open),
        (_, says, verdict) if says == verdict.name() => Some(Standing::Agrees),
        _ => Some(Standing::Conflicts),
    }
}

fn plain_name(name: &str) -> &str {
    match name {
        "nested-models" => "the nested-model test",
        "permutation" => "the permutation test",
        "levels" => "the levels one by one",
        "successive-runs" => "the steps between successive runs",
        "air-side" => "the air side",
        other => other,
    }
}

fn is_plural(plain_name: &str) -> bool {
    plain_name.starts_with("the levels") || plain_name.starts_with("the steps")
}

fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_lowercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// Modes shown to be coupled and modes shown to be independent, where there are both.
fn modes_by_verdict(answer: &Coupling) -> Option<(Vec<&str>, Vec<&str>)> {
    let with = |v: Verdict| -> Vec<&str> {
        answer
            .per_mode
            .iter()
            .filter(|m| m.verdict == v)
            .map(|m| m.mode.as_str())
            .collect()
    };
    let (coupled, independent) = (with(Verdict::Coupled), with(Verdict::Independent));
    (!coupled.is_empty() && !independent.is_empty()).then_some((coupled, independent))
}

fn quoted(mode: &str) -> String {
    format!("“{mode}”")
}

/// "a, b and c".
fn listed(items: impl Iterator<Item = String>) -> String {
    let items: Vec<String> = items.collect();
    match items.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        [head @ .., last] => format!("{} and {last}", head.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_agree_conflict_or_stay_open() {
        let of = |name, says, verdict| standing(name, says, verdict);
        assert!(of("air-side", "coupled", Verdict::Coupled) == Some(Standing::Agrees));
        assert!(of("air-side", "independent", Verdict::Coupled) == Some(Standing::Conflicts));
        assert!(of("levels", "undecided", Verdict::Coupled) == Some(Standing::Open));
        assert!(of("permutation", "fan-matters", Verdict::Independent).is_none());
        assert!(of("successive-runs", "silent", Verdict::Coupled).is_none());
    }
}
