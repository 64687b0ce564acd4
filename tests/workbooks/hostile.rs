//! Workbooks made to do harm: refused, in little time and memory.

use std::time::{Duration, Instant};

use steadydraw::bench::Bench;

use super::support::BenchDir;
use super::support::book::{ods, ods_content, ods_table, rezipped, xlsx, zipped};
use super::support::sheet::Sheet;

/// Far longer than a refusal takes in a debug build on a busy machine.
const SLOW: Duration = Duration::from_secs(30);

/// Asserts that the file is refused quickly, for this reason.
#[track_caller]
fn refused(file: &str, bytes: &[u8], word: &str) {
    let start = Instant::now();
    let folder = BenchDir::new().file(file, bytes);
    folder
        .run_on(file.as_ref(), "check")
        .exits(3)
        .complains(file)
        .complains(word);
    assert!(start.elapsed() < SLOW, "{word}: {:?}", start.elapsed());
}

/// A sound workbook with a piece of one of its parts replaced.
fn spoilt(part: &str, from: &str, to: &str) -> Vec<u8> {
    rezipped(&xlsx("Points", &Sheet::invented()), |name, text| {
        if name != part {
            return Some(text);
        }
        assert!(text.contains(from), "{from} in {text:.2000}");
        Some(text.replacen(from, to, 1))
    })
}

const SHEET: &str = "xl/worksheets/sheet1.xml";

#[test]
fn an_archive_that_unpacks_without_end_is_refused() {
    // A mark now and then, so that no piece of it is endless.
    let blanks = format!("{}<a/>", " ".repeat(100_000)).repeat(640);
    let bomb = spoilt(SHEET, "<sheetData>", &format!("<sheetData>{blanks}"));
    assert!(bomb.len() < 200_000);
    refused("bomb.xlsx", &bomb, "times its size");
    let aside = zipped(&[
        ("[Content_Types].xml".to_owned(), b"<Types/>".to_vec()),
        ("xl/media/picture.png".to_owned(), vec![0; 64 << 20]),
    ]);
    refused("aside.xlsx", &aside, "times its size");
    let content = ods_content(&format!("<a>{blanks}</a>"));
    refused("bomb.ods", &content, "times its size");
    let many: Vec<(String, Vec<u8>)> = (0..10_001).map(|i| (format!("e{i}"), Vec::new())).collect();
    refused("many.xlsx", &zipped(&many), "10001 entries");
}

#[test]
fn one_endless_piece_of_xml_is_refused() {
    // Text that does not shrink, so that the ratio gives no hint.
    let mut state = 1_u64;
    let text: String = (0..3 << 20)
        .map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            char::from(b'a' + (state >> 60) as u8)
        })
        .collect();
    let long = spoilt(SHEET, "<sheetData>", &format!("<sheetData>{text}"));
    refused("long.xlsx", &long, "in one piece");
}

#[test]
fn counts_and_places_that_are_lies_are_refused_or_harmless() {
    let strings = "xl/sharedStrings.xml";
    let lie = rezipped(&xlsx("Points", &Sheet::invented()), |name, text| {
        Some(if name == strings {
            let at = text.find("uniqueCount=\"").unwrap() + 13;
            format!("{}9999999999{}", &text[..at], &text[at..])
        } else {
            text
        })
    });
    refused("lie.xlsx", &lie, "more shared texts than are read");
    for (to, word) in [
        (
            "<c r=\"AAAAAAAAAAAAAAAAAAAA1\"><v>1</v></c>",
            "the cell name",
        ),
        (
            "<c r=\"A99999999999999999999\"><v>1</v></c>",
            "the cell name",
        ),
        ("<c r=\"XFE1\"><v>1</v></c>", "the cell name"),
        ("<c r=\"A0\"><v>1</v></c>", "the cell name"),
        ("<c r=\"1\"><v>1</v></c>", "the cell name"),
    ] {
        let cell = spoilt(SHEET, "<c ", &format!("{to}<c "));
        refused("cell.xlsx", &cell, word);
    }
    let row = spoilt(SHEET, "<row r=\"2\"", "<row r=\"4294967296\"");
    refused("row.xlsx", &row, "4294967296");
    let twice = spoilt(
        SHEET,
        "</sheetData>",
        "<row r=\"2\"><c r=\"A2\"><v>1</v></c></row></sheetData>",
    );
    refused("twice.xlsx", &twice, "stands before the one ahead of it");
    let string = spoilt(
        SHEET,
        "</sheetData>",
        "<row r=\"900\"><c r=\"A900\" t=\"s\"><v>77777</v></c></row></sheetData>",
    );
    refused("string.xlsx", &string, "after cell");
    let backwards = rezipped(&xlsx("Points", &Sheet::invented()), |name, text| {
        Some(
            match text.find("<dimension ref=\"").filter(|_| name == SHEET) {
                Some(at) => {
                    let from = at + 16;
                    let end = from + text[from..].find('"').unwrap();
                    format!("{}C9:A1{}", &text[..from], &text[end..])
                }
                None => text,
            },
        )
    });
    refused("backwards.xlsx", &backwards, "runs backwards");
}

#[test]
fn a_sheet_said_to_reach_to_the_last_cell_is_read_if_it_does_not() {
    let wide = rezipped(&xlsx("Points", &Sheet::invented()), |name, text| {
        Some(
            match text.find("<dimension ref=\"").filter(|_| name == SHEET) {
                Some(at) => {
                    let from = at + 16;
                    let end = from + text[from..].find('"').unwrap();
                    format!("{}A1:XFD1048576{}", &text[..from], &text[end..])
                }
                None => text,
            },
        )
    });
    let folder = BenchDir::new().file("wide.xlsx", &wide);
    folder.run_on("wide.xlsx".as_ref(), "check").exits(0);
    let stray = spoilt(
        SHEET,
        "</sheetData>",
        "<row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row></sheetData>",
    );
    refused("stray.xlsx", &stray, "stray.xlsx#Points, cell XFD1048576");
}

#[test]
fn billions_of_repeated_cells_are_refused() {
    let row = |cells: &str, times: u64| {
        format!(
            "<table:table table:name=\"A\"><table:table-row table:number-rows-repeated=\"{times}\">{cells}</table:table-row></table:table>"
        )
    };
    let cell = "<table:table-cell table:number-columns-repeated=\"16384\" office:value-type=\"float\" office:value=\"1\"/>";
    refused("wide.ods", &ods(&row(cell, 1_048_576)), "40 million cells");
    let endless = cell.replace("16384", "99999999999999999999999");
    refused(
        "endless.ods",
        &ods(&row(&endless, 999_999_999_999)),
        "40 million cells",
    );
    refused(
        "many.ods",
        &ods(&row(&cell.repeat(3), 2)),
        "at most 2000 columns",
    );
    let blanks = "<table:table-cell office:value-type=\"string\"><text:p>a<text:s text:c=\"4000000000\"/>b</text:p></table:table-cell>";
    refused("blanks.ods", &ods(&row(blanks, 2)), "blanks.ods#A");
    let long = format!(
        "<table:table-cell office:value-type=\"string\" table:number-columns-repeated=\"16384\"><text:p>{}</text:p></table:table-cell>",
        "x".repeat(60_000)
    );
    refused("long.ods", &ods(&row(&long, 1_000)), "256 MB of text");
}

#[test]
fn declared_entities_and_deep_nesting_are_refused() {
    let entities =
        "<!DOCTYPE a [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\">]>";
    let declared = spoilt(SHEET, "<worksheet", &format!("{entities}<worksheet"));
    refused("entities.xlsx", &declared, "document type declaration");
    refused(
        "entities.ods",
        &ods_content(&format!("{entities}<a>&b;</a>")),
        "document type declaration",
    );
    let deep = spoilt(SHEET, "<sheetData>", &"<a>".repeat(100_000));
    refused("deep.xlsx", &deep, "nested");
    refused("deep.ods", &ods(&"<table:a>".repeat(100_000)), "nested");
}

#[test]
fn archives_that_are_no_workbook_are_told_from_damaged_ones() {
    let inner = ("logs/book.xlsx".to_owned(), xlsx("P", &Sheet::invented()));
    refused("nested.xlsx", &zipped(&[inner]), "unpack it");
    let other = zipped(&[("readme.txt".to_owned(), b"hello".to_vec())]);
    refused("other.xlsx", &other, "no workbook");
    let mut entries = vec![("[Content_Types].xml".to_owned(), b"<Types/>".to_vec())];
    refused("hollow.xlsx", &zipped(&entries), "hollow.xlsx");
    entries.push(("xl/vbaProject.bin".to_owned(), vec![1, 2, 3]));
    refused("macros.xlsx", &zipped(&entries), "macros");
    let locked = zipped(&[
        (
            "mimetype".to_owned(),
            b"application/vnd.oasis.opendocument.spreadsheet".to_vec(),
        ),
        ("content.xml".to_owned(), b"\x8f\x12".to_vec()),
        (
            "META-INF/manifest.xml".to_owned(),
            b"<manifest:manifest><manifest:file-entry><manifest:encryption-data/></manifest:file-entry></manifest:manifest>".to_vec(),
        ),
    ]);
    refused("locked.ods", &locked, "password");
    // The flag of an encrypted entry, in the local and in the central header.
    let mut flagged = xlsx("P", &Sheet::invented());
    let central = flagged.windows(4).position(|w| w == b"PK\x01\x02").unwrap();
    flagged[6] |= 1;
    flagged[central + 8] |= 1;
    refused("flagged.xlsx", &flagged, "password");
}

#[test]
fn spoilt_bytes_never_do_worse_than_a_refusal() {
    let folder = tempfile::tempdir().unwrap();
    let books = [
        ("a.xlsx", xlsx("Points", &Sheet::invented())),
        ("a.ods", ods(&ods_table("Points", &Sheet::invented()))),
    ];
    let mut state = 7_u64;
    let mut dice = |n: usize| {
        // Knuth's constants for a 64-bit linear congruential generator (from memory); any dice will do.
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % n
    };
    let tokens = [
        "<c ",
        "</c>",
        "<v>",
        "r=\"",
        "\"",
        "<",
        ">",
        "99999999999",
        "-1",
        "t=\"e\"",
        "t=\"d\"",
        "&#0;",
        "&amp;",
        "<row>",
        "s=\"9\"",
        "A1:B2",
        "é",
        "]]>",
        "<!--",
    ];
    let mut read = 0;
    for round in 0..400 {
        for (name, sound) in &books {
            let spoilt = if round % 4 == 0 {
                let mut bytes = sound.clone();
                for _ in 0..=dice(4) {
                    let at = dice(bytes.len());
                    bytes[at] = dice(256) as u8;
                }
                bytes
            } else {
                let picks: Vec<usize> = (0..64).map(|_| dice(1 << 30)).collect();
                let nth = std::cell::Cell::new(0);
                rezipped(sound, |_, text| {
                    let pick = || {
                        nth.set(nth.get() + 1);
                        picks[nth.get() % picks.len()]
                    };
                    if pick() % 3 > 0 {
                        return Some(text);
                    }
                    let chars: Vec<char> = text.chars().collect();
                    let at = pick() % chars.len().max(1);
                    let cut = pick() % 12;
                    let head: String = chars.iter().take(at).collect();
                    let tail: String = chars.iter().skip(at + cut).collect();
                    Some(format!("{head}{}{tail}", tokens[pick() % tokens.len()]))
                })
            };
            let path = folder.path().join(name);
            std::fs::write(&path, spoilt).unwrap();
            read += usize::from(Bench::open(&path).is_ok());
        }
    }
    // Some changes hit nothing that matters, most do.
    assert!(read > 0 && read < 800, "{read}");
}
