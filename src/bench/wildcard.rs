//! File names with `*` and `?`, inside a bench folder.

use std::path::{Path, PathBuf};

/// Files below `folder` whose path matches `pattern`, as (path relative to the folder, path), in order of name.
///
/// `*` stands for any characters and `?` for one, within one part of the path; names that begin with a point match only a
/// pattern that begins with one.
///
/// # Errors
/// What the system says about a folder that cannot be listed.
pub(super) fn matching(folder: &Path, pattern: &str) -> std::io::Result<Vec<(String, PathBuf)>> {
    let mut found = vec![(String::new(), folder.to_owned())];
    let parts: Vec<&str> = pattern
        .split('/')
        .filter(|p| !p.is_empty() && *p != ".")
        .collect();
    for part in parts {
        let mut next = Vec::new();
        for (name, path) in found {
            let join = |entry: &str| {
                if name.is_empty() {
                    entry.to_owned()
                } else {
                    format!("{name}/{entry}")
                }
            };
            if !is_pattern(part) {
                let inner = path.join(part);
                if inner.exists() {
                    next.push((join(part), inner));
                }
                continue;
            }
            if !path.is_dir() {
                continue;
            }
            let mut names = Vec::new();
            for entry in std::fs::read_dir(&path)? {
                let entry = entry?.file_name();
                if let Some(entry) = entry.to_str() {
                    let hidden = entry.starts_with('.') && !part.starts_with('.');
                    if !hidden && matches(part, entry) {
                        names.push(entry.to_owned());
                    }
                }
            }
            names.sort();
            next.extend(names.iter().map(|n| (join(n), path.join(n))));
        }
        found = next;
    }
    found.retain(|(_, path)| path.is_file());
    Ok(found)
}

/// Whether the text holds `*` or `?`.
pub(super) fn is_pattern(text: &str) -> bool {
    text.contains(['*', '?'])
}

/// Whether `name` matches `pattern`. Time grows with the product of the lengths, whatever the pattern.
pub(super) fn matches(pattern: &str, name: &str) -> bool {
    let name: Vec<char> = name.chars().collect();
    // reachable[k]: the pattern so far can match the first k characters.
    let mut reachable = vec![false; name.len() + 1];
    if let Some(first) = reachable.first_mut() {
        *first = true;
    }
    for p in pattern.chars() {
        let mut next = vec![false; name.len() + 1];
        let mut any_before = false;
        for (k, slot) in next.iter_mut().enumerate() {
            let here = reachable.get(k).copied().unwrap_or(false);
            any_before |= here;
            let before = k > 0 && reachable.get(k - 1).copied().unwrap_or(false);
            *slot = match p {
                '*' => any_before,
                '?' => before,
                c => before && name.get(k.wrapping_sub(1)) == Some(&c),
            };
        }
        reachable = next;
    }
    reachable.last().copied().unwrap_or(false)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stars_and_question_marks() {
        for (pattern, name, yes) in [
            ("*.csv", "a.csv", true),
            ("*.csv", "a.csv.bak", false),
            ("m?ter-*.csv", "meter-2026-08.csv", true),
            ("m?ter-*.csv", "mter-1.csv", false),
            ("*", "", true),
            ("a*b*c", "aXbXbc", true),
            ("a*b*c", "aXbXb", false),
            ("plain", "plain", true),
        ] {
            assert_eq!(matches(pattern, name), yes, "{pattern} {name}");
        }
    }

    #[test]
    fn lists_matching_files_in_order() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("logs")).unwrap();
        for name in ["b.csv", "a.csv", ".hidden.csv", "c.txt"] {
            std::fs::write(folder.path().join("logs").join(name), "x").unwrap();
        }
        let found = matching(folder.path(), "logs/*.csv").unwrap();
        let names: Vec<&str> = found.iter().map(|(n, _)| n.as_str()).collect();
        assert_eq!(names, ["logs/a.csv", "logs/b.csv"]);
        assert!(matching(folder.path(), "none/*.csv").unwrap().is_empty());
    }
}
