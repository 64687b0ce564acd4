//! How air conditioners at fixed compressor speed are known to behave: published ranges that other rooms take as defaults.
//!
//! "Airflow" is evaporator airflow; an elasticity is d ln(y) / d ln(airflow) with the air states unchanged. The curve sets are
//! the 40 of `tests/reference/air/curve_sets.csv` that state how power follows airflow, evaluated in `tests/published_behaviour.rs`.

/// How a figure came to be known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Read in the source or an open copy of it.
    Seen,
    /// Computed from published coefficients or data.
    Computed,
    /// Put together from several kinds of figures of uneven standing: treat as uncertain.
    Uncertain,
}

/// A range with its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Published {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Unit of both ends.
    pub unit: &'static str,
    /// What it is a range of.
    pub what: &'static str,
    /// Where it is from.
    pub source: &'static str,
    /// How far to trust it.
    pub standing: Standing,
}

impl Published {
    /// Whether a value lies in the range.
    pub fn holds(&self, value: f64) -> bool {
        value >= self.low && value <= self.high
    }
}

/// Largest share by which a fixed-speed compressor's draw is allowed to follow airflow before fan and compressor are called
/// coupled: an elasticity of ±0.2. It holds [`POWER_BY_AIRFLOW`] and all but 3 of the 40 curve sets (0.20, 0.44, 0.44). Those are
/// catalogue curves of packaged units: one is 0.68 at rated flow where it must be 1, so it is faulty as it stands; the other two
/// rest on ±12 and ±17 % of flow and probably count the indoor fan (inference; the makers' tables were not at hand).
pub const DEFAULT_ALLOWANCE: f64 = 0.2;

/// Elasticity of compressor-side power in airflow.
pub const POWER_BY_AIRFLOW: Published = Published {
    low: -0.05,
    high: 0.10,
    unit: "1",
    what: "elasticity of compressor-side power in airflow, compressor speed fixed",
    source: "40 published curve sets (NREL/TP-5500-56354, 2013, and catalogue fits in open building models): median 0.03, 30 of 40 in \
             the range; \
             Rodriguez et al. 1996, abstract: power fell under 4 % when airflow was halved (below 0.06)",
    standing: Standing::Computed,
};

/// The same over the 37 of 40 curve sets that are neither faulty nor beyond the allowance.
pub const POWER_BY_AIRFLOW_WIDEST: Published = Published {
    low: -0.16,
    high: 0.16,
    unit: "1",
    what: "elasticity of compressor-side power in airflow, over all but 3 of 40 published curve sets",
    source: "curve sets of NREL/TP-5500-56354 (2013) and catalogue fits in open building models; three packaged units at \
             0.20, 0.44 and 0.44 left out: one faulty, two that probably count the indoor fan",
    standing: Standing::Computed,
};

/// Elasticity of total capacity in airflow, wet coil.
pub const CAPACITY_BY_AIRFLOW: Published = Published {
    low: 0.08,
    high: 0.25,
    unit: "1",
    what: "elasticity of total capacity in airflow, wet coil, compressor speed fixed",
    source: "published curve sets: median 0.15, 10th to 90th percentile 0.115 to 0.20",
    standing: Standing::Computed,
};

/// Elasticity of sensible capacity in airflow, wet coil. With a dry coil sensible is total, and 0.21 to 0.30 was computed
/// from a cycle model (not published).
pub const SENSIBLE_BY_AIRFLOW: Published = Published {
    low: 0.30,
    high: 0.55,
    unit: "1",
    what: "elasticity of sensible capacity in airflow, wet coil, compressor speed fixed",
    source: "bypass-factor model on the published curve sets 0.32 to 0.53, cycle model 0.42 to 0.52; computed, not published",
    standing: Standing::Uncertain,
};

/// Growth of power with condenser-side air temperature.
pub const POWER_BY_AMBIENT: Published = Published {
    low: 0.014,
    high: 0.024,
    unit: "1/K",
    what: "relative growth of power per K of condenser-side air, compressor speed fixed",
    source: "42 published curve sets at 19.4 degC wet bulb and 35 degC: 10th to 90th percentile 1.5 to 2.4 %/K, median 1.9; \
             NISTIR 7350 (2006) compressor power 2.4 %/K; Setyawan 2021 measured 1.4 %/K",
    standing: Standing::Computed,
};

/// Change of capacity with condenser-side air temperature.
pub const CAPACITY_BY_AMBIENT: Published = Published {
    low: -0.013,
    high: -0.007,
    unit: "1/K",
    what: "relative change of capacity per K of condenser-side air, compressor speed fixed",
    source: "42 published curve sets: 10th to 90th percentile -1.1 to -0.7 %/K, median -0.94; NIST two-stage data (MIT licence) \
             -0.9 to -1.3 %/K; NISTIR 7350 (2006) -1.0 %/K",
    standing: Standing::Computed,
};

/// Growth of capacity with entering wet bulb. With a dry coil the dry bulb takes its place, at about 2 to 3 %/K
/// (NISTIR 7350, 2006: 2.1 %/K).
pub const CAPACITY_BY_WET_BULB: Published = Published {
    low: 0.023,
    high: 0.034,
    unit: "1/K",
    what: "relative growth of capacity per K of entering wet bulb, compressor speed fixed",
    source: "42 published curve sets: 10th to 90th percentile 2.3 to 3.4 %/K, median 2.6; NISTIR 7350 (2006) 3.0 %/K",
    standing: Standing::Computed,
};

/// Growth of power with entering wet bulb.
pub const POWER_BY_WET_BULB: Published = Published {
    low: 0.0,
    high: 0.007,
    unit: "1/K",
    what: "relative growth of power per K of entering wet bulb, compressor speed fixed",
    source: "42 published curve sets: 10th to 90th percentile 0.0 to 0.7 %/K, median 0.4; NISTIR 7350 (2006) 0.65 %/K",
    standing: Standing::Computed,
};

/// Exponent of blower power against flow, in place. The fan laws' 3 is for a fixed system and impeller and a perfect motor.
pub const BLOWER_EXPONENT: Published = Published {
    low: 1.5,
    high: 2.4,
    unit: "1",
    what: "exponent of blower power against its flow, as installed",
    source: "NIST two-stage heat pump data (MIT licence): 1.5 to 1.8 across stages, 2.0 to 2.4 within one",
    standing: Standing::Computed,
};

/// Blower power per airflow. [`largest_blower_draw_w`] bounds the blower's draw where no fan-only runs exist.
///
/// W per m3/h: 0.04 (0.07 W/cfm, default for ductless units in an open residential model's documentation, after ANSI/RESNET 301);
/// 0.08 to 0.14 (0.3 to 0.5 W per L/s, fan-coil units of the UK national calculation method 2010 and 2013, quoted in a modelling
/// forum); 0.12 to 0.16 (0.21 to 0.28 W/scfm, NIST two-stage ducted unit, measured); 0.25 (0.41 to 0.42 W/scfm, NISTIR 7350
/// ducted unit, measured); 0.34 (0.58 W/cfm, ducted defaults in building models). No published figure for small
/// battery-powered units was found, so the range spans all of these.
pub const BLOWER_W_PER_M3H: Published = Published {
    low: 0.04,
    high: 0.35,
    unit: "W per m3/h",
    what: "blower power per airflow",
    source: "ductless default 0.04; fan-coil limits 0.08 to 0.14 (UK NCM 2010, 2013); measured ducted units 0.12 to 0.25 (NIST \
             two-stage data; NISTIR 7350, 2006); ducted model defaults up to 0.34; none for battery-powered units",
    standing: Standing::Uncertain,
};

/// Largest figure measured, W per m3/h: 0.41 to 0.42 W/scfm of a ducted unit (NISTIR 7350, 2006, appendix D). Model defaults
/// go higher, for longer ducts than a small in-cabin cooler has.
const LARGEST_MEASURED_W_PER_M3H: f64 = 0.25;

/// Largest plausible blower draw, W, at an airflow in m3/h, when nothing was measured.
pub fn largest_blower_draw_w(flow_m3h: f64) -> f64 {
    LARGEST_MEASURED_W_PER_M3H * flow_m3h.max(0.0)
}
