//! The table of units, and finding a unit in it.

use std::fmt;

use super::{UnitError, UnitErrorKind};

/// What a quantity measures. Each dimension has one base unit (see the table in [`crate::quantity`]).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// A temperature on a scale; base degC.
    Temperature,
    /// A difference of temperatures, where the scale's zero plays no part; base degC (that is, K).
    TemperatureDifference,
    /// Electrical power or cooling capacity; base W.
    Power,
    /// Base V.
    Voltage,
    /// Base A.
    Current,
    /// Electric charge; base Ah.
    Charge,
    /// Base Wh.
    Energy,
    /// Air speed; base m/s.
    Speed,
    /// Volume flow of air; base m3/h.
    Flow,
    /// Base Pa.
    Pressure,
    /// A share of one: relative humidity, usable share of a battery; base 1, so `45 %` is 0.45.
    Fraction,
    /// Base s.
    Time,
    /// Base m.
    Length,
    /// Base m2.
    Area,
    /// Base kg.
    Mass,
    /// Mass per time, for condensate; base kg/h.
    MassRate,
    /// Base ohm.
    Resistance,
    /// A plain number without a unit.
    Number,
}

impl Dimension {
    /// The dimension in words, with its article: "a temperature".
    pub fn words(self) -> &'static str {
        match self {
            Self::Temperature => "a temperature",
            Self::TemperatureDifference => "a temperature difference",
            Self::Power => "a power",
            Self::Voltage => "a voltage",
            Self::Current => "a current",
            Self::Charge => "an electric charge",
            Self::Energy => "an energy",
            Self::Speed => "a speed",
            Self::Flow => "an airflow",
            Self::Pressure => "a pressure",
            Self::Fraction => "a percentage",
            Self::Time => "a time",
            Self::Length => "a length",
            Self::Area => "an area",
            Self::Mass => "a mass",
            Self::MassRate => "a mass per time",
            Self::Resistance => "a resistance",
            Self::Number => "a plain number",
        }
    }

    /// Symbol of the base unit; for [`Dimension::Fraction`] and [`Dimension::Number`] it is `1`.
    pub fn base_symbol(self) -> &'static str {
        match self {
            Self::Temperature | Self::TemperatureDifference => "degC",
            Self::Power => "W",
            Self::Voltage => "V",
            Self::Current => "A",
            Self::Charge => "Ah",
            Self::Energy => "Wh",
            Self::Speed => "m/s",
            Self::Flow => "m3/h",
            Self::Pressure => "Pa",
            Self::Fraction | Self::Number => "1",
            Self::Time => "s",
            Self::Length => "m",
            Self::Area => "m2",
            Self::Mass => "kg",
            Self::MassRate => "kg/h",
            Self::Resistance => "ohm",
        }
    }

    /// Symbols of the units that this dimension may be written in, in the order of the table; empty for [`Dimension::Number`].
    pub fn accepted(self) -> Vec<&'static str> {
        TABLE
            .iter()
            .filter(|row| row.dimension.serves(self))
            .map(|row| row.symbol)
            .collect()
    }

    /// "a temperature (degC, degF, K)".
    pub(super) fn words_with_units(self) -> String {
        let units = self.accepted();
        if units.is_empty() {
            return self.words().to_owned();
        }
        format!("{} ({})", self.words(), units.join(", "))
    }

    /// Whether a unit of this dimension may express the wanted one: degC expresses differences too.
    fn serves(self, wanted: Self) -> bool {
        self == wanted || (self == Self::Temperature && wanted == Self::TemperatureDifference)
    }
}

/// One unit: base = (value − zero) · num / den. Numerator and denominator are kept apart so that 45 % is exactly 0.45
/// and 212 degF exactly 100 degC.
struct Row {
    symbol: &'static str,
    dimension: Dimension,
    num: f64,
    den: f64,
    /// The reading in this unit where the base unit reads zero.
    zero: f64,
    /// Other spellings, after [`plain`].
    also: &'static [&'static str],
}

const fn row(
    symbol: &'static str,
    dimension: Dimension,
    num: f64,
    den: f64,
    also: &'static [&'static str],
) -> Row {
    Row {
        symbol,
        dimension,
        num,
        den,
        zero: 0.0,
        also,
    }
}

const fn offset_row(
    symbol: &'static str,
    num: f64,
    den: f64,
    zero: f64,
    also: &'static [&'static str],
) -> Row {
    Row {
        symbol,
        dimension: Dimension::Temperature,
        num,
        den,
        zero,
        also,
    }
}

/// International table British thermal unit in J: exact (NIST SP 811, appendix B.8, 2008).
const BTU_J: f64 = 1_055.055_852_62;
/// International foot in m: exact (NIST SP 811, appendix B.8, 2008).
const FOOT_M: f64 = 0.3048;
/// Avoirdupois pound in kg: exact (NIST SP 811, appendix B.8, 2008).
const POUND_KG: f64 = 0.453_592_37;

/// Every unit that is read. `C` and `F` alone are degrees: charge is in Ah here. Factors from definitions; the conventional columns of mercury and water and the psi from
/// NIST SP 811 (2008), appendix B.8.
static TABLE: &[Row] = &{
    use Dimension as D;
    [
        offset_row("degC", 1.0, 1.0, 0.0, &["C", "celsius", "degreesC"]),
        offset_row("degF", 5.0, 9.0, 32.0, &["F", "fahrenheit", "degreesF"]),
        offset_row("K", 1.0, 1.0, 273.15, &["kelvin", "degK"]),
        row("W", D::Power, 1.0, 1.0, &["watt", "watts"]),
        row("kW", D::Power, 1000.0, 1.0, &[]),
        row("mW", D::Power, 1.0, 1000.0, &[]),
        row("Btu/h", D::Power, BTU_J, 3600.0, &["Btu/hr", "Btuh"]),
        row("V", D::Voltage, 1.0, 1.0, &["volt", "volts", "Vdc"]),
        row("mV", D::Voltage, 1.0, 1000.0, &[]),
        row(
            "A",
            D::Current,
            1.0,
            1.0,
            &["amp", "amps", "ampere", "amperes", "Adc"],
        ),
        row("mA", D::Current, 1.0, 1000.0, &[]),
        row("Ah", D::Charge, 1.0, 1.0, &["amphours"]),
        row("mAh", D::Charge, 1.0, 1000.0, &[]),
        row("Wh", D::Energy, 1.0, 1.0, &["watthours"]),
        row("kWh", D::Energy, 1000.0, 1.0, &[]),
        row("J", D::Energy, 1.0, 3600.0, &[]),
        row("kJ", D::Energy, 1000.0, 3600.0, &[]),
        row("MJ", D::Energy, 1.0e6, 3600.0, &[]),
        row("m/s", D::Speed, 1.0, 1.0, &["m/sec"]),
        row("km/h", D::Speed, 1.0, 3.6, &["kph", "km/hr"]),
        row("ft/min", D::Speed, FOOT_M, 60.0, &["fpm", "feet/min"]),
        row("m3/h", D::Flow, 1.0, 1.0, &["m3/hr", "cmh"]),
        row("m3/min", D::Flow, 60.0, 1.0, &[]),
        row("m3/s", D::Flow, 3600.0, 1.0, &["m3/sec"]),
        row("L/s", D::Flow, 3.6, 1.0, &["L/sec", "litre/s"]),
        row("L/min", D::Flow, 0.06, 1.0, &["lpm"]),
        // 60 cubic feet of 0.3048^3 m3 each.
        row(
            "cfm",
            D::Flow,
            1.699_010_795_52,
            1.0,
            &["ft3/min", "cuft/min"],
        ),
        row("Pa", D::Pressure, 1.0, 1.0, &["pascal"]),
        row("hPa", D::Pressure, 100.0, 1.0, &[]),
        row("kPa", D::Pressure, 1000.0, 1.0, &[]),
        row("mbar", D::Pressure, 100.0, 1.0, &["millibar"]),
        row("bar", D::Pressure, 1.0e5, 1.0, &[]),
        row("inHg", D::Pressure, 3_386.388_640_341, 1.0, &[]),
        row("mmHg", D::Pressure, 133.322_387_415, 1.0, &[]),
        row("inH2O", D::Pressure, 249.088_91, 1.0, &["inwg", "inwc"]),
        row(
            "psi",
            D::Pressure,
            6_894.757_293_168,
            1.0,
            &["psia", "lbf/in2"],
        ),
        row(
            "%",
            D::Fraction,
            1.0,
            100.0,
            &["%RH", "%rh", "percent", "pct", "RH%"],
        ),
        row("1", D::Fraction, 1.0, 1.0, &["fraction"]),
        row("s", D::Time, 1.0, 1.0, &["sec", "second", "seconds"]),
        row("ms", D::Time, 1.0, 1000.0, &[]),
        row("min", D::Time, 60.0, 1.0, &["minute", "minutes", "mins"]),
        row("h", D::Time, 3600.0, 1.0, &["hr", "hrs", "hour", "hours"]),
        row("d", D::Time, 86_400.0, 1.0, &["day", "days"]),
        row(
            "m",
            D::Length,
            1.0,
            1.0,
            &["metre", "metres", "meter", "meters"],
        ),
        row("cm", D::Length, 1.0, 100.0, &[]),
        row("mm", D::Length, 1.0, 1000.0, &[]),
        row("ft", D::Length, FOOT_M, 1.0, &["foot", "feet"]),
        row("in", D::Length, 0.0254, 1.0, &["inch", "inches"]),
        row("m2", D::Area, 1.0, 1.0, &["sqm"]),
        row("cm2", D::Area, 1.0, 1.0e4, &[]),
        row("mm2", D::Area, 1.0, 1.0e6, &["sqmm"]),
        row("ft2", D::Area, FOOT_M * FOOT_M, 1.0, &["sqft"]),
        row("in2", D::Area, 0.0254 * 0.0254, 1.0, &["sqin"]),
        row("kg", D::Mass, 1.0, 1.0, &["kilogram", "kilograms"]),
        row("g", D::Mass, 1.0, 1000.0, &["gram", "grams"]),
        row("lb", D::Mass, POUND_KG, 1.0, &["lbs", "pound", "pounds"]),
        row("oz", D::Mass, POUND_KG, 16.0, &["ounce", "ounces"]),
        row("kg/h", D::MassRate, 1.0, 1.0, &["kg/hr"]),
        row("g/h", D::MassRate, 1.0, 1000.0, &["g/hr"]),
        row("g/min", D::MassRate, 60.0, 1000.0, &[]),
        row(
            "lb/h",
            D::MassRate,
            POUND_KG,
            1.0,
            &["lb/hr", "lbs/h", "lbs/hr"],
        ),
        row("ohm", D::Resistance, 1.0, 1.0, &["ohms"]),
        row("mohm", D::Resistance, 1.0, 1000.0, &["mohms", "milliohm"]),
    ]
};

/// Units in which the case of the first letter tells milli from mega: `MW` is never read as `mW`.
const CASE_MATTERS: &[&str] = &[
    "mW", "mV", "mA", "mAh", "MJ", "mbar", "mmHg", "ms", "mm", "mm2", "mohm",
];

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

fn names(row: &'static Row) -> impl Iterator<Item = &'static str> {
    std::iter::once(row.symbol).chain(row.also.iter().copied())
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
