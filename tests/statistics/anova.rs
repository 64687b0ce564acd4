//! Worked examples of analysis of variance and pairwise comparison.

use serde_json::Value;
use steadydraw::stats::anova::{Group, Ratio, Source, one_way, one_way_from_groups, two_way};
use steadydraw::stats::tests::{nested_f, pure_error};
use steadydraw::stats::{f, multiple, student_t, studentised_range};

use crate::{close, number, numbers, reference};

/// The groups of an example.
fn groups(data: &Value) -> Vec<Vec<f64>> {
    data["groups"]
        .as_array()
        .expect("groups")
        .iter()
        .map(numbers)
        .collect()
}

/// Checks one source of variation with its ratio against a row of the expected table.
fn check_row(source: &Source, ratio: Option<Ratio>, row: &Value) {
    close(source.squares, number(&row["ss"]), 1e-13, "sum of squares");
    close(source.dof, number(&row["df"]), 0.0, "degrees of freedom");
    close(
        source.mean_square(),
        number(&row["ms"]),
        1e-13,
        "mean square",
    );
    if let Some(ratio) = ratio {
        close(ratio.f, number(&row["F"]), 1e-12, "F");
        close(ratio.p, number(&row["p"]), 1e-11, "p");
    }
}

#[test]
fn one_way_resistors() {
    // NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3.3.
    let example = reference("statistics/ex_oneway_resistor");
    let found = one_way(&groups(&example["data"])).unwrap();
    let want = &example["expected"];
    for (group, mean) in found.groups.iter().zip(numbers(&want["group_means"])) {
        close(group.mean, mean, 1e-15, "group mean");
    }
    close(
        found.between.squares,
        number(&want["between_ss"]),
        1e-13,
        "between",
    );
    close(
        found.within.squares,
        number(&want["within_ss"]),
        1e-13,
        "within",
    );
    assert_eq!((found.between.dof, found.within.dof), (2.0, 12.0));
    close(found.ratio.f, number(&want["F"]), 1e-13, "F");
    close(found.ratio.p, number(&want["p"]), 1e-12, "p");
}

#[test]
fn two_way_loom_breaks() {
    // Tippett (1950); see the file for the two analyses.
    let example = reference("statistics/ex_twoway_warpbreaks");
    let cells = &example["data"]["cells_wool_tension"];
    let cell = |wool: &str, tension: &str| numbers(&cells[format!("{wool}{tension}")]);
    let table: Vec<Vec<Vec<f64>>> = ["A", "B"]
        .iter()
        .map(|w| ["L", "M", "H"].iter().map(|t| cell(w, t)).collect())
        .collect();
    let found = two_way(&table).unwrap();

    let full = &example["expected"]["with_interaction"];
    check_row(
        &found.rows,
        Some(found.rows.against(&found.within)),
        &full[0],
    );
    check_row(
        &found.columns,
        Some(found.columns.against(&found.within)),
        &full[1],
    );
    check_row(
        &found.interaction,
        Some(found.interaction.against(&found.within)),
        &full[2],
    );
    check_row(&found.within, None, &full[3]);

    let residual = found.additive_residual();
    let additive = &example["expected"]["additive"];
    check_row(
        &found.rows,
        Some(found.rows.against(&residual)),
        &additive[0],
    );
    check_row(
        &found.columns,
        Some(found.columns.against(&residual)),
        &additive[1],
    );
    check_row(&residual, None, &additive[2]);

    // Tukey on tension: L, M, H are 0, 1, 2 here; the example lists M−H, L−H, L−M.
    let means: Vec<Group> = found
        .column_means
        .iter()
        .map(|mean| Group {
            n: 18,
            mean: *mean,
            squares: 0.0,
        })
        .collect();
    let pairs = multiple::tukey(&means, residual.mean_square(), residual.dof, 0.95).unwrap();
    for (row, (first, second)) in example["expected"]["tukey_tension_95_from_additive"]
        .as_array()
        .expect("pairs")
        .iter()
        .zip([(1, 2), (0, 2), (0, 1)])
    {
        let pair = pairs
            .iter()
            .find(|p| (p.first, p.second) == (first, second))
            .expect("the pair");
        // Ours is second − first, theirs first − second.
        close(
            -pair.difference,
            number(&row["difference"]),
            1e-14,
            "difference",
        );
        close(-pair.high, number(&row["lower"]), 1e-10, "lower");
        close(-pair.low, number(&row["upper"]), 1e-10, "upper");
        close(pair.p, number(&row["p_adjusted"]), 1e-10, "p");
    }
}

#[test]
fn tukey_holm_and_bonferroni_on_four_groups() {
    // NIST/SEMATECH e-Handbook, 7.4.7.1.
    let example = reference("statistics/ex_tukey_holm_resistor4");
    let want = &example["expected"];
    let found = one_way(&groups(&example["data"])).unwrap();
    close(found.ratio.f, number(&want["anova"]["F"]), 1e-13, "F");
    close(found.ratio.p, number(&want["anova"]["p"]), 1e-12, "p");
    let critical = studentised_range::upper_quantile(0.05, 4.0, found.within.dof);
    close(
        critical,
        number(&want["tukey_95"]["q_critical"]),
        1e-12,
        "q",
    );

    let pairs = multiple::tukey(
        &found.groups,
        found.within.mean_square(),
        found.within.dof,
        0.95,
    )
    .unwrap();
    let find = |name: &str| {
        let (second, first) = name.split_once('-').expect("a pair");
        let place = |text: &str| text.parse::<usize>().expect("a number") - 1;
        *pairs
            .iter()
            .find(|p| (p.first, p.second) == (place(first), place(second)))
            .expect("the pair")
    };
    for row in want["tukey_95"]["comparisons"].as_array().expect("pairs") {
        let pair = find(row["pair"].as_str().expect("a name"));
        close(
            pair.difference,
            number(&row["difference"]),
            1e-13,
            "difference",
        );
        close(pair.low, number(&row["lower"]), 1e-11, "lower");
        close(pair.high, number(&row["upper"]), 1e-11, "upper");
        close(pair.q, number(&row["q_statistic"]), 1e-13, "q");
        close(pair.p, number(&row["p_adjusted"]), 1e-10, "p");
    }

    let tests = want["pairwise_pooled_t"].as_array().expect("tests");
    let p_values: Vec<f64> = tests
        .iter()
        .map(|row| {
            let pair = find(row["pair"].as_str().expect("a name"));
            let t = pair.difference / (2.0 * found.within.mean_square() / 5.0).sqrt();
            close(t, number(&row["t"]), 1e-12, "t");
            2.0 * student_t::sf(t.abs(), found.within.dof)
        })
        .collect();
    let (holm, bonferroni) = (
        multiple::holm(&p_values).unwrap(),
        multiple::bonferroni(&p_values).unwrap(),
    );
    for (i, row) in tests.iter().enumerate() {
        close(p_values[i], number(&row["p"]), 1e-12, "p");
        close(holm[i], number(&row["p_holm"]), 1e-12, "Holm");
        close(
            bonferroni[i],
            number(&row["p_bonferroni"]),
            1e-12,
            "Bonferroni",
        );
    }
}

#[test]
fn adjusted_p_values() {
    // Ten p-values; the Holm figures are confirmed in a copy of the source.
    let example = reference("statistics/ex_multiple_p_values");
    let p_values = numbers(&example["data"]["p_values"]);
    for (found, name) in [
        (multiple::holm(&p_values), "holm"),
        (multiple::bonferroni(&p_values), "bonferroni"),
    ] {
        let want = numbers(&example["expected"][name]);
        assert_eq!(want.len(), 10);
        for (got, want) in found.unwrap().into_iter().zip(want) {
            close(got, want, 1e-15, name);
        }
    }
}

#[test]
fn day_to_day_variance_of_a_voltage_standard() {
    // JCGM 100:2008, H.5, Table H.9. The guide's F of 2.25 is formed from rounded standard deviations.
    let example = reference("statistics/ex_day_to_day_gum_h5");
    let want = &example["expected"];
    let n = number(&example["data"]["readings_per_day"]);
    let days: Vec<Group> = numbers(&example["data"]["daily_mean_V"])
        .into_iter()
        .zip(numbers(&example["data"]["daily_sd_uV"]))
        .map(|(mean, sd_uv)| Group {
            n: n as usize,
            mean,
            squares: (n - 1.0) * (sd_uv * 1e-6).powi(2),
        })
        .collect();
    assert_eq!(days.len(), 10);
    let found = one_way_from_groups(&days).unwrap();
    close(
        found.grand_mean,
        number(&want["grand_mean_V"]),
        1e-15,
        "grand mean",
    );
    // The means carry a common 10 V, and the last digit of a double at 10 V is 2e-9 µV: 11 digits of µV scatter remain.
    close(
        found.between.mean_square().sqrt() * 1e6,
        number(&want["between_sd_a_uV"]),
        1e-10,
        "between",
    );
    close(
        found.within.mean_square().sqrt() * 1e6,
        number(&want["pooled_within_sd_uV"]),
        1e-13,
        "within",
    );
    close(found.ratio.f, number(&want["F"]), 1e-10, "F");
    close(found.ratio.p, number(&want["p"]), 1e-9, "p");
    close(
        f::upper_quantile(0.05, 9.0, 40.0),
        number(&want["F_0_05_critical"]),
        1e-13,
        "F 0.95",
    );
    close(
        f::upper_quantile(0.025, 9.0, 40.0),
        number(&want["F_0_025_critical"]),
        1e-13,
        "F 0.975",
    );
    close(
        found.between_variance().sqrt() * 1e6,
        number(&want["between_day_component_uV"]),
        1e-9,
        "component",
    );
    let sd_of_mean = (found.between.mean_square() / (n * 10.0)).sqrt() * 1e6;
    close(
        sd_of_mean,
        number(&want["sd_of_grand_mean_uV"]),
        1e-10,
        "sd of the mean",
    );
}

#[test]
fn lack_of_fit_of_a_load_cell() {
    // NIST/SEMATECH e-Handbook, 4.6.1; residual sums from the example, pure error from its data.
    let example = reference("statistics/ex_lackfit_load_cell_40");
    let (x, y) = (
        numbers(&example["data"]["x_load"]),
        numbers(&example["data"]["y_deflection"]),
    );
    let mut repeats: Vec<(f64, Vec<f64>)> = Vec::new();
    for (x, y) in x.into_iter().zip(y) {
        match repeats.iter_mut().find(|(level, _)| *level == x) {
            Some((_, values)) => values.push(y),
            None => repeats.push((x, vec![y])),
        }
    }
    assert_eq!(repeats.len(), 20);
    let pure = pure_error(&repeats.into_iter().map(|(_, y)| y).collect::<Vec<_>>()).unwrap();
    for name in ["line", "quadratic"] {
        let want = &example["expected"][name];
        // The readings carry 5 decimals and differ by about 2e-4 of themselves, which costs 4 of 16 digits.
        close(
            pure.squares,
            number(&want["pure_error_ss"]),
            1e-11,
            "pure error",
        );
        close(
            pure.dof,
            number(&want["pure_error_df"]),
            0.0,
            "pure error dof",
        );
        let fit = Source {
            squares: number(&want["residual_ss"]),
            dof: number(&want["residual_df"]),
        };
        let found = nested_f(fit, pure).unwrap();
        assert_eq!(found.d1, number(&want["lack_of_fit_df"]));
        close(found.f, number(&want["lack_of_fit_F"]), 1e-10, "F");
        close(found.p, number(&want["lack_of_fit_p"]), 1e-9, "p");
        close(
            f::upper_quantile(0.05, found.d1, found.d2),
            number(&want["critical_F_0_05"]),
            1e-13,
            "F 0.95",
        );
    }
    let residual = |name: &str| Source {
        squares: number(&example["expected"][name]["residual_ss"]),
        dof: number(&example["expected"][name]["residual_df"]),
    };
    let found = nested_f(residual("line"), residual("quadratic")).unwrap();
    let want = &example["expected"]["nested_F_line_in_quadratic"];
    close(found.f, number(&want["F"]), 1e-13, "F");
    close(found.p, number(&want["p"]), 1e-11, "p");
    assert_eq!((found.d1, found.d2), (1.0, 37.0));
}
