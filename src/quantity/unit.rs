//! Finding a unit in the table, and converting with it.

use std::fmt;

use super::table::{CASE_MATTERS, Row, TABLE, names};
use super::{Dimension, UnitError, UnitErrorKind};

/// A unit from the table. Made by [`Unit::parse`]; small and copied freely.
#[derive(Clone, Copy)]
pub struct Unit(&'static Row);

impl Unit {
    /// Finds a unit by its symbol or a common spelling: `degC`, `°C`, `m³/h`, `fpm`, `BTU/hr`.
    ///
    /// # Errors
    /// Empty text, or a unit that the table does not have; the error lists near matches or all units.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        Self::find(text, None)
    }

    /// As [`Unit::parse`], and of the wanted dimension. Units of temperature serve differences too.
    ///
    /// # Errors
    /// As for [`Unit::parse`], and a unit of another dimension.
    pub fn parse_for(text: &str, want: Dimension) -> Result<Self, UnitError> {
        let unit = Self::find(text, Some(want))?;
        unit.check(want, text)?;
        Ok(unit)
    }

    /// The unit in which the program computes quantities of this dimension; none for [`Dimension::Number`].
    pub fn base(dimension: Dimension) -> Option<Self> {
        TABLE
            .iter()
            .find(|row| row.symbol == dimension.base_symbol() && row.dimension.serves(dimension))
            .map(Self)
    }

    /// What the unit measures.
    pub fn dimension(&self) -> Dimension {
        self.0.dimension
    }

    /// Whether the unit may express a quantity of this dimension.
    pub fn measures(&self, want: Dimension) -> bool {
        self.0.dimension.serves(want)
    }

    /// The unit's own symbol: `degC` for whatever spelling of it was read.
    pub fn symbol(&self) -> &'static str {
        self.0.symbol
    }

    /// A reading in this unit, in the base unit of its dimension.
    pub fn to_si(&self, v: f64) -> f64 {
        (v - self.0.zero) * self.0.num / self.0.den
    }

    /// A reading in the base unit, in this unit.
    pub fn from_si(&self, v: f64) -> f64 {
        v * self.0.den / self.0.num + self.0.zero
    }

    /// A difference of readings in this unit, in the base unit: 9 degF is a difference of 5 degC.
    pub fn difference_to_si(&self, v: f64) -> f64 {
        v * self.0.num / self.0.den
    }

    /// A difference in the base unit, in this unit.
    pub fn difference_from_si(&self, v: f64) -> f64 {
        v * self.0.den / self.0.num
    }

    /// A reading of the wanted dimension in base units: a difference where differences are wanted, else on the scale.
    pub fn to_base(&self, v: f64, want: Dimension) -> f64 {
        if want == Dimension::TemperatureDifference {
            self.difference_to_si(v)
        } else {
            self.to_si(v)
        }
    }

    fn check(&self, want: Dimension, text: &str) -> Result<(), UnitError> {
        if self.measures(want) {
            return Ok(());
        }
        let found = self.dimension();
        let expected = format!(
            "{}; `{}` is a unit of {}",
            want.words_with_units(),
            self.symbol(),
            found
                .words()
                .trim_start_matches("an ")
                .trim_start_matches("a ")
        );
        let kind = UnitErrorKind::WrongDimension {
            found,
            wanted: want,
        };
        Err(UnitError::new(kind, text, expected, trimmed_span(text)))
    }

    fn find(text: &str, want: Option<Dimension>) -> Result<Self, UnitError> {
        let span = trimmed_span(text);
        if span.is_empty() {
            let expected = match want {
                Some(want) => want.words_with_units(),
                None => "a unit, such as degC, W or m3/h".to_owned(),
            };
            return Err(UnitError::new(UnitErrorKind::Empty, text, expected, span));
        }
        let wanted = plain(text);
        let mut folded = None;
        for row in TABLE {
            for name in names(row) {
                if name == wanted {
                    return Ok(Self(row));
                }
                if folded.is_none()
                    && name.eq_ignore_ascii_case(&wanted)
                    && !(CASE_MATTERS.contains(&row.symbol) && first_differs(name, &wanted))
                {
                    folded = Some(Self(row));
                }
            }
        }
        folded.ok_or_else(|| unknown(text, &wanted, want))
    }
}

impl PartialEq for Unit {
    fn eq(&self, other: &Self) -> bool {
        self.0.symbol == other.0.symbol
    }
}

impl Eq for Unit {}

impl fmt::Debug for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Unit({})", self.0.symbol)
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0.symbol)
    }
}

fn first_differs(a: &str, b: &str) -> bool {
    a.chars().next() != b.chars().next()
}

/// Byte range of the text without the white space around it.
pub(super) fn trimmed_span(text: &str) -> std::ops::Range<usize> {
    let start = text.len() - text.trim_start().len();
    start..start + text.trim().len()
}

/// The unit's spelling reduced to plain letters: no spaces, raised digits lowered, degree sign and ohm in letters.
fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\u{b0}' | '\u{ba}' => out.push_str("deg"),
            '\u{2103}' => out.push_str("degC"),
            '\u{2109}' => out.push_str("degF"),
            '\u{3a9}' | '\u{2126}' => out.push_str("ohm"),
            '\u{b2}' => out.push('2'),
            '\u{b3}' => out.push('3'),
            '^' => {}
            c if c.is_whitespace() => {}
            c => out.push(c),
        }
    }
    out
}

fn unknown(text: &str, wanted: &str, want: Option<Dimension>) -> UnitError {
    let suggestion = nearest(wanted, want);
    let accepted = match want {
        Some(want) => want.words_with_units(),
        None => {
            let all: Vec<&str> = TABLE.iter().map(|row| row.symbol).collect();
            format!("a unit that is known here: {}", all.join(", "))
        }
    };
    let expected = match suggestion {
        Some(near) => format!("{accepted}; did you mean `{near}`?"),
        None => accepted,
    };
    UnitError::new(
        UnitErrorKind::UnknownUnit { suggestion },
        text,
        expected,
        trimmed_span(text),
    )
}

/// The table's nearest symbol by edit distance, of the wanted dimension when there is one; none when nothing is near.
fn nearest(wanted: &str, want: Option<Dimension>) -> Option<&'static str> {
    let length = wanted.chars().count();
    if length > 20 {
        return None;
    }
    // One slip in a short unit, two in a longer one: more would suggest units at random.
    let limit = if length <= 3 { 1 } else { 2 };
    let lower = wanted.to_lowercase();
    TABLE
        .iter()
        .filter(|row| want.is_none_or(|want| row.dimension.serves(want)))
        .flat_map(|row| names(row).map(move |name| (row, name)))
        // A one-letter name is one slip from anything short.
        .filter(|(_, name)| name.len() > 1 || name.eq_ignore_ascii_case(wanted))
        // So many letters more or less are as many slips at least.
        .filter(|(_, name)| name.chars().count().abs_diff(length) <= limit)
        .map(|(row, name)| {
            let distance = strsim::damerau_levenshtein(&name.to_lowercase(), &lower);
            (distance, row.symbol)
        })
        .filter(|(distance, _)| *distance <= limit)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, symbol)| symbol)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_units_share_a_name_even_when_case_is_ignored_except_where_case_tells_them_apart() {
        let mut seen: Vec<(String, &str)> = Vec::new();
        for row in TABLE {
            for name in names(row) {
                assert_eq!(plain(name), name, "names in the table are already plain");
                let lower = name.to_lowercase();
                if let Some((_, other)) = seen.iter().find(|(n, s)| *n == lower && *s != row.symbol)
                {
                    panic!("`{name}` names both {other} and {}", row.symbol);
                }
                seen.push((lower, row.symbol));
            }
        }
    }

    #[test]
    fn every_dimension_but_the_plain_number_has_its_base_unit_in_the_table() {
        use Dimension as D;
        for d in [
            D::Temperature,
            D::TemperatureDifference,
            D::Power,
            D::Voltage,
            D::Current,
            D::Charge,
            D::Energy,
            D::Speed,
            D::Flow,
            D::Pressure,
            D::Fraction,
            D::Time,
            D::Length,
            D::Area,
            D::Mass,
            D::MassRate,
            D::Resistance,
        ] {
            let unit = Unit::base(d).unwrap();
            assert_eq!(unit.to_si(1.25), 1.25, "{d:?}");
            assert_eq!(unit.from_si(1.25), 1.25, "{d:?}");
        }
        assert!(Unit::base(D::Number).is_none());
    }

    #[test]
    fn readings_go_there_and_back() {
        for row in TABLE {
            let unit = Unit(row);
            for v in [-40.0, 0.0, 0.37, 26.5, 1.0e4] {
                let back = unit.from_si(unit.to_si(v));
                assert!(
                    (back - v).abs() <= 1e-12 * v.abs().max(300.0),
                    "{unit}: {v} {back}"
                );
                let back = unit.difference_from_si(unit.difference_to_si(v));
                assert!((back - v).abs() <= 1e-14 * v.abs(), "{unit}: {v} {back}");
            }
        }
    }

    #[test]
    fn milli_is_never_read_as_mega() {
        for text in ["MW", "MA", "mJ", "MM", "MOhm"] {
            let error = Unit::parse(text).unwrap_err();
            let UnitErrorKind::UnknownUnit { suggestion } = error.kind else {
                panic!("{error:?}")
            };
            assert!(suggestion.is_some(), "{text}: {error}");
        }
        assert_eq!(Unit::parse("M/S").unwrap().symbol(), "m/s");
        assert_eq!(Unit::parse("MIN").unwrap().symbol(), "min");
    }
}
