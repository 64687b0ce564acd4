//! Showing quantities: rounded to their uncertainty, in SI or US units.

use super::{Dimension, Unit};

/// Which units people read. The program computes in base units whatever is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum System {
    /// degC, W, m3/h, m/s, Pa.
    #[default]
    Si,
    /// degF, Btu/h for capacity (electrical power stays in W), cfm, ft/min, inHg.
    Us,
}

impl System {
    /// Symbol of the unit in which this system shows a dimension. Electrical power is in W in both;
    /// for capacity see [`System::capacity_symbol`]. Fractions are shown in `%`.
    pub fn symbol(self, dimension: Dimension) -> &'static str {
        use Dimension as D;
        match (self, dimension) {
            (_, D::Fraction) => "%",
            (Self::Us, D::Temperature | D::TemperatureDifference) => "degF",
            (Self::Us, D::Speed) => "ft/min",
            (Self::Us, D::Flow) => "cfm",
            (Self::Us, D::Pressure) => "inHg",
            (Self::Us, D::Length) => "ft",
            (Self::Us, D::Area) => "ft2",
            (Self::Us, D::Mass) => "lb",
            (Self::Us, D::MassRate) => "lb/h",
            (_, dimension) => dimension.base_symbol(),
        }
    }

    /// Symbol of the unit in which this system shows cooling capacity: W or Btu/h.
    pub fn capacity_symbol(self) -> &'static str {
        match self {
            Self::Si => "W",
            Self::Us => "Btu/h",
        }
    }

    /// A value in base units, in the unit that this system shows.
    pub fn convert(self, dimension: Dimension, value: f64) -> f64 {
        match Unit::parse(self.symbol(dimension)) {
            Ok(unit) if dimension == Dimension::TemperatureDifference => {
                unit.difference_from_si(value)
            }
            Ok(unit) if unit.measures(dimension) => unit.from_si(value),
            _ => value,
        }
    }

    /// A difference, uncertainty or slope numerator in base units, in the unit that this system shows.
    pub fn convert_difference(self, dimension: Dimension, value: f64) -> f64 {
        match Unit::parse(self.symbol(dimension)) {
            Ok(unit) if unit.measures(dimension) => unit.difference_from_si(value),
            _ => value,
        }
    }

    /// A value in base units with the unit that this system shows: `24.0 degC`. A temperature difference is in K or degF.
    pub fn shown(self, dimension: Dimension, value: f64, decimals: i32) -> String {
        let symbol = match (self, dimension) {
            (Self::Si, Dimension::TemperatureDifference) => "K",
            _ => self.symbol(dimension),
        };
        format!(
            "{} {symbol}",
            fixed(self.convert(dimension, value), decimals)
        )
    }

    /// Two values in base units as a range: `21.5 to 32.3 degC`.
    pub fn range(self, dimension: Dimension, low: f64, high: f64, decimals: i32) -> String {
        format!(
            "{} to {}",
            fixed(self.convert(dimension, low), decimals),
            self.shown(dimension, high, decimals)
        )
    }

    /// A capacity in W, in the unit that this system shows.
    pub fn convert_capacity(self, watts: f64) -> f64 {
        match Unit::parse(self.capacity_symbol()) {
            Ok(unit) => unit.from_si(watts),
            Err(_) => watts,
        }
    }
}

/// Most decimals that are ever shown.
const MOST_DECIMALS: i32 = 12;

/// Decimals that show two significant digits of the uncertainty `u`: 1 for u = 3.2, 3 for 0.032, −1 for 320
/// (then the value is rounded to tens). None when `u` is zero, negative or not finite.
///
/// Two digits: JCGM 100:2008, 7.2.6.
pub fn decimals_for(u: f64) -> Option<i32> {
    if !(u.is_finite() && u > 0.0) {
        return None;
    }
    let exponent = |x: f64| x.log10().floor() as i32;
    let first = 1 - exponent(u);
    // 0.0996 rounds to 0.10, whose two digits end one place earlier.
    let decimals = 1 - exponent(round_at(u, first));
    Some(decimals.min(MOST_DECIMALS))
}

/// A value with a fixed number of decimals; negative decimals round to tens, hundreds … Never prints `-0`.
/// A value that is not finite prints as `-`, which tables use for "no figure".
pub fn fixed(value: f64, decimals: i32) -> String {
    if !value.is_finite() {
        return "-".to_owned();
    }
    let rounded = if decimals < 0 {
        round_at(value, decimals)
    } else {
        value
    };
    let places = usize::try_from(decimals.clamp(0, MOST_DECIMALS)).unwrap_or(0);
    let text = format!("{rounded:.places$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| c == '0' || c == '.') => digits.to_owned(),
        _ => text,
    }
}

/// A value with so many significant digits: `significant(0.012345, 3)` is `0.0123`.
pub fn significant(value: f64, digits: u32) -> String {
    if value == 0.0 || !value.is_finite() {
        return fixed(value, 0);
    }
    let digits = i32::try_from(digits.clamp(1, 15)).unwrap_or(15);
    let exponent = value.abs().log10().floor() as i32;
    let rounded = round_at(value, digits - 1 - exponent);
    let exponent = rounded.abs().log10().floor() as i32;
    fixed(rounded, digits - 1 - exponent)
}

/// A value rounded to two significant digits of its uncertainty; to four significant digits of its own where none is known.
pub fn to_uncertainty(value: f64, u: Option<f64>) -> String {
    match u.and_then(decimals_for) {
        Some(decimals) => fixed(value, decimals),
        None => significant(value, 4),
    }
}

/// "354.2 ± 1.3 W": a value and its standard uncertainty, both to two digits of the uncertainty, and the unit.
pub fn with_uncertainty(value: f64, u: Option<f64>, symbol: &str) -> String {
    match u.and_then(|u| decimals_for(u).map(|decimals| (u, decimals))) {
        Some((u, decimals)) => {
            format!(
                "{} \u{b1} {} {symbol}",
                fixed(value, decimals),
                fixed(u, decimals)
            )
        }
        None => format!("{} {symbol}", significant(value, 4)),
    }
}

fn round_at(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals.abs());
    let rounded = if decimals >= 0 {
        (value * scale).round() / scale
    } else {
        (value / scale).round() * scale
    };
    // A scale beyond the range of a double cannot round anything.
    if rounded.is_finite() { rounded } else { value }
}
