//! Where a bench's files come from: a folder (nothing outside it is read) or memory.

use std::io::{Cursor, Read};
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use super::error::{BenchError, Fault, Place};
use super::reads::Reads;
use super::text::clip;
use super::{wildcard, workbook};

/// A bench's files.
#[derive(Clone, Debug)]
pub struct Source {
    at: At,
    reads: Reads,
}

#[derive(Clone, Debug)]
enum At {
    /// A folder on disk.
    Folder(PathBuf),
    /// A single points table on disk, standing for a bench.
    Bare(PathBuf),
    /// Files in memory: name and content.
    Memory(Vec<(String, Arc<[u8]>)>),
}

impl Source {
    /// A folder on disk; what is read of it is noted.
    pub fn folder(folder: &Path, reads: &Reads) -> Source {
        let folder = if folder.as_os_str().is_empty() {
            Path::new(".")
        } else {
            folder
        };
        Source {
            at: At::Folder(folder.to_owned()),
            reads: reads.clone(),
        }
    }

    /// A single points table on disk, standing for a bench.
    pub fn bare(path: &Path, reads: &Reads) -> Source {
        Source {
            at: At::Bare(path.to_owned()),
            reads: reads.clone(),
        }
    }

    /// Files in memory: name and content.
    pub fn in_memory(
        files: impl IntoIterator<Item = (impl Into<String>, impl AsRef<[u8]>)>,
        reads: &Reads,
    ) -> Source {
        Source {
            at: At::Memory(
                files
                    .into_iter()
                    .map(|(name, bytes)| (name.into(), Arc::from(bytes.as_ref())))
                    .collect(),
            ),
            reads: reads.clone(),
        }
    }

    /// The bench as named, for the list of what was read.
    fn root(&self) -> String {
        match &self.at {
            At::Folder(path) | At::Bare(path) => path.display().to_string(),
            At::Memory(_) => String::new(),
        }
    }

    fn note(&self, name: &str, file: FileBytes) {
        self.reads.note(&self.root(), name, file);
    }

    /// Reads a file of the bench by the name that `bench.toml` gives it.
    ///
    /// # Errors
    /// A fault at `asked_at` for a path that leaves the folder or is missing; [`BenchError::Io`] where the system refuses.
    pub fn read(&self, name: &str, asked_at: &Place) -> Result<Vec<u8>, BenchError> {
        match &self.at {
            At::Memory(files) => files
                .iter()
                .find(|(n, _)| *n == name)
                .map(|(_, bytes)| {
                    self.note(name, FileBytes::Memory(bytes.clone()));
                    bytes.to_vec()
                })
                .ok_or_else(|| missing(Path::new(name), name, asked_at).into()),
            At::Bare(path) => {
                self.note(name, FileBytes::Disk(path.clone()));
                read_file(path, name, asked_at)
            }
            At::Folder(folder) => {
                let inside =
                    inside(name).ok_or_else(|| BenchError::from(leaves(name, asked_at)))?;
                let path = folder.join(inside);
                if !path.exists() {
                    return Err(missing(&path, name, asked_at).into());
                }
                // A link may lead out of the folder even where the name does not.
                let io = |source| BenchError::Io {
                    path: path.clone(),
                    source,
                };
                let real = path.canonicalize().map_err(io)?;
                let root = folder.canonicalize().map_err(io)?;
                if !real.starts_with(&root) {
                    return Err(linked_out(name, asked_at).into());
                }
                self.note(name, FileBytes::Disk(real.clone()));
                read_file(&real, name, asked_at)
            }
        }
    }
}

/// A file of a bench, to be read from its start.
#[derive(Clone, Debug)]
pub struct SourceFile {
    /// Its name as a user knows it, relative to the bench folder.
    pub name: String,
    /// The sheet asked for, where it is a workbook.
    pub sheet: Option<String>,
    bytes: FileBytes,
}

/// Where a file's bytes are.
#[derive(Clone, Debug)]
pub(super) enum FileBytes {
    Disk(PathBuf),
    Memory(Arc<[u8]>),
}

impl SourceFile {
    /// A file outside any bench, by its path (`book.xlsx#Sheet` for a sheet), and as messages call it.
    pub fn on_disk(path: &Path, name: &str) -> SourceFile {
        // A file of that very name, whatever stands in it.
        let is_there = path.symlink_metadata().is_ok();
        let text = path.to_str().filter(|_| !is_there);
        let sheet = text.and_then(|t| Some((t, workbook::split(t).1?)));
        let (path, name, sheet) = match sheet {
            Some((text, sheet)) => (
                Path::new(workbook::split(text).0),
                workbook::split(name).0,
                Some(sheet.to_owned()),
            ),
            None => (path, name, None),
        };
        SourceFile {
            name: super::visible(name).into_owned(),
            sheet,
            bytes: FileBytes::Disk(path.to_owned()),
        }
    }

    /// Notes the file among those read.
    pub fn noted(self, reads: &Reads) -> SourceFile {
        reads.note("", &self.name, self.bytes.clone());
        self
    }

    /// Opens the file.
    ///
    /// # Errors
    /// [`BenchError::Io`] where the system refuses.
    pub fn open(&self) -> Result<Box<dyn Read + Send>, BenchError> {
        match &self.bytes {
            FileBytes::Memory(bytes) => Ok(Box::new(Cursor::new(bytes.clone()))),
            FileBytes::Disk(path) => match std::fs::File::open(path) {
                Ok(file) => Ok(Box::new(file)),
                Err(source) => Err(self.io(source)),
            },
        }
    }

    /// Its size in bytes, for progress; 0 where the system does not tell.
    pub fn size(&self) -> u64 {
        match &self.bytes {
            FileBytes::Memory(bytes) => bytes.len() as u64,
            FileBytes::Disk(path) => std::fs::metadata(path).map_or(0, |m| m.len()),
        }
    }

    /// The workbook's bytes and its name with the sheet asked for, `book.xlsx#Runs`; none where the file is no workbook by its name.
    ///
    /// # Errors
    /// [`BenchError::Io`] where the system refuses, a fault for a workbook that is too large.
    pub fn workbook(&self) -> Result<Option<(String, Vec<u8>)>, BenchError> {
        if !workbook::is_workbook(&self.name) {
            return Ok(None);
        }
        let most = workbook::MAX_PACKED_BYTES;
        let mut bytes = Vec::new();
        let n = self
            .open()?
            .take(most + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| self.io(e))?;
        if n as u64 > most {
            return Err(Fault::new(
                Place::file(clip(&self.name)),
                format!("more than {} MB", most >> 20),
                format!("a workbook of at most {} MB", most >> 20),
            )
            .remedy("save the sheet as CSV: text logs of any size are read")
            .into());
        }
        let name = match &self.sheet {
            Some(sheet) => format!("{}#{sheet}", self.name),
            None => self.name.clone(),
        };
        Ok(Some((name, bytes)))
    }

    /// An error of the system about this file.
    pub fn io(&self, source: std::io::Error) -> BenchError {
        BenchError::Io {
            path: match &self.bytes {
                FileBytes::Disk(path) => path.clone(),
                FileBytes::Memory(_) => PathBuf::from(&self.name),
            },
            source,
        }
    }
}

impl Source {
    /// The files of the bench that a name or a pattern with `*` and `?` stands for, in order of name; at least one. After `#` a
    /// workbook's name may have that of a sheet.
    ///
    /// # Errors
    /// A fault at `asked_at` where nothing matches or a path leaves the folder; [`BenchError::Io`] where the system refuses.
    pub fn files(&self, pattern: &str, asked_at: &Place) -> Result<Vec<SourceFile>, BenchError> {
        let (pattern, sheet) = workbook::split(pattern);
        let sheet = sheet.map(str::to_owned);
        let folder = match &self.at {
            At::Memory(files) => {
                let found: Vec<SourceFile> = files
                    .iter()
                    .filter(|(name, _)| wildcard::matches(pattern, name))
                    .map(|(name, bytes)| {
                        let bytes = FileBytes::Memory(bytes.clone());
                        self.note(name, bytes.clone());
                        SourceFile {
                            name: name.clone(),
                            sheet: sheet.clone(),
                            bytes,
                        }
                    })
                    .collect();
                if found.is_empty() {
                    return Err(missing(Path::new(pattern), pattern, asked_at).into());
                }
                return Ok(found);
            }
            At::Bare(_) => {
                return Err(missing(Path::new(pattern), pattern, asked_at).into());
            }
            At::Folder(folder) => folder,
        };
        if inside(pattern).is_none() {
            return Err(leaves(pattern, asked_at).into());
        }
        let io = |source| BenchError::Io {
            path: folder.clone(),
            source,
        };
        let root = folder.canonicalize().map_err(io)?;
        let mut files = Vec::new();
        for (name, path) in wildcard::matching(folder, pattern).map_err(io)? {
            let real = path.canonicalize().map_err(io)?;
            if !real.starts_with(&root) {
                return Err(linked_out(&name, asked_at).into());
            }
            self.note(&name, FileBytes::Disk(real.clone()));
            files.push(SourceFile {
                name,
                sheet: sheet.clone(),
                bytes: FileBytes::Disk(real),
            });
        }
        if files.is_empty() {
            let fault = if wildcard::is_pattern(pattern) {
                Fault::new(
                    asked_at.clone(),
                    format!("the pattern `{}`, which no file matches", clip(pattern)),
                    "a pattern that names files in the bench folder",
                )
            } else {
                missing(&folder.join(pattern), pattern, asked_at)
            };
            return Err(fault.into());
        }
        Ok(files)
    }
}

fn leaves(name: &str, asked_at: &Place) -> Fault {
    Fault::new(
        asked_at.clone(),
        format!("the path `{}`", clip(name)),
        "a path inside the bench folder",
    )
    .remedy("copy the file into the bench folder and name it from there")
}

fn linked_out(name: &str, asked_at: &Place) -> Fault {
    Fault::new(
        asked_at.clone(),
        format!(
            "`{}`, a link that leads out of the bench folder",
            clip(name)
        ),
        "a file inside the bench folder",
    )
    .remedy("put the file itself into the folder")
}

fn missing(path: &Path, name: &str, asked_at: &Place) -> Fault {
    let name = clip(name);
    if path.symlink_metadata().is_ok() {
        return Fault::new(
            asked_at.clone(),
            format!("`{name}`, a link that leads to nothing"),
            "a file in the bench folder",
        )
        .remedy("mend the link, or put the file itself into the folder");
    }
    Fault::new(
        asked_at.clone(),
        format!("the file `{name}`, which is not there"),
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

fn read_file(path: &Path, name: &str, asked_at: &Place) -> Result<Vec<u8>, BenchError> {
    let io = |source| BenchError::Io {
        path: path.to_owned(),
        source,
    };
    let meta = std::fs::metadata(path).map_err(io)?;
    // Anything else, such as a pipe, might never end.
    if !meta.is_file() {
        let what = if meta.is_dir() {
            "a folder"
        } else {
            "no ordinary file"
        };
        return Err(Fault::new(
            asked_at.clone(),
            format!("`{}`, which is {what}", clip(name)),
            "an ordinary file",
        )
        .remedy("name the file itself, or put one in its place")
        .into());
    }
    if meta.len() > MAX_FILE {
        return Err(Fault::new(
            Place::file(clip(name)),
            format!("{} MB", meta.len() >> 20),
            format!("a table of at most {} MB", MAX_FILE >> 20),
        )
        .remedy("raw logs go in [[log]] sections, not in a table")
        .into());
    }
    std::fs::read(path).map_err(io)
}

/// The largest table or manifest read whole.
const MAX_FILE: u64 = 256 << 20;
