//! The maker's figures against the bench, as a table and sentences.

use super::tables::{Cell, Column, Table};
use super::words::{decimals_for, number, unit_sign};
use crate::findings::{Finding, HeldClaim, Sense, TakenFrom};
use crate::quantity::{Dimension, System};

/// A claim's name for readers.
fn title(name: &str) -> &str {
    match name {
        "cooling" => "cooling",
        "draw_low" => "lowest draw",
        "draw_high" => "highest draw",
        "current_low" => "lowest current",
        "current_high" => "highest current",
        other => other,
    }
}

/// A figure in the reader's unit.
fn shown(claim: &HeldClaim, value: f64, system: System) -> f64 {
    match claim.name {
        "cooling" => system.convert_capacity(value),
        _ => system.convert(claim.dimension, value),
    }
}

fn unit(claim: &HeldClaim, system: System) -> &'static str {
    match claim.name {
        "cooling" => system.capacity_symbol(),
        _ => system.symbol(claim.dimension),
    }
}

/// "at least 950 W", "at most 290 ± 10 W".
fn stated(claim: &HeldClaim, system: System) -> String {
    let side = match claim.sense {
        Sense::AtLeast => "at least",
        Sense::AtMost => "at most",
    };
    let value = plain(shown(claim, claim.stated, system));
    let unit = unit_sign(unit(claim, system)).into_owned();
    if claim.tolerance > 0.0 {
        let by = plain(shown(claim, claim.tolerance, system));
        format!("{side} {value} ± {by} {unit}")
    } else {
        format!("{side} {value} {unit}")
    }
}

/// Four digits at most, and no zeros that were not written.
fn plain(value: f64) -> String {
    let text = crate::quantity::significant(value, 4);
    text.parse::<f64>().map_or(text, |v| v.to_string())
}

/// "96.2 W (94.8 to 97.6)".
fn measured(claim: &HeldClaim, system: System) -> String {
    let (Some(value), Some(low), Some(high)) = (claim.measured, claim.low, claim.high) else {
        return String::new();
    };
    let [value, low, high] = [value, low, high].map(|v| shown(claim, v, system));
    let decimals = decimals_for(0.25 * (high - low));
    format!(
        "{} {} ({} to {})",
        number(value, decimals),
        unit_sign(unit(claim, system)),
        number(low, decimals),
        number(high, decimals)
    )
}

/// Where the measured figure holds, in words.
pub fn conditions(claim: &HeldClaim, system: System) -> String {
    let c = &claim.conditions;
    let mut parts = Vec::new();
    parts.extend(c.mode.clone());
    parts.extend(c.fan.as_ref().map(|f| format!("fan {f}")));
    let symbol = system.symbol(Dimension::Temperature);
    let degrees = |t: f64| {
        format!(
            "{} {}",
            number(system.convert(Dimension::Temperature, t), 1),
            unit_sign(symbol)
        )
    };
    parts.extend(c.intake_c.map(|t| format!("intake {}", degrees(t))));
    parts.extend(c.ambient_c.map(|t| format!("ambient {}", degrees(t))));
    match c.from {
        TakenFrom::None => String::new(),
        TakenFrom::Claim => format!("{}: as stated", parts.join(", ")),
        TakenFrom::NearestTested => format!("{}: nearest tested", parts.join(", ")),
        TakenFrom::Setting => parts.join(", "),
    }
}

/// Every claim: stated, measured, finding.
pub fn table(claims: &[HeldClaim], level: f64, system: System) -> Table {
    let mut t = Table::new(
        "The maker's figures",
        [
            Column::text("figure"),
            Column::text("stated"),
            Column::text(format!("measured, {:.0} %", 100.0 * level)),
            Column::text("finding"),
            Column::text("where measured"),
        ],
    );
    for c in claims {
        t.row([
            Cell::text(title(c.name)),
            Cell::text(stated(c, system)),
            Cell::text(measured(c, system)),
            Cell::text(c.finding.words()),
            Cell::text(conditions(c, system)),
        ]);
    }
    t
}

/// How many hold, fail or stay open.
pub fn headline(claims: &[HeldClaim]) -> String {
    let count = |f: Finding| claims.iter().filter(|c| c.finding == f).count();
    let figures = if claims.len() == 1 {
        "figure"
    } else {
        "figures"
    };
    let verb = |n: usize, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    format!(
        "Of {} {figures} that the maker states, {}, {}, and of {} the bench cannot tell.",
        claims.len(),
        verb(count(Finding::Holds), "holds", "hold"),
        verb(count(Finding::Fails), "fails", "fail"),
        count(Finding::CannotTell)
    )
}

/// Each claim's reason.
pub fn reasons(claims: &[HeldClaim], system: System) -> Vec<String> {
    claims
        .iter()
        .map(|c| {
            format!(
                "{}: {}. {}",
                title(c.name),
                c.finding.words(),
                c.reason.in_units(system)
            )
        })
        .collect()
}
