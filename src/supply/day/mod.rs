//! A day on the battery: temperatures, use, charging, and the charge that is left.

mod balance;
mod play;
mod profile;

use crate::bench::{Bench, DayInfo, DayUse, Fault};
use crate::fit::candidates::DrawFit;
use crate::fit::forms::At;
use crate::predict::{Prediction, predict};
use crate::stats::normal;

use super::runtime::{Span, Supply, SupplyError, setting_name};
use balance::{Duty, duty, load_w, resting_w};
pub use play::Played;
use play::{Flow, Store, play};
pub use profile::{DAILY_RANGE, shaped};
use profile::{HOURS, Profile};

/// One hour of the day.
#[derive(Clone, Debug, PartialEq)]
pub struct DayHour {
    /// Clock hour at which it begins.
    pub clock_h: f64,
    /// Ambient air, degC.
    pub ambient_c: f64,
    /// Intake air, degC.
    pub intake_c: f64,
    /// Share of the hour in which the unit is in use.
    pub used: f64,
    /// Share of that in which the compressor runs.
    pub duty: Option<f64>,
    /// Heat to be removed from the space, W; where the space is described.
    pub load_w: Option<f64>,
    /// What the unit removes at these conditions when it runs throughout, W.
    pub capacity_w: Option<f64>,
    /// Mean power out of the battery, W.
    pub battery_w: f64,
    /// Mean charging power offered, W.
    pub charging_w: f64,
}

/// A day played through.
#[derive(Clone, Debug)]
pub struct Day {
    /// The hours from the day's start.
    pub hours: Vec<DayHour>,
    /// Energy out of the battery, Wh, with its interval.
    pub energy_wh: Span,
    /// Charging offered, as can be taken out again, Wh.
    pub charge_wh: f64,
    /// Usable energy of the battery at the day's mean current, Wh; none where no battery is stated.
    pub usable_wh: Option<f64>,
    /// The charge left; none where no battery is stated.
    pub played: Option<Played>,
    /// Hours in which the unit cannot hold the space: clock hour, load W, capacity W.
    pub cannot_hold: Vec<(f64, f64, f64)>,
    /// Charge at the start, a share of the usable energy.
    pub start_charge: f64,
    /// Largest current at the battery, A.
    pub largest_a: f64,
    /// Warmest and coolest intake and ambient air in use, and what else was assumed, in sentences.
    pub notes: Vec<String>,
    /// The warmest intake in use, degC.
    pub warmest_intake_c: f64,
    /// The draw asked for furthest beyond what was tested; none where none was.
    pub furthest: Option<Prediction>,
    /// The ambient that goes furthest beyond the runs', degC; none where ambient was not in the profile.
    pub ambient_asked_c: Option<f64>,
}

/// A use with its setting found.
struct Used<'a> {
    mode: usize,
    level: usize,
    day: &'a DayUse,
}

/// Plays a bench's `[day]` through. `capacity` is a fit of [`crate::fit::forms::CapacityData`], where the bench gives one.
///
/// # Errors
/// [`SupplyError`] for a table that cannot be read, a setting that the bench does not have, or a power that the cable does not carry.
pub fn day(
    bench: &Bench,
    day: &DayInfo,
    supply: &Supply,
    fit: &DrawFit,
    capacity: Option<&DrawFit>,
    level: f64,
) -> Result<Day, SupplyError> {
    let profile = Profile::of(day, bench.source.as_ref())?;
    let uses = uses(day, fit)?;
    let mut notes = vec![format!("Temperatures: {}.", profile.from)];
    let resting = resting_w(bench);
    let k = normal::quantile(0.5 + 0.5 * level);
    let mut hours = Vec::with_capacity(HOURS);
    let mut flows = Vec::with_capacity(HOURS);
    let mut cannot_hold = Vec::new();
    let mut largest_a = 0.0f64;
    let mut part_load = false;
    let mut unknown_capacity = false;
    let (mut warmest_intake_c, mut furthest) = (f64::NEG_INFINITY, None::<f64>);
    let mut furthest_draw: Option<Prediction> = None;
    let ambient_mean = fit.data.ambient_mean;
    let start = day.start_h.floor() as usize % HOURS;
    for step in 0..HOURS {
        let clock = (start + step) % HOURS;
        let clock_h = clock as f64;
        let Some(hour) = profile.hours.get(clock) else {
            continue;
        };
        let ambient_c = hour.ambient_c.unwrap_or(ambient_mean);
        let intake_c = hour
            .intake_c
            .or(day.space.map(|s| s.inside_c))
            .unwrap_or(ambient_c);
        let load = day
            .space
            .map(|s| load_w(&s, ambient_c, clock_h + 0.5) + hour.gain_w);
        let charging_w = hour.charge_w
            + day
                .charges
                .iter()
                .map(|c| c.power_w * overlap(clock_h, c.from_h, c.until_h))
                .sum::<f64>();
        let mut out = DayHour {
            clock_h,
            ambient_c,
            intake_c,
            used: 0.0,
            duty: None,
            load_w: load,
            capacity_w: None,
            battery_w: 0.0,
            charging_w,
        };
        // Powers at the battery: as expected, at the draw's lower and upper end, and at the duty's.
        let (mut less, mut more, mut duty_w, mut losses) = (0.0, 0.0, 0.0, 0.0);
        for u in &uses {
            let share = overlap(clock_h, u.day.from_h, u.day.until_h);
            if share <= 0.0 {
                continue;
            }
            warmest_intake_c = warmest_intake_c.max(intake_c);
            if hour.ambient_c.is_some() {
                let far = |t: f64| (t - ambient_mean).abs();
                if furthest.is_none_or(|f| far(ambient_c) > far(f)) {
                    furthest = Some(ambient_c);
                }
            }
            let at = At::new(u.mode, u.level, intake_c, ambient_c);
            let name = || setting_name(fit, at);
            let p = predict(bench, fit, at, level)
                .ok_or_else(|| SupplyError::NoCurve { setting: name() })?;
            let beyond = |p: &Prediction| p.intake_beyond_k + p.ambient_beyond_k;
            if (beyond(&p) > 0.0 || !p.setting_tested)
                && furthest_draw
                    .as_ref()
                    .is_none_or(|f| beyond(&p) > beyond(f))
            {
                furthest_draw = Some(p.clone());
            }
            let d = match (u.day.duty, load) {
                (Some(stated), _) => Duty::stated(stated),
                (None, Some(load)) => duty(bench, capacity, at, load, level),
                (None, None) => Duty::stated(1.0),
            };
            unknown_capacity |= d.unknown;
            if let (Some(cap), Some(load)) = (d.capacity_w, load) {
                out.capacity_w = Some(cap);
                if load > cap {
                    cannot_hold.push((clock_h, load, cap));
                }
            }
            part_load |= d.value < 1.0;
            let off = resting(u.level, &fit.data);
            let battery = |draw_w: f64, duty: f64| {
                let on = supply.chain.at_battery(draw_w)?;
                let off = supply.chain.at_battery(off)?;
                Ok::<_, super::wire::TooMuch>((duty * on.power_w + (1.0 - duty) * off.power_w, on))
            };
            let fail = |reason| SupplyError::TooMuch {
                setting: name(),
                reason,
            };
            let (power_w, on) = battery(p.draw_w, d.value).map_err(fail)?;
            let (low_w, _) = battery(p.mean_w.0, d.value).map_err(fail)?;
            let high_w = battery(p.mean_w.1, d.value).map_or(2.0 * power_w - low_w, |b| b.0);
            let half_duty_w = 0.5
                * (battery(p.draw_w, d.high).map_err(fail)?.0
                    - battery(p.draw_w, d.low).map_err(fail)?.0);
            out.used += share;
            // Several settings within an hour share its duty by time.
            out.duty = Some(out.duty.unwrap_or(0.0) + share * d.value);
            out.battery_w += share * power_w;
            less += share * (power_w - low_w);
            more += share * (high_w - power_w);
            duty_w += share * half_duty_w;
            losses += share * power_w * on.losses_u * k;
            largest_a = largest_a.max(on.current_a);
        }
        if out.used > 1.0 + 1e-9 {
            return Err(overlapping(day, clock_h).into());
        }
        if out.used > 0.0 {
            out.duty = out.duty.map(|d| d / out.used);
        }
        let w = out.battery_w;
        let side = |draw: f64| {
            if w > 0.0 {
                (draw.hypot(duty_w).hypot(losses) / w).ln_1p() / k
            } else {
                0.0
            }
        };
        flows.push(Flow {
            out_wh: w,
            less: side(less),
            more: side(more),
            in_wh: charging_w * day.charge_efficiency,
        });
        hours.push(out);
    }
    let total: f64 = flows.iter().map(|f| f.out_wh).sum();
    let at = |z: f64| {
        flows
            .iter()
            .map(|f| f.out_wh * (z * if z > 0.0 { f.more } else { f.less }).exp())
            .sum::<f64>()
    };
    let used: f64 = hours.iter().map(|h| h.used).sum();
    let mean_a = if used > 0.0 {
        total / used / supply.chain.volts
    } else {
        0.0
    };
    let usable_wh = supply.holds.as_ref().map(|h| h.usable_wh(mean_a));
    let played = supply.holds.as_ref().zip(usable_wh).map(|(h, usable_wh)| {
        let store = Store {
            usable_wh,
            u: h.half / k,
            start: day.start_charge,
        };
        play(&flows, store, level)
    });
    assumptions(
        bench,
        day,
        fit,
        part_load,
        unknown_capacity,
        &profile,
        &mut notes,
    );
    Ok(Day {
        energy_wh: Span {
            value: total,
            low: at(-k),
            high: Some(at(k)),
        },
        charge_wh: flows.iter().map(|f| f.in_wh).sum(),
        usable_wh,
        played,
        cannot_hold,
        start_charge: day.start_charge,
        largest_a,
        notes,
        warmest_intake_c,
        furthest: furthest_draw,
        ambient_asked_c: furthest,
        hours,
    })
}

/// What was taken for granted, in sentences.
fn assumptions(
    bench: &Bench,
    day: &DayInfo,
    fit: &DrawFit,
    part_load: bool,
    unknown_capacity: bool,
    profile: &Profile,
    notes: &mut Vec<String>,
) {
    let has = |f: fn(&profile::Hour) -> bool| profile.hours.iter().any(f);
    if !has(|h| h.ambient_c.is_some()) {
        notes.push(
            "The day names no ambient air, so the condenser side is taken at the runs' mean."
                .to_owned(),
        );
    }
    if !has(|h| h.intake_c.is_some()) {
        notes.push(
            match day.space {
                Some(_) => {
                    "The intake air is taken to be at the temperature that the space is kept at."
                }
                None => {
                    "The day names no intake air, so it is taken to be as warm as the ambient air."
                }
            }
            .to_owned(),
        );
    }
    if day.space.is_some() {
        notes.push("The duty is heat load over cooling capacity, no more than 1: loss per kelvin times the difference, the sun as half a sine between its hours, people and devices (a simple balance, common practice, no source); heat stored in walls and air is not in it. The capacity is total cooling where humidity was measured on both sides, else sensible only: state the heat alike.".to_owned());
    }
    if unknown_capacity {
        notes.push("The bench gives no cooling capacity here, so the unit is taken to run all the time that it is in use.".to_owned());
    }
    if part_load {
        let rest = if fit.data.blower.is_some() {
            "the blower runs on at its own draw (from the fan-only runs)"
        } else if bench.of_kind(crate::bench::Kind::Standby).next().is_some() {
            "the unit draws its standby power"
        } else {
            "the unit is taken to draw nothing, since no fan-only and no standby runs were made"
        };
        notes.push(format!(
            "While the compressor rests, {rest}; starting losses are not in it."
        ));
    }
    notes.push("Outside its hours of use the unit is taken to be switched off.".to_owned());
    notes.push("The band moves all hours together: the same error of the draw, and of the battery, holds throughout the day.".to_owned());
}

/// Finds the settings of the uses.
fn uses<'a>(day: &'a DayInfo, fit: &DrawFit) -> Result<Vec<Used<'a>>, SupplyError> {
    let data = &fit.data;
    let mut faults = Vec::new();
    let mut used = Vec::new();
    let modes: Vec<&str> = data.modes.iter().map(String::as_str).collect();
    let levels: Vec<&str> = data.levels.iter().map(|l| l.label.as_str()).collect();
    for u in &day.uses {
        let mut find = |what: &str, asked: &Option<String>, have: &[&str]| {
            let found = match asked {
                Some(name) => have.iter().position(|h| h == name),
                None => (have.len() == 1).then_some(0),
            };
            if found.is_none() {
                faults.push(Fault::new(
                    u.place.clone(),
                    match asked {
                        Some(name) => format!(
                            "the {what} `{}`, which the bench does not have",
                            crate::bench::clip(name)
                        ),
                        None => format!("a use without a {what}"),
                    },
                    format!("one of {}", have.join(", ")),
                ));
            }
            found
        };
        let mode = find("mode", &u.mode, &modes);
        let level = find("fan", &u.fan, &levels);
        if let (Some(mode), Some(level)) = (mode, level) {
            used.push(Used {
                mode,
                level,
                day: u,
            });
        }
    }
    if day.uses.is_empty() {
        faults.push(Fault::new(
            crate::bench::Place::file("bench.toml"),
            "[day] without a [[day.use]]",
            "when the unit runs, such as [[day.use]] with mode, fan, from = \"22:00\" and until = \"07:00\"",
        ));
    }
    if faults.is_empty() {
        Ok(used)
    } else {
        Err(crate::bench::BenchError::Faults(faults).into())
    }
}

fn overlapping(day: &DayInfo, clock_h: f64) -> crate::bench::BenchError {
    let place = day.uses.last().map_or_else(
        || crate::bench::Place::file("bench.toml"),
        |u| u.place.clone(),
    );
    Fault::new(
        place,
        format!("uses that overlap in the hour after {clock_h:02.0}:00"),
        "one setting at a time",
    )
    .into()
}

/// Share of the hour after `clock_h` that lies between two clock hours; past midnight where `until` is not after `from`.
fn overlap(clock_h: f64, from: f64, until: f64) -> f64 {
    let within = |a: f64, b: f64| (b.min(clock_h + 1.0) - a.max(clock_h)).max(0.0);
    if until > from {
        within(from, until)
    } else {
        within(from, 24.0) + within(0.0, until)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::candidates::fit_draw;
    use crate::fit::forms::DrawData;

    /// A unit run at 25 to 35 degC ambient, a battery of 100 Ah at 24 V, and what a day's table says; `more` stands before it.
    fn played(
        more: &str,
        day_table: &str,
        change: impl Fn(&mut Supply, &DrawFit),
    ) -> (Day, Supply, DrawFit) {
        let mut table = "run,fan,intake_temp [degC],ambient_temp [degC],power [W]\n".to_owned();
        for k in 0..12 {
            let (intake, ambient) = (22 + 2 * (k % 3), 25 + 5 * (k / 4));
            let draw = f64::from(150 + 2 * intake + 3 * ambient) + f64::from(k).sin();
            table.push_str(&format!("r{k},1,{intake},{ambient},{draw}\n"));
        }
        let toml = format!(
            "[points]\nfile = \"points.csv\"\n[battery]\nnominal_voltage = \"24 V\"\ncapacity = \"100 Ah\"\n{more}[day]\n{day_table}"
        );
        let bench = Bench::from_texts(&toml, &table).unwrap();
        let fit = fit_draw(DrawData::from_bench(&bench)).unwrap();
        let mut supply = Supply::of(&bench, 0.95).unwrap();
        change(&mut supply, &fit);
        let asked = bench.day.as_ref().unwrap();
        let played = day(&bench, asked, &supply, &fit, None, 0.95).unwrap();
        (played, supply, fit)
    }

    /// The same air all day, so that all hours of use are alike.
    fn even(from: &str, until: &str) -> String {
        format!(
            "ambient_low = \"30 degC\"\nambient_high = \"30 degC\"\nintake_low = \"24 degC\"\nintake_high = \"24 degC\"\n\
             [[day.use]]\nfan = \"1\"\nfrom = \"{from}\"\nuntil = \"{until}\"\n"
        )
    }

    /// In use all day, the ambient between two temperatures, degC.
    fn all_day(low: i32, high: i32) -> String {
        format!(
            "ambient_low = \"{low} degC\"\nambient_high = \"{high} degC\"\nintake_low = \"23 degC\"\nintake_high = \"25 degC\"\n\
             [[day.use]]\nfan = \"1\"\nfrom = \"00:00\"\nuntil = \"24:00\"\n"
        )
    }

    #[test]
    fn of_hours_on_either_side_of_the_tests_the_furthest_is_kept() {
        // The runs' mean is 30 degC: 10 degC at night is further off than 34 degC by day.
        let (played, _, _) = played("", &all_day(10, 34), |_, _| {});
        assert!(played.ambient_asked_c.unwrap() < 11.0);
    }

    /// The unit's draw in [`even`]'s air: expected, and the ends of its interval.
    fn draw_w(fit: &DrawFit) -> (f64, f64, f64) {
        let bench = Bench::from_texts(
            "[points]\nfile = \"points.csv\"\n",
            "run,fan,power [W]\na,1,1\n",
        )
        .unwrap();
        let p = predict(&bench, fit, At::new(0, 0, 24.0, 30.0), 0.95).unwrap();
        (p.draw_w, p.mean_w.0, p.mean_w.1)
    }

    #[test]
    fn losses_in_doubt_widen_a_days_energy_by_hand() {
        let (played, supply, fit) = played(
            "[converter]\nefficiency = \"90 %\"\ntolerance = \"4 %\"\n",
            &even("00:00", "24:00"),
            |_, _| {},
        );
        let (draw, low, _) = draw_w(&fit);
        let at = |w: f64| supply.chain.at_battery(w).unwrap();
        let power = at(draw).power_w;
        assert!((played.energy_wh.value / (24.0 * power) - 1.0).abs() < 1e-9);
        // The interval's lower end: draw and losses in quadrature, as factors.
        let losses = 1.959_964 * at(draw).losses_u * power;
        let factor = 1.0 + (power - at(low).power_w).hypot(losses) / power;
        assert!(
            losses > 3.0
                && (played.energy_wh.low * factor / played.energy_wh.value - 1.0).abs() < 1e-6
        );
    }

    #[test]
    fn where_the_upper_end_cannot_pass_the_cable_the_interval_is_as_far_above_as_below() {
        // A cable passes V²/4R at most: just less than the draw's upper end.
        let (played, _, _) = played("", &even("00:00", "24:00"), |supply, fit| {
            let (draw, _, high) = draw_w(fit);
            supply.chain.ohm = supply.chain.volts.powi(2) / (2.0 * (draw + high));
        });
        let e = played.energy_wh;
        assert!(
            (e.high.unwrap() / e.value / (e.value / e.low) - 1.0).abs() < 1e-9 && e.low < e.value
        );
    }

    #[test]
    fn a_battery_gives_what_it_does_at_the_mean_current_of_the_hours_of_use() {
        let (played, supply, _) = played(
            "peukert = 1.2\nrated_over = \"20 h\"\n",
            &even("08:00", "20:00"),
            |_, _| {},
        );
        // Twelve hours at one power: its current is the mean.
        let mean_a = played.energy_wh.value / 12.0 / 24.0;
        let usable = supply.holds.as_ref().unwrap().usable_wh(mean_a);
        assert!((played.usable_wh.unwrap() / usable - 1.0).abs() < 1e-9);
        assert!(usable < 0.95 * 2400.0);
    }

    #[test]
    fn of_the_hours_beyond_the_tests_the_furthest_is_kept() {
        // A day from 30 to 45 degC, which is warmest at 14 h: 10 K beyond.
        let (played, _, _) = played("", &all_day(30, 45), |_, _| {});
        let furthest = played.furthest.unwrap();
        assert!(
            (furthest.ambient_beyond_k - 10.0).abs() < 1e-9,
            "{}",
            furthest.ambient_beyond_k
        );
        assert_eq!(played.ambient_asked_c, Some(45.0));
    }

    #[test]
    fn hours_of_use_wrap_past_midnight() {
        assert_eq!(overlap(22.0, 22.5, 7.25), 0.5);
        assert_eq!(overlap(7.0, 22.5, 7.25), 0.25);
        assert_eq!(overlap(3.0, 22.5, 7.25), 1.0);
        assert_eq!(overlap(12.0, 22.5, 7.25), 0.0);
        assert_eq!(overlap(5.0, 0.0, 24.0), 1.0);
        // From an hour to the same hour is the whole day.
        assert_eq!(overlap(5.0, 8.0, 8.0), 1.0);
    }
}
