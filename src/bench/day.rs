//! `[day]`: a day's temperatures, use and charging.

use super::error::{Fault, Place};
use super::manifest::Section;
use crate::quantity::{Dimension, parse_quantity};

/// `[day]`, as written.
#[derive(Clone, Debug, PartialEq)]
pub struct DayInfo {
    /// A table of hours, where one is named, and where that is written.
    pub file: Option<(String, Place)>,
    /// Coolest and warmest ambient (condenser-side) air, degC.
    pub ambient_c: Option<(f64, f64)>,
    /// Coolest and warmest intake air, degC.
    pub intake_c: Option<(f64, f64)>,
    /// When the unit runs, and how.
    pub uses: Vec<DayUse>,
    /// When the battery is charged.
    pub charges: Vec<DayCharge>,
    /// Share of the charging power that can be taken out again.
    pub charge_efficiency: f64,
    /// Clock hour at which the day begins.
    pub start_h: f64,
    /// State of charge then, a share of the usable energy.
    pub start_charge: f64,
    /// The space that is cooled.
    pub space: Option<DaySpace>,
}

/// `[[day.use]]`.
#[derive(Clone, Debug, PartialEq)]
pub struct DayUse {
    /// The mode; none where the bench has no modes.
    pub mode: Option<String>,
    /// The fan level.
    pub fan: Option<String>,
    /// From this clock hour …
    pub from_h: f64,
    /// … until this one; past midnight where it is the smaller.
    pub until_h: f64,
    /// Share of the time that the compressor runs, where stated.
    pub duty: Option<f64>,
    /// Where it is written.
    pub place: Place,
}

/// `[[day.charge]]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DayCharge {
    /// Power into the battery, W.
    pub power_w: f64,
    /// From this clock hour …
    pub from_h: f64,
    /// … until this one.
    pub until_h: f64,
}

/// `[day.space]`: a simple heat balance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DaySpace {
    /// What the space is kept at, degC.
    pub inside_c: f64,
    /// Heat that enters for each kelvin of difference, W/K.
    pub loss_w_k: f64,
    /// Heat of the sun at its highest, W.
    pub sun_w: f64,
    /// Hours between which the sun shines in.
    pub sun_hours: (f64, f64),
    /// Steady heat inside: people and devices, W.
    pub inside_w: f64,
}

/// Hours between which the sun shines in where none are stated. Common practice, no source.
const SUN_HOURS: (f64, f64) = (6.0, 18.0);

pub(super) fn read_day(s: &Section<'_, '_>) -> DayInfo {
    let file = s.text("file").map(|f| (f, s.place_of("file")));
    let range = |low: &'static str, high: &'static str| {
        let (a, b) = (
            s.quantity(low, Dimension::Temperature),
            s.quantity(high, Dimension::Temperature),
        );
        match (a, b) {
            (Some(a), Some(b)) if a <= b => Some((a, b)),
            (Some(_), Some(_)) => {
                s.reject(high, "a temperature not below the low one");
                None
            }
            (None, None) => None,
            _ => {
                if s.has(low) != s.has(high) {
                    s.fault(Fault::new(
                        s.place(),
                        format!("one of {low} and {high}"),
                        "both, or neither",
                    ));
                }
                None
            }
        }
    };
    let ambient_c = range("ambient_low", "ambient_high");
    let intake_c = range("intake_low", "intake_high");
    if file.is_none() && ambient_c.is_none() && intake_c.is_none() {
        s.fault(
            Fault::new(
                s.place(),
                "[day] without temperatures",
                "ambient_low = \"18 degC\" and ambient_high = \"33 degC\", or file = \"day.csv\" with columns hour, ambient_temp [degC]",
            )
            .remedy("intake_low and intake_high may stand beside them"),
        );
    }
    let day = DayInfo {
        file,
        ambient_c,
        intake_c,
        uses: s.sections("use").iter().filter_map(read_use).collect(),
        charges: s
            .sections("charge")
            .iter()
            .filter_map(read_charge)
            .collect(),
        charge_efficiency: share(s, "charge_efficiency").unwrap_or(1.0),
        start_h: clock(s, "start").unwrap_or(0.0),
        start_charge: s
            .quantity("start_charge", Dimension::Fraction)
            .filter(|v| {
                let good = (0.0..=1.0).contains(v);
                if !good {
                    s.reject("start_charge", "a share from 0 to 100 %");
                }
                good
            })
            .unwrap_or(1.0),
        space: s.section("space").and_then(|p| read_space(&p)),
    };
    s.note_unknown_keys();
    day
}

fn share(s: &Section<'_, '_>, key: &'static str) -> Option<f64> {
    let v = s.quantity(key, Dimension::Fraction)?;
    if v > 0.0 && v <= 1.0 {
        return Some(v);
    }
    s.reject(key, "a share above 0 and up to 100 %");
    None
}

/// An hour of the day: `"22:30"` or `"22.5 h"`.
fn clock(s: &Section<'_, '_>, key: &'static str) -> Option<f64> {
    let text = s.text(key)?;
    let found = clock_hour(&text);
    if found.is_none() {
        s.reject(key, "an hour of the day such as \"22:30\" or \"22.5 h\"");
    }
    found
}

/// Reads `22:30` or `22.5 h` as hours from 0 to 24.
pub fn clock_hour(text: &str) -> Option<f64> {
    let hour = match text.trim().split_once(':') {
        Some((h, m)) => {
            let (h, m) = (h.parse::<u8>().ok()?, m.parse::<u8>().ok()?);
            (m < 60).then(|| f64::from(h) + f64::from(m) / 60.0)?
        }
        None => parse_quantity(text, Dimension::Time).ok()? / 3600.0,
    };
    (0.0..=24.0).contains(&hour).then_some(hour)
}

fn hours(s: &Section<'_, '_>) -> Option<(f64, f64)> {
    let (from, until) = (clock(s, "from"), clock(s, "until"));
    let absent = |key: &'static str| {
        if !s.has(key) {
            s.fault(Fault::new(
                s.place(),
                format!("no `{key}`"),
                format!("{key} = \"22:00\""),
            ));
        }
    };
    absent("from");
    absent("until");
    from.zip(until)
}

fn read_use(s: &Section<'_, '_>) -> Option<DayUse> {
    let mode = s.text("mode");
    let fan = s.text("fan");
    let span = hours(s);
    let duty = s.quantity("duty", Dimension::Fraction);
    if duty.is_some_and(|d| !(0.0..=1.0).contains(&d)) {
        s.reject("duty", "a share from 0 to 100 %");
    }
    s.note_unknown_keys();
    let (from_h, until_h) = span?;
    Some(DayUse {
        mode,
        fan,
        from_h,
        until_h,
        duty,
        place: s.place(),
    })
}

fn read_charge(s: &Section<'_, '_>) -> Option<DayCharge> {
    let power = s.not_negative("power", Dimension::Power);
    if !s.has("power") {
        s.fault(Fault::new(s.place(), "no `power`", "power = \"200 W\""));
    }
    let span = hours(s);
    s.note_unknown_keys();
    let (from_h, until_h) = span?;
    Some(DayCharge {
        power_w: power?,
        from_h,
        until_h,
    })
}

fn read_space(s: &Section<'_, '_>) -> Option<DaySpace> {
    let inside = s.quantity("inside", Dimension::Temperature);
    let loss = s.not_negative("loss_per_kelvin", Dimension::Power);
    for (key, like) in [("inside", "\"26 degC\""), ("loss_per_kelvin", "\"25 W\"")] {
        if !s.has(key) {
            s.fault(Fault::new(
                s.place(),
                format!("[day.space] without `{key}`"),
                format!("{key} = {like}"),
            ));
        }
    }
    let sun_w = s.not_negative("sun", Dimension::Power).unwrap_or(0.0);
    let sun_hours = (
        clock(s, "sunrise").unwrap_or(SUN_HOURS.0),
        clock(s, "sunset").unwrap_or(SUN_HOURS.1),
    );
    if sun_hours.0 >= sun_hours.1 {
        s.fault(Fault::new(
            s.place(),
            "a sunset not after sunrise",
            "sunrise = \"06:00\" and sunset = \"18:00\"",
        ));
    }
    let inside_w = s.not_negative("people", Dimension::Power).unwrap_or(0.0);
    s.note_unknown_keys();
    Some(DaySpace {
        inside_c: inside?,
        loss_w_k: loss?,
        sun_w,
        sun_hours,
        inside_w,
    })
}
