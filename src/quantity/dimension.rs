//! What quantities measure.

use super::table::TABLE;

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
    pub(super) fn serves(self, wanted: Self) -> bool {
        self == wanted || (self == Self::Temperature && wanted == Self::TemperatureDifference)
    }
}
