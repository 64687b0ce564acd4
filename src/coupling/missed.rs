//! Modes that were not run at every fan level, in a unit that is coupled as a whole.

use super::ModeAnswer;
use super::verdict::Verdict;
use crate::fit::forms::DrawData;

/// The modes that show independence by themselves, but were not run at the levels at which the others show that they are coupled. `ask` gives
/// the verdict of some modes over some of the runs.
pub(super) fn left_open(
    data: &DrawData,
    per_mode: &[ModeAnswer],
    ask: impl Fn(&DrawData, &[usize]) -> Option<Verdict>,
) -> Vec<usize> {
    let independent = |m: &usize| {
        let own = per_mode.get(*m);
        own.is_some_and(|a| a.verdict == Verdict::Independent)
    };
    (0..per_mode.len())
        .filter(independent)
        .filter(|m| !levels(data, *m).is_empty())
        .filter(|m| {
            ask(&at_levels_of(data, *m), &modes_like(per_mode, *m)) != Some(Verdict::Coupled)
        })
        .collect()
}

/// The modes beside this one that are shown to be coupled; all others where none is by itself.
fn modes_like(per_mode: &[ModeAnswer], mode: usize) -> Vec<usize> {
    let varied = |m: &usize| per_mode.get(*m).is_some_and(|a| a.fan_levels > 1);
    let others = (0..per_mode.len()).filter(varied).filter(|m| *m != mode);
    let shown = |m: &usize| {
        per_mode
            .get(*m)
            .is_some_and(|a| a.verdict == Verdict::Coupled)
    };
    let coupled: Vec<usize> = others.clone().filter(shown).collect();
    if coupled.is_empty() {
        others.collect()
    } else {
        coupled
    }
}

/// The runs at the fan levels at which a mode was run. What the other modes show there is what that mode could have shown: where they are not
/// seen to be coupled without the levels it missed, its own silence is no proof of independence.
fn at_levels_of(data: &DrawData, mode: usize) -> DrawData {
    let mut seen = data.clone();
    let own = data.tested.get(mode).cloned().unwrap_or_default();
    let run_at = |level: usize| own.get(level).is_some_and(|n| *n > 0);
    seen.rows.retain(|r| run_at(r.level));
    for levels in &mut seen.tested {
        for (level, runs) in levels.iter_mut().enumerate() {
            if !run_at(level) {
                *runs = 0;
            }
        }
    }
    seen
}

/// The fan levels that other modes were run at and this one was not.
pub(super) fn levels(data: &DrawData, mode: usize) -> Vec<usize> {
    let run_in = |m: usize, level: usize| {
        let runs = data.tested.get(m).and_then(|l| l.get(level));
        runs.is_some_and(|n| *n > 0)
    };
    (0..data.levels.len())
        .filter(|l| !run_in(mode, *l) && (0..data.modes.len()).any(|other| run_in(other, *l)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::{Options, assess};
    use super::*;
    use crate::bench::Bench;
    use crate::made::bench::{Kind, Options as Made, design, make};

    #[test]
    fn a_mode_that_missed_the_levels_at_which_others_change_speed_stays_open() {
        // Of four levels the second runs the compressor much harder than the rest; one mode of three was not run at it, and by itself shows
        // nothing beyond the allowance.
        let made = make(Kind::CoupledUneven, 300_027, &Made::default());
        let bench = Bench::from_texts(&made.toml, &made.points_csv).unwrap();
        let data = DrawData::from_bench(&bench);
        let answer = assess(&bench, &data, &Options::default());
        assert_eq!(answer.verdict, Verdict::Coupled);
        let cells = design(Kind::CoupledUneven, 300_027).cells;
        let missed = &made.truth.modes[1];
        let told = format!("Mode “{missed}” at fan 2 too, twice there:");
        assert!(cells.contains(&(0, 1)) && !cells.contains(&(1, 1)));
        for m in &answer.per_mode {
            let verdict = if m.mode == *missed {
                let e = m.elasticity.unwrap();
                assert!(e.low > answer.allowance.down && e.high < answer.allowance.up);
                Verdict::Undecided
            } else {
                assert_ne!(m.verdict, Verdict::Independent, "{m:?}");
                m.verdict
            };
            assert_eq!(m.verdict, verdict, "{m:?}");
        }
        let settle: Vec<String> = answer.would_settle.iter().map(|s| s.to_string()).collect();
        assert!(settle.iter().any(|s| s.starts_with(&told)), "{settle:?}");
    }
}
