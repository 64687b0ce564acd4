//! Tables and sentences about runtime, shown by the command and the write-up.

use super::tables::{Cell, Column, Table};
use crate::fit::forms::DrawData;
use crate::quantity::{Dimension, System, significant};
use crate::supply::day::Day;
use crate::supply::runtime::{RuntimeRow, Span};

/// Hours by setting and conditions.
pub fn runtime_table(
    data: &DrawData,
    rows: &[RuntimeRow],
    ambient_known: bool,
    system: System,
    level: f64,
) -> Table {
    let temperature = system.symbol(Dimension::Temperature);
    let percent = format!("{:.0} %", 100.0 * level);
    let bank = rows.iter().any(|r| r.hours.is_some());
    let mut columns = vec![
        Column::text("mode"),
        Column::text("fan"),
        Column::number("intake", temperature),
        Column::number("ambient", temperature),
        Column::number("draw", "W"),
        Column::number("current", "A"),
        Column::number("per 100 Ah", "h"),
        Column::interval(percent.clone(), "h"),
    ];
    if bank {
        columns.push(Column::number("battery", "h"));
        columns.push(Column::interval(percent, "h"));
    }
    let note = if bank {
        "“per 100 Ah”: for every 100 Ah taken out at nominal voltage; “battery”: on the bench's battery, its usable share."
    } else {
        "“per 100 Ah”: for every 100 Ah taken out at nominal voltage."
    };
    let mut t = Table::new("How long the battery carries it", columns).with_note(note);
    for r in rows {
        let at = &r.draw.at;
        let show = |c: f64| Cell::number(system.convert(Dimension::Temperature, c), 1);
        let mut cells = vec![
            Cell::text(data.modes.get(at.mode).map_or("", String::as_str)),
            Cell::text(data.levels.get(at.level).map_or("", |l| l.label.as_str())),
            show(at.intake),
            if ambient_known {
                show(at.ambient)
            } else {
                Cell::Absent
            },
            Cell::number(r.draw.draw_w, 1),
            Cell::number(r.battery.current_a, 1),
            Cell::number(r.per_100ah.value, 1),
            ends(&r.per_100ah),
        ];
        if bank {
            cells.push(Cell::maybe(r.hours.map(|h| h.value), 1));
            cells.push(r.hours.map_or(Cell::Absent, |h| ends(&h)));
        }
        t.row(cells);
    }
    t
}

fn ends(span: &Span) -> Cell {
    Cell::interval(span.low, span.high.unwrap_or(f64::INFINITY), 1)
}

/// "07:30".
fn clock(hour: f64) -> String {
    let minutes = (60.0 * hour.rem_euclid(24.0)).round() as u32 % (24 * 60);
    format!("{:02}:{:02}", minutes / 60, minutes % 60)
}

/// What the day comes to.
pub fn day_sentences(day: &Day, level: f64, system: System) -> Vec<String> {
    let percent = format!("{:.0} % interval", 100.0 * level);
    let wh = |v: f64| significant(v, 3);
    let e = &day.energy_wh;
    let mut out = vec![format!(
        "Over the day the unit takes {} Wh from the battery ({percent} {} to {}).{}",
        wh(e.value),
        wh(e.low),
        wh(e.high.unwrap_or(e.value)),
        if day.charge_wh > 0.0 {
            format!(" Charging offers {} Wh.", wh(day.charge_wh))
        } else {
            String::new()
        }
    )];
    let start = day.hours.first().map_or(0.0, |h| h.clock_h);
    if let Some(p) = &day.played {
        let last = p.charge.last().copied().unwrap_or_default();
        let share = |v: f64| format!("{:.0}", 100.0 * v);
        out.push(match p.empty_h {
            Some(h) => {
                let (a, b) = p.empty_between;
                let earliest = a.map_or("–".to_owned(), |t| clock(start + t));
                let latest = match b {
                    Some(t) => format!("at the latest {}", clock(start + t)),
                    None => "perhaps not within the day".to_owned(),
                };
                format!("The battery is empty at {}, {h:.1} h after the start (at the earliest {earliest}, {latest}); {} Wh are then wanted and not there.", clock(start + h), wh(p.unmet_wh))
            }
            None if p.chance_empty > 0.0 => format!(
                "The battery lasts the day on the middle course, with {} % of its usable charge left at the end ({percent} {} to {}); on {} % of the courses it empties{}.",
                share(last.0),
                share(last.1),
                share(last.2),
                significant(100.0 * p.chance_empty, 2),
                p.empty_between.0.map_or_else(String::new, |t| format!(", at the earliest at {}", clock(start + t)))
            ),
            None => format!(
                "The battery lasts the day, with {} % of its usable charge left at the end ({percent} {} to {}).",
                share(last.0),
                share(last.1),
                share(last.2)
            ),
        });
        if p.spilled_wh > 0.5 {
            out.push(format!(
                "{} Wh of the charging find the battery full.",
                wh(p.spilled_wh)
            ));
        }
    }
    if let (Some(first), Some(last)) = (day.cannot_hold.first(), day.cannot_hold.last()) {
        let worst = day
            .cannot_hold
            .iter()
            .fold(*first, |a, b| if b.1 - b.2 > a.1 - a.2 { *b } else { a });
        let show = |w: f64| {
            format!(
                "{:.0} {}",
                system.convert_capacity(w),
                system.capacity_symbol()
            )
        };
        out.push(format!(
            "The unit cannot hold the space in {} h of use, between {} and {}: at {} the heat load is {} and the capacity {}. It then runs all the time and the space warms.",
            day.cannot_hold.len(),
            clock(first.0),
            clock(last.0 + 1.0),
            clock(worst.0),
            show(worst.1),
            show(worst.2)
        ));
    }
    out
}

/// The day hour by hour.
pub fn day_table(day: &Day, system: System, level: f64) -> Table {
    let temperature = system.symbol(Dimension::Temperature);
    let load = day.hours.iter().any(|h| h.load_w.is_some());
    let charging = day.hours.iter().any(|h| h.charging_w > 0.0);
    let mut columns = vec![
        Column::text("from"),
        Column::number("ambient", temperature),
        Column::number("intake", temperature),
        Column::number("in use", "%"),
        Column::number("duty", "%"),
    ];
    if load {
        columns.push(Column::number("heat load", system.capacity_symbol()));
    }
    columns.push(Column::number("at the battery", "W"));
    if charging {
        columns.push(Column::number("charging", "W"));
    }
    if day.played.is_some() {
        columns.push(Column::number("charge left", "%"));
        columns.push(Column::interval(format!("{:.0} %", 100.0 * level), "%"));
    }
    let mut t = Table::new("Hour by hour", columns);
    for (k, h) in day.hours.iter().enumerate() {
        let show = |c: f64| Cell::number(system.convert(Dimension::Temperature, c), 1);
        let mut cells = vec![
            Cell::text(clock(h.clock_h)),
            show(h.ambient_c),
            show(h.intake_c),
            Cell::number(100.0 * h.used, 0),
            Cell::maybe(h.duty.map(|d| 100.0 * d), 0),
        ];
        if load {
            cells.push(Cell::maybe(h.load_w.map(|w| system.convert_capacity(w)), 0));
        }
        cells.push(Cell::number(h.battery_w, 0));
        if charging {
            cells.push(Cell::number(h.charging_w, 0));
        }
        if let Some((value, low, high)) = day.played.as_ref().and_then(|p| p.charge.get(k)) {
            cells.push(Cell::number(100.0 * value, 0));
            cells.push(Cell::interval(100.0 * low, 100.0 * high, 0));
        }
        t.row(cells);
    }
    t
}
