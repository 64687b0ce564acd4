//! What must hold of any input, tried on inputs drawn at random (a fixed seed, so that a failure repeats).

use nalgebra::DMatrix;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, RngSeed};
use steadydraw::air::{AirReadings, MoistAir, Side, capacity};
use steadydraw::bench::Bench;
use steadydraw::bench::logs::TimeFormat;
use steadydraw::coupling::{Coupling, Options, assess};
use steadydraw::fit::candidates::{DrawFit, fit_draw};
use steadydraw::fit::forms::{At, DrawData};
use steadydraw::fit::{Equation, least_squares};
use steadydraw::logs::number::{self, Cell};
use steadydraw::logs::stamp::{Stamp, StampCursor, StampReader};
use steadydraw::predict::predict;
use steadydraw::quantity::{Dimension, Unit, parse_quantity};
use steadydraw::stats::{chi_square, f, normal, student_t};

fn cases(cases: u32) -> Config {
    Config {
        cases,
        rng_seed: RngSeed::Fixed(20_260_825),
        rng_algorithm: RngAlgorithm::ChaCha,
        failure_persistence: None,
        ..Config::default()
    }
}

/// Units with what they measure.
const UNITS: [(&str, Dimension); 34] = [
    ("degC", Dimension::Temperature),
    ("degF", Dimension::Temperature),
    ("K", Dimension::Temperature),
    ("degF", Dimension::TemperatureDifference),
    ("W", Dimension::Power),
    ("kW", Dimension::Power),
    ("Btu/h", Dimension::Power),
    ("V", Dimension::Voltage),
    ("mV", Dimension::Voltage),
    ("A", Dimension::Current),
    ("mA", Dimension::Current),
    ("Ah", Dimension::Charge),
    ("Wh", Dimension::Energy),
    ("kWh", Dimension::Energy),
    ("m/s", Dimension::Speed),
    ("ft/min", Dimension::Speed),
    ("m3/h", Dimension::Flow),
    ("m3/s", Dimension::Flow),
    ("L/s", Dimension::Flow),
    ("cfm", Dimension::Flow),
    ("Pa", Dimension::Pressure),
    ("hPa", Dimension::Pressure),
    ("kPa", Dimension::Pressure),
    ("inHg", Dimension::Pressure),
    ("psi", Dimension::Pressure),
    ("%", Dimension::Fraction),
    ("s", Dimension::Time),
    ("min", Dimension::Time),
    ("h", Dimension::Time),
    ("m", Dimension::Length),
    ("ft", Dimension::Length),
    ("in", Dimension::Length),
    ("kg", Dimension::Mass),
    ("lb", Dimension::Mass),
];

fn close(a: f64, b: f64, relative: f64) -> bool {
    (a - b).abs() <= relative * a.abs().max(b.abs()) + 1e-300
}

proptest! {
    #![proptest_config(cases(512))]

    #[test]
    fn units_take_a_value_there_and_back(which in 0..UNITS.len(), v in -1e4..1e4_f64) {
        let (symbol, want) = UNITS[which];
        let unit = Unit::parse_for(symbol, want).unwrap();
        let scale = unit.from_si(0.0).abs() + v.abs() + 1.0;
        prop_assert!((unit.from_si(unit.to_si(v)) - v).abs() <= 1e-13 * scale);
        prop_assert!(close(unit.difference_from_si(unit.difference_to_si(v)), v, 1e-14));
        // As written in a bench, to the last digit: the base unit's own text reads back as itself.
        let base = Unit::base(want).unwrap();
        let value = parse_quantity(&format!("{v} {}", base.symbol()), want).unwrap();
        prop_assert_eq!(value, v);
        // More in one unit is more in another.
        prop_assert!(unit.to_base(v, want) < unit.to_base(v + 1.0, want));
    }

    #[test]
    fn a_cell_is_read_to_the_nearest_double(v in any::<f64>(), digits in 0..17_usize) {
        prop_assume!(v.is_finite());
        for text in [format!("{v:?}"), format!("{v:.digits$e}"), format!("{:.digits$}", v.rem_euclid(1e6))] {
            let want: f64 = text.parse().unwrap();
            prop_assert_eq!(number::read(text.as_bytes(), false), Cell::Number(want), "{}", &text);
            let comma = text.replace('.', ",");
            prop_assert_eq!(number::read(comma.as_bytes(), true), Cell::Number(want), "{}", &comma);
        }
    }

    #[test]
    fn stamps_in_a_row_are_read_as_each_alone(
        start in 0..60_u32, steps in prop::collection::vec(0..400_u32, 1..30), decimals in 0..4_usize, zulu in any::<bool>(),
    ) {
        let reader = StampReader::new(&TimeFormat::Iso, None, false).unwrap();
        let mut cursor = StampCursor::new(&reader);
        // Steps of a hundredth of a second to four seconds.
        let mut hundredths = 100 * start;
        for step in steps {
            hundredths += step;
            let (seconds, minute) = (f64::from(hundredths % 6000) / 100.0, hundredths / 6000 % 60);
            let factor = 10_f64.powi(decimals as i32);
            let shown = (seconds * factor).floor() / factor;
            let width = if decimals == 0 { 2 } else { 3 + decimals };
            let text = format!("2026-08-25T09:{minute:02}:{shown:0width$.decimals$}{}", if zulu { "Z" } else { "" });
            let alone = reader.read(text.as_bytes()).unwrap();
            let read = match cursor.same_minute(text.as_bytes()) {
                Some((stamp, n)) if n == text.len() => stamp,
                _ => cursor.read(text.as_bytes()).unwrap(),
            };
            prop_assert_eq!(read, alone, "{}", &text);
            // 2026-08-25 09:00 is 1 787 648 400 s after 1970 began (date -u -d '2026-08-25 09:00' +%s).
            let want = 1_787_648_400.0 + 60.0 * f64::from(minute) + shown;
            let (Stamp::Instant(t) | Stamp::Local(t)) = read;
            prop_assert!((t - want).abs() < 1e-6, "{} {}", &text, t - want);
        }
    }

    #[test]
    fn quantiles_and_shares_undo_each_other_and_rise(p in 0.0005..0.9995_f64, dof in 1.0..200.0_f64, d2 in 1.0..200.0_f64) {
        prop_assert!(close(normal::cdf(normal::quantile(p)), p, 1e-11));
        prop_assert!(close(student_t::cdf(student_t::quantile(p, dof), dof), p, 1e-10));
        prop_assert!(close(chi_square::cdf(chi_square::quantile(p, dof), dof), p, 1e-10));
        prop_assert!(close(f::cdf(f::quantile(p, dof, d2), dof, d2), p, 1e-10));
        let more = p + 0.5 * (1.0 - p);
        prop_assert!(student_t::quantile(more, dof) > student_t::quantile(p, dof));
        prop_assert!(f::quantile(more, dof, d2) > f::quantile(p, dof, d2));
        // Fewer degrees of freedom, wider: for the same share in both tails.
        let share = 0.5 + 0.5 * p;
        prop_assert!(student_t::quantile(share, dof) >= student_t::quantile(share, dof + 1.0));
    }

    #[test]
    fn least_squares_does_not_mind_the_order_of_rows_or_the_scale_of_columns(
        rows in prop::collection::vec((-10.0..10.0_f64, -10.0..10.0_f64, -10.0..10.0_f64), 6..20), scale in 1e-6..1e6_f64,
    ) {
        let fit = |rows: &[(f64, f64, f64)], scale: f64| {
            let x = DMatrix::from_fn(rows.len(), 3, |i, j| [1.0, rows[i].0, scale * rows[i].1][j]);
            let y: Vec<f64> = rows.iter().map(|r| r.2).collect();
            least_squares(&x, &y, None)
        };
        let Ok(one) = fit(&rows, 1.0) else { return Ok(()); };
        prop_assume!(one.condition < 1e4);
        let mut turned = rows.clone();
        turned.reverse();
        let other = fit(&turned, scale).unwrap();
        let size = one.coef.iter().fold(1.0_f64, |m, c| m.max(c.abs()));
        for (j, s) in [1.0, 1.0, scale].into_iter().enumerate() {
            prop_assert!((one.coef[j] - s * other.coef[j]).abs() < 1e-9 * size);
        }
        // Every row twice: the same coefficients, and errors smaller by the square root of the degrees of freedom's ratio.
        let twice: Vec<_> = rows.iter().chain(&rows).copied().collect();
        let doubled = fit(&twice, 1.0).unwrap();
        let narrower = ((rows.len() - 3) as f64 / (2 * rows.len() - 3) as f64).sqrt();
        for j in 0..3 {
            prop_assert!((one.coef[j] - doubled.coef[j]).abs() < 1e-9 * size);
            let (a, b) = (one.std_errors().unwrap()[j], doubled.std_errors().unwrap()[j]);
            prop_assert!((b - narrower * a).abs() <= 1e-8 * a);
        }
    }

    #[test]
    fn moist_air_keeps_its_order(t in -10.0..45.0_f64, rh in 0.05..0.9_f64, kpa in 75.0..105.0_f64) {
        let air = |t: f64, rh: f64| MoistAir::from_relative_humidity(t, rh, 1000.0 * kpa).unwrap();
        let (dry, damp, warm) = (air(t, rh), air(t, rh + 0.05), air(t + 1.0, rh));
        prop_assert!(close(dry.relative_humidity(), rh, 1e-12));
        prop_assert!(damp.humidity_ratio() > dry.humidity_ratio() && warm.humidity_ratio() > dry.humidity_ratio());
        prop_assert!(damp.wet_bulb_c() > dry.wet_bulb_c() && dry.wet_bulb_c() <= t);
        prop_assert!(warm.enthalpy_j_kg() > dry.enthalpy_j_kg() && damp.enthalpy_j_kg() > dry.enthalpy_j_kg());
        prop_assert!(warm.density_kg_m3() < dry.density_kg_m3());
        // Wet bulb and dew point lead back to the same air.
        let wet = MoistAir::from_wet_bulb(t, dry.wet_bulb_c(), 1000.0 * kpa).unwrap();
        prop_assert!((wet.humidity_ratio() - dry.humidity_ratio()).abs() < 1e-7);
        let dew = MoistAir::from_dew_point(t, dry.dew_point_c().unwrap(), 1000.0 * kpa).unwrap();
        prop_assert!((dew.humidity_ratio() - dry.humidity_ratio()).abs() < 1e-7);
    }

    #[test]
    fn capacity_rises_with_airflow_and_with_colder_outlet(
        intake in 20.0..38.0_f64, fall in 3.0..12.0_f64, flow in 80.0..500.0_f64, rh in 0.2..0.6_f64,
    ) {
        let of = |fall: f64, flow: f64| {
            capacity(&AirReadings {
                intake_temp_c: intake, intake_rh: Some(rh), outlet_temp_c: intake - fall, outlet_rh: None, flow_m3h: flow,
                flow_at: Some(Side::Intake), pressure_pa: 101_325.0, condensate_kg_h: None,
            }).unwrap().sensible_w
        };
        let here = of(fall, flow);
        prop_assert!(here > 0.0 && of(fall + 0.5, flow) > here);
        prop_assert!(close(of(fall, 2.0 * flow), 2.0 * here, 1e-12));
    }

    #[test]
    fn an_equation_is_worth_what_it_says(a in -3.0..3.0_f64, b in -2.0..2.0_f64, c in 0.1..2.0_f64, x in 0.1..3.0_f64) {
        let columns = ["x".to_owned(), "y".to_owned()];
        for (text, want) in [
            ("y = a - b*x^2/c", a - b * (x * x) / c),
            ("y = -x^2 + a*b*c", -(x * x) + a * b * c),
            ("y = 2^c^2*a + b", 2_f64.powf(c * c) * a + b),
            ("y = a*exp(-b*x) + ln(c)", a * (-b * x).exp() + c.ln()),
            ("y = max(a, b) - min(a, c)/x", a.max(b) - a.min(c) / x),
        ] {
            let curve = Equation::parse(text).unwrap().with_columns(&columns).unwrap();
            let by_name = |n: &String| match n.as_str() { "a" => a, "b" => b, _ => c };
            let parameters: Vec<f64> = curve.parameters().iter().map(by_name).collect();
            let data: Vec<[f64; 1]> = curve.columns().iter().map(|n| [if n == "x" { x } else { 0.0 }]).collect();
            let got = curve.right_values::<f64, _>(&parameters, &data, 1)[0];
            prop_assert!((got - want).abs() <= 1e-12 * (1.0 + want.abs()), "{}: {} {}", text, got, want);
        }
    }
}

/// A run of the benches below.
#[derive(Clone, Debug)]
struct Run {
    mode: usize,
    fan: usize,
    intake_c: f64,
    ambient_c: f64,
    draw_w: f64,
}

const FLOWS: [f64; 3] = [180.0, 260.0, 390.0];
const BLOWER_W: [f64; 3] = [9.0, 16.0, 29.0];

/// A bench with two modes, three fan levels, three intakes and two repeats, its coupling and scatter drawn at random.
fn runs() -> impl Strategy<Value = Vec<Run>> {
    let noise = prop::collection::vec(-1.0..1.0_f64, 36);
    (noise, 0.0..1.0_f64, 0.002..0.02_f64, 0.005..0.02_f64).prop_map(
        |(noise, power, scatter, slope)| {
            (0..36)
                .map(|i| {
                    let (mode, fan, step, again) = (i % 2, i / 2 % 3, i / 6 % 3, i / 18);
                    let intake_c = 22.0 + 4.0 * step as f64 + 0.3 * noise[(7 * i + 3) % 36];
                    let ambient_c = 24.0 + 3.0 * again as f64 + noise[(11 * i + 5) % 36];
                    let side = [95.0, 140.0][mode]
                        * (FLOWS[fan] / 260.0).powf(power)
                        * (slope * (intake_c - 26.0)).exp();
                    Run {
                        mode,
                        fan,
                        intake_c,
                        ambient_c,
                        draw_w: BLOWER_W[fan] + side * (1.0 + scatter * noise[i]),
                    }
                })
                .collect()
        },
    )
}

const TOML: &str = "title = \"t\"\n[points]\nfile = \"points.csv\"\n[site]\naltitude = \"40 m\"\n[[instrument]]\nname = \"m\"\nmeasures = [\"power\"]\naccuracy = \"0.8 % of reading\"\n[[instrument]]\nname = \"t\"\nmeasures = [\"intake_temp\", \"ambient_temp\"]\naccuracy = \"0.4 degC\"\n";

/// The bench as text; `us` writes it in degF, kW and cfm.
fn bench(runs: &[Run], modes: [&str; 2], us: bool) -> Bench {
    let mut text = if us {
        "run,kind,mode,fan,intake_temp [degF],ambient_temp [degF],airflow [cfm],power [kW]\n"
    } else {
        "run,kind,mode,fan,intake_temp [degC],ambient_temp [degC],airflow [m3/h],power [W]\n"
    }
    .to_owned();
    let mut line =
        |run: String, kind: &str, mode: &str, fan: usize, t: f64, ambient: f64, w: f64| {
            let (t, ambient, flow, w) = if us {
                let fahrenheit = |c: f64| 1.8 * c + 32.0;
                // 1 ft = 0.3048 m exactly.
                (
                    fahrenheit(t),
                    fahrenheit(ambient),
                    FLOWS[fan] / 60.0 / 0.3048_f64.powi(3),
                    w / 1000.0,
                )
            } else {
                (t, ambient, FLOWS[fan], w)
            };
            text.push_str(&format!(
                "{run},{kind},{mode},{},{t},{ambient},{flow},{w}\n",
                fan + 1
            ));
        };
    for (i, r) in runs.iter().enumerate() {
        line(
            format!("r{i}"),
            "cooling",
            modes[r.mode],
            r.fan,
            r.intake_c,
            r.ambient_c,
            r.draw_w,
        );
    }
    for (fan, w) in BLOWER_W.into_iter().enumerate() {
        for again in 0..2 {
            line(
                format!("f{fan}{again}"),
                "fan-only",
                "",
                fan,
                24.0,
                24.0,
                w + 0.05 * again as f64,
            );
        }
    }
    Bench::from_texts(TOML, &text).unwrap()
}

fn analysed(bench: &Bench) -> (Coupling, DrawFit) {
    let data = DrawData::from_bench(bench);
    let options = Options {
        permute: false,
        ..Options::default()
    };
    (assess(bench, &data, &options), fit_draw(data).unwrap())
}

/// Expected draw, and its two intervals, at every setting and two intakes.
fn predicted(bench: &Bench, fit: &DrawFit, modes: [&str; 2], level: f64) -> Vec<[f64; 5]> {
    let mut all = Vec::new();
    for mode in modes {
        let mode = fit.data.modes.iter().position(|m| m == mode).unwrap();
        for fan in ["1", "2", "3"] {
            let fan = fit.data.levels.iter().position(|l| l.label == fan).unwrap();
            for intake in [26.0, 36.0] {
                let p = predict(bench, fit, At::new(mode, fan, intake, 26.0), level).unwrap();
                all.push([p.draw_w, p.run_w.0, p.run_w.1, p.mean_w.0, p.mean_w.1]);
            }
        }
    }
    all
}

proptest! {
    // Each case analyses a bench several times.
    #![proptest_config(cases(40))]

    #[test]
    fn answers_do_not_mind_order_units_or_names(runs in runs(), turn in 1..35_usize) {
        let names = ["eco", "full"];
        let first = bench(&runs, names, false);
        let (coupling, fit) = analysed(&first);
        let want = predicted(&first, &fit, names, 0.95);
        let mut other = runs.clone();
        other.rotate_left(turn);
        other.swap(0, 17);
        // `a` sorts before `eco` and `z` after `full`, so that the modes change places too.
        let others = [(bench(&other, names, false), names), (bench(&runs, names, true), names), (bench(&runs, ["z", "a"], false), ["z", "a"])];
        for (changed, names) in &others {
            let (c, f) = analysed(changed);
            prop_assert_eq!(c.verdict, coupling.verdict);
            let (a, b) = (coupling.elasticity.as_ref().unwrap(), c.elasticity.as_ref().unwrap());
            for (a, b) in [(a.value, b.value), (a.low, b.low), (a.high, b.high)] {
                prop_assert!((a - b).abs() < 1e-7, "{} {}", a, b);
            }
            for (a, b) in want.iter().zip(predicted(changed, &f, *names, 0.95)) {
                for (a, b) in a.iter().zip(b) {
                    prop_assert!(close(*a, b, 1e-7), "{} {}", a, b);
                }
            }
        }
    }

    #[test]
    fn intervals_nest_and_widen_with_the_level(runs in runs()) {
        let names = ["eco", "full"];
        let b = bench(&runs, names, false);
        let (_, fit) = analysed(&b);
        let (narrow, wide) = (predicted(&b, &fit, names, 0.8), predicted(&b, &fit, names, 0.99));
        for (n, w) in narrow.iter().zip(&wide) {
            prop_assert_eq!(n[0], w[0]);
            for p in [n, w] {
                // The draw of one more run is less sure than the mean; a rounding's breadth is let pass.
                let slack = 1e-9 * p[0];
                prop_assert!(p[1] <= p[3] + slack && p[3] <= p[0] && p[0] <= p[4] && p[4] <= p[2] + slack, "{:?}", p);
            }
            prop_assert!(w[1] < n[1] && w[2] > n[2] && w[3] < n[3] && w[4] > n[4]);
        }
    }

    #[test]
    fn more_of_the_same_never_widens_and_more_draw_is_more_draw(runs in runs()) {
        let names = ["eco", "full"];
        let b = bench(&runs, names, false);
        let (coupling, fit) = analysed(&b);
        let once = predicted(&b, &fit, names, 0.95);
        let doubled: Vec<Run> = runs.iter().chain(&runs).cloned().collect();
        let b2 = bench(&doubled, names, false);
        let (again, fit2) = analysed(&b2);
        let twice = predicted(&b2, &fit2, names, 0.95);
        // Inside the tests. More runs also shift weight to forms that bend, which hold less beyond them.
        for (o, t) in once.iter().zip(&twice).step_by(2) {
            prop_assert!(t[4] - t[3] <= 1.05 * (o[4] - o[3]), "{:?} {:?}", o, t);
        }
        let (a, c) = (coupling.elasticity.unwrap(), again.elasticity.unwrap());
        prop_assert!(c.high - c.low <= 1.02 * (a.high - a.low), "{} {} {} {}", a.low, a.high, c.low, c.high);
        // Every cooling run draws a tenth more on the compressor side: so does every prediction.
        let more: Vec<Run> = runs.iter().map(|r| Run { draw_w: BLOWER_W[r.fan] + 1.1 * (r.draw_w - BLOWER_W[r.fan]), ..r.clone() }).collect();
        let b3 = bench(&more, names, false);
        let (_, fit3) = analysed(&b3);
        for (o, m) in once.iter().zip(predicted(&b3, &fit3, names, 0.95)) {
            prop_assert!(m[0] > o[0] && m[0] < 1.11 * o[0]);
        }
    }
}
