//! Worked examples of tests on one or two samples.

use serde_json::Value;
use steadydraw::stats::tests::{
    Estimate, grubbs, grubbs_critical, one_sample, paired, pooled, welch,
};
use steadydraw::stats::{student_t, summary};

use crate::{close, number, numbers, reference};

/// Checks an estimate against a row with `t`, `df`, `p_two_sided` and `ci95`.
fn check(found: &Estimate, null: f64, want: &Value) {
    close(found.t(null), number(&want["t"]), 1e-12, "t");
    close(found.dof, number(&want["df"]), 1e-13, "degrees of freedom");
    close(
        found.p_two_sided(null),
        number(&want["p_two_sided"]),
        1e-11,
        "p",
    );
    let (low, high) = found.interval(0.95);
    let ends = numbers(&want["ci95"]);
    close(low, ends[0], 1e-12, "lower end");
    close(high, ends[1], 1e-12, "upper end");
}

#[test]
fn one_sample_wafer_counts() {
    // NIST/SEMATECH e-Handbook, 7.2.2.
    let example = reference("statistics/ex_one_sample_t_wafer");
    let (y, want) = (numbers(&example["data"]["y"]), &example["expected"]);
    let found = one_sample(&y).unwrap();
    close(found.value, number(&want["mean"]), 1e-15, "mean");
    close(summary::sd(&y), number(&want["sd"]), 1e-14, "sd");
    check(&found, number(&example["data"]["mu0"]), want);
    close(
        student_t::two_sided(0.95, 9.0),
        number(&want["t_critical_0_975"]),
        1e-14,
        "t 0.975",
    );
}

#[test]
fn two_samples_pooled_and_welch() {
    // NIST/SEMATECH e-Handbook, 1.3.5.3 (mileage) and 7.3.1 (assembly).
    for (file, first, second) in [
        ("ex_two_sample_t_mileage", "sample_1", "sample_2"),
        ("ex_two_sample_welch_assembly", "old", "new"),
    ] {
        let example = reference(&format!("statistics/{file}"));
        let want = &example["expected"];
        let (a, b) = (
            numbers(&example["data"][first]),
            numbers(&example["data"][second]),
        );
        for (i, sample) in [&a, &b].into_iter().enumerate() {
            close(sample.len() as f64, number(&want["n"][i]), 0.0, "n");
            close(
                summary::mean(sample),
                number(&want["means"][i]),
                1e-14,
                "mean",
            );
            close(summary::sd(sample), number(&want["sds"][i]), 1e-14, "sd");
        }
        check(&pooled(&a, &b).unwrap(), 0.0, &want["pooled"]);
        check(&welch(&a, &b).unwrap(), 0.0, &want["welch"]);
    }
}

#[test]
fn equivalence_within_a_margin() {
    // Two one-sided tests, margin ±0.6.
    let example = reference("statistics/ex_tost_var1");
    let (a, b) = (
        numbers(&example["data"]["sample_1"]),
        numbers(&example["data"]["sample_2"]),
    );
    let margin = number(&example["data"]["margin"]);
    for (found, name) in [
        (paired(&a, &b), "paired"),
        (welch(&a, &b), "welch"),
        (pooled(&a, &b), "pooled"),
    ] {
        let (found, want) = (found.unwrap(), &example["expected"][name]);
        // The difference of means near 3 keeps about 15 digits of its own.
        close(
            found.value,
            number(&want["difference"]),
            1e-13,
            "difference",
        );
        close(
            found.standard_error,
            number(&want["se"]),
            1e-13,
            "standard error",
        );
        close(found.dof, number(&want["df"]), 1e-13, "degrees of freedom");
        let test = found.equivalence(-margin, margin);
        close(test.t_low, number(&want["t_lower"]), 1e-12, "t lower");
        close(test.t_high, number(&want["t_upper"]), 1e-12, "t upper");
        close(test.p_low, number(&want["p_lower"]), 1e-11, "p lower");
        close(test.p_high, number(&want["p_upper"]), 1e-11, "p upper");
        close(test.p, number(&want["p_tost"]), 1e-11, "p");
        let (low, high) = found.interval(0.90);
        close(low, number(&want["ci90"][0]), 1e-12, "lower end");
        close(high, number(&want["ci90"][1]), 1e-12, "upper end");
        assert_eq!(test.p < 0.05, want["equivalent_at_0_05"] == true);
    }
}

#[test]
fn one_outlier_among_uranium_readings() {
    // NIST/SEMATECH e-Handbook, 1.3.5.17.1; data and published figures from memory, as the file says.
    let example = reference("statistics/ex_grubbs");
    let want = &example["expected"];
    let found = grubbs(&numbers(&example["data"]["y"])).unwrap();
    assert_eq!((found.index, found.value), (7, 245.57));
    close(found.g, number(&want["G_max"]), 1e-14, "G");
    // G is within 0.3 % of its bound (n − 1)/√n, so its rounding grows 400-fold in p.
    close(
        found.p_one_sided,
        number(&want["p_one_sided_bound"]),
        1e-10,
        "p",
    );
    let critical = |two_sided| grubbs_critical(8, 0.05, two_sided).unwrap();
    close(
        critical(false),
        number(&want["critical_one_sided_0_05"]),
        1e-13,
        "critical, one side",
    );
    close(
        critical(true),
        number(&want["critical_two_sided_0_05"]),
        1e-13,
        "critical, both sides",
    );
}
