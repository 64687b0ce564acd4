//! The ten-coefficient compressor polynomial of ANSI/AHRI 540.

/// Cubic polynomial in suction and discharge dew-point temperature, for power, mass flow, current or capacity:
///
/// X = C1 + C2 S + C3 D + C4 S² + C5 S D + C6 D² + C7 S³ + C8 D S² + C9 S D² + C10 D³
///
/// S and D are in the unit that the coefficients were fitted in, degC or degF, and X in the unit of the published table:
/// coefficients do not convert by scaling. Other publications order the same ten terms differently.
///
/// Source: ANSI/AHRI 540 (2004, 2015, 2020), equation 1; form from memory, as are its uses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TenCoefficients {
    /// C1 to C10.
    pub c: [f64; 10],
}

impl TenCoefficients {
    /// The ten terms without their coefficients, in the standard's order: the row of a design matrix.
    pub fn terms(suction: f64, discharge: f64) -> [f64; 10] {
        let (s, d) = (suction, discharge);
        [
            1.0,
            s,
            d,
            s * s,
            s * d,
            d * d,
            s * s * s,
            d * s * s,
            s * d * d,
            d * d * d,
        ]
    }

    /// The polynomial's value.
    pub fn at(&self, suction: f64, discharge: f64) -> f64 {
        Self::terms(suction, discharge)
            .iter()
            .zip(self.c)
            .map(|(term, c)| term * c)
            .sum()
    }

    /// Slopes along suction and discharge temperature, per degree.
    pub fn slopes(&self, suction: f64, discharge: f64) -> (f64, f64) {
        let (s, d) = (suction, discharge);
        let [_, c2, c3, c4, c5, c6, c7, c8, c9, c10] = self.c;
        (
            c2 + 2.0 * c4 * s + c5 * d + 3.0 * c7 * s * s + 2.0 * c8 * s * d + c9 * d * d,
            c3 + c5 * s + 2.0 * c6 * d + c8 * s * s + 2.0 * c9 * s * d + 3.0 * c10 * d * d,
        )
    }
}
