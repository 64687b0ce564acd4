//! All forms worth trying on given data.

use super::data::DrawData;
use super::draw::{AmbientForm, DrawForm, IntakeForm, Scatter, SettingForm};

/// With more modes than this, only "all alike", "all apart" and each single pair alike are tried.
const MOST_MODES_PARTITIONED: usize = 4;

/// All ways of taking modes for the same, as a group number for each mode.
pub fn partitions(modes: usize) -> Vec<Vec<usize>> {
    if modes == 0 {
        return vec![Vec::new()];
    }
    if modes > MOST_MODES_PARTITIONED {
        let mut list = vec![vec![0; modes], (0..modes).collect()];
        for a in 0..modes.min(12) {
            for b in a + 1..modes.min(12) {
                let mut next = 0;
                let groups: Vec<usize> = (0..modes)
                    .map(|m| {
                        if m == b {
                            usize::MAX
                        } else {
                            next += 1;
                            next - 1
                        }
                    })
                    .collect();
                let shared = groups.get(a).copied().unwrap_or(0);
                list.push(
                    groups
                        .into_iter()
                        .map(|g| if g == usize::MAX { shared } else { g })
                        .collect(),
                );
            }
        }
        return list;
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

/// Every form that the data can tell anything about, simplest partitions first, without repeats in disguise.
pub fn family(data: &DrawData) -> Vec<DrawForm> {
    let have_x = data.levels.iter().all(|l| l.x.is_some());
    let used_levels = (0..data.levels.len())
        .filter(|l| {
            data.tested
                .iter()
                .any(|m| m.get(*l).is_some_and(|n| *n > 0))
        })
        .count();
    let mut forms = Vec::new();
    for groups in partitions(data.modes.len()) {
        let group_count = groups.iter().max().map_or(0, |g| g + 1);
        for setting in settings(have_x, used_levels, group_count) {
            for (intake, lift) in intakes(data, have_x && used_levels > 1, group_count) {
                for ambient in ambients(data) {
                    for moisture in moistures(data) {
                        for scatter in [Scatter::Proportional, Scatter::Additive] {
                            forms.push(DrawForm {
                                groups: groups.clone(),
                                setting,
                                intake,
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
    if data.set_points.len() > 2 {
        list.push((IntakeForm::Quadratic, false));
        list.push((IntakeForm::Kinked, false));
        if groups > 1 {
            list.push((IntakeForm::QuadraticByGroup, false));
            list.push((IntakeForm::KinkedByGroup, false));
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
