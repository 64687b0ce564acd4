//! The air side against published values and two reference libraries; sources in tests/reference/air/README.md.

use std::collections::BTreeMap;

use serde_json::Value;
use steadydraw::air::{
    AirReadings, Coil, Humidity, MEAN_OVER_CENTRE_ROUND, MoistAir, Notice, STANDARD_AIR_KG_M3,
    Side, capacity, polynomial::TenCoefficients, pressure_at_altitude_pa, saturation_pressure_pa,
    traverse, traverse::Rule,
};
use steadydraw::bench::CrossSection;

type Row = BTreeMap<String, String>;

fn table(name: &str) -> Vec<Row> {
    let path = format!("tests/reference/air/{name}");
    let mut reader = csv::Reader::from_path(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    let rows: Vec<Row> = reader.deserialize().map(|row| row.unwrap()).collect();
    assert!(!rows.is_empty(), "{path} is empty");
    rows
}

fn json(name: &str) -> Value {
    let path = format!("tests/reference/air/{name}");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn num(row: &Row, column: &str) -> f64 {
    row[column]
        .parse()
        .unwrap_or_else(|_| panic!("{column}: {row:?}"))
}

fn relative(got: f64, expected: f64) -> f64 {
    (got / expected - 1.0).abs()
}

/// Largest of many values, with where it was.
#[derive(Default)]
struct Worst(f64, String);

impl Worst {
    fn see(&mut self, value: f64, place: impl std::fmt::Debug) {
        assert!(value.is_finite(), "{place:?}");
        if value > self.0 {
            *self = Self(value, format!("{place:?}"));
        }
    }

    fn at_most(&self, limit: f64, what: &str) {
        assert!(
            self.0 <= limit,
            "{what}: {} above {limit} at {}",
            self.0,
            self.1
        );
    }
}

/// Of a flow whose place is not known, the mean of what the two places give.
#[test]
fn a_flow_of_unknown_place_lies_midway() {
    let with = |flow_at| {
        let readings = AirReadings {
            intake_temp_c: 27.0,
            intake_rh: Some(0.5),
            outlet_temp_c: 15.0,
            outlet_rh: Some(0.9),
            flow_m3h: 240.0,
            flow_at,
            pressure_pa: 101_325.0,
            condensate_kg_h: None,
        };
        let c = capacity(&readings).unwrap();
        (c.sensible_w, c.total_w.unwrap())
    };
    let (warm, cold, between) = (
        with(Some(Side::Intake)),
        with(Some(Side::Outlet)),
        with(None),
    );
    assert!(cold.0 > 1.03 * warm.0 && cold.0 < 1.05 * warm.0);
    assert!((between.0 - 0.5 * (warm.0 + cold.0)).abs() < 1e-9);
    assert!((between.1 - 0.5 * (warm.1 + cold.1)).abs() < 1e-9);
}

#[test]
fn moist_air_agrees_with_a_real_gas_library_far_within_the_libraries_own_disagreement() {
    let (mut ratio, mut volume, mut density, mut wet, mut dew) = (
        Worst::default(),
        Worst::default(),
        Worst::default(),
        Worst::default(),
        Worst::default(),
    );
    let mut nearer = 0;
    let rows = table("moist_air_states.csv");
    for row in &rows {
        let (t, rh, p) = (
            num(row, "t_C"),
            num(row, "rh_pct") / 100.0,
            num(row, "P_Pa"),
        );
        let air = MoistAir::from_relative_humidity(t, rh, p).unwrap();
        let of = |column: &str| num(row, column);
        ratio.see(relative(air.humidity_ratio(), of("W_cp")), row);
        volume.see(relative(air.volume_m3_kg(), of("v_cp_m3_per_kg_da")), row);
        density.see(relative(air.density_kg_m3(), of("rho_moist_cp_kg_m3")), row);
        wet.see((air.wet_bulb_c() - of("wb_cp_C")).abs(), row);
        dew.see((air.dew_point_c().unwrap() - of("dp_cp_C")).abs(), row);
        // The project's promise: no further from either library than they are from one another, or 0.1 %.
        for (got, a, b) in [
            (air.humidity_ratio(), "W_cp", "W_ps"),
            (air.volume_m3_kg(), "v_cp_m3_per_kg_da", "v_ps_m3_per_kg_da"),
            (
                air.density_kg_m3(),
                "rho_moist_cp_kg_m3",
                "rho_moist_ps_kg_m3",
            ),
        ] {
            let apart = (of(a) - of(b)).abs().max(0.001 * of(a));
            assert!((got - of(a)).abs() <= apart, "{a}: {got} {row:?}");
            assert!((got - of(b)).abs() <= apart, "{b}: {got} {row:?}");
        }
        // Enthalpy stands by the real-gas library (their zero points agree); 10 J/kg is 0.01 K of air.
        let (h, other) = (of("h_cp_J_per_kg_da"), of("h_ps_J_per_kg_da"));
        let apart = (h - other).abs().max(0.001 * h.abs()).max(10.0);
        assert!(
            (air.enthalpy_j_kg() - h).abs() <= apart,
            "{} {row:?}",
            air.enthalpy_j_kg()
        );
        if relative(air.humidity_ratio(), of("W_cp")) < relative(of("W_ps"), of("W_cp")) {
            nearer += 1;
        }
    }
    // The libraries differ from one another by 0.71 %, 0.072 %, 0.12 %, 0.024 K and 0.021 K (library_difference.csv).
    ratio.at_most(0.0005, "humidity ratio");
    volume.at_most(0.0005, "volume");
    density.at_most(0.0005, "density");
    wet.at_most(0.024, "wet bulb");
    dew.at_most(0.021, "dew point");
    assert_eq!(
        nearer,
        rows.len(),
        "nearer to the real-gas library than the ideal-gas one is"
    );
}

/// ASHRAE Handbook—Fundamentals (2017), ch. 1, tables 1 to 3, as quoted in a library's test suite.
#[test]
fn handbook_tables_are_reproduced() {
    let mut seen = 0;
    for row in table("handbook_values.csv") {
        let inputs: Vec<f64> = row["inputs"]
            .split(';')
            .map(|v| v.parse().unwrap())
            .collect();
        let value = num(&row, "value");
        let (got, tolerance) = match row["quantity"].as_str() {
            // The table is IAPWS-based since 2017: Hyland & Wexler differ by up to 0.02 %; −60 degC is printed to 3 digits.
            "saturation_pressure" => (
                saturation_pressure_pa(inputs[0]),
                if inputs[0] == -60.0 {
                    0.005 / 1.08
                } else {
                    2.1e-4
                },
            ),
            "saturated_air_humidity_ratio" if inputs[0] <= 50.0 => (
                MoistAir::from_relative_humidity(inputs[0], 1.0, inputs[1])
                    .unwrap()
                    .humidity_ratio(),
                // The ideal-gas library is 0.46 % off at 25 degC. Three digits are printed at −50 degC.
                if inputs[0] == -50.0 {
                    0.005 / 2.43
                } else {
                    5e-4
                },
            ),
            "dry_air_specific_volume" => (
                MoistAir::from_relative_humidity(inputs[0], 0.0, inputs[1])
                    .unwrap()
                    .volume_m3_kg(),
                1e-4,
            ),
            "standard_atmosphere_pressure" if inputs[0] <= 5000.0 => {
                (pressure_at_altitude_pa(inputs[0]).unwrap(), 1.0 / value)
            }
            "moist_air_enthalpy" => {
                let air = MoistAir::from_humidity_ratio(inputs[0], inputs[1], 101_325.0).unwrap();
                (air.enthalpy_j_kg(), 1e-9)
            }
            "saturated_air_enthalpy" if (0.0..=50.0).contains(&inputs[0]) => (
                MoistAir::from_relative_humidity(inputs[0], 1.0, inputs[1])
                    .unwrap()
                    .enthalpy_j_kg(),
                1e-3,
            ),
            _ => continue,
        };
        seen += 1;
        let difference = if value == 0.0 {
            got.abs()
        } else {
            relative(got, value)
        };
        assert!(difference <= tolerance, "{row:?}: {got}");
    }
    assert_eq!(seen, 24);
}

/// Example 1 of the same chapter: 40 degC dry bulb, 20 degC wet bulb, sea level; figures as read off its chart, where humidity
/// ratio is read to 0.0001. That alone is 260 J/kg of enthalpy: from W = 0.014758 of saturated air at 20 degC (the chapter's
/// table 2, from memory) equation 33 gives W = 0.00646 and 56 880 J/kg, which is what comes out here.
/// The chart's dew point, read as 7 degC, is low: air of the W that it gives beside it has 7.6 degC.
#[test]
fn handbook_example_1_is_reproduced() {
    let air = MoistAir::from_wet_bulb(40.0, 20.0, 101_325.0).unwrap();
    assert!((air.humidity_ratio() - 0.0065).abs() < 1e-4);
    let as_printed = MoistAir::from_humidity_ratio(40.0, 0.0065, 101_325.0).unwrap();
    assert!((as_printed.dew_point_c().unwrap() - 7.6).abs() < 0.05);
    assert!((air.dew_point_c().unwrap() - 7.6).abs() < 0.25);
    assert!((air.relative_humidity() - 0.14).abs() < 0.01);
    assert!((air.enthalpy_j_kg() - 56_700.0).abs() < 260.0);
    assert!((air.volume_m3_kg() - 0.896).abs() < 0.001);
}

#[test]
fn standard_atmosphere_is_reproduced() {
    for row in table("standard_atmosphere.csv") {
        let altitude = num(&row, "altitude_m");
        if altitude <= 5000.0 {
            let got = pressure_at_altitude_pa(altitude).unwrap();
            assert!(
                (got - num(&row, "pressure_pa")).abs() < 1.5,
                "{row:?} {got}"
            );
        }
    }
    assert!(pressure_at_altitude_pa(12_000.0).is_err());
    // 0.075 lb/ft3 (convention of ASHRAE 37 and 51, from memory).
    assert!((STANDARD_AIR_KG_M3 - 1.20144).abs() < 1e-4);
}

fn readings_of(example: &Value) -> AirReadings {
    let f = |key: &str| example[key].as_f64().unwrap();
    AirReadings {
        intake_temp_c: f("t1_C"),
        intake_rh: Some(f("rh1")),
        outlet_temp_c: f("t2_C"),
        outlet_rh: Some(f("rh2")),
        flow_m3h: f("Q_m3s") * 3600.0,
        flow_at: Some(if example["flow_plane"] == "inlet" {
            Side::Intake
        } else {
            Side::Outlet
        }),
        pressure_pa: f("P_Pa"),
        condensate_kg_h: None,
    }
}

/// Five examples computed with two libraries, which differ from one another by up to 0.3 % in total capacity.
#[test]
fn worked_examples_agree_with_the_real_gas_library() {
    let examples = json("worked_examples.json");
    let examples = examples["examples"].as_array().unwrap();
    assert_eq!(examples.len(), 5);
    for example in examples {
        let f = |key: &str| example[key].as_f64().unwrap();
        let name = &example["name"];
        let got = capacity(&readings_of(example)).unwrap();
        let total = got.total_w.unwrap();
        assert!(
            relative(got.dry_air_kg_s, f("m_da_CoolProp")) < 3e-5,
            "{name}"
        );
        assert!(
            relative(total, f("q_tot_CoolProp")) < 4e-4,
            "{name}: {total}"
        );
        // The example's own total is the ideal-gas library's, whose humidity ratios are 0.4 % low.
        assert!(relative(total, f("q_tot")) < 3e-3, "{name}: {total}");
        // The example takes the humidity at the flow's place for the heat capacity, which is the outlet in four of five.
        let sensible = f("m_da") * (1005.0 + 1859.0 * f("W2")) * (f("t1_C") - f("t2_C"));
        assert!(
            relative(got.sensible_w, sensible) < 2e-3,
            "{name}: {}",
            got.sensible_w
        );
        if example["flow_plane"] == "outlet" {
            assert!(
                relative(got.sensible_w, f("q_sen")) < 2e-3,
                "{name}: {}",
                got.sensible_w
            );
        }
        let latent = got.latent_w.unwrap();
        assert!(
            (latent - f("q_lat_K1_2p47e6")).abs() < 0.007 * latent.abs().max(100.0),
            "{name}: {latent}"
        );
        let water = f("condensate_kg_per_h");
        assert!(
            (got.water_removed_kg_h.unwrap() - water).abs() < 0.007 * water.abs() + 0.001,
            "{name}"
        );
        let remainder = got.remainder_w.unwrap();
        assert!(
            (got.sensible_w + latent + remainder - total).abs() < 1e-9 * total,
            "{name}"
        );
        let vapour = 1860.0 * f("m_da") * (f("W1") - f("W2")) * (f("t1_C") - f("t2_C"));
        let expected = f("condensate_term_W") + vapour;
        assert!(
            (remainder - expected).abs() < 0.008 * expected.abs() + 0.1,
            "{name}: {remainder} {expected}"
        );
        assert!(
            (got.intake_dew_point_c.unwrap() - f("dp1_C")).abs() < 0.021,
            "{name}"
        );
    }
}

/// NISTIR 7350 (2006), appendix D: the eight no-fault tests that are shared here, read in a copy. The report takes dry-air
/// standard flow, 1060 Btu/lb of evaporation, and its total is sensible plus latent.
#[test]
fn published_tests_are_reduced_to_the_published_capacities() {
    let rows = table("nist_7350_tests.csv");
    assert_eq!(rows.len(), 8);
    for row in &rows {
        let of = |column: &str| num(row, column);
        let state =
            |t: &str, dew: &str| MoistAir::from_dew_point(of(t), of(dew), of("p_pa")).unwrap();
        let intake = state("indoor_in_db_c", "indoor_in_dp_c");
        let outlet = state("indoor_out_db_c", "indoor_out_dp_c");
        let dry_air = of("airflow_std_m3_s") * STANDARD_AIR_KG_M3;
        let got = capacity(&AirReadings {
            intake_temp_c: intake.temp_c(),
            intake_rh: Some(intake.relative_humidity()),
            outlet_temp_c: outlet.temp_c(),
            outlet_rh: Some(outlet.relative_humidity()),
            flow_m3h: dry_air * outlet.volume_m3_kg() * 3600.0,
            flow_at: Some(Side::Outlet),
            pressure_pa: of("p_pa"),
            condensate_kg_h: None,
        })
        .unwrap();
        let (latent, total) = (got.latent_w.unwrap(), got.total_w.unwrap());
        // 0.12 % of it is 0.24 Btu/(lb degF) for dry air in the report against 1006 J/(kg K).
        assert!(
            relative(got.sensible_w, of("sensible_w")) < 0.002,
            "{row:?}"
        );
        let over = total / of("total_w") - 1.0;
        if row["coil"] == "wet" {
            assert!(
                relative(got.sensible_w + latent, of("total_w")) < 0.0015,
                "{row:?}"
            );
            // The total by enthalpy is larger by what the condensate carries off.
            assert!((0.004..0.011).contains(&over), "{over} {row:?}");
            assert!(matches!(got.coil, Coil::Wet | Coil::PerhapsWet), "{row:?}");
            // Latent is 0.3–0.7 % above the report. Two causes, both ours by choice: the enhancement factor of 1.0043 that the
            // report leaves out, and the heat of evaporation at the outlet's temperature. Without them 0.3 % is left.
            let evaporation = 2_501_000.0 - 2326.0 * outlet.temp_c();
            let plain = latent / 1.0043 * (1060.0 * 2326.0) / evaporation;
            assert!(
                relative(plain, of("latent_w")) < 0.003,
                "{} {row:?}",
                plain / of("latent_w")
            );
        } else {
            assert!((0.0..0.002).contains(&over), "{over} {row:?}");
            // The hygrometers found 0.4–1.8 % more water going out than in; the report prints no latent capacity but counts it
            // in the total.
            let counted = of("total_w") - of("sensible_w");
            assert!(
                (latent - counted).abs() < 0.001 * total,
                "{latent} {counted} {row:?}"
            );
            assert!(
                got.notices
                    .iter()
                    .any(|n| matches!(n, Notice::OutletMoister { .. }))
            );
            assert_eq!(got.coil, Coil::Dry, "{row:?}");
        }
    }
    let example = json("nist_7350_worked_example.json");
    let published = &example["outputs_published"];
    let shr =
        published["sensible_Btu_h"].as_f64().unwrap() / published["total_Btu_h"].as_f64().unwrap();
    assert!((shr - published["SHR"].as_f64().unwrap()).abs() < 5e-4);
}

fn damp_run() -> AirReadings {
    AirReadings {
        intake_temp_c: 27.0,
        intake_rh: Some(0.55),
        outlet_temp_c: 13.0,
        outlet_rh: Some(0.92),
        flow_m3h: 240.0,
        flow_at: Some(Side::Outlet),
        pressure_pa: 101_325.0,
        condensate_kg_h: None,
    }
}

#[test]
fn missing_humidity_leaves_sensible_capacity_and_says_so() {
    let full = capacity(&damp_run()).unwrap();
    assert_eq!(full.humidity, Humidity::Both);
    assert!(
        full.notices
            .iter()
            .any(|n| matches!(n, Notice::WetCoil { .. }))
    );
    for (intake, outlet, humidity) in [
        (Some(0.55), None, Humidity::IntakeOnly),
        (None, Some(0.92), Humidity::OutletOnly),
        (None, None, Humidity::Neither),
    ] {
        let got = capacity(&AirReadings {
            intake_rh: intake,
            outlet_rh: outlet,
            ..damp_run()
        })
        .unwrap();
        assert_eq!(got.humidity, humidity);
        assert_eq!((got.latent_w, got.total_w), (None, None));
        assert!(got.notices.contains(&Notice::SensibleOnly { humidity }));
        // What the humidity is taken to be hardly matters to the sensible figure.
        assert!(
            relative(got.sensible_w, full.sensible_w) < 0.005,
            "{}",
            got.sensible_w
        );
        assert_eq!(got.coil == Coil::Unknown, intake.is_none());
    }
}

#[test]
fn condensate_bears_witness_to_latent_capacity() {
    let full = capacity(&damp_run()).unwrap();
    let removed = full.water_removed_kg_h.unwrap();
    let weighed = capacity(&AirReadings {
        condensate_kg_h: Some(0.9 * removed),
        ..damp_run()
    })
    .unwrap();
    let check = weighed.condensate.unwrap();
    assert!((check.over_air_side.unwrap() - 0.9).abs() < 1e-12);
    let only_weighed = capacity(&AirReadings {
        outlet_rh: None,
        condensate_kg_h: Some(removed),
        ..damp_run()
    })
    .unwrap();
    assert!(
        relative(
            only_weighed.condensate.unwrap().latent_w,
            full.latent_w.unwrap()
        ) < 1e-12
    );
    assert_eq!(only_weighed.condensate.unwrap().over_air_side, None);
}

#[test]
fn odd_readings_are_noticed_and_impossible_ones_refused() {
    let with = |change: &dyn Fn(&mut AirReadings)| {
        let mut run = damp_run();
        change(&mut run);
        capacity(&run)
    };
    let heating = with(&|r| {
        r.outlet_temp_c = 40.0;
        r.outlet_rh = Some(0.2);
    })
    .unwrap();
    assert!(heating.sensible_w < 0.0);
    assert!(heating.notices.contains(&Notice::Heating { by_k: 13.0 }));
    assert_eq!(heating.sensible_heat_ratio(), None);
    let moist = with(&|r| r.intake_rh = Some(0.2)).unwrap();
    assert!(
        moist
            .notices
            .iter()
            .any(|n| matches!(n, Notice::OutletMoister { .. }))
    );
    let over = with(&|r| r.outlet_rh = Some(1.02)).unwrap();
    assert!(over.notices.contains(&Notice::TakenAsSaturated {
        side: Side::Outlet,
        rh: 1.02
    }));
    for (message, result) in [
        (
            "outlet relative humidity of 9200 %",
            with(&|r| r.outlet_rh = Some(92.0)),
        ),
        (
            "intake temperature of 270 degC",
            with(&|r| r.intake_temp_c = 270.0),
        ),
        (
            "outlet temperature of NaN degC",
            with(&|r| r.outlet_temp_c = f64::NAN),
        ),
        ("airflow of 0 m3/h", with(&|r| r.flow_m3h = 0.0)),
        (
            "pressure of 1.01325 kPa",
            with(&|r| r.pressure_pa = 1013.25),
        ),
        (
            "condensate of -1 kg/h",
            with(&|r| r.condensate_kg_h = Some(-1.0)),
        ),
    ] {
        let error = result.unwrap_err().to_string();
        assert!(error.starts_with(&format!("found {message}")), "{error}");
    }
}

#[test]
fn traverse_points_are_the_published_ones() {
    let mut lines: BTreeMap<(String, String, usize), Vec<f64>> = BTreeMap::new();
    for row in table("duct_traverse_points.csv") {
        let key = (
            row["rule"].clone(),
            row["shape"].clone(),
            row["points"].parse().unwrap(),
        );
        lines.entry(key).or_default().push(num(&row, "fraction"));
    }
    assert_eq!(lines.len(), 17);
    for ((name, shape, points), expected) in lines {
        let rule = if name.starts_with("log-T") {
            Rule::LogTchebycheff
        } else if name.starts_with("log-linear") {
            Rule::LogLinear
        } else {
            Rule::EqualArea
        };
        let got = traverse::fractions(rule, shape == "round", points).unwrap();
        assert_eq!(got.len(), expected.len());
        for (got, expected) in got.iter().zip(expected) {
            assert!(
                (got - expected).abs() < 5.1e-5,
                "{name} {shape} {points}: {got} {expected}"
            );
        }
    }
    assert!(traverse::fractions(Rule::LogTchebycheff, true, 7).is_err());
    assert!(traverse::fractions(Rule::LogLinear, false, 6).is_err());
    assert!(traverse::fractions(Rule::EqualArea, true, 0).is_err());
}

/// The rules' purpose: the plain mean over the points is the mean over the area, for ln(y) and for a 1/7-power profile.
#[test]
fn traverse_points_average_wall_profiles_as_computed() {
    let mut seen = 0;
    for row in table("duct_traverse_check.csv") {
        let name = row["rule"].as_str();
        let rule = if name.contains("log-Tcheb") {
            Rule::LogTchebycheff
        } else if name.contains("log-linear") {
            Rule::LogLinear
        } else {
            Rule::EqualArea
        };
        let round = name.starts_with("round");
        let fractions = traverse::fractions(rule, round, row["points"].parse().unwrap()).unwrap();
        // Distance from the nearer wall over the half width.
        let wall = |f: f64| 2.0 * f.min(1.0 - f);
        let profile = |f: f64| {
            if name.contains("1/7") {
                wall(f).powf(1.0 / 7.0)
            } else {
                wall(f).ln()
            }
        };
        let mean = fractions.iter().map(|f| profile(*f)).sum::<f64>() / fractions.len() as f64;
        assert!(
            (mean - num(&row, "mean_over_points")).abs() < 2e-5,
            "{name}: {mean} {row:?}"
        );
        if name == "round log-Tcheb, u=(y/R)^(1/7)" {
            assert!((num(&row, "exact_area_mean") - MEAN_OVER_CENTRE_ROUND).abs() < 5e-6);
        }
        seen += 1;
    }
    assert_eq!(seen, 23);
}

#[test]
fn ducts_have_areas_and_places_for_the_probe() {
    let round = CrossSection::Round { diameter_m: 0.1 };
    assert!(relative(round.area_m2(), 0.007_853_981_633_974_483) < 1e-15);
    let flat = CrossSection::Rectangular {
        width_m: 0.2,
        height_m: 0.1,
    };
    assert!(relative(flat.area_m2(), 0.02) < 1e-15);
    // A diameter counts twice: 2 x 1 mm / 100 mm. Two sides count once each: the root of (1/200)^2 + (1/100)^2.
    assert!(relative(round.relative_u(0.001), 0.02) < 1e-12);
    assert!(relative(flat.relative_u(0.001), 0.005f64.hypot(0.01)) < 1e-12);
    let grid = traverse::points(&flat, Rule::LogTchebycheff, 0).unwrap();
    assert_eq!(grid.len(), 25);
    assert!(
        grid.iter()
            .all(|p| p.x_m > 0.0 && p.x_m < 0.2 && p.y_m > 0.0 && p.y_m < 0.1)
    );
    let circle = traverse::points(&round, Rule::LogTchebycheff, 6).unwrap();
    assert_eq!(circle.len(), 12);
    assert!(circle.iter().all(|p| p.x_m.hypot(p.y_m) < 0.05));
    assert_eq!(traverse::lines_across(0.8), 6);
}

/// What a rule's plain mean may miss by: for a 1/7-power profile the errors of `duct_traverse_check.csv`, 0.92 % for six
/// equal-area points in a round duct; no less than its log-law errors.
#[test]
fn a_rule_misses_the_mean_by_what_its_profile_check_says() {
    let error =
        |rule, round, lines, points| traverse::profile_error(rule, round, lines, points).unwrap();
    assert!((error(Rule::EqualArea, true, 2, 6) - 0.0092).abs() < 5e-5);
    assert!((error(Rule::LogTchebycheff, true, 2, 6) - 0.00326).abs() < 2e-5);
    assert_eq!(error(Rule::LogLinear, true, 2, 8), 0.003);
    assert_eq!(error(Rule::LogTchebycheff, false, 5, 5), 0.015);
    assert!(traverse::profile_error(Rule::LogLinear, false, 5, 5).is_err());
}

/// Coefficients of three published maps and of a 2021 paper's table; the values were computed from them apart from this program.
#[test]
fn ten_coefficient_polynomials_give_their_check_values() {
    let mut maps: BTreeMap<(String, String), TenCoefficients> = BTreeMap::new();
    for row in table("compressor_maps.csv") {
        let c = std::array::from_fn(|i| num(&row, &format!("c{}", i + 1)));
        maps.insert(
            (row["map"].clone(), row["quantity"].clone()),
            TenCoefficients { c },
        );
    }
    for row in table("compressor_map_check_points.csv") {
        for (quantity, column) in [("capacity", "capacity_w"), ("power", "power_w")] {
            let map = maps[&(row["map"].clone(), quantity.to_owned())];
            let (s, d) = (num(&row, "suction_c"), num(&row, "discharge_c"));
            assert!((map.at(s, d) - num(&row, column)).abs() < 5.1e-5, "{row:?}");
            let (by_s, by_d) = map.slopes(s, d);
            let h = 1e-4;
            let rise = |a: f64, b: f64| (a - b) / (2.0 * h);
            assert!(relative(by_s, rise(map.at(s + h, d), map.at(s - h, d))) < 1e-7);
            assert!(relative(by_d, rise(map.at(s, d + h), map.at(s, d - h))) < 1e-7);
        }
    }
    let paper = json("ten_coefficients_2021.json");
    let set = |key: &str| TenCoefficients {
        c: std::array::from_fn(|i| paper[key][i].as_f64().unwrap()),
    };
    let points = paper["check_points"].as_array().unwrap();
    assert_eq!(points.len(), 9);
    for point in points {
        let at = |i: usize| point[i].as_f64().unwrap();
        assert!((set("power_W").at(at(0), at(1)) - at(2)).abs() < 5.1e-5);
        assert!((set("mdot_g_per_s").at(at(0), at(1)) - at(3)).abs() < 5.1e-6);
    }
}
