//! What the forms make of small benches, by hand.

use super::*;
use crate::bench::Bench;

fn data(table: &str) -> DrawData {
    let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", table).unwrap();
    DrawData::from_bench(&bench)
}

#[test]
fn a_blower_read_off_the_power_law_has_its_uncertainty() {
    // 5 W at 100 m3/h and 20 W at 200: 11.25 W at 150, with 2 % for runs that were not repeated and 8 % for the law, √68 % in all.
    let data = data(
        "run,kind,fan,airflow [m3/h],power [W]\na,cooling,1,100,100\nb,cooling,2,150,110\nc,cooling,3,200,120\nd,fan-only,1,100,5\ne,fan-only,3,200,20\n",
    );
    let blower = data.blower.unwrap();
    let read = &blower.levels[1];
    assert_eq!((read.runs, read.source), (0, BlowerSource::Interpolated));
    assert!((read.draw_w - 11.25).abs() < 1e-9, "{read:?}");
    assert!(
        (read.u_w - 11.25 * 0.01 * 68f64.sqrt()).abs() < 1e-9,
        "{read:?}"
    );
    assert!((blower.levels[2].u_w - 0.4).abs() < 1e-9);
}

#[test]
fn a_blower_that_draws_nine_tenths_of_a_cooling_run_is_not_believed() {
    let told = |w: f64| {
        let table = format!("run,kind,fan,power [W]\na,cooling,1,100\nb,fan-only,1,{w}\n");
        data(&table).blower.is_some()
    };
    assert!(told(89.5) && !told(90.5));
}

/// Two fan levels at intakes of 22, 27 and 33 degC and ambients of 31 and 37 degC.
fn bent() -> DrawData {
    let mut table = "run,fan,intake_temp [degC],ambient_temp [degC],power [W]\n".to_owned();
    for fan in 1..=2 {
        for intake in [22, 27, 33] {
            for ambient in [31, 37] {
                table.push_str(&format!(
                    "{fan}-{intake}-{ambient},{fan},{intake},{ambient},100\n"
                ));
            }
        }
    }
    data(&table)
}

#[test]
fn equations_of_bent_and_kinked_forms_give_the_forms_values() {
    let data = bent();
    assert_eq!((data.intake_ref, data.ambient_ref), (27.3, 34.0));
    assert_eq!(data.kink(), Some(27.0));
    let of = |intake, third: f64, t: f64, a: f64| {
        let form = DrawForm {
            groups: vec![0],
            setting: SettingForm::Flat,
            intake,
            held: HeldSlope::Assumed,
            ambient: AmbientForm::Common,
            moisture: false,
            lift: false,
            scatter: Scatter::Proportional,
        };
        let list = form.equations(&data, &[4.5, 0.02, third, 0.01]);
        assert_eq!(list.len(), 2);
        let equation = crate::fit::Equation::parse(&list[1].text).unwrap();
        equation.value(|name| match name {
            "intake_degC" => t,
            "ambient_degC" => a,
            _ => f64::NAN,
        })
    };
    for (t, a) in [
        (27.3, 34.0),
        (22.0, 31.0),
        (25.0, 37.0),
        (33.0, 34.0),
        (36.0, 40.0),
    ] {
        let straight = 4.5 + 0.02 * (t - 27.3) + 0.01 * (a - 34.0);
        // The square of the distance from 27.3; from 33, 5.7 away, the tangent.
        let square = if t <= 33.0 {
            (t - 27.3f64).powi(2)
        } else {
            32.49 + 11.4 * (t - 33.0)
        };
        let bend = of(IntakeForm::Quadratic, 0.0015, t, a);
        assert!(
            (bend.ln() - straight - 0.0015 * square).abs() < 1e-6,
            "{t} {a} {bend}"
        );
        let kink = of(IntakeForm::Kinked, 0.03, t, a);
        let above = if t > 27.0 { t - 27.0 } else { 0.0 };
        assert!(
            (kink.ln() - straight - 0.03 * above).abs() < 1e-6,
            "{t} {a} {kink}"
        );
    }
}

/// The intake forms of a control's steps that are tried, once each.
fn controls(intakes: &[f64]) -> Vec<IntakeForm> {
    let mut table = "run,fan,intake_temp [degC],power [W]\n".to_owned();
    for (i, intake) in intakes.iter().enumerate() {
        table.push_str(&format!("{i},1,{intake},100\n"));
    }
    let forms = control_family(&data(&table), &[]);
    let mut list: Vec<IntakeForm> = forms.iter().map(|f| f.intake).collect();
    list.sort();
    list.dedup();
    list
}

#[test]
fn a_control_may_step_in_either_gap_or_in_both() {
    let list = controls(&[20.0, 20.0, 25.0, 25.0, 30.0, 30.0]);
    // Bit by bit: the first gap, the second, both.
    assert_eq!(list, [1, 2, 3].map(IntakeForm::Terraced));
}

/// Modes of the given mean logarithms of draw at two fan levels alike.
fn modes(offsets: &[f64]) -> DrawData {
    let mut table = "run,mode,fan,power [W]\n".to_owned();
    for (m, offset) in offsets.iter().enumerate() {
        for fan in 1..=2 {
            let draw = 100.0 * f64::from(fan) * offset.exp();
            table.push_str(&format!("{m}-{fan},{m},{fan},{draw}\n"));
        }
    }
    data(&table)
}

#[test]
fn two_merged_modes_stand_between_them() {
    // 0.5 and 0.55 merge at 0.525, 0.275 under 0.8; then 0.8 and 1 are nearer to each other.
    let list = groupings(&modes(&[-2.85, 0.5, 0.55, 0.8, 1.0]));
    assert!(list.contains(&vec![0, 1, 1, 2, 2]), "{list:?}");
}

#[test]
fn three_merged_modes_stand_at_their_mean() {
    // 1 and 1.01, then 1.025 merge at 1.0117, and 1.3 is nearer to that than the last two, 0.4 apart, to each other.
    let list = groupings(&modes(&[1.0, 1.01, 1.025, 1.3, -2.3675, -1.9675]));
    assert!(list.contains(&vec![0, 0, 0, 0, 1, 2]), "{list:?}");
}

#[test]
fn modes_at_other_fan_levels_are_compared_over_these() {
    // Over the means of their levels, e^2 and e^6 W: −0.2 and 0.2 at fan 1; −0.3, −0.01 and 0.31 at fan 2. Nearest are −0.3 and −0.2.
    let mut table = "run,mode,fan,power [W]\n".to_owned();
    for (mode, fan, ln_draw) in [
        ("a", 1, 1.8f64),
        ("b", 1, 2.2),
        ("c", 2, 5.7),
        ("d", 2, 5.99),
        ("e", 2, 6.31),
    ] {
        table.push_str(&format!("{mode},{mode},{fan},{}\n", ln_draw.exp()));
    }
    let list = groupings(&data(&table));
    assert!(list.contains(&vec![0, 1, 0, 2, 3]), "{list:?}");
}

#[test]
fn a_ramp_with_a_slope_for_each_mode_by_hand() {
    let mut table = "run,mode,fan,intake_temp [degC],ambient_temp [degC],power [W]\n".to_owned();
    for mode in ["mild", "brisk"] {
        for intake in [22, 27, 33] {
            for ambient in [31, 37] {
                table.push_str(&format!(
                    "{mode}-{intake}-{ambient},{mode},1,{intake},{ambient},100\n"
                ));
            }
        }
    }
    let data = data(&table);
    let mode = |name: &str| data.modes.iter().position(|m| m == name).unwrap();
    let corner = Corner {
        tenths: 295,
        held: Held::Above,
        span: 4,
    };
    let form = DrawForm {
        groups: vec![0, 1],
        setting: SettingForm::Flat,
        intake: IntakeForm::RampByGroup(corner),
        held: HeldSlope::Assumed,
        ambient: AmbientForm::Common,
        moisture: false,
        lift: false,
        scatter: Scatter::Proportional,
    };
    // ln 100 and ln 150 at 27.3 degC; 3 and 5 % per K up to 29.5, from there on -0.2 %; 1 % per K of ambient.
    let coef = [100f64.ln(), 150f64.ln(), 0.03, 0.05, 0.01];
    assert_eq!(
        form.names(&data)[2..4],
        [
            "slope with intake up to 29.5 degC, mild",
            "slope with intake up to 29.5 degC, brisk"
        ]
    );
    assert_eq!(form.units(&data)[2..4], ["1/K", "1/K"]);
    assert_eq!(form.control(&data, &coef), [0.03, 0.05]);
    assert_eq!(form.ramp(&data, &coef, mode("brisk")), Some((0.05, corner)));
    let equations = form.equations(&data, &coef);
    for (name, base, slope) in [("mild", 100.0, 0.03), ("brisk", 150.0f64, 0.05f64)] {
        let own = equations.iter().find(|e| e.modes == name).unwrap();
        let equation = crate::fit::Equation::parse(&own.text).unwrap();
        for (t, ramped, held) in [(24.0, -3.3, 0.0), (29.5, 2.2, 0.0), (33.0, 2.2, 3.5)] {
            let ln = base.ln() + slope * ramped - 0.002 * held + 0.01 * 2.0;
            let at = At::new(mode(name), 0, t, 36.0);
            let row = form.row(&data, &at).unwrap();
            let value: f64 = row.iter().zip(&coef).map(|(x, c)| x * c).sum();
            assert!((value + form.offset(&data, &at).unwrap() - ln).abs() < 1e-12);
            let written = equation.value(|n| if n == "intake_degC" { t } else { 36.0 });
            assert!((written.ln() - ln).abs() < 1e-6, "{name} {t}: {written}");
        }
    }
}

#[test]
fn slopes_of_their_own_are_tried_for_ramps_where_three_set_points_show_the_corner() {
    let tried = |intakes: &[f64]| {
        let mut table = "run,mode,fan,intake_temp [degC],power [W]\n".to_owned();
        for (i, intake) in intakes.iter().enumerate() {
            for mode in ["a", "b"] {
                table.push_str(&format!("{mode}{i},{mode},1,{intake},100\n"));
            }
        }
        let corner = Corner {
            tenths: 240,
            held: Held::Above,
            span: 5,
        };
        let forms = control_family(&data(&table), &[corner]);
        let own = |f: &&DrawForm| matches!(f.intake, IntakeForm::RampByGroup(_));
        assert!(forms.iter().filter(own).all(|f| f.group_count() == 2));
        forms.iter().filter(own).count()
    };
    assert_eq!(tried(&[20.0, 20.0, 26.0, 26.0]), 0);
    assert!(tried(&[20.0, 20.0, 26.0, 26.0, 32.0, 32.0]) > 0);
}

#[test]
fn the_scatter_of_one_set_point_is_no_second_intake() {
    let runs = |intakes: &[f64]| {
        let mut table = "run,fan,intake_temp [degC],power [W]\n".to_owned();
        for (i, intake) in intakes.iter().enumerate() {
            table.push_str(&format!("{i},1,{intake},100\n"));
        }
        data(&table)
    };
    let count = |intakes: &[f64]| runs(intakes).distinct_intakes();
    let near = |set: f64| [-1.1, -0.4, 0.0, 0.4, 1.1].map(|d| set + d).to_vec();
    // Two set points 5 K apart whose runs reach over 2.2 K each, and three of them.
    assert_eq!(count(&[near(21.0), near(26.0)].concat()), 2);
    assert_eq!(count(&[near(21.0), near(26.0), near(31.0)].concat()), 3);
    // A capacity has no corner between them: 2.2 K is one intake and one more.
    let mut capacity = runs(&[near(21.0), near(26.0)].concat());
    capacity.response = "capacity";
    assert_eq!(capacity.distinct_intakes(), 4);
    // Runs everywhere from 20 to 31.5 degC: 11.5 K in one stretch, one more for each 2 K of it; the same beside a set point, for each 4 K.
    let mut swept: Vec<f64> = (0..24).map(|i| 20.0 + 0.5 * f64::from(i)).collect();
    assert_eq!(count(&swept), 6);
    swept.push(38.0);
    assert_eq!(count(&swept), 4);
    // One run tells one intake, however its neighbours lie.
    assert_eq!(count(&[20.0]), 1);
    assert_eq!(count(&[20.0, 21.9]), 1);
}
