//! The worked examples H.1 and H.2 of JCGM 100:2008 (GUM), annex H.

use nalgebra::DMatrix;
use num_dual::DualNumCopy;
use serde_json::Value;
use steadydraw::stats::propagate::{
    Input, Model, from_readings, from_sensitivities, linear, linear_numeric, second_order,
};
use steadydraw::stats::student_t;

use crate::{close, number, numbers, reference};

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

/// Fails unless a value, rounded to as many decimals as are printed, is what is printed.
#[track_caller]
fn as_printed(got: f64, printed: &Value, what: &str) {
    let text = printed.as_str().expect("a printed figure");
    let decimals = text.split_once('.').map_or(0, |(_, d)| d.len());
    assert_eq!(format!("{got:.decimals$}"), text, "{what}");
}

/// JCGM 100:2008, tables H.2 to H.4, as printed. One digit differs: by the first approach u(X) is 0.2956, which rounds to 0.296; the
/// guide prints 0.295 for both approaches, and the second gives 0.2955. Ours follows 15 digits of the recomputation.
#[test]
fn gum_h2_as_printed() {
    let example = reference("statistics/gum_h2_impedance");
    let (data, printed) = (&example["data"], &example["published"]);
    let columns = ["V", "I_mA", "phi"].map(|name| numbers(&data[name]));
    let named = [
        ("V", &columns[0][..]),
        ("I_mA", &columns[1][..]),
        ("phi", &columns[2][..]),
    ];
    let (inputs, r) = from_readings(&named).unwrap();
    for input in &inputs {
        let name = &input.name;
        as_printed(input.value, &printed[format!("mean_{name}")], name);
        as_printed(
            input.standard_uncertainty,
            &printed[format!("s_mean_{name}")],
            name,
        );
    }
    for (a, b, name) in [(0, 1, "r_V_I"), (0, 2, "r_V_phi"), (1, 2, "r_I_phi")] {
        as_printed(r[(a, b)], &printed[name], name);
    }
    let found = linear(&Impedance, &inputs, Some(&r)).unwrap();
    let ignored = linear(&Impedance, &inputs, None).unwrap();
    for (k, name) in ["R", "X", "Z"].into_iter().enumerate() {
        as_printed(found.outputs[k].value, &printed[name], name);
        let u = format!("u_{name}");
        let got = found.outputs[k].standard_uncertainty;
        if name == "X" {
            assert_eq!(format!("{got:.3}"), "0.296");
            assert_eq!(printed[&u], "0.295");
        } else {
            as_printed(got, &printed[&u], &u);
        }
        let alone = ignored.outputs[k].standard_uncertainty;
        as_printed(alone, &printed["if_correlations_ignored"][&u], &u);
    }
    for (a, b, name) in [(0, 1, "r_R_X"), (0, 2, "r_R_Z"), (1, 2, "r_X_Z")] {
        as_printed(found.correlation(a, b), &printed[name], name);
    }
}

/// Budgets of draw, capacity and EER take their slopes by `linear_numeric` and join them by `from_sensitivities`: the same published
/// example by that way, to the nine digits of the slopes.
#[test]
fn gum_h2_through_numeric_slopes() {
    let example = reference("statistics/gum_h2_impedance");
    let (data, want) = (&example["data"], &example["recomputed"]["approach_1"]);
    let columns = ["V", "I_mA", "phi"].map(|name| numbers(&data[name]));
    let named = [
        ("V", &columns[0][..]),
        ("I", &columns[1][..]),
        ("phi", &columns[2][..]),
    ];
    let (inputs, correlation) = from_readings(&named).unwrap();
    let model = |x: &[f64]| Impedance.evaluate(x);
    let numeric = linear_numeric(model, &inputs, Some(&correlation)).unwrap();
    let slopes = DMatrix::from_fn(3, 3, |k, i| numeric.outputs[k].contributions[i].sensitivity);
    let values: Vec<f64> = numeric.outputs.iter().map(|o| o.value).collect();
    let joined = from_sensitivities(&values, &slopes, &inputs, Some(&correlation)).unwrap();
    for found in [numeric, joined] {
        for (k, name) in ["R", "X", "Z"].into_iter().enumerate() {
            let u = number(&want[format!("u_{name}")]);
            close(found.outputs[k].standard_uncertainty, u, 1e-9, name);
        }
        close(found.correlation(1, 2), number(&want["r_X_Z"]), 1e-9, "r");
    }
}
