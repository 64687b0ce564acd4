//! Budgets in sentences.

use super::{Shown, main_figure};
use crate::budget::{Figure, SettingBudget, Witness};
use crate::fit::forms::CapacityKind;
use crate::report::words::{decimals_for, number};

/// Which source matters most, whether the linear intervals may be trusted, and what the water says, in sentences.
pub fn sentences(shown: &Shown<'_>) -> Vec<String> {
    let mut text = Vec::new();
    let Some(s) = shown.budgets.shown(shown.data) else {
        return text;
    };
    let Some(main) = main_figure(shown, s) else {
        return text;
    };
    let what = if main.figure == Figure::Eer {
        "EER"
    } else {
        "draw"
    };
    if let Some(top) = main.parts.first() {
        let source = top.source.and_then(|i| s.sources.get(i));
        let shrink = 100.0 * top.if_halved;
        text.push(match source {
            Some(x) => format!(
                "What matters most for the {what} ({}) is the {} ({}): {:.0} % of the variance. Were it twice as good, the interval would be {shrink:.0} % narrower.",
                shown.setting(s), x.name, x.acts, 100.0 * top.share
            ),
            None => format!(
                "What matters most for the {what} ({}) is the scatter between runs: {:.0} % of the variance. With four times as many runs, the interval would be {shrink:.0} % narrower.",
                shown.setting(s), 100.0 * top.share
            ),
        });
    }
    text.extend(scatter_sentence(shown));
    text.extend(thermometer_sentence(shown, s));
    text.extend(trial_sentence(shown, s));
    text.extend(water_sentences(shown));
    text
}

fn scatter_sentence(shown: &Shown<'_>) -> Option<String> {
    let of = |f: Figure| shown.budgets.scatter[f as usize].as_ref();
    let Some(draw) = of(Figure::Draw) else {
        return Some("No run was repeated at the same setting and intake, so the scatter between runs is not known; the intervals hold instruments and the runs' own readings only, and are too narrow by what a further run would show.".to_owned());
    };
    let mut list = vec![format!("{:.1} % for the draw", 100.0 * draw.relative_sd)];
    if let Some((figure, kind)) = shown.capacity()
        && let (Some(c), Some(e)) = (of(figure), of(Figure::Eer))
    {
        list.push(format!(
            "{:.1} % for the {kind} capacity",
            100.0 * c.relative_sd
        ));
        list.push(format!("{:.1} % for the EER", 100.0 * e.relative_sd));
    }
    let adjusted: Vec<String> = shown
        .budgets
        .adjusted
        .iter()
        .map(|c| c.name().replace("_temp", "").replace("_rh", " humidity"))
        .collect();
    let after = if adjusted.is_empty() {
        String::new()
    } else {
        format!(
            " after the slopes in {} were taken out",
            adjusted.join(", ")
        )
    };
    Some(format!(
        "Repeated runs scatter by {} (standard deviation of one run{after}; {:.0} degrees of freedom).",
        list.join(", "),
        draw.dof
    ))
}

fn thermometer_sentence(shown: &Shown<'_>, s: &SettingBudget) -> Option<String> {
    use crate::bench::Channel::{IntakeTemp, OutletTemp};
    shown.capacity()?;
    let both =
        shown.bench.instruments.iter().find(|i| {
            i.shared && i.measures.contains(&IntakeTemp) && i.measures.contains(&OutletTemp)
        });
    let moved = |c| s.sources.iter().any(|x| x.moves.iter().any(|m| m.0 == c));
    match both {
        Some(i) => Some(format!(
            "One [[instrument]], “{}”, reads intake and outlet, so its error is taken to cancel in the temperature drop. Where these are two sensors with errors of their own, give each an [[instrument]] of its own: the capacity is then less sure.",
            i.name
        )),
        None if moved(IntakeTemp) && moved(OutletTemp) => Some("Intake and outlet have a thermometer each, so their errors do not cancel in the temperature drop. Reading both with one sensor, or both in the same air before the tests, would take most of that part away.".to_owned()),
        None => None,
    }
}

fn trial_sentence(shown: &Shown<'_>, s: &SettingBudget) -> Option<String> {
    let Some(trials) = shown.trials else {
        return Some("The intervals are linear ones (JCGM 100:2008). Random trials (JCGM 101:2008) reach readings for which there is no figure, so the linear intervals could not be checked.".to_owned());
    };
    let asked: Vec<Figure> = match shown.capacity() {
        Some((figure, _)) => vec![Figure::Draw, figure, Figure::Eer],
        None => vec![Figure::Draw],
    };
    let of = |f: &Figure| trials.figures.iter().find(|t| t.figure == *f);
    let found: Vec<_> = asked.iter().filter_map(of).collect();
    let failed: Vec<String> = trials
        .figures
        .iter()
        .filter(|t| t.digits.is_none())
        .filter_map(|t| {
            let d = decimals_for(s.figure(t.figure)?.u.total());
            Some(format!(
                "the {} ({} to {} by the trials)",
                figure_words(t.figure),
                number(t.interval.0, d),
                number(t.interval.1, d)
            ))
        })
        .collect();
    let runs = format!(
        "{} random trials with the instruments' and the scatter's distributions (JCGM 101:2008)",
        group_thousands(trials.trials)
    );
    let digits = found.iter().filter_map(|t| t.digits).min();
    let word = match digits {
        Some(2) => "two digits",
        _ => "one digit",
    };
    let setting = shown.setting(s);
    if failed.is_empty() {
        return Some(format!(
            "The intervals are linear ones (JCGM 100:2008). {runs} give the same ends to {word} of the standard uncertainty for {setting}, so the linear intervals may be trusted (clause 8)."
        ));
    }
    let rest = if found.iter().all(|t| t.digits.is_none()) {
        String::new()
    } else {
        format!(
            " The other figures' ends agree to {word} of the standard uncertainty, so their linear intervals may be trusted (clause 8)."
        )
    };
    Some(format!(
        "The intervals are linear ones (JCGM 100:2008), but {runs} do not bear these out for {} at {setting}; there, the trials' intervals stand in the tables for every setting.{rest}",
        failed.join(" and ")
    ))
}

fn figure_words(figure: Figure) -> &'static str {
    match figure {
        Figure::Draw => "draw",
        Figure::Sensible => "sensible capacity",
        Figure::Latent => "latent capacity",
        Figure::Total => "total capacity",
        Figure::SensibleHeatRatio => "sensible heat ratio",
        Figure::Eer => "EER",
        Figure::Weighed => "latent capacity by weighed water",
        Figure::WeighedLessAir => "weighed less air-side latent capacity",
    }
}

fn group_thousands(n: usize) -> String {
    let text = n.to_string();
    let (head, tail) = text.split_at(text.len().saturating_sub(3));
    if head.is_empty() {
        text
    } else {
        format!("{head} {tail}")
    }
}

/// Wet coils without outlet humidity, and weighed water.
fn water_sentences(shown: &Shown<'_>) -> Vec<String> {
    let mut text = Vec::new();
    let wet: usize = shown.budgets.settings.iter().map(|s| s.wet).sum();
    let runs: usize = shown.budgets.settings.iter().map(|s| s.runs.len()).sum();
    if shown.budgets.capacity == Ok(CapacityKind::Sensible) && wet > 0 {
        text.push(format!("In {wet} of {runs} runs the intake's dew point lies above what the coil reaches, so water condensed or may have: there was latent cooling too, which cannot be told without the outlet's humidity. Capacity and EER are of the sensible part only."));
    }
    let dry: usize = shown.budgets.settings.iter().map(|s| s.dry).sum();
    if shown.budgets.capacity == Ok(CapacityKind::Total) && dry > 0 {
        text.push(format!("In {dry} of {runs} runs the coil was dry for certain: the intake's dew point lies below anything the coil reaches. There the total is the sensible capacity, and the sensible figure is the surer of the two, for no humidity probe enters it beyond the air's density."));
    }
    let witnesses: Vec<(&SettingBudget, Witness)> = shown
        .budgets
        .settings
        .iter()
        .filter_map(|s| Some((s, s.witness()?)))
        .collect();
    if witnesses.is_empty() {
        return text;
    }
    let count = |w: Witness| witnesses.iter().filter(|x| x.1 == w).count();
    let (agree, less, more) = (
        count(Witness::Agrees),
        count(Witness::Less),
        count(Witness::More),
    );
    let of = witnesses.len();
    text.push(format!("The condensate is a second witness of the latent capacity: at {agree} of {of} settings its figure and the air side's agree within their interval."));
    if less > 0 {
        text.push(format!("At {less} of {of} settings less water was weighed than the air lost. Water stays on the fins and in the pan at first, and some may leak or blow off: weigh only after the drip has been steady for a while. If it stays short, the humidity probes or the airflow are off."));
    }
    if more > 0 {
        text.push(format!("At {more} of {of} settings more water was weighed than the air lost, which no hold-up explains, unless water from an earlier, wetter run drained during this one: the humidity probes, the airflow or the time of collection are off."));
    }
    text
}
