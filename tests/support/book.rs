//! Workbooks made in memory: sound ones by a library that writes them, broken and hostile ones by hand.

use std::io::{Cursor, Read, Write};

use rust_xlsxwriter::Workbook;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::sheet::Sheet;

/// Writes a table into a sheet of a new workbook: cells that are numbers as numbers, others as text.
pub fn xlsx(name: &str, sheet: &Sheet) -> Vec<u8> {
    let mut book = Workbook::new();
    fill(&mut book, name, sheet);
    book.save_to_buffer().unwrap()
}

/// Adds a sheet with a table.
pub fn fill<'a>(
    book: &'a mut Workbook,
    name: &str,
    sheet: &Sheet,
) -> &'a mut rust_xlsxwriter::Worksheet {
    let page = book.add_worksheet();
    page.set_name(name).unwrap();
    for (row, cells) in std::iter::once(&sheet.headings)
        .chain(&sheet.rows)
        .enumerate()
    {
        for (column, cell) in cells.iter().enumerate() {
            let (row, column) = (row as u32, column as u16);
            match cell.parse::<f64>() {
                Ok(number) => page.write_number(row, column, number).unwrap(),
                Err(_) if cell.is_empty() => page,
                Err(_) => page.write_string(row, column, cell).unwrap(),
            };
        }
    }
    page
}

/// The same archive with some entries changed: `change` gives an entry's new content, or none to leave it out.
pub fn rezipped(bytes: &[u8], change: impl Fn(&str, String) -> Option<String>) -> Vec<u8> {
    let mut old = ZipArchive::new(Cursor::new(bytes)).unwrap();
    let mut entries = Vec::new();
    for i in 0..old.len() {
        let mut entry = old.by_index(i).unwrap();
        let name = entry.name().unwrap().into_owned();
        let mut text = String::new();
        entry.read_to_string(&mut text).unwrap();
        if let Some(text) = change(&name, text) {
            entries.push((name, text.into_bytes()));
        }
    }
    zipped(&entries)
}

/// An archive of these entries.
pub fn zipped(entries: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut out = ZipWriter::new(Cursor::new(Vec::new()));
    let packed = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    for (name, bytes) in entries {
        out.start_file(name.as_str(), packed).unwrap();
        out.write_all(bytes).unwrap();
    }
    out.finish().unwrap().into_inner()
}

/// An OpenDocument workbook whose sheets are this XML.
pub fn ods(tables: &str) -> Vec<u8> {
    ods_content(&format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?><office:document-content xmlns:office=\"o\" xmlns:table=\"t\" xmlns:text=\"x\" xmlns:style=\"s\" xmlns:calcext=\"c\"><office:automatic-styles><style:style style:name=\"gone\"><style:table-properties table:display=\"false\"/></style:style></office:automatic-styles><office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    ))
}

/// An OpenDocument workbook with this `content.xml`.
pub fn ods_content(content: &str) -> Vec<u8> {
    zipped(&[
        (
            "mimetype".to_owned(),
            b"application/vnd.oasis.opendocument.spreadsheet".to_vec(),
        ),
        ("content.xml".to_owned(), content.as_bytes().to_vec()),
        (
            "META-INF/manifest.xml".to_owned(),
            b"<manifest:manifest xmlns:manifest=\"m\"><manifest:file-entry/></manifest:manifest>"
                .to_vec(),
        ),
    ])
}

/// A table as the XML of one sheet, as spreadsheet programs write it: blank columns and rows repeated behind the cells.
pub fn ods_table(name: &str, sheet: &Sheet) -> String {
    let mut xml = format!("<table:table table:name=\"{name}\"><table:table-column/>");
    for cells in std::iter::once(&sheet.headings).chain(&sheet.rows) {
        xml.push_str("<table:table-row>");
        for cell in cells {
            xml.push_str(&match cell.parse::<f64>() {
                Ok(v) => format!(
                    "<table:table-cell office:value-type=\"float\" office:value=\"{v}\"><text:p>{v:.0}</text:p></table:table-cell>"
                ),
                Err(_) if cell.is_empty() => "<table:table-cell/>".to_owned(),
                Err(_) => format!(
                    "<table:table-cell office:value-type=\"string\"><text:p>{cell}</text:p></table:table-cell>"
                ),
            });
        }
        xml.push_str(
            "<table:table-cell table:number-columns-repeated=\"16300\"/></table:table-row>",
        );
    }
    xml.push_str("<table:table-row table:number-rows-repeated=\"1048000\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row></table:table>");
    xml
}
