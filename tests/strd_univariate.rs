//! One-way analysis of variance and univariate summaries against certified values of the NIST Statistical Reference
//! Datasets (StRD), U.S. public domain, in `tests/reference/strd`.
//!
//! Digits are −log₁₀ of the relative error, at most 15 (the certified values carry 15). Where the data share many
//! leading digits, rounding them to 64-bit numbers already changes the answer; such floors are stated with the reason.

use serde_json::Value;
use steadydraw::stats::anova::one_way;
use steadydraw::stats::summary;

/// One data set.
fn dataset(name: &str) -> Value {
    let path = format!(
        "{}/tests/reference/strd/{name}.json",
        env!("CARGO_MANIFEST_DIR")
    );
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// A list of numbers.
fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .expect("a list")
        .iter()
        .map(|x| x.as_f64().expect("a number"))
        .collect()
}

/// A certified value, written as a string with all its digits.
fn certified(set: &Value, name: &str) -> f64 {
    let value = &set["certified"][name];
    match value.as_str() {
        Some(text) => text.parse().expect("a number"),
        None => value.as_f64().expect("a number"),
    }
}

/// Correct significant digits.
fn digits(got: f64, want: f64) -> f64 {
    if got == want {
        return 15.0;
    }
    -((got - want) / want).abs().log10().max(-15.0)
}

/// Fewest correct digits over everything certified for a one-way analysis.
fn anova_digits(name: &str) -> f64 {
    let set = dataset(name);
    let groups: Vec<Vec<f64>> = set["data"]["groups"]
        .as_object()
        .expect("groups")
        .values()
        .map(numbers)
        .collect();
    assert_eq!(groups.len() as u64, set["n_groups"].as_u64().unwrap());
    assert_eq!(
        groups.iter().map(Vec::len).sum::<usize>() as u64,
        set["n_obs"].as_u64().unwrap()
    );
    let found = one_way(&groups).unwrap();
    assert_eq!(found.between.dof, certified(&set, "between_df"));
    assert_eq!(found.within.dof, certified(&set, "within_df"));
    let all = [
        (found.between.squares, "between_ss"),
        (found.between.mean_square(), "between_ms"),
        (found.within.squares, "within_ss"),
        (found.within.mean_square(), "within_ms"),
        (found.ratio.f, "f_statistic"),
        (found.r_squared(), "r_squared"),
        (found.residual_sd(), "residual_sd"),
    ];
    let reached = all
        .iter()
        .map(|(got, name)| digits(*got, certified(&set, name)));
    let fewest = reached.fold(15.0, f64::min);
    println!("{name}: {fewest:.1} digits");
    fewest
}

/// Digits of mean, standard deviation and lag-1 autocorrelation.
fn summary_digits(name: &str) -> [f64; 3] {
    let set = dataset(name);
    let y = numbers(&set["data"]["y"]);
    assert_eq!(y.len() as u64, set["n_obs"].as_u64().unwrap());
    let reached = [
        digits(summary::mean(&y), certified(&set, "mean")),
        digits(summary::sd(&y), certified(&set, "sd")),
        digits(summary::lag1(&y), certified(&set, "lag1_autocorrelation")),
    ];
    println!("{name}: {reached:.1?} digits");
    reached
}

#[test]
fn one_way_lower_difficulty() {
    // SiRstv: values near 196.2 that differ by 0.05; exact arithmetic on the 64-bit data reaches 13.1 digits, as we do.
    assert!(anova_digits("SiRstv") >= 13.0);
    for name in ["SmLs01", "SmLs02", "SmLs03"] {
        assert!(anova_digits(name) >= 14.8, "{name}");
    }
}

#[test]
fn one_way_average_difficulty() {
    // Seven constant leading digits. Exact rational arithmetic on the data rounded to 64-bit numbers gives 10.1, 9.9
    // and 9.9 digits in the worst certified value: no double-precision program can do better from a text file, and
    // this one reaches just that.
    assert!(anova_digits("SmLs04") >= 10.0);
    assert!(anova_digits("SmLs05") >= 9.8);
    assert!(anova_digits("SmLs06") >= 9.8);
}

#[test]
fn summaries_of_ordinary_data() {
    for name in ["Lew", "PiDigits", "NumAcc1"] {
        assert!(
            summary_digits(name).into_iter().all(|d| d >= 14.5),
            "{name}"
        );
    }
    // Mavro: four constant leading digits; exact arithmetic on the 64-bit data gives 13.1 and 13.9 digits.
    let [mean, sd, lag1] = summary_digits("Mavro");
    assert!(mean >= 14.9 && sd >= 13.0 && lag1 >= 13.8);
}

#[test]
fn summaries_with_eight_constant_digits() {
    // NumAcc4: exact arithmetic on the 64-bit data gives 8.3 digits of the standard deviation and 11.0 of the
    // autocorrelation; that is reached.
    let [mean, sd, lag1] = summary_digits("NumAcc4");
    assert!(mean >= 14.9 && sd >= 8.2 && lag1 >= 10.9);
}
