//! Reasons in words.

use std::fmt;

use super::readings::Readings;
use super::search::{Search, Stretch, Trouble, Watched};
use crate::bench::Channel;
use crate::bench::logs::SteadyRules;
use crate::logs::window::Span;
use crate::quantity::significant;

/// A length of time as people say it.
pub fn time(s: f64) -> String {
    if s < 90.0 {
        format!("{s:.0} s")
    } else if s < 2.0 * 3600.0 {
        format!("{:.0} min", s / 60.0)
    } else {
        format!("{:.1} h", s / 3600.0)
    }
}

/// A figure; the precision of its format is the count of significant digits.
pub struct Figure(pub f64);

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let digits = f.precision().unwrap_or(4) as u32;
        f.write_str(&significant(self.0, digits))
    }
}

fn noun(channel: Channel) -> &'static str {
    match channel {
        Channel::Power => "the draw",
        Channel::IntakeTemp => "the intake",
        Channel::OutletTemp => "the outlet",
        other => other.name(),
    }
}

/// A limit or a figure beside it, as people write it.
fn amount(channel: Channel, value: f64) -> String {
    if channel == Channel::Power {
        format!("{:.1} %", 100.0 * value)
    } else {
        format!("{value:.2} K")
    }
}

/// Why a stretch is steady.
pub fn steady(search: &Search, s: Stretch, length_s: f64, _rules: &SteadyRules) -> String {
    let parts: Vec<String> = search
        .watched
        .iter()
        .filter_map(|w| {
            let line = w.blocks.line(s.from, s.to)?;
            let (low, high) = w.blocks.range(s.from, s.to)?;
            let unit = w.unit_at(line.mean);
            Some(format!(
                "{} drifts by {} (allowed {}) and spreads over {} (allowed {})",
                noun(w.channel),
                amount(w.channel, line.slope.abs() * s.len() as f64 / unit),
                amount(w.channel, w.drift),
                amount(w.channel, (high - low) / unit),
                amount(w.channel, w.spread)
            ))
        })
        .collect();
    format!("for {}: {}", time(length_s), parts.join(", "))
}

/// How two plateaus differ.
pub fn difference(channel: Channel, early: f64, late: f64) -> String {
    if channel == Channel::Power {
        format!(
            "the draw stands at {:.4} W, then at {:.4} W",
            Figure(early),
            Figure(late)
        )
    } else {
        format!(
            "{} stands at {early:.1} degC, then at {late:.1} degC",
            noun(channel)
        )
    }
}

/// What keeps a window from being steady.
pub fn trouble(trouble: &Trouble, rules: &SteadyRules) -> String {
    match trouble {
        Trouble::Drift {
            channel,
            value,
            limit,
        } => format!(
            "{} drifts by {} in {} (allowed {})",
            noun(*channel),
            amount(*channel, *value),
            time(rules.horizon_s()),
            amount(*channel, *limit)
        ),
        Trouble::Spread {
            channel,
            value,
            limit,
        } => format!(
            "{} spreads over {} (allowed {}) without regular cycles",
            noun(*channel),
            amount(*channel, *value),
            amount(*channel, *limit)
        ),
        Trouble::Off => "the unit is off in the later part of the window".to_owned(),
        Trouble::Empty { channel } => format!("too few readings of {}", noun(*channel)),
    }
}

/// A drift that goes on through what would else be a steady stretch.
pub fn goes_on(w: &Watched, value: f64, rules: &SteadyRules) -> String {
    format!(
        "{} goes on drifting, by {} in {} (allowed {})",
        noun(w.channel),
        amount(w.channel, value.abs()),
        time(rules.horizon_s()),
        amount(w.channel, w.drift)
    )
}

/// Pauses in the readings of a stretch, longer than ten usual intervals and a minute; channels with the same pauses together.
pub fn pauses(readings: &Readings, span: Span) -> Vec<String> {
    let mut found: Vec<(Vec<&str>, String)> = Vec::new();
    for (channel, series) in readings.all() {
        let (Some(interval), Some(limit)) = (series.interval(), series.pause_limit()) else {
            continue;
        };
        let pauses = series.pauses(span.start, span.end, limit);
        if pauses.is_empty() {
            continue;
        }
        let all: f64 = pauses.iter().map(|(a, b)| b - a).sum();
        let count = if pauses.len() == 1 {
            String::new()
        } else {
            format!(" in {} pauses", pauses.len())
        };
        let text = format!(
            "for {}{count} (usually every {})",
            time(all),
            time(interval)
        );
        match found.iter_mut().find(|(_, t)| *t == text) {
            Some((names, _)) => names.push(channel.name()),
            None => found.push((vec![channel.name()], text)),
        }
    }
    found
        .into_iter()
        .map(|(names, text)| format!("no readings of {} {text}", names.join(", ")))
        .collect()
}
