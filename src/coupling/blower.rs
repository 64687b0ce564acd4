//! What the blower may draw by itself, where fan-only runs tell it and where they do not.

use crate::air::behaviour::largest_blower_draw_w;
use crate::bench::Bench;
use crate::fit::forms::{BlowerSource, DrawData};

/// One assumption about the blower: its draw by level.
#[derive(Clone, Debug)]
pub(super) struct BlowerCase {
    pub draw_w: Vec<f64>,
    pub u_w: Vec<f64>,
    pub common_u: f64,
}

/// Exponents of blower draw against airflow tried: 1.5 to 2.4 measured in place, 3 by the fan laws
/// (reference values: NIST two-stage blower 1.6 to 2.4; affinity laws).
const EXPONENTS: [f64; 4] = [1.5, 2.0, 2.4, 3.0];
/// Steps from no draw to the largest.
const STEPS: usize = 8;
/// The blower's draw with the compressor running, relative to that in a fan-only run: a wet coil and a sagging supply move it by some
/// per cent. Standard uncertainty; common practice, no source.
const IN_PLACE_RELATIVE_U: f64 = 0.04;
/// Largest share of a run's draw that the blower can be, while the compressor runs.
const LARGEST_SHARE: f64 = 0.6;

/// The blower's part in the answer.
#[derive(Clone, Debug, serde::Serialize)]
pub struct FanDraw {
    /// `fan-only-runs`, `interpolated` (some levels) or `bounded` (no fan-only runs).
    pub source: &'static str,
    /// The levels with their draw, where known.
    pub levels: Vec<FanDrawLevel>,
    /// The largest blower draw at the highest level that was considered, W, where bounded.
    pub limit_w: Option<f64>,
    /// Blower draw at the highest level that would be needed for the compressor to stay within the allowance, W.
    pub break_even_w: Option<f64>,
}

/// A level's blower draw.
#[derive(Clone, Debug, serde::Serialize)]
pub struct FanDrawLevel {
    /// The fan level.
    pub fan: String,
    /// Draw, W.
    pub draw_w: f64,
    /// Its standard uncertainty, W.
    pub u_w: f64,
    /// Fan-only runs behind it.
    pub runs: usize,
}

impl FanDraw {
    pub(super) fn of(data: &DrawData, limit_w: Option<f64>) -> FanDraw {
        match &data.blower {
            Some(blower) => FanDraw {
                source: if blower
                    .levels
                    .iter()
                    .any(|l| l.source == BlowerSource::Interpolated)
                {
                    "interpolated"
                } else {
                    "fan-only-runs"
                },
                levels: data
                    .levels
                    .iter()
                    .zip(&blower.levels)
                    .map(|(level, draw)| FanDrawLevel {
                        fan: level.label.clone(),
                        draw_w: draw.draw_w,
                        u_w: draw.u_w,
                        runs: draw.runs,
                    })
                    .collect(),
                limit_w: None,
                break_even_w: None,
            },
            None => FanDraw {
                source: "bounded",
                levels: Vec::new(),
                limit_w,
                break_even_w: None,
            },
        }
    }
}

/// The known blower as the only case; `None` where fan-only runs do not tell it.
pub(super) fn known_case(data: &DrawData) -> Option<BlowerCase> {
    let blower = data.blower.as_ref()?;
    Some(BlowerCase {
        draw_w: blower.levels.iter().map(|l| l.draw_w).collect(),
        u_w: blower.levels.iter().map(|l| l.u_w).collect(),
        common_u: IN_PLACE_RELATIVE_U,
    })
}

/// The largest plausible draw at the highest tested level, W.
pub(super) fn limit_w(bench: &Bench, data: &DrawData) -> Option<f64> {
    let (_, top) = top_level(data)?;
    let smallest_draw_at_top = data
        .rows
        .iter()
        .filter(|r| Some(r.level) == top_level(data).map(|t| t.0))
        .map(|r| r.draw)
        .fold(f64::INFINITY, f64::min);
    let by_flow = match data.flow_scale {
        crate::fit::forms::FlowScale::Airflow => largest_blower_draw_w(top),
        _ => f64::INFINITY,
    };
    let limit = bench
        .fan
        .draw_limit_w
        .unwrap_or(by_flow)
        .min(LARGEST_SHARE * smallest_draw_at_top);
    limit.is_finite().then_some(limit)
}

/// The blower drawing `top_w` at the highest tested level and following airflow to `exponent`.
pub(super) fn assumed_case(data: &DrawData, top_w: f64, exponent: f64) -> Option<BlowerCase> {
    let (top, _) = top_level(data)?;
    let x_top = data.levels.get(top)?.x?;
    let draw_w = data
        .levels
        .iter()
        .map(|l| Some(top_w * (exponent * (l.x? - x_top)).exp()))
        .collect::<Option<Vec<_>>>()?;
    Some(BlowerCase {
        u_w: vec![0.0; draw_w.len()],
        draw_w,
        common_u: 0.0,
    })
}

/// Every case from a blower that draws nothing to the largest plausible one.
pub(super) fn bounded_cases(data: &DrawData, limit_w: f64) -> Vec<BlowerCase> {
    let mut cases = Vec::new();
    for step in 0..=STEPS {
        for exponent in EXPONENTS {
            cases.extend(assumed_case(
                data,
                limit_w * step as f64 / STEPS as f64,
                exponent,
            ));
            if step == 0 {
                break;
            }
        }
    }
    cases
}

fn top_level(data: &DrawData) -> Option<(usize, f64)> {
    data.levels
        .iter()
        .enumerate()
        .filter(|(i, _)| {
            data.tested
                .iter()
                .any(|m| m.get(*i).is_some_and(|n| *n > 0))
        })
        .filter_map(|(i, l)| Some((i, l.flow?)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_blower_is_at_most_six_tenths_of_the_least_draw_at_the_highest_level() {
        // At 1000 m3/h the airflow would allow more than 120 W, the least draw there is 100 W; at fan 1 even 50 W.
        let table = "run,fan,airflow [m3/h],power [W]\na,1,500,50\nb,2,1000,120\nc,2,1000,100\n";
        let limit = |stated: &str| {
            let toml = format!("[points]\nfile = \"points.csv\"\n{stated}");
            let bench = Bench::from_texts(&toml, table).unwrap();
            limit_w(&bench, &DrawData::from_bench(&bench))
        };
        assert_eq!(limit(""), Some(60.0));
        assert_eq!(limit("[fan]\ndraw_limit = \"40 W\"\n"), Some(40.0));
        assert_eq!(limit("[fan]\ndraw_limit = \"90 W\"\n"), Some(60.0));
    }
}
