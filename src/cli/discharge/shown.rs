//! What `discharge` says, in words and as JSON.

use std::path::PathBuf;

use serde_json::{Value, json};

use crate::cli::words::Words;
use crate::cli::{Answer, Common};
use crate::quantity::{significant, to_uncertainty};
use crate::report::tables::{Cell, Column, Table};
use crate::report::words::decimals_for;
use crate::supply::discharge::{Discharge, FileResult, Resistance, Test, Worth};

/// The answer.
pub(super) fn answer(
    d: &Discharge,
    written: &[PathBuf],
    demo_note: Option<&str>,
    common: &Common,
) -> Answer {
    let names: Vec<&str> = d.files.iter().map(|f| f.file.as_str()).collect();
    let title = match names.as_slice() {
        [one] => format!("Discharge test: {one}"),
        _ => format!("Discharge tests: {}", names.join(", ")),
    };
    let mut words = Words::start(&title, demo_note);
    words.gap();
    for sentence in sentences(d, common.level) {
        words.paragraph(&sentence);
    }
    words.table(&tests_table(d));
    words.heading("How it was read");
    for item in reading(d) {
        words.item(&item);
    }
    let notes = d.notes();
    words.notes(&notes, common.quiet);
    words.heading("Cautions");
    for caution in crate::supply::cautions::DISCHARGE {
        words.item(caution);
    }
    if !written.is_empty() {
        let list: Vec<String> = written.iter().map(|p| p.display().to_string()).collect();
        words.gap();
        words.paragraph(&format!("Written: {}.", list.join(", ")));
    }
    Answer {
        words: words.finish(),
        json: as_json(d, &notes, written, demo_note, common.level),
    }
}

fn interval_words(w: &Worth, level: f64, unit: &str) -> String {
    match w.interval(level) {
        Some((low, high)) => format!(
            " ({:.0} % interval {} to {}{unit})",
            100.0 * level,
            to_uncertainty(low, w.u),
            to_uncertainty(high, w.u)
        ),
        None => String::new(),
    }
}

fn sentences(d: &Discharge, level: f64) -> Vec<String> {
    let Some(head) = d.headline() else {
        return Vec::new();
    };
    let mut out = vec![format!(
        "Capacity: {} Ah{} and {} Wh{}, at {} A on average; mean voltage {} V.",
        to_uncertainty(head.charge_ah.value, head.charge_ah.u),
        interval_words(&head.charge_ah, level, ""),
        to_uncertainty(head.energy_wh.value, head.energy_wh.u),
        interval_words(&head.energy_wh, level, ""),
        significant(head.mean_a, 3),
        significant(head.mean_v, 4),
    )];
    let share = |w: Worth| {
        let percent = w.times(100.0);
        format!(
            "{} %{}",
            to_uncertainty(percent.value, percent.u),
            interval_words(&percent, level, "")
        )
    };
    if let (Some(w), Some(rated)) = (d.ratio_ah(), d.rating.capacity_ah) {
        out.push(format!(
            "Of the rated {} Ah it gave {}.",
            plain(rated),
            share(w)
        ));
    }
    if let (Some(w), Some(rated)) = (d.ratio_wh(), d.rating.rated_wh()) {
        let how = if d.rating.energy_wh.is_some() {
            ""
        } else {
            " (rated capacity times nominal voltage)"
        };
        out.push(format!("Of {} Wh{how} it gave {}.", plain(rated), share(w)));
    }
    if let Some(w) = d.cost_per_wh() {
        out.push(format!(
            "A Wh that it gave costs {}{} of whatever the price is in.",
            to_uncertainty(w.value, w.u),
            interval_words(&w, level, "")
        ));
    }
    if let (Some((s_ah, s_wh)), n) = (head.scatter, head.tests.len()) {
        out.push(format!(
            "{n} tests pooled: they differ by a standard deviation of {} Ah and {} Wh.",
            significant(s_ah, 2),
            significant(s_wh, 2)
        ));
    }
    out.extend(d.resistance().map(|r| resistance_words(&r, level)));
    out
}

/// A figure as somebody stated it: no more decimals than it has, at most four.
fn plain(v: f64) -> String {
    let text = format!("{v:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn resistance_words(r: &Resistance, level: f64) -> String {
    let worth = Worth {
        value: r.ohm,
        u: r.u_ohm,
        dof: r.dof,
    }
    .times(1000.0);
    let steps = if r.steps == 1 {
        "one load step".to_owned()
    } else {
        format!("{} load steps", r.steps)
    };
    format!(
        "Internal resistance: {} mohm{}, from {steps}{}.",
        to_uncertainty(worth.value, worth.u),
        r.interval(level)
            .map_or_else(String::new, |(low, high)| format!(
                " ({:.0} % interval {} to {})",
                100.0 * level,
                to_uncertainty(1000.0 * low, worth.u),
                to_uncertainty(1000.0 * high, worth.u)
            )),
        if r.within_s > 0.0 {
            format!(" read within {} s", significant(r.within_s, 2))
        } else {
            String::new()
        }
    )
}

fn tests_table(d: &Discharge) -> Table {
    let mut t = Table::new(
        "Tests",
        [
            Column::text("file"),
            Column::number("mean current", "A"),
            Column::number("under load", "h"),
            Column::number("charge", "Ah"),
            Column::number("energy", "Wh"),
            Column::number("mean voltage", "V"),
            Column::number("start", "V"),
            Column::number("end", "V"),
        ],
    );
    // Five digits: more than any meter is good for.
    let digits = |v: f64| Cell::number(v, decimals_for(v / 1000.0));
    for (file, test) in d.tests() {
        t.row([
            Cell::text(&*file.file),
            digits(test.mean_a()),
            Cell::number(test.load_h, 3),
            digits(test.charge_ah),
            digits(test.energy_wh),
            digits(test.mean_v()),
            digits(test.start_v),
            digits(test.end_v),
        ]);
    }
    t
}

/// What was taken for what, so that nothing is guessed silently.
fn reading(d: &Discharge) -> Vec<String> {
    d.files
        .iter()
        .map(|f| {
            let mut parts = f.taken.clone();
            parts.extend(f.sign_words().map(|s| match d.options.sign {
                Some(_) => format!("{s}, as the option says"),
                None => format!("{s}: the voltage falls under it"),
            }));
            if f.interval_s > 0.0 {
                parts.push(format!(
                    "a reading every {} s",
                    significant(f.interval_s, 2)
                ));
            }
            if f.gap_limit_s.is_finite() {
                parts.push(format!(
                    "a gap is longer than {} s",
                    significant(f.gap_limit_s, 3)
                ));
            } else {
                parts.push("the load as stated, throughout".to_owned());
            }
            format!("{}: {}.", f.file, parts.join("; "))
        })
        .collect()
}

fn ends(w: Option<Worth>, level: f64) -> (Option<f64>, Option<f64>) {
    match w.and_then(|w| w.interval(level)) {
        Some((low, high)) => (Some(low), Some(high)),
        None => (None, None),
    }
}

fn as_json(
    d: &Discharge,
    notes: &[String],
    written: &[PathBuf],
    demo_note: Option<&str>,
    level: f64,
) -> Value {
    let head = d.headline();
    let (ah, wh) = (head.map(|h| h.charge_ah), head.map(|h| h.energy_wh));
    let (ratio_ah, ratio_wh, cost) = (d.ratio_ah(), d.ratio_wh(), d.cost_per_wh());
    let value = |w: Option<Worth>| w.map(|w| w.value);
    let u = |w: Option<Worth>| w.and_then(|w| w.u);
    let mut all: Vec<String> = demo_note.map(str::to_owned).into_iter().collect();
    all.extend(notes.iter().cloned());
    let pair = |w: Option<Worth>| {
        let (low, high) = ends(w, level);
        json!({ "low": low, "high": high })
    };
    json!({
        "schema": 1,
        "command": "discharge",
        "level": level,
        "capacity_ah": value(ah),
        "energy_wh": value(wh),
        "mean_voltage_v": head.map(|h| h.mean_v),
        "mean_current_a": head.map(|h| h.mean_a),
        "ratio_ah": value(ratio_ah),
        "ratio_wh": value(ratio_wh),
        "cost_per_wh": value(cost),
        "u": {
            "capacity_ah": u(ah),
            "energy_wh": u(wh),
            "ratio_ah": u(ratio_ah),
            "ratio_wh": u(ratio_wh),
            "cost_per_wh": u(cost),
        },
        "intervals": {
            "capacity_ah": pair(ah),
            "energy_wh": pair(wh),
            "ratio_ah": pair(ratio_ah),
            "ratio_wh": pair(ratio_wh),
            "cost_per_wh": pair(cost),
        },
        "rating": {
            "capacity_ah": d.rating.capacity_ah,
            "energy_wh": d.rating.rated_wh(),
            "nominal_v": d.rating.nominal_v,
            "price": d.rating.price,
        },
        "resistance": d.resistance().map(|r| resistance_json(&r, level)),
        "cutoff_v": d.options.cutoff_v,
        "pooled": d.groups.iter().map(|g| json!({
            "tests": g.tests,
            "mean_current_a": g.mean_a,
            "mean_voltage_v": g.mean_v,
            "capacity_ah": g.charge_ah.value,
            "energy_wh": g.energy_wh.value,
            "u": { "capacity_ah": g.charge_ah.u, "energy_wh": g.energy_wh.u },
            "scatter": { "capacity_ah": g.scatter.map(|s| s.0), "energy_wh": g.scatter.map(|s| s.1) },
        })).collect::<Vec<_>>(),
        "files": d.files.iter().map(|f| file_json(f, level)).collect::<Vec<_>>(),
        "tests": d.tests().map(|(f, t)| test_json(f, t)).collect::<Vec<_>>(),
        "written": written.iter().map(|p| p.display().to_string()).collect::<Vec<_>>(),
        "cautions": crate::supply::cautions::DISCHARGE,
        "notes": all,
    })
}

fn file_json(f: &FileResult, level: f64) -> Value {
    json!({
        "file": f.file,
        "taken": f.taken,
        "discharge_sign": f.sign,
        "interval_s": f.interval_s,
        "gap_limit_s": f.gap_limit_s.is_finite().then_some(f.gap_limit_s),
        "resistance": f.resistance.map(|r| resistance_json(&r, level)),
    })
}

fn resistance_json(r: &Resistance, level: f64) -> Value {
    let ends = r.interval(level);
    json!({
        "ohm": r.ohm,
        "u_ohm": r.u_ohm,
        "low_ohm": ends.map(|e| e.0),
        "high_ohm": ends.map(|e| e.1),
        "steps": r.steps,
        "within_s": r.within_s,
    })
}

fn test_json(f: &FileResult, t: &Test) -> Value {
    let g = &t.gaps;
    json!({
        "file": f.file,
        "start_s": t.start_s,
        "end_s": t.end_s,
        "load_h": t.load_h,
        "capacity_ah": t.charge_ah,
        "energy_wh": t.energy_wh,
        "mean_voltage_v": t.mean_v(),
        "mean_current_a": t.mean_a(),
        "start_v": t.start_v,
        "end_v": t.end_v,
        "reached_cutoff": t.reached_cutoff,
        "gaps": {
            "count": g.count,
            "longest_s": g.longest_s,
            "capacity_low_ah": t.charge_ah - g.less_ah,
            "capacity_high_ah": t.charge_ah + g.more_ah,
            "energy_low_wh": t.energy_wh - g.less_wh,
            "energy_high_wh": t.energy_wh + g.more_wh,
        },
    })
}
