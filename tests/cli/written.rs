//! One table, written in all the ways in which spreadsheets and people write tables, gives the same answer to the byte.

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, Outcome, POINTS, TOML};

const COMMANDS: [&str; 3] = [
    "fit --json",
    "coupling --json",
    "predict --intake 28degC --json",
];

fn answers(bench: &BenchDir) -> [String; 3] {
    COMMANDS.map(|line| bench.run(line).answers().stdout_of_any_bytes())
}

#[track_caller]
fn read_rightly(bytes: impl AsRef<[u8]>) {
    let expected = answers(&BenchDir::invented());
    assert_eq!(answers(&BenchDir::new().toml(TOML).points(bytes)), expected);
}

#[test]
fn semicolons_with_decimal_commas() {
    read_rightly(Sheet::invented().written(";", "\n").replace('.', ","));
}

#[test]
fn tabs_with_decimal_points_and_with_decimal_commas() {
    read_rightly(Sheet::invented().written("\t", "\n"));
    read_rightly(Sheet::invented().written("\t", "\n").replace('.', ","));
}

#[test]
fn line_ends_and_byte_order_marks() {
    let sheet = Sheet::invented();
    read_rightly(sheet.written(",", "\r\n"));
    read_rightly(sheet.written(",", "\r"));
    read_rightly(format!("\u{feff}{POINTS}"));
    read_rightly(format!(
        "\u{feff}{}",
        sheet.written(";", "\r\n").replace('.', ",")
    ));
    read_rightly(sheet.csv().trim_end());
}

#[test]
fn quotes_blanks_comments_and_empty_rows() {
    let mut quoted = Sheet::invented();
    quoted
        .headings
        .iter_mut()
        .chain(quoted.rows.iter_mut().flatten())
        .for_each(|c| *c = format!("\"{c}\""));
    read_rightly(quoted.csv());
    let mut padded = Sheet::invented();
    padded
        .rows
        .iter_mut()
        .flatten()
        .for_each(|c| *c = format!("  {c} "));
    read_rightly(padded.csv());
    let mut lines: Vec<String> = Sheet::invented().csv().lines().map(str::to_owned).collect();
    for i in (0..lines.len()).rev().step_by(5) {
        lines.insert(i, "# a remark, with a comma".to_owned());
        lines.insert(i, ",,,,,,,,,,,,,".to_owned());
        lines.insert(i, String::new());
    }
    // The first line left must be the headings: an empty row above them would be taken for them.
    let at = lines.iter().position(|l| l.starts_with("run,")).unwrap();
    read_rightly(lines[at..].join("\n"));
}

#[test]
fn columns_and_rows_that_spreadsheets_leave_behind() {
    let csv = Sheet::invented().csv();
    read_rightly(csv.lines().map(|l| format!("{l},,\n")).collect::<String>());
    let (headings, rows) = csv.split_once('\n').unwrap();
    read_rightly(format!("{headings},,\n{rows}"));
    read_rightly(format!("{headings}\n{}", rows.replace('\n', ",,\n")));
    read_rightly(format!("{csv},,,,,,,,,,,,,\n,,,,,,,,,,,,,\n"));
}

#[test]
fn columns_in_any_order_and_units_in_any_spelling() {
    let mut turned = Sheet::invented();
    turned.headings.reverse();
    turned.rows.iter_mut().for_each(|r| r.reverse());
    read_rightly(turned.csv());
    let spelt = Sheet::invented()
        .heading("intake_temp", "intake_temp [°C]")
        .heading("outlet_temp", " outlet_temp  [ celsius ] ")
        .heading("airflow", "airflow [m³/h]")
        .heading("intake_rh", "intake_rh [%RH]")
        .heading("power", "power [watts]");
    read_rightly(spelt.csv());
    let signs = Sheet::invented()
        .each("intake_temp", |c| format!("+{c}"))
        .each("power", |c| format!("{c}e0"));
    read_rightly(signs.csv());
}

#[test]
fn draw_from_voltage_and_current_where_there_is_no_power() {
    let product = |sheet: Sheet| {
        let (v, i) = (sheet.column("voltage"), sheet.column("current"));
        let mut out = sheet.clone();
        let p = sheet.column("power");
        for row in &mut out.rows {
            let w = row[v].parse::<f64>().unwrap() * row[i].parse::<f64>().unwrap();
            row[p] = w.to_string();
        }
        out
    };
    let both = answers(
        &BenchDir::new()
            .toml(TOML)
            .points(product(Sheet::invented()).csv()),
    );
    let meter = answers(
        &BenchDir::new()
            .toml(TOML)
            .points(Sheet::invented().drop(&["power"]).csv()),
    );
    assert_eq!(both, meter);
}

#[test]
fn a_manifest_in_any_line_ends() {
    let expected = answers(&BenchDir::invented());
    for toml in [TOML.replace('\n', "\r\n"), format!("\u{feff}{TOML}")] {
        assert_eq!(
            answers(&BenchDir::new().toml(toml).points(POINTS)),
            expected
        );
    }
}

#[test]
fn a_table_alone_and_a_bench_by_its_manifest() {
    let bench = BenchDir::invented();
    let by_manifest = bench
        .run_on(std::path::Path::new("bench.toml"), "fit --json")
        .answers();
    assert_eq!(by_manifest.stdout, bench.run("fit --json").answers().stdout);
    let alone = BenchDir::new().file("mine.csv", POINTS);
    let on = |line: &str| -> Outcome {
        alone
            .run_on(std::path::Path::new("mine.csv"), line)
            .answers()
    };
    assert!(
        on("check --json")
            .finding_codes()
            .contains(&"no-manifest".to_owned())
    );
    let draw = |o: &Outcome| o.json()["draw"]["residual_sd_w"].clone();
    assert_eq!(draw(&on("fit --json")), draw(&by_manifest));
}
