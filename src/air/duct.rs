//! Ducts: area, and flow from mean speed.

use super::error::{AirError, within};
use crate::quantity::Split;

/// Mean speed over centre-line speed in a round duct with fully developed turbulent flow: 49/60, exact for a 1/7-power profile
/// (Prandtl's profile, from memory). A single reading in the middle of a duct reads about a fifth high. Short ducts behind a blower
/// have no such profile: measure across (see [`super::traverse`]).
pub const MEAN_OVER_CENTRE_ROUND: f64 = 49.0 / 60.0;

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

    /// Standard uncertainty of [`Duct::flow_m3h`], m3/h, from those of the mean speed in m/s and of the duct's measures in m.
    ///
    /// The duct is the same in every run, so its part is shared. Sides are taken as measured independently of one another.
    ///
    /// # Errors
    /// As for [`Duct::flow_m3h`].
    pub fn flow_uncertainty(
        &self,
        mean_speed_m_s: f64,
        u_speed_m_s: Split,
        u_side_m: f64,
    ) -> Result<Split, AirError> {
        let flow = self.flow_m3h(mean_speed_m_s)?;
        let area = match *self {
            Self::Rectangular { width_m, height_m } => {
                (u_side_m / width_m).hypot(u_side_m / height_m)
            }
            Self::Round { diameter_m } => 2.0 * u_side_m / diameter_m,
        };
        let by_speed = u_speed_m_s.scaled(self.area_m2()? * 3600.0);
        Ok(by_speed.plus(Split::shared(flow * area.abs())))
    }
}
