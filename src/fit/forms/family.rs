//! All forms worth trying on given data.

use super::data::{DrawData, DrawRow};
use super::draw::{AmbientForm, Corner, DrawForm, HeldSlope, IntakeForm, Scatter, SettingForm};

/// With more modes than this, not every way of grouping them is tried: there are 52 for five modes, 203 for six.
const MOST_MODES_PARTITIONED: usize = 4;
/// Groupings tried with more modes: all apart and the first three mergers, and the last four, down to all alike.
const MERGERS_TRIED: [usize; 2] = [4, 4];

/// With more gaps between set points than this the intake was swept, not set, and there are no plateaus to see.
const MOST_STEPS: usize = 4;

/// Ways of taking modes for the same, as a group number for each mode: all of them up to four modes; with more, those that
/// come about by merging, again and again, the two groups whose draws lie nearest to each other.
pub fn groupings(data: &DrawData) -> Vec<Vec<usize>> {
    let modes = data.modes.len();
    if modes <= MOST_MODES_PARTITIONED {
        return partitions(modes);
    }
    let mut groups: Vec<(f64, Vec<usize>)> = mode_offsets(data)
        .into_iter()
        .enumerate()
        .map(|(m, offset)| (offset, vec![m]))
        .collect();
    groups.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut chain = vec![numbered(&groups, modes)];
    while groups.len() > 1 {
        let gap = |i: &usize| match (groups.get(*i), groups.get(i + 1)) {
            (Some(a), Some(b)) => b.0 - a.0,
            _ => f64::INFINITY,
        };
        let nearest = (0..groups.len() - 1).min_by(|a, b| gap(a).total_cmp(&gap(b)));
        let Some(i) = nearest else { break };
        let (offset, members) = groups.remove(i + 1);
        if let Some((own, list)) = groups.get_mut(i) {
            let (n, k) = (list.len() as f64, members.len() as f64);
            *own = (*own * n + offset * k) / (n + k);
            list.extend(members);
        }
        chain.push(numbered(&groups, modes));
    }
    let [first, last] = MERGERS_TRIED;
    let kept = chain.len().saturating_sub(last);
    let tried = chain
        .into_iter()
        .enumerate()
        .filter(|(i, _)| *i < first || *i >= kept);
    // Simplest first.
    tried.map(|(_, g)| g).rev().collect()
}

/// Each mode's mean ln(draw), its fan levels' means taken off.
fn mode_offsets(data: &DrawData) -> Vec<f64> {
    let mean_of = |belongs: &dyn Fn(&DrawRow) -> bool, value: &dyn Fn(&DrawRow) -> f64| {
        let own: Vec<f64> = data.rows.iter().filter(|r| belongs(r)).map(value).collect();
        own.iter().sum::<f64>() / own.len().max(1) as f64
    };
    let levels: Vec<f64> = (0..data.levels.len())
        .map(|l| mean_of(&|r| r.level == l, &|r| r.draw.ln()))
        .collect();
    let over_level = |r: &DrawRow| r.draw.ln() - levels.get(r.level).copied().unwrap_or(0.0);
    (0..data.modes.len())
        .map(|m| mean_of(&|r| r.mode == m, &over_level))
        .collect()
}

/// The group number of each mode; groups are numbered by their first mode.
fn numbered(groups: &[(f64, Vec<usize>)], modes: usize) -> Vec<usize> {
    let mut first: Vec<usize> = groups
        .iter()
        .filter_map(|(_, members)| members.iter().min().copied())
        .collect();
    first.sort_unstable();
    (0..modes)
        .map(|m| {
            let own = groups.iter().find(|(_, members)| members.contains(&m));
            own.and_then(|(_, members)| members.iter().min())
                .and_then(|f| first.iter().position(|g| g == f))
                .unwrap_or(0)
        })
        .collect()
}

/// All ways of taking modes for the same, as a group number for each mode. Their number grows beyond all bounds with the modes.
fn partitions(modes: usize) -> Vec<Vec<usize>> {
    if modes == 0 {
        return vec![Vec::new()];
    }
    let mut list = vec![vec![0]];
    for _ in 1..modes {
        list = list
            .into_iter()
            .flat_map(|p: Vec<usize>| {
                let next = p.iter().max().map_or(0, |g| g + 1);
                (0..=next).map(move |g| {
                    let mut q = p.clone();
                    q.push(g);
                    q
                })
            })
            .collect();
    }
    list
}

/// Every form that the data can tell anything about, simplest partitions first, without repeats in disguise; but for those of
/// [`control_family`].
pub fn family(data: &DrawData) -> Vec<DrawForm> {
    let by_flow = have_flow(data) && used_levels(data) > 1;
    let own = |groups| {
        let shapes = intakes(data, by_flow, groups).into_iter();
        shapes
            .map(|(intake, lift)| (intake, lift, HeldSlope::Assumed))
            .collect()
    };
    with_intakes(data, own)
}

/// The forms of a control that follows the intake, its ramps with these corners: worth trying where some form shows a slope steeper than a
/// fixed speed has.
pub fn control_family(data: &DrawData, corners: &[Corner]) -> Vec<DrawForm> {
    let mut shapes = terraces(data);
    shapes.extend(corners.iter().map(|c| IntakeForm::Ramp(*c)));
    with_intakes(data, |groups| {
        let mut shapes = shapes.clone();
        // With two set points a ramp hardly differs from a slope, and slopes of their own say no more of its corner.
        if groups > 1 && data.set_points.len() != 2 {
            shapes.extend(corners.iter().map(|c| IntakeForm::RampByGroup(*c)));
        }
        let held = held_slopes_tried(data, groups);
        let with = |intake| held.iter().map(move |h| (intake, false, *h));
        shapes.iter().flat_map(|s| with(*s)).collect()
    })
}

/// The ways tried in which a held speed follows the intake, for a number of groups of modes; the assumed one first.
pub fn held_slopes_tried(data: &DrawData, groups: usize) -> Vec<HeldSlope> {
    let mut held = vec![HeldSlope::Assumed];
    // Between two set points a step or a ramp cannot be told from the slope beside it.
    if data.set_points.len() < 3 {
        return held;
    }
    held.push(HeldSlope::Common);
    if groups > 1 {
        held.push(HeldSlope::ByGroup);
    }
    if have_flow(data) && used_levels(data) > 1 {
        held.push(HeldSlope::ByFlow);
    }
    held
}

/// All forms whose dependence on the intake is among those that `intakes` gives for a number of groups of modes.
fn with_intakes(
    data: &DrawData,
    intakes: impl Fn(usize) -> Vec<(IntakeForm, bool, HeldSlope)>,
) -> Vec<DrawForm> {
    let mut forms = Vec::new();
    for groups in groupings(data) {
        let group_count = groups.iter().max().map_or(0, |g| g + 1);
        for setting in settings(have_flow(data), used_levels(data), group_count) {
            for (intake, lift, held) in intakes(group_count) {
                for ambient in ambients(data) {
                    for moisture in moistures(data) {
                        for scatter in [Scatter::Proportional, Scatter::Additive] {
                            forms.push(DrawForm {
                                groups: groups.clone(),
                                setting,
                                intake,
                                held,
                                ambient,
                                moisture: *moisture,
                                lift,
                                scatter,
                            });
                        }
                    }
                }
            }
        }
    }
    forms
}

fn have_flow(data: &DrawData) -> bool {
    data.levels.iter().all(|l| l.x.is_some())
}

fn used_levels(data: &DrawData) -> usize {
    (0..data.levels.len())
        .filter(|l| {
            data.tested
                .iter()
                .any(|m| m.get(*l).is_some_and(|n| *n > 0))
        })
        .count()
}

fn terraces(data: &DrawData) -> Vec<IntakeForm> {
    let gaps = data.intake_gaps().len();
    if !data.intake_varied || !(1..=MOST_STEPS).contains(&gaps) {
        return Vec::new();
    }
    let mut list: Vec<IntakeForm> = (0..gaps).map(|i| IntakeForm::Terraced(1 << i)).collect();
    if gaps > 1 {
        list.push(IntakeForm::Terraced((1 << gaps) - 1));
    }
    list
}

fn settings(have_x: bool, levels: usize, groups: usize) -> Vec<SettingForm> {
    let mut list = vec![SettingForm::Flat];
    if levels < 2 {
        return list;
    }
    list.push(SettingForm::Additive);
    if groups > 1 {
        list.push(SettingForm::Cell);
    }
    if have_x {
        if levels > 2 {
            list.push(SettingForm::Power);
        }
        if groups > 1 {
            list.push(SettingForm::PowerByGroup);
        }
        if levels > 3 {
            list.push(SettingForm::Quadratic);
        }
        if levels > 3 && groups > 1 {
            list.push(SettingForm::QuadraticByGroup);
        }
    }
    list
}

fn intakes(data: &DrawData, by_flow: bool, groups: usize) -> Vec<(IntakeForm, bool)> {
    if !data.intake_varied {
        return vec![(IntakeForm::None, false)];
    }
    let mut list = vec![(IntakeForm::None, false)];
    let mut shapes = vec![IntakeForm::Common];
    if groups > 1 {
        shapes.push(IntakeForm::ByGroup);
    }
    if by_flow {
        shapes.push(IntakeForm::ByFlow);
    }
    if by_flow && groups > 1 {
        shapes.push(IntakeForm::ByGroupAndFlow);
    }
    for shape in shapes {
        list.push((shape, false));
        if data.lift.is_some() {
            list.push((shape, true));
        }
    }
    let mut curved = Vec::new();
    if data.distinct_intakes() > 2 {
        curved.push((IntakeForm::Quadratic, IntakeForm::QuadraticByGroup));
    }
    if data.kink().is_some() {
        curved.push((IntakeForm::Kinked, IntakeForm::KinkedByGroup));
    }
    for (common, by_group) in curved {
        list.push((common, false));
        if groups > 1 {
            list.push((by_group, false));
        }
    }
    list
}

fn ambients(data: &DrawData) -> Vec<AmbientForm> {
    if data.ambient_varied {
        vec![AmbientForm::None, AmbientForm::Common]
    } else {
        vec![AmbientForm::None]
    }
}

fn moistures(data: &DrawData) -> &'static [bool] {
    if data.moisture_varied {
        &[false, true]
    } else {
        &[false]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Bench;

    fn data(draws: &[f64]) -> DrawData {
        let mut table = "run,mode,fan,intake_temp [degC],power [W]\n".to_owned();
        for (m, draw) in draws.iter().enumerate() {
            for fan in 1..=2 {
                table.push_str(&format!(
                    "r{m}-{fan},mode {m},{fan},27,{}\n",
                    draw * f64::from(fan)
                ));
            }
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        DrawData::from_bench(&bench)
    }

    #[test]
    fn few_modes_are_grouped_in_every_way() {
        // Bell's numbers.
        for (modes, ways) in [(1, 1), (2, 2), (3, 5), (4, 15)] {
            assert_eq!(partitions(modes).len(), ways);
        }
        assert_eq!(groupings(&data(&[100.0, 120.0, 90.0])).len(), 5);
    }

    #[test]
    fn many_modes_are_merged_by_their_draws() {
        let list = groupings(&data(&[100.0, 150.0, 101.0, 200.0, 151.0, 202.0]));
        assert_eq!(list.first(), Some(&vec![0; 6]));
        assert_eq!(list.last(), Some(&vec![0, 1, 2, 3, 4, 5]));
        assert!(list.contains(&vec![0, 1, 0, 2, 1, 2]), "{list:?}");
        assert_eq!(list.len(), 6);
        let many: Vec<f64> = (0..20).map(|i| 100.0 + 7.0 * f64::from(i * i)).collect();
        assert_eq!(groupings(&data(&many)).len(), 8);
    }

    #[test]
    fn merged_modes_stand_at_the_mean_of_their_members() {
        // ln draws 0, 0.16, 0.24, 0.45 and 2: the second and third merge at 0.20, which is nearer to the first than to the fourth.
        let list = groupings(&data(&[0.0f64, 0.16, 0.24, 0.45, 2.0].map(f64::exp)));
        assert!(list.contains(&vec![0, 1, 1, 2, 3]), "{list:?}");
        assert!(list.contains(&vec![0, 0, 0, 1, 2]), "{list:?}");
        // Three members at 0.1333 weigh as three: with 0.45 they stand at 0.2125, not midway.
        assert!(list.contains(&vec![0, 0, 0, 0, 1]), "{list:?}");
    }
}
