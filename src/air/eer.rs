//! Cooling over draw.

use super::error::{AirError, within};

/// Btu in a Wh: EER in Btu/h per W is this times EER in W/W. Exact ratio, 3600 / 1055.05585262 (ISO 31-4; NIST SP 811).
pub const BTU_PER_WH: f64 = 3600.0 / 1_055.055_852_62;

/// An energy efficiency ratio: capacity over draw. Never shown without its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Eer {
    /// Watts of cooling per watt drawn.
    pub w_per_w: f64,
}

impl Eer {
    /// The same ratio in Btu/h per W.
    pub fn btu_h_per_w(&self) -> f64 {
        self.w_per_w * BTU_PER_WH
    }
}

/// Capacity over draw, both in W.
///
/// # Errors
/// A draw that is not positive; a capacity that is not finite.
pub fn eer(capacity_w: f64, draw_w: f64) -> Result<Eer, AirError> {
    within("capacity", capacity_w, -1e7, 1e7, "W")?;
    within("draw", draw_w, 1e-3, 1e7, "W")?;
    Ok(Eer {
        w_per_w: capacity_w / draw_w,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_knows_both_units() {
        let ratio = eer(1000.0, 400.0).unwrap();
        assert_eq!(ratio.w_per_w, 2.5);
        // 3.412141633 Btu/Wh: NIST SP 811 (2008), appendix B.8.
        assert!((ratio.btu_h_per_w() - 2.5 * 3.412_141_633).abs() < 1e-8);
        assert!(eer(1000.0, 0.0).is_err());
        assert!(eer(f64::NAN, 400.0).is_err());
    }
}
