//! Several units at the same conditions, as tables, sentences and a figure.

use super::figure::{Along, Axis, Dash, Figure, Interval, Layer, Look, Panel, Tone};
use super::tables::{Cell, Column, Table};
use super::words::{number, unit_sign};
use crate::findings::{ComparedSetting, ComparedUnit, Comparison, MOST_EACH_WITH_EACH, Pair, Same};
use crate::fit::forms::CapacityKind;
use crate::quantity::{Dimension, System};

/// "cruise, fan 3".
pub fn setting_name(s: &ComparedSetting) -> String {
    let fan = (!s.fan.is_empty()).then(|| format!("fan {}", s.fan));
    let mode = (!s.mode.is_empty()).then(|| s.mode.clone());
    let parts: Vec<String> = mode.into_iter().chain(fan).collect();
    if parts.is_empty() {
        "the unit".to_owned()
    } else {
        parts.join(", ")
    }
}

fn degrees(c: f64, system: System) -> String {
    format!(
        "{} {}",
        number(system.convert(Dimension::Temperature, c), 1),
        unit_sign(system.symbol(Dimension::Temperature))
    )
}

/// Where the units are compared, and why there.
pub fn conditions(c: &Comparison, chosen: bool, system: System) -> String {
    let ((i, j), (a, b)) = c.covered;
    let why = if chosen {
        "the middle of what all benches cover"
    } else {
        "as asked for, within what all benches cover"
    };
    format!(
        "At {} intake and {} ambient: {why} ({} to {} intake, {} to {} ambient).",
        degrees(c.intake_c, system),
        degrees(c.ambient_c, system),
        degrees(i, system),
        degrees(j, system),
        degrees(a, system),
        degrees(b, system)
    )
}

/// A table for each unit: every setting.
pub fn settings(c: &Comparison, system: System) -> Vec<Table> {
    c.units.iter().map(|u| unit_table(c, u, system)).collect()
}

fn unit_table(c: &Comparison, unit: &ComparedUnit, system: System) -> Table {
    let percent = format!("{:.0} %", 100.0 * c.level);
    let mut t = Table::new(
        format!("Every setting of “{}” at these conditions", unit.name),
        [
            Column::text("mode"),
            Column::text("fan"),
            Column::number("draw", "W"),
            Column::interval(percent.clone(), "W"),
            Column::number("cooling", system.capacity_symbol()),
            Column::interval(percent.clone(), system.capacity_symbol()),
            Column::number("EER", "W/W"),
            Column::interval(percent, "W/W"),
            Column::number("100 Ah last", "h"),
            Column::text("stands for"),
        ],
    );
    for s in &unit.settings {
        let cooling = s
            .capacity_w
            .map(|m| [m.value, m.low, m.high].map(|w| system.convert_capacity(w)));
        let span = |m: Option<(f64, f64)>, decimals| {
            m.map_or(Cell::Absent, |(low, high)| {
                Cell::interval(low, high, decimals)
            })
        };
        t.row([
            Cell::text(s.mode.clone()),
            Cell::text(s.fan.clone()),
            Cell::number(s.draw_w.value, 1),
            Cell::interval(s.draw_w.low, s.draw_w.high, 1),
            Cell::maybe(cooling.map(|m| m[0]), 0),
            span(cooling.map(|m| (m[1], m[2])), 0),
            Cell::maybe(s.eer.map(|m| m.value), 2),
            span(s.eer.map(|m| (m.low, m.high)), 2),
            Cell::maybe(s.hours_per_100_ah.map(|m| m.value), 1),
            Cell::text(s.roles.join(", ")),
        ]);
    }
    t.with_note("100 Ah last: at the unit's nominal voltage, running without a break, before any loss. Intervals are for the long-run mean.")
}

fn figure_name(figure: &str) -> &'static str {
    match figure {
        "draw_w" => "draw",
        "capacity_w" => "cooling",
        _ => "EER",
    }
}

/// What two figures are to each other, in a word.
pub fn finding(f: Same) -> &'static str {
    match f {
        Same::Same => "same",
        Same::Differ => "differ",
        Same::Open => "open",
    }
}

fn unit_name(c: &Comparison, unit: usize) -> &str {
    c.units.get(unit).map_or("", |u| u.name.as_str())
}

fn setting_of(c: &Comparison, (unit, setting): (usize, usize)) -> String {
    let of = c.units.get(unit).and_then(|u| u.settings.get(setting));
    of.map_or_else(String::new, setting_name)
}

/// "cruise 3": short, for a column of a table.
fn short_of(c: &Comparison, (unit, setting): (usize, usize)) -> String {
    let of = c.units.get(unit).and_then(|u| u.settings.get(setting));
    of.map_or_else(String::new, |s| {
        format!("{} {}", s.mode, s.fan).trim().to_owned()
    })
}

/// A table for each two units.
pub fn pairs(c: &Comparison) -> Vec<Table> {
    let mut couples: Vec<(usize, usize)> = c.pairs.iter().map(|p| (p.a.0, p.b.0)).collect();
    couples.dedup();
    let mut left = c.pairs.as_slice();
    let mut tables = Vec::with_capacity(couples.len());
    // A couple's pairs stand together.
    for (a, b) in couples {
        let n = left.iter().take_while(|p| (p.a.0, p.b.0) == (a, b)).count();
        let (own, rest) = left.split_at(n);
        tables.push(pair_table(c, (a, b), own));
        left = rest;
    }
    tables
}

fn pair_table(c: &Comparison, (a, b): (usize, usize), own: &[Pair]) -> Table {
    let percent = format!("{:.0} %", 100.0 * c.level);
    let more = |p: f64| 100.0 * (p - 1.0);
    let mut t = Table::new(
        format!(
            "“{}” (second) against “{}” (first)",
            unit_name(c, b),
            unit_name(c, a)
        ),
        [
            Column::text("compared for"),
            Column::text("first: mode, fan"),
            Column::text("second: mode, fan"),
            Column::text("figure"),
            Column::number("second has more by", "%"),
            Column::interval(percent, "%"),
            Column::interval("no meter shared", "%"),
            Column::text(format!("within {:.0} %", 100.0 * c.margin)),
        ],
    );
    for p in own {
        t.row([
            Cell::text(p.roles.join(", ")),
            Cell::text(short_of(c, p.a)),
            Cell::text(short_of(c, p.b)),
            Cell::text(figure_name(p.figure)),
            Cell::number(more(p.ratio), 1),
            Cell::interval(more(p.ratio_interval.0), more(p.ratio_interval.1), 1),
            Cell::interval(
                more(p.ratio_interval_apart.0),
                more(p.ratio_interval_apart.1),
                1,
            ),
            Cell::text(finding(p.finding)),
        ]);
    }
    t.with_note("Same: two one-sided tests against the margin, Holm over all pairs. Differ: the interval, widened for the number of pairs, lies beyond the margin. Open: neither is shown.")
}

/// The findings in sentences: what differs, what is the same, what stays open, and which meters were taken for one.
pub fn sentences(c: &Comparison, meters_shared: bool) -> Vec<String> {
    let mut list: Vec<String> = c
        .pairs
        .iter()
        .filter(|p| p.finding != Same::Open)
        .map(|p| sentence(c, p))
        .collect();
    if c.units.len() > MOST_EACH_WITH_EACH {
        list.push(format!(
            "Of these {} units each is compared with the first named, “{}”; up to {MOST_EACH_WITH_EACH} are compared each with each.",
            c.units.len(),
            unit_name(c, 0)
        ));
    }
    let open = c.pairs.iter().filter(|p| p.finding == Same::Open).count();
    if open > 0 {
        list.push(format!(
            "{open} of {} comparisons stay open: the intervals allow both a difference beyond {:.0} % and none.",
            c.pairs.len(),
            100.0 * c.margin
        ));
    }
    list.push(match (meters_shared, c.shared.as_slice()) {
        (false, _) => "No meter was taken to be shared: each bench's instruments err by themselves.".to_owned(),
        (true, []) => "No instrument has the same name and accuracy in two benches, so nothing cancels.".to_owned(),
        (true, names) => format!(
            "Taken for the same meter, having the same name and accuracy in two benches: {}. Such a meter's error cancels in ratios as far as it moves both units alike; --meters-apart takes them for different ones.",
            names.join(", ")
        ),
    });
    for u in c.units.iter().filter(|u| !u.left_out.is_empty()) {
        list.push(format!(
            "{}: left out, not run at these conditions: {}.",
            u.name,
            u.left_out.join("; ")
        ));
    }
    let kinds: Vec<_> = c.units.iter().map(|u| u.capacity_kind).collect();
    if kinds.windows(2).any(|k| k[0] != k[1]) {
        let word = |k: &Option<CapacityKind>| match k {
            Some(CapacityKind::Total) => "total",
            Some(CapacityKind::Sensible) => "sensible only",
            None => "not measured",
        };
        let each: Vec<String> = c
            .units
            .iter()
            .map(|u| format!("{}: {}", u.name, word(&u.capacity_kind)))
            .collect();
        list.push(format!(
            "Cooling and EER are compared only between units whose capacity is of one kind ({}).",
            each.join("; ")
        ));
    }
    list
}

fn sentence(c: &Comparison, p: &Pair) -> String {
    let [ratio, low, high] =
        [p.ratio, p.ratio_interval.0, p.ratio_interval.1].map(|v| 100.0 * (v - 1.0));
    let both = format!(
        "{} ({}) and {} ({})",
        unit_name(c, p.a.0),
        setting_of(c, p.a),
        unit_name(c, p.b.0),
        setting_of(c, p.b)
    );
    let span = format!(
        "second over first {ratio:+.1} %, {:.0} % interval {low:+.1} to {high:+.1} %",
        100.0 * c.level
    );
    match p.finding {
        Same::Same => format!(
            "For {}, {both} have the same {} within {:.0} % ({span}).",
            p.roles.join(" and "),
            figure_name(p.figure),
            100.0 * c.margin
        ),
        _ => format!(
            "For {}, {both} differ in {} by more than {:.0} % ({span}).",
            p.roles.join(" and "),
            figure_name(p.figure),
            100.0 * c.margin
        ),
    }
}

/// More settings than this are not named in the figure beside those that stand for something.
const MOST_NAMED: usize = 12;

/// Capacity against draw, every setting with its intervals, and those that no other beats; none where no unit has a capacity.
pub fn figure(c: &Comparison, system: System) -> Option<Figure> {
    let all: Vec<(usize, &ComparedSetting)> = c
        .units
        .iter()
        .enumerate()
        .flat_map(|(u, unit)| unit.settings.iter().map(move |s| (u, s)))
        .filter(|(_, s)| s.capacity_w.is_some())
        .collect();
    if all.is_empty() {
        return None;
    }
    let mut layers = Vec::new();
    for (u, unit) in c.units.iter().enumerate() {
        let mine = || {
            unit.settings
                .iter()
                .filter_map(|s| Some((s.draw_w, s.capacity_w?)))
        };
        if mine().next().is_none() {
            continue;
        }
        let look = Look::series(u);
        let bar = |at, m: crate::findings::Measured| Interval {
            at,
            low: m.low,
            value: None,
            high: m.high,
        };
        layers.push(Layer::Intervals {
            bars: mine().map(|(d, q)| bar(d.value, q)).collect(),
            along: Along::Y,
            look,
            label: unit.name.clone(),
        });
        layers.push(Layer::Intervals {
            bars: mine().map(|(d, q)| bar(q.value, d)).collect(),
            along: Along::X,
            look,
            label: unit.name.clone(),
        });
        layers.push(Layer::Points {
            at: mine().map(|(d, q)| (d.value, q.value)).collect(),
            look,
            label: unit.name.clone(),
        });
    }
    let mut edge: Vec<(f64, f64)> = all
        .iter()
        .filter(|(_, s)| s.on_front)
        .filter_map(|(_, s)| Some((s.draw_w.value, s.capacity_w?.value)))
        .collect();
    edge.sort_by(|a, b| a.0.total_cmp(&b.0));
    let best = edge.len();
    if best > 1 {
        layers.push(Layer::Curve {
            through: edge,
            look: Look {
                tone: Tone::Quiet,
                dash: Dash::Short,
                ..Look::ink()
            },
            label: String::new(),
        });
    }
    for (_, s) in &all {
        let named = all.len() <= MOST_NAMED || !s.roles.is_empty();
        if let (true, Some(q)) = (named, s.capacity_w) {
            layers.push(Layer::Remark {
                at: (s.draw_w.value, q.value),
                label: setting_name(s),
            });
        }
    }
    let owners: Vec<String> = c
        .units
        .iter()
        .map(|u| {
            let n = u.settings.iter().filter(|s| s.on_front).count();
            format!("{n} of “{}”", u.name)
        })
        .collect();
    let y = Axis::new("Cooling", "W");
    let symbol = system.capacity_symbol();
    Some(Figure {
        name: "compare".to_owned(),
        title: "Cooling against draw at the same conditions".to_owned(),
        claim: format!(
            "{best} of {} settings are beaten by no other in both: {}.",
            all.len(),
            owners.join(", ")
        ),
        x: Axis::new("Draw", "W"),
        y: match system {
            System::Si => y,
            System::Us => y.shown_as(symbol, system.convert_capacity(1.0), 0.0),
        },
        panels: vec![Panel::new("", layers)],
        note: format!(
            "{} intake, {} ambient. Bars: {:.0} % intervals for the long-run mean. Broken line: through the settings that no other beats in both, by their values alone.",
            degrees(c.intake_c, system),
            degrees(c.ambient_c, system),
            100.0 * c.level
        ),
        alt: format!(
            "Cooling against draw of {} settings of {} units with intervals.",
            all.len(),
            c.units.len()
        ),
    })
}
