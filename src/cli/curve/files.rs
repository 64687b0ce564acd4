//! The files of `curve`: a figure, and the rows with what the curve says about them.

use std::path::{Path, PathBuf};

use crate::cli::{CliError, Common, figure_file, write_files};
use crate::fit::curve::CurveValue;
use crate::fit::{ColumnFile, Curve, CurveFit, CurveRequest};
use crate::report::curve_figure::{CurvePicture, CurvePlace, curve_figure};
use crate::report::figure::{Axis, Figure, Layer, Look, Panel};
use crate::report::tables::{Cell, Column, Table};
use crate::report::write::Output;

/// What the files are made of.
pub(super) struct Source<'a> {
    pub(super) curve: &'a Curve,
    pub(super) fit: &'a CurveFit,
    pub(super) request: &'a CurveRequest,
    pub(super) file: &'a ColumnFile,
    /// The line of the file from which each row comes.
    pub(super) lines: &'a [usize],
    /// The file's name for a column of the equation.
    pub(super) heading: &'a dyn Fn(&str) -> String,
}

/// Writes what `--plot` and `--out` ask for; gives the paths.
pub(super) fn write(
    source: &Source<'_>,
    plot: Option<&Path>,
    common: &Common,
) -> Result<Vec<PathBuf>, CliError> {
    let mut outputs = Vec::new();
    if let Some(path) = plot {
        outputs.push(figure_file(&figure(source, common), path)?);
    }
    if let Some(folder) = &common.out {
        for name in ["curve.svg", "curve.png"] {
            outputs.push(figure_file(&figure(source, common), &folder.join(name))?);
        }
        outputs.push(Output {
            path: folder.join("rows.csv"),
            bytes: rows(source).to_csv().into_bytes(),
        });
    }
    write_files(&outputs, common)?;
    Ok(outputs.into_iter().map(|o| o.path).collect())
}

/// Against the only column of the right side; where it has more, observed against fitted values.
fn figure(source: &Source<'_>, common: &Common) -> Figure {
    let Source {
        curve,
        fit,
        request,
        ..
    } = source;
    let unit_of = |name: &str| source.file.unit(&(source.heading)(name)).to_owned();
    let left = curve.left_text();
    let y_unit = if curve.columns().iter().any(|c| c == left) {
        unit_of(left)
    } else {
        String::new()
    };
    let [name] = curve.right_columns()[..] else {
        return agreement(curve, fit, &y_unit);
    };
    let column = curve
        .columns()
        .iter()
        .position(|c| c == name)
        .and_then(|c| request.data.get(c));
    let across = |row: usize| column.and_then(|column| column.get(row).copied());
    let place = |v: &CurveValue| {
        Some(CurvePlace {
            x: *v.at.get(name)?,
            value: v.value?,
            mean: v.mean,
            further: v.observation,
        })
    };
    curve_figure(&CurvePicture {
        equation: curve.text(),
        x: name,
        x_unit: &unit_of(name),
        y: left,
        y_unit: &y_unit,
        rows: fit
            .rows
            .iter()
            .zip(&fit.observed)
            .filter_map(|(&row, y)| Some((across(row)?, *y)))
            .collect(),
        line: fit.trace.iter().filter_map(place).collect(),
        level: common.level,
    })
}

/// Observed against fitted values.
fn agreement(curve: &Curve, fit: &CurveFit, unit: &str) -> Figure {
    let low = fit.fitted.iter().copied().fold(f64::INFINITY, f64::min);
    let high = fit.fitted.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let look = Look::series(0);
    let label = String::new();
    let at = fit
        .fitted
        .iter()
        .copied()
        .zip(fit.observed.iter().copied())
        .collect();
    Figure {
        name: "curve".to_owned(),
        title: format!("{} observed against fitted", curve.left_text()),
        claim: curve.text().to_owned(),
        x: Axis::new(format!("{}, fitted", curve.left_text()), unit),
        y: Axis::new(format!("{}, observed", curve.left_text()), unit),
        panels: vec![Panel {
            y: None,
            title: String::new(),
            layers: vec![
                Layer::Curve {
                    through: vec![(low, low), (high, high)],
                    look,
                    label: label.clone(),
                },
                Layer::Points { at, look, label },
            ],
        }],
        note: "Points: the rows. Line: where both agree.".to_owned(),
        alt: format!(
            "{} observed values against those of the fitted curve.",
            fit.n
        ),
    }
}

fn rows(source: &Source<'_>) -> Table {
    let Source {
        curve,
        fit,
        request,
        ..
    } = source;
    let right = curve.right_columns();
    let mut columns = vec![Column::number("line", "")];
    columns.extend(
        right
            .iter()
            .map(|name| Column::number(*name, source.file.unit(&(source.heading)(name)))),
    );
    columns.extend(
        ["observed", "fitted", "residual", "leverage"].map(|name| Column::number(name, "")),
    );
    let mut table = Table::new("", columns);
    for (k, &row) in fit.rows.iter().enumerate() {
        let number = |value: Option<f64>| value.map_or(Cell::Absent, |v| Cell::number(v, 6));
        let mut cells = vec![number(source.lines.get(row).map(|line| *line as f64))];
        for name in &right {
            let place = curve.columns().iter().position(|c| c == name);
            cells.push(number(
                place.and_then(|c| request.data.get(c)?.get(row).copied()),
            ));
        }
        let (observed, fitted) = (fit.observed.get(k), fit.fitted.get(k));
        let residual = observed.zip(fitted).map(|(y, f)| y - f);
        cells.extend(
            [
                observed.copied(),
                fitted.copied(),
                residual,
                fit.leverage.get(k).copied(),
            ]
            .map(number),
        );
        table.row(cells);
    }
    table
}
