//! The sections of `bench.toml` about what feeds the unit: `[battery]`, `[converter]`, `[cable]`.

use super::error::{Fault, Place};
use super::log_section::read_log;
use super::logs::LogSpec;
use super::manifest::Section;
use crate::quantity::Dimension;

/// Battery, converter and cable, as far as stated.
#[derive(Clone, Debug, Default)]
pub struct SupplyInfo {
    /// The battery (or bank).
    pub battery: Option<Battery>,
    /// What stands between the cable and the unit.
    pub converter: Option<Converter>,
    /// The cable between the battery and the converter, or the unit where there is none.
    pub cable: Option<Cable>,
}

/// `[battery]`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Battery {
    /// Nominal voltage, V.
    pub nominal_v: Option<f64>,
    /// Rated capacity, Ah.
    pub capacity_ah: Option<f64>,
    /// Rated energy, Wh, where the maker states it.
    pub energy_wh: Option<f64>,
    /// Limits about the rating that hold 95 % of such batteries, a share of it.
    pub tolerance: Option<f64>,
    /// The share of the capacity that may be used.
    pub usable: Option<f64>,
    /// Price, in whatever currency it was written.
    pub price: Option<f64>,
    /// The most current that its maker allows, A.
    pub max_current_a: Option<f64>,
    /// The voltage at which a discharge ends, V.
    pub cutoff_v: Option<f64>,
    /// The fuse at the battery, A.
    pub fuse_a: Option<f64>,
    /// The coldest and the warmest at which its maker allows discharge, degC.
    pub min_temp_c: Option<f64>,
    /// See `min_temp_c`.
    pub max_temp_c: Option<f64>,
    /// Peukert exponent, and the hours of the discharge for which the rating is stated.
    pub peukert: Option<(f64, f64)>,
    /// Logs of a discharge test.
    pub discharge: Option<Box<DischargeLog>>,
}

/// `[battery.discharge]`: a log, mapped as in `[[log]]`.
#[derive(Clone, Debug)]
pub struct DischargeLog {
    /// Files, columns and clock.
    pub spec: LogSpec,
    /// Where the section stands.
    pub place: Place,
}

impl PartialEq for DischargeLog {
    fn eq(&self, other: &Self) -> bool {
        self.place == other.place
    }
}

/// `[converter]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Converter {
    /// Power out over power in.
    pub efficiency: f64,
    /// Limits about the efficiency that hold 95 %, in points (0.02 for 2 %).
    pub tolerance: f64,
    /// What it draws for itself beside, W.
    pub idle_w: f64,
}

/// `[cable]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cable {
    /// From the battery to the load, one way, m. The current flows there and back.
    pub length_m: f64,
    /// Copper cross-section of one conductor, m2.
    pub area_m2: f64,
    /// Conductors side by side.
    pub parallel: f64,
    /// Temperature of the conductor, degC.
    pub conductor_c: f64,
    /// Whether that was stated.
    pub conductor_stated: bool,
    /// Resistance of lugs, fuse, switch and shunt together, ohm.
    pub joints_ohm: f64,
    /// Limits about the resistance that hold 95 %, a share of it.
    pub tolerance: f64,
    /// The most current that is allowed through it, A.
    pub max_current_a: Option<f64>,
}

/// Conductor temperature where none is stated, degC: that of the resistivity's own definition (IEC 60028).
const REFERENCE_C: f64 = 20.0;

pub(super) fn read_battery(s: &Section<'_, '_>) -> Battery {
    let share = |key: &'static str| {
        let v = s.quantity(key, Dimension::Fraction)?;
        if v > 0.0 && v <= 1.0 {
            return Some(v);
        }
        s.reject(key, "a share above 0 and up to 100 %");
        None
    };
    let exponent = s.number("peukert");
    if exponent.is_some_and(|p| !(1.0..=2.0).contains(&p)) {
        s.reject("peukert", "an exponent from 1 to 2, such as 1.05");
    }
    let rated_hours = s
        .positive("rated_over", Dimension::Time)
        .map(|t| t / 3600.0);
    if exponent.is_some() && rated_hours.is_none() && !s.has("rated_over") {
        s.fault(
            Fault::new(
                s.place_of("peukert"),
                "a Peukert exponent without the time for which the rating holds",
                "rated_over = \"20 h\" beside it",
            )
            .remedy("the battery's papers state the capacity for a discharge of so many hours"),
        );
    }
    let (min_temp_c, max_temp_c) = (
        s.quantity("min_temp", Dimension::Temperature),
        s.quantity("max_temp", Dimension::Temperature),
    );
    let discharge = s.section("discharge").and_then(|d| {
        let place = d.place();
        read_log(&d).map(|spec| Box::new(DischargeLog { spec, place }))
    });
    let battery = Battery {
        nominal_v: s.positive("nominal_voltage", Dimension::Voltage),
        capacity_ah: s.positive("capacity", Dimension::Charge),
        energy_wh: s.positive("energy", Dimension::Energy),
        tolerance: share("tolerance"),
        usable: share("usable"),
        price: price(s),
        max_current_a: s.positive("max_current", Dimension::Current),
        cutoff_v: s.positive("cutoff", Dimension::Voltage),
        fuse_a: s.positive("fuse", Dimension::Current),
        min_temp_c,
        max_temp_c,
        peukert: exponent.zip(rated_hours),
        discharge,
    };
    s.note_unknown_keys();
    battery
}

/// A price has no unit that we know of; it is a number, in quotes or not.
fn price(s: &Section<'_, '_>) -> Option<f64> {
    let value = s.entry("price")?;
    let parsed = match value.get_ref().as_str() {
        Some(text) => text.trim().parse::<f64>().ok(),
        None => return s.number("price"),
    };
    let good = parsed.filter(|v| v.is_finite() && *v >= 0.0);
    if good.is_none() {
        s.reject("price", "a number, such as 980, without a currency");
    }
    good
}

pub(super) fn read_converter(s: &Section<'_, '_>) -> Option<Converter> {
    let efficiency = s.quantity("efficiency", Dimension::Fraction);
    let tolerance = s
        .not_negative("tolerance", Dimension::Fraction)
        .unwrap_or(0.0);
    let idle_w = s.not_negative("idle", Dimension::Power).unwrap_or(0.0);
    s.note_unknown_keys();
    match efficiency {
        Some(e) if e > 0.0 && e <= 1.0 => Some(Converter {
            efficiency: e,
            tolerance,
            idle_w,
        }),
        Some(_) => {
            s.reject("efficiency", "a share above 0 and up to 100 %");
            None
        }
        None => {
            if !s.has("efficiency") {
                s.fault(
                    Fault::new(
                        s.place(),
                        "[converter] without an efficiency",
                        "efficiency = \"92 %\"",
                    )
                    .remedy("power out over power in, from its papers or measured"),
                );
            }
            None
        }
    }
}

pub(super) fn read_cable(s: &Section<'_, '_>) -> Option<Cable> {
    let length = s.not_negative("length", Dimension::Length);
    let area = s.positive("area", Dimension::Area);
    let gauge = s.text("awg");
    let from_gauge = gauge.as_deref().and_then(|g| {
        let found = awg_area_m2(g);
        if found.is_none() {
            s.reject("awg", "an American wire gauge from \"4/0\" to \"40\"");
        }
        found
    });
    if area.is_some() && gauge.is_some() {
        s.fault(
            Fault::new(
                s.place_of("awg"),
                "both a cross-section and a gauge",
                "one of the two",
            )
            .remedy("keep the one printed on the cable"),
        );
    }
    let parallel = s.number("parallel").unwrap_or(1.0);
    if !(1.0..=100.0).contains(&parallel) || parallel.fract() != 0.0 {
        s.reject(
            "parallel",
            "the number of conductors side by side, 1 or more",
        );
    }
    let conductor = s.quantity("conductor_temp", Dimension::Temperature);
    if conductor.is_some_and(|t| !(-60.0..=200.0).contains(&t)) {
        s.reject("conductor_temp", "a temperature between -60 and 200 degC");
    }
    let cable = (|| {
        Some(Cable {
            length_m: length?,
            area_m2: area.or(from_gauge)?,
            parallel,
            conductor_c: conductor.unwrap_or(REFERENCE_C),
            conductor_stated: conductor.is_some(),
            joints_ohm: s
                .not_negative("joints", Dimension::Resistance)
                .unwrap_or(0.0),
            tolerance: s
                .not_negative("tolerance", Dimension::Fraction)
                .unwrap_or(0.0),
            max_current_a: s.positive("max_current", Dimension::Current),
        })
    })();
    let told = ["length", "area", "awg"];
    if cable.is_none() && (!s.has("length") || !told.iter().skip(1).any(|k| s.has(k))) {
        s.fault(
            Fault::new(
                s.place(),
                "[cable] without a length or a cross-section",
                "length = \"3 m\" (one way) and area = \"16 mm2\", or awg = \"6\"",
            )
            .remedy("the cross-section stands on the cable"),
        );
    }
    s.note_unknown_keys();
    cable
}

/// Cross-section of a solid conductor by American wire gauge, m2: d = 0.127 mm × 92^((36 − n)/39), n = 0, −1, −2, −3 for 1/0 to 4/0
/// (ASTM B258, from memory; exact by definition).
///
/// ```
/// // 6 AWG is 13.30 mm2 (ASTM B258, from memory).
/// let area = steadydraw::bench::awg_area_m2("6").unwrap();
/// assert!((area * 1e6 - 13.302).abs() < 0.001);
/// ```
pub fn awg_area_m2(gauge: &str) -> Option<f64> {
    let gauge = gauge.trim();
    let n = match gauge.strip_suffix("/0") {
        Some(zeros) => {
            1 - zeros
                .trim()
                .parse::<i32>()
                .ok()
                .filter(|z| (1..=4).contains(z))?
        }
        None => gauge.parse::<i32>().ok().filter(|n| (0..=40).contains(n))?,
    };
    let d_m = 0.127e-3 * 92f64.powf(f64::from(36 - n) / 39.0);
    Some(std::f64::consts::FRAC_PI_4 * d_m * d_m)
}
