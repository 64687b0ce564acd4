use super::*;

fn sum(rules: Rules, rows: &[(f64, f64, f64)]) -> Summed {
    let mut s = Integrator::new(rules);
    for (t, v, i) in rows {
        s.take(*t, *v, *i);
    }
    s.finish()
}

fn rules(cutoff_v: Option<f64>) -> Rules {
    Rules {
        cutoff_v,
        gap_limit_s: 1000.0,
        largest_a: 10.0,
        least_a: 4.0,
        load_went_on: true,
    }
}

#[test]
fn ten_amperes_for_two_hours_by_hand() {
    // Trapezoids by hand: 10 A × 2 h = 20 Ah; volts 26, 24, 22 at 0, 1, 2 h: power 260, 240, 220 W,
    // ½(260 + 240) + ½(240 + 220) = 480 Wh; mean voltage 480/20 = 24 V.
    let rows: Vec<_> = (0..=8)
        .map(|k| (900.0 * f64::from(k), 26.0 - 0.5 * f64::from(k), 10.0))
        .collect();
    let s = sum(rules(None), &rows);
    let t = &s.tests[0];
    assert!((t.charge_ah - 20.0).abs() < 1e-12 && (t.energy_wh - 480.0).abs() < 1e-9);
    assert!((t.mean_v() - 24.0).abs() < 1e-12 && (t.load_h - 2.0).abs() < 1e-12);
    assert_eq!((t.reached_cutoff, s.small), (None, 0));
    // To 23 V: the line crosses at 1.5 h: 15 Ah, ½(260 + 230) × 1.5 = 367.5 Wh.
    let s = sum(rules(Some(23.0)), &rows);
    let t = &s.tests[0];
    assert!((t.charge_ah - 15.0).abs() < 1e-12, "{}", t.charge_ah);
    assert!((t.energy_wh - 367.5).abs() < 1e-9 && t.end_v == 23.0);
    assert_eq!(t.reached_cutoff, Some(true));
    // 22.75 V lies between the readings at 1.5 h (23 V) and 1.75 h (22.5 V): at 1.625 h, 16.25 Ah.
    let s = sum(rules(Some(22.75)), &rows);
    assert!((s.tests[0].charge_ah - 16.25).abs() < 1e-12);
    assert_eq!(
        sum(rules(Some(20.0)), &rows).tests[0].reached_cutoff,
        Some(false)
    );
}

#[test]
fn a_gap_is_bounded_by_the_smallest_and_the_largest_load() {
    // 5 A before and after an hour without readings; the log's loads reach from 4 to 10 A. A straight line gives 5 Ah, the ends are 4 and 10 Ah.
    let rows = [
        (0.0, 25.0, 5.0),
        (360.0, 25.0, 5.0),
        (3960.0, 24.0, 5.0),
        (4320.0, 24.0, 5.0),
    ];
    let s = sum(rules(None), &rows);
    let t = &s.tests[0];
    assert!((t.charge_ah - 6.0).abs() < 1e-12);
    assert_eq!(
        (t.gaps.count, t.gaps.longest_s, t.gaps.rested),
        (1, 3600.0, false)
    );
    assert!((t.gaps.less_ah - 1.0).abs() < 1e-12 && (t.gaps.more_ah - 5.0).abs() < 1e-12);
    // Anywhere between: rectangular, half width 5 Ah, u = 5/√3 (JCGM 100, 4.3.7).
    assert!((t.between_readings_u().0 - 5.0 / 3f64.sqrt()).abs() < 1e-12);
    // Unless the load is known to have gone on, the battery may have rested: at least nothing.
    let unknown = Rules {
        load_went_on: false,
        ..rules(None)
    };
    let s = sum(unknown, &rows);
    assert!((s.tests[0].gaps.less_ah - 5.0).abs() < 1e-12 && s.tests[0].gaps.rested);
}

#[test]
fn rest_and_charge_are_left_out_and_a_charge_begins_a_new_test() {
    let mut rows = Vec::new();
    let mut t = 0.0;
    let mut stretch = |rows: &mut Vec<(f64, f64, f64)>, v0: f64, v1: f64, i: f64| {
        for k in 0..=10 {
            rows.push((t, v0 + (v1 - v0) * f64::from(k) / 10.0, i));
            t += 60.0;
        }
    };
    stretch(&mut rows, 26.0, 26.0, 0.0);
    stretch(&mut rows, 25.0, 22.0, 10.0);
    stretch(&mut rows, 24.0, 24.5, 0.0);
    stretch(&mut rows, 24.5, 26.5, -8.0);
    stretch(&mut rows, 25.0, 22.0, 10.0);
    let s = sum(rules(None), &rows);
    assert_eq!(s.tests.len(), 2);
    // Ten minutes at 10 A, and half of the minute in which the load came (and went): 1.667 Ah + 0.083 Ah each.
    let edge = 10.0 * 0.5 / 60.0;
    assert!((s.tests[0].charge_ah - (10.0 / 6.0 + 2.0 * edge)).abs() < 1e-9);
    assert!((s.tests[1].charge_ah - (10.0 / 6.0 + edge)).abs() < 1e-9);
    assert!(s.tests[0].edges_ah2 > 0.0);
}

/// Ten minutes at 10 A from 25 to 22 V, a rest or a charge from 23 V to `rest_v`, and ten minutes more from `back_v`.
fn interrupted(
    cutoff_v: Option<f64>,
    rest_v: f64,
    rest_a: f64,
    minutes: u32,
    back_v: f64,
) -> Summed {
    let mut rows = Vec::new();
    let mut stretch = |v0: f64, v1: f64, i: f64, minutes: u32| {
        for k in 0..=minutes {
            let t = 60.0 * rows.len() as f64;
            rows.push((t, v0 + (v1 - v0) * f64::from(k) / f64::from(minutes), i));
        }
    };
    stretch(25.0, 22.0, 10.0, 10);
    stretch(23.0, rest_v, rest_a, minutes);
    stretch(back_v, back_v - 1.0, 10.0, 10);
    sum(rules(cutoff_v), &rows)
}

#[test]
fn a_battery_that_was_charged_unseen_begins_a_new_test() {
    // Of the fall from 25 to 23 V, where the load left the battery, nine tenths are back at 24.8 V. The limit of a gap is 1000 s.
    for (rest_v, minutes, back_v, tests) in [
        (25.0, 30, 24.9, 2),
        (24.9, 30, 25.0, 2),
        (25.0, 30, 24.7, 1),
        (24.7, 30, 25.0, 1),
        (25.0, 10, 24.9, 1),
    ] {
        let s = interrupted(None, rest_v, 0.0, minutes, back_v);
        assert_eq!(s.tests.len(), tests, "{rest_v} {minutes} {back_v}");
    }
    // Ended by a cut-off at 23 V, the same. What a battery that only rested still gives is no test.
    let s = interrupted(Some(23.0), 25.0, 0.0, 30, 24.9);
    assert_eq!(s.tests.len(), 2);
    let s = interrupted(Some(23.0), 25.0, 0.0, 30, 24.7);
    assert_eq!(s.tests.len(), 1);
    assert!(s.tests[0].end_s < 600.0);
}

#[test]
fn a_little_charge_is_returned_to_the_test() {
    // 0.3 A for ten minutes is 0.05 Ah, 3 % of what was taken; the minutes from and to the load hold little of it.
    let s = interrupted(None, 24.0, -0.3, 10, 23.0);
    assert_eq!(s.tests.len(), 1);
    let returned = s.tests[0].returned_ah;
    assert!((0.049..0.056).contains(&returned), "{returned}");
    // 0.6 A are 6 %.
    assert_eq!(interrupted(None, 24.0, -0.6, 10, 23.0).tests.len(), 2);
}

#[test]
fn one_reading_below_the_cut_off_is_a_dip() {
    let rows: Vec<_> = (0..=20)
        .map(|k| {
            (
                60.0 * f64::from(k),
                if k == 5 {
                    19.0
                } else {
                    25.0 - 0.1 * f64::from(k)
                },
                10.0,
            )
        })
        .collect();
    let s = sum(rules(Some(20.0)), &rows);
    assert_eq!(
        (s.tests[0].dips, s.tests[0].reached_cutoff),
        (1, Some(false))
    );
    assert!((s.tests[0].charge_ah - 10.0 / 3.0).abs() < 1e-9);
}

#[test]
fn a_step_reaches_to_the_first_settled_reading() {
    let rows = [
        (0.0, 25.0, 0.0),
        (10.0, 25.0, 0.0),
        (10.0, 25.0, 10.0),
        (10.01, 25.0, 10.0),
        (10.1, 24.9, 10.0),
        (20.0, 24.8, 10.0),
    ];
    let s = sum(rules(None), &rows);
    assert_eq!(s.steps.len(), 1);
    assert!((s.steps[0].voltage_v + 0.1).abs() < 1e-12 && s.steps[0].current_a == 10.0);
    assert!((s.tests[0].charge_ah - 100.0 / 3600.0).abs() < 1e-9);
}

#[test]
fn energy_across_a_gap_and_at_a_sloping_cut_off_by_hand() {
    // 5 A at 25 and 24 V about an hour without readings: ½ (125 + 120) = 122.5 Wh; at least 4 A at 24 V, 96 Wh; at most 10 A at 25 V, 250 Wh.
    let s = sum(rules(None), &[(0.0, 25.0, 5.0), (3600.0, 24.0, 5.0)]);
    let g = &s.tests[0].gaps;
    assert!((g.less_wh - 26.5).abs() < 1e-9 && (g.more_wh - 127.5).abs() < 1e-9);
    assert!((g.charge_ah - 5.0).abs() < 1e-12);
    let (_, u_wh) = s.tests[0].between_readings_u();
    assert!((u_wh - 127.5 / 3f64.sqrt()).abs() < 1e-9);

    // 26 V at 8 A to 22 V at 10 A within an hour cross 23 V after ¾ h at 9.5 A. What follows: ½ (9.5 + 10)/4 = 2.4375 of 9 Ah,
    // ½ (218.5 + 220)/4 = 54.8125 of ½ (208 + 220) = 214 Wh, ½ (23 + 22)/4 = 5.625 of 24 V h.
    let apart = Rules {
        gap_limit_s: 5000.0,
        ..rules(Some(23.0))
    };
    let rows = [(0.0, 26.0, 8.0), (3600.0, 22.0, 10.0), (7200.0, 21.0, 10.0)];
    let s = sum(apart, &rows);
    let t = &s.tests[0];
    assert!((t.charge_ah - 6.5625).abs() < 1e-9 && (t.energy_wh - 159.1875).abs() < 1e-9);
    assert!((t.volt_hours - 18.375).abs() < 1e-9 && (t.load_h - 0.75).abs() < 1e-12);
    assert_eq!((t.start_s, t.end_s, t.end_v), (0.0, 2700.0, 23.0));
    assert_eq!(t.trace.last(), Some(&(t.charge_ah, 23.0)));
    assert_eq!(t.gaps.count, 0);
}

#[test]
fn the_edges_of_a_load_by_hand() {
    // A minute in which 10 A at 24 V came, a minute under it, a minute in which it went: half a minute's worth for each edge, ±.
    let rows = [
        (0.0, 26.0, 0.0),
        (60.0, 24.0, 10.0),
        (120.0, 23.0, 10.0),
        (180.0, 25.0, 0.0),
    ];
    let s = sum(rules(None), &rows);
    let t = &s.tests[0];
    let minutes = |x: f64| x / 60.0;
    assert!((t.charge_ah - minutes(5.0 + 10.0 + 5.0)).abs() < 1e-12);
    assert!((t.energy_wh - minutes(120.0 + 235.0 + 115.0)).abs() < 1e-9);
    assert!((t.load_h - minutes(2.0)).abs() < 1e-12);
    // ½ × 25 + 23.5 + ½ × 24 V min.
    assert!((t.volt_hours - minutes(48.0)).abs() < 1e-9);
    assert!((t.edges_ah2 - 2.0 * minutes(5.0).powi(2)).abs() < 1e-12);
    let wh2 = minutes(120.0).powi(2) + minutes(115.0).powi(2);
    assert!((t.edges_wh2 - wh2).abs() < 1e-9);
    // The last reading under load counts, not the recovery.
    assert_eq!((t.start_s, t.end_s, t.end_v), (60.0, 180.0, 23.0));
}

#[test]
fn what_is_below_a_hundredth_of_the_largest_current_is_the_meters_zero() {
    let rows = [
        (0.0, 26.0, 5.0),
        (600.0, 25.0, 5.0),
        (610.0, 25.2, 0.09),
        (4210.0, 25.2, 0.05),
        (7810.0, 25.2, -0.02),
        (7820.0, 25.0, 5.0),
    ];
    // ½ (0.09 + 0.05) + ½ (0.05 − 0.02) A h.
    let s = sum(rules(None), &rows);
    assert!((s.tests[0].below_ah - 0.085).abs() < 1e-12);
    assert_eq!(s.tests.len(), 1);
}

#[test]
fn a_battery_below_the_cut_off_from_the_start_and_a_small_discharge() {
    let rows = [
        (0.0, 24.0, 0.0),
        (60.0, 20.0, 10.0),
        (120.0, 19.0, 10.0),
        (180.0, 18.0, 10.0),
    ];
    let s = sum(rules(Some(23.0)), &rows);
    assert_eq!((s.below_from_start, s.tests.len()), (Some(20.0), 0));

    // An hour at 10 A, a charge, and a minute or five at 10 A: 0.17 or 0.83 Ah of 10 Ah (and half a second's edge); a twentieth is a test.
    for (last_s, tests) in [(60.0, 1), (300.0, 2)] {
        let rows = [
            (0.0, 26.0, 10.0),
            (3600.0, 24.0, 10.0),
            (3601.0, 25.0, -10.0),
            (7201.0, 27.0, -10.0),
            (7202.0, 26.0, 10.0),
            (7202.0 + last_s, 25.9, 10.0),
        ];
        let rules = Rules {
            gap_limit_s: 5000.0,
            ..rules(None)
        };
        let s = sum(rules, &rows);
        assert_eq!((s.tests.len(), s.small), (tests, 2 - tests), "{last_s}");
    }
}

#[test]
fn steps_from_one_load_to_another_have_their_sign() {
    // Of 10 A at most a step is 1 A. From 4 to 7 A and back to 5 A; half an ampere is none; nor one that takes longer than 10 s.
    let rows = [
        (0.0, 25.0, 4.0),
        (2.0, 24.88, 7.0),
        (5.0, 24.96, 5.0),
        (8.0, 24.94, 5.5),
        (20.0, 24.6, 9.0),
    ];
    let s = sum(rules(None), &rows);
    let by_hand = [(3.0, -0.12, 2.0), (-2.0, 0.08, 3.0)];
    assert_eq!(s.steps.len(), 2);
    for (step, (a, v, within)) in s.steps.iter().zip(by_hand) {
        assert!((step.current_a - a).abs() < 1e-12 && (step.voltage_v - v).abs() < 1e-12);
        assert!((step.within_s - within).abs() < 1e-12);
    }
}

#[test]
fn the_end_voltage_is_the_last_under_load() {
    // 10 A pull it from 26 to 24 V; released, it recovers to 25.5 V and rests there.
    let load: Vec<_> = (0..=4)
        .map(|k| (900.0 * f64::from(k), 26.0 - 0.5 * f64::from(k), 10.0))
        .collect();
    let rest = (5..=8).map(|k| (900.0 * f64::from(k), 25.5, 0.0));
    let rows: Vec<_> = load.into_iter().chain(rest).collect();
    let s = sum(rules(None), &rows);
    assert_eq!(s.tests.len(), 1);
    assert_eq!((s.tests[0].start_v, s.tests[0].end_v), (26.0, 24.0));
}

#[test]
fn a_gap_of_two_hours_holds_twice_the_smallest_load_of_an_hour() {
    // 5 A about two hours: 10 Ah; at least 4 A for two hours, 8 Ah; at most 10 A, 20 Ah.
    let s = sum(rules(None), &[(0.0, 25.0, 5.0), (7200.0, 24.0, 5.0)]);
    let g = &s.tests[0].gaps;
    assert!((g.charge_ah - 10.0).abs() < 1e-12);
    assert!((g.less_ah - 2.0).abs() < 1e-12 && (g.more_ah - 10.0).abs() < 1e-12);
}

#[test]
fn a_pause_as_long_as_the_limit_and_a_load_that_moved_nothing_begin_no_test() {
    // From 22 V back to 24.9 V, more than nine tenths of the fall, after a rest of 1000 s, which is not beyond the limit; after 1001 s it is.
    for (rest_s, tests) in [(1000.0, 1), (1001.0, 2)] {
        let back = 610.0 + rest_s;
        let rows = [
            (0.0, 25.0, 10.0),
            (600.0, 22.0, 10.0),
            (610.0, 24.9, 0.0),
            (back, 25.0, 0.0),
            (back + 10.0, 24.9, 10.0),
            (back + 610.0, 22.0, 10.0),
        ];
        assert_eq!(sum(rules(None), &rows).tests.len(), tests, "{rest_s}");
    }
    // A voltage that has not fallen cannot have been charged back.
    let rows = [
        (0.0, 25.0, 10.0),
        (600.0, 25.0, 10.0),
        (610.0, 25.2, 0.0),
        (2610.0, 25.2, 0.0),
        (2620.0, 25.1, 10.0),
        (3220.0, 25.1, 10.0),
    ];
    assert_eq!(sum(rules(None), &rows).tests.len(), 1);
    // Nor does a battery below the cut-off from the start begin anew without a charge.
    let rows = [
        (0.0, 24.0, 0.0),
        (60.0, 20.0, 10.0),
        (120.0, 19.0, 10.0),
        (180.0, 23.5, 0.0),
        (240.0, 23.5, 0.0),
        (300.0, 20.0, 10.0),
        (360.0, 19.0, 10.0),
    ];
    let s = sum(rules(Some(23.0)), &rows);
    assert_eq!(
        (s.tests.len(), s.small, s.below_from_start),
        (0, 1, Some(20.0))
    );
}

#[test]
fn a_step_whose_current_does_not_stay_is_none() {
    // Of 20 A at most a step is 2 A, and its current stays within 1 A until it has settled.
    let steps = |last_a: f64| {
        let rows = [(0.0, 25.0, 0.0), (0.02, 24.0, 20.0), (0.15, 24.1, last_a)];
        let wide = Rules {
            largest_a: 20.0,
            ..rules(None)
        };
        let found = sum(wide, &rows).steps;
        found
            .iter()
            .map(|s| (s.current_a, s.within_s))
            .collect::<Vec<_>>()
    };
    assert_eq!(steps(19.5), [(19.5, 0.15)]);
    assert_eq!(steps(18.5), []);
    // From 20 to 12 A is a step of its own.
    assert_eq!(steps(12.0), [(-8.0, 0.13)]);
}
