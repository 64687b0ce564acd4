//! The sections of `bench.toml`.

use super::claim::read_claims;
use super::manifest::Section;
use super::{
    AccuracyAs, Channel, FanInfo, FanLevel, Fault, Instrument, PressureFrom, UnitUnderTest, clip,
    did_you_mean,
};
use crate::quantity::{Accuracy, Dimension, standard_pressure_pa};

pub(super) fn read_unit(s: &Section<'_, '_>) -> UnitUnderTest {
    let unit = UnitUnderTest {
        name: s
            .text("name")
            .unwrap_or_else(|| "unit under test".to_owned()),
        supply_v: s.positive("supply", Dimension::Voltage),
        claims: s
            .section("claims")
            .map(|c| read_claims(&c))
            .unwrap_or_default(),
    };
    s.note_unknown_keys();
    unit
}

/// Air pressure, Pa, and how it was stated.
pub(super) fn read_site(s: &Section<'_, '_>) -> Option<(f64, PressureFrom)> {
    let pressure = s.quantity("pressure", Dimension::Pressure);
    let altitude = s.quantity("altitude", Dimension::Length);
    if pressure.is_some_and(|p| !(2e4..=2e5).contains(&p)) {
        s.reject("pressure", "an air pressure between 200 and 2000 hPa");
    }
    if altitude.is_some_and(|a| !(-500.0..=9000.0).contains(&a)) {
        s.reject("altitude", "an altitude between -500 and 9000 m");
    }
    if pressure.is_some() && altitude.is_some() {
        s.finding(
            "altitude-and-pressure",
            "altitude",
            "Both altitude and pressure are stated; the pressure is used.".to_owned(),
        );
    }
    s.note_unknown_keys();
    pressure
        .map(|p| (p, PressureFrom::Stated))
        .or_else(|| altitude.map(|a| (standard_pressure_pa(a), PressureFrom::Altitude)))
}

pub(super) fn read_instrument(s: &Section<'_, '_>) -> Option<Instrument> {
    let name = s.text("name").unwrap_or_else(|| "instrument".to_owned());
    let measures = s.texts("measures");
    let accuracy = s.text("accuracy");
    let read_as = match s.text("as").as_deref() {
        None | Some("limits") => AccuracyAs::Limits,
        Some("standard") => AccuracyAs::Standard,
        Some(_) => {
            s.reject(
                "as",
                "\"limits\" (95 % of readings lie inside) or \"standard\" (a standard uncertainty)",
            );
            AccuracyAs::Limits
        }
    };
    let shared = s.flag("shared").unwrap_or(true);
    s.note_unknown_keys();
    // A value of the wrong kind has its own fault.
    let told = measures.is_none() && s.has("measures");
    let Some(measures) = measures.filter(|m| !m.is_empty()) else {
        if !told {
            s.fault(
                Fault::new(
                    s.place(),
                    format!("the instrument `{}` without measures", clip(&name)),
                    "measures = [\"power\"] or other columns' names",
                )
                .remedy("name the columns of the points table that it reads"),
            );
        }
        return None;
    };
    let mut channels = Vec::new();
    for m in &measures {
        match Channel::from_name(m) {
            Some(c) => channels.push(c),
            None => s.fault(
                Fault::new(
                    s.place_of("measures"),
                    format!(
                        "the quantity `{}`{}",
                        clip(m),
                        did_you_mean(m, Channel::ALL.map(Channel::name))
                    ),
                    format!("one of {}", Channel::ALL.map(Channel::name).join(", ")),
                )
                .remedy("name the columns of the points table that the instrument reads"),
            ),
        }
    }
    let first = channels.first()?;
    let Some(accuracy) = accuracy else {
        if !s.has("accuracy") {
            s.fault(
                Fault::new(
                    s.place(),
                    format!("the instrument `{}` without an accuracy", clip(&name)),
                    "accuracy = \"0.5 % of reading + 0.02 A\"",
                )
                .remedy("look it up in the instrument's papers, or remove the [[instrument]]"),
            );
        }
        return None;
    };
    let fault = |found: String, expected: String, remedy: &str| {
        s.fault(Fault::new(s.place_of("accuracy"), found, expected).remedy(remedy));
    };
    let parsed = match Accuracy::parse(&accuracy, first.dimension()) {
        Ok(a) => a,
        Err(e) => {
            fault(
                format!("accuracy = \"{}\"", clip(&accuracy)),
                e.expected,
                "write it like \"0.5 % of reading + 0.02 A\"",
            );
            return None;
        }
    };
    if parsed.relative > 1.0 {
        fault(
            format!("accuracy = \"{}\"", clip(&accuracy)),
            "at most 100 % of reading".to_owned(),
            "look the figure up in the instrument's papers",
        );
        return None;
    }
    if parsed.absolute > 0.0 && channels.iter().any(|c| c.dimension() != first.dimension()) {
        fault(
            format!(
                "one absolute accuracy (\"{}\") for quantities of different kinds",
                clip(&accuracy)
            ),
            "quantities of one kind, or a share of the reading alone".to_owned(),
            "write an [[instrument]] for each kind",
        );
        return None;
    }
    Some(Instrument {
        name,
        measures: channels,
        accuracy: parsed,
        read_as,
        shared,
    })
}

pub(super) fn read_fan(s: &Section<'_, '_>) -> FanInfo {
    let draw_limit_w = s.not_negative("draw_limit", Dimension::Power);
    let mut levels = Vec::new();
    if let Some(list) = s.section("levels") {
        for (level, entry) in
            list.named_sections("{ airflow = \"250 m3/h\" } or { relative_speed = 2 }")
        {
            let relative_speed = entry.number("relative_speed");
            if relative_speed.is_some_and(|v| v <= 0.0) {
                entry.reject("relative_speed", "a number above zero");
            }
            levels.push(FanLevel {
                level,
                airflow_m3h: entry.positive("airflow", Dimension::Flow),
                relative_speed,
            });
            entry.note_unknown_keys();
        }
    }
    s.note_unknown_keys();
    FanInfo {
        draw_limit_w,
        levels,
    }
}
