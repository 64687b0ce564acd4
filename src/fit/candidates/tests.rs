use super::*;
use crate::bench::Bench;
use crate::fit::forms::{AmbientForm, Corner, Held, SettingForm};
use crate::made::bench::{Kind, Options, make};

#[test]
fn belief_in_a_control_is_shared_among_the_slopes_tried_and_none_is_lost() {
    let mut numbers = Vec::new();
    for seed in 1..9 {
        let made = make(Kind::IndependentStepped, seed, &Options::default());
        let bench = Bench::from_texts(&made.toml, &made.points_csv).unwrap();
        let data = DrawData::from_bench(&bench);
        let corner = Corner {
            tenths: 250,
            held: Held::Above,
            span: 10,
        };
        for form in control_family(&data, &[corner]) {
            let tried = held_slopes_tried(&data, form.group_count());
            let share = |held| {
                held_slope_doubt(
                    &DrawForm {
                        held,
                        ..form.clone()
                    },
                    &data,
                )
            };
            let total: f64 = tried.iter().map(|h| (-share(*h)).exp()).sum();
            assert!((total - 1.0).abs() < 1e-12, "{total} of {tried:?}");
            numbers.push(tried.len());
        }
    }
    // Two set points leave the assumed slope alone; three allow more.
    assert!(numbers.contains(&1) && numbers.contains(&4));
}

fn read(table: &str) -> DrawData {
    let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", table).unwrap();
    DrawData::from_bench(&bench)
}

#[test]
fn runs_that_scatter_wildly_still_have_a_curve() {
    // Four runs of one setting: with one coefficient the mean square of ln is (ln 3/2)² = 0.302, AICc 4 ln 0.302 + 4 + 12 = 11.2.
    let data = read("run,fan,power [W]\na,1,100\nb,1,300\nc,1,100\nd,1,300\n");
    let fit = fit_draw(data).unwrap();
    let even = { fit.candidates.iter() }
        .find(|c| c.form.scatter == Scatter::Proportional)
        .unwrap();
    let aicc = 4.0 * (0.5 * 3f64.ln()).powi(2).ln() + 16.0;
    assert!((even.aicc - aicc).abs() < 1e-9, "{}", even.aicc);
    assert!((even.fit.coef[0].exp() - 30_000f64.sqrt()).abs() < 1e-9);
    let weights: f64 = fit.candidates.iter().map(|c| c.weight).sum();
    assert!((weights - 1.0).abs() < 1e-12);
}

#[test]
fn a_control_is_looked_for_where_a_wild_curve_is_steep_but_credible() {
    // 15 % for each kelvin, and a scatter at right angles to it of 20 %: AICc 13.8 for the slope and 4.3 without one.
    let mut table = "run,fan,intake_temp [degC],power [W]\n".to_owned();
    for (t, off) in [
        (20.0_f64, 0.14),
        (22.5, -0.28),
        (25.0, 0.0),
        (27.5, 0.28),
        (30.0, -0.14),
    ] {
        let draw = 100.0 * (0.15 * (t - 25.0) + off).exp();
        table.push_str(&format!("{t},1,{t},{draw}\n"));
    }
    let data = read(&table);
    let (plain, steps) = (family(&data).len(), control_family(&data, &[]).len());
    assert!(steps > 0);
    let fit = fit_draw(data).unwrap();
    assert!(fit.candidates[0].score() > 0.0);
    assert!(fit.tried >= plain + steps);
}

#[test]
fn belief_in_a_stepping_control_is_e_to_one_against_and_shared_among_its_places() {
    let of = |intakes: &[f64]| {
        let mut table = "run,fan,intake_temp [degC],power [W]\n".to_owned();
        for (i, t) in intakes.iter().enumerate() {
            table.push_str(&format!("{i},1,{t},{}\n", 100 + i));
        }
        let data = read(&table);
        let form = { control_family(&data, &[]).into_iter() }
            .find(|f| f.intake == IntakeForm::Terraced(1) && f.held == HeldSlope::Assumed);
        let form = form.unwrap();
        fit_form(&data, form.clone(), 100.0).unwrap().log_prior + held_slope_doubt(&form, &data)
    };
    // One gap, one place. Two gaps: a step in either or in both, three ways.
    assert!((of(&[20.0, 20.0, 20.0, 25.0, 25.0, 25.0]) + 1.0).abs() < 1e-12);
    let three = of(&[20.0, 20.0, 25.0, 25.0, 30.0, 30.0]);
    assert!((three + 1.0 + 3f64.ln()).abs() < 1e-12, "{three}");
}

#[test]
fn what_blocks_add_is_the_mean_over_the_belief_that_tells_of_it() {
    let mut table = "run,fan,block,intake_temp [degC],power [W]\n".to_owned();
    for i in 0..16 {
        let (block, off) = (i / 8, [0.004, -0.004, -0.003, 0.003][i % 4]);
        let draw = 100.0 * (0.02 * block as f64 + off).exp();
        table.push_str(&format!(
            "{i},{},{block},{},{draw}\n",
            i % 2 + 1,
            24 + i % 8
        ));
    }
    let data = read(&table);
    let fit = fit_draw(data).unwrap();
    let mut one = vec![fit.best().clone()];
    one[0].weight = 0.2;
    let own = one[0].blocks.as_ref().unwrap().variance();
    assert!(own > 0.0);
    // Alone, a candidate's own figure, whatever its weight.
    let found = take_blocks_apart(&fit.data, &mut one);
    assert!((found / own - 1.0).abs() < 1e-12, "{found} {own}");
}

#[test]
fn a_bend_at_the_middle_set_point_is_believed_as_a_corner_within_half_a_kelvin_of_it() {
    let mut table = "run,fan,intake_temp [degC],power [W]\n".to_owned();
    for (i, t) in [20.0, 20.0, 26.0, 26.0, 32.0, 32.0].into_iter().enumerate() {
        table.push_str(&format!("{i},1,{t},{}\n", 100 + i));
    }
    let data = read(&table);
    let log_prior = |intake| {
        let form = DrawForm {
            groups: vec![0],
            setting: SettingForm::Flat,
            intake,
            held: HeldSlope::Assumed,
            ambient: AmbientForm::None,
            moisture: false,
            lift: false,
            scatter: Scatter::Proportional,
        };
        fit_form(&data, form, 100.0).unwrap().log_prior
    };
    // e^(-0.5), half of it held above, 1 K of the 12 K between the coldest and the warmest run.
    let by_hand = -0.5 + (0.5f64 / 12.0).ln();
    assert!((log_prior(IntakeForm::Kinked) - by_hand).abs() < 1e-12);
    let corner = Corner {
        tenths: 260,
        held: Held::Above,
        span: 10,
    };
    // At three set points half the belief is in the assumed slope of the held speed.
    assert!((log_prior(IntakeForm::Ramp(corner)) - by_hand + 2f64.ln()).abs() < 1e-12);
}
