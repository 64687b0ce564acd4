//! The write-up's sections, in the order of the questions that a reader asks.

use super::{Results, figures, prose, tables};
use crate::coupling::DEFAULT_MARGIN;
use crate::predict::{ASSUMED_SOURCE, assumed_note};
use crate::report::budgets;
use crate::report::claims as maker;
use crate::report::document::{Block, Section};
use crate::report::explorer::{Fitted, explorer};
use crate::report::figure::Figure;
use crate::report::supply_figures::{day_figure, discharge_figure};
use crate::report::supply_tables::{day_sentences, day_table, runtime_table};
use crate::report::{result_tables, run_figure};
use crate::steady::Reduction;
use crate::supply::notes::runtime_notes;

/// Titles of sections that stand in the workbook too.
pub(super) const LIMITATIONS: &str = "Limitations";
pub(super) const METHODS: &str = "How it was done";
pub(super) const CAUTIONS: &str = "Cautions";

/// All sections.
pub(super) fn all(r: &Results<'_>) -> Vec<Section> {
    let mut sections = vec![draw(r), capacity(r)];
    sections.extend(explore(r));
    sections.push(coupling(r));
    sections.push(warmer(r));
    sections.extend(supply(r));
    sections.extend(claims(r));
    sections.extend(budget(r));
    sections.extend([limitations(r), method(r), cautions(r), runs(r)]);
    sections.extend(r.reduction.map(read));
    sections
}

/// How each run was read from its log.
fn read(reduction: &Reduction) -> Section {
    let mut section = Section::new("How each run was read").with(Block::Text(
        "Each run's window was searched for the longest stretch in which draw, intake and outlet keep their tolerances; start-ups end where the readings say so, not after a fixed time. What was left out is shaded, and named in the table.".to_owned(),
    ));
    for f in run_figure::all_runs(reduction) {
        section = section.with(figure(f));
    }
    section.with(Block::Table(run_figure::table(reduction)))
}

fn figure(f: Figure) -> Block {
    Block::Figure(Box::new(f))
}

fn draw(r: &Results<'_>) -> Section {
    let mut section = Section::new("What it draws")
        .with(figure(figures::draw_by_fan(r)))
        .with(Block::Table(tables::common_conditions(r)))
        .with(figure(figures::draw_by_intake(r)))
        .with(Block::Heading("Equations to paste".to_owned()))
        .with(Block::Text("The most credible curve; temperatures in degC, airflow in m3/h, draw in W. Intervals and predictions weigh all credible curves, so they differ a little from this one.".to_owned()));
    if r.draw.best().form.moisture {
        section = section.with(Block::Text(result_tables::USUAL_HUMIDITY.to_owned()));
    }
    let equations: Vec<String> = r
        .draw
        .best()
        .form
        .equations(&r.draw.data, &r.draw.best().fit.coef)
        .into_iter()
        .map(|e| match e.modes.as_str() {
            "" => format!("# fan {}\n{}", e.fan, e.text),
            modes => format!("# {modes}, fan {}\n{}", e.fan, e.text),
        })
        .collect();
    section = section.with(Block::Code(equations.join("\n")));
    section.with(Block::Table(result_tables::candidates(r.draw)))
}

/// The form that answers for other settings and conditions.
fn explore(r: &Results<'_>) -> Option<Section> {
    let made = explorer(&Fitted {
        bench: r.bench,
        draw: r.draw,
        capacity: r.capacity.as_ref().ok().copied(),
        supply: r.supply.as_ref().ok().map(|s| &s.supply),
        level: r.level,
        system: r.system,
    })?;
    Some(Section::new("At other settings and conditions").with(Block::Explorer(Box::new(made))))
}

fn coupling(r: &Results<'_>) -> Section {
    let c = r.coupling;
    let mut section = Section::new("Are fan level and compressor tied together?");
    for (i, sentence) in c.sentences.iter().enumerate() {
        section = section.with(if i == 0 {
            Block::Finding(sentence.in_units(r.system).to_owned())
        } else {
            Block::Text(sentence.in_units(r.system).to_owned())
        });
    }
    for f in [figures::elasticity(r), figures::compressor_by_airflow(r)]
        .into_iter()
        .flatten()
    {
        section = section.with(figure(f));
    }
    section = section.with(Block::Table(result_tables::elasticities(c, r.level)));
    if !c.alike.is_empty() {
        let alike = result_tables::modes_alike(&c.alike, DEFAULT_MARGIN, r.level);
        section = section.with(Block::Table(alike));
    }
    let lines: Vec<String> = c
        .evidence
        .iter()
        .map(|e| {
            let p = e.p_value.map_or(String::new(), |p| {
                if p < 1e-4 {
                    " (p less than 0.0001)".to_owned()
                } else {
                    format!(" (p = {p:.4})")
                }
            });
            format!("{}{p}", e.detail)
        })
        .collect();
    section = section
        .with(Block::Heading("Lines of evidence".to_owned()))
        .with(Block::List(lines));
    if !c.would_settle.is_empty() {
        section = section
            .with(Block::Heading(c.settles().to_owned()))
            .with(Block::List(r.in_units(&c.would_settle)));
    }
    section
}

fn capacity(r: &Results<'_>) -> Section {
    let section = Section::new("What it delivers");
    match (figures::capacity_by_intake(r), &r.capacity) {
        (Some(f), _) => section.with(figure(f)),
        (None, Err(why)) => {
            let why = why.trim_end_matches('.');
            section.with(Block::Text(format!("No capacity is given: {why}.")))
        }
        (None, Ok(_)) => section.with(Block::Text(
            "The capacity stands in the tables; there is too little of it for a figure.".to_owned(),
        )),
    }
}

fn claims(r: &Results<'_>) -> Option<Section> {
    if r.claims.is_empty() {
        return None;
    }
    let section = Section::new("The maker's figures")
        .with(Block::Finding(maker::headline(r.claims)))
        .with(Block::Table(maker::table(r.claims, r.level, r.system)))
        .with(Block::List(maker::reasons(r.claims, r.system)));
    Some(section)
}

fn budget(r: &Results<'_>) -> Option<Section> {
    let shown = r.budget?;
    let mut sentences = budgets::sentences(shown).into_iter();
    let mut section = Section::new("How sure the figures are");
    if let Some(first) = sentences.next() {
        section = section.with(Block::Finding(first));
    }
    let rest: Vec<String> = sentences.collect();
    for text in rest {
        section = section.with(Block::Text(text));
    }
    let tables = [
        budgets::efficiencies(shown),
        budgets::capacities(shown),
        budgets::contributions(shown),
        budgets::airflow(shown),
        budgets::condensate(shown),
    ];
    for table in tables.into_iter().flatten() {
        section = section.with(Block::Table(table));
    }
    Some(section)
}

fn warmer(r: &Results<'_>) -> Section {
    let section = Section::new("On warmer days")
        .with(Block::Text("These rows warm the intake air only, with ambient air as in the runs. A hot day warms the condenser side as well, which moves a compressor's draw more than the intake does: published curve sets give +1.4 to +2.4 % for each kelvin of it at fixed speed.".to_owned()))
        .with(Block::Table(tables::warmer(r)));
    hot_day(r).into_iter().fold(section, Section::with)
}

/// The day asked for: what is assumed is said before any figure.
fn hot_day(r: &Results<'_>) -> Vec<Block> {
    let Some(day) = &r.hot_day else {
        return Vec::new();
    };
    let mut blocks = Vec::new();
    if let Some((draw, capacity)) = &day.steps {
        let note = |figure, step| assumed_note(figure, step, day.ambient_c, r.system);
        blocks.push(Block::Caution(vec![
            note("draw", draw),
            note("capacity", capacity),
            format!("Source of the published slopes: {ASSUMED_SOURCE}. A unit whose control holds back when hot does not follow them."),
        ]));
    }
    blocks.push(Block::Table(tables::hot_day(r, day)));
    blocks
}

fn supply(r: &Results<'_>) -> Option<Section> {
    let s = match &r.supply {
        Ok(s) => s,
        // Without a battery, a cable or a day nobody asked.
        Err(_) if r.bench.supply.battery.is_none() && r.bench.day.is_none() => return None,
        Err(reason) => {
            return Some(
                Section::new("On the battery").with(Block::Text(format!("No hours: {reason}"))),
            );
        }
    };
    let ambient_known = r.draw.data.ambient_varied;
    let mut section = Section::new("On the battery").with(Block::Table(runtime_table(
        &r.draw.data,
        &s.rows,
        ambient_known,
        r.system,
        r.level,
    )));
    if let Some(tested) = &s.supply.tested {
        section = section
            .with(Block::Heading("The discharge test".to_owned()))
            .with(figure(discharge_figure(tested)));
    }
    if let Some(day) = &s.day {
        section = section.with(Block::Heading("A day".to_owned()));
        for sentence in day_sentences(day, r.level, r.system) {
            section = section.with(Block::Text(sentence));
        }
        if let Some(f) = day_figure(day, r.level) {
            section = section.with(figure(f));
        }
        section = section.with(Block::Table(day_table(day, r.system, r.level)));
    }
    let mut rests_on = runtime_notes(r.bench, &s.supply, r.system);
    rests_on.extend(s.day.iter().flat_map(|d| d.notes.clone()));
    Some(
        section
            .with(Block::Heading("What the hours rest on".to_owned()))
            .with(Block::List(rests_on)),
    )
}

fn limitations(r: &Results<'_>) -> Section {
    let list = prose::limitations(r);
    let section = Section::new(LIMITATIONS);
    if list.is_empty() {
        section.with(Block::Text(
            "Nothing was found that weakens these answers beyond their intervals.".to_owned(),
        ))
    } else {
        section.with(Block::List(list))
    }
}

fn method(r: &Results<'_>) -> Section {
    let mut section = Section::new(METHODS).with(Block::Terms(prose::bench_terms(r)));
    for paragraph in prose::methods(r) {
        section = section.with(Block::Text(paragraph));
    }
    section
}

fn cautions(r: &Results<'_>) -> Section {
    Section::new(CAUTIONS).with(Block::Caution(prose::cautions(r)))
}

fn runs(r: &Results<'_>) -> Section {
    Section::new("The runs").with(Block::Table(tables::runs(r)))
}
