//! Which files an answer was made from, with their digests, so that it can be made again and held against this one.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use sha2::{Digest as _, Sha256};

use super::source::FileBytes;

/// Notes every file that is read through it. Clones share one list.
#[derive(Clone, Debug, Default)]
pub struct Reads(Arc<Mutex<BTreeMap<(String, String), FileBytes>>>);

/// A file as it was read.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Input {
    /// The bench (folder or table as named) where files of several were read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bench: Option<String>,
    /// Its name inside the bench folder.
    pub file: String,
    /// Its size; none where it cannot be read a second time, as a pipe.
    pub bytes: Option<u64>,
    /// SHA-256 of its content in lower-case hexadecimal (FIPS 180-4, 2015).
    pub sha256: Option<String>,
}

impl Reads {
    pub(super) fn note(&self, root: &str, name: &str, file: FileBytes) {
        // A list of names has no half-made state: what a panicking thread left is as good as ever.
        let mut list = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        list.insert((root.to_owned(), name.to_owned()), file);
    }

    /// The files read so far with their digests, in order of name. Each is read once more.
    ///
    /// A file that cannot be read again (a pipe, one that is gone) stays in the list without size and digest.
    pub fn inputs(&self) -> Vec<Input> {
        let list = self
            .0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone();
        let mut roots: Vec<&String> = list.keys().map(|k| &k.0).collect();
        roots.dedup();
        let several = roots.len() > 1;
        list.iter()
            .map(|((root, name), file)| {
                let digest = match file {
                    FileBytes::Memory(bytes) => Some(digest_bytes(bytes)),
                    FileBytes::Disk(path) => digest_file(path).ok().flatten(),
                };
                Input {
                    bench: (several && !root.is_empty()).then(|| root.clone()),
                    file: name.clone(),
                    bytes: digest.as_ref().map(|d| d.0),
                    sha256: digest.map(|d| d.1),
                }
            })
            .collect()
    }
}

/// Size and SHA-256 of some bytes.
pub fn digest_bytes(bytes: &[u8]) -> (u64, String) {
    (bytes.len() as u64, hex(&Sha256::digest(bytes)))
}

/// Size and SHA-256 of a file, read in pieces; none for anything that is no ordinary file.
///
/// # Errors
/// What the system says.
pub fn digest_file(path: &Path) -> io::Result<Option<(u64, String)>> {
    // Opening a pipe would wait for a writer.
    if !std::fs::metadata(path)?.is_file() {
        return Ok(None);
    }
    let mut file = File::open(path)?;
    let mut sum = Sha256::new();
    let mut size = 0;
    let mut piece = vec![0; 1 << 16];
    loop {
        let n = match file.read(&mut piece) {
            Ok(0) => break,
            Ok(n) => n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(e),
        };
        size += n as u64;
        sum.update(&piece[..n]);
    }
    Ok(Some((size, hex(&sum.finalize()))))
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::new(), |mut text, b| {
        let _ = write!(text, "{b:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digests_are_those_of_the_standard() {
        // FIPS 180-4 example values: SHA-256 of "abc" (NIST, Secure Hash Standard examples, SHA256.pdf), and of nothing.
        assert_eq!(
            digest_bytes(b"abc").1,
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        assert_eq!(
            digest_bytes(b"").1,
            "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
        );
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("long");
        let long = vec![b'a'; 1_000_000];
        std::fs::write(&path, &long).expect("written");
        // One million times "a": the third example of FIPS 180-2 (2002), appendix B.3.
        let digest = "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0";
        assert_eq!(
            digest_file(&path).expect("readable"),
            Some((1_000_000, digest.to_owned()))
        );
        assert_eq!(digest_file(folder.path()).expect("there"), None);
    }

    #[test]
    fn clones_share_one_list_and_benches_are_told_apart_only_where_there_are_several() {
        let reads = Reads::default();
        reads
            .clone()
            .note("north", "points.csv", FileBytes::Memory((*b"abc").into()));
        let alone = reads.inputs();
        assert_eq!(alone.len(), 1);
        assert_eq!((alone[0].bench.as_deref(), alone[0].bytes), (None, Some(3)));
        reads.note("south", "points.csv", FileBytes::Disk("not/there".into()));
        let both = reads.inputs();
        assert_eq!(both[0].bench.as_deref(), Some("north"));
        assert_eq!((both[1].bytes, &both[1].sha256), (None, &None));
    }
}
