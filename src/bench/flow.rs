//! Each run's airflow from the best that the bench has of it.

use super::channel::Channel;
use super::duct::{DuctInfo, FlowFrom};
use super::error::{Finding, Place, Severity};
use super::{FanInfo, Point, clip};

/// Notes what was written down for the airflow and cannot be used, or not as it stands.
pub(super) fn note_unused(
    points: &[Point],
    duct: &DuctInfo,
    fan: &FanInfo,
    findings: &mut Vec<Finding>,
) {
    let place = Place::file("bench.toml");
    let mut warn = |code, message: String, place: &Place| {
        findings.push(Finding::new(Severity::Warning, code, message).at(place));
    };
    let run_at = |level: &str| points.iter().any(|p| p.fan == level);
    for level in fan.levels.iter().filter(|l| !run_at(&l.level)) {
        let name = clip(&level.level);
        let message = format!("No run was made at the fan level `{name}` of [fan.levels].");
        warn("fan-level-unused", message, &place);
    }
    if let Some(traverse) = &duct.traverse {
        let file = Place::file(&traverse.file);
        for level in traverse.levels.iter().filter(|l| !run_at(&l.level)) {
            let name = clip(&level.level);
            let message = format!("No run was made at the fan level `{name}` of the traverse.");
            warn("fan-level-unused", message, &file);
        }
    }
    let traversed = |p: &Point| {
        duct.traverse
            .as_ref()
            .is_some_and(|t| t.level(&p.fan).is_some())
    };
    let by_speed = points
        .iter()
        .any(|p| p.get(Channel::AirSpeed).is_some() && p.airflow_m3h().is_none() && !traversed(p));
    let speed = points.iter().any(|p| p.get(Channel::AirSpeed).is_some());
    if speed && duct.section.is_none() {
        let message =
            "There are air speeds but no [duct] with its size, so they do not become an airflow.";
        warn("no-duct", message.to_owned(), &place);
    } else if by_speed && !duct.reading_to_mean_stated {
        let message = "Each run's air speed is taken as the mean over the duct. A probe in the middle of a duct reads up to a fifth above the mean; measure across (traverse = …) or state reading_to_mean in [duct].";
        warn("single-point-speed", message.to_owned(), &place);
    }
}

/// Airflow of runs that carry none: from the level's traverse, else from air speed and duct, else as `[fan.levels]` states.
pub(super) fn fill(points: &mut [Point], duct: &DuctInfo, fan: &FanInfo) {
    let area = duct.section.map(|s| s.area_m2());
    for p in points {
        if p.airflow_m3h().is_some() {
            p.flow_from = Some(FlowFrom::Read);
            continue;
        }
        let across = duct.traverse.as_ref().and_then(|t| t.level(&p.fan));
        let stated = fan.levels.iter().find(|l| l.level == p.fan);
        let found = match (across, p.get(Channel::AirSpeed), area) {
            (Some(t), _, Some(a)) => Some((t.mean_m_s() * a * 3600.0, FlowFrom::Traverse)),
            (None, Some(v), Some(a)) => {
                Some((v * duct.reading_to_mean * a * 3600.0, FlowFrom::AirSpeed))
            }
            _ => stated
                .and_then(|l| l.airflow_m3h)
                .map(|flow| (flow, FlowFrom::Stated)),
        };
        if let Some((flow, from)) = found {
            p.set(Channel::Airflow, flow);
            p.flow_from = Some(from);
        }
    }
}
