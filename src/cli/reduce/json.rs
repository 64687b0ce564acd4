//! What `reduce` found, as JSON.

use serde_json::{Map, Value, json};

use crate::bench::Channel;
use crate::logs::Span;
use crate::logs::clock::utc;
use crate::logs::report::LogReport;
use crate::steady::{Plateau, RunResult};

/// A moment: UTC, or seconds since the logs' zero.
fn moment(t: f64, elapsed: bool) -> Option<String> {
    if elapsed {
        Some(format!("{t:.1} s"))
    } else {
        utc(t)
    }
}

/// The name of a channel's figure in JSON, with its unit.
fn key(channel: Channel) -> &'static str {
    match channel {
        Channel::IntakeTemp => "intake_c",
        Channel::IntakeRh => "intake_rh",
        Channel::OutletTemp => "outlet_c",
        Channel::OutletRh => "outlet_rh",
        Channel::AmbientTemp => "ambient_c",
        Channel::Airflow => "airflow_m3h",
        Channel::AirSpeed => "air_speed_ms",
        Channel::Voltage => "voltage_v",
        Channel::Current => "current_a",
        Channel::Power => "power_w",
        Channel::Pressure => "pressure_pa",
        Channel::Condensate => "condensate_kgh",
    }
}

fn figures(plateau: Option<&Plateau>) -> (Value, Value) {
    // The usual ones are always there, so that a reader finds null and not nothing.
    let usual = [
        Channel::Power,
        Channel::IntakeTemp,
        Channel::OutletTemp,
        Channel::AmbientTemp,
    ];
    let (mut values, mut u) = (Map::new(), Map::new());
    for channel in usual.into_iter().chain(Channel::ALL) {
        let mean = plateau.and_then(|p| p.values.get(&channel));
        if mean.is_none() && !usual.contains(&channel) {
            continue;
        }
        values.insert(key(channel).to_owned(), json!(mean.map(|m| m.value)));
        u.insert(key(channel).to_owned(), json!(mean.and_then(|m| m.u)));
    }
    (Value::Object(values), Value::Object(u))
}

fn span_json(span: Option<Span>, elapsed: bool) -> Map<String, Value> {
    let mut out = Map::new();
    let at = |t: Option<f64>| json!(t.and_then(|t| moment(t, elapsed)));
    out.insert("start".to_owned(), at(span.map(|s| s.start)));
    out.insert("end".to_owned(), at(span.map(|s| s.end)));
    out.insert(
        "duration_s".to_owned(),
        json!(span.map(|s| s.length().round())),
    );
    out
}

pub(super) fn run_json(run: &RunResult, elapsed: bool) -> Value {
    let judged = &run.judged;
    let mut out = Map::new();
    out.insert("run".to_owned(), json!(run.row.run));
    out.insert("status".to_owned(), json!(judged.status));
    out.extend(span_json(judged.plateau.as_ref().map(|p| p.span), elapsed));
    let (values, u) = figures(judged.plateau.as_ref());
    out.insert("values".to_owned(), values);
    out.insert("u".to_owned(), u);
    out.insert(
        "left_out".to_owned(),
        run.left_out
            .iter()
            .map(|(span, why)| {
                let mut part = span_json(Some(*span), elapsed);
                part.insert("why".to_owned(), json!(why.words()));
                Value::Object(part)
            })
            .collect(),
    );
    out.insert("reason".to_owned(), json!(judged.reason));
    out.insert("notes".to_owned(), json!(judged.notes));
    out.insert(
        "plateaus".to_owned(),
        judged
            .plateaus
            .iter()
            .map(|p| {
                let mut plateau = span_json(Some(p.span), elapsed);
                let (values, u) = figures(Some(p));
                plateau.insert("values".to_owned(), values);
                plateau.insert("u".to_owned(), u);
                Value::Object(plateau)
            })
            .collect(),
    );
    out.insert(
        "cycles".to_owned(),
        judged.cycles.as_ref().map_or(Value::Null, |c| {
            json!({
                "count": c.count, "period_s": c.period_s, "duty": c.duty, "low_w": c.low_w, "high_w": c.high_w,
            })
        }),
    );
    Value::Object(out)
}

pub(super) fn log_json(log: &LogReport) -> Value {
    json!({
        "files": log.files,
        "rows": log.rows,
        "broken": log.broken,
        "repeated_times": log.order.repeated,
        "doubled_lines": log.order.doubled,
        "clock_went_back": log.order.backward,
        "left_out": log.order.set_aside,
        "outside_windows": log.outside,
    })
}
