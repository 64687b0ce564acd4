//! The fields of a date and time, and the moment that they make.

use super::calendar::{DAY, days_from_civil, days_in_month, is_leap};
use super::{Stamp, StampFault};

/// What a stamp says, field by field.
#[derive(Default)]
pub(super) struct Fields {
    pub(super) year: Option<i32>,
    pub(super) month: u32,
    pub(super) day: u32,
    pub(super) day_of_year: u32,
    pub(super) hour: u32,
    pub(super) minute: u32,
    pub(super) second: u32,
    pub(super) fraction: f64,
    /// 0 for the morning, 12 for the afternoon.
    pub(super) half: Option<u32>,
    pub(super) offset: Option<i32>,
    pub(super) epoch: Option<f64>,
}

impl Fields {
    /// The moment that the fields make.
    pub(super) fn stamp(&self) -> Result<Stamp, StampFault> {
        if let Some(seconds) = self.epoch {
            return Ok(Stamp::Instant(seconds + self.fraction));
        }
        let mut hour = self.hour;
        if let Some(half) = self.half {
            if !(1..=12).contains(&hour) {
                return Err(StampFault::NoSuchTime);
            }
            hour = hour % 12 + half;
        }
        let year = self.year.ok_or(StampFault::Shape)?;
        let days = if self.day_of_year > 0 {
            if self.day_of_year > 365 + u32::from(is_leap(year)) {
                return Err(StampFault::NoSuchTime);
            }
            days_from_civil(year, 1, 1) + i64::from(self.day_of_year) - 1
        } else {
            if !(1..=12).contains(&self.month)
                || self.day < 1
                || self.day > days_in_month(year, self.month)
            {
                return Err(StampFault::NoSuchTime);
            }
            days_from_civil(year, self.month, self.day)
        };
        // Some loggers end a day with 24:00:00.
        let end_of_day = hour == 24 && self.minute == 0 && self.second == 0;
        // Second 60 is a leap second.
        if (hour > 23 && !end_of_day) || self.minute > 59 || self.second > 60 {
            return Err(StampFault::NoSuchTime);
        }
        let seconds = days as f64 * DAY
            + f64::from(hour * 3600 + self.minute * 60 + self.second)
            + self.fraction;
        Ok(match self.offset {
            Some(offset) => Stamp::Instant(seconds - f64::from(offset)),
            None => Stamp::Local(seconds),
        })
    }
}
