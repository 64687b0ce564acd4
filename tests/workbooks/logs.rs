//! Logs and run windows in workbooks, through `reduce`.

use rust_xlsxwriter::{ExcelDateTime, Format, Workbook, Worksheet};
use serde_json::Value;

use super::support::book::{ods, rezipped};
use super::support::{BenchDir, Outcome};

const RUNS: &str = "run,kind,mode,fan,block,start,end\nr1,cooling,m,1,d,2026-08-25T07:00:00Z,2026-08-25T08:00:00Z\n";

/// A bench of one run of an hour, 2026-08-25 09:00 to 10:00 in Amsterdam, with a log in a workbook.
fn bench(log: &str, book: &[u8], file: &str) -> BenchDir {
    BenchDir::new()
        .toml(format!(
            "title = \"a bench\"\n[runs]\nfile = \"runs.csv\"\n[[log]]\n{log}"
        ))
        .file("runs.csv", RUNS)
        .file(file, book)
}

const LOG: &str = "file = \"log.xlsx\"\n[log.time]\ncolumn = \"Zeit\"\nformat = \"iso\"\nzone = \"Europe/Amsterdam\"\n[log.channels]\nvoltage = { column = \"Spannung\", unit = \"V\" }\ncurrent = { column = \"Strom\", unit = \"A\", sign = -1 }\n";

/// Seconds after nine of the k-th reading, voltage and current: 25.6 V and -8 A but for a little.
fn reading(k: u32) -> (u32, f64, f64) {
    let scatter = f64::from(k * 37 % 11) / 5.0 - 1.0;
    (10 * k, 25.6 + 0.01 * scatter, -8.0 - 0.005 * scatter)
}

const N: u32 = 360;

fn moment(s: u32) -> ExcelDateTime {
    let (h, m, s) = (9 + s / 3600, s / 60 % 60, f64::from(s % 60));
    ExcelDateTime::from_ymd(2026, 8, 25)
        .and_then(|d| d.and_hms(h as u16, m as u8, s))
        .unwrap()
}

/// A workbook with one sheet, its cells written by `write` below the headings.
fn book(headings: &[&str], write: impl Fn(&mut Worksheet, u32, u32, f64, f64)) -> Vec<u8> {
    let mut book = Workbook::new();
    let page = book.add_worksheet();
    for (i, h) in headings.iter().enumerate() {
        page.write_string(0, i as u16, *h).unwrap();
    }
    for k in 0..N {
        let (s, u, i) = reading(k);
        write(page, k + 1, s, u, i);
    }
    book.save_to_buffer().unwrap()
}

fn numbers(page: &mut Worksheet, row: u32, first: u16, u: f64, i: f64) {
    page.write_number(row, first, u).unwrap();
    page.write_number(row, first + 1, i).unwrap();
}

fn with_dates() -> Vec<u8> {
    let shown = Format::new().set_num_format("dd.mm.yyyy hh:mm:ss");
    book(&["Zeit", "Spannung", "Strom"], |page, row, s, u, i| {
        page.write_datetime_with_format(row, 0, moment(s), &shown)
            .unwrap();
        numbers(page, row, 1, u, i);
    })
}

/// Reduces the bench; its only run must be steady at about 204.8 W over the whole hour.
#[track_caller]
fn steady(bench: &BenchDir) -> Value {
    let json = bench.run("reduce --json").exits(0).json();
    let run = &json["runs"][0];
    assert_eq!(run["status"], "steady", "{json:#}");
    let draw = run["values"]["power_w"].as_f64().unwrap();
    assert!((draw - 204.8).abs() < 0.1, "{draw}");
    json
}

fn refused(log: &str, book: &[u8]) -> Outcome {
    bench(log, book, "log.xlsx").run("reduce").exits(3)
}

#[test]
fn date_cells_are_times_whatever_the_format_says() {
    let bytes = with_dates();
    for format in ["iso", "%d.%m.%Y %H:%M:%S", "%m/%d/%y %I:%M %p"] {
        steady(&bench(&LOG.replace("iso", format), &bytes, "log.xlsx"));
    }
    // Without a zone they are a wall clock's like any other.
    refused(&LOG.replace("zone = \"Europe/Amsterdam\"\n", ""), &bytes).complains("without a zone");
}

#[test]
fn days_counted_from_1904_are_the_same_days() {
    let bytes = rezipped(&with_dates(), |name, text| {
        let text = match name {
            "xl/workbook.xml" => text.replace("<workbookPr ", "<workbookPr date1904=\"1\" "),
            _ => text,
        };
        Some(text)
    });
    // The same serial numbers now lie 1462 days later.
    let json = bench(LOG, &bytes, "log.xlsx").run("reduce --json");
    assert_eq!(json.code, 4, "{}", json.stderr);
    assert!(
        json.stderr.contains("2030-08-26T07:00:00Z"),
        "{}",
        json.stderr
    );
}

#[test]
fn a_date_and_a_time_may_stand_in_two_columns() {
    let day = Format::new().set_num_format("dd.mm.yyyy");
    let time = Format::new().set_num_format("hh:mm:ss");
    let bytes = book(
        &["Tag", "Uhr", "Spannung", "Strom"],
        |page, row, s, u, i| {
            let date = ExcelDateTime::from_ymd(2026, 8, 25).unwrap();
            page.write_datetime_with_format(row, 0, date, &day).unwrap();
            page.write_number_with_format(row, 1, (9.0 * 3600.0 + f64::from(s)) / 86_400.0, &time)
                .unwrap();
            numbers(page, row, 2, u, i);
        },
    );
    let log = LOG.replace("\"Zeit\"", "[\"Tag\", \"Uhr\"]");
    for format in ["iso", "%d.%m.%Y %H:%M:%S"] {
        steady(&bench(&log.replace("iso", format), &bytes, "log.xlsx"));
    }
}

#[test]
fn texts_of_times_and_numbers_with_commas_are_read_as_in_csv() {
    let bytes = book(&["Zeit", "Spannung", "Strom"], |page, row, s, u, i| {
        let at = format!(
            "25.08.2026 {:02}:{:02}:{:02}",
            9 + s / 3600,
            s / 60 % 60,
            s % 60
        );
        page.write_string(row, 0, at).unwrap();
        page.write_string(row, 1, format!("{u:.4}").replace('.', ","))
            .unwrap();
        page.write_string(row, 2, format!("{i:.4} A").replace('.', ","))
            .unwrap();
    });
    let log = LOG.replace("iso", "%d.%m.%Y %H:%M:%S");
    steady(&bench(&log, &bytes, "log.xlsx"));
    let stated = log.replace(
        "[log.time]",
        "decimal = \",\"\ndelimiter = \";\"\n[log.time]",
    );
    steady(&bench(&stated, &bytes, "log.xlsx"));
    let point = log.replace("[log.time]", "decimal = \".\"\n[log.time]");
    refused(&point, &bytes)
        .complains("log.xlsx#Sheet1, cell B2")
        .complains("no number `25,5900`");
}

#[test]
fn durations_are_elapsed_times_in_logs_and_windows() {
    let shown = Format::new().set_num_format("[h]:mm:ss");
    let bytes = book(&["Zeit", "Spannung", "Strom"], |page, row, s, u, i| {
        page.write_number_with_format(row, 0, f64::from(s) / 86_400.0, &shown)
            .unwrap();
        numbers(page, row, 1, u, i);
    });
    let mut runs = Workbook::new();
    let page = runs.add_worksheet();
    for (i, h) in ["run", "fan", "start [min]", "end [min]"]
        .iter()
        .enumerate()
    {
        page.write_string(0, i as u16, *h).unwrap();
    }
    page.write_string(1, 0, "r1").unwrap();
    page.write_number(1, 1, 1).unwrap();
    page.write_number_with_format(1, 2, 0.0, &shown).unwrap();
    page.write_number_with_format(1, 3, 1.0 / 24.0, &shown)
        .unwrap();
    let runs = runs.save_to_buffer().unwrap();
    for format in ["elapsed", "elapsed_s"] {
        let log = LOG.replace("iso", format);
        let bench = bench(&log, &bytes, "log.xlsx").file("runs.xlsx", &runs);
        let toml = std::fs::read_to_string(bench.path().join("bench.toml")).unwrap();
        steady(&bench.toml(toml.replace("runs.csv", "runs.xlsx")));
    }
}

#[test]
fn run_windows_may_be_date_cells() {
    let shown = Format::new().set_num_format("yyyy-mm-dd hh:mm");
    let mut runs = Workbook::new();
    let page = runs.add_worksheet();
    page.set_name("Runs").unwrap();
    for (i, h) in ["run", "fan", "start", "end"].iter().enumerate() {
        page.write_string(0, i as u16, *h).unwrap();
    }
    page.write_string(1, 0, "r1").unwrap();
    page.write_number(1, 1, 1).unwrap();
    page.write_datetime_with_format(1, 2, moment(0), &shown)
        .unwrap();
    page.write_datetime_with_format(1, 3, moment(3600), &shown)
        .unwrap();
    // A second run that ends at midnight, which is a date alone.
    page.write_string(2, 0, "r2").unwrap();
    page.write_number(2, 1, 1).unwrap();
    page.write_datetime_with_format(2, 2, moment(4000), &shown)
        .unwrap();
    let midnight = ExcelDateTime::from_ymd(2026, 8, 26).unwrap();
    page.write_datetime_with_format(2, 3, midnight, &shown)
        .unwrap();
    let runs = runs.save_to_buffer().unwrap();
    let bench = bench(LOG, &with_dates(), "log.xlsx").file("runs.xlsx", &runs);
    let toml = std::fs::read_to_string(bench.path().join("bench.toml")).unwrap();
    steady(&bench.toml(toml.replace("runs.csv", "runs.xlsx#Runs")));
}

#[test]
fn patterns_unit_rows_and_preambles_work_on_sheets() {
    let mut parts = Vec::new();
    for part in 0..2_u32 {
        let mut book = Workbook::new();
        book.add_worksheet().set_name("About").unwrap();
        let page = book.add_worksheet();
        page.set_name("Data").unwrap();
        page.write_string(0, 0, "Export vom Messgerät").unwrap();
        for (i, (h, unit)) in [("Zeit", ""), ("Spannung", "mV"), ("Strom", "A")]
            .iter()
            .enumerate()
        {
            page.write_string(2, i as u16, *h).unwrap();
            page.write_string(3, i as u16, *unit).unwrap();
        }
        let shown = Format::new().set_num_format("hh:mm:ss");
        for k in 0..N / 2 {
            let (s, u, i) = reading(part * N / 2 + k);
            page.write_datetime_with_format(k + 4, 0, moment(s), &shown)
                .unwrap();
            numbers(page, k + 4, 1, 1000.0 * u, i);
        }
        parts.push(book.save_to_buffer().unwrap());
    }
    let log = LOG
        .replace("log.xlsx\"", "part-*.xlsx#Data\"\nunit_rows = 1")
        .replace(", unit = \"V\"", "");
    let bench = bench(&log, &parts[1], "part-2.xlsx").file("part-1.xlsx", &parts[0]);
    let json = steady(&bench);
    assert_eq!(json["logs"][0]["rows"], N, "{json:#}");
}

#[test]
fn broken_cells_of_a_log_are_told_by_sheet_and_cell() {
    let few = rezipped(&with_dates(), |name, text| {
        let error = |text: &str, cell: &str| {
            let at = text.find(&format!("r=\"{cell}\"")).unwrap();
            let end = at + text[at..].find("</c>").unwrap();
            format!(
                "{}r=\"{cell}\" t=\"e\"><v>#DIV/0!</v>{}",
                &text[..at],
                &text[end..]
            )
        };
        Some(if name.ends_with("sheet1.xml") {
            error(&error(&text, "B5"), "C9")
        } else {
            text
        })
    });
    bench(LOG, &few, "log.xlsx")
        .run("reduce --json")
        .exits(0)
        .tells("2 of 360 lines of log.xlsx#Sheet1 could not be read whole: cell B5: no number `#DIV/0!`; cell C9: no number `#DIV/0!`");
    let many = book(&["Zeit", "Spannung", "Strom"], |page, row, _, u, i| {
        page.write_string(row, 0, "soon").unwrap();
        numbers(page, row, 1, u, i);
    });
    refused(LOG, &many)
        .complains("log.xlsx#Sheet1, cell A2")
        .complains(
            "360 of 360 lines (in all) that cannot be read; cell A2: not the time format `soon`",
        );
}

#[test]
fn sheets_of_opendocument_are_logs_too() {
    let mut rows = String::from(
        "<table:table-row><table:table-cell office:value-type=\"string\"><text:p>Zeit</text:p></table:table-cell><table:table-cell office:value-type=\"string\"><text:p>Spannung</text:p></table:table-cell><table:table-cell office:value-type=\"string\"><text:p>Strom</text:p></table:table-cell></table:table-row>",
    );
    for k in 0..N {
        let (s, u, i) = reading(k);
        rows.push_str(&format!(
            "<table:table-row><table:table-cell office:value-type=\"date\" office:date-value=\"2026-08-25T{:02}:{:02}:{:02}\"><text:p>today</text:p></table:table-cell><table:table-cell office:value-type=\"float\" office:value=\"{u}\"/><table:table-cell office:value-type=\"float\" office:value=\"{i}\"><office:annotation><text:p>a note</text:p></office:annotation></table:table-cell></table:table-row>",
            9 + s / 3600,
            s / 60 % 60,
            s % 60
        ));
    }
    let bytes = ods(&format!(
        "<table:table table:name=\"Messung\">{rows}</table:table>"
    ));
    let log = LOG.replace("log.xlsx", "log.ods#Messung");
    steady(&bench(&log, &bytes, "log.ods"));
    // Durations, as OpenDocument writes them.
    let elapsed = String::from_utf8(rows.into_bytes()).unwrap().replace(
        "office:value-type=\"date\" office:date-value=\"2026-08-25T",
        "office:value-type=\"time\" office:time-value=\"PT",
    );
    let mut xml = String::new();
    for piece in elapsed.split("office:time-value=\"PT") {
        match piece.get(..8).filter(|p| p.as_bytes()[2] == b':') {
            Some(clock) => {
                let (h, rest) = clock.split_once(':').unwrap();
                let (m, s) = rest.split_once(':').unwrap();
                xml.push_str(&format!(
                    "office:time-value=\"PT{h}H{m}M{s}S{}",
                    &piece[8..]
                ));
            }
            None => xml.push_str(piece),
        }
    }
    let bytes = ods(&format!(
        "<table:table table:name=\"Messung\">{xml}</table:table>"
    ));
    let log = log.replace("iso", "elapsed").replace(
        "zone = \"Europe/Amsterdam\"",
        "origin = \"2026-08-24T22:00:00Z\"",
    );
    steady(&bench(&log, &bytes, "log.ods"));
}

#[test]
fn a_discharge_test_may_be_a_sheet() {
    let shown = Format::new().set_num_format("dd.mm.yyyy hh:mm:ss");
    let bytes = book(
        &["time", "current [A]", "voltage [V]"],
        |page, row, s, u, i| {
            page.write_datetime_with_format(row, 0, moment(s), &shown)
                .unwrap();
            page.write_number(row, 1, i).unwrap();
            page.write_number(row, 2, u - f64::from(row) / 500.0)
                .unwrap();
        },
    );
    let folder = BenchDir::new().file("test.xlsx", bytes);
    for file in ["test.xlsx", "test.xlsx#Sheet1"] {
        let json = folder
            .run_on(file.as_ref(), "discharge --rating 8Ah --zone UTC --json")
            .exits(0)
            .json();
        // 8 A for an hour less one reading's interval.
        let charge = json["capacity_ah"].as_f64().unwrap();
        assert!((charge - 8.0 * 3590.0 / 3600.0).abs() < 0.01, "{json:#}");
    }
    folder
        .run_on("test.xlsx#Sheet2".as_ref(), "discharge")
        .exits(3)
        .complains("did you mean `Sheet1`?");
}
