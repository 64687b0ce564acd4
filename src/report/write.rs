//! Files appear whole or not at all, and nothing is overwritten unasked.

use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::PathBuf;

use super::passing::{Passing, folder_of, remove_left};

/// A file to be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Output {
    /// Where.
    pub path: PathBuf,
    /// What it holds.
    pub bytes: Vec<u8>,
}

/// What to do where a file already stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Existing {
    /// Leave it, and fail.
    Keep,
    /// Put the new one in its place.
    Replace,
}

/// Why files were not written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// Files stand there already.
    #[error(
        "{} already there: {}; nothing was written. To replace, add --force; to keep, choose another place with --out",
        count(paths),
        listed(paths)
    )]
    Exists {
        /// All of them.
        paths: Vec<PathBuf>,
    },
    /// A folder stands where a file should.
    #[error("{} is a folder, so no file can take its name; choose another name", path.display())]
    IsFolder {
        /// The folder.
        path: PathBuf,
    },
    /// A folder could not be made.
    #[error("the folder {} could not be made: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A file could not be written.
    #[error("{} could not be written: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

fn count(paths: &[PathBuf]) -> String {
    if paths.len() == 1 {
        "a file is".to_owned()
    } else {
        format!("{} files are", paths.len())
    }
}

fn listed(paths: &[PathBuf]) -> String {
    const SHOWN: usize = 5;
    let mut text = paths
        .iter()
        .take(SHOWN)
        .map(|p| p.display().to_string())
        .collect::<Vec<_>>()
        .join(", ");
    if paths.len() > SHOWN {
        text.push_str(&format!(" and {} more", paths.len() - SHOWN));
    }
    text
}

/// Writes all files, or none where anything is in the way from the start.
///
/// Each is first written beside its place under a passing name, then moved there in one step, so that no reader ever
/// sees half a file and a full disk leaves what was there before. Folders are made as needed, and passing files that a
/// killed program left in them are removed. A file gets the permissions that any new file gets.
///
/// # Errors
///
/// [`WriteError`]; with [`Existing::Keep`] also where any of the files exists.
pub fn write_all(files: &[Output], existing: Existing) -> Result<(), WriteError> {
    if let Some(file) = files.iter().find(|file| file.path.is_dir()) {
        return Err(WriteError::IsFolder {
            path: file.path.clone(),
        });
    }
    if existing == Existing::Keep {
        // symlink_metadata also sees a link that leads nowhere.
        let there: Vec<PathBuf> = files
            .iter()
            .filter(|file| fs::symlink_metadata(&file.path).is_ok())
            .map(|file| file.path.clone())
            .collect();
        if !there.is_empty() {
            return Err(WriteError::Exists { paths: there });
        }
    }
    let mut passing = Passing::default();
    let mut tidied = BTreeSet::new();
    for file in files {
        let folder = folder_of(&file.path);
        if tidied.insert(folder) {
            fs::create_dir_all(folder).map_err(|source| WriteError::Folder {
                path: folder.to_owned(),
                source,
            })?;
            remove_left(folder);
        }
        passing
            .stage(&file.path, &file.bytes)
            .map_err(|source| WriteError::File {
                path: file.path.clone(),
                source,
            })?;
    }
    passing.settle(existing).map_err(|(path, source)| {
        if source.kind() == io::ErrorKind::AlreadyExists {
            WriteError::Exists { paths: vec![path] }
        } else {
            WriteError::File { path, source }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn output(folder: &Path, name: &str, text: &str) -> Output {
        Output {
            path: folder.join(name),
            bytes: text.as_bytes().to_vec(),
        }
    }

    #[test]
    fn writes_new_files_and_makes_folders() {
        let folder = tempfile::tempdir().expect("a folder");
        write_all(
            &[
                output(folder.path(), "a/b/one.txt", "1"),
                output(folder.path(), "two.txt", "2"),
            ],
            Existing::Keep,
        )
        .expect("written");
        assert_eq!(
            fs::read_to_string(folder.path().join("a/b/one.txt")).expect("there"),
            "1"
        );
        assert_eq!(
            fs::read_dir(folder.path()).expect("readable").count(),
            2,
            "no passing file is left"
        );
    }

    #[test]
    fn refuses_to_overwrite_unless_asked_and_then_writes_nothing() {
        let folder = tempfile::tempdir().expect("a folder");
        fs::write(folder.path().join("two.txt"), "old").expect("written");
        let files = [
            output(folder.path(), "one.txt", "1"),
            output(folder.path(), "two.txt", "2"),
        ];
        let refused = write_all(&files, Existing::Keep).expect_err("refused");
        assert!(
            refused.to_string().contains("two.txt") && refused.to_string().contains("--force"),
            "{refused}"
        );
        assert!(!folder.path().join("one.txt").exists());
        assert_eq!(
            fs::read_to_string(folder.path().join("two.txt")).expect("there"),
            "old"
        );
        write_all(&files, Existing::Replace).expect("written");
        assert_eq!(
            fs::read_to_string(folder.path().join("two.txt")).expect("there"),
            "2"
        );
    }

    #[test]
    fn a_folder_in_the_way_is_named() {
        let folder = tempfile::tempdir().expect("a folder");
        fs::create_dir(folder.path().join("report.html")).expect("made");
        let refused = write_all(
            &[output(folder.path(), "report.html", "x")],
            Existing::Replace,
        )
        .expect_err("refused");
        assert!(matches!(refused, WriteError::IsFolder { .. }));
    }

    #[cfg(unix)]
    #[test]
    fn files_get_the_permissions_of_any_new_file() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().expect("a folder");
        fs::write(folder.path().join("plain"), "").expect("written");
        write_all(&[output(folder.path(), "ours", "")], Existing::Keep).expect("written");
        let mode = |name: &str| {
            fs::metadata(folder.path().join(name))
                .expect("there")
                .permissions()
                .mode()
                & 0o777
        };
        assert_eq!(mode("ours"), mode("plain"));
    }
}
