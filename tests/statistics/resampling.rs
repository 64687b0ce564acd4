//! Worked permutation tests, counted in full.

use steadydraw::stats::permutation::{Lean, Settings, paired};
use steadydraw::stats::tests::one_sample;

use crate::{close, number, numbers, reference};

#[test]
fn maize_pairs_all_sign_patterns() {
    // Fisher (1935), The Design of Experiments, sections 17–21: 15 pairs, 32,768 patterns; printed figures from memory,
    // counts by two independent enumerations.
    let example = reference("statistics/ex_permutation_darwin_maize");
    let y = numbers(&example["data"]["differences_in_eighths_of_inch"]);
    let want = &example["expected"];
    let one = paired(&y, Lean::Above, &Settings::default()).unwrap();
    assert!(one.exact);
    close(one.observed, number(&want["sum"]), 0.0, "sum");
    close(
        one.compared as f64,
        number(&want["arrangements"]),
        0.0,
        "arrangements",
    );
    close(
        one.greater as f64,
        number(&want["count_sum_greater"]),
        0.0,
        "greater",
    );
    close(
        one.equal as f64,
        number(&want["count_sum_equal"]),
        0.0,
        "equal",
    );
    close(one.p, number(&want["p_one_sided"]), 0.0, "p, one side");
    let both = paired(&y, Lean::Either, &Settings::default()).unwrap();
    close(both.p, number(&want["p_two_sided"]), 0.0, "p, both sides");
    let t = one_sample(&y).unwrap();
    close(t.t(0.0), number(&want["t"]), 1e-13, "t");
    close(t.dof, number(&want["df"]), 0.0, "degrees of freedom");
    close(
        t.p_two_sided(0.0),
        number(&want["t_p_two_sided"]),
        1e-12,
        "p of t",
    );

    // Drawn at random instead: within four standard errors of the count.
    let drawn = paired(
        &y,
        Lean::Either,
        &Settings {
            exact_up_to: 1,
            ..Settings::default()
        },
    )
    .unwrap();
    assert!(
        !drawn.exact && (drawn.p - both.p).abs() < 4.0 * drawn.standard_error,
        "{drawn:?}"
    );
}

#[test]
fn shoe_soles_all_sign_patterns() {
    // Box, Hunter & Hunter (1978), p. 97–101. Decimal differences tie only up to rounding.
    let example = reference("statistics/ex_permutation_shoes");
    let (a, b) = (
        numbers(&example["data"]["material_A"]),
        numbers(&example["data"]["material_B"]),
    );
    let y: Vec<f64> = b.iter().zip(&a).map(|(b, a)| b - a).collect();
    let want = &example["expected"];
    let one = paired(&y, Lean::Above, &Settings::default()).unwrap();
    close(
        one.observed / 10.0,
        number(&want["mean_difference_B_minus_A"]),
        1e-14,
        "mean",
    );
    close(
        one.compared as f64,
        number(&want["arrangements"]),
        0.0,
        "arrangements",
    );
    close(
        one.greater as f64,
        number(&want["count_greater"]),
        0.0,
        "greater",
    );
    close(one.equal as f64, number(&want["count_equal"]), 0.0, "equal");
    close(one.p, number(&want["p_one_sided_at_least"]), 0.0, "p");
    close(
        one.mid_p(),
        number(&want["p_one_sided_mid"]),
        1e-15,
        "mid p",
    );
    let both = paired(&y, Lean::Either, &Settings::default()).unwrap();
    close(
        both.p,
        number(&want["p_two_sided_at_least"]),
        0.0,
        "p, both sides",
    );
    let t = one_sample(&y).unwrap();
    // Differences of decimals near 10 keep 15 digits of themselves.
    close(t.t(0.0), number(&want["t"]), 1e-13, "t");
    close(
        t.p_two_sided(0.0),
        number(&want["t_p_two_sided"]),
        1e-12,
        "p of t",
    );
}
