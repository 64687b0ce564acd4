// Seeds and mutations of them, for the short run in the tests and the long one of `examples/fuzz_mutations.rs`.

use std::path::Path;

use steadydraw::stats::random::{Stream, below};

/// The files of a folder with their names, in order of name; none where there is no such folder.
pub fn inputs(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut all: Vec<_> = entries
        .filter_map(|e| {
            let path = e.ok()?.path();
            Some((path.display().to_string(), std::fs::read(&path).ok()?))
        })
        .collect();
    all.sort();
    all
}

/// Bytes that mean something to some parser.
const TOKENS: [&[u8]; 40] = [
    b"\n",
    b",",
    b";",
    b"\t",
    b"\"",
    b"#",
    b"[",
    b"]",
    b"=",
    b"-",
    b"1e309",
    b"nan",
    b"inf",
    b"0",
    b"99999999999999999999",
    b"\0",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"<",
    b"</",
    b"/>",
    b"&#0;",
    b"(",
    b")",
    b"^",
    b"%",
    "\u{202e}".as_bytes(),
    b"[degC]",
    b"1.5",
    b".",
    b":",
    b"T",
    b"Z",
    b" ",
    b"exp(",
    b"x",
    b"\r",
    b"'",
    b"[[log]]\n",
    b"+01:00",
];

/// One of the seeds with a few changes: bits turned, pieces dropped, doubled, cut off, joined from two seeds, tokens put in, digits
/// changed.
pub fn mutated(rng: &mut Stream, seeds: &[(String, Vec<u8>)]) -> Vec<u8> {
    const LONGEST: usize = 4096;
    let mut bytes = seeds[below(rng, seeds.len())].1.clone();
    for _ in 0..=below(rng, 6) {
        let at = below(rng, bytes.len() + 1);
        let to = (at + 1 + below(rng, 12)).min(bytes.len());
        match below(rng, 7) {
            0 if at < bytes.len() => bytes[at] ^= 1 << below(rng, 8),
            1 => {
                bytes.drain(at.min(to)..to);
            }
            2 => {
                let piece = bytes[at.min(to)..to].to_vec();
                bytes.splice(at..at, piece);
            }
            3 => {
                let other = &seeds[below(rng, seeds.len())].1;
                let from = below(rng, other.len() + 1);
                bytes.truncate(at);
                bytes.extend_from_slice(&other[from..]);
            }
            4 => bytes.truncate(at),
            5 => {
                if let Some(digit) = bytes[at..].iter_mut().find(|b| b.is_ascii_digit()) {
                    *digit = b'0' + below(rng, 10) as u8;
                }
            }
            _ => {
                bytes.splice(at..at, TOKENS[below(rng, TOKENS.len())].iter().copied());
            }
        }
    }
    bytes.truncate(LONGEST);
    bytes
}
