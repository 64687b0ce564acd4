//! The files of `reduce`: the points table, and figures of how each run was read.

use std::path::{Path, PathBuf};

use crate::bench::REDUCED_POINTS;
use crate::cli::{CliError, Common, write_files};
use crate::report::figure::{self, Figure, Format, Size, Theme};
use crate::report::run_figure::run_figure;
use crate::report::write::Output;
use crate::steady::Reduction;

/// Writes the table; gives the files written, or why none was where the bench's own folder takes none.
pub(super) fn write(
    bench: &Path,
    common: &Common,
    csv: String,
) -> Result<(Vec<PathBuf>, Option<String>), CliError> {
    let folder = match &common.out {
        Some(out) => out.clone(),
        None if bench.is_file() => bench.parent().unwrap_or(Path::new(".")).to_owned(),
        None => bench.to_owned(),
    };
    let path = folder.join(REDUCED_POINTS);
    // The same table again needs no --force: nothing changes.
    if std::fs::read(&path).is_ok_and(|there| there == csv.as_bytes()) {
        return Ok((vec![path], None));
    }
    let read_only = common.out.is_none()
        && std::fs::metadata(&folder).is_ok_and(|m| m.permissions().readonly());
    if read_only && !path.exists() {
        return Ok((
            Vec::new(),
            Some(format!(
                "{} takes no new files, so {REDUCED_POINTS} was not written; name another folder with --out.",
                folder.display()
            )),
        ));
    }
    let table = Output {
        path: path.clone(),
        bytes: csv.into_bytes(),
    };
    write_files(&[table], common)?;
    Ok((vec![path], None))
}

/// Draws every run into a folder; gives the files.
pub(super) fn draw(
    folder: &Path,
    reduction: &Reduction,
    common: &Common,
) -> Result<Vec<PathBuf>, CliError> {
    let mut figures: Vec<Figure> = Vec::new();
    for run in &reduction.runs {
        if let Some(mut figure) = run_figure(run, common.system()) {
            // Names that differ only in signs would share a file.
            let stem = figure.file_stem();
            if figures.iter().any(|f| f.file_stem() == stem) {
                figure.name = format!("{stem}-{}", figures.len() + 1);
            }
            figures.push(figure);
        }
    }
    let formats = [
        (Format::Svg(Size::PAGE, Theme::Light), ""),
        (Format::Svg(Size::PAGE, Theme::Dark), "-dark"),
        (Format::Png(Size::PAGE, Theme::Light), ""),
    ];
    let refs: Vec<&Figure> = figures.iter().collect();
    let outputs: Vec<Output> = figure::files(&refs, &formats)
        .map_err(|e| CliError::NoAnswer(format!("the figures cannot be drawn: {e}")))?
        .into_iter()
        .map(|(name, bytes)| Output {
            path: folder.join(name),
            bytes,
        })
        .collect();
    // The same figures again need no --force: nothing changes.
    let (same, other): (Vec<Output>, Vec<Output>) = outputs
        .into_iter()
        .partition(|o| std::fs::read(&o.path).is_ok_and(|there| there == o.bytes));
    write_files(&other, common)?;
    Ok(same.into_iter().chain(other).map(|o| o.path).collect())
}
