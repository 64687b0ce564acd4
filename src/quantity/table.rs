//! The table of units.

use super::Dimension;

/// One unit: base = (value − zero) · num / den. Numerator and denominator are kept apart so that 45 % is exactly 0.45
/// and 212 degF exactly 100 degC.
pub(super) struct Row {
    pub(super) symbol: &'static str,
    pub(super) dimension: Dimension,
    pub(super) num: f64,
    pub(super) den: f64,
    /// The reading in this unit where the base unit reads zero.
    pub(super) zero: f64,
    /// Other spellings, in plain letters (see `Unit::parse`).
    pub(super) also: &'static [&'static str],
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
pub(super) static TABLE: &[Row] = &{
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
pub(super) const CASE_MATTERS: &[&str] = &[
    "mW", "mV", "mA", "mAh", "MJ", "mbar", "mmHg", "ms", "mm", "mm2", "mohm",
];

/// Every spelling of a unit, its symbol first.
pub(super) fn names(row: &'static Row) -> impl Iterator<Item = &'static str> {
    std::iter::once(row.symbol).chain(row.also.iter().copied())
}
