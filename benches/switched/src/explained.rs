//! Changes that no test can turn red, because they change no answer: why, one by one, in `explained.tsv`.
//!
//! A change is named by what stands in its line, so that the list outlives what is written above it.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::path::Path;

use crate::Failure;
use crate::copy::sites_file;
use crate::judge::judged_file;

/// Where a project keeps the list.
const LIST: &str = "benches/switched/explained.tsv";
/// Its first line.
const HEAD: &str = "file\tfunction\tline\toperator\twith\twhy no answer changes";

/// A change, told by the text of its line.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
struct Named {
    file: String,
    function: String,
    line: String,
    /// Which operator of the line, from 1.
    operator: usize,
    with: String,
}

/// The list of a project: each change with its reason.
fn listed(project: &Path) -> Result<Vec<(Named, String)>, Failure> {
    let text = std::fs::read_to_string(project.join(LIST))?;
    let mut lines = text.lines().enumerate();
    match lines.next() {
        Some((_, head)) if head == HEAD => {}
        _ => return Err(format!("{LIST}: the first line is not `{HEAD}`").into()),
    }
    lines
        .map(|(i, text)| {
            let cells: Vec<&str> = text.split('\t').collect();
            let [file, function, line, operator, with, why] = cells[..] else {
                return Err(format!("{LIST}, line {}: not six cells", i + 1).into());
            };
            let named = Named {
                file: file.to_owned(),
                function: function.to_owned(),
                line: line.to_owned(),
                operator: operator.parse()?,
                with: with.to_owned(),
            };
            Ok((named, why.to_owned()))
        })
        .collect()
}

/// Prints the changes that turned no test red and are not explained, as lines of the list without a reason; then counts by room.
pub fn left(copy: &Path, project: &Path) -> Result<(), Failure> {
    let explained: HashSet<Named> = { listed(project)?.into_iter() }.map(|(n, _)| n).collect();
    let mut columns: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for site in std::fs::read_to_string(sites_file(copy))?.lines() {
        let cells: Vec<&str> = site.split('\t').collect();
        if let [_, file, row, column, ..] = cells[..] {
            let own = columns.entry(format!("{file}:{row}")).or_default();
            own.push(column.parse()?);
        }
    }
    columns.values_mut().for_each(|c| c.sort_unstable());
    let mut sources: HashMap<String, String> = HashMap::new();
    let mut counts: BTreeMap<String, [usize; 3]> = BTreeMap::new();
    println!("{HEAD}");
    for judged in std::fs::read_to_string(judged_file(copy))?.lines() {
        let cells: Vec<&str> = judged.split('\t').collect();
        let [_, place, _, with, function, found, ..] = cells[..] else {
            continue;
        };
        let at: Vec<&str> = place.split(':').collect();
        let [file, row, column] = at[..] else {
            continue;
        };
        let room = file.split('/').next().unwrap_or_default();
        let own = counts.entry(room.to_owned()).or_default();
        if found == "red" || found == "out of time" {
            own[0] += 1;
            continue;
        }
        if !sources.contains_key(file) {
            let text = std::fs::read_to_string(project.join("src").join(file))?;
            sources.insert(file.to_owned(), text);
        }
        let row_number: usize = row.parse()?;
        let line = { sources.get(file) }.and_then(|s| s.lines().nth(row_number - 1));
        let column: usize = column.parse()?;
        let before = columns.get(&format!("{file}:{row}"));
        let named = Named {
            file: file.to_owned(),
            function: function.to_owned(),
            line: line.unwrap_or_default().trim().to_owned(),
            operator: before.map_or(0, |c| c.iter().filter(|x| **x <= column).count()),
            with: with.to_owned(),
        };
        if explained.contains(&named) {
            own[1] += 1;
        } else {
            own[2] += 1;
            let (line, operator) = (&named.line, named.operator);
            println!("{file}\t{function}\t{line}\t{operator}\t{with}\t");
        }
    }
    eprintln!("{:<12}{:>8}{:>11}{:>8}", "", "red", "explained", "left");
    for (room, [red, told, open]) in counts {
        eprintln!("{room:<12}{red:>8}{told:>11}{open:>8}");
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_reason_belongs_to_a_line_that_stands() {
        let project = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
        for (named, why) in listed(&project).unwrap() {
            let text = std::fs::read_to_string(project.join("src").join(&named.file)).unwrap();
            let name = named.function.rsplit("::").next().unwrap_or_default();
            assert!(text.lines().any(|l| l.trim() == named.line), "{named:?}");
            assert!(text.contains(&format!("fn {name}")), "{named:?}");
            assert!(why.trim().len() > 10, "{named:?}");
        }
    }
}
