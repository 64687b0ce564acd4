//! Passing files: what is being written stands beside its place under a passing name until it is whole.
//!
//! A passing file is locked as long as its program lives, so that what a killed program left can be told from what another one is
//! writing: a later run into the same folder removes the first and leaves the second.

use std::collections::BTreeSet;
use std::fs::{self, File, TryLockError};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use tempfile::NamedTempFile;

use super::write::Existing;

/// A passing name: `.steadydraw-`, twelve letters or digits, `.part`.
const BEFORE: &str = ".steadydraw-";
const LETTERS: usize = 12;
const AFTER: &str = ".part";
/// How often a new passing file is tried where another program takes it for a left one.
const TRIES: usize = 8;

/// The passing files of this program. Whoever holds it keeps a signal from ending the program.
static UNDER_WAY: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

fn under_way() -> MutexGuard<'static, BTreeSet<PathBuf>> {
    UNDER_WAY.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Files that wait for their names. What has not got its name when this is dropped is removed.
#[derive(Default)]
pub(super) struct Passing {
    waiting: Vec<(NamedTempFile, PathBuf)>,
    names: Vec<PathBuf>,
}

impl Passing {
    /// Writes bytes into a new passing file in the folder of `path`, which must exist.
    pub(super) fn stage(&mut self, path: &Path, bytes: &[u8]) -> io::Result<()> {
        let mut file = self.create(folder_of(path))?;
        file.write_all(bytes).and_then(|()| file.flush())?;
        self.waiting.push((file, path.to_owned()));
        Ok(())
    }

    fn create(&mut self, folder: &Path) -> io::Result<NamedTempFile> {
        let mut builder = tempfile::Builder::new();
        #[cfg(unix)]
        let ordinary = {
            use std::os::unix::fs::PermissionsExt as _;
            // What the system takes off by the user's mask leaves 0644 in the usual case.
            fs::Permissions::from_mode(0o666)
        };
        #[cfg(unix)]
        builder.permissions(ordinary);
        builder.prefix(BEFORE).rand_bytes(LETTERS).suffix(AFTER);
        for _ in 0..TRIES {
            let mut known = under_way();
            let file = builder.tempfile_in(folder)?;
            known.insert(file.path().to_owned());
            drop(known);
            self.names.push(file.path().to_owned());
            match file.as_file().try_lock() {
                // Another program may have removed it before it was locked.
                Ok(()) if fs::symlink_metadata(file.path()).is_ok() => return Ok(file),
                Ok(()) | Err(TryLockError::WouldBlock) => {}
                // Where there are no locks, nobody takes a file for a left one.
                Err(TryLockError::Error(_)) => return Ok(file),
            }
        }
        Err(io::Error::other(
            "another program keeps removing what is being written",
        ))
    }

    /// Gives every file its name, all of them before a signal may end the program. On failure says which file it was.
    pub(super) fn settle(mut self, existing: Existing) -> Result<(), (PathBuf, io::Error)> {
        let until_all_stand = under_way();
        let mut result = Ok(());
        for (file, path) in self.waiting.drain(..) {
            let moved = match existing {
                Existing::Replace => file.persist(&path),
                // Also refuses a file that has come into being since anyone looked.
                Existing::Keep => file.persist_noclobber(&path),
            };
            if let Err(failed) = moved {
                result = Err((path, failed.error));
                break;
            }
        }
        drop(until_all_stand);
        result
    }
}

impl Drop for Passing {
    fn drop(&mut self) {
        self.waiting.clear();
        let mut known = under_way();
        for name in &self.names {
            known.remove(name);
        }
    }
}

/// The folder in which a file stands.
pub(super) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Removes the passing files that a killed program left in a folder. What cannot be told or removed stays.
pub(super) fn remove_left(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let ours = entry.file_name().to_str().is_some_and(is_passing_name);
        // A link or a pipe of such a name is none of ours.
        if !ours || !entry.file_type().is_ok_and(|t| t.is_file()) {
            continue;
        }
        let path = entry.path();
        let Ok(file) = File::open(&path) else {
            continue;
        };
        // Whoever writes it holds the lock.
        if file.try_lock().is_ok() {
            let _ = fs::remove_file(&path);
        }
    }
}

fn is_passing_name(name: &str) -> bool {
    name.strip_prefix(BEFORE)
        .and_then(|rest| rest.strip_suffix(AFTER))
        .is_some_and(|middle| {
            middle.len() == LETTERS && middle.bytes().all(|b| b.is_ascii_alphanumeric())
        })
}

/// From now on an interrupt or a request to end removes the passing files first, then ends the program as it would have. Files that
/// are being given their names all get them before. For a program to call, not for a library: it changes what signals do.
#[cfg(unix)]
pub fn remove_on_signals() {
    use signal_hook::consts::{SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    use std::sync::{Once, mpsc};

    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let (ready, wait) = mpsc::channel();
        let watch = move || {
            let Ok(mut signals) = Signals::new([SIGINT, SIGTERM]) else {
                return;
            };
            let _ = ready.send(());
            for signal in signals.forever() {
                // Kept to the end, so that no further file comes.
                let known = under_way();
                for path in known.iter() {
                    let _ = fs::remove_file(path);
                }
                let _ = signal_hook::low_level::emulate_default_handler(signal);
            }
        };
        // Without a thread signals end the program at once, and the next run removes what is left.
        if std::thread::Builder::new().spawn(watch).is_ok() {
            let _ = wait.recv();
        }
    });
}

/// Here signals end the program at once, and the next run removes what is left.
#[cfg(not(unix))]
pub fn remove_on_signals() {}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .expect("readable")
            .flatten()
            .map(|e| e.file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn what_was_left_goes_and_what_is_being_written_or_is_not_ours_stays() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        fs::write(at(".steadydraw-AAAAAAAAAAAA.part"), "left").expect("written");
        for name in [
            ".steadydraw-notes.part",
            ".steadydraw-AAAAAAAAAAAA",
            ".steadydraw-AAAAAA AAAAA.part",
            "steadydraw-AAAAAAAAAAAA.part",
        ] {
            fs::write(at(name), "the user's own").expect("written");
        }
        fs::create_dir(at(".steadydraw-BBBBBBBBBBBB.part")).expect("made");
        let mut passing = Passing::default();
        passing.stage(&at("new.txt"), b"new").expect("staged");
        let living = passing.names[0].clone();
        remove_left(folder.path());
        let left = names(folder.path());
        assert_eq!(left.len(), 6, "{left:?}");
        assert!(!left.contains(&".steadydraw-AAAAAAAAAAAA.part".to_owned()));
        assert!(living.exists(), "a file that is being written was removed");
        passing.settle(Existing::Keep).expect("settled");
        assert_eq!(fs::read_to_string(at("new.txt")).expect("there"), "new");
        assert!(!living.exists());
        assert!(!under_way().contains(&living));
    }

    #[test]
    fn names_that_are_made_are_known_as_ours() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut passing = Passing::default();
        passing
            .stage(&folder.path().join("a"), b"")
            .expect("staged");
        let made = names(folder.path());
        assert!(made.len() == 1 && is_passing_name(&made[0]), "{made:?}");
        drop(passing);
        assert!(names(folder.path()).is_empty());
    }

    /// Not a test of its own: what the next one starts, to be ended while it writes.
    #[cfg(unix)]
    #[test]
    fn writer_that_is_ended() {
        let Some(folder) = std::env::var_os("STEADYDRAW_TEST_WRITER") else {
            return;
        };
        remove_on_signals();
        let mut passing = Passing::default();
        for name in ["a.txt", "b.txt"] {
            passing
                .stage(&PathBuf::from(&folder).join(name), b"half")
                .expect("staged");
        }
        println!("under way");
        std::thread::sleep(std::time::Duration::from_secs(60));
    }

    #[cfg(unix)]
    #[test]
    fn a_signal_leaves_nothing_and_what_a_kill_leaves_goes_with_the_next_run() {
        use std::io::{BufRead as _, BufReader};
        use std::os::unix::process::ExitStatusExt as _;
        use std::process::{Command, Stdio};
        for (signal, number) in [("-INT", 2), ("-TERM", 15), ("-KILL", 9)] {
            let folder = tempfile::tempdir().expect("a folder");
            let mut writer = Command::new(std::env::current_exe().expect("this test"))
                .args(["--exact", "--nocapture"])
                .arg("report::passing::tests::writer_that_is_ended")
                .env("STEADYDRAW_TEST_WRITER", folder.path())
                .stdout(Stdio::piped())
                .spawn()
                .expect("started");
            let said = BufReader::new(writer.stdout.take().expect("a pipe"));
            assert!(
                said.lines()
                    .map_while(Result::ok)
                    .any(|l| l.contains("under way")),
                "the writer wrote nothing"
            );
            // While it lives, nobody takes its files away.
            remove_left(folder.path());
            assert_eq!(names(folder.path()).len(), 2);
            Command::new("kill")
                .args([signal, &writer.id().to_string()])
                .status()
                .expect("sent");
            assert_eq!(writer.wait().expect("ended").signal(), Some(number));
            let left = names(folder.path());
            assert_eq!(left.len(), if number == 9 { 2 } else { 0 }, "{left:?}");
            remove_left(folder.path());
            assert!(names(folder.path()).is_empty());
        }
    }
}
