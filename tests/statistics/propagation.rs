//! The worked examples of JCGM 100:2008 (GUM), annex H, and JCGM 101:2008, clause 9.

use nalgebra::DMatrix;
use num_dual::DualNumCopy;
use serde_json::Value;
use steadydraw::stats::propagate::{
    Distribution, Draw, Input, Model, Sample, from_readings, from_sensitivities, linear,
    monte_carlo, second_order,
};
use steadydraw::stats::student_t;

use crate::{close, number, numbers, reference};

/// Trials of every Monte Carlo check; its statistical error sets their tolerances.
const TRIALS: usize = 1_000_000;

/// End gauge, H.1: length at 20 °C from comparison with a standard.
/// Inputs: l_s, d_bar, d_1, d_2, alpha_s, delta_alpha, delta_theta, theta_bar, Delta.
struct EndGauge;

impl Model for EndGauge {
    fn evaluate<D: DualNumCopy<Primitive = f64>>(&self, x: &[D]) -> Vec<D> {
        let d = x[1] + x[2] + x[3];
        let theta = x[7] + x[8];
        vec![x[0] + d - x[0] * (x[5] * theta + x[4] * x[6]), d, theta]
    }
}

/// The inputs of H.1 as the file lists them.
fn end_gauge_inputs(example: &Value) -> Vec<Input> {
    let inputs: Vec<Input> = example["inputs"]
        .as_array()
        .expect("inputs")
        .iter()
        .map(|row| {
            let name = row["name"].as_str().expect("a name");
            let value = number(&row["estimate"]);
            let dof = if row["dof"] == "infinite" {
                f64::INFINITY
            } else {
                number(&row["dof"])
            };
            let kind = row["distribution"].as_str().expect("a distribution");
            let half = &row["half_width"];
            let input = if half.is_null() {
                Input::new(name, value, number(&row["standard_uncertainty"]))
            } else if kind.starts_with("arcsine") {
                Input::swinging(name, value, number(half))
            } else {
                Input::rectangular(name, value, number(half))
            };
            input.with_dof(dof)
        })
        .collect();
    let names: Vec<&str> = inputs.iter().map(|i| i.name.as_str()).collect();
    let order = [
        "l_s",
        "d_bar",
        "d_1",
        "d_2",
        "alpha_s",
        "delta_alpha",
        "delta_theta",
        "theta_bar",
        "Delta",
    ];
    assert_eq!(names, order);
    inputs
}

#[test]
fn gum_h1_end_gauge() {
    let example = reference("statistics/gum_h1_end_gauge");
    let want = &example["recomputed"];
    let inputs = end_gauge_inputs(&example);
    let found = linear(&EndGauge, &inputs, None).unwrap();
    let [length, d, theta] = &found.outputs[..] else {
        panic!("three outputs")
    };
    close(length.value, number(&want["l"]), 1e-15, "l");
    close(d.standard_uncertainty, number(&want["u_d"]), 1e-14, "u(d)");
    close(d.dof.unwrap(), number(&want["nu_eff_d"]), 1e-13, "dof of d");
    close(
        theta.standard_uncertainty,
        number(&want["u_theta"]),
        1e-14,
        "u(theta)",
    );
    close(
        length.standard_uncertainty,
        number(&want["u_c"]),
        1e-13,
        "u(l)",
    );
    close(
        length.standard_uncertainty.powi(2),
        number(&want["u_c_squared"]),
        1e-13,
        "u²(l)",
    );
    close(
        length.dof.unwrap(),
        number(&want["nu_eff_l"]),
        1e-13,
        "dof of l",
    );
    for (name, key) in [
        ("l_s", "l_s"),
        ("d_bar", "d_repeatability"),
        ("d_1", "d_comparator_random"),
        ("d_2", "d_comparator_systematic"),
        ("alpha_s", "alpha_s"),
        ("delta_alpha", "delta_alpha"),
        ("delta_theta", "delta_theta"),
        ("theta_bar", "theta"),
        ("Delta", "theta"),
    ] {
        let part = length
            .contributions
            .iter()
            .find(|c| c.input == name)
            .expect("a contribution");
        close(
            part.uncertainty,
            number(&want["contributions"][key]),
            1e-13,
            name,
        );
    }
    // The GUM cuts 16.75 to 16; with the degrees of freedom as they are the factor is a little smaller.
    let u99 = student_t::two_sided(0.99, 16.0) * length.standard_uncertainty;
    close(u99, number(&want["U99_with_t16"]), 1e-13, "U99, 16");
    close(
        length.expanded(0.99).unwrap().1,
        number(&want["U99_with_noninteger_nu"]),
        1e-13,
        "U99",
    );

    // Published (JCGM 100:2008, H.1): printed digits. Three figures are formed there from rounded intermediates.
    let published = &example["published"];
    assert_eq!(
        format!("{:.0}", length.value),
        published["l"].as_str().unwrap()
    );
    assert_eq!(
        format!("{:.0}", length.standard_uncertainty),
        published["u_c"].as_str().unwrap()
    );
    assert_eq!(
        format!("{:.1}", d.standard_uncertainty),
        published["u_d"].as_str().unwrap()
    );
    close(
        d.dof.unwrap(),
        number(&published["nu_eff_d"]),
        0.01,
        "published dof of d",
    );
    close(
        length.dof.unwrap(),
        number(&published["nu_eff_l"]),
        0.01,
        "published dof of l",
    );
    close(u99, number(&published["U99"]), 0.006, "published U99");
}

#[test]
fn gum_h1_second_order() {
    let example = reference("statistics/gum_h1_end_gauge");
    let want = &example["recomputed"];
    let found = &second_order(&EndGauge, &end_gauge_inputs(&example)).unwrap()[0];
    close(
        found.standard_uncertainty,
        number(&want["u_c_with_second_order"]),
        1e-13,
        "u",
    );
    // delta_alpha (5) with theta, that is with theta_bar (7) and Delta (8); alpha_s (4) with delta_theta (6). The
    // example counts those between the four main quantities; l_s with its own factors adds less than 1e-9 of it.
    let variance = |first, second| {
        found
            .terms
            .iter()
            .find(|t| (t.first, t.second) == (first, second))
            .map_or(0.0, |t| t.variance)
    };
    let with_theta = (variance(5, 7) + variance(5, 8)).sqrt();
    close(
        with_theta,
        number(&want["second_order_delta_alpha_theta"]),
        1e-13,
        "delta_alpha, theta",
    );
    close(
        variance(4, 6).sqrt(),
        number(&want["second_order_alpha_s_delta_theta"]),
        1e-13,
        "alpha_s, delta_theta",
    );
    assert_eq!(found.bias, 0.0);
}

/// Resistance, reactance and impedance from voltage (V), current (mA) and phase (rad), H.2.
struct Impedance;

impl Model for Impedance {
    fn evaluate<D: DualNumCopy<Primitive = f64>>(&self, x: &[D]) -> Vec<D> {
        let z = x[0] / x[1] * 1000.0;
        vec![z * x[2].cos(), z * x[2].sin(), z]
    }
}

#[test]
fn gum_h2_correlated_inputs_and_outputs() {
    let example = reference("statistics/gum_h2_impedance");
    let (data, want) = (&example["data"], &example["recomputed"]);
    let columns = [
        numbers(&data["V"]),
        numbers(&data["I_mA"]),
        numbers(&data["phi"]),
    ];
    let named = [
        ("V", &columns[0][..]),
        ("I", &columns[1][..]),
        ("phi", &columns[2][..]),
    ];
    let (inputs, correlation) = from_readings(&named).unwrap();
    // The readings carry 4 or 5 digits and differ in the last two or three: 12 digits of their scatter remain.
    close(inputs[0].value, number(&want["mean_V"]), 1e-15, "V");
    close(
        inputs[0].standard_uncertainty,
        number(&want["s_mean_V"]),
        1e-12,
        "s(V)",
    );
    close(
        inputs[1].standard_uncertainty / 1000.0,
        number(&want["s_mean_I_A"]),
        1e-12,
        "s(I)",
    );
    close(
        inputs[2].standard_uncertainty,
        number(&want["s_mean_phi"]),
        1e-12,
        "s(phi)",
    );
    close(
        correlation[(0, 1)],
        number(&want["r_V_I"]),
        1e-11,
        "r(V, I)",
    );
    close(
        correlation[(0, 2)],
        number(&want["r_V_phi"]),
        1e-11,
        "r(V, phi)",
    );
    close(
        correlation[(1, 2)],
        number(&want["r_I_phi"]),
        1e-11,
        "r(I, phi)",
    );

    let found = linear(&Impedance, &inputs, Some(&correlation)).unwrap();
    for (k, name) in ["R", "X", "Z"].into_iter().enumerate() {
        let want = &want["approach_1"];
        close(found.outputs[k].value, number(&want[name]), 1e-14, name);
        close(
            found.outputs[k].standard_uncertainty,
            number(&want[format!("u_{name}")]),
            1e-11,
            name,
        );
        // Correlated inputs of few readings: no degrees of freedom are claimed.
        assert_eq!(found.outputs[k].dof, None);
    }
    for (a, b, name) in [(0, 1, "r_R_X"), (0, 2, "r_R_Z"), (1, 2, "r_X_Z")] {
        close(
            found.correlation(a, b),
            number(&want["approach_1"][name]),
            1e-11,
            name,
        );
    }
    let ignored = linear(&Impedance, &inputs, None).unwrap();
    for (k, name) in ["u_R", "u_X", "u_Z"].into_iter().enumerate() {
        let got = ignored.outputs[k].standard_uncertainty;
        close(
            got,
            number(&want["if_correlations_ignored"][name]),
            1e-11,
            name,
        );
    }

    // Approach 2: compute each set, then describe the results.
    let results: Vec<Vec<f64>> = (0..5)
        .map(|i| Impedance.evaluate(&[columns[0][i], columns[1][i], columns[2][i]]))
        .collect();
    let column = |k: usize| results.iter().map(|r| r[k]).collect::<Vec<f64>>();
    let columns = [column(0), column(1), column(2)];
    let (outputs, correlation) = from_readings(&[
        ("R", &columns[0][..]),
        ("X", &columns[1][..]),
        ("Z", &columns[2][..]),
    ])
    .unwrap();
    for (k, name) in ["R", "X", "Z"].into_iter().enumerate() {
        let want = &want["approach_2_per_set"];
        close(outputs[k].value, number(&want[name]), 1e-14, name);
        close(
            outputs[k].standard_uncertainty,
            number(&want[format!("u_{name}")]),
            1e-11,
            name,
        );
    }
    close(
        correlation[(1, 2)],
        number(&want["approach_2_per_set"]["r_X_Z"]),
        1e-11,
        "r(X, Z)",
    );
}

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

        // First order: nothing at x1 = 0, and that is noticed; second order is exact for normal inputs, r = 0.
        let inputs = [Input::new("x1", x1, u), Input::new("x2", 0.0, u)];
        let first = &linear(&Squares, &inputs, None).unwrap().outputs[0];
        close(
            first.standard_uncertainty,
            number(&case["first_order"]["u"]),
            1e-13,
            &what,
        );
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
}
