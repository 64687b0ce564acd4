//! What a column of a points table can measure.

use serde::Serialize;

use crate::quantity::Dimension;

/// What a column of a points table measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    /// Dry bulb of the air entering the evaporator side, degC.
    IntakeTemp,
    /// Its relative humidity, fraction.
    IntakeRh,
    /// Dry bulb of the air leaving the evaporator side, degC.
    OutletTemp,
    /// Its relative humidity, fraction.
    OutletRh,
    /// Dry bulb of the air entering the condenser side, degC.
    AmbientTemp,
    /// Volume flow on the evaporator side, m3/h.
    Airflow,
    /// Air speed in the duct, m/s.
    AirSpeed,
    /// Supply voltage at the unit, V.
    Voltage,
    /// Supply current, A.
    Current,
    /// Draw, W.
    Power,
    /// Air pressure, Pa.
    Pressure,
    /// Condensate collected per time, kg/h.
    Condensate,
}

impl Channel {
    /// Readings of a steady point that a table to be filled by hand asks for.
    pub const BY_HAND: [Channel; 8] = [
        Channel::IntakeTemp,
        Channel::IntakeRh,
        Channel::OutletTemp,
        Channel::OutletRh,
        Channel::AmbientTemp,
        Channel::Airflow,
        Channel::Voltage,
        Channel::Current,
    ];

    /// All channels, in the order of a points table.
    pub const ALL: [Channel; 12] = [
        Channel::IntakeTemp,
        Channel::IntakeRh,
        Channel::OutletTemp,
        Channel::OutletRh,
        Channel::AmbientTemp,
        Channel::Airflow,
        Channel::AirSpeed,
        Channel::Voltage,
        Channel::Current,
        Channel::Power,
        Channel::Pressure,
        Channel::Condensate,
    ];

    /// The column's name in tables and in `measures = […]`.
    pub fn name(self) -> &'static str {
        match self {
            Channel::IntakeTemp => "intake_temp",
            Channel::IntakeRh => "intake_rh",
            Channel::OutletTemp => "outlet_temp",
            Channel::OutletRh => "outlet_rh",
            Channel::AmbientTemp => "ambient_temp",
            Channel::Airflow => "airflow",
            Channel::AirSpeed => "air_speed",
            Channel::Voltage => "voltage",
            Channel::Current => "current",
            Channel::Power => "power",
            Channel::Pressure => "pressure",
            Channel::Condensate => "condensate",
        }
    }

    /// The channel with this name.
    pub fn from_name(name: &str) -> Option<Channel> {
        Channel::ALL.into_iter().find(|c| c.name() == name)
    }

    /// What kind of unit its column needs.
    pub fn dimension(self) -> Dimension {
        match self {
            Channel::IntakeTemp | Channel::OutletTemp | Channel::AmbientTemp => {
                Dimension::Temperature
            }
            Channel::IntakeRh | Channel::OutletRh => Dimension::Fraction,
            Channel::Airflow => Dimension::Flow,
            Channel::AirSpeed => Dimension::Speed,
            Channel::Voltage => Dimension::Voltage,
            Channel::Current => Dimension::Current,
            Channel::Power => Dimension::Power,
            Channel::Pressure => Dimension::Pressure,
            Channel::Condensate => Dimension::MassRate,
        }
    }

    /// The unit that messages propose for its column.
    pub(super) fn example_unit(self) -> &'static str {
        match self {
            Channel::IntakeTemp | Channel::OutletTemp | Channel::AmbientTemp => "degC",
            Channel::IntakeRh | Channel::OutletRh => "%",
            Channel::Airflow => "m3/h",
            Channel::AirSpeed => "m/s",
            Channel::Voltage => "V",
            Channel::Current => "A",
            Channel::Power => "W",
            Channel::Pressure => "hPa",
            Channel::Condensate => "g/h",
        }
    }

    /// Values that a bench of a small unit can show, in base units; anything else is a slip of unit, sign or sensor, and the
    /// limits are narrow enough to catch degF read as degC, 0.45 read as 0.45 %, W read as kW.
    /// Common practice, no source: wide enough for any room, cab or heated duct.
    pub(crate) fn plausible(self) -> (f64, f64, &'static str) {
        match self {
            Channel::IntakeTemp | Channel::OutletTemp | Channel::AmbientTemp => {
                (-40.0, 70.0, "an air temperature between -40 and 70 degC")
            }
            Channel::IntakeRh | Channel::OutletRh => {
                (0.01, 1.05, "a relative humidity of 1 to 100 %")
            }
            Channel::Airflow => (1.0, 5e4, "an airflow between 1 and 50 000 m3/h"),
            Channel::AirSpeed => (0.01, 50.0, "an air speed between 0.01 and 50 m/s"),
            Channel::Voltage => (1.0, 1000.0, "a supply voltage between 1 and 1000 V"),
            Channel::Current => (1e-6, 5000.0, "a supply current above zero and up to 5000 A"),
            Channel::Power => (1e-6, 5e4, "a draw above zero and up to 50 kW"),
            Channel::Pressure => (2e4, 2e5, "an air pressure between 200 and 2000 hPa"),
            Channel::Condensate => (0.0, 1e3, "a condensate rate of 0 to 1000 kg/h"),
        }
    }
}
