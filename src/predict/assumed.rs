//! An assumed slope with ambient air, for hot days that the runs do not cover. It is asked for by name and labelled wherever it is used.
//!
//! The compressor side is multiplied by exp(slope × distance), from the tested ambient nearest to the one asked for (the runs' mean
//! where ambient was never varied). The range of the slope becomes a doubt that grows with the distance. Within the tested ambient
//! range the runs speak, and an assumption is refused.

use crate::air::behaviour::{CAPACITY_BY_AMBIENT, POWER_BY_AMBIENT, Published};
use crate::fit::forms::DrawData;

use super::INSIDE_SLACK_K;

/// The published ranges run from about the 10th to the 90th percentile of the curve sets: a normal spread of half the range over this.
const TENTH_TO_NINETIETH: f64 = 1.281_551_565_544_9;
/// A range that the user gives is read as holding 95 %, as instruments' limits are (JCGM 100:2008, 4.3.4).
const LIMITS_95: f64 = 1.959_963_984_540_054;

/// A relative slope with ambient air, 1/K, and its range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AssumedSlope {
    /// Lower end, 1/K.
    pub low: f64,
    /// Upper end, 1/K.
    pub high: f64,
    /// Standard uncertainty, 1/K.
    pub u: f64,
}

impl AssumedSlope {
    fn published(range: &Published) -> AssumedSlope {
        AssumedSlope {
            low: range.low,
            high: range.high,
            u: 0.5 * (range.high - range.low) / TENTH_TO_NINETIETH,
        }
    }

    /// Middle of the range, 1/K.
    pub fn middle(&self) -> f64 {
        0.5 * (self.low + self.high)
    }

    /// The step that this slope makes over a distance.
    fn step(self, from_c: f64, distance_k: f64) -> AmbientStep {
        AmbientStep {
            from_c,
            distance_k,
            slope: self,
        }
    }
}

/// What is assumed of the unit on days warmer or colder than the runs'.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AmbientAssumption {
    /// How the compressor side's draw follows ambient air.
    pub draw: AssumedSlope,
    /// How the capacity follows it.
    pub capacity: AssumedSlope,
    /// Whether the draw's slope is the published one; otherwise the user's own. The capacity's is always published.
    pub published: bool,
}

/// Where the published slopes come from, for readers.
pub const ASSUMED_SOURCE: &str =
    "curve sets of NREL/TP-5500-56354 (2013) and catalogue fits, evaluated; compressor speed fixed";

/// What is written in place of a slope.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "{found}; expected `published`, or a slope of the draw with its range such as \"1.6 to 2.2 %/K\" or \"1.9 +- 0.3 %/K\""
)]
pub struct NoSlope {
    /// What was found.
    pub found: String,
}

/// Slopes beyond this are no air conditioner's, % per K.
const LARGEST_PERCENT: f64 = 10.0;

impl AmbientAssumption {
    /// The published ranges of fixed-speed units: [`POWER_BY_AMBIENT`] and [`CAPACITY_BY_AMBIENT`].
    pub fn published() -> AmbientAssumption {
        AmbientAssumption {
            draw: AssumedSlope::published(&POWER_BY_AMBIENT),
            capacity: AssumedSlope::published(&CAPACITY_BY_AMBIENT),
            published: true,
        }
    }

    /// Reads `published`, `1.6 to 2.2 %/K`, `1.9 +- 0.3 %/K` or `1.9 % per K +- 0.3`.
    ///
    /// # Errors
    /// [`NoSlope`] with what was found.
    pub fn parse(text: &str) -> Result<AmbientAssumption, NoSlope> {
        let wrong = |found: &str| NoSlope {
            found: format!("{found} in `{text}`"),
        };
        if text.trim() == "published" {
            return Ok(Self::published());
        }
        let plain = text.replace('±', "+-").replace("per", "/").replace(' ', "");
        if !(plain.contains("%/K") || plain.contains("%/degC")) {
            return Err(wrong("no unit %/K"));
        }
        let bare = plain.replace("%/degC", "").replace("%/K", "");
        let number = |t: &str| {
            let v = t.parse::<f64>();
            v.map_err(|_| wrong(&format!("`{t}` for a number")))
        };
        let (low, high) = if let Some((middle, half)) = bare.split_once("+-") {
            let (middle, half) = (number(middle)?, number(half)?);
            (middle - half, middle + half)
        } else if let Some((low, high)) = bare.split_once("to") {
            (number(low)?, number(high)?)
        } else {
            return Err(wrong("a slope without a range"));
        };
        // Written so that NaN is refused too.
        let orderly = low < high && low.abs() <= LARGEST_PERCENT && high.abs() <= LARGEST_PERCENT;
        if !orderly {
            return Err(wrong("no rising range within -10 and 10 % for each kelvin"));
        }
        Ok(AmbientAssumption {
            draw: AssumedSlope {
                low: low / 100.0,
                high: high / 100.0,
                u: 0.005 * (high - low) / LIMITS_95,
            },
            ..AmbientAssumption {
                published: false,
                ..Self::published()
            }
        })
    }

    /// The steps of draw and of capacity to an ambient, degC.
    ///
    /// # Errors
    /// [`WithinTests`] where the runs themselves cover that ambient.
    pub fn steps(
        &self,
        data: &DrawData,
        ambient_c: f64,
    ) -> Result<(AmbientStep, AmbientStep), WithinTests> {
        let (low_c, high_c) = data.ambient_range();
        let from_c = if data.ambient_varied {
            ambient_c.clamp(low_c, high_c)
        } else {
            data.ambient_mean
        };
        let distance_k = ambient_c - from_c;
        if distance_k.abs() <= INSIDE_SLACK_K {
            return Err(WithinTests { low_c, high_c });
        }
        Ok((
            self.draw.step(from_c, distance_k),
            self.capacity.step(from_c, distance_k),
        ))
    }
}

/// Why an assumption is refused: the runs speak for themselves there. The tested ambient range, degC.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "the runs cover ambient air from {low_c:.1} to {high_c:.1} degC, so nothing is to be assumed there"
)]
pub struct WithinTests {
    /// Lowest tested, degC.
    pub low_c: f64,
    /// Highest tested, degC.
    pub high_c: f64,
}

/// An assumed change from a tested ambient to the one asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AmbientStep {
    /// Tested ambient that it starts from, degC.
    pub from_c: f64,
    /// How far it goes, K; negative towards the cold.
    pub distance_k: f64,
    /// The slope.
    pub slope: AssumedSlope,
}

impl AmbientStep {
    /// By what the figure is multiplied.
    pub fn factor(&self) -> f64 {
        (self.slope.middle() * self.distance_k).exp()
    }

    /// Relative standard uncertainty of that.
    pub fn relative_u(&self) -> f64 {
        self.slope.u * self.distance_k.abs()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slopes_are_read_in_several_ways() {
        for text in [
            "1.6 to 2.2 %/K",
            "1.9 +- 0.3 %/K",
            "1.9 % per K +- 0.3",
            "1.9 %/K ± 0.3 %/K",
            "1.6%/degC to 2.2%/degC",
        ] {
            let a = AmbientAssumption::parse(text).unwrap();
            assert!((a.draw.low - 0.016).abs() < 1e-12, "{text}");
            assert!((a.draw.high - 0.022).abs() < 1e-12, "{text}");
            assert!((a.draw.u - 0.003 / 1.96).abs() < 1e-6, "{text}");
            assert!(!a.published);
            assert_eq!(a.capacity, AmbientAssumption::published().capacity);
        }
    }

    #[test]
    fn nonsense_is_refused_with_what_was_found() {
        for (text, why) in [
            ("1.9", "no unit"),
            ("1.9 %/degF +- 0.3", "no unit"),
            ("1.9 %/K", "without a range"),
            ("2.2 to 1.6 %/K", "no rising range"),
            ("1.9 +- 0 %/K", "no rising range"),
            ("NaN to 3 %/K", "no rising range"),
            ("5 to 50 %/K", "no rising range"),
            ("one to two %/K", "for a number"),
            ("Published", "no unit"),
        ] {
            let e = AmbientAssumption::parse(text).unwrap_err().to_string();
            assert!(e.contains(why) && e.contains("published"), "{text}: {e}");
        }
    }

    /// 1.4 to 2.4 % per K, read as the 10th to 90th percentile of a normal spread.
    #[test]
    fn the_published_range_holds_four_fifths() {
        let a = AmbientAssumption::published();
        assert!((a.draw.middle() - 0.019).abs() < 1e-12);
        assert!((a.draw.u - 0.005 / 1.2816).abs() < 1e-6);
        assert!((a.capacity.middle() + 0.010).abs() < 1e-12);
    }
}
