//! Budgets for a reader: tables and sentences that `fit --budget` and the write-up both show.

use super::tables::{Cell, Column, Table};
use super::words::{decimals_for, number};
use crate::air::BTU_PER_WH;
use crate::bench::{Bench, FlowFrom};
use crate::budget::{Budgets, Figure, FigureBudget, Scope, SettingBudget, Trials, Witness};
use crate::fit::forms::{CapacityKind, DrawData};
use crate::quantity::{Dimension, System};

/// Budgets with all that is needed to show them.
#[derive(Clone, Copy)]
pub struct Shown<'a> {
    /// The bench.
    pub bench: &'a Bench,
    /// Its cooling runs.
    pub data: &'a DrawData,
    /// The budgets.
    pub budgets: &'a Budgets,
    /// What the random trials said of the shown setting.
    pub trials: Option<&'a Trials>,
    /// Units for the reader.
    pub system: System,
}

impl Shown<'_> {
    fn percent(&self) -> String {
        format!("{:.0} %", 100.0 * self.budgets.level)
    }

    fn names(&self, s: &SettingBudget) -> [Cell; 2] {
        let mode = self.data.modes.get(s.mode).map_or("", String::as_str);
        let level = self.data.levels.get(s.level);
        [
            Cell::text(mode),
            Cell::text(level.map_or("", |l| l.label.as_str())),
        ]
    }

    fn setting(&self, s: &SettingBudget) -> String {
        let mode = self.data.modes.get(s.mode).map_or("", String::as_str);
        let level = self
            .data
            .levels
            .get(s.level)
            .map_or("", |l| l.label.as_str());
        match mode {
            "" => format!("fan {level}"),
            mode => format!("{mode}, fan {level}"),
        }
    }

    /// The figure that stands for the capacity.
    fn capacity(&self) -> Option<(Figure, &'static str)> {
        match self.budgets.capacity {
            Ok(CapacityKind::Total) => Some((Figure::Total, "total")),
            Ok(CapacityKind::Sensible) => Some((Figure::Sensible, "sensible")),
            Err(_) => None,
        }
    }

    fn temperature(&self, c: f64) -> String {
        let unit = self.system.symbol(Dimension::Temperature);
        format!(
            "{:.1} {}",
            self.system.convert(Dimension::Temperature, c),
            super::words::unit_sign(unit)
        )
    }

    /// "27.1 °C intake and 25.9 °C ambient": the settings' mean conditions.
    fn conditions(&self, list: &[&SettingBudget]) -> String {
        let mean = |of: &dyn Fn(&SettingBudget) -> Option<f64>| {
            let all: Option<Vec<f64>> = list.iter().map(|s| of(s)).collect();
            all.filter(|v| !v.is_empty())
                .map(|v| v.iter().sum::<f64>() / v.len() as f64)
        };
        let intake = mean(&|s| s.intake_c).map(|t| format!("{} intake", self.temperature(t)));
        let ambient = mean(&|s| s.ambient_c).map(|t| format!("{} ambient", self.temperature(t)));
        let words: Vec<String> = [intake, ambient].into_iter().flatten().collect();
        if words.is_empty() {
            "the runs' conditions".to_owned()
        } else {
            words.join(" and ")
        }
    }
}

/// How a column's figure is shown: rounded for all its rows alike, to two digits of the largest uncertainty.
struct Shape<F> {
    figure: Figure,
    decimals: u8,
    scale: F,
}

impl<F: Fn(f64) -> f64> Shape<F> {
    fn of(list: &[&SettingBudget], figure: Figure, scale: F) -> Self {
        let u = |s: &&SettingBudget| s.figure(figure).map_or(0.0, |f| f.u.total());
        let largest = list.iter().map(u).fold(0.0, f64::max);
        let decimals = decimals_for(scale(largest) - scale(0.0));
        Self {
            figure,
            decimals,
            scale,
        }
    }

    /// The value and its interval.
    fn interval(&self, s: &SettingBudget) -> [Cell; 2] {
        let Some(f) = s.figure(self.figure) else {
            return [Cell::Absent, Cell::Absent];
        };
        let (low, high) = f.interval;
        [
            Cell::number((self.scale)(f.value), self.decimals),
            Cell::interval((self.scale)(low), (self.scale)(high), self.decimals),
        ]
    }

    /// The value and half the width of its interval; the larger half of an uneven one.
    fn half(&self, s: &SettingBudget) -> [Cell; 2] {
        let Some(f) = s.figure(self.figure) else {
            return [Cell::Absent, Cell::Absent];
        };
        let half = (f.value - f.interval.0).max(f.interval.1 - f.value);
        [
            Cell::number((self.scale)(f.value), self.decimals),
            Cell::number((self.scale)(half) - (self.scale)(0.0), self.decimals),
        ]
    }
}

/// Sensible, latent and total capacity of each setting; none where the bench gives no capacity.
pub fn capacities(shown: &Shown<'_>) -> Option<Table> {
    let (figure, _) = shown.capacity()?;
    let list = shown.budgets.middle(shown.data);
    let conditions = shown.conditions(&list);
    let unit = shown.system.capacity_symbol();
    let both = figure == Figure::Total;
    let percent = shown.percent();
    let mut columns = vec![
        Column::text("mode"),
        Column::text("fan"),
        Column::number("runs", ""),
        Column::number("sensible", unit),
        Column::number("±", unit),
    ];
    if both {
        columns.extend([Column::number("latent", unit), Column::number("±", unit)]);
        columns.extend([Column::number("total", unit), Column::number("±", unit)]);
        columns.extend([Column::number("SHR", ""), Column::number("±", "")]);
    }
    let note = if both {
        format!(
            "Means of the runs themselves, brought to the same conditions by slopes that all settings share; the curves' figures may differ from them by less than the intervals. ±: half the {percent} interval. Total goes by the enthalpies: on a wet coil it is a little more than sensible and latent together, by the heat that leaves with the water. SHR: sensible heat ratio, sensible over total."
        )
    } else {
        format!(
            "Means of the runs themselves. ±: half the {percent} interval. Sensible only: humidity was not read on both sides of every run."
        )
    };
    let title = format!("Capacity of each setting at {conditions}");
    let mut table = Table::new(title, columns).with_note(note);
    let watts = |w: f64| shown.system.convert_capacity(w);
    let sensible = Shape::of(&list, Figure::Sensible, watts);
    let latent = Shape::of(&list, Figure::Latent, watts);
    let total = Shape::of(&list, Figure::Total, watts);
    let ratio = Shape::of(&list, Figure::SensibleHeatRatio, |v| v);
    for s in list {
        let mut row: Vec<Cell> = shown.names(s).into();
        row.push(Cell::number(s.runs.len() as f64, 0));
        row.extend(sensible.half(s));
        if both {
            row.extend([latent.half(s), total.half(s), ratio.half(s)].concat());
        }
        table.row(row);
    }
    Some(table)
}

/// EER of each setting, in both units, its two parts of uncertainty, and its ratio to the best; none without a capacity.
pub fn efficiencies(shown: &Shown<'_>) -> Option<Table> {
    let (_, kind) = shown.capacity()?;
    let list = shown.budgets.middle(shown.data);
    let eer = |s: &SettingBudget| s.figure(Figure::Eer).map(|f| f.value);
    let best = list
        .iter()
        .filter(|s| eer(s).is_some())
        .max_by(|a, b| eer(a).unwrap_or(0.0).total_cmp(&eer(b).unwrap_or(0.0)))?;
    let interval = || Column::interval(format!("{} interval", shown.percent()), "");
    let mut table = Table::new(
        format!(
            "EER of each setting at {}: {kind} cooling over the whole draw",
            shown.conditions(&list)
        ),
        [
            Column::text("mode"),
            Column::text("fan"),
            Column::number("EER", "W/W"),
            interval(),
            Column::number("EER", "Btu/h per W"),
            interval(),
            Column::number("u shared", "W/W"),
            Column::number("u fresh", "W/W"),
            Column::number("to best", ""),
            interval(),
        ],
    )
    .with_note(format!(
        "u: standard uncertainty of the EER; its shared part is the same error in every run, its fresh part is what repeating averages out. To best: the ratio to {}, in which shared errors cancel, so that settings may differ for certain although their own intervals overlap.",
        shown.setting(best)
    ));
    let watts = Shape::of(&list, Figure::Eer, |v| v);
    let btu = Shape::of(&list, Figure::Eer, |v| v * BTU_PER_WH);
    for s in &list {
        let Some(f) = s.figure(Figure::Eer) else {
            continue;
        };
        let decimals = watts.decimals;
        let mut row: Vec<Cell> = shown.names(s).into();
        row.extend([watts.interval(s), btu.interval(s)].concat());
        row.push(Cell::number(f.u.shared, decimals));
        row.push(Cell::number(f.u.fresh, decimals));
        let ratio = shown.budgets.ratio(s, best, Figure::Eer).ok().flatten();
        match ratio.filter(|_| s.runs != best.runs) {
            Some(r) => {
                let d = decimals_for(r.u);
                row.push(Cell::number(r.value, d));
                row.push(Cell::interval(r.interval.0, r.interval.1, d));
            }
            None => row.extend([Cell::Absent, Cell::Absent]),
        }
        table.row(row);
    }
    Some(table)
}

/// What each source adds at the shown setting, and what a better instrument would buy.
pub fn contributions(shown: &Shown<'_>) -> Option<Table> {
    let s = shown.budgets.shown(shown.data)?;
    let main = main_figure(shown, s)?;
    let capacity = shown.capacity();
    let mut columns = vec![
        Column::text("source"),
        Column::text("moves"),
        Column::text("shared by"),
        Column::number("draw", "u, %"),
    ];
    if capacity.is_some() {
        columns.push(Column::number("capacity", "u, %"));
        columns.push(Column::number("EER", "u, %"));
    }
    columns.push(Column::number("share", "%"));
    columns.push(Column::number("halved", "%"));
    let what = if main.figure == Figure::Eer {
        "EER"
    } else {
        "draw"
    };
    let of_kind = capacity.map_or(String::new(), |c| format!(" (capacity: {})", c.1));
    let mut table = Table::new(
        format!("What makes the figures uncertain ({})", shown.setting(s)),
        columns,
    )
    .with_note(format!(
        "u: standard uncertainty that the source adds, relative to the figure{of_kind}. Share: of the variance of the {what}. Halved: by how much the interval of the {what} changes if the source were twice as good. What is shared by no other run averages out by repeating; the rest does not."
    ));
    let figures: Vec<Option<&FigureBudget>> = [Some(Figure::Draw)]
        .into_iter()
        .chain(capacity.map(|c| Some(c.0)))
        .chain(capacity.map(|_| Some(Figure::Eer)))
        .map(|f| s.figure(f?))
        .collect();
    let mut keys: Vec<Option<usize>> = main.parts.iter().map(|p| p.source).collect();
    for f in figures.iter().flatten() {
        for p in &f.parts {
            if !keys.contains(&p.source) {
                keys.push(p.source);
            }
        }
    }
    for key in keys {
        let source = key.and_then(|i| s.sources.get(i));
        let (name, acts, scope) = match source {
            Some(x) => (x.name.clone(), x.acts.clone(), scope_words(x.scope)),
            None => (
                "scatter between runs".to_owned(),
                scatter_words(shown, s),
                scope_words(Scope::Fresh),
            ),
        };
        let mut row = vec![Cell::text(name), Cell::text(acts), Cell::text(scope)];
        for f in &figures {
            row.push(match f {
                Some(f) => {
                    let part = f.parts.iter().find(|p| p.source == key);
                    Cell::number(
                        100.0 * part.map_or(0.0, |p| p.signed_u.abs()) / f.value.abs(),
                        2,
                    )
                }
                None => Cell::Absent,
            });
        }
        let part = main.parts.iter().find(|p| p.source == key);
        row.push(Cell::number(100.0 * part.map_or(0.0, |p| p.share), 0));
        row.push(Cell::number(-100.0 * part.map_or(0.0, |p| p.if_halved), 0));
        table.row(row);
    }
    let mut all = vec![Cell::text("all together"), Cell::text(""), Cell::text("")];
    for f in &figures {
        all.push(Cell::maybe(
            f.map(|f| 100.0 * f.u.total() / f.value.abs()),
            2,
        ));
    }
    all.extend([Cell::number(100.0, 0), Cell::Absent]);
    table.row(all);
    Some(table)
}

fn main_figure<'a>(shown: &Shown<'_>, s: &'a SettingBudget) -> Option<&'a FigureBudget> {
    match shown.capacity() {
        Some(_) => s.figure(Figure::Eer),
        None => s.figure(Figure::Draw),
    }
}

fn scope_words(scope: Scope) -> &'static str {
    match scope {
        Scope::Shared => "all runs",
        Scope::Level => "its fan level",
        Scope::Fresh => "no other run",
    }
}

fn scatter_words(shown: &Shown<'_>, s: &SettingBudget) -> String {
    let dof = shown.budgets.scatter[Figure::Draw as usize]
        .as_ref()
        .map_or(0.0, |x| x.dof);
    let plural = if s.runs.len() == 1 { "" } else { "s" };
    format!("{} run{plural}, {dof:.0} d.o.f.", s.runs.len())
}

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

/// The latent capacity by both witnesses at each setting; none where no water was weighed.
pub fn condensate(shown: &Shown<'_>) -> Option<Table> {
    let unit = shown.system.capacity_symbol();
    let interval = || Column::interval(format!("{} interval", shown.percent()), unit);
    let mut table = Table::new(
        "Latent capacity by two witnesses",
        [
            Column::text("mode"),
            Column::text("fan"),
            Column::number("intake", shown.system.symbol(Dimension::Temperature)),
            Column::number("by the air", unit),
            interval(),
            Column::number("by weighed water", unit),
            interval(),
            Column::number("water less air", unit),
            interval(),
            Column::text("finding"),
        ],
    )
    .with_note("By the air: humidity lost times airflow. By weighed water: condensate rate times heat of evaporation at the outlet temperature. What instruments both lean on is counted once in their difference.");
    let all: Vec<&SettingBudget> = shown.budgets.settings.iter().collect();
    let watts = |w: f64| shown.system.convert_capacity(w);
    let air = Shape::of(&all, Figure::Latent, watts);
    let water = Shape::of(&all, Figure::Weighed, watts);
    let less = Shape::of(&all, Figure::WeighedLessAir, watts);
    for s in all {
        if s.figure(Figure::Weighed).is_none() {
            continue;
        }
        let mut row: Vec<Cell> = shown.names(s).into();
        row.push(Cell::maybe(
            s.intake_c
                .map(|t| shown.system.convert(Dimension::Temperature, t)),
            1,
        ));
        row.extend([air.interval(s), water.interval(s), less.interval(s)].concat());
        row.push(Cell::text(match s.witness() {
            Some(Witness::Agrees) => "agree",
            Some(Witness::Less) => "less water",
            Some(Witness::More) => "more water",
            None => "no humidity",
        }));
        table.row(row);
    }
    (!table.rows().is_empty()).then_some(table)
}

/// Each fan level's airflow and where it comes from; none where no run has one.
pub fn airflow(shown: &Shown<'_>) -> Option<Table> {
    let unit = shown.system.symbol(Dimension::Flow);
    let percent = shown.percent();
    let mut table = Table::new(
        "Airflow of each fan level",
        [
            Column::text("fan"),
            Column::text("from"),
            Column::number("mean speed", "m/s"),
            Column::number("airflow", unit),
            Column::interval(format!("{percent} interval"), unit),
        ],
    )
    .with_note(
        "At the density of the air where it was measured; the mass flow is taken from there.",
    );
    for (index, level) in shown.data.levels.iter().enumerate() {
        let settings = &shown.budgets.settings;
        let Some(s) = settings.iter().find(|s| s.level == index) else {
            continue;
        };
        let first = s.runs.first().and_then(|i| shown.bench.points.get(*i));
        let from = first.and_then(|p| p.flow_from);
        let (Some(from), Some(flow)) = (from, level.flow) else {
            continue;
        };
        let u = s.airflow_u();
        let factor = crate::stats::normal::quantile(0.5 + shown.budgets.level / 2.0);
        let (low, high) = (flow - factor * u, flow + factor * u);
        let convert = |v| shown.system.convert(Dimension::Flow, v);
        let decimals = decimals_for(convert(u));
        let across = shown.bench.duct.traverse.as_ref();
        let across = across.and_then(|t| t.level(&level.label));
        let area = shown.bench.duct.section.map(|d| d.area_m2());
        table.row([
            Cell::text(level.label.as_str()),
            Cell::text(match (from, across) {
                (FlowFrom::Traverse, Some(t)) => format!(
                    "traverse: {} × {} points, {} pass{}",
                    t.lines,
                    t.points,
                    t.passes_m_s.len(),
                    if t.passes_m_s.len() == 1 { "" } else { "es" }
                ),
                (FlowFrom::Traverse, None) => "traverse".to_owned(),
                (FlowFrom::Read, _) => "read in each run".to_owned(),
                (FlowFrom::AirSpeed, _) => "air speed of each run".to_owned(),
                (FlowFrom::Stated, _) => "[fan.levels]".to_owned(),
            }),
            Cell::maybe(area.map(|a| flow / 3600.0 / a), 2),
            Cell::number(convert(flow), if u > 0.0 { decimals } else { 0 }),
            if u > 0.0 {
                Cell::interval(convert(low), convert(high), decimals)
            } else {
                Cell::Absent
            },
        ]);
    }
    (!table.rows().is_empty()).then_some(table)
}
