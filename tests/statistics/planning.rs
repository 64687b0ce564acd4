//! Power, sample sizes and tolerance factors.

use steadydraw::stats::power::{self, Sides};
use steadydraw::stats::{student_t, tolerance};

use crate::{close, number, numbers, reference};

#[test]
fn power_and_sample_size_examples() {
    let want = &reference("statistics/ex_power_t_and_anova")["expected"];
    let both = power::t_two_sample(20.0, 1.0, 0.05, Sides::Two);
    close(
        both,
        number(&want["t1_power_both_tails"]),
        1e-13,
        "both tails",
    );
    // The near tail alone is a one-sided test at half the level.
    let near = power::t_two_sample(20.0, 1.0, 0.025, Sides::One);
    close(
        near,
        number(&want["t1_power_near_tail_only"]),
        1e-13,
        "near tail",
    );

    // The example's two-sided n counts the near tail alone; both tails need 7e-6 values less.
    let n = power::required_n_t_two_sample(0.90, 1.0, 0.025, Sides::One).unwrap();
    close(n.real, number(&want["t2_n_real"]), 1e-12, "n, near tail");
    let n = power::required_n_t_two_sample(0.90, 1.0, 0.05, Sides::Two).unwrap();
    let less = number(&want["t2_n_real"]) - n.real;
    assert!(less > 0.0 && less < 1e-5, "{less:e}");
    assert_eq!(n.whole as f64, number(&want["t2_n_integer"]));
    let n = power::required_n_t_two_sample(0.90, 1.0, 0.05, Sides::One).unwrap();
    close(n.real, number(&want["t3_n_real"]), 1e-9, "n, one-sided");
    assert_eq!(n.whole as f64, number(&want["t3_n_integer"]));

    let got = power::anova_one_way(4.0, 5.0, 1.0 / 3.0, 0.05);
    close(got, number(&want["a1_power"]), 1e-13, "ANOVA");
    let n = power::required_n_anova_one_way(0.80, 4.0, 1.0 / 3.0, 0.05).unwrap();
    close(n.real, number(&want["a2_n_real"]), 1e-9, "n for 0.80");
    assert_eq!(n.whole as f64, number(&want["a2_n_integer"]));
    // Means 120, 130, 140, 150: variance 500/3 with divisor 3, over 500.
    let n = power::required_n_anova_one_way(0.90, 4.0, 1.0 / 3.0, 0.05).unwrap();
    close(n.real, number(&want["a3_n_real"]), 1e-9, "n for 0.90");
    assert_eq!(n.whole as f64, number(&want["a3_n_integer"]));
}

#[test]
fn classic_sample_sizes_for_power_four_fifths() {
    // Cohen (1988), tables 2.4.1 and 8.4.4. His 393 and 18 come from approximations; the exact counts are 394 and 19.
    let example = reference("statistics/ex_power_cohen");
    let (data, want) = (&example["data"], &example["expected"]);
    for (i, d) in numbers(&data["t_d"]).into_iter().enumerate() {
        let n = power::required_n_t_two_sample(0.80, d, 0.05, Sides::Two)
            .unwrap()
            .whole as f64;
        assert_eq!(n, number(&want["t_n_per_group"][i]));
        let at = |n: f64| power::t_two_sample(n, d, 0.05, Sides::Two);
        close(at(n), number(&want["t_power_at_n"][i]), 1e-11, "power");
        close(
            at(n - 1.0),
            number(&want["t_power_at_n_minus_1"][i]),
            1e-11,
            "power below",
        );
    }
    let groups = number(&data["anova_groups"]);
    for (i, effect) in numbers(&data["anova_f"]).into_iter().enumerate() {
        // Effect size squared has divisor k; ours is the variance with divisor k − 1.
        let ratio = effect * effect * groups / (groups - 1.0);
        let n = power::required_n_anova_one_way(0.80, groups, ratio, 0.05)
            .unwrap()
            .whole as f64;
        assert_eq!(n, number(&want["anova_n_per_group"][i]));
        let at = |n: f64| power::anova_one_way(groups, n, ratio, 0.05);
        close(at(n), number(&want["anova_power_at_n"][i]), 1e-11, "power");
        close(
            at(n - 1.0),
            number(&want["anova_power_at_n_minus_1"][i]),
            1e-11,
            "power below",
        );
    }
}

#[test]
fn tolerance_factors() {
    // NIST/SEMATECH e-Handbook, 7.2.6.3; ISO 16269-6. Published three-digit figures from memory, see the file.
    let want = &reference("statistics/ex_tolerance_factors")["expected"];
    for (n, content, confidence, case) in [
        (43.0, 0.90, 0.99, "n43_P90_c99"),
        (10.0, 0.95, 0.95, "n10_P95_c95"),
    ] {
        let expected = |kind: &str| number(&want[format!("{kind}_{case}")]);
        close(
            tolerance::one_sided(n, content, confidence),
            expected("one_sided"),
            1e-12,
            "one side",
        );
        close(
            tolerance::two_sided_howe(n, content, confidence),
            expected("two_sided_howe"),
            1e-12,
            "Howe",
        );
        close(
            tolerance::two_sided(n, content, confidence),
            expected("two_sided_exact"),
            1e-11,
            "exact",
        );
    }
}

#[test]
fn two_sided_factor_is_the_table_value() {
    // NIST/SEMATECH e-Handbook, 1.3.6.7.2: 2.228 for 10 degrees of freedom (from memory; see dist_central.json).
    close(student_t::two_sided(0.95, 10.0), 2.228, 5e-4 / 2.228, "t");
}
