//! The answers in a few sentences, in the order in which a reader asks. Each is made from a result and says no more than it.

use super::Results;
use super::tables::{level_name, name, tested};
use crate::air::BTU_PER_WH;
use crate::bench::{Kind, Severity};
use crate::budget::Figure;
use crate::coupling::Verdict;
use crate::fit::forms::{At, CapacityKind};
use crate::predict::{Prediction, predict, predict_assuming, predict_capacity};
use crate::quantity::{Dimension, System};
use crate::report::supply_tables::day_sentences;
use crate::report::words::unit_sign;
use crate::report::{budgets, claims};
use crate::supply::runtime::{RuntimeRow, Span};

/// The summary: what it draws and delivers, whether it is tied, a hot day, the battery, the maker's figures, and how sure all that is.
pub(super) fn summary(r: &Results<'_>) -> Vec<String> {
    let mut text = Vec::new();
    if r.demo {
        text.push("This is the built-in demo. The unit, its runs and its maker's claims are invented; nothing here is a measurement.".to_owned());
    }
    text.push(draw_sentence(r));
    text.push(capacity_sentence(r).unwrap_or_else(|| match &r.capacity {
        Ok(_) => "No capacity can be given for these conditions.".to_owned(),
        Err(why) => format!(
            "What it delivers is not known: {}.",
            why.trim_end_matches('.')
        ),
    }));
    // The verdict, and the figures that it rests on; where it is open, what would settle it.
    let said = r.in_units(&r.coupling.sentences);
    text.extend(said.iter().take(2).cloned());
    if r.coupling.verdict == Verdict::Undecided {
        text.extend(said.get(2).cloned());
    }
    text.push(hot_day(r));
    text.extend(battery(r));
    if !r.claims.is_empty() {
        text.push(claims::headline(r.claims));
    }
    text.extend(
        r.budget
            .and_then(|b| budgets::sentences(b).into_iter().next()),
    );
    text.extend(findings(r));
    text.retain(|t| !t.is_empty());
    text
}

fn findings(r: &Results<'_>) -> Option<String> {
    let counts = |s: Severity| r.findings.iter().filter(|f| f.severity == s).count();
    match counts(Severity::Error) + counts(Severity::Warning) {
        0 => None,
        1 => Some("One finding about the bench's layout weakens these answers; it stands under Limitations.".to_owned()),
        n => Some(format!("{n} findings about the bench's layout weaken these answers; they stand under Limitations.")),
    }
}

/// "At 27 °C intake and 26 °C ambient", as far as the runs know them.
fn conditions(r: &Results<'_>) -> String {
    let data = &r.draw.data;
    let known = |of: fn(&crate::bench::Point) -> Option<f64>| {
        r.bench.of_kind(Kind::Cooling).any(|p| of(p).is_some())
    };
    let intake = known(crate::bench::Point::intake_c)
        .then(|| format!("{} intake", temperature(r, data.intake_ref)));
    let ambient = known(crate::bench::Point::ambient_c)
        .then(|| format!("{} ambient", temperature(r, data.ambient_ref)));
    match (intake, ambient) {
        (Some(i), Some(a)) => format!("At {i} and {a}"),
        (Some(one), None) | (None, Some(one)) => format!("At {one}"),
        (None, None) => "In these runs, whose air temperatures are not known,".to_owned(),
    }
}

/// What is said of a day hotter than the runs'.
fn hot_day(r: &Results<'_>) -> String {
    let data = &r.draw.data;
    let Some(day) = &r.hot_day else {
        let (low, high) = data.ambient_range();
        return if data.ambient_varied && low < high {
            format!(
                "The runs cover ambient air from {} to {}; nothing is said here of a hotter day.",
                temperature(r, low),
                temperature(r, high)
            )
        } else {
            "Ambient (condenser-side) air was not varied or not recorded in every run, so nothing is said of a hotter day.".to_owned()
        };
    };
    let step = day.steps.map(|s| s.0);
    let list: Vec<(Prediction, usize, usize)> = tested(data)
        .into_iter()
        .filter_map(|(m, l, _)| {
            let at = At::new(m, l, data.intake_ref, day.ambient_c);
            Some((predict_assuming(r.bench, r.draw, at, r.level, step)?, m, l))
        })
        .collect();
    let Some((p, m, l)) = list.iter().max_by(|a, b| a.0.draw_w.total_cmp(&b.0.draw_w)) else {
        return String::new();
    };
    let (_, warmest) = data.ambient_range();
    let beyond = if day.ambient_c > warmest + 0.5 {
        let (by, unit) = match r.system {
            System::Si => (1.0, "K"),
            System::Us => (1.8, "degF"),
        };
        format!(
            ", {:.0} {unit} above the warmest of the runs,",
            by * (day.ambient_c - warmest)
        )
    } else {
        String::new()
    };
    format!(
        "With ambient air at {}{beyond} and intake air at {} it draws up to {:.0} W ({}; {} interval for a further run {:.0} to {:.0} W){}.",
        temperature(r, day.ambient_c),
        temperature(r, data.intake_ref),
        p.draw_w,
        setting(r, *m, *l),
        r.percent(),
        p.run_w.0,
        p.run_w.1,
        if step.is_some() {
            "; the step from the tested ambient is assumed, not measured"
        } else {
            ""
        }
    )
}

/// How long the battery carries it, and the day.
fn battery(r: &Results<'_>) -> Vec<String> {
    let Ok(s) = &r.supply else {
        return Vec::new();
    };
    let mut text = Vec::new();
    let hours = |row: &RuntimeRow| row.hours.map(|h| (h, row.draw.at.mode, row.draw.at.level));
    let list: Vec<(Span, usize, usize)> = s.rows.iter().filter_map(hours).collect();
    let least = list.iter().min_by(|a, b| a.0.value.total_cmp(&b.0.value));
    let most = list.iter().max_by(|a, b| a.0.value.total_cmp(&b.0.value));
    if let (Some(a), Some(b)) = (least, most) {
        let ends = |s: &Span| match s.high {
            Some(high) => format!("{:.1} to {high:.1}", s.low),
            None => format!("{:.1} or more", s.low),
        };
        text.push(format!(
            "The battery's usable charge carries it for {:.1} h ({}; {} interval {}) to {:.1} h ({}; {}).",
            a.0.value,
            setting(r, a.1, a.2),
            r.percent(),
            ends(&a.0),
            b.0.value,
            setting(r, b.1, b.2),
            ends(&b.0),
        ));
    }
    if let Some(day) = &s.day {
        text.extend(day_sentences(day, r.level, r.system).into_iter().take(2));
    }
    text
}

/// A temperature for a sentence.
pub(super) fn temperature(r: &Results<'_>, c: f64) -> String {
    format!(
        "{:.1} {}",
        r.system.convert(Dimension::Temperature, c),
        unit_sign(r.system.symbol(Dimension::Temperature))
    )
}

fn draw_sentence(r: &Results<'_>) -> String {
    let data = &r.draw.data;
    let draws: Vec<_> = tested(data)
        .into_iter()
        .filter_map(|(m, l, _)| {
            predict(
                r.bench,
                r.draw,
                At::new(m, l, data.intake_ref, data.ambient_ref),
                r.level,
            )
            .map(|p| (p, m, l))
        })
        .collect();
    let least = draws
        .iter()
        .min_by(|a, b| a.0.draw_w.total_cmp(&b.0.draw_w));
    let most = draws
        .iter()
        .max_by(|a, b| a.0.draw_w.total_cmp(&b.0.draw_w));
    match (least, most) {
        (Some(a), Some(b)) if draws.len() > 1 => format!(
            "{} the unit draws from {:.0} W ({}; {} interval of the long-run mean {:.0} to {:.0} W) to {:.0} W ({}; {:.0} to {:.0} W).",
            conditions(r),
            a.0.draw_w,
            setting(r, a.1, a.2),
            r.percent(),
            a.0.mean_w.0,
            a.0.mean_w.1,
            b.0.draw_w,
            setting(r, b.1, b.2),
            b.0.mean_w.0,
            b.0.mean_w.1
        ),
        (Some(a), _) => format!(
            "{} the unit draws {:.0} W ({} interval of the long-run mean {:.0} to {:.0} W).",
            conditions(r),
            a.0.draw_w,
            r.percent(),
            a.0.mean_w.0,
            a.0.mean_w.1
        ),
        _ => String::new(),
    }
}

fn setting(r: &Results<'_>, mode: usize, level: usize) -> String {
    let (m, l) = (name(&r.draw.data, mode), level_name(&r.draw.data, level));
    if m.is_empty() {
        format!("fan {l}")
    } else {
        format!("{m}, fan {l}")
    }
}

fn capacity_sentence(r: &Results<'_>) -> Option<String> {
    let (kind, fit) = r.capacity.as_ref().ok()?;
    let data = &fit.data;
    let best = tested(data)
        .into_iter()
        .filter_map(|(m, l, _)| {
            let at = At::new(m, l, data.intake_ref, data.ambient_ref);
            let c = predict_capacity(r.bench, fit, at, r.level)?;
            Some((c, predict(r.bench, r.draw, at, r.level)?, m, l))
        })
        .max_by(|a, b| a.0.capacity_w.total_cmp(&b.0.capacity_w))?;
    let (c, p, m, l) = best;
    let what = match kind {
        CapacityKind::Total => "total",
        CapacityKind::Sensible => "sensible",
    };
    let show = |w: f64| r.system.convert_capacity(w);
    Some(format!(
        "Most {what} cooling there: {:.0} {} ({}; {} interval {:.0} to {:.0}), {} of {:.2} {}{}{}.",
        show(c.capacity_w),
        r.system.capacity_symbol(),
        setting(r, m, l),
        r.percent(),
        show(c.mean_w.0),
        show(c.mean_w.1),
        match kind {
            CapacityKind::Total => "an EER",
            CapacityKind::Sensible => "a sensible-only EER",
        },
        eer_scale(r).0 * c.capacity_w / p.draw_w,
        eer_scale(r).1,
        eer_interval(r, m, l),
        if r.bench.fan.draw_limit_w == Some(0.0) {
            " without the blower's draw"
        } else {
            ""
        }
    ))
}

/// What an EER in W/W is multiplied by for the reader, and its unit then.
fn eer_scale(r: &Results<'_>) -> (f64, &'static str) {
    match r.system {
        System::Si => (1.0, "W/W"),
        System::Us => (BTU_PER_WH, "Btu/h per W"),
    }
}

/// The EER's interval at a setting, from its budget.
fn eer_interval(r: &Results<'_>, mode: usize, level: usize) -> String {
    let found = r.budget.and_then(|b| {
        let list = b.budgets.middle(b.data);
        let s = list
            .into_iter()
            .find(|s| (s.mode, s.level) == (mode, level))?;
        s.figure(Figure::Eer).map(|f| f.interval)
    });
    found.map_or(String::new(), |(low, high)| {
        let (scale, _) = eer_scale(r);
        format!(
            " ({} interval from the runs themselves {:.2} to {:.2})",
            r.percent(),
            scale * low,
            scale * high
        )
    })
}
