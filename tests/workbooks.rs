//! Workbooks as tables: the same answers as from CSV, faults with sheet and cell, and no harm from hostile files.

#[path = "workbooks/hostile.rs"]
mod hostile;
#[path = "workbooks/logs.rs"]
mod logs;
mod support;

use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook};
use serde_json::Value;
use support::book::{fill, ods, ods_table, rezipped, xlsx};
use support::sheet::Sheet;
use support::{BenchDir, TOML};

/// The invented bench with its points in a workbook.
fn bench(file: &str, bytes: &[u8]) -> BenchDir {
    let (name, _) = file.split_once('#').unwrap_or((file, ""));
    BenchDir::new()
        .toml(TOML.replace("points.csv", file))
        .file(name, bytes)
}

/// A command's JSON without what names files.
fn answer(bench: &BenchDir, line: &str) -> Value {
    let text = { bench.run(&format!("{line} --json")).exits(0) }.stdout_of_any_bytes();
    let mut json: Value = serde_json::from_str(&text).unwrap();
    if let Some(findings) = json["findings"].as_array_mut() {
        for f in findings {
            f["file"] = Value::Null;
        }
    }
    json
}

#[test]
fn a_sheet_gives_the_answers_of_the_same_table_in_csv() {
    let csv = BenchDir::invented();
    let books = [
        ("points.xlsx", xlsx("Points", &Sheet::invented())),
        (
            "points.ods#Points",
            ods(&ods_table("Points", &Sheet::invented())),
        ),
    ];
    for line in ["check", "predict --intake 30degC --ambient 28degC"] {
        let want = answer(&csv, line);
        for (file, bytes) in &books {
            let got = answer(&bench(file, bytes), line);
            // Rows of the CSV stand one line lower, under a comment.
            let bare = |v: &Value| {
                let mut v = v.clone();
                if let Some(findings) = v["findings"].as_array_mut() {
                    for f in findings {
                        f["line"] = Value::Null;
                    }
                }
                v
            };
            assert_eq!(bare(&got), bare(&want), "{file} {line}");
        }
    }
}

#[test]
fn a_workbook_stands_for_a_bench_as_a_points_table_does() {
    let folder = BenchDir::new().file("book.xlsx", xlsx("Points", &Sheet::invented()));
    for path in ["book.xlsx", "book.xlsx#Points", "book.xlsx#points"] {
        folder
            .run_on(path.as_ref(), "check")
            .exits(0)
            .tells("cooling runs");
    }
    folder
        .run_on("book.xlsx#Pionts".as_ref(), "check")
        .exits(3)
        .complains("no sheet `Pionts`")
        .complains("did you mean `Points`?");
}

#[test]
fn the_first_sheet_that_is_shown_is_read_and_said() {
    let mut book = Workbook::new();
    let other = Sheet::parse("note\nnothing\n");
    fill(&mut book, "Secret", &other).set_hidden(true);
    fill(&mut book, "Points", &Sheet::invented()).set_active(true);
    fill(&mut book, "Notes", &other);
    let bytes = book.save_to_buffer().unwrap();
    bench("book.xlsx", &bytes)
        .run("check")
        .exits(0)
        .tells("first-sheet: book.xlsx holds several sheets (`Points`, `Notes`) and none is named, so the first is read; another is named as \"book.xlsx#Notes\"");
    bench("book.xlsx#Points", &bytes)
        .run("check")
        .exits(0)
        .keeps_silent_on("several sheets");
    bench("book.xlsx#Note", &bytes)
        .run("check")
        .exits(3)
        .complains("one of the sheets `Secret`, `Points`, `Notes`")
        .complains("did you mean `Notes`?");
    let tables = [
        "<table:table table:name=\"Secret\" table:style-name=\"gone\"></table:table>".to_owned(),
        ods_table("Points", &Sheet::invented()),
        ods_table("Notes", &other),
    ];
    bench("book.ods", &ods(&tables.concat()))
        .run("check")
        .exits(0)
        .tells("holds several sheets (`Points`, `Notes`)");
}

#[test]
fn error_values_are_faults_with_sheet_and_cell() {
    let table = Sheet::invented();
    for (row, column, value, words) in [
        (4, "power", "#DIV/0!", "`#DIV/0!` under `power`"),
        (5, "mode", "#N/A", "the error value `#N/A` under `mode`"),
        (6, "run", "#REF!", "the error value `#REF!` under `run`"),
    ] {
        let at = table.column(column);
        let mut book = Workbook::new();
        let formula = Formula::new("=1/0").set_result(value);
        fill(&mut book, "Points", &table)
            .write_formula(row, at as u16, formula)
            .unwrap();
        let name = format!("{}{}", char::from(b'A' + at as u8), row + 1);
        let place = format!("book.xlsx#Points, cell {name}");
        // The library writes a formula's result as text; spreadsheet programs mark it as an error.
        let bytes = book.save_to_buffer().unwrap();
        let marked = rezipped(&bytes, |_, text| {
            Some(text.replace(
                &format!("r=\"{name}\" t=\"str\""),
                &format!("r=\"{name}\" t=\"e\""),
            ))
        });
        for bytes in [bytes, marked] {
            bench("book.xlsx#Points", &bytes)
                .run("check")
                .exits(3)
                .complains(&place)
                .complains(words)
                .complains("mend it");
        }
    }
    let xml = ods_table("Points", &table).replacen(
        "<table:table-cell office:value-type=\"string\"><text:p>eco</text:p></table:table-cell>",
        "<table:table-cell office:value-type=\"string\" office:string-value=\"\" calcext:value-type=\"error\"><text:p>Err:502</text:p></table:table-cell>",
        1,
    );
    bench("book.ods", &ods(&xml))
        .run("check")
        .exits(3)
        .complains("book.ods#Points, cell C2")
        .complains("the error value `Err:502` under `mode`");
}

#[test]
fn faults_in_a_sheet_name_its_cells_and_rows() {
    let named = |sheet: Sheet| bench("book.xlsx", &xlsx("Points", &sheet));
    let said = named(Sheet::invented().set("r03", "power", "-114.0")).run("check");
    said.exits(3).complains("book.xlsx#Points, cell N4");
    let twice = named(Sheet::invented().set("r03", "run", "r01")).run("check");
    twice
        .exits(3)
        .complains("book.xlsx#Points, cell A4")
        .complains("the run `r01` again (first on row 2)");
    let heading = named(Sheet::invented().heading("power", "power")).run("check");
    heading.exits(3).complains("book.xlsx#Points, cell N1");
    let mut wide = Sheet::invented();
    wide.rows[2].push("beside".to_owned());
    named(wide)
        .run("check")
        .exits(3)
        .complains("book.xlsx#Points, cell O4")
        .complains("`beside` to the right of the headings");
}

#[test]
fn formulas_booleans_rich_texts_and_blanks_are_read_as_shown() {
    let table = Sheet::invented();
    let mut book = Workbook::new();
    let page = fill(&mut book, "Points", &table);
    let power = table.column("power") as u16;
    // A formula has the result that was stored with it.
    page.write_formula(1, power, Formula::new("=100+73.3").set_result("173.3"))
        .unwrap();
    let bold = Format::new().set_bold();
    page.write_rich_string(
        1,
        table.column("mode") as u16,
        &[(&bold, "e"), (&Format::new(), "co")],
    )
    .unwrap();
    // Formats and blanks far behind the table are nothing.
    page.write_blank(900, 40, &bold).unwrap();
    page.write_string(950, 20, "   ").unwrap();
    let bytes = book.save_to_buffer().unwrap();
    let want = answer(&BenchDir::invented(), "predict --intake 30degC");
    let got = answer(&bench("book.xlsx", &bytes), "predict --intake 30degC");
    assert_eq!(got, want);
    let mut book = Workbook::new();
    fill(&mut book, "Points", &table)
        .write_boolean(1, power, true)
        .unwrap();
    bench("book.xlsx", &book.save_to_buffer().unwrap())
        .run("check")
        .exits(3)
        .complains("cell N2")
        .complains("`true` under `power`");
    let mut book = Workbook::new();
    let day = Format::new().set_num_format("dd.mm.yyyy");
    fill(&mut book, "Points", &table)
        .write_datetime_with_format(
            1,
            power,
            ExcelDateTime::from_ymd(2026, 8, 25).unwrap(),
            &day,
        )
        .unwrap();
    bench("book.xlsx", &book.save_to_buffer().unwrap())
        .run("check")
        .exits(3)
        .complains("`2026-08-25` under `power`");
}

#[test]
fn merged_cells_speak_for_all_their_rows_and_hidden_rows_are_told() {
    let table = Sheet::invented();
    let column = table.column("block") as u16;
    // The longest stretch of rows of one block, merged as one does by hand.
    let of = |i: usize| table.rows.get(i).map(|r| r[usize::from(column)].as_str());
    let mut last = 0;
    while of(last + 1) == of(0) {
        last += 1;
    }
    assert!(last > 0);
    let mut book = Workbook::new();
    let page = fill(&mut book, "Points", &table);
    let plain = Format::new();
    page.merge_range(1, column, last as u32 + 1, column, of(0).unwrap(), &plain)
        .unwrap();
    page.set_row_hidden(3).unwrap();
    let bytes = book.save_to_buffer().unwrap();
    let bench = bench("book.xlsx", &bytes);
    bench
        .run("check")
        .exits(0)
        .tells(&format!("merged-cells: {last} cells of book.xlsx#Points"))
        .tells("hidden-rows: 1 rows of book.xlsx#Points");
    let line = "predict --intake 30degC";
    assert_eq!(answer(&bench, line), answer(&BenchDir::invented(), line));
}

#[test]
fn texts_with_decimal_commas_are_read_as_numbers() {
    let mut book = Workbook::new();
    let table = Sheet::invented();
    let page = fill(&mut book, "Points", &table);
    for name in ["intake_temp", "power", "airflow"] {
        let column = table.column(name);
        for (row, cells) in table.rows.iter().enumerate() {
            let text = cells[column].replace('.', ",");
            page.write_string(row as u32 + 1, column as u16, text)
                .unwrap();
        }
    }
    let bytes = book.save_to_buffer().unwrap();
    let line = "predict --intake 30degC";
    assert_eq!(
        answer(&bench("book.xlsx", &bytes), line),
        answer(&BenchDir::invented(), line)
    );
}

#[test]
fn numbers_keep_all_their_digits() {
    let mut book = Workbook::new();
    let page = book.add_worksheet();
    page.set_name("Data").unwrap();
    for (i, name) in ["x", "y"].into_iter().enumerate() {
        page.write_string(0, i as u16, name).unwrap();
    }
    for k in 0..6_u32 {
        let x = 0.1 + 0.2 + f64::from(k) / 3.0;
        page.write_number(k + 1, 0, x).unwrap();
        page.write_number(k + 1, 1, 1e-7 + 2.0 * x).unwrap();
    }
    let folder = BenchDir::new().file("d.xlsx", book.save_to_buffer().unwrap());
    let fit = folder
        .run_on("d.xlsx#Data".as_ref(), "curve --equation y=a+b*x --json")
        .answers()
        .json();
    let value = |i: usize| fit["params"][i]["value"].as_f64().unwrap();
    assert!(
        (value(0) - 1e-7).abs() < 1e-14 && (value(1) - 2.0).abs() < 1e-14,
        "{fit}"
    );
    let mut book = Workbook::new();
    fill(&mut book, "Data", &Sheet::parse("x,y\n1,2\n2,bad\n"));
    let folder = folder.file("e.xlsx", book.save_to_buffer().unwrap());
    folder
        .run_on("e.xlsx".as_ref(), "curve --equation y=a*x")
        .exits(3)
        .complains("e.xlsx#Data, cell B3");
}

#[test]
fn spreadsheets_of_other_kinds_are_refused_with_what_to_do() {
    for (file, bytes, word) in [
        (
            "p.xls",
            &b"\xD0\xCF\x11\xE0"[..],
            "save it as .xlsx or as CSV",
        ),
        ("p.xlsm", b"PK\x03\x04", "save it as .xlsx or as CSV"),
        ("p.xlsb", b"PK\x03\x04", "save it as .xlsx or as CSV"),
        ("p.fods", b"<?xml", "save it as .xlsx or as CSV"),
        ("p.xlsx", b"\xD0\xCF\x11\xE0", "without a password"),
        ("p.xlsx", b"run,mode\n", "a text table is named .csv"),
        ("p.xlsx", b"", "an empty file"),
        ("p.ods", b"PK\x03\x04rest", "a damaged or cut-off archive"),
    ] {
        bench(file, bytes).run("check").exits(3).complains(word);
    }
    let sound = xlsx("Points", &Sheet::invented());
    for cut in [40, sound.len() / 2, sound.len() - 1] {
        bench("p.xlsx", &sound[..cut])
            .run("check")
            .exits(3)
            .complains("p.xlsx");
    }
}
