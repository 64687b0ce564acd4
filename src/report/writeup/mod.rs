//! The write-up of a bench: which figures, tables and sentences, in which order. It says what the results say, never more.
//!
//! [`Results`] holds all that was computed; [`document`] turns it into a [`Document`]; [`files`] writes that in every format.

mod figures;
mod paste;
mod prose;
mod sections;
mod summary;
mod tables;

use std::path::Path;

pub use paste::equations;

use super::budgets::Shown;
use super::document::Document;
use super::figure::{self, FigureError, Format, Size, Theme};
use super::workbook::{Equations, TextSheet, workbook};
use super::write::Output;
use super::{html, markdown};
use crate::bench::{Bench, Finding};
use crate::coupling::Coupling;
use crate::findings::HeldClaim;
use crate::fit::candidates::DrawFit;
use crate::fit::forms::{At, CapacityKind};
use crate::predict::AmbientStep;
use crate::quantity::{Said, System};
use crate::steady::Reduction;
use crate::supply::day::{Day, day};
use crate::supply::runtime::{RuntimeRow, Supply, SupplyError};

/// Everything that was computed of a bench.
pub struct Results<'a> {
    /// The bench.
    pub bench: &'a Bench,
    /// Whether it is the built-in demo.
    pub demo: bool,
    /// The draw's candidates.
    pub draw: &'a DrawFit,
    /// The capacity's candidates and what they are of, or why there are none.
    pub capacity: Result<(CapacityKind, &'a DrawFit), String>,
    /// The coupling.
    pub coupling: &'a Coupling,
    /// The uncertainty budgets; none without cooling runs.
    pub budget: Option<&'a Shown<'a>>,
    /// The maker's figures held against the bench; empty where the bench names none.
    pub claims: &'a [HeldClaim],
    /// How the points came from logs, where the bench has them.
    pub reduction: Option<&'a Reduction>,
    /// The supply, or why it says nothing.
    pub supply: Result<SupplyResults, String>,
    /// What `check` found.
    pub findings: &'a [Finding],
    /// A day at another ambient than the runs', where one was asked for.
    pub hot_day: Option<HotDay>,
    /// Confidence level of the intervals.
    pub level: f64,
    /// Units for the reader.
    pub system: System,
}

/// A day at a given ambient.
pub struct HotDay {
    /// Condenser-side air, degC.
    pub ambient_c: f64,
    /// Assumed steps of draw and of capacity from the tested ambient, where the runs do not cover that day and an assumption was asked for.
    pub steps: Option<(AmbientStep, AmbientStep)>,
}

/// What was computed of the supply.
pub struct SupplyResults {
    /// Battery, cable, converter.
    pub supply: Supply,
    /// Every tested setting at the runs' mean conditions.
    pub rows: Vec<RuntimeRow>,
    /// The day, where the bench has one.
    pub day: Option<Day>,
}

impl SupplyResults {
    /// Computes the supply's part of a write-up.
    ///
    /// # Errors
    /// The reason in words where the bench says too little, or something that it cannot answer.
    pub fn of(
        bench: &Bench,
        draw: &DrawFit,
        capacity: Option<&DrawFit>,
        level: f64,
    ) -> Result<SupplyResults, SupplyError> {
        let supply = Supply::of(bench, level)?;
        let data = &draw.data;
        let rows = tables::tested(data)
            .into_iter()
            .map(|(mode, fan, _)| {
                let at = At::new(mode, fan, data.intake_ref, data.ambient_ref);
                supply.runtime(bench, draw, at, level)
            })
            .collect::<Result<Vec<_>, _>>()?;
        let day = bench
            .day
            .as_ref()
            .map(|asked| day(bench, asked, &supply, draw, capacity, level))
            .transpose()?;
        Ok(SupplyResults { supply, rows, day })
    }
}

impl Results<'_> {
    /// Sentences in the reader's units.
    fn in_units(&self, said: &[Said]) -> Vec<String> {
        { said.iter() }
            .map(|s| s.in_units(self.system).to_owned())
            .collect()
    }

    /// "95 %".
    fn percent(&self) -> String {
        format!("{:.0} %", 100.0 * self.level)
    }
}

/// The write-up as plain content.
pub fn document(results: &Results<'_>) -> Document {
    Document {
        title: results.bench.title.clone(),
        lead: summary::summary(results),
        sections: sections::all(results),
        foot: prose::foot(results),
        interactive: true,
    }
}

/// Why a write-up has no files.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FilesError {
    /// A figure cannot be drawn.
    #[error(transparent)]
    Figure(#[from] FigureError),
    /// The workbook cannot be written.
    #[error("the workbook cannot be written: {0}")]
    Workbook(#[from] rust_xlsxwriter::XlsxError),
}

/// Sheets of text in the workbook.
const TEXTS: [TextSheet<'_>; 2] = [
    TextSheet {
        name: "methods",
        sections: &[sections::METHODS],
    },
    TextSheet {
        name: "notes",
        sections: &[sections::LIMITATIONS, sections::CAUTIONS],
    },
];

/// A figure's usual formats: page in light and dark, slide.
const USUAL: [(Format, &str); 4] = [
    (Format::Svg(Size::PAGE, Theme::Light), ""),
    (Format::Png(Size::PAGE, Theme::Light), ""),
    (Format::Svg(Size::PAGE, Theme::Dark), "-dark"),
    (Format::Png(Size::SLIDE, Theme::Light), "-slide"),
];
/// The others: with these, page and slide are there in light and dark, each as SVG and as PNG.
const OTHERS: [(Format, &str); 4] = [
    (Format::Png(Size::PAGE, Theme::Dark), "-dark"),
    (Format::Svg(Size::SLIDE, Theme::Light), "-slide"),
    (Format::Svg(Size::SLIDE, Theme::Dark), "-slide-dark"),
    (Format::Png(Size::SLIDE, Theme::Dark), "-slide-dark"),
];

/// Every file of the write-up, under `folder`: `index.html`, `writeup.md`, `figures/` (page in light and dark, slide), `tables/`,
/// `results.xlsx` and `equations.tex`. With `every_figure`, figures are there in both themes and both sizes, as SVG and as PNG.
///
/// # Errors
/// [`FilesError`] where a figure cannot be drawn or the workbook not be written.
pub fn files(
    document: &Document,
    equations: &Equations,
    folder: &Path,
    every_figure: bool,
) -> Result<Vec<Output>, FilesError> {
    let mut formats = USUAL.to_vec();
    if every_figure {
        formats.extend(OTHERS);
    }
    let tables = tables::named(document);
    let (page, (book, pictures)) = rayon::join(
        || html::page(document),
        || {
            rayon::join(
                || workbook(document, &tables, equations, &TEXTS),
                || {
                    let figures: Vec<&figure::Figure> = document.figures().collect();
                    figure::files(&figures, &formats)
                },
            )
        },
    );
    let mut files = vec![
        Output {
            path: folder.join("index.html"),
            bytes: page?.into_bytes(),
        },
        Output {
            path: folder.join("writeup.md"),
            bytes: markdown::text(document, "figures").into_bytes(),
        },
    ];
    for (name, bytes) in pictures? {
        files.push(Output {
            path: folder.join("figures").join(name),
            bytes,
        });
    }
    files.push(Output {
        path: folder.join("results.xlsx"),
        bytes: book?,
    });
    files.push(Output {
        path: folder.join("equations.tex"),
        bytes: paste::latex(equations).into_bytes(),
    });
    for (name, table) in &tables {
        files.push(Output {
            path: folder.join("tables").join(format!("{name}.csv")),
            bytes: table.to_csv().into_bytes(),
        });
    }
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn with_every_figure_each_theme_size_and_kind_is_there_once() {
        let mut names: Vec<String> = USUAL
            .iter()
            .chain(&OTHERS)
            .map(|(format, suffix)| {
                let (size, theme, ending) = match format {
                    Format::Svg(size, theme) => (size, theme, "svg"),
                    Format::Png(size, theme) => (size, theme, "png"),
                };
                let slide = (size.width, size.height) == (1920, 1080);
                assert_eq!(suffix.contains("slide"), slide);
                assert_eq!(suffix.contains("dark"), *theme == Theme::Dark);
                format!("{suffix}.{ending}")
            })
            .collect();
        names.sort();
        names.dedup();
        assert_eq!(names.len(), 8);
    }
}
