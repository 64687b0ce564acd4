#![allow(missing_docs)]
// Stands in the copy as a module of its own.
use std::io::Write;
use std::sync::LazyLock;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};

const MOST: usize = 60_000;
static SEEN: [AtomicBool; MOST] = [const { AtomicBool::new(false) }; MOST];
static ASKED: LazyLock<(usize, Option<std::fs::File>)> = LazyLock::new(|| {
    let changed = std::env::var("SWITCHED").ok().and_then(|x| x.parse().ok());
    let seen = std::env::var_os("SWITCHES_SEEN").map(|path| {
        let file = std::fs::OpenOptions::new().create(true).append(true).open(path);
        file.expect("the list of operators reached can be written")
    });
    (changed.unwrap_or(0), seen)
});

/// 0 for the operator itself, else which replacement stands in for it. `first` is the number of its first replacement.
#[inline]
pub fn at(first: usize) -> usize {
    let asked = &*ASKED;
    if asked.1.is_some() {
        note(first);
    }
    let which = asked.0.wrapping_sub(first).wrapping_add(1);
    if which <= 3 { which } else { 0 }
}

#[cold]
fn note(first: usize) {
    if first < MOST && !SEEN[first].swap(true, Relaxed)
        && let Some(mut file) = asked_file()
    {
        let _ = file.write_all(format!("{first}\n").as_bytes());
    }
}

fn asked_file() -> Option<&'static std::fs::File> {
    ASKED.1.as_ref()
}
