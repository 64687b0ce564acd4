//! What a write-up was made by and from, so that it can be made again: `reproduce.json` beside the page, and the check against it.

use std::path::{Component, Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::write::Output;
use crate::bench::{Input, digest_bytes, digest_file};

/// The name of the list in a write-up's folder.
pub const FILE: &str = "reproduce.json";

/// The layout of the list.
const SCHEMA: u32 = 1;
/// No list of ours comes near it.
const MAX_BYTES: u64 = 16 << 20;

/// What was asked for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Asked {
    /// Confidence level of the intervals.
    pub level: f64,
    /// Seed of everything random.
    pub seed: u64,
    /// Units for the reader: `si` or `us`.
    pub units: String,
    /// Ambient of the day also predicted, degC.
    pub ambient_c: Option<f64>,
    /// The slope assumed with it, as typed.
    pub assume_ambient_slope: Option<String>,
    /// Whether figures were wanted in every format.
    #[serde(default)]
    pub every_figure: bool,
}

/// A file with its digest.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Made {
    /// Its name inside the folder, with `/` between folders.
    pub file: String,
    /// Its size.
    pub bytes: Option<u64>,
    /// SHA-256 of its content in hexadecimal.
    pub sha256: Option<String>,
}

/// The list itself.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reproduce {
    /// Layout of this list.
    pub schema: u32,
    /// The program.
    pub program: String,
    /// Its version.
    pub version: String,
    /// Whether the bench was the built-in demo.
    pub demo: bool,
    /// What was asked for.
    pub asked: Asked,
    /// The files that were read.
    pub inputs: Vec<Made>,
    /// The files that were written, this list left out.
    pub outputs: Vec<Made>,
}

/// Why a write-up cannot be checked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReproduceError {
    /// There is no list.
    #[error("{}: no {FILE}, so what this write-up was made from is not known; expected the folder that `steadydraw report` wrote, with that file in it", folder.display())]
    Missing {
        /// The folder.
        folder: PathBuf,
    },
    /// The list cannot be read.
    #[error("{}: {found}; expected the {FILE} that `steadydraw report` wrote; make the write-up again with `steadydraw report`", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        found: String,
    },
}

impl Reproduce {
    /// The list of files written under `folder` from `inputs`.
    pub fn of(
        asked: Asked,
        demo: bool,
        inputs: Vec<Input>,
        outputs: &[Output],
        folder: &Path,
    ) -> Reproduce {
        Reproduce {
            schema: SCHEMA,
            program: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            demo,
            asked,
            inputs: inputs
                .into_iter()
                .map(|i| Made {
                    file: i.file,
                    bytes: i.bytes,
                    sha256: i.sha256,
                })
                .collect(),
            outputs: outputs
                .iter()
                .map(|o| {
                    let (bytes, sha256) = digest_bytes(&o.bytes);
                    Made {
                        file: name_in(&o.path, folder),
                        bytes: Some(bytes),
                        sha256: Some(sha256),
                    }
                })
                .collect(),
        }
    }

    /// The list as a file of the write-up.
    pub fn to_output(&self, folder: &Path) -> Output {
        let mut text = serde_json::to_string_pretty(self).unwrap_or_default();
        text.push('\n');
        Output {
            path: folder.join(FILE),
            bytes: text.into_bytes(),
        }
    }

    /// Reads the list of a write-up.
    ///
    /// # Errors
    /// [`ReproduceError`] where it is missing, or is no such list.
    pub fn read(folder: &Path) -> Result<Reproduce, ReproduceError> {
        let path = folder.join(FILE);
        let unreadable = |found: String| ReproduceError::Unreadable {
            path: path.clone(),
            found,
        };
        let Ok(meta) = std::fs::metadata(&path) else {
            return Err(ReproduceError::Missing {
                folder: folder.to_owned(),
            });
        };
        if !meta.is_file() || meta.len() > MAX_BYTES {
            return Err(unreadable(
                "not an ordinary file of at most 16 MB".to_owned(),
            ));
        }
        let text = std::fs::read(&path).map_err(|e| unreadable(e.to_string()))?;
        let list: Reproduce = serde_json::from_slice(&text)
            .map_err(|e| unreadable(format!("it does not read as such a list ({e})")))?;
        if list.schema != SCHEMA {
            return Err(unreadable(format!("a list of layout {}", list.schema)));
        }
        Ok(list)
    }
}

/// A file's name inside a folder, with `/` on every system.
fn name_in(path: &Path, folder: &Path) -> String {
    path.strip_prefix(folder)
        .unwrap_or(path)
        .components()
        .map(|c| c.as_os_str().to_string_lossy())
        .collect::<Vec<_>>()
        .join("/")
}

/// How a file of the bench, or of the write-up, stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// As it was, and as it comes out again.
    Same,
    /// An input whose content is another than when the write-up was made.
    Changed,
    /// An output that was altered since it was written.
    Edited,
    /// Unaltered, but it comes out otherwise now.
    Otherwise,
    /// In the list, but not there.
    Missing,
    /// Read or made now, but not in the list.
    New,
    /// Read, but it cannot be read a second time (a pipe), so it has no digest.
    Unknown,
}

impl State {
    /// For a sentence about the file.
    pub fn words(self) -> &'static str {
        match self {
            State::Same => "the same",
            State::Changed => "changed since the write-up was made",
            State::Edited => "edited since it was written",
            State::Otherwise => "unaltered, but it comes out otherwise now",
            State::Missing => "missing",
            State::New => "not part of the write-up when it was made",
            State::Unknown => "cannot be read a second time, so nothing is known of it",
        }
    }
}

/// A file and how it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Held {
    /// Its name.
    pub file: String,
    /// How it stands.
    pub state: State,
}

/// A write-up held against its bench.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Verified {
    /// Whether everything is the same.
    pub matches: bool,
    /// The version that made it.
    pub version: String,
    /// The version that checks it.
    pub this_version: String,
    /// The bench's files.
    pub inputs: Vec<Held>,
    /// The write-up's files.
    pub outputs: Vec<Held>,
}

/// Holds a write-up in `folder` against what was made again: `again` with its files `made`.
pub fn verify(list: &Reproduce, again: &Reproduce, folder: &Path) -> Verified {
    let inputs = held(&list.inputs, &again.inputs, |was, now| {
        match (&was.sha256, &now.sha256) {
            (Some(a), Some(b)) if a == b => State::Same,
            (Some(_), Some(_)) => State::Changed,
            _ => State::Unknown,
        }
    });
    let mut outputs = held(&list.outputs, &again.outputs, |was, now| {
        match on_disk(folder, &was.file) {
            None => State::Missing,
            Some(sha) if was.sha256.as_ref() != Some(&sha) => State::Edited,
            Some(_) if was.sha256 != now.sha256 => State::Otherwise,
            Some(_) => State::Same,
        }
    });
    for o in &mut outputs {
        // Listed, but no longer made: it may still stand there as it was.
        if o.state == State::Missing && on_disk(folder, &o.file).is_some() {
            o.state = State::Otherwise;
        }
    }
    let all_same = |files: &[Held]| files.iter().all(|f| f.state == State::Same);
    Verified {
        matches: all_same(&inputs) && all_same(&outputs),
        version: list.version.clone(),
        this_version: again.version.clone(),
        inputs,
        outputs,
    }
}

fn held(was: &[Made], now: &[Made], state: impl Fn(&Made, &Made) -> State) -> Vec<Held> {
    let find = |list: &[Made], file: &str| list.iter().position(|m| m.file == file);
    let mut all: Vec<Held> = was
        .iter()
        .map(|w| Held {
            file: w.file.clone(),
            state: find(now, &w.file).map_or(State::Missing, |i| state(w, &now[i])),
        })
        .collect();
    all.extend(
        now.iter()
            .filter(|n| find(was, &n.file).is_none())
            .map(|n| Held {
                file: n.file.clone(),
                state: State::New,
            }),
    );
    all
}

/// The digest of a file that the list names. A name that leads out of the folder is none of the write-up's.
fn on_disk(folder: &Path, name: &str) -> Option<String> {
    let path = Path::new(name);
    let inside = path.components().all(|c| matches!(c, Component::Normal(_)));
    if !inside || name.is_empty() {
        return None;
    }
    digest_file(&folder.join(path)).ok().flatten().map(|d| d.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(file: &str, content: &str) -> Made {
        let (bytes, sha256) = digest_bytes(content.as_bytes());
        Made {
            file: file.to_owned(),
            bytes: Some(bytes),
            sha256: Some(sha256),
        }
    }

    fn list(inputs: &[(&str, &str)], outputs: &[(&str, &str)]) -> Reproduce {
        let all = |l: &[(&str, &str)]| l.iter().map(|(f, c)| made(f, c)).collect();
        Reproduce {
            schema: SCHEMA,
            program: "steadydraw".to_owned(),
            version: "0.1.0".to_owned(),
            demo: false,
            asked: Asked {
                level: 0.95,
                seed: 1,
                units: "si".to_owned(),
                ambient_c: Some(100.0 / 1.8),
                assume_ambient_slope: None,
                every_figure: false,
            },
            inputs: all(inputs),
            outputs: all(outputs),
        }
    }

    #[test]
    fn the_list_reads_back_to_the_last_digit() {
        let folder = tempfile::tempdir().unwrap();
        let list = list(&[("bench.toml", "a")], &[("index.html", "b")]);
        let file = list.to_output(folder.path());
        std::fs::write(&file.path, &file.bytes).unwrap();
        assert_eq!(Reproduce::read(folder.path()).unwrap(), list);
    }

    #[test]
    fn each_way_to_differ_has_its_name() {
        let folder = tempfile::tempdir().unwrap();
        for (name, content) in [
            ("same", "1"),
            ("edited", "by hand"),
            ("otherwise", "3"),
            ("dropped", "5"),
        ] {
            std::fs::write(folder.path().join(name), content).unwrap();
        }
        let was = list(
            &[("bench.toml", "a"), ("points.csv", "b"), ("old.csv", "c")],
            &[
                ("same", "1"),
                ("edited", "2"),
                ("otherwise", "3"),
                ("gone", "4"),
                ("dropped", "5"),
            ],
        );
        let now = list(
            &[("bench.toml", "a"), ("points.csv", "B"), ("more.csv", "d")],
            &[
                ("same", "1"),
                ("edited", "2"),
                ("otherwise", "33"),
                ("gone", "4"),
                ("new", "6"),
            ],
        );
        let v = verify(&was, &now, folder.path());
        let states = |files: &[Held]| files.iter().map(|f| f.state).collect::<Vec<_>>();
        use State::*;
        assert_eq!(states(&v.inputs), [Same, Changed, Missing, New]);
        assert_eq!(
            states(&v.outputs),
            [Same, Edited, Otherwise, Missing, Otherwise, New]
        );
        assert!(!v.matches);
    }

    #[test]
    fn a_list_cannot_ask_for_files_outside_its_folder() {
        let outside = tempfile::tempdir().unwrap();
        std::fs::write(outside.path().join("secret"), "s").unwrap();
        let folder = outside.path().join("report");
        std::fs::create_dir(&folder).unwrap();
        let hostile = list(&[], &[("../secret", "s")]);
        let v = verify(&hostile, &hostile, &folder);
        assert_eq!(v.outputs[0].state, State::Missing);
        for text in ["", "{", "[]", "{\"schema\": 9}", "nul\0"] {
            std::fs::write(folder.join(FILE), text).unwrap();
            let e = Reproduce::read(&folder).unwrap_err().to_string();
            assert!(e.contains(FILE) && e.contains("steadydraw report"), "{e}");
        }
    }
}
