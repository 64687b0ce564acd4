//! Stretches that look steady: shapes whose steps, drifts and start-ups are known.

use super::super::blocks::Blocks;
use super::*;
use crate::made::dice::Dice;

/// Blocks of a draw that may drift by 2 % within thirty blocks and spread by 3 %.
fn search(count: usize, noise: f64, f: impl Fn(f64) -> f64) -> Search {
    let mut dice = Dice::new(6, 0);
    let values = (0..count).map(|i| Some(f(i as f64) + noise * dice.normal()));
    let blocks = Blocks::from_values(values.collect());
    let rules = SteadyRules::default();
    Search {
        watched: vec![Watched {
            drift: 0.02,
            spread: 0.03,
            ..Watched::draw(blocks, 0.1, &rules)
        }],
        least: 10,
        horizon: 30.0,
        count,
        off_w: 0.0,
    }
}

fn stretch(from: usize, to: usize) -> Stretch {
    Stretch { from, to }
}

#[test]
fn the_usual_change_and_a_median_by_hand() {
    // Of i² the mean of the three after less that of the three before is 8 i; i from 13 to 26, of whose fourteen the eighth is 20.
    let squares = search(30, 0.0, |i| i * i);
    let usual = usual_change(&squares.watched[0]).unwrap();
    assert!((usual - 160.0).abs() < 1e-9, "{usual}");
    assert_eq!(
        median(&[Some(3.0), Some(1.0), None, Some(2.0), Some(10.0)]),
        Some(3.0)
    );
    assert_eq!((median(&[Some(5.0)]), median(&[None])), (Some(5.0), None));
}

#[test]
fn a_step_beside_the_main_stretch_has_its_place_and_its_levels() {
    let levels = |a: f64, b: f64| search(80, 0.4, move |i| if i < 40.0 { a } else { b });
    for (a, b) in [(200.0, 240.0), (240.0, 200.0)] {
        for main in [stretch(0, 40), stretch(40, 80)] {
            let found = step(&levels(a, b), main).unwrap();
            assert!((38..=42).contains(&found.at), "{}", found.at);
            assert!((found.before - a).abs() < 1.5 && (found.after - b).abs() < 1.5);
        }
    }
    // Within the main stretch none is looked for; what is switched off is no setting; 4 W are within what a draw may spread by.
    assert!(step(&levels(200.0, 240.0), stretch(0, 80)).is_none());
    assert!(step(&levels(200.0, 2.0), stretch(0, 40)).is_none());
    assert!(step(&levels(200.0, 204.0), stretch(0, 40)).is_none());
    // Nor is a ramp a step.
    let ramp = search(80, 0.4, |i| 200.0 + (i - 30.0).clamp(0.0, 20.0) * 2.0);
    assert!(step(&ramp, stretch(0, 30)).is_none());
}

#[test]
fn a_small_step_within_the_main_stretch_is_found_where_it_is() {
    let levels = |by: f64| search(60, 0.5, move |i| if i < 25.0 { 200.0 } else { 200.0 + by });
    for by in [8.0, -8.0] {
        let (early, late, _) = small_step(&levels(by), stretch(0, 60)).unwrap();
        assert_eq!((early.from, early.to, late.from, late.to), (0, 25, 25, 60));
    }
    // 3 W are less than 2 %; 8 W evenly are no step.
    assert!(small_step(&levels(3.0), stretch(0, 60)).is_none());
    let drift = search(60, 0.5, |i| 200.0 + 8.0 * i / 60.0);
    assert!(small_step(&drift, stretch(0, 60)).is_none());
}

#[test]
fn a_draw_that_comes_and_goes_is_counted() {
    // The band about 200 W is ±6 W. Ten blocks inside, five away, twice or once, and twenty that stay.
    let away = |by: f64, times: usize| {
        search(60, 0.0, move |i| {
            let k = i as usize;
            let out = (10..15).contains(&k) || times > 1 && (25..30).contains(&k);
            if out { 200.0 + by } else { 200.0 }
        })
    };
    let said = |by, times| comes_and_goes(&away(by, times), stretch(40, 60));
    assert!(said(7.0, 2).unwrap().contains("2 times by more than 3 %"));
    assert!(said(-7.0, 2).is_some());
    assert_eq!((said(7.0, 1), said(5.0, 2)), (None, None));
    // Half of all or more is the rule, and what goes before it the exception.
    assert_eq!(comes_and_goes(&away(7.0, 2), stretch(30, 60)), None);
}

#[test]
fn a_piece_of_a_drift_is_told_from_the_end_of_a_start_up() {
    let rules = SteadyRules::default();
    let window = Span {
        start: 0.0,
        end: 3600.0,
    };
    let whole = |s: &Search| part_of_drift(s, stretch(30, 60), window, &rules);
    let bent = |before: f64| {
        search(60, 0.02, move |i| {
            let from = |slope: f64, i: f64| slope * (i - 30.0);
            200.0
                + if i < 30.0 {
                    from(before, i)
                } else {
                    from(0.12, i)
                }
        })
    };
    // Inside 0.12 W a block, 1.8 % in thirty; before it 0.2, 3 %, in the same direction, or in the other.
    assert!(whole(&bent(0.2)).is_some());
    assert_eq!(whole(&bent(-0.2)), None);
    // 0.3 W is more than twice as fast: a start-up that ends.
    assert_eq!(whole(&bent(0.3)), None);

    let straight = |s: &Search| straight_before(s, stretch(30, 60), &rules);
    let line = |slope: f64| search(60, 0.02, move |i| 200.0 + slope * i);
    // 0.15 W × 30 of 207 W are 2.2 %; 0.12 W 1.7 %.
    assert!(straight(&line(0.15)).is_some() && straight(&line(-0.15)).is_some());
    assert_eq!(straight(&line(0.12)), None);
    // A start-up bends.
    let start_up = search(60, 0.02, |i| 210.0 - 9.0 * (-i / 30.0).exp());
    assert_eq!(straight(&start_up), None);
}

#[test]
fn a_start_up_that_is_not_over_is_said() {
    let rules = SteadyRules::default();
    let window = Span {
        start: 0.0,
        end: 4200.0,
    };
    let exponential =
        |blocks: f64| search(70, 0.1, move |i| 225.0 * (1.0 - 0.33 * (-i / blocks).exp()));
    assert!(starting(&exponential(40.0), window, &rules).is_some());
    // As slow, but of so little that the last third changes by less than twice a drift: 4 % e^(−1.5) in 40 blocks, 0.7 % in thirty.
    let little = search(70, 0.01, |i| 225.0 * (1.0 - 0.04 * (-i / 40.0).exp()));
    assert_eq!(starting(&little, window, &rules), None);
    // Over after a third of the window; a drift; and nothing at all.
    assert_eq!(starting(&exponential(8.0), window, &rules), None);
    assert_eq!(
        starting(&search(70, 0.1, |i| 200.0 + 0.4 * i), window, &rules),
        None
    );
    assert_eq!(starting(&search(70, 0.1, |_| 200.0), window, &rules), None);
    // One that turns faster is none.
    assert_eq!(
        starting(&search(70, 0.1, |i| 200.0 + 0.008 * i * i), window, &rules),
        None
    );
}

/// +1 and −1 by turns: noise whose neighbours are as unlike as can be.
fn turn(i: f64) -> f64 {
    if i % 2.0 == 0.0 { 1.0 } else { -1.0 }
}

#[test]
fn plateaus_are_apart_where_their_difference_is_sure() {
    let pair = |s: &Search| apart(s, stretch(0, 30), stretch(30, 60));
    // Off is less than 3 % of the other: 4 W of 200, not 10.
    let levels = |b: f64| search(60, 0.0, move |i| if i < 30.0 { 200.0 } else { b });
    assert_eq!(pair(&levels(4.0)), None);
    assert!(pair(&levels(10.0)).is_some());
    // 20 W, then 21 W that rise by 0.02 a block: drift alone would make 0.02 × 30 = 0.6 of the 1 W, more than half. Blocks that turn by
    // ±0.15 W have standard errors of 1.5 × 0.153/√30 = 0.042 each: 1 W is more than three times their 0.059.
    let small = search(60, 0.0, |i| {
        let rise = if i < 30.0 {
            0.0
        } else {
            1.0 + 0.02 * (i - 44.5)
        };
        20.0 + rise + 0.15 * turn(i)
    });
    let said = pair(&small).unwrap();
    assert_eq!(said, "the draw stands at 20.00 W, then at 21.00 W");
}

#[test]
fn a_step_is_told_from_a_line_by_what_a_display_can_tell_apart() {
    // Two levels of twenty blocks, d apart: about one line d² (10 − 7.5 × 1600/1599) = 2.4953 d² are left over, about two levels none. With
    // a step of the display of 4 W each of forty blocks adds (4/4)²: 40 ln(1 + 2.4953 d²/40) > 13.5 needs d > 2.537; a
    // temperature has no such floor.
    let likelier = |d: f64, relative| {
        let mut s = search(40, 0.0, move |i| if i < 20.0 { 200.0 } else { 200.0 + d });
        let w = &mut s.watched[0];
        (w.least, w.relative) = (4.0, relative);
        likelier_a_step(w, stretch(0, 20), stretch(20, 40))
    };
    assert!(likelier(2.55, true) && !likelier(2.52, true));
    assert!(likelier(0.1, false));
}

#[test]
fn a_small_step_may_stand_a_least_length_from_the_end() {
    let late = search(60, 0.0, |i| {
        200.0 + if i < 50.0 { 0.0 } else { 8.0 } + 0.5 * turn(i)
    });
    let (early, late, _) = small_step(&late, stretch(0, 60)).unwrap();
    assert_eq!((early.from, early.to, late.from, late.to), (0, 50, 50, 60));
    // 1 W of 20 W is four times what blocks that turn by ±0.15 W leave open (0.059 W), and more than the 0.5 W that may drift.
    let little = search(60, 0.0, |i| {
        20.0 + if i < 30.0 { 0.0 } else { 1.0 } + 0.15 * turn(i)
    });
    let (early, _, said) = small_step(&little, stretch(0, 60)).unwrap();
    assert_eq!(early, stretch(0, 30));
    assert_eq!(said, "the draw stands at 20.00 W, then at 21.00 W");
}

#[test]
fn what_goes_on_after_a_stretch_is_said_with_its_drift() {
    let rules = SteadyRules::default();
    let piece = |s: &Search| lucky_piece(s, stretch(20, 40), &rules);
    let line = |slope: f64, noise: f64| {
        search(100, 0.0, move |i| {
            // What follows beyond as long again as the stretch is another setting.
            if i < 60.0 {
                200.0 + slope * i + noise * turn(i)
            } else {
                250.0
            }
        })
    };
    // The stretch's mean is 200 + 29.5 × 0.2 = 205.9 W: 6 W in thirty blocks are 2.9 %. Noise leaves 0.3 % of it open.
    for noise in [0.0, 0.5] {
        assert_eq!(
            piece(&line(0.2, noise)).unwrap(),
            "the draw goes on drifting, by 2.9 % in 30 min (allowed 2.0 %)"
        );
    }
    // 4.5 W of 204.4 W are 2.2 %, with the noise no longer sure; 3.6 W of 203.5 W are 1.8 %.
    assert!(piece(&line(0.15, 0.0)).is_some());
    assert_eq!(piece(&line(0.15, 0.5)), None);
    assert_eq!(piece(&line(0.12, 0.0)), None);
}

#[test]
fn a_straight_drift_up_to_a_stretch_is_said_and_must_be_sure() {
    let rules = SteadyRules::default();
    let straight = |slope: f64, noise: f64| {
        let s = search(60, 0.0, move |i| 200.0 + slope * i + noise * turn(i));
        straight_before(&s, stretch(30, 60), &rules)
    };
    // 4.5 W of 200 + 44.5 × 0.15 = 206.7 W.
    assert_eq!(
        straight(0.15, 0.02).unwrap(),
        "the draw goes on drifting, by 2.2 % in 30 min (allowed 2.0 %)"
    );
    // 4.2 W of 206.2 W are 2.04 %; noise of ±1 W leaves 2 × 1.5 × 1.017/√17995 × 30 = 0.68 W, 0.33 %, open.
    assert!(straight(0.14, 0.02).is_some());
    assert_eq!(straight(0.14, 1.0), None);
    // Thirty blocks earlier the draw was 15 W lower, more than twice the spread of 3 %: that is no longer its level.
    assert_eq!(straight(0.5, 0.02), None);
}

#[test]
fn a_part_of_a_drift_is_named_by_its_drift_or_its_length() {
    let rules = SteadyRules::default();
    let window = Span {
        start: 0.0,
        end: 3600.0,
    };
    let part = |s: &Search, from| part_of_drift(s, stretch(from, 60), window, &rules);
    // Before the stretch 0.2 W a block, 6 W in thirty of the stretch's 200 + 14.5 × 0.12 = 201.74 W.
    let bent = search(60, 0.0, |i| {
        200.0 + (i - 30.0) * if i < 30.0 { 0.2 } else { 0.12 }
    });
    assert_eq!(
        part(&bent, 30).unwrap(),
        "the draw goes on drifting, by 3.0 % in 30 min (allowed 2.0 %)"
    );
    // Half the least length, five blocks, is enough to tell what went before; four are not.
    let soon = search(60, 0.0, |i| {
        200.0 + (i - 5.0) * if i < 5.0 { 0.15 } else { 0.08 }
    });
    assert!(part(&soon, 5).is_some());
    assert_eq!(part(&soon, 4), None);
    // A quarter of sixty blocks is fifteen.
    let level = search(60, 0.0, |_| 200.0);
    assert_eq!(
        part(&level, 46).unwrap(),
        "steady for 14 min only, out of 60 min"
    );
    assert_eq!(part(&level, 45), None);
    // Of what follows the start-up, here from block 10 on, half must be steady.
    let of_fifty = |to| part_of_drift(&level, stretch(10, to), window, &rules);
    assert_eq!(
        of_fifty(34).unwrap(),
        "steady for 24 min only, out of 60 min"
    );
    assert_eq!(of_fifty(35), None);
}

/// Blocks about 200 W that scatter by up to 0.4 W, and by `jump` more from block 40 on; `beside` adds to some.
fn jump(jump: f64, beside: &[(usize, f64)]) -> Search {
    const SCATTER: [f64; 7] = [0.0, 0.4, -0.4, 0.2, -0.2, 0.3, -0.3];
    let beside = beside.to_vec();
    search(80, 0.0, move |i| {
        let k = i as usize;
        let more: f64 = { beside.iter() }.filter(|b| b.0 == k).map(|b| b.1).sum();
        200.0 + SCATTER[3 * k % 7] + if k < 40 { 0.0 } else { jump } + more
    })
}

fn step_of(s: &Search) -> Option<(usize, f64, f64)> {
    step(s, stretch(0, 40)).map(|f| (f.at, round(f.before), round(f.after)))
}

fn round(w: f64) -> f64 {
    (w * 1000.0).round() / 1000.0
}

#[test]
fn a_step_s_levels_are_medians_of_three_blocks_beside_it() {
    // Blocks 37 to 39 scatter by −0.3, −0.4, 0.3; 41 to 43 by −0.2, 0, 0.2.
    let up = Some((40, 199.7, 216.0));
    assert_eq!(step_of(&jump(16.0, &[])), up);
    assert_eq!(step_of(&jump(-16.0, &[])), Some((40, 199.7, 184.0)));
    // Nothing that comes later belongs to them.
    let later: Vec<(usize, f64)> = (52..80).map(|k| (k, 1.0)).collect();
    assert_eq!(step_of(&jump(16.0, &later)), up);
    // The block in which the step falls may stand anywhere: a compressor's inrush.
    assert_eq!(step_of(&jump(16.0, &[(40, 60.0)])), up);
}

#[test]
fn both_levels_beside_a_step_stand_for_the_least_length() {
    // After an inrush the level is that of blocks 41 to 50: a second one in block 50 disturbs it, in block 51 no more.
    assert_eq!(step_of(&jump(16.0, &[(40, 60.0), (50, 60.0)])), None);
    assert!(step_of(&jump(16.0, &[(40, 60.0), (51, 60.0)])).is_some());
    // Two blocks in ten may be nearer to the other level or as far beyond, three may not.
    assert!(step_of(&jump(16.0, &[(43, 12.0), (47, 12.0)])).is_some());
    assert_eq!(
        step_of(&jump(16.0, &[(43, 12.0), (46, 12.0), (49, 12.0)])),
        None
    );
    // 6 W for three blocks, then 14 W more: less than three times as much, so the draw goes up by and by.
    let stairs = jump(20.0, &[(40, -14.0), (41, -14.0), (42, -14.0)]);
    assert_eq!(step_of(&stairs), None);
}

/// What is said of an hour and ten minutes of one-minute blocks.
fn said_of_start(values: impl Fn(f64) -> f64) -> Option<String> {
    let window = Span {
        start: 0.0,
        end: 4200.0,
    };
    starting(&search(70, 0.0, values), window, &SteadyRules::default())
}

#[test]
fn a_start_up_counts_from_the_compressor_s_start() {
    // The compressor starts in block 19: 51 blocks, of which the last seventeen go from 225 − 67.5 e^(−34/25) to 225 − 67.5 e^(−2),
    // by 8.19 W in 16 blocks, 7 % of 213 W in thirty.
    let late = said_of_start(|i| {
        let draw = 225.0 * (1.0 - 0.3 * (-(i - 19.0) / 25.0).exp());
        0.1 * turn(i) + if i < 19.0 { 5.0 } else { draw }
    });
    assert_eq!(
        late.unwrap(),
        "the start-up is not over after 70 min: the draw still changes by 7 % in 30 min; run longer"
    );
}

#[test]
fn the_end_of_a_start_up_s_parabola_may_turn_back_a_little() {
    let approach = |share: f64, blocks: f64| {
        said_of_start(move |i| 225.0 * (1.0 - share * (-i / blocks).exp()) + 0.02 * turn(i))
    };
    // The parabola through e^(−t/20) over 69 blocks ends with −0.57 of its mean slope, that through e^(−t/18) with −0.72 (by numpy's
    // polyfit); beyond −0.7 it is no start-up.
    assert!(approach(0.6, 20.0).unwrap().contains("changes by 5 %"));
    assert_eq!(approach(0.9, 18.0), None);
}

#[test]
fn a_start_up_s_last_third_is_slower_than_its_middle() {
    // From block 1 on three thirds that rise by so many watts a block.
    let thirds = |rises: [f64; 3], noise: f64| {
        said_of_start(move |i| {
            let [a, b, c] = rises;
            let up =
                a * (i - 1.0).min(23.0) + b * (i - 24.0).clamp(0.0, 23.0) + c * (i - 47.0).max(0.0);
            if i < 1.0 {
                5.0
            } else {
                150.0 + up + noise * turn(i)
            }
        })
    };
    // 0.27 is more than three quarters of 0.3: a drift that goes on.
    assert_eq!(thirds([1.0, 0.3, 0.27], 0.0), None);
    // Slopes of 23 blocks that turn by ±1 W are open by 1.5 × 1.02/√1012 = 0.049: 0.25 against 0.75 × 0.41.
    assert_eq!(thirds([1.0, 0.36, 0.3], 0.0), None);
    assert!(thirds([1.0, 0.36, 0.3], 1.0).is_some());
}

#[test]
fn a_start_up_is_one_only_while_the_intake_stands_still() {
    let rules = SteadyRules::default();
    let window = Span {
        start: 0.0,
        end: 4200.0,
    };
    // The intake may drift by 0.5 K in thirty blocks, and twice that here: 0.9 K may be, 1.1 K not; with noise of ±0.3 K, whose slope is open
    // by 2 × 1.5 × 0.3/√8108 × 30 = 0.3 K, that is not sure.
    let said = |rise: f64, noise: f64| {
        let mut s = search(70, 0.1, |i| 225.0 * (1.0 - 0.33 * (-i / 40.0).exp()));
        let intake = (0..70).map(|k| {
            let i = f64::from(k);
            Some(27.0 + rise / 30.0 * i + noise * turn(i))
        });
        let blocks = Blocks::from_values(intake.collect());
        s.watched.push(Watched {
            drift: 0.5,
            ..Watched::temperature(Channel::IntakeTemp, blocks, &rules)
        });
        starting(&s, window, &rules).is_some()
    };
    assert_eq!(
        [said(0.9, 0.0), said(1.1, 0.0), said(1.1, 0.3)],
        [true, false, true]
    );
}
