use super::*;
use crate::fit::candidates::fit_draw;
use crate::fit::forms::{CapacityData, DrawData};

/// A made bench: fan 1 draws 100 W and fan 2 200 W at 27 degC intake and 35 degC ambient, +1 % per K of ambient, nothing by the intake; run
/// scatter ±0.4 %, a meter good for 0.5 %. Fan 2 moves 240 m3/h, the anemometer good for 3 %.
fn bench(claims: &str) -> Bench {
    let mut csv = String::from(
        "run,kind,fan,order,intake_temp [degC],outlet_temp [degC],ambient_temp [degC],airflow [m3/h],voltage [V],power [W]\n",
    );
    let mut n = 0;
    for fan in [1.0, 2.0] {
        for intake in [22.0, 27.0, 32.0] {
            for ambient in [31.0, 35.0, 39.0] {
                // A scatter that neither fan nor conditions explain.
                let scatter = 1.0 + 0.004 * [1.0, -1.0, 0.5, -0.5, -1.0, 1.0, 0.0][n % 7];
                let draw = 100.0 * fan * (0.01_f64 * (ambient - 35.0)).exp() * scatter;
                n += 1;
                csv.push_str(&format!(
                    "r{n},cooling,{fan},{n},{intake},{},{ambient},{},25.0,{draw:.3}\n",
                    intake - 10.0,
                    120.0 * fan
                ));
            }
        }
    }
    let toml = format!(
        "title = \"Made\"\n[unit]\nname = \"made unit\"\nsupply = \"24 V\"\n[unit.claims]\n{claims}\n[points]\nfile = \"points.csv\"\n[[instrument]]\nname = \"meter\"\nmeasures = [\"power\"]\naccuracy = \"0.5 % of reading\"\n[[instrument]]\nname = \"vane\"\nmeasures = [\"airflow\"]\naccuracy = \"3 % of reading\"\n"
    );
    Bench::from_texts(&toml, &csv).unwrap()
}

fn held_one(claims: &str) -> HeldClaim {
    let bench = bench(claims);
    let data = DrawData::from_bench(&bench);
    let capacity = CapacityData::from_bench(&bench, &data)
        .map_err(|e| e.to_string())
        .map(|c| (c.kind, fit_draw(c.data).unwrap()));
    let budgets = Budgets::of(&bench, &data, 0.95).unwrap();
    let draw = fit_draw(data).unwrap();
    let fits = Fits {
        draw: Ok(&draw),
        capacity: capacity
            .as_ref()
            .map(|(k, f)| (*k, f))
            .map_err(Clone::clone),
        budgets: Some(&budgets),
    };
    hold_claims(&bench, &fits, 0.95).remove(0)
}

#[test]
fn keeping_by_hand() {
    let m = Measured {
        value: 100.0,
        low: 96.0,
        high: 104.0,
    };
    // At least 98 with a tolerance of 2: the limit is 96, the whole interval lies on or above it.
    assert_eq!(m.keeps(98.0, 2.0, Sense::AtLeast), Some(true));
    // Without the tolerance 96 < 98 < 104: open. At least 105: 104 < 105, broken.
    assert_eq!(m.keeps(98.0, 0.0, Sense::AtLeast), None);
    assert_eq!(m.keeps(105.0, 0.0, Sense::AtLeast), Some(false));
    // Broken by a tolerance too small, open by one that is not: 107 less 2 is 105, less 4 is 103.
    assert_eq!(m.keeps(107.0, 2.0, Sense::AtLeast), Some(false));
    assert_eq!(m.keeps(107.0, 4.0, Sense::AtLeast), None);
    // At most 104: kept; at most 95: 96 > 95, broken; with a tolerance of 3 the limit is 98: open.
    assert_eq!(m.keeps(104.0, 0.0, Sense::AtMost), Some(true));
    assert_eq!(m.keeps(95.0, 0.0, Sense::AtMost), Some(false));
    assert_eq!(m.keeps(95.0, 3.0, Sense::AtMost), None);
}

#[test]
fn a_true_and_a_false_claim_at_conditions_that_were_tested() {
    let at = "intake = \"27 degC\", ambient = \"35 degC\"";
    let c = held_one(&format!("draw_high = {{ value = \"205 W\", {at} }}"));
    assert_eq!(
        (c.finding, c.conditions.from),
        (Finding::Holds, TakenFrom::Claim),
        "{c:?}"
    );
    assert_eq!(c.conditions.fan.as_deref(), Some("2"));
    // The truth, 200 W, within the interval.
    assert!(c.low.unwrap() < 200.0 && 200.0 < c.high.unwrap(), "{c:?}");
    let c = held_one(&format!("draw_high = {{ value = \"190 W\", {at} }}"));
    assert_eq!(c.finding, Finding::Fails, "{c:?}");
    // 190 W with 8 %: up to 205.2 W.
    let c = held_one(&format!(
        "draw_high = {{ value = \"190 W\", tolerance = \"8 %\", {at} }}"
    ));
    assert_eq!(c.finding, Finding::Holds, "{c:?}");
    assert!((c.tolerance - 15.2).abs() < 1e-9);
    // 200 W is the truth itself: no interval settles it.
    let c = held_one(&format!("draw_high = {{ value = \"200 W\", {at} }}"));
    assert_eq!(c.finding, Finding::CannotTell, "{c:?}");
    let c = held_one(&format!("draw_low = {{ value = \"105 W\", {at} }}"));
    assert_eq!(
        (c.finding, c.conditions.fan.as_deref()),
        (Finding::Holds, Some("1")),
        "{c:?}"
    );
}

#[test]
fn nothing_fails_at_other_conditions_or_at_none() {
    // 46 degC is 7 K beyond the tests; at the nearest, 39 degC, it draws 200 e^0.04 = 208 W.
    let c =
        held_one("draw_high = { value = \"190 W\", intake = \"27 degC\", ambient = \"46 degC\" }");
    assert_eq!(
        (c.finding, c.conditions.from),
        (Finding::CannotTell, TakenFrom::NearestTested),
        "{c:?}"
    );
    assert_eq!(c.conditions.ambient_c, Some(39.0));
    assert!(
        (c.measured.unwrap() - 200.0 * 0.04_f64.exp()).abs() < 2.0,
        "{c:?}"
    );
    // Nor is anything kept there.
    let c =
        held_one("draw_high = { value = \"230 W\", intake = \"27 degC\", ambient = \"46 degC\" }");
    assert_eq!(c.finding, Finding::CannotTell, "{c:?}");
    // Without conditions: at most 208 W over everything tested, so 215 W holds and 205 W does not everywhere.
    assert_eq!(held_one("draw_high = \"215 W\"").finding, Finding::Holds);
    assert_eq!(
        held_one("draw_high = \"205 W\"").finding,
        Finding::CannotTell
    );
    assert_eq!(
        held_one("draw_high = \"150 W\"").finding,
        Finding::CannotTell
    );
    // A setting that was never run, and a mass.
    let c = held_one(
        "draw_high = { value = \"150 W\", fan = 3, intake = \"27 degC\", ambient = \"35 degC\" }",
    );
    assert!(
        c.finding == Finding::CannotTell && c.measured.is_none(),
        "{c:?}"
    );
    assert_eq!(held_one("mass = \"17 kg\"").finding, Finding::CannotTell);
}

#[test]
fn currents_count_for_the_voltage_of_the_runs_and_the_nominal_one() {
    let at = "intake = \"27 degC\", ambient = \"35 degC\"";
    // 200 W are 8.0 A at the runs' 25 V and 8.33 A at the nominal 24 V.
    let c = held_one(&format!("current_high = {{ value = \"8.2 A\", {at} }}"));
    assert_eq!(c.finding, Finding::CannotTell, "{c:?}");
    assert!((c.measured.unwrap() - 8.0).abs() < 0.05);
    assert!(
        c.low.unwrap() < 8.0 && c.high.unwrap() > 200.0 / 24.0,
        "{c:?}"
    );
    let c = held_one(&format!("current_high = {{ value = \"8.6 A\", {at} }}"));
    assert_eq!(c.finding, Finding::Holds, "{c:?}");
    let c = held_one(&format!("current_high = {{ value = \"7.7 A\", {at} }}"));
    assert_eq!(c.finding, Finding::Fails, "{c:?}");
}

#[test]
fn airflow_fails_only_at_a_named_level_in_free_air() {
    // 240 m3/h, limits 3 % that hold 95 %: 232.8 to 247.2.
    let c = held_one("airflow = { value = \"230 m3/h\", fan = 2 }");
    assert_eq!(c.finding, Finding::Holds, "{c:?}");
    assert!(
        (c.low.unwrap() - 232.8).abs() < 0.05 && (c.high.unwrap() - 247.2).abs() < 0.05,
        "{c:?}"
    );
    assert_eq!(
        held_one("airflow = { value = \"260 m3/h\", fan = \"2\" }").finding,
        Finding::Fails
    );
    assert_eq!(
        held_one("airflow = \"260 m3/h\"").finding,
        Finding::CannotTell
    );
}

#[test]
fn sensible_cooling_alone_can_keep_a_claim_but_not_break_it() {
    // No humidity was read: 240 m3/h through 10 K are some 800 W sensible.
    let at = "intake = \"27 degC\", ambient = \"35 degC\"";
    let c = held_one(&format!("cooling = {{ value = \"2 kW\", {at} }}"));
    assert_eq!(c.finding, Finding::CannotTell, "{c:?}");
    assert!((700.0..900.0).contains(&c.measured.unwrap()), "{c:?}");
    let c = held_one(&format!("cooling = {{ value = \"500 W\", {at} }}"));
    assert_eq!(c.finding, Finding::Holds, "{c:?}");
    // T1 names a wet bulb, and no humidity was read.
    let c = held_one("cooling = { value = \"2 kW\", rating = \"T1\" }");
    assert_eq!(c.finding, Finding::CannotTell, "{c:?}");
    assert!(c.reason.contains("from memory"), "{c:?}");
}

#[test]
fn the_claims_wet_bulb_is_held_against_that_of_the_runs_near_its_intake() {
    // T1 is 27 degC dry and 19 degC wet, which is 46.9 % (the psychrometer's equation, by itself in Python); the runs at 32 degC are far
    // moister, and not near.
    let found = |rh: f64, claims: &str| {
        let mut table =
            "run,fan,intake_temp [degC],intake_rh [%],ambient_temp [degC],power [W]\n".to_owned();
        for (run, intake, rh) in [
            ("a", 26.5, rh),
            ("b", 27.0, rh),
            ("c", 27.5, rh),
            ("d", 32.0, 90.0),
        ] {
            table.push_str(&format!("{run},1,{intake},{rh},35,100\n"));
        }
        let toml = format!("[unit.claims]\n{claims}\n[points]\nfile = \"points.csv\"\n");
        let bench = Bench::from_texts(&toml, &table).unwrap();
        let data = DrawData::from_bench(&bench);
        match conditions::humidity(&bench, &data, &bench.unit.claims[0]) {
            conditions::Humidity::Same => "same".to_owned(),
            conditions::Humidity::NotStated(wet) => format!("{:.1}", wet.unwrap()),
            conditions::Humidity::NotRead => "not read".to_owned(),
            conditions::Humidity::Other(said) => said.to_string(),
        }
    };
    let t1 = "cooling = { value = \"500 W\", rating = \"T1\" }";
    assert_eq!(found(46.9, t1), "same");
    // 20.4 degC wet at 55 %, 17.7 degC at 40 %.
    for rh in [55.0, 40.0] {
        let other = found(rh, t1);
        assert!(
            other.starts_with("The claim is for a wet bulb of 19"),
            "{other}"
        );
    }
    let open = "cooling = { value = \"500 W\", intake = \"27 degC\", ambient = \"35 degC\" }";
    assert_eq!(found(46.9, open), "19.0");
}

#[test]
fn the_runs_wet_bulb_is_that_at_their_own_pressure_and_at_most_their_dry_bulb() {
    let found = |row: &str| {
        let table =
            format!("run,fan,intake_temp [degC],intake_rh [%],pressure [hPa],power [W]\n{row}\n");
        let toml = "[unit.claims]\ncooling = \"500 W\"\n[points]\nfile = \"points.csv\"\n";
        let bench = Bench::from_texts(toml, &table).unwrap();
        let data = DrawData::from_bench(&bench);
        match conditions::humidity(&bench, &data, &bench.unit.claims[0]) {
            conditions::Humidity::NotStated(Some(wet)) => wet,
            _ => f64::NAN,
        }
    };
    // 27 degC and 46.9 % (the psychrometer's equation, by itself in Python): 18.99 degC at sea level, 18.39 degC at 800 hPa.
    assert!((found("a,1,27,46.9,1013.25,100") - 18.99).abs() < 0.03);
    assert!((found("a,1,27,46.9,800,100") - 18.39).abs() < 0.03);
    // A hygrometer that reads a little over 100 % says saturated.
    assert!((found("a,1,19,100.5,1013.25,100") - 19.0).abs() < 0.01);
}
