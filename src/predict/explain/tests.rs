use super::*;

fn near(ours: f64, by_hand: f64) {
    assert!((ours / by_hand - 1.0).abs() < 1e-9, "{ours} {by_hand}");
}

/// Two opinions of one candidate and one of another: weight, centre, coefficients, further run, control, corner, ambient.
fn list() -> Vec<Opinion> {
    let own = CandidateDraw {
        draw_w: 100.0,
        compressor_w: 80.0,
        mean_sd_w: 4.0,
        run_sd_w: 5.0,
        block_sd_w: (2.0, 3.0),
        dof: 6.0,
        intake_slope_w_per_k: 0.0,
        ambient_slope_w_per_k: 0.0,
    };
    [
        (0, [0.2, 100.0, 4.0, 5.0, 1.0, 0.5, 0.7]),
        (0, [0.1, 130.0, 4.0, 5.0, 2.0, 0.0, 0.0]),
        (2, [0.3, 88.0, 6.0, 10.0, 0.0, 3.0, 2.0]),
    ]
    .map(
        |(
            candidate,
            [
                weight,
                centre_w,
                coefficients_w,
                run_sd_w,
                control_w,
                corner_w,
                ambient_w,
            ],
        )| Opinion {
            candidate,
            weight,
            centre_w,
            coefficients_w,
            shared_w: 0.0,
            corner_w,
            control_w,
            ambient_w,
            run_sd_w,
            dof: 6.0,
            own,
            factor: 1.0,
        },
    )
    .to_vec()
}

#[test]
fn opinions_of_one_candidate_are_joined_by_weight() {
    let m = Moments::of(&list()).unwrap();
    // Of 0.6 the first candidate has 0.3: (0.2 × 100 + 0.1 × 130)/0.3 = 110 W; the other 88 W; the mixture ½ (110 + 88) = 99 W.
    let named: Vec<_> = m.candidates.iter().map(|c| c.index).collect();
    assert_eq!(named, [0, 2]);
    near(m.total, 0.6);
    near(m.candidates[0].weight, 0.5);
    near(m.candidates[0].centre_w, 110.0);
    near(m.candidates[1].weight, 0.5);
    near(m.candidates[1].centre_w, 88.0);
    near(m.centre_w, 99.0);
    assert!(Moments::of(&[]).is_none());
}

#[test]
fn a_mixtures_variance_in_its_parts_by_hand() {
    let list = list();
    let moments = Moments::of(&list).unwrap();
    let table =
        "run,kind,fan,intake_temp [degC],ambient_temp [degC],power [W]\nr1,cooling,1,27,30,100\n";
    let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", table).unwrap();
    let v = Variance::of(&bench, &At::new(0, 0, 27.0, 30.0), &list, &moments);
    // With six degrees of freedom a t distribution's variance is 6/4 of its squared scale: 0.5, 0.25 and 0.75 of each opinion's squares.
    // Blocks hold (2/4)² of the coefficients' and (3/5)² of a further run's.
    let coefficients = 0.5 * 16.0 + 0.25 * 16.0 + 0.75 * 36.0;
    near(v.coefficients, 0.75 * coefficients);
    near(v.blocks.0, 0.25 * coefficients);
    let run = 0.5 * 25.0 + 0.25 * 25.0 + 0.75 * 100.0;
    near(v.scatter, 0.64 * run);
    near(v.blocks.1, 0.36 * run);
    // The candidates stand 11 W to either side of 99 W.
    near(v.forms, 121.0);
    // 0.5 (1 + 0.25) + 0.25 × 4 + 0.75 × 9, and the first candidate's two opinions 10 W below and 20 W above its 110 W: 100/3 + 400/6.
    near(v.control, 8.375 + 100.0);
    near(v.ambient, 0.5 * 0.49 + 0.75 * 4.0);
    near(v.mean(), 29.25 + 9.75 + 121.0 + 108.375 + 3.245);
    near(v.run(), 271.62 + 60.0 + 33.75);
}

#[test]
fn the_moments_of_a_mixture_by_hand() {
    let list = list();
    let squares = [9.0, 4.0, 25.0];
    let of = |o: &Opinion| {
        let k = list.iter().position(|p| p.centre_w == o.centre_w).unwrap();
        (o.centre_w, squares[k])
    };
    // From 100 W: 0, 30 and −12 W. First: (0.1 × 30 − 0.3 × 12)/0.6 = −1. Second: (0.2 × 13.5 + 0.1 (900 + 6) + 0.3 (144 + 37.5))/0.6
    // = 246.25, less 1.
    let (mean, variance) = mean_moments(&list, of);
    near(mean, 99.0);
    near(variance, 245.25);
    // Moved by a kilowatt, the variance stays.
    let (mean, variance) = mean_moments(&list, |o| (of(o).0 + 1000.0, of(o).1));
    near(mean, 1099.0);
    near(variance, 245.25);
    near(inflation(6.0), 1.5);
    assert_eq!((inflation(2.0), inflation(1.0)), (3.0, 3.0));
}

/// A run that alone decides its setting's value says nothing of another setting, so nothing there falls silent without it.
#[test]
fn a_lone_run_silences_its_own_setting_alone() {
    use crate::fit::candidates::fit_draw;
    use crate::fit::forms::DrawData;
    let mut table = "run,mode,fan,intake_temp [degC],power [W]\n".to_owned();
    // No pattern joins the four settings, so a value for each is what is believed.
    for (setting, draw, runs) in [
        ("a,1", 100, 5),
        ("a,2", 160, 5),
        ("b,1", 220, 5),
        ("b,2", 130, 1),
    ] {
        for k in 0..runs {
            let power = f64::from(draw) * (1.0 + 0.002 * f64::from(k * 3 % 5 - 2));
            let name = setting.replace(',', "");
            table.push_str(&format!("{name}-{k},{setting},27,{power:.3}\n"));
        }
    }
    let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
    let fit = fit_draw(DrawData::from_bench(&bench)).unwrap();
    let silenced = |mode, level| {
        let e = explain(&bench, &fit, At::new(mode, level, 27.0, 27.0), None).unwrap();
        let lone = e.runs.iter().find(|r| r.point == 15).unwrap();
        lone.silenced
    };
    assert_eq!(silenced(0, 0), 0.0);
    assert!(silenced(1, 1) > 0.9);
}
