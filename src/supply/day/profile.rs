//! A day's temperatures, hour by hour.

use crate::bench::table::Table;
use crate::bench::{BenchError, DayInfo, Fault, Place, Source};
use crate::quantity::Dimension;

/// Hours in a day.
pub const HOURS: usize = 24;

/// How far below the day's warmest the temperature lies at each clock hour from 1 to 24, as a share of the daily range
/// (ASHRAE Handbook—Fundamentals, chapter Climatic design information, table of fractions of the daily temperature range, 2009 and later; from memory).
/// Coolest at 5 h, warmest at 14 to 15 h.
pub const DAILY_RANGE: [f64; HOURS] = [
    0.88, 0.92, 0.95, 0.98, 1.00, 0.98, 0.91, 0.74, 0.55, 0.38, 0.23, 0.13, 0.05, 0.00, 0.00, 0.06,
    0.14, 0.24, 0.39, 0.50, 0.59, 0.68, 0.75, 0.82,
];

/// What an hour is like.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Hour {
    /// Ambient (condenser-side) air, degC.
    pub ambient_c: Option<f64>,
    /// Intake air, degC.
    pub intake_c: Option<f64>,
    /// Charging power from the table, W.
    pub charge_w: f64,
    /// Heat into the space from the table, W.
    pub gain_w: f64,
}

/// The hours of a day, by clock hour: element 13 holds from 13:00 to 14:00.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    /// The hours.
    pub hours: Vec<Hour>,
    /// Where the temperatures come from, in words.
    pub from: String,
}

/// Temperature at a clock hour between the day's lowest and highest, degC: straight lines between the published hours.
pub fn shaped(low: f64, high: f64, clock_h: f64) -> f64 {
    let h = clock_h.rem_euclid(24.0);
    let at = |k: usize| {
        DAILY_RANGE
            .get((k + HOURS - 1) % HOURS)
            .copied()
            .unwrap_or(0.0)
    };
    let below = h.floor() as usize;
    let f = at(below) + (h - h.floor()) * (at(below + 1) - at(below));
    high - f * (high - low)
}

impl Profile {
    /// Reads the table that the day names, or shapes its low and high temperatures.
    ///
    /// # Errors
    /// [`BenchError`] for a table that is not there or cannot be read as hours.
    pub fn of(day: &DayInfo, source: Option<&Source>) -> Result<Profile, BenchError> {
        if let (Some((file, place)), Some(source)) = (&day.file, source) {
            let table = Table::read(file, &source.read(file, place)?)?;
            return Ok(Profile {
                hours: read_hours(&table)?,
                from: format!("the table {file}; each row holds until the next"),
            });
        }
        // The middle of the hour stands for it.
        let at = |range: Option<(f64, f64)>, k: usize| {
            range.map(|(low, high)| shaped(low, high, k as f64 + 0.5))
        };
        Ok(Profile {
            hours: (0..HOURS)
                .map(|k| Hour {
                    ambient_c: at(day.ambient_c, k),
                    intake_c: at(day.intake_c, k),
                    ..Hour::default()
                })
                .collect(),
            from: "lowest and highest with the published shape of a summer day (ASHRAE Handbook—Fundamentals, from memory)".to_owned(),
        })
    }
}

fn read_hours(table: &Table) -> Result<Vec<Hour>, BenchError> {
    const KNOWN: [(&str, Dimension); 4] = [
        ("ambient_temp", Dimension::Temperature),
        ("intake_temp", Dimension::Temperature),
        ("charge", Dimension::Power),
        ("gain", Dimension::Power),
    ];
    let mut faults = Vec::new();
    let heading = || Place::line(&table.file, table.heading_line);
    let Some(hour_at) = table.find("hour") else {
        return Err(Fault::new(heading(), "no column `hour`", "a column `hour` from 0 to 23, and ambient_temp [degC] or intake_temp [degC]; charge [W] and gain [W] may follow").into());
    };
    let mut columns = Vec::new();
    for (name, dimension) in KNOWN {
        let Some(at) = table.find(name) else { continue };
        let column = table.columns.get(at);
        match column
            .and_then(|c| c.unit)
            .filter(|u| u.measures(dimension))
        {
            Some(unit) => columns.push((name, at, unit)),
            None => faults.push(Fault::new(
                heading(),
                format!("`{name}` without a unit of {}", dimension.words()),
                format!("`{name} [{}]`", dimension.base_symbol()),
            )),
        }
    }
    if !columns.iter().any(|c| c.0.ends_with("_temp")) && faults.is_empty() {
        faults.push(Fault::new(
            heading(),
            "no temperature",
            "a column ambient_temp [degC] or intake_temp [degC]",
        ));
    }
    let mut rows: Vec<(f64, Hour)> = Vec::new();
    for (line, cells) in &table.rows {
        let cell = |at: usize| cells.get(at).map_or("", String::as_str);
        let hour = match crate::bench::clock_hour(cell(hour_at)) {
            Some(h) => Some(h),
            None => match table.number(*line, hour_at, cell(hour_at)) {
                Ok(h) => h.filter(|h| (0.0..24.0).contains(h)),
                Err(fault) => {
                    faults.push(*fault);
                    continue;
                }
            },
        };
        let Some(hour) = hour else {
            faults.push(Fault::new(
                table.place(*line, hour_at),
                format!("the hour `{}`", cell(hour_at)),
                "an hour from 0 to 23, such as 14 or 14:00",
            ));
            continue;
        };
        if rows.last().is_some_and(|(before, _)| hour <= *before) {
            faults.push(Fault::new(
                table.place(*line, hour_at),
                format!("the hour `{}` after a later one", cell(hour_at)),
                "hours that rise from row to row",
            ));
        }
        let mut row = Hour::default();
        for (name, at, unit) in &columns {
            match table.number(*line, *at, cell(*at)) {
                Ok(Some(v)) => {
                    let v = unit.to_si(v);
                    match *name {
                        "ambient_temp" => row.ambient_c = Some(v),
                        "intake_temp" => row.intake_c = Some(v),
                        "charge" => row.charge_w = v,
                        _ => row.gain_w = v,
                    }
                    if name.ends_with("_temp") && !(-60.0..=90.0).contains(&v)
                        || *name == "charge" && v < 0.0
                    {
                        faults.push(Fault::new(
                            table.place(*line, *at),
                            format!("{name} of {v:.1}"),
                            "a temperature between -60 and 90 degC; a charge not below zero",
                        ));
                    }
                }
                Ok(None) => faults.push(Fault::new(
                    table.place(*line, *at),
                    "an empty cell",
                    "a value for every hour",
                )),
                Err(fault) => faults.push(*fault),
            }
        }
        rows.push((hour, row));
    }
    if !faults.is_empty() {
        return Err(BenchError::Faults(faults));
    }
    // Each row holds until the next; before the first, the last of the day before.
    Ok((0..HOURS)
        .filter_map(|k| {
            let until = rows.partition_point(|(h, _)| *h <= k as f64 + 0.5);
            rows.get(until.checked_sub(1).unwrap_or(rows.len().saturating_sub(1)))
                .map(|(_, row)| *row)
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shape_meets_both_ends_and_its_own_hours() {
        assert_eq!(shaped(18.0, 33.0, 5.0), 18.0);
        assert_eq!(shaped(18.0, 33.0, 14.0), 33.0);
        // 9 h: 0.55 of 15 K below 33 degC; half past: halfway to 0.38.
        assert!((shaped(18.0, 33.0, 9.0) - 24.75).abs() < 1e-12);
        assert!((shaped(18.0, 33.0, 9.5) - (33.0 - 0.465 * 15.0)).abs() < 1e-12);
        // Midnight is hour 24 of the table, whichever way it is asked.
        assert_eq!(shaped(0.0, 100.0, 24.0), shaped(0.0, 100.0, 0.0));
        assert!((shaped(0.0, 100.0, 0.0) - 18.0).abs() < 1e-9);
    }

    #[test]
    fn a_table_holds_from_row_to_row() {
        let read = |text: &str| read_hours(&Table::read("day.csv", text.as_bytes()).unwrap());
        let hours =
            read("hour,ambient_temp [degF],charge [W]\n6,68,0\n12:00,86,200\n20,77,0\n").unwrap();
        assert_eq!(hours.len(), 24);
        assert!(
            (hours[5].ambient_c.unwrap() - 25.0).abs() < 1e-9,
            "the evening before"
        );
        assert!((hours[6].ambient_c.unwrap() - 20.0).abs() < 1e-9);
        assert!((hours[19].ambient_c.unwrap() - 30.0).abs() < 1e-9 && hours[19].charge_w == 200.0);
        // An hour is what holds in its middle: a row of half past six holds for all of it, one of twenty to seven from the next.
        let half = read("hour,ambient_temp [degC]\n0,10\n06:30,20\n12:40,30\n").unwrap();
        let at = |k: usize| half[k].ambient_c;
        assert_eq!(
            [at(5), at(6), at(12), at(13)],
            [10.0, 20.0, 20.0, 30.0].map(Some)
        );
        for bad in [
            "hour,charge [W]\n0,5\n",
            "hour,ambient_temp\n0,5\n",
            "h,ambient_temp [degC]\n0,5\n",
            "hour,ambient_temp [degC]\n25,5\n",
            "hour,ambient_temp [degC]\n3,5\n2,5\n",
            "hour,ambient_temp [degC]\n3,300\n",
        ] {
            assert!(read(bad).is_err(), "{bad}");
        }
    }
}
