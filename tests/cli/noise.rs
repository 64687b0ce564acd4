//! Benches spoilt at random (seeded): whatever can be read is answered without a panic and without a figure that is not finite,
//! and whatever cannot is refused with a place.

use std::panic::{AssertUnwindSafe, catch_unwind};

use steadydraw::bench::{Bench, BenchError};
use steadydraw::coupling::{Options, assess};
use steadydraw::findings::check;
use steadydraw::fit::candidates::fit_draw;
use steadydraw::fit::forms::{At, CapacityData, DrawData};
use steadydraw::predict::predict;

use crate::support::sheet::Sheet;
use crate::support::{POINTS, TOML};

/// Knuth's constants for a 64-bit linear congruential generator (from memory); any will do.
struct Draws(u64);

impl Draws {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % n
    }

    fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[self.below(list.len())]
    }
}

/// Everything that the commands compute.
fn answer(bench: &Bench) {
    for finding in check(bench) {
        assert!(
            !finding.message.contains(" NaN") && !finding.message.contains(" inf "),
            "{finding:?}"
        );
    }
    let data = DrawData::from_bench(bench);
    if data.rows.is_empty() {
        return;
    }
    let coupling = assess(bench, &data, &Options::default());
    if let Some(e) = coupling.elasticity {
        assert!(
            e.value.is_finite() && e.low.is_finite() && e.high.is_finite(),
            "{e:?}"
        );
    }
    for sentence in coupling.sentences.iter().chain(&coupling.would_settle) {
        assert!(
            !sentence.contains(" NaN") && !sentence.contains(" inf "),
            "{sentence}"
        );
    }
    if let Ok(capacity) = CapacityData::from_bench(bench, &data) {
        let _ = fit_draw(capacity.data);
    }
    let Ok(fit) = fit_draw(data) else { return };
    for candidate in &fit.candidates {
        for e in candidate.form.equations(&fit.data, &candidate.fit.coef) {
            assert!(
                !e.text.contains("NaN") && !e.text.contains("inf"),
                "{}",
                e.text
            );
        }
    }
    for mode in 0..fit.data.modes.len() {
        for level in 0..fit.data.levels.len() {
            for (intake, ambient) in [(28.0, 26.0), (60.0, 60.0), (-20.0, -30.0)] {
                if let Some(p) = predict(bench, &fit, At::new(mode, level, intake, ambient), 0.95) {
                    let all = [p.draw_w, p.run_w.0, p.run_w.1, p.mean_w.0, p.mean_w.1];
                    assert!(all.iter().all(|v| v.is_finite()), "{p:?}");
                    assert!(all.iter().all(|v| *v >= 0.0), "{p:?}");
                    assert!(p.run_w.0 <= p.mean_w.0 && p.mean_w.1 <= p.run_w.1, "{p:?}");
                }
            }
        }
    }
}

/// Reads and answers; a fault must name the file and show what was found.
fn survives(what: &str, toml: &str, points: &str) -> bool {
    let result = catch_unwind(AssertUnwindSafe(|| match Bench::from_texts(toml, points) {
        Ok(bench) => {
            answer(&bench);
            true
        }
        Err(BenchError::Faults(faults)) => {
            assert!(!faults.is_empty());
            for f in faults {
                assert!(!f.place.file.is_empty() && !f.found.is_empty() && !f.expected.is_empty());
            }
            false
        }
        Err(e) => panic!("{e}"),
    }));
    if result.is_err() {
        println!("{toml}\n{points}");
    }
    result.unwrap_or_else(|_| panic!("{what}: the bench is printed above"))
}

#[test]
fn bytes_changed_at_random() {
    let mut draws = Draws(1);
    let pieces = [
        ",", ";", "\n", "\r", "\"", "#", "[", "]", "-", ".", "9", "e9", "NaN", "\u{202e}", "é",
        "0", " ", "cooling", "inf",
    ];
    let mut read = 0;
    for n in 0..500 {
        let (mut toml, mut points) = (TOML.to_owned(), POINTS.to_owned());
        for _ in 0..=draws.below(3) {
            let text = if draws.below(4) == 0 {
                &mut toml
            } else {
                &mut points
            };
            let at = (draws.below(text.len())..)
                .find(|i| text.is_char_boundary(*i))
                .unwrap();
            let end = (at + draws.below(4)..)
                .find(|i| *i >= text.len() || text.is_char_boundary(*i))
                .unwrap()
                .min(text.len());
            text.replace_range(at..end, draws.pick(&pieces));
        }
        read += usize::from(survives(&format!("change {n}"), &toml, &points));
    }
    // Most changes break the table; enough must get through to show that answers survive too.
    assert!((40..460).contains(&read), "{read}");
}

#[test]
fn readings_at_the_limits_of_what_can_be() {
    let mut draws = Draws(2);
    let limits: [(&str, &[&str]); 6] = [
        ("intake_temp", &["-40", "70", "24", "32", "32.0001", ""]),
        ("outlet_temp", &["-40", "70", "18", "10", ""]),
        ("ambient_temp", &["-40", "70", "25", "35", ""]),
        ("intake_rh", &["1", "100", "105", "45", ""]),
        ("airflow", &["1", "50000", "210", "290", "290.0000001", ""]),
        ("power", &["1", "1.0000001", "50000", "150", "150", "151"]),
    ];
    let mut read = 0;
    for n in 0..80 {
        let mut sheet = Sheet::invented().drop(&["voltage", "current"]);
        let rows = 3 + draws.below(sheet.rows.len() - 3);
        sheet.rows.truncate(rows);
        let changed = draws.below(limits.len()) + 1;
        for _ in 0..changed {
            let (name, values) = draws.pick(&limits);
            let i = sheet.column(name);
            let few = draws.below(2) == 0;
            for row in &mut sheet.rows {
                if !few || draws.below(6) == 0 {
                    row[i] = draws.pick(values).to_owned();
                }
            }
        }
        read += usize::from(survives(&format!("sheet {n}"), TOML, &sheet.csv()));
    }
    assert!(read > 50, "{read}");
}

#[test]
fn settings_dealt_out_at_random() {
    let mut draws = Draws(3);
    for n in 0..60 {
        let mut sheet = Sheet::invented().drop(&["voltage", "current"]);
        let (k, m, f) = (
            sheet.column("kind"),
            sheet.column("mode"),
            sheet.column("fan"),
        );
        let modes = ["a", "b", "c", "d", "e", "f", ""];
        let fans = [
            "1", "2", "3", "high", "0", "-1", "1e300", "infinity", "nan", "2.0",
        ];
        let (some_modes, some_fans) = (1 + draws.below(modes.len()), 1 + draws.below(fans.len()));
        for row in &mut sheet.rows {
            row[k] = draws
                .pick(&["cooling", "cooling", "cooling", "fan-only", "standby"])
                .to_owned();
            row[m] = draws.pick(&modes[..some_modes]).to_owned();
            row[f] = draws.pick(&fans[..some_fans]).to_owned();
        }
        let drop: &[&str] = draws.pick(&[
            &[][..],
            &["airflow"][..],
            &["intake_temp"][..],
            &["ambient_temp", "outlet_temp"][..],
        ]);
        survives(&format!("deal {n}"), TOML, &sheet.drop(drop).csv());
    }
}
