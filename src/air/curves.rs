//! Published performance curves of air conditioners: capacity and power against the air states and airflow.

/// A biquadratic in two temperatures: c0 + c1 x + c2 x² + c3 y + c4 y² + c5 x y.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Biquadratic {
    /// c0 to c5.
    pub c: [f64; 6],
}

impl Biquadratic {
    /// The value.
    pub fn at(&self, x: f64, y: f64) -> f64 {
        let [c0, c1, c2, c3, c4, c5] = self.c;
        c0 + x * (c1 + c2 * x) + y * (c3 + c4 * y) + c5 * x * y
    }

    /// Slopes along x and y.
    pub fn slopes(&self, x: f64, y: f64) -> (f64, f64) {
        let [_, c1, c2, c3, c4, c5] = self.c;
        (c1 + 2.0 * c2 * x + c5 * y, c3 + 2.0 * c4 * y + c5 * x)
    }
}

/// A quadratic: c0 + c1 x + c2 x².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quadratic {
    /// c0 to c2.
    pub c: [f64; 3],
}

impl Quadratic {
    /// The value.
    pub fn at(&self, x: f64) -> f64 {
        let [c0, c1, c2] = self.c;
        c0 + x * (c1 + c2 * x)
    }

    /// The slope.
    pub fn slope(&self, x: f64) -> f64 {
        let [_, c1, c2] = self.c;
        c1 + 2.0 * c2 * x
    }
}

/// Capacity and energy-input ratio (power per capacity) relative to their rated values: each a product of a curve in
/// temperatures and one in airflow. Power is the product of the two ratios.
///
/// x is the entering wet bulb in degC, y the condenser-side dry bulb in degC, f the airflow over its rated value.
///
/// Form: Cutler, Winkler, Kruis, Christensen, Brandemuehl, "Improved Modeling of Residential Air Conditioners and Heat Pumps
/// for Energy Calculations", NREL/TP-5500-56354 (2013); read in open copies of the coefficients, the report not opened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveSet {
    /// Capacity against the temperatures.
    pub capacity_temps: Biquadratic,
    /// Energy-input ratio against the temperatures.
    pub input_temps: Biquadratic,
    /// Capacity against airflow fraction.
    pub capacity_flow: Quadratic,
    /// Energy-input ratio against airflow fraction.
    pub input_flow: Quadratic,
}

/// Relative slopes of a [`CurveSet`], per K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensitivity {
    /// d ln(capacity) per K of entering wet bulb.
    pub capacity_wet_bulb: f64,
    /// d ln(power) per K of entering wet bulb.
    pub power_wet_bulb: f64,
    /// d ln(capacity) per K of condenser-side air.
    pub capacity_ambient: f64,
    /// d ln(power) per K of condenser-side air.
    pub power_ambient: f64,
}

impl CurveSet {
    /// Capacity over its rated value.
    pub fn capacity(&self, wet_bulb_c: f64, ambient_c: f64, flow: f64) -> f64 {
        self.capacity_temps.at(wet_bulb_c, ambient_c) * self.capacity_flow.at(flow)
    }

    /// Energy-input ratio over its rated value.
    pub fn input(&self, wet_bulb_c: f64, ambient_c: f64, flow: f64) -> f64 {
        self.input_temps.at(wet_bulb_c, ambient_c) * self.input_flow.at(flow)
    }

    /// Power over its rated value.
    pub fn power(&self, wet_bulb_c: f64, ambient_c: f64, flow: f64) -> f64 {
        self.capacity(wet_bulb_c, ambient_c, flow) * self.input(wet_bulb_c, ambient_c, flow)
    }

    /// d ln(capacity) / d ln(airflow) at an airflow fraction.
    pub fn capacity_elasticity(&self, flow: f64) -> f64 {
        flow * self.capacity_flow.slope(flow) / self.capacity_flow.at(flow)
    }

    /// d ln(power) / d ln(airflow) at an airflow fraction, compressor speed fixed.
    pub fn power_elasticity(&self, flow: f64) -> f64 {
        self.capacity_elasticity(flow)
            + flow * self.input_flow.slope(flow) / self.input_flow.at(flow)
    }

    /// Relative slopes in the temperatures.
    pub fn sensitivity(&self, wet_bulb_c: f64, ambient_c: f64) -> Sensitivity {
        let relative = |curve: &Biquadratic| {
            let value = curve.at(wet_bulb_c, ambient_c);
            let (x, y) = curve.slopes(wet_bulb_c, ambient_c);
            (x / value, y / value)
        };
        let (capacity_wet_bulb, capacity_ambient) = relative(&self.capacity_temps);
        let (input_wet_bulb, input_ambient) = relative(&self.input_temps);
        Sensitivity {
            capacity_wet_bulb,
            power_wet_bulb: capacity_wet_bulb + input_wet_bulb,
            capacity_ambient,
            power_ambient: capacity_ambient + input_ambient,
        }
    }
}
