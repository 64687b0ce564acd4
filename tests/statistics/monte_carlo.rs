//! The worked examples of JCGM 101:2008, clause 9: Monte Carlo beside the straight-line picture.

use nalgebra::DMatrix;
use num_dual::DualNumCopy;
use steadydraw::stats::propagate::{
    Distribution, Draw, Input, Model, Sample, from_sensitivities, linear, monte_carlo, second_order,
};

use crate::{close, number, numbers, reference};

/// Trials of every Monte Carlo check; its statistical error sets their tolerances.
const TRIALS: usize = 1_000_000;

/// Largest difference allowed between a Monte Carlo figure and its exact value: 4.5 standard errors.
fn within(got: f64, want: f64, standard_error: f64, what: &str) {
    assert!(
        (got - want).abs() <= 4.5 * standard_error,
        "{what}: got {got}, want {want} ± {standard_error}"
    );
}

/// Checks mean, standard deviation and symmetric interval; `density` is that of the output at the interval's ends.
fn check(
    sample: &Sample,
    y: f64,
    u: f64,
    ends: (f64, f64),
    density: (f64, f64),
    level: f64,
    what: &str,
) {
    let root = (TRIALS as f64).sqrt();
    within(sample.mean(), y, u / root, what);
    // A kurtosis below 9 covers all outputs here: standard error of a standard deviation u·√((9 − 1)/4/n).
    within(sample.sd(), u, 1.42 * u / root, what);
    let tail = 0.5 * (1.0 - level);
    let (low, high) = sample.symmetric(level);
    let step = (tail * (1.0 - tail)).sqrt() / root;
    within(low, ends.0, step / density.0, what);
    within(high, ends.1, step / density.1, what);
}

#[test]
fn jcgm_101_9_2_additive() {
    let example = reference("statistics/jcgm101_9_2_additive");
    let rectangular = |sd: f64| {
        let half = sd * 3.0_f64.sqrt();
        Draw::One(Distribution::Rectangular {
            low: -half,
            high: half,
        })
    };
    let unit_normal = Draw::One(Distribution::Normal { mean: 0.0, sd: 1.0 });
    // Densities at the ends: normal 0.0292; sum of four rectangular 4·0.025/(end of support 6.93 − 3.88) = 0.0328;
    // one wide rectangular blurred by three narrow ones close to 1/(2·17.32) there, at least half of it.
    let cases = [
        (vec![unit_normal; 4], 0.0292),
        (vec![rectangular(1.0); 4], 0.0328),
        (
            vec![
                rectangular(1.0),
                rectangular(1.0),
                rectangular(1.0),
                rectangular(10.0),
            ],
            0.0144,
        ),
    ];
    for (case, (inputs, density)) in example["cases"]
        .as_array()
        .expect("cases")
        .iter()
        .zip(cases)
    {
        let sample = &monte_carlo(|x| [x[0] + x[1] + x[2] + x[3]], &inputs, TRIALS, 1).unwrap()[0];
        let want = &case["exact"];
        let ends = numbers(&want["interval95"]);
        let clause = case["clause"].as_str().expect("a clause");
        let (y, u) = (number(&want["y"]), number(&want["u"]));
        check(
            sample,
            y,
            u,
            (ends[0], ends[1]),
            (density, density),
            0.95,
            clause,
        );
        // The GUM framework gives the same u but 1.96 u for every case.
        let parts: Vec<Input> = (0..3)
            .map(|i| Input::new(format!("x{i}"), 0.0, 1.0))
            .chain([Input::new(
                "x3",
                0.0,
                if clause == "9.2.4" { 10.0 } else { 1.0 },
            )])
            .collect();
        let framework =
            from_sensitivities(&[0.0], &DMatrix::from_element(1, 4, 1.0), &parts, None).unwrap();
        close(framework.outputs[0].standard_uncertainty, u, 1e-14, clause);
    }
}

/// Mass by comparison in air, 9.3. Inputs: m_R, dm_R, rho_a, rho_W, rho_R; result in mg.
struct Mass;

impl Model for Mass {
    fn evaluate<D: DualNumCopy<Primitive = f64>>(&self, x: &[D]) -> Vec<D> {
        let buoyancy = (x[2] - 1.2) * (x[3].recip() - x[4].recip()) + 1.0;
        vec![(x[0] + x[1]) * buoyancy - 100_000.0]
    }
}

#[test]
fn jcgm_101_9_3_mass() {
    let example = reference("statistics/jcgm101_9_3_mass");
    let want = &example["recomputed"];
    let inputs = [
        Input::new("m_R", 100_000.0, 0.050),
        Input::new("dm_R", 1.234, 0.020),
        Input::rectangular("rho_a", 1.2, 0.1),
        Input::rectangular("rho_W", 8000.0, 1000.0),
        Input::rectangular("rho_R", 8000.0, 50.0),
    ];
    let first = &linear(&Mass, &inputs, None).unwrap().outputs[0];
    // 1.234 is what remains of 100001.234: 11 digits.
    close(
        first.value,
        number(&want["GUF_first_order"]["y"]),
        1e-10,
        "y",
    );
    close(
        first.standard_uncertainty,
        number(&want["GUF_first_order"]["u"]),
        1e-14,
        "u, first order",
    );
    let (low, high) = (first
        .expanded(0.95)
        .map(|(_, half)| (first.value - half, first.value + half)))
    .unwrap();
    close(
        low,
        number(&want["GUF_first_order"]["interval95"][0]),
        1e-10,
        "low",
    );
    close(
        high,
        number(&want["GUF_first_order"]["interval95"][1]),
        1e-10,
        "high",
    );
    let second = &second_order(&Mass, &inputs).unwrap()[0];
    // The example leaves out the 1.234 mg in (m_R + dm_R): one part in 80,000 of the second-order terms.
    close(
        second.standard_uncertainty,
        number(&want["GUF_second_order"]["u"]),
        1e-5,
        "u, second order",
    );

    let draws = [
        Draw::One(Distribution::Normal {
            mean: 100_000.0,
            sd: 0.050,
        }),
        Draw::One(Distribution::Normal {
            mean: 1.234,
            sd: 0.020,
        }),
        Draw::One(Distribution::Rectangular {
            low: 1.10,
            high: 1.30,
        }),
        Draw::One(Distribution::Rectangular {
            low: 7000.0,
            high: 9000.0,
        }),
        Draw::One(Distribution::Rectangular {
            low: 7950.0,
            high: 8050.0,
        }),
    ];
    let model = |x: &[f64]| [Mass.evaluate(x)[0]];
    let sample = &monte_carlo(model, &draws, TRIALS, 1).unwrap()[0];
    let exact = &want["exact_by_quadrature"];
    let ends = numbers(&exact["symmetric95"]);
    // Close to normal with u = 0.0755: density at the ends near φ(1.96)/0.0755 = 0.77.
    let (y, u) = (number(&exact["y"]), number(&exact["u"]));
    check(sample, y, u, (ends[0], ends[1]), (0.77, 0.77), 0.95, "9.3");

    // Published, table 6 (from memory). Its second-order interval is formed from u rounded to 0.0750. Its Monte Carlo interval is one
    // run's shortest: both ends lie 0.001 low, which is the scatter of such ends, and its length is right.
    let printed = &example["published"];
    let four = |x: f64| format!("{x:.4}");
    let between = |low: f64, high: f64| format!("[{low:.4}, {high:.4}]");
    let of = |row: &str, key: &str| printed[row][key].as_str().unwrap().to_owned();
    assert_eq!(four(first.standard_uncertainty), of("GUF_first_order", "u"));
    assert_eq!(between(low, high), of("GUF_first_order", "shortest95"));
    assert_eq!(
        four(second.standard_uncertainty),
        of("GUF_second_order", "u")
    );
    let rounded = (second.standard_uncertainty * 1e4).round() / 1e4;
    let half = steadydraw::stats::normal::quantile(0.975) * rounded;
    assert_eq!(
        between(first.value - half, first.value + half),
        of("GUF_second_order", "shortest95")
    );
    // 0.0755 to four decimals; one run of 0.7e6 trials is good to 0.0001.
    assert!((sample.sd() - number(&printed["MCM"]["u"])).abs() < 3e-4);
    let (low, high) = sample.shortest(0.95);
    assert!((high - low - (1.3825 - 1.0834)).abs() < 0.001);
}

#[test]
fn jcgm_101_9_4_sum_of_squares_near_zero() {
    let example = reference("statistics/jcgm101_9_4_comparison_loss");
    let cases = example["cases"].as_array().expect("cases");
    assert_eq!(cases.len(), 6);
    for case in cases {
        let (x1, r, u) = (number(&case["x1"]), number(&case["r"]), 0.005_f64);
        let covariance = DMatrix::from_row_slice(2, 2, &[u * u, r * u * u, r * u * u, u * u]);
        let draws = [Draw::Normals {
            means: vec![x1, 0.0],
            covariance,
        }];
        let sample =
            &monte_carlo(|x| [1e6 * (x[0] * x[0] + x[1] * x[1])], &draws, TRIALS, 3).unwrap()[0];
        let want = &case["exact_times_1e6"];
        let (y, sd) = (number(&want["y"]), number(&want["u"]));
        let what = format!("x1 = {x1}, r = {r}");
        let root = (TRIALS as f64).sqrt();
        within(sample.mean(), y, sd / root, &what);
        // An exponential (x1 = 0, r = 0) has kurtosis 9, r = 0.9 nearly that of one squared normal, 15.
        within(sample.sd(), sd, sd * (14.0_f64 / 4.0).sqrt() / root, &what);
        let ends = numbers(&want["symmetric95"]);
        let (low, high) = sample.symmetric(0.95);
        // Found from the sample itself: the density near an end, by counting within a tenth of the standard deviation.
        let density = |at: f64| {
            let near = sample
                .sorted()
                .iter()
                .filter(|y| (**y - at).abs() < 0.02 * sd)
                .count() as f64;
            let width = 0.04 * sd - (0.02 * sd - at).max(0.0);
            near / root.powi(2) / width
        };
        let step = (0.025_f64 * 0.975).sqrt() / root;
        within(low, ends[0], step / density(ends[0]), &what);
        within(high, ends[1], step / density(ends[1]), &what);
        // The length of the shortest interval is at a minimum, so it is good to the cube root of the counting error;
        // its ends are good to about half a percent of the standard deviation.
        let shortest = numbers(&want["shortest95"]);
        let (low, high) = sample.shortest(0.95);
        close(
            (high - low) / sd,
            (shortest[1] - shortest[0]) / sd,
            0.005,
            &what,
        );
        assert!(
            (low - shortest[0]).abs() < 0.05 * sd && (high - shortest[1]).abs() < 0.05 * sd,
            "{what}"
        );

        // Published, tables 8 and 9 (from memory; whole millionths): a run of the guide's own, so its 2551 where 2550 is exact.
        let printed = &case["published_times_1e6"]["MCM"];
        let rounding = 0.5 + 6.0 * sd / root;
        assert!(
            (sample.mean() - number(&printed["y"])).abs() < rounding,
            "{what}"
        );
        assert!(
            (sample.sd() - number(&printed["u"])).abs() < rounding + 0.005 * sd,
            "{what}"
        );
        let ends: Vec<f64> = printed["shortest95"]
            .as_str()
            .unwrap()
            .trim_matches(['[', ']'])
            .split(", ")
            .map(|end| end.parse().unwrap())
            .collect();
        assert!(
            (low - ends[0]).abs() < 0.05 * sd && (high - ends[1]).abs() < 0.05 * sd,
            "{what}"
        );

        // First order: nothing at x1 = 0, and that is noticed; second order is exact for normal inputs, r = 0.
        let inputs = [Input::new("x1", x1, u), Input::new("x2", 0.0, u)];
        let first = &linear(&Squares, &inputs, None).unwrap().outputs[0];
        close(
            first.standard_uncertainty,
            number(&case["first_order"]["u"]),
            1e-13,
            &what,
        );
        let printed = &case["published_times_1e6"]["GUF"];
        assert_eq!(first.value.round(), number(&printed["y"]));
        assert_eq!(first.standard_uncertainty.round(), number(&printed["u"]));
        assert_eq!(first.vanishes(&inputs), x1 == 0.0);
        if r == 0.0 {
            let second = &second_order(&Squares, &inputs).unwrap()[0];
            close(second.standard_uncertainty, sd, 1e-11, &what);
            close(first.value + second.bias, y, 1e-13, &what);
        }
    }
}

/// 10⁶ (x₁² + x₂²).
struct Squares;

impl Model for Squares {
    fn evaluate<D: DualNumCopy<Primitive = f64>>(&self, x: &[D]) -> Vec<D> {
        vec![(x[0] * x[0] + x[1] * x[1]) * 1e6]
    }
}

#[test]
fn jcgm_101_9_5_gauge_block() {
    let example = reference("statistics/jcgm101_9_5_gauge_block");
    let row = |name: &str| {
        let rows = example["inputs"].as_array().expect("inputs");
        rows.iter()
            .find(|row| row["name"] == name)
            .expect("an input")
            .clone()
    };
    let t = |name: &str| {
        let row = row(name);
        let (mean, scale, dof) = (
            number(&row["mean"]),
            number(&row["scale"]),
            number(&row["dof"]),
        );
        Draw::One(Distribution::StudentT { mean, scale, dof })
    };
    let limits = |name: &str| (number(&row(name)["lower"]), number(&row(name)["upper"]));
    let blurred = |name: &str| {
        let ((low, high), inexactness) = (limits(name), number(&row(name)["inexactness"]));
        Draw::One(Distribution::Blurred {
            low,
            high,
            inexactness,
        })
    };
    let (alpha, swing) = (limits("alpha_S"), limits("Delta"));
    let draws = [
        t("L_S"),
        t("D"),
        t("d1"),
        t("d2"),
        Draw::One(Distribution::Rectangular {
            low: alpha.0,
            high: alpha.1,
        }),
        Draw::One(Distribution::Normal {
            mean: -0.1,
            sd: 0.2,
        }),
        Draw::One(Distribution::Swinging {
            low: swing.0,
            high: swing.1,
        }),
        blurred("delta_alpha"),
        blurred("delta_theta"),
    ];
    let model = |x: &[f64]| {
        let expansion = x[7] * (x[5] + x[6]) + x[4] * x[8];
        [x[0] + x[1] + x[2] + x[3] - x[0] * expansion - 50_000_000.0]
    };
    let sample = &monte_carlo(model, &draws, TRIALS, 1).unwrap()[0];
    let want = &example["recomputed"];
    let ends = numbers(&want["interval99"]);
    // Close to normal with u = 35.8: density at the 99 % ends near φ(2.576)/35.8 = 4.0e-4.
    let (y, u) = (number(&want["y"]), number(&want["u"]));
    check(
        sample,
        y,
        u,
        (ends[0], ends[1]),
        (4.0e-4, 4.0e-4),
        0.99,
        "9.5",
    );
    for (level, name, density) in [
        (0.90, "half_width_90", 2.9e-3),
        (0.95, "half_width_95", 1.6e-3),
    ] {
        let (low, high) = sample.symmetric(level);
        let tail = 0.5 * (1.0 - level);
        let error = (tail * (1.0 - tail) / TRIALS as f64).sqrt() / density;
        within(0.5 * (high - low), number(&want[name]), error, name);
    }
    // Published: 838 and 36 nm (open-access rerun quoted in the file).
    assert_eq!((sample.mean().round(), sample.sd().round()), (838.0, 36.0));
    // Published at 99 %: [745, 932] of one run; the exact ends are 744.3 and 931.7, good to 0.2 in each run.
    assert_eq!(example["published"]["MCM"]["shortest99"], "[745, 932]");
    let (low, high) = sample.symmetric(0.99);
    assert!((low - 745.0).abs() < 1.5 && (high - 932.0).abs() < 1.5);
}
