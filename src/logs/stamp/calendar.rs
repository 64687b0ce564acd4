//! Days of the Gregorian calendar.

/// Seconds in a day.
pub(super) const DAY: f64 = 86_400.0;

/// Days from 1970-01-01 to a date of the Gregorian calendar, counting leap days in eras of 400 years that begin in March.
pub fn days_from_civil(year: i32, month: u32, day: u32) -> i64 {
    let (y, m) = (i64::from(year), i64::from(month));
    let (y, m) = if m <= 2 { (y - 1, m + 9) } else { (y, m - 3) };
    let era = y.div_euclid(400);
    let in_era = y.rem_euclid(400);
    // Months from March have 30.6 days on average: (153 m + 2) / 5 days before month m.
    let in_year = (153 * m + 2) / 5 + i64::from(day) - 1;
    // 719 468 days from 0000-03-01 to 1970-01-01; 146 097 in an era.
    era * 146_097 + in_era * 365 + in_era / 4 - in_era / 100 + in_year - 719_468
}

pub(super) fn is_leap(year: i32) -> bool {
    year % 4 == 0 && (year % 100 != 0 || year % 400 == 0)
}

pub(super) fn days_in_month(year: i32, month: u32) -> u32 {
    match month {
        2 => 28 + u32::from(is_leap(year)),
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}
