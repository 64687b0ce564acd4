// What is thrown at each parser, and what must hold of the answer. Shared by the fuzz targets of this folder and by
// `tests/fuzz_smoke.rs`. A target may refuse any input; it may not panic, hang, or take memory beyond its input's due.

use std::io::{Cursor, Write as _};

use steadydraw::bench::logs::{LogBench, TimeFormat};
use steadydraw::bench::table::Table;
use steadydraw::bench::{Bench, BenchError, Reads, Source};
use steadydraw::fit::{ColumnFile, Equation, least_squares};
use steadydraw::logs::clock::{Clock, zone};
use steadydraw::logs::number::{self, Cell};
use steadydraw::logs::stamp::{Stamp, StampCursor, StampReader};
use steadydraw::quantity::{
    Accuracy, Dimension, Heading, Unit, parse_quantity, parse_quantity_written,
};
use steadydraw::stats::{chi_square, f, normal, student_t};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// A target: its name and what it does with some bytes.
pub type Target = (&'static str, fn(&[u8]));

/// All targets.
pub const ALL: [Target; 8] = [
    ("bench_toml", bench_toml),
    ("tables", tables),
    ("times", times),
    ("units", units),
    ("equations", equations),
    ("spreadsheets", spreadsheets),
    ("logs", logs),
    ("numerics", numerics),
];

const POINTS: &str = "run,kind,mode,fan,block,intake_temp [degC],ambient_temp [degC],airflow [m3/h],power [W]\n\
r1,cooling,eco,1,a,24,23,200,110\nr2,cooling,eco,2,a,28,25,300,150\nr3,fan-only,,1,a,24,23,200,9\n";

const RUNS: &str = "run,kind,mode,fan,block,start,end\nr1,cooling,eco,1,a,2026-08-25 09:00:00,2026-08-25 09:40:00\n";

const LOG: &str = "time,V,A\n2026-08-25 09:00:00,25.5,4.1\n2026-08-25 09:00:10,25.5,4.2\n";

fn bench_of(toml: &[u8], points: &[u8]) -> Result<Bench, BenchError> {
    Bench::from_source(&Source::in_memory(
        [("bench.toml", toml), ("points.csv", points)],
        &Reads::default(),
    ))
}

/// A refusal must say something that can be shown: no control characters but line ends, and not without bound.
fn shown(e: &BenchError) {
    let text = e.to_string();
    assert!(!text.is_empty() && text.len() < 200_000);
    assert!(
        !text.chars().any(|c| c.is_control() && c != '\n'),
        "a message with control characters: {text:?}"
    );
}

/// `bench.toml`, as every command reads it and as `reduce` does.
pub fn bench_toml(data: &[u8]) {
    match bench_of(data, POINTS.as_bytes()) {
        Err(e) => shown(&e),
        Ok(bench) => {
            assert!(bench.pressure_pa.is_finite() && bench.pressure_pa > 0.0);
            for i in &bench.instruments {
                for reading in [-10.0, 0.0, 25.0, 1e6] {
                    let u = i.standard_u(reading);
                    assert!(u.is_finite() && u >= 0.0, "{u}");
                }
            }
        }
    }
    let files = [
        ("bench.toml", data),
        ("points.csv", POINTS.as_bytes()),
        ("runs.csv", RUNS.as_bytes()),
        ("log.csv", LOG.as_bytes()),
    ];
    if let Err(e) = LogBench::from_source(Source::in_memory(files, &Reads::default())) {
        shown(&e);
    }
}

const TOML: &str = "title = \"t\"\n[points]\nfile = \"points.csv\"\n";

/// Tables: of points, of run windows, of columns to fit.
pub fn tables(data: &[u8]) {
    match bench_of(TOML.as_bytes(), data) {
        Err(e) => shown(&e),
        Ok(bench) => {
            for p in &bench.points {
                assert!(!p.draw_w().is_infinite());
            }
        }
    }
    let toml = "[runs]\nfile = \"runs.csv\"\n[[log]]\nfile = \"log.csv\"\n[log.time]\ncolumn = \"time\"\nformat = \"iso\"\nzone = \"Europe/London\"\n[log.channels]\nvoltage = { column = \"V\", unit = \"V\" }\n";
    let files = [("bench.toml", toml.as_bytes()), ("runs.csv", data)];
    if let Err(e) = LogBench::from_source(Source::in_memory(files, &Reads::default())) {
        shown(&e);
    }
    match ColumnFile::from_bytes("data.csv", data.to_vec()) {
        Err(e) => shown(&e),
        Ok(file) => {
            let wanted: Vec<String> = file.headings().iter().take(8).cloned().collect();
            match file.numbers(&wanted) {
                Err(e) => shown(&e),
                Ok(n) => assert!(n.columns.iter().flatten().all(|v| v.is_finite())),
            }
        }
    }
}

/// Time stamps in every format: the first line is a pattern, the second a zone, the others are stamps.
pub fn times(data: &[u8]) {
    let mut lines = data.split(|b| *b == b'\n');
    let pattern = String::from_utf8_lossy(lines.next().unwrap_or_default()).into_owned();
    let zone_name = String::from_utf8_lossy(lines.next().unwrap_or_default()).into_owned();
    let stamps: Vec<&[u8]> = lines.take(16).collect();
    let place = zone(&zone_name);
    for (format, dated) in [
        (TimeFormat::Pattern(pattern), false),
        (TimeFormat::Iso, true),
        (TimeFormat::Unix(1000.0), false),
        (TimeFormat::Elapsed(1.0), true),
        (TimeFormat::ElapsedClock, true),
    ] {
        let Ok(reader) = StampReader::new(&format, Some(2026), false) else {
            continue;
        };
        let reader = reader.with_dates(dated);
        let mut cursor = StampCursor::new(&reader);
        let mut clock = Clock::new(place.clone(), 0.0);
        for stamp in &stamps {
            let plain = reader.read(stamp);
            // What is read by its likeness to the stamp before must be what is read from scratch.
            if let Some((quick, n)) = cursor.same_minute(stamp) {
                let alone = reader.read(&stamp[..n]);
                assert_eq!(
                    Ok(quick),
                    alone,
                    "{format:?} {:?}",
                    String::from_utf8_lossy(stamp)
                );
            }
            assert_eq!(cursor.read(stamp), plain);
            if let Ok(read) = plain {
                let (Stamp::Instant(t) | Stamp::Local(t)) = read;
                assert!(t.is_finite(), "{format:?} {stamp:?}");
                if let Some(moment) = clock.moment(read) {
                    assert!(moment.is_finite());
                }
            }
        }
    }
}

const DIMENSIONS: [Dimension; 18] = [
    Dimension::Temperature,
    Dimension::TemperatureDifference,
    Dimension::Power,
    Dimension::Voltage,
    Dimension::Current,
    Dimension::Charge,
    Dimension::Energy,
    Dimension::Speed,
    Dimension::Flow,
    Dimension::Pressure,
    Dimension::Fraction,
    Dimension::Time,
    Dimension::Length,
    Dimension::Area,
    Dimension::Mass,
    Dimension::MassRate,
    Dimension::Resistance,
    Dimension::Number,
];

/// Units, quantities, accuracy statements, headings, and the numbers in cells.
pub fn units(data: &[u8]) {
    for comma in [false, true] {
        if let Cell::Number(v) = number::read(data, comma) {
            assert!(v.is_finite());
        }
    }
    let Ok(text) = std::str::from_utf8(data) else {
        return;
    };
    // A plain number is read to the nearest double, as the standard library reads it.
    let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    if let (true, Ok(v), Cell::Number(w)) = (plain, text.parse::<f64>(), number::read(data, false))
    {
        assert_eq!(v.to_bits(), w.to_bits(), "{text}");
    }
    if let Ok(unit) = Unit::parse(text) {
        assert_eq!(Unit::parse(unit.symbol()).as_ref(), Ok(&unit), "{text}");
        for v in [-40.0, 0.0, 0.37, 25.0, 1e6] {
            let back = unit.from_si(unit.to_si(v));
            assert!(
                (back - v).abs() <= 1e-12 * (1.0 + v.abs()) + 1e-9,
                "{text}: {v} {back}"
            );
        }
    }
    if let Err(e) = Heading::parse(text) {
        assert!(!e.to_string().is_empty());
    }
    // All dimensions in turn would mostly measure how fast near names are found for the message.
    let first = data.iter().fold(0_usize, |sum, b| sum + usize::from(*b));
    for want in [0, 5, 11].map(|step| DIMENSIONS[(first + step) % DIMENSIONS.len()]) {
        match parse_quantity(text, want) {
            Ok(v) => {
                assert!(v.is_finite());
                let written = parse_quantity_written(text, want);
                assert!(written.is_ok(), "{text}");
            }
            Err(e) => assert!(!e.to_string().is_empty()),
        }
        if let Ok(a) = Accuracy::parse(text, want) {
            let limit = a.limit_at(25.0);
            assert!(limit >= 0.0 && !limit.is_nan(), "{text}: {limit}");
        }
    }
}

/// Equations: read, sorted into columns and parameters, evaluated with and without derivatives.
pub fn equations(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else {
        return;
    };
    let equation = match Equation::parse(text) {
        Ok(e) => e,
        Err(e) => {
            assert!(!e.to_string().is_empty() && !e.picture().is_empty());
            assert!(e.column() <= text.chars().count() + 1);
            return;
        }
    };
    let columns = ["x".to_owned(), "y".to_owned()];
    let Ok(curve) = equation.with_columns(&columns) else {
        return;
    };
    let rows = [0.0, 0.5, -1.0, 30.0, 1e300];
    let named: Vec<Vec<f64>> = curve
        .columns()
        .iter()
        .map(|c| {
            rows.iter()
                .map(|v| if c == "x" { *v } else { 2.0 * v })
                .collect()
        })
        .collect();
    let parameters: Vec<f64> = (0..curve.parameters().len())
        .map(|i| 0.7 + i as f64)
        .collect();
    let plain = curve.right_values::<f64, _>(&parameters, &named, rows.len());
    let on = curve.on_data(&named, rows.len());
    let mut values = vec![0.0; rows.len()];
    let mut jacobian = vec![0.0; rows.len() * parameters.len()];
    on.with_derivatives(&parameters, &mut values, &mut jacobian);
    let mut again = vec![0.0; rows.len()];
    on.values(&parameters, |i, v| again[i] = v);
    // The three ways to evaluate agree; where one has no number, all have none. A rounding ahead of an angle of many turns is
    // another angle.
    if ["sin", "cos", "tan"].iter().any(|f| text.contains(f)) {
        return;
    }
    let alike = |a: f64, b: f64| {
        a.is_nan() && b.is_nan() || a == b || (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
    };
    for i in 0..rows.len() {
        assert!(
            alike(plain[i], again[i]) && alike(plain[i], values[i]),
            "{text}: row {i}: {} {} {}",
            plain[i],
            again[i],
            values[i]
        );
    }
}

/// An archive of these entries.
fn zipped(entries: &[(&str, &[u8])]) -> Vec<u8> {
    let mut out = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    for (name, bytes) in entries {
        if out.start_file(*name, stored).is_err() || out.write_all(bytes).is_err() {
            return Vec::new();
        }
    }
    out.finish().map(Cursor::into_inner).unwrap_or_default()
}

const TYPES: &[u8] = br#"<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/></Types>"#;
const RELS: &[u8] = br#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>"#;
const BOOK: &[u8] = br#"<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="Runs" sheetId="1" r:id="rId1"/></sheets></workbook>"#;
const BOOK_RELS: &[u8] = br#"<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="rId2" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings" Target="sharedStrings.xml"/><Relationship Id="rId3" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/styles" Target="styles.xml"/></Relationships>"#;
const SHEET: &[u8] = br#"<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="inlineStr"><is><t>power [W]</t></is></c></row><row r="2"><c r="A2" t="s"><v>1</v></c><c r="B2" s="1"><v>110.5</v></c></row></sheetData></worksheet>"#;
const STRINGS: &[u8] = br#"<?xml version="1.0"?><sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" count="2" uniqueCount="2"><si><t>run</t></si><si><t>r1</t></si></sst>"#;
const STYLES: &[u8] = br#"<?xml version="1.0"?><styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><numFmts count="1"><numFmt numFmtId="164" formatCode="yyyy\-mm\-dd hh:mm"/></numFmts><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="164"/></cellXfs></styleSheet>"#;

/// Workbooks: the first byte says which part of a sound one the rest stands for; `z` for a whole file.
pub fn spreadsheets(data: &[u8]) {
    let Some((part, rest)) = data.split_first() else {
        return;
    };
    let (name, bytes) = match part {
        b'z' => ("b.xlsx", rest.to_vec()),
        b'Z' => ("b.ods", rest.to_vec()),
        b'o' => (
            "b.ods",
            zipped(&[
                (
                    "mimetype",
                    b"application/vnd.oasis.opendocument.spreadsheet",
                ),
                ("content.xml", rest),
            ]),
        ),
        part => {
            let or = |which: u8, sound: &'static [u8]| if *part == which { rest } else { sound };
            let entries: [(&str, &[u8]); 7] = [
                ("[Content_Types].xml", or(b't', TYPES)),
                ("_rels/.rels", or(b'r', RELS)),
                ("xl/workbook.xml", or(b'b', BOOK)),
                ("xl/_rels/workbook.xml.rels", or(b'l', BOOK_RELS)),
                ("xl/sharedStrings.xml", or(b's', STRINGS)),
                ("xl/styles.xml", or(b'y', STYLES)),
                (
                    "xl/worksheets/sheet1.xml",
                    if b"trblsy".contains(part) {
                        SHEET
                    } else {
                        rest
                    },
                ),
            ];
            ("b.xlsx", zipped(&entries))
        }
    };
    let mut findings = Vec::new();
    match Table::open(name, &bytes, &mut findings) {
        Ok(table) => assert!(
            table
                .rows
                .iter()
                .all(|(_, cells)| cells.len() == table.columns.len())
        ),
        Err(e) => shown(&e),
    }
}

/// Logs, sorted into a run: headings found out, numbers, times, clocks, drop-outs.
pub fn logs(data: &[u8]) {
    let Some((kind, rest)) = data.split_first() else {
        return;
    };
    let format = ["iso", "unix", "elapsed_s", "%d/%m/%Y %H:%M:%S"][usize::from(kind & 3)];
    let more = if kind & 4 == 0 { "" } else { "unit_rows = 1\n" };
    let toml = format!(
        "[runs]\nfile = \"runs.csv\"\n[[log]]\nfile = \"log.csv\"\n{more}[log.time]\ncolumn = \"time\"\nformat = \"{format}\"\nzone = \"Europe/London\"\n[log.channels]\nvoltage = {{ column = \"V\", unit = \"V\" }}\ncurrent = {{ column = \"A\", unit = \"A\" }}\n"
    );
    let runs = match kind & 3 {
        1 => {
            "run,kind,mode,fan,block,start,end\nr1,cooling,eco,1,a,2026-08-25 09:00:00,2026-08-25 09:40:00\n"
        }
        2 => "run,kind,mode,fan,block,start [s],end [s]\nr1,cooling,eco,1,a,0,2400\n",
        _ => RUNS,
    };
    let files = [
        ("bench.toml", toml.as_bytes()),
        ("runs.csv", runs.as_bytes()),
        ("log.csv", rest),
    ];
    match LogBench::from_source(Source::in_memory(files, &Reads::default())) {
        Err(e) => shown(&e),
        Ok(bench) => match steadydraw::steady::reduce(&bench) {
            Err(e) => shown(&e),
            Ok(reduction) => {
                for run in &reduction.runs {
                    if let Some(plateau) = &run.judged.plateau {
                        for mean in plateau.values.values() {
                            assert!(mean.value.is_finite());
                        }
                    }
                }
            }
        },
    }
}

/// A few numbers that break formulas, and whatever eight bytes may be.
fn numbers(data: &[u8]) -> Vec<f64> {
    const ODD: [f64; 16] = [
        0.0,
        1.0,
        -1.0,
        0.5,
        2.0,
        1e-300,
        1e300,
        -1e300,
        1e-8,
        1e8,
        25.0,
        150.0,
        1e-17,
        3.0,
        f64::MAX,
        f64::MIN_POSITIVE,
    ];
    let mut all = Vec::new();
    let mut left = data;
    while let Some((&b, rest)) = left.split_first() {
        left = rest;
        if b < 0xf0 {
            all.push(ODD[usize::from(b & 15)] * f64::from(1 + (b >> 4)));
        } else if let Some((eight, rest)) = rest.split_first_chunk::<8>() {
            left = rest;
            all.push(f64::from_bits(u64::from_le_bytes(*eight)));
        }
    }
    all
}

/// Degenerate designs: least squares on any matrix, and the distributions at any argument.
pub fn numerics(data: &[u8]) {
    let Some((shape, rest)) = data.split_first() else {
        return;
    };
    let values = numbers(rest);
    let columns = usize::from(1 + shape % 6);
    let rows = values.len() / (columns + 1);
    if (1..=40).contains(&rows) {
        let (x, y) = values.split_at(rows * columns);
        let matrix = nalgebra::DMatrix::from_column_slice(rows, columns, x);
        if let Ok(fit) = least_squares(&matrix, &y[..rows], None) {
            assert!(fit.coef.iter().all(|v| v.is_finite()));
            assert!(fit.rss.is_finite() && fit.rss >= 0.0);
        }
    }
    if let [a, b, c, ..] = values[..] {
        for p in [
            normal::cdf(a),
            student_t::cdf(a, b),
            chi_square::cdf(a, b),
            f::cdf(a, b, c),
            student_t::sf(a, b),
            f::sf(a, b, c),
        ] {
            assert!(p.is_nan() || (0.0..=1.0).contains(&p), "{a} {b} {c}: {p}");
        }
        if (0.0..=1.0).contains(&a) && b.is_finite() && b > 0.0 && c.is_finite() && c > 0.0 {
            // Any answer will do, so long as one comes.
            let _ = (
                student_t::quantile(a, b),
                chi_square::quantile(a, b),
                f::quantile(a, b, c),
            );
        }
    }
}
