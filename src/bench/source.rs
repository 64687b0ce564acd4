//! Where a bench's files come from: a folder (nothing outside it is read) or files built into the program.

use std::path::{Component, Path, PathBuf};

use super::error::{BenchError, Fault, Place};
use super::table::clip;

/// A bench's files.
#[derive(Clone, Debug)]
pub enum Source {
    /// A folder on disk.
    Folder(PathBuf),
    /// A single points table on disk, standing for a bench.
    Bare(PathBuf),
    /// Files built in: name and text.
    Embedded(&'static [(&'static str, &'static str)]),
}

impl Source {
    /// Reads a file of the bench by the name that `bench.toml` gives it.
    ///
    /// # Errors
    /// A fault at `asked_at` for a path that leaves the folder or is missing; [`BenchError::Io`] where the system refuses.
    pub fn read(&self, name: &str, asked_at: &Place) -> Result<Vec<u8>, BenchError> {
        match self {
            Source::Embedded(files) => files
                .iter()
                .find(|(n, _)| *n == name)
                .map(|(_, text)| text.as_bytes().to_vec())
                .ok_or_else(|| missing(name, asked_at).into()),
            Source::Bare(path) => read_file(path),
            Source::Folder(folder) => {
                let inside = inside(name).ok_or_else(|| {
                    BenchError::from(
                        Fault::new(
                            asked_at.clone(),
                            format!("the path `{}`", clip(name)),
                            "a path inside the bench folder",
                        )
                        .remedy("copy the file into the bench folder and name it from there"),
                    )
                })?;
                let path = folder.join(inside);
                if !path.exists() {
                    return Err(missing(name, asked_at).into());
                }
                // A link may lead out of the folder even where the name does not.
                let io = |source| BenchError::Io {
                    path: path.clone(),
                    source,
                };
                let real = path.canonicalize().map_err(io)?;
                let root = folder.canonicalize().map_err(io)?;
                if !real.starts_with(&root) {
                    return Err(Fault::new(
                        asked_at.clone(),
                        format!(
                            "`{}`, a link that leads out of the bench folder",
                            clip(name)
                        ),
                        "a file inside the bench folder",
                    )
                    .into());
                }
                read_file(&real)
            }
        }
    }
}

fn missing(name: &str, asked_at: &Place) -> Fault {
    Fault::new(
        asked_at.clone(),
        format!("the file `{}`, which is not there", clip(name)),
        "a file in the bench folder",
    )
    .remedy("check the spelling, or remove the entry")
}

fn inside(name: &str) -> Option<&Path> {
    let path = Path::new(name);
    let plain = path
        .components()
        .all(|c| matches!(c, Component::Normal(_) | Component::CurDir));
    (plain && !name.is_empty()).then_some(path)
}

fn read_file(path: &Path) -> Result<Vec<u8>, BenchError> {
    let io = |source| BenchError::Io {
        path: path.to_owned(),
        source,
    };
    let meta = std::fs::metadata(path).map_err(io)?;
    if !meta.is_file() {
        return Err(BenchError::Io {
            path: path.to_owned(),
            source: std::io::Error::other("not a regular file"),
        });
    }
    if meta.len() > MAX_FILE {
        return Err(Fault::new(
            Place::file(path.file_name().unwrap_or_default().to_string_lossy()),
            format!("{} MB", meta.len() >> 20),
            format!("a table of at most {} MB", MAX_FILE >> 20),
        )
        .into());
    }
    std::fs::read(path).map_err(io)
}

/// The largest table or manifest read whole.
const MAX_FILE: u64 = 256 << 20;
