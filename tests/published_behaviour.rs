//! How published curve sets say that air conditioners behave, evaluated by our code, against the figures computed from them
//! apart from this program, and against the ranges in `air::behaviour`. Sources in tests/reference/air/README.md.

use std::collections::BTreeMap;

use steadydraw::air::behaviour::{
    CAPACITY_BY_AIRFLOW, CAPACITY_BY_AMBIENT, CAPACITY_BY_WET_BULB, DEFAULT_ALLOWANCE,
    POWER_BY_AIRFLOW, POWER_BY_AIRFLOW_WIDEST, POWER_BY_AMBIENT, POWER_BY_WET_BULB,
    largest_blower_draw_w,
};
use steadydraw::air::curves::{Biquadratic, CurveSet, Quadratic};

type Row = BTreeMap<String, String>;

fn table(name: &str) -> Vec<Row> {
    let path = format!("tests/reference/air/{name}");
    let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    let rows: Vec<Row> = reader.deserialize().map(|row| row.unwrap()).collect();
    assert!(!rows.is_empty(), "{path} is empty");
    rows
}

fn num(row: &Row, column: &str) -> f64 {
    row[column]
        .parse()
        .unwrap_or_else(|_| panic!("{column}: {row:?}"))
}

/// The curve sets by name. One set (mini-split) has no flow curves: they are flat here, and it is not in the elasticity table.
fn curve_sets() -> BTreeMap<String, CurveSet> {
    table("curve_sets.csv")
        .iter()
        .map(|row| {
            let six = |stem: &str| std::array::from_fn(|i| num(row, &format!("{stem}_{i}")));
            let three = |stem: &str| match row[&format!("{stem}_0")].as_str() {
                "" => [1.0, 0.0, 0.0],
                _ => std::array::from_fn(|i| num(row, &format!("{stem}_{i}"))),
            };
            let set = CurveSet {
                capacity_temps: Biquadratic {
                    c: six("capacity_temps"),
                },
                input_temps: Biquadratic {
                    c: six("input_temps"),
                },
                capacity_flow: Quadratic {
                    c: three("capacity_flow"),
                },
                input_flow: Quadratic {
                    c: three("input_flow"),
                },
            };
            (row["name"].clone(), set)
        })
        .collect()
}

fn quantile(values: &[f64], q: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = q * (sorted.len() - 1) as f64;
    let below = at.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    sorted[below] + (at - at.floor()) * (sorted[above] - sorted[below])
}

#[test]
fn curve_sets_give_their_check_points() {
    let sets = curve_sets();
    assert_eq!(sets.len(), 42);
    for row in table("curve_check_points.csv") {
        let set = &sets[&row["name"]];
        let (wet, ambient, flow) = (
            num(&row, "wet_bulb_c"),
            num(&row, "ambient_c"),
            num(&row, "flow"),
        );
        for (got, column) in [
            (set.capacity(wet, ambient, flow), "capacity"),
            (set.input(wet, ambient, flow), "input"),
            (set.power(wet, ambient, flow), "power"),
        ] {
            assert!(
                (got - num(&row, column)).abs() < 6e-9,
                "{column} {got}: {row:?}"
            );
        }
    }
}

#[test]
fn airflow_elasticities_are_reproduced_and_lie_where_the_defaults_say() {
    let sets = curve_sets();
    let rows = table("curve_elasticities.csv");
    assert_eq!(rows.len(), 40);
    let (mut powers, mut capacities, mut beyond) = (Vec::new(), Vec::new(), Vec::new());
    for row in &rows {
        let set = &sets[&row["name"]];
        let power = set.power_elasticity(1.0);
        let capacity = set.capacity_elasticity(1.0);
        assert!(
            (power - num(row, "power_elasticity")).abs() < 5.1e-5,
            "{power}: {row:?}"
        );
        assert!(
            (capacity - num(row, "capacity_elasticity")).abs() < 5.1e-5,
            "{capacity}: {row:?}"
        );
        for flow in ["0.8", "1.2"] {
            let f: f64 = flow.parse().unwrap();
            let capacity = set.capacity_flow.at(f) / set.capacity_flow.at(1.0);
            let power = capacity * set.input_flow.at(f) / set.input_flow.at(1.0);
            assert!((capacity - num(row, &format!("capacity_ratio_{flow}"))).abs() < 5.1e-5);
            assert!((power - num(row, &format!("power_ratio_{flow}"))).abs() < 5.1e-5);
        }
        powers.push(power);
        capacities.push(capacity);
        if power.abs() > DEFAULT_ALLOWANCE {
            beyond.push((row["name"].clone(), power));
        } else {
            assert!(
                POWER_BY_AIRFLOW_WIDEST.holds((power * 100.0).round() / 100.0),
                "{power}: {row:?}"
            );
        }
    }
    // The allowance holds all but three catalogue curves of packaged units: one faulty (below), two that probably count the
    // indoor fan.
    assert_eq!(beyond.len(), 3, "{beyond:?}");
    assert!(
        beyond
            .iter()
            .all(|(name, power)| name.starts_with("packaged") && *power > 0.2)
    );
    assert!(
        (quantile(&powers, 0.5) - 0.03).abs() < 0.005,
        "{}",
        quantile(&powers, 0.5)
    );
    let inside = powers
        .iter()
        .filter(|p| POWER_BY_AIRFLOW.holds(**p))
        .count();
    assert_eq!(inside, 30);
    for q in [0.1, 0.5, 0.9] {
        assert!(
            CAPACITY_BY_AIRFLOW.holds(quantile(&capacities, q)),
            "{}",
            quantile(&capacities, q)
        );
    }
}

/// A flow curve must be 1 at rated flow. The window unit's input curve is 1.155 in every copy seen, and one packaged unit's 0.677,
/// a set whose power seems to follow airflow with an exponent of 0.44: neither says anything about power against airflow.
#[test]
fn two_flow_curves_are_faulty() {
    let sets = curve_sets();
    for (name, set) in &sets {
        let input = set.input_flow.at(1.0);
        // Catalogue fits miss 1 by up to 1.0 % in capacity and 1.4 % in input; all but these two.
        assert!((set.capacity_flow.at(1.0) - 1.0).abs() < 0.010, "{name}");
        match name.as_str() {
            "NREL window AC (lab test)" => assert!((input - 1.1549).abs() < 1e-4),
            "packaged unit 27" => assert!((input - 0.6766).abs() < 1e-4),
            _ => assert!((input - 1.0).abs() < 0.015, "{name}: {input}"),
        }
    }
    assert!(sets["NREL window AC (lab test)"].power_elasticity(1.0) < -0.4);
    assert!(sets["packaged unit 27"].power_elasticity(1.0) > 0.4);
}

#[test]
fn temperature_sensitivities_are_reproduced_and_lie_where_the_defaults_say() {
    let sets = curve_sets();
    let rows = table("curve_sensitivities.csv");
    assert_eq!(rows.len(), 168);
    let mut at_rating: [Vec<f64>; 4] = Default::default();
    for row in &rows {
        let (wet, ambient) = (num(row, "wet_bulb_c"), num(row, "ambient_c"));
        let got = sets[&row["name"]].sensitivity(wet, ambient);
        for (i, (value, column)) in [
            (got.capacity_wet_bulb, "capacity_pct_wet_bulb"),
            (got.power_wet_bulb, "power_pct_wet_bulb"),
            (got.capacity_ambient, "capacity_pct_ambient"),
            (got.power_ambient, "power_pct_ambient"),
        ]
        .into_iter()
        .enumerate()
        {
            assert!(
                (100.0 * value - num(row, column)).abs() < 6e-4,
                "{value} {column}: {row:?}"
            );
            if ambient == 35.0 && wet > 19.0 {
                at_rating[i].push(value);
            }
        }
    }
    for (values, range) in at_rating.iter().zip([
        CAPACITY_BY_WET_BULB,
        POWER_BY_WET_BULB,
        CAPACITY_BY_AMBIENT,
        POWER_BY_AMBIENT,
    ]) {
        assert_eq!(values.len(), 42);
        for q in [0.1, 0.5, 0.9] {
            let value = quantile(values, q);
            // The ranges are given to a tenth of a percent per K.
            assert!(
                range.holds((value * 1000.0).round() / 1000.0),
                "{}: {value} at {q}",
                range.what
            );
        }
    }
}

#[test]
fn a_blower_bound_grows_with_the_flow_and_covers_measured_ones() {
    // NISTIR 7350 (2006), test 3: 419.7 W at 1019.6 scfm; the largest of the measured anchors.
    let flow = 1019.6 * 1.699_010_795_52;
    assert!(largest_blower_draw_w(flow) > 419.7);
    assert_eq!(largest_blower_draw_w(-5.0), 0.0);
}
