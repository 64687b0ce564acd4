//! `results.xlsx` of a write-up: numbers are numbers and the same as everywhere else; what came from a bench never acts.

use std::collections::BTreeMap;
use std::path::Path;

use calamine::{Data, Reader, Xlsx, open_workbook};

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, TOML, run_in};

type Book = Xlsx<std::io::BufReader<std::fs::File>>;

fn written(folder: &Path, bench: &str, more: &[&str]) -> Book {
    let mut args: Vec<String> = ["report", bench, "--out", "out"]
        .map(str::to_owned)
        .to_vec();
    args.retain(|a| !a.is_empty());
    args.extend(more.iter().map(|m| (*m).to_owned()));
    run_in(folder, &args, &[]).answers();
    open_workbook(folder.join("out/results.xlsx")).unwrap()
}

/// The tables beside it, by the start of their names that a sheet may bear.
fn tables(folder: &Path) -> BTreeMap<String, Vec<Vec<String>>> {
    let list = std::fs::read_dir(folder.join("out/tables")).unwrap();
    list.map(|e| {
        let path = e.unwrap().path();
        let name: String = path
            .file_stem()
            .unwrap()
            .to_str()
            .unwrap()
            .chars()
            .take(31)
            .collect();
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .from_path(&path)
            .unwrap();
        let rows = reader
            .records()
            .map(|r| r.unwrap().iter().map(str::to_owned).collect())
            .collect();
        (name.trim_end_matches('-').to_owned(), rows)
    })
    .collect()
}

/// Compares every cell; gives how many were numbers.
fn same_as_tables(book: &mut Book, folder: &Path) -> usize {
    let mut numbers = 0;
    let tables = tables(folder);
    assert!(tables.len() >= 4);
    for (name, rows) in tables {
        let sheet = book
            .worksheet_range(&name)
            .unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(sheet.height(), rows.len(), "{name}");
        for (i, row) in rows.iter().enumerate() {
            for (k, text) in row.iter().enumerate() {
                let cell = sheet.get((i, k)).unwrap_or(&Data::Empty);
                match cell {
                    Data::Empty => assert_eq!(text, "", "{name} {i} {k}"),
                    Data::Float(v) => {
                        assert_eq!(text.parse::<f64>().ok(), Some(*v), "{name} {i} {k}");
                        numbers += 1;
                    }
                    // In CSV an apostrophe keeps a text from acting.
                    Data::String(t) => assert_eq!(
                        text.trim_start_matches('\''),
                        t.trim_start_matches('\''),
                        "{name} {i} {k}"
                    ),
                    other => panic!("{name} {i} {k}: {other:?}"),
                }
            }
        }
    }
    numbers
}

fn formulas(book: &mut Book) -> Vec<(String, String)> {
    let mut found = Vec::new();
    for name in book.sheet_names() {
        let range = book.worksheet_formula(&name).unwrap();
        let list = range.used_cells().filter(|c| !c.2.is_empty());
        found.extend(list.map(|c| (name.clone(), c.2.clone())));
    }
    found
}

#[test]
fn it_holds_the_same_figures_as_the_tables_and_the_json() {
    let folder = tempfile::tempdir().unwrap();
    let mut book = written(folder.path(), "", &[]);
    let names = book.sheet_names();
    for name in ["contents", "equations", "methods", "notes"] {
        assert!(names.iter().any(|n| n == name), "{names:?}");
    }
    assert!(same_as_tables(&mut book, folder.path()) > 500);
    let adjusted = run_in(
        folder.path(),
        &["predict", "--adjusted", "--json"].map(str::to_owned),
        &[],
    )
    .answers()
    .json();
    let sheet = names
        .iter()
        .find(|n| n.starts_with("01-every-tested"))
        .unwrap();
    let sheet = book.worksheet_range(sheet).unwrap();
    let heading = |name: &str| {
        let headings = sheet.rows().next().unwrap();
        headings
            .iter()
            .position(|h| *h == name)
            .unwrap_or_else(|| panic!("no {name} in {headings:?}"))
    };
    let settings = adjusted["adjusted"]["settings"].as_array().unwrap();
    assert_eq!(settings.len(), sheet.height() - 1);
    for (setting, row) in settings.iter().zip(sheet.rows().skip(1)) {
        for (key, name) in [
            ("draw_w", "draw [W]"),
            ("mean_low_w", "mean, 95 % low [W]"),
            ("capacity_w", "total cooling [W]"),
            ("eer", "EER [W/W]"),
            ("fan", "fan"),
        ] {
            let (json, cell) = (setting[key].as_f64().unwrap(), &row[heading(name)]);
            let Data::Float(cell) = cell else {
                panic!("{name}: {cell:?}")
            };
            assert!(
                (json / cell - 1.0).abs() < 1e-12,
                "{key}: {json} and {cell}"
            );
        }
    }
    let methods = book.worksheet_range("methods").unwrap();
    let text: Vec<String> = methods.rows().map(|r| r[1].to_string()).collect();
    assert!(text.iter().any(|t| t.contains("JCGM 100:2008")), "{text:?}");
    let notes = book.worksheet_range("notes").unwrap();
    assert!(
        notes
            .rows()
            .any(|r| r[1].to_string().contains("not an approval"))
    );
}

#[test]
fn its_formulas_give_what_the_equations_give() {
    let folder = tempfile::tempdir().unwrap();
    let mut book = written(folder.path(), "", &[]);
    let sheet = book.worksheet_range("equations").unwrap();
    let formula = book.worksheet_formula("equations").unwrap();
    let value = |row: u32, column: u32| match sheet.get_value((row, column)) {
        Some(Data::Float(v)) => *v,
        other => panic!("{row} {column}: {other:?}"),
    };
    let at = |name: &str| match name {
        "A2" => value(1, 0),
        "B2" => value(1, 1),
        "C2" => value(1, 2),
        other => panic!("{other}"),
    };
    let mut compared = 0;
    for (row, column, text) in formula.used_cells().filter(|c| !c.2.is_empty()) {
        let (row, column) = (
            row as u32 + formula.start().unwrap().0,
            column as u32 + formula.start().unwrap().1,
        );
        let read = super::pasted::formula(&format!("={}", text.trim_start_matches('=')), &at);
        let kept = value(row, column);
        assert!(
            (read / kept - 1.0).abs() < 1e-12,
            "{text}: {read} and {kept}"
        );
        assert!((50.0..2000.0).contains(&kept), "{kept}");
        compared += 1;
    }
    assert!(compared > 10, "{compared}");
    let tex = std::fs::read_to_string(folder.path().join("out/equations.tex")).unwrap();
    assert_eq!(tex.matches(r"\[ ").count(), compared);
}

#[test]
fn nothing_from_a_bench_acts_as_a_formula() {
    let hostile = "=HYPERLINK(\"\"x\"\")";
    let points = Sheet::invented()
        .each("mode", |m| {
            if m == "eco" {
                format!("\"{hostile}\"")
            } else {
                "@SUM(1)".to_owned()
            }
        })
        .each("fan", |f| format!("+{f}a"))
        .each("block", |b| format!("-{b}"));
    let bench = BenchDir::invented()
        .toml(TOML.replacen("title = \"", "title = \"=1+1 ", 1))
        .points(points.csv());
    let mut book = written(bench.path(), ".", &[]);
    same_as_tables(&mut book, bench.path());
    let list = formulas(&mut book);
    assert!(!list.is_empty());
    for (sheet, formula) in list {
        assert_eq!(sheet, "equations");
        let fitted = formula
            .chars()
            .all(|c| c.is_ascii_digit() || "+-*/^().,ABC".contains(c) || "EXPLNMAXIN".contains(c));
        assert!(fitted, "{formula}");
    }
    let runs = book
        .sheet_names()
        .into_iter()
        .find(|n| n.contains("every-run"))
        .unwrap();
    let runs = book.worksheet_range(&runs).unwrap();
    let text: Vec<String> = runs
        .rows()
        .flat_map(|r| r.iter().map(ToString::to_string))
        .collect();
    assert!(text.iter().any(|t| t.starts_with("=HYPERLINK")), "{text:?}");
    let tex = std::fs::read_to_string(bench.path().join("out/equations.tex")).unwrap();
    assert!(
        tex.lines()
            .all(|l| l.is_empty() || l.starts_with('%') || l.starts_with(r"\[ "))
    );
}

#[test]
fn it_is_the_same_to_the_byte_and_opens_where_little_is_known() {
    let folder = tempfile::tempdir().unwrap();
    written(folder.path(), "", &[]);
    let first = std::fs::read(folder.path().join("out/results.xlsx")).unwrap();
    // A zip counts time in steps of two seconds.
    std::thread::sleep(std::time::Duration::from_millis(2100));
    written(folder.path(), "", &["--force"]);
    assert!(first == std::fs::read(folder.path().join("out/results.xlsx")).unwrap());
    for sheet in [
        Sheet::invented().drop(&["outlet_temp", "airflow"]),
        Sheet::invented().drop(&["mode", "block", "ambient_temp"]),
        Sheet::invented().keep(|kind, mode, fan| kind != "cooling" || (mode, fan) == ("eco", "1")),
    ] {
        let bench = BenchDir::invented().points(sheet.csv());
        let mut book = written(bench.path(), ".", &["--units", "us"]);
        same_as_tables(&mut book, bench.path());
    }
}
