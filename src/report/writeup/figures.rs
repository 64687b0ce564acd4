//! The write-up's figures, as plain scenes.

use super::Results;
use super::tables::{level_name, name, tested};
use crate::fit::candidates::DrawFit;
use crate::fit::forms::{At, DrawData, DrawRow, FlowScale};
use crate::predict::{predict, predict_capacity};
use crate::quantity::{Dimension, System};
use crate::report::figure::{Along, Axis, Dash, Figure, Holds, Interval, Layer, Look, Panel, Tone};
use crate::report::predictions::capacity_name;
use crate::report::words::unit_sign;

/// How far past the warmest tested intake the curves are drawn, K.
const BEYOND_K: f64 = 3.0;
/// Places at which a curve over intake is computed.
const STEPS: usize = 24;

/// A run's value carried to other conditions along the most credible curve; the scatter about the curve stays its own.
fn adjusted(fit: &DrawFit, row: &DrawRow, to: &At) -> Option<f64> {
    let best = fit.best();
    let blower = fit.data.blower_w(row.level);
    let here = fit.draw_of(best, &fit.data.at(row))?.compressor_w;
    let there = fit.draw_of(best, to)?.compressor_w;
    Some(blower + (row.draw - blower) * there / here)
}

fn temperature_axis(label: &str, system: System) -> Axis {
    let axis = Axis::new(label, system.symbol(Dimension::Temperature));
    match system {
        System::Si => axis,
        System::Us => axis.shown_as(system.symbol(Dimension::Temperature), 1.8, 32.0),
    }
}

fn flow_axis(data: &DrawData, system: System) -> Axis {
    match (data.flow_scale, system) {
        (FlowScale::Airflow, System::Us) => {
            let unit = system.symbol(Dimension::Flow);
            Axis::new("Airflow", unit).shown_as(unit, system.convert(Dimension::Flow, 1.0), 0.0)
        }
        (FlowScale::Airflow, _) => Axis::new("Airflow of the fan level", "m3/h"),
        (FlowScale::RelativeSpeed, _) => Axis::new("Relative speed of the fan level", ""),
        _ => Axis::new("Fan level", ""),
    }
}

/// Place of a level on the airflow axis: its flow, or its rank where the levels have only names.
fn place(data: &DrawData, level: usize) -> f64 {
    data.levels
        .get(level)
        .and_then(|l| l.flow)
        .unwrap_or(level as f64 + 1.0)
}

fn show_temperature(r: &Results<'_>, c: f64) -> String {
    format!(
        "{:.0} {}",
        r.system.convert(Dimension::Temperature, c),
        unit_sign(r.system.symbol(Dimension::Temperature))
    )
}

/// Draw against fan level, a panel for each mode, every run adjusted to the same conditions.
pub(super) fn draw_by_fan(r: &Results<'_>) -> Figure {
    let data = &r.draw.data;
    let mut panels = Vec::new();
    for mode in 0..data.modes.len() {
        let levels: Vec<usize> = tested(data)
            .into_iter()
            .filter(|t| t.0 == mode)
            .map(|t| t.1)
            .collect();
        let at = |level: usize| At::new(mode, level, data.intake_ref, data.ambient_ref);
        let look = Look::series(0);
        let predictions: Vec<(f64, crate::predict::Prediction)> = levels
            .iter()
            .filter_map(|l| Some((place(data, *l), predict(r.bench, r.draw, at(*l), r.level)?)))
            .collect();
        let mut layers = vec![
            Layer::Band {
                across: predictions
                    .iter()
                    .map(|(x, p)| (*x, p.run_w.0, p.run_w.1))
                    .collect(),
                look,
                holds: Holds::Run,
                label: String::new(),
            },
            Layer::Band {
                across: predictions
                    .iter()
                    .map(|(x, p)| (*x, p.mean_w.0, p.mean_w.1))
                    .collect(),
                look,
                holds: Holds::Mean,
                label: String::new(),
            },
            Layer::Curve {
                through: predictions.iter().map(|(x, p)| (*x, p.draw_w)).collect(),
                look,
                label: "whole draw".to_owned(),
            },
            Layer::Points {
                at: data
                    .rows
                    .iter()
                    .filter(|row| row.mode == mode)
                    .filter_map(|row| {
                        Some((
                            place(data, row.level),
                            adjusted(r.draw, row, &at(row.level))?,
                        ))
                    })
                    .collect(),
                look,
                label: "whole draw".to_owned(),
            },
        ];
        if data.blower.is_some() {
            layers.push(Layer::Curve {
                through: levels
                    .iter()
                    .map(|l| (place(data, *l), data.blower_w(*l)))
                    .collect(),
                look: Look {
                    tone: Tone::Quiet,
                    dash: Dash::Short,
                    ..look
                },
                label: "blower alone".to_owned(),
            });
        }
        panels.push(Panel {
            y: None,
            title: panel_title(data, mode),
            layers,
        });
    }
    let conditions = show_temperature(r, data.intake_ref);
    Figure {
        name: "draw-by-fan".to_owned(),
        title: "What each fan level draws".to_owned(),
        claim: fan_claim(r),
        x: flow_axis(data, r.system).of_settings(),
        y: Axis::new("Draw", "W").from_zero(),
        panels,
        note: format!(
            "Points: every run, carried to {conditions} intake along the fitted curve, side by side where one would hide another. Narrow band: long-run mean; wide band: one further run ({}).",
            r.percent()
        ),
        alt: format!(
            "Draw against airflow, one panel for each of {} modes. {}",
            data.modes.len(),
            fan_claim(r)
        ),
    }
}

fn panel_title(data: &DrawData, mode: usize) -> String {
    if data.modes.len() < 2 {
        String::new()
    } else {
        name(data, mode).to_owned()
    }
}

/// The lowest and highest fitted draw at the reference conditions, in a sentence.
fn fan_claim(r: &Results<'_>) -> String {
    let data = &r.draw.data;
    let draws: Vec<(f64, usize, usize)> = tested(data)
        .into_iter()
        .filter_map(|(m, l, _)| {
            Some((
                predict(
                    r.bench,
                    r.draw,
                    At::new(m, l, data.intake_ref, data.ambient_ref),
                    r.level,
                )?
                .draw_w,
                m,
                l,
            ))
        })
        .collect();
    let least = draws.iter().min_by(|a, b| a.0.total_cmp(&b.0));
    let most = draws.iter().max_by(|a, b| a.0.total_cmp(&b.0));
    match (least, most) {
        (Some(a), Some(b)) if draws.len() > 1 => format!(
            "From {:.0} W ({}, fan {}) to {:.0} W ({}, fan {}).",
            a.0,
            name(data, a.1),
            level_name(data, a.2),
            b.0,
            name(data, b.1),
            level_name(data, b.2)
        ),
        _ => String::new(),
    }
}

/// The intakes at which curves are computed: the mode's tested range and some kelvin past its warm end.
fn intakes(data: &DrawData, mode: usize) -> Vec<f64> {
    let (low, high) = data.intake_range(mode);
    let top = high + BEYOND_K;
    (0..=STEPS)
        .map(|i| low + (top - low) * i as f64 / STEPS as f64)
        .collect()
}

/// A panel for each mode: for each fan level the curve over intake that `value` gives (with its band), and every run carried to the
/// mean ambient.
fn intake_panels(fit: &DrawFit, value: impl Fn(At) -> Option<(f64, (f64, f64))>) -> Vec<Panel> {
    let data = &fit.data;
    let panel = |mode: usize| {
        let mut layers = vec![untested(data, mode)];
        for (_, level, _) in tested(data).into_iter().filter(|t| t.0 == mode) {
            let look = Look::series(level);
            let label = format!("fan {}", level_name(data, level));
            let at = |intake: f64| At::new(mode, level, intake, data.ambient_mean);
            let line: Vec<(f64, f64, (f64, f64))> = intakes(data, mode)
                .into_iter()
                .filter_map(|t| value(at(t)).map(|(v, band)| (t, v, band)))
                .collect();
            layers.push(Layer::Band {
                across: line
                    .iter()
                    .map(|(t, _, (low, high))| (*t, *low, *high))
                    .collect(),
                look,
                holds: Holds::Run,
                label: String::new(),
            });
            layers.push(Layer::Curve {
                through: line.iter().map(|(t, v, _)| (*t, *v)).collect(),
                look,
                label: label.clone(),
            });
            layers.push(Layer::Points {
                at: data
                    .rows
                    .iter()
                    .filter(|row| row.mode == mode && row.level == level)
                    .filter_map(|row| Some((row.intake, adjusted(fit, row, &at(row.intake))?)))
                    .collect(),
                look,
                label,
            });
        }
        Panel {
            y: None,
            title: panel_title(data, mode),
            layers,
        }
    };
    (0..data.modes.len()).map(panel).collect()
}

/// Draw against intake, a panel for each mode, a curve for each fan level, the untested part set apart.
pub(super) fn draw_by_intake(r: &Results<'_>) -> Figure {
    let data = &r.draw.data;
    let panels = intake_panels(r.draw, |at| {
        let p = predict(r.bench, r.draw, at, r.level)?;
        Some((p.draw_w, p.run_w))
    });
    let ambient = if data.ambient_varied {
        format!(
            ", carried to {} ambient",
            show_temperature(r, data.ambient_mean)
        )
    } else {
        String::new()
    };
    Figure {
        name: "draw-by-intake".to_owned(),
        title: "How the draw follows the intake air".to_owned(),
        claim: String::new(),
        x: temperature_axis("Intake air", r.system),
        y: Axis::new("Draw", "W").from_zero(),
        panels,
        note: format!("Points: every run{ambient}. Bands: one further run ({}). Shaded: warmer than anything tested.", r.percent()),
        alt: "Draw against intake temperature by mode and fan level, with bands that widen beyond the tested range.".to_owned(),
    }
}

fn untested(data: &DrawData, mode: usize) -> Layer {
    let (_, high) = data.intake_range(mode);
    Layer::Region {
        along: Along::X,
        from: high,
        to: f64::INFINITY,
        label: "not tested".to_owned(),
    }
}

/// Capacity against intake; `None` where the bench gives no capacity.
pub(super) fn capacity_by_intake(r: &Results<'_>) -> Option<Figure> {
    let (kind, fit) = r.capacity.as_ref().ok()?;
    let data = &fit.data;
    let panels = intake_panels(fit, |at| {
        let c = predict_capacity(r.bench, fit, at, r.level)?;
        Some((c.capacity_w, c.mean_w))
    });
    let unit = r.system.capacity_symbol();
    let what = capacity_name(*kind);
    let ambient = if data.ambient_varied {
        format!(
            ", carried to {} ambient",
            show_temperature(r, data.ambient_mean)
        )
    } else {
        String::new()
    };
    Some(Figure {
        name: "capacity-by-intake".to_owned(),
        title: format!("What it delivers: {what}"),
        claim: String::new(),
        x: temperature_axis("Intake air", r.system),
        y: Axis::new(capitalised(what), unit).from_zero().shown_as(
            unit,
            r.system.convert_capacity(1.0),
            0.0,
        ),
        panels,
        note: format!(
            "Points: every run{ambient}, with its fan level's mean airflow. Bands: long-run mean ({}), instruments included. Shaded: warmer than anything tested.",
            r.percent()
        ),
        alt: format!(
            "{} against intake temperature by mode and fan level.",
            capitalised(what)
        ),
    })
}

fn capitalised(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// The elasticity by mode against the allowance; `None` where no mode has one.
pub(super) fn elasticity(r: &Results<'_>) -> Option<Figure> {
    let c = r.coupling;
    let mut names: Vec<String> = Vec::new();
    let mut bars = Vec::new();
    for m in &c.per_mode {
        if let Some(e) = m.elasticity {
            bars.push(Interval {
                at: names.len() as f64,
                low: e.low,
                value: Some(e.value),
                high: e.high,
            });
            names.push(if m.mode.is_empty() {
                "the unit".to_owned()
            } else {
                m.mode.clone()
            });
        }
    }
    if bars.is_empty() {
        return None;
    }
    let mut layers = vec![
        Layer::Region {
            along: Along::X,
            from: c.allowance.down,
            to: c.allowance.up,
            label: "a fixed-speed compressor's own".to_owned(),
        },
        Layer::Rule {
            along: Along::X,
            at: 0.0,
            label: String::new(),
        },
        Layer::Intervals {
            bars,
            along: Along::X,
            look: Look::series(0),
            label: String::new(),
        },
    ];
    if c.per_mode.len() > 1
        && !c.modes_differ
        && let Some(e) = c.elasticity
    {
        layers.push(Layer::Intervals {
            bars: vec![Interval {
                at: names.len() as f64,
                low: e.low,
                value: Some(e.value),
                high: e.high,
            }],
            along: Along::X,
            look: Look::ink(),
            label: String::new(),
        });
        names.push("all modes".to_owned());
    }
    Some(Figure {
        name: "coupling".to_owned(),
        title: "Does the compressor follow the fan?".to_owned(),
        claim: format!("Verdict: {}.", c.verdict.name()),
        x: Axis::new("Elasticity of the compressor-side draw to airflow", ""),
        y: Axis::names("", names),
        panels: vec![Panel {
            y: None,
            title: String::new(),
            layers,
        }],
        note: format!(
            "Bars: {} intervals, widened so that all modes together keep the level. Shaded: the allowance. A verdict needs the whole bar on one side.",
            r.percent()
        ),
        alt: format!(
            "Elasticity by mode with intervals against the allowance of {:.2} to {:.2}. Verdict: {}.",
            c.allowance.down,
            c.allowance.up,
            c.verdict.name()
        ),
    })
}

/// The compressor-side draw against airflow on logarithmic axes, where straight lines are powers; `None` without a measured airflow.
pub(super) fn compressor_by_airflow(r: &Results<'_>) -> Option<Figure> {
    let data = &r.draw.data;
    if data.flow_scale != FlowScale::Airflow || !data.fan_varied_within_a_mode() {
        return None;
    }
    let mut layers = Vec::new();
    for mode in 0..data.modes.len() {
        let look = Look::series(mode);
        let at = |level: usize| At::new(mode, level, data.intake_ref, data.ambient_ref);
        let best = r.draw.best();
        let curve: Vec<(f64, f64)> = tested(data)
            .into_iter()
            .filter(|t| t.0 == mode)
            .filter_map(|(_, l, _)| {
                Some((place(data, l), r.draw.draw_of(best, &at(l))?.compressor_w))
            })
            .collect();
        let points: Vec<(f64, f64)> = data
            .rows
            .iter()
            .filter(|row| row.mode == mode)
            .filter_map(|row| {
                Some((
                    place(data, row.level),
                    adjusted(r.draw, row, &at(row.level))? - data.blower_w(row.level),
                ))
            })
            .filter(|(_, w)| *w > 0.0)
            .collect();
        let label = if name(data, mode).is_empty() {
            "the unit".to_owned()
        } else {
            name(data, mode).to_owned()
        };
        layers.push(Layer::Curve {
            through: curve,
            look,
            label: label.clone(),
        });
        layers.push(Layer::Points {
            at: points,
            look,
            label,
        });
    }
    let taken_off = if r.bench.fan.draw_limit_w == Some(0.0) {
        "the blower having no part in the draw"
    } else if data.blower.is_some() {
        "with the blower's own draw taken off"
    } else {
        "blower included: no fan-only runs tell its draw"
    };
    Some(Figure {
        name: "compressor-by-airflow".to_owned(),
        title: "The compressor's side of the draw against airflow".to_owned(),
        claim: "Level: the compressor does not care about the fan. Rising: it follows.".to_owned(),
        x: flow_axis(data, r.system).logarithmic().of_settings(),
        y: Axis::new("Draw without the blower", "W").logarithmic(),
        panels: vec![Panel {
            y: None,
            title: String::new(),
            layers,
        }],
        note: format!(
            "Points: every run, {taken_off}, carried to {} intake; side by side where one would hide another. Both axes logarithmic.",
            show_temperature(r, data.intake_ref)
        ),
        alt: "Compressor-side draw against airflow by mode on logarithmic axes.".to_owned(),
    })
}
