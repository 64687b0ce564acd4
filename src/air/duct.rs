//! Ducts: area, and flow from mean speed.

use super::error::{AirError, within};

/// A duct's inner cross-section, in m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Duct {
    /// A rectangle.
    Rectangular {
        /// Inner width, m.
        width_m: f64,
        /// Inner height, m.
        height_m: f64,
    },
    /// A circle.
    Round {
        /// Inner diameter, m.
        diameter_m: f64,
    },
}

impl Duct {
    /// Cross-section, m2.
    ///
    /// # Errors
    /// A side or diameter outside 5 mm … 5 m.
    pub fn area_m2(&self) -> Result<f64, AirError> {
        let side = |what, value| within(what, value, 0.005, 5.0, "m");
        Ok(match *self {
            Self::Rectangular { width_m, height_m } => {
                side("duct width", width_m)? * side("duct height", height_m)?
            }
            Self::Round { diameter_m } => {
                let d = side("duct diameter", diameter_m)?;
                std::f64::consts::PI / 4.0 * d * d
            }
        })
    }

    /// Volume flow, m3/h, at a mean air speed in m/s.
    ///
    /// # Errors
    /// As for [`Duct::area_m2`]; a speed outside 0…60 m/s.
    pub fn flow_m3h(&self, mean_speed_m_s: f64) -> Result<f64, AirError> {
        let speed = within("air speed", mean_speed_m_s, 0.0, 60.0, "m/s")?;
        Ok(self.area_m2()? * speed * 3600.0)
    }
}
