//! What a simulation takes the unit to be: from the bench where it tells, from common practice where not.

use crate::bench::Bench;
use crate::fit::candidates::fit_draw;
use crate::fit::forms::{DrawData, FlowScale};

use super::{Design, PlanError};

/// Scatter of one run's draw about its setting's mean, relative: one to one and a half per cent on a careful bench. Common practice,
/// no source.
pub const DEFAULT_SCATTER: f64 = 0.012;

/// Airflow at the lowest level as a share of the highest. Common practice, no source.
const LOWEST_SHARE: f64 = 0.55;
/// Airflow at the highest level, m3/h; only ratios matter to the answer.
const HIGHEST_M3H: f64 = 250.0;
/// The compressor side of the first mode, W, and each further mode's share of the one before; only ratios matter.
const COMPRESSOR_W: f64 = 300.0;
const NEXT_MODE: f64 = 0.85;
/// The blower's draw at the highest level as a share of the compressor side, and its power of airflow (1.6 to 2.4 measured in place:
/// NIST two-stage heat pump data, evaluated). The share is common practice, no source.
const BLOWER_SHARE: f64 = 0.12;
const BLOWER_POWER: f64 = 2.0;

/// Where a figure comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Known {
    /// It was given with the question.
    Given,
    /// The bench's runs tell it.
    Measured,
    /// Common practice, no source.
    CommonPractice,
}

/// The unit and bench that a simulation plays with.
#[derive(Clone, Debug)]
pub struct Assumed {
    /// Airflow of each planned level, m3/h.
    pub airflows_m3h: Vec<f64>,
    /// Where the airflows come from.
    pub airflows: Known,
    /// The blower's own draw at each planned level, W.
    pub blower_w: Vec<f64>,
    /// Where it comes from.
    pub blower: Known,
    /// Compressor side of each planned mode at the middle of airflow and intake, W.
    pub compressor_w: Vec<f64>,
    /// Relative standard deviation of one run about its setting's mean.
    pub scatter: f64,
    /// Where it comes from.
    pub scatter_from: Known,
}

impl Assumed {
    /// Takes what the bench tells, what was given, and common practice for the rest.
    ///
    /// # Errors
    /// [`PlanError::Value`] for a scatter or airflow outside what makes sense, [`PlanError::Count`] where airflows do not match the levels.
    pub fn of(
        design: &Design,
        bench: Option<&Bench>,
        scatter: Option<f64>,
        airflows_m3h: &[f64],
    ) -> Result<Assumed, PlanError> {
        let data = bench
            .map(DrawData::from_bench)
            .filter(|d| !d.rows.is_empty());
        let (airflows_m3h, airflows) = airflows(design, data.as_ref(), airflows_m3h)?;
        let level = |fan: &String| {
            let data = data.as_ref()?;
            data.levels.iter().position(|l| l.label == *fan)
        };
        let compressor_w: Vec<f64> = { design.modes.iter().enumerate() }
            .map(|(i, mode)| {
                { data.as_ref() }
                    .and_then(|d| mean_compressor_w(d, mode))
                    .unwrap_or(COMPRESSOR_W * NEXT_MODE.powi(i as i32))
            })
            .collect();
        let measured: Option<Vec<f64>> = { design.fans.iter() }
            .map(|f| {
                let blower = data.as_ref()?.blower.as_ref()?;
                Some(blower.levels.get(level(f)?)?.draw_w)
            })
            .collect();
        let (blower_w, blower) = match measured {
            Some(w) => (w, Known::Measured),
            None => {
                let most = airflows_m3h.iter().copied().fold(0.0, f64::max);
                let least_w = compressor_w.iter().copied().fold(f64::INFINITY, f64::min);
                let own = |q: &f64| BLOWER_SHARE * least_w * (q / most).powf(BLOWER_POWER);
                (
                    airflows_m3h.iter().map(own).collect(),
                    Known::CommonPractice,
                )
            }
        };
        let (scatter, scatter_from) = match scatter {
            Some(s) if s > 0.0 && s <= 0.5 => (s, Known::Given),
            Some(found) => {
                return Err(PlanError::Value {
                    what: "a scatter",
                    found,
                    expected: "a relative standard deviation above 0 and up to 50 %",
                });
            }
            None => match data.and_then(measured_scatter) {
                Some(s) => (s, Known::Measured),
                None => (DEFAULT_SCATTER, Known::CommonPractice),
            },
        };
        Ok(Assumed {
            airflows_m3h,
            airflows,
            blower_w,
            blower,
            compressor_w,
            scatter,
            scatter_from,
        })
    }
}

/// About the best curve.
fn measured_scatter(data: DrawData) -> Option<f64> {
    let fit = fit_draw(data).ok()?;
    let sd = fit.candidates.first()?.relative_sd;
    (sd > 0.0 && sd <= 0.5).then_some(sd)
}

fn mean_compressor_w(data: &DrawData, mode: &str) -> Option<f64> {
    let at = data.modes.iter().position(|m| m == mode)?;
    let own: Vec<f64> = { data.rows.iter() }
        .filter(|r| r.mode == at)
        .map(|r| r.draw - data.blower_w(r.level))
        .collect();
    let mean = own.iter().sum::<f64>() / own.len() as f64;
    (mean > 0.0).then_some(mean)
}

fn airflows(
    design: &Design,
    data: Option<&DrawData>,
    given: &[f64],
) -> Result<(Vec<f64>, Known), PlanError> {
    let n = design.fans.len();
    if !given.is_empty() {
        if given.len() != n {
            return Err(PlanError::Count {
                what: "airflows",
                found: given.len(),
                least: n,
                most: n,
            });
        }
        return match given.iter().find(|q| !(**q > 0.0 && **q < 1e6)) {
            None => Ok((given.to_vec(), Known::Given)),
            Some(found) => Err(PlanError::Value {
                what: "an airflow",
                found: *found,
                expected: "an airflow above zero, in m3/h",
            }),
        };
    }
    let measured: Option<Vec<f64>> = { design.fans.iter() }
        .map(|f| {
            let data = data.filter(|d| d.flow_scale == FlowScale::Airflow)?;
            data.levels.iter().find(|l| l.label == *f)?.flow
        })
        .collect();
    if let Some(flows) = measured {
        return Ok((flows, Known::Measured));
    }
    let share = |i: usize| {
        let step = if n > 1 {
            i as f64 / (n - 1) as f64
        } else {
            1.0
        };
        HIGHEST_M3H * (LOWEST_SHARE + (1.0 - LOWEST_SHARE) * step)
    };
    Ok(((0..n).map(share).collect(), Known::CommonPractice))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn design(fans: &[&str]) -> Design {
        let names = |list: &[&str]| list.iter().map(|s| (*s).to_owned()).collect();
        Design {
            modes: names(&["a", "b"]),
            fans: names(fans),
            intakes_c: vec![23.0, 27.0],
            repeats: 2,
            blocks: 1,
            fan_only: 1,
            standby: false,
            group_intakes: false,
            first_block: 1,
            prefix: "r".to_owned(),
        }
    }

    #[test]
    fn what_a_bench_tells_is_taken_from_it_by_hand() {
        let table = "run,kind,mode,fan,intake_temp [degC],ambient_temp [degC],airflow [m3/h],power [W]\n\
            c1,cooling,a,1,25,30,150,210\nc2,cooling,a,2,25,30,260,246\nc3,cooling,a,2,25,30,260,250\n\
            c4,cooling,b,1,25,30,150,330\nc5,cooling,b,2,25,30,260,345\n\
            f1,fan-only,,1,25,30,150,14\nf2,fan-only,,2,25,30,260,36\n";
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", table).unwrap();
        let data = DrawData::from_bench(&bench);
        // (210 − 14 + 246 − 36 + 250 − 36)/3 = 206.667 W; (330 − 14 + 345 − 36)/2 = 312.5 W.
        assert!((mean_compressor_w(&data, "a").unwrap() - 620.0 / 3.0).abs() < 1e-9);
        assert!((mean_compressor_w(&data, "b").unwrap() - 312.5).abs() < 1e-9);
        assert_eq!(mean_compressor_w(&data, "c"), None);
        let (flows, known) = airflows(&design(&["2", "1"]), Some(&data), &[]).unwrap();
        assert_eq!(known, Known::Measured);
        assert!((flows[0] - 260.0).abs() < 1e-9 && (flows[1] - 150.0).abs() < 1e-9);
    }

    #[test]
    fn airflows_that_nobody_tells_rise_evenly_to_the_highest() {
        let (flows, known) = airflows(&design(&["1", "2", "3"]), None, &[]).unwrap();
        assert_eq!(known, Known::CommonPractice);
        let low = HIGHEST_M3H * LOWEST_SHARE;
        for (ours, by_hand) in flows
            .iter()
            .zip([low, 0.5 * (low + HIGHEST_M3H), HIGHEST_M3H])
        {
            assert!((ours - by_hand).abs() < 1e-9, "{flows:?}");
        }
        assert_eq!(
            airflows(&design(&["1"]), None, &[]).unwrap().0,
            [HIGHEST_M3H]
        );
        assert!(airflows(&design(&["1", "2"]), None, &[100.0]).is_err());
        for bad in [0.0, -1.0, 1e6, f64::NAN] {
            assert!(
                airflows(&design(&["1", "2"]), None, &[100.0, bad]).is_err(),
                "{bad}"
            );
        }
    }
}
