//! Figures of every kind that reports draw, on invented values.

use steadydraw::report::figure::{Along, Axis, Dash, Figure, Holds, Interval, Layer, Look, Panel};

/// A draw curve through intake temperatures, with invented coefficients.
fn draw(base: f64, slope: f64, intake: f64) -> f64 {
    base + slope * (intake - 30.0) + 0.09 * (intake - 30.0).powi(2)
}

/// A repeatable stand-in for scatter, within ±1.
fn scatter(i: usize) -> f64 {
    ((i as f64 * 12.9898).sin() * 43758.5453).fract()
}

fn intakes(from: f64, to: f64) -> impl Iterator<Item = f64> {
    (0..=60).map(move |i| from + (to - from) * f64::from(i) / 60.0)
}

/// Draw against intake: a curve, two bands and every run for each fan level, and what was not tested.
pub fn draw_by_intake() -> Figure {
    let settings = [
        ("low", 235.0, 4.1),
        ("middle", 318.0, 5.6),
        ("high", 391.0, 6.9),
        ("full", 402.0, 7.0),
    ];
    let mut layers = vec![Layer::Region {
        along: Along::X,
        from: 35.4,
        to: f64::INFINITY,
        label: "not tested".into(),
    }];
    for (n, (fan, base, slope)) in settings.into_iter().enumerate() {
        let look = Look::series(n);
        let wide = |t: f64| 8.0 + 0.25 * (t - 30.0).abs().max(3.0).powi(2);
        layers.push(Layer::Band {
            across: intakes(23.5, 40.0)
                .map(|t| {
                    (
                        t,
                        draw(base, slope, t) - wide(t),
                        draw(base, slope, t) + wide(t),
                    )
                })
                .collect(),
            look,
            holds: Holds::Run,
            label: String::new(),
        });
        layers.push(Layer::Band {
            across: intakes(23.5, 40.0)
                .map(|t| {
                    (
                        t,
                        draw(base, slope, t) - 0.4 * wide(t),
                        draw(base, slope, t) + 0.4 * wide(t),
                    )
                })
                .collect(),
            look,
            holds: Holds::Mean,
            label: String::new(),
        });
        layers.push(Layer::Curve {
            through: intakes(23.5, 40.0)
                .map(|t| (t, draw(base, slope, t)))
                .collect(),
            look,
            label: format!("fan {fan}"),
        });
        layers.push(Layer::Points {
            at: (0..12)
                .map(|i| {
                    let t = [24.1, 27.0, 31.9, 35.2][i / 3] + 0.3 * scatter(i + n);
                    (t, draw(base, slope, t) + 7.0 * scatter(i * 7 + n))
                })
                .collect(),
            look,
            label: format!("fan {fan}"),
        });
    }
    Figure {
        name: "draw-by-intake".into(),
        title: "Draw rises with intake temperature, and more so at high fan".into(),
        claim: "At 35 °C intake the unit draws 266 to 440 W, depending on the fan level. Invented values, mode “cool”.".into(),
        x: Axis::new("Intake air", "degC"),
        y: Axis::new("Draw", "W").from_zero(),
        panels: vec![Panel {
y: None, title: String::new(), layers }],
        note: "Marks: single runs. Lines: fitted curve. Strong band: 95 % interval of the long-run mean. Faint band: where one further run would fall, 95 %.".into(),
        alt: "Draw in watts against intake temperature from 24 to 40 °C for four fan levels; all four curves rise.".into(),
    }
}

/// Small multiples: one panel a mode, the same axes.
pub fn draw_by_mode() -> Figure {
    let panel = |mode: &str, factor: f64, fans: &[usize]| {
        let mut layers = vec![Layer::Rule {
            along: Along::Y,
            at: 450.0,
            label: "maker's highest draw, 450 W".into(),
        }];
        for n in fans {
            let (base, slope) = ([230.0, 318.0, 395.0][*n] * factor, [4.1, 5.6, 6.9][*n]);
            let look = if mode == "quiet" {
                Look::series(*n).hollow()
            } else {
                Look::series(*n)
            };
            let fan = ["low", "middle", "high"][*n];
            layers.push(Layer::Curve {
                through: intakes(24.0, 36.0)
                    .map(|t| (t, draw(base, slope, t)))
                    .collect(),
                look: Look::series(*n),
                label: format!("fan {fan}"),
            });
            layers.push(Layer::Points {
                at: (0..6)
                    .map(|i| {
                        let t = [24.0, 30.0, 36.0][i / 2];
                        (t, draw(base, slope, t) + 9.0 * scatter(i * 3 + n))
                    })
                    .collect(),
                look,
                label: String::new(),
            });
        }
        Panel {
            y: None,
            title: mode.into(),
            layers,
        }
    };
    Figure {
        name: "draw-by-mode".into(),
        title: "Every mode draws more at a higher fan level".into(),
        claim: "The gap between fan levels is the same in all three modes.".into(),
        x: Axis::new("Intake air", "degC").shown_as("degF", 1.8, 32.0),
        y: Axis::new("Draw", "W").from_zero(),
        panels: vec![panel("cool", 1.0, &[0, 1, 2]), panel("dry", 0.72, &[0, 1, 2]), panel("quiet", 0.55, &[0, 1, 2])],
        note: "Hollow marks: quiet mode. Every run is shown. Invented values.".into(),
        alt: "Three panels of draw against intake temperature, one for each mode, each with three rising curves.".into(),
    }
}

/// Intervals beside names: the elasticity of each mode against the allowance.
pub fn elasticity() -> Figure {
    let rows = [
        ("cool", 0.82, 0.11),
        ("dry", 0.31, 0.24),
        ("quiet", 0.05, 0.07),
        ("all modes", 0.49, 0.09),
    ];
    Figure {
        name: "elasticity".into(),
        title: "In mode “cool” the compressor follows the fan; in “quiet” it does not".into(),
        claim: "An interval that lies wholly beyond the allowance shows coupling; one that lies wholly inside it shows independence.".into(),
        x: Axis::new("Elasticity of compressor draw to airflow", ""),
        y: Axis::names("", rows.map(|r| r.0)),
        panels: vec![Panel {
y: None,
            title: String::new(),
            layers: vec![
                Layer::Region { along: Along::X, from: -0.2, to: 0.2, label: "allowance".into() },
                Layer::Rule { along: Along::X, at: 0.0, label: String::new() },
                Layer::Intervals {
                    bars: rows.iter().enumerate().map(|(i, (_, v, h))| Interval { at: i as f64, low: v - h, value: Some(*v), high: v + h }).collect(),
                    along: Along::X,
                    look: Look::series(0),
                    label: String::new(),
                },
            ],
        }],
        note: "Intervals: 95 %. Invented values.".into(),
        alt: "Intervals of the elasticity for three modes and for all together, against an allowance of plus or minus 0.2.".into(),
    }
}

/// Columns stacked by the caller: where the draw goes.
pub fn shares() -> Figure {
    let fan_draw = [14.0, 31.0, 58.0, 96.0];
    let whole = [238.0, 321.0, 396.0, 431.0];
    let names = ["low", "middle", "high", "full"];
    let bars = |from: &[f64], to: &[f64]| {
        from.iter()
            .zip(to)
            .enumerate()
            .map(|(i, (a, b))| (i as f64, *a, *b))
            .collect()
    };
    Figure {
        name: "shares".into(),
        title: "The blower takes 6 % of the draw at low fan and 22 % at full".into(),
        claim: String::new(),
        x: Axis::names("Fan level", names),
        y: Axis::new("Draw at 32 °C intake", "W").from_zero(),
        panels: vec![Panel {
            y: None,
            title: String::new(),
            layers: vec![
                Layer::Columns {
                    bars: bars(&[0.0; 4], &fan_draw),
                    width: 0.56,
                    look: Look::series(1),
                    label: "blower alone".into(),
                },
                Layer::Columns {
                    bars: bars(&fan_draw, &whole),
                    width: 0.56,
                    look: Look::series(0),
                    label: "compressor side".into(),
                },
                Layer::Intervals {
                    bars: whole
                        .iter()
                        .enumerate()
                        .map(|(i, w)| Interval {
                            at: i as f64,
                            low: w - 11.0,
                            value: None,
                            high: w + 11.0,
                        })
                        .collect(),
                    along: Along::Y,
                    look: Look::ink(),
                    label: "95 % interval of the mean".into(),
                },
            ],
        }],
        note: "Invented values.".into(),
        alt: "Stacked columns of blower and compressor draw at four fan levels.".into(),
    }
}

/// Logarithmic axes: compressor-side draw against airflow.
pub fn power_law() -> Figure {
    let mut layers = Vec::new();
    for (n, (mode, beta)) in [("cool", 0.8), ("quiet", 0.05)].into_iter().enumerate() {
        let look = if n == 0 {
            Look::series(0)
        } else {
            Look::series(1).hollow()
        };
        let law =
            move |flow: f64| 190.0 * (flow / 250.0).powf(beta) * if n == 0 { 1.0 } else { 0.7 };
        layers.push(Layer::Curve {
            through: intakes(160.0, 410.0).map(|f| (f, law(f))).collect(),
            look,
            label: format!("mode {mode}"),
        });
        layers.push(Layer::Points {
            at: (0..12)
                .map(|i| {
                    let flow = [165.0, 230.0, 310.0, 405.0][i / 3] * (1.0 + 0.01 * scatter(i));
                    (flow, law(flow) * (1.0 + 0.03 * scatter(i * 5 + n)))
                })
                .collect(),
            look,
            label: format!("mode {mode}"),
        });
    }
    Figure {
        name: "compressor-by-airflow".into(),
        title: "Compressor-side draw against airflow".into(),
        claim: "Both scales are logarithmic: a straight line of slope 0.8 means that 10 % more air goes with 8 % more draw.".into(),
        x: Axis::new("Airflow", "m3/h").logarithmic(),
        y: Axis::new("Compressor-side draw", "W").logarithmic(),
        panels: vec![Panel {
y: None, title: String::new(), layers }],
        note: "Invented values.".into(),
        alt: "Compressor-side draw against airflow on logarithmic scales for two modes; one rises, one is flat.".into(),
    }
}

/// One line over a day, with rules and regions across.
pub fn day() -> Figure {
    let charge: Vec<(f64, f64)> = (0..=96)
        .map(|i| {
            let h = f64::from(i) / 4.0;
            (
                h,
                (88.0 - 2.6 * (h - 9.0).clamp(0.0, 12.0) + 1.1 * (h - 11.0).clamp(0.0, 4.0))
                    .clamp(0.0, 100.0),
            )
        })
        .collect();
    let band = charge
        .iter()
        .map(|(h, c)| (*h, c - 0.35 * h, c + 0.35 * h))
        .collect();
    Figure {
        name: "day".into(),
        title: "The bank carries the day and keeps 61 %".into(),
        claim: "In use from 9 to 21 h, with four hours of charging at midday.".into(),
        x: Axis::new("Time of day", "").clock().reaching(0.0, 24.0),
        y: Axis::new("State of charge", "%").reaching(0.0, 100.0),
        panels: vec![Panel {
            y: None,
            title: String::new(),
            layers: vec![
                Layer::Region {
                    along: Along::X,
                    from: 11.0,
                    to: 15.0,
                    label: "charging".into(),
                },
                Layer::Region {
                    along: Along::Y,
                    from: f64::NEG_INFINITY,
                    to: 20.0,
                    label: "kept in reserve".into(),
                },
                Layer::Rule {
                    along: Along::X,
                    at: 9.0,
                    label: "switched on".into(),
                },
                Layer::Remark {
                    at: (21.0, 61.2),
                    label: "lowest, 61 %".into(),
                },
                Layer::Band {
                    across: band,
                    look: Look::series(0),
                    holds: Holds::Run,
                    label: "95 % of days".into(),
                },
                Layer::Curve {
                    through: charge,
                    look: Look::series(0),
                    label: "state of charge".into(),
                },
            ],
        }],
        note: "Invented values.".into(),
        alt: "State of charge over a day, falling from 88 to 61 %.".into(),
    }
}

/// Many series and hostile names: what a user's files may hold.
pub fn hostile() -> Figure {
    let mut layers = Vec::new();
    let names = [
        "<script>alert(1)</script>",
        "制冷",
        "mode\u{202e}evil",
        "Kühlen & \"leise\"",
        "a very long mode name that nobody would choose but somebody will",
        "x]]>",
        "-->",
        "Ωmega",
    ];
    for (n, name) in names.into_iter().enumerate() {
        layers.push(Layer::Curve {
            through: vec![
                (20.0, 100.0 + 3.0 * n as f64),
                (30.0, 120.0 + 3.0 * n as f64),
            ],
            look: Look::series(n).dashed(if n % 2 == 0 { Dash::Whole } else { Dash::Long }),
            label: name.into(),
        });
    }
    Figure {
        name: "hostile <name>".into(),
        title: "A title with <tags>, “quotes”, an ampersand &amp; and a great many words, far more than will ever fit into one line of a figure".into(),
        claim: "]]><svg onload=alert(1)>".into(),
        x: Axis::new("Intake <air>", "degC"),
        y: Axis::new("Draw & more", "W"),
        panels: vec![Panel {
y: None, title: String::new(), layers }],
        note: "<b>note</b>".into(),
        alt: "\"><script>alert(2)</script>".into(),
    }
}

/// Every figure above.
pub fn all() -> Vec<Figure> {
    vec![
        draw_by_intake(),
        draw_by_mode(),
        elasticity(),
        shares(),
        power_law(),
        day(),
        hostile(),
    ]
}
