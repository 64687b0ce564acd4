//! The archive that a workbook is: what kind, and whether it keeps within limits.

use std::cell::Cell;
use std::io::{self, BufReader, Cursor, Read};

use zip::ZipArchive;
use zip::result::ZipError;

use super::MAX_PACKED_BYTES;
use super::gate::Facts;
use crate::bench::error::{BenchError, Fault, Place};
use crate::bench::text::{clip, clip_sentence};

/// Entries in an archive: a sheet, its drawings and their relations are a few each.
const MAX_ENTRIES: usize = 10_000;
/// Bytes of one inflated entry: a sheet of a million rows of eight readings is about 300 MB of XML.
const MAX_ENTRY_BYTES: u64 = 768 << 20;
/// Bytes of all inflated entries together.
const MAX_BYTES: u64 = 1 << 30;
/// Inflated bytes for one packed byte. Sheets have been seen to shrink 10 to 60 times; the most that the method can do is about 1030.
const MAX_RATIO: u64 = 250;
/// Below so many inflated bytes the ratio says nothing.
const RATIO_FROM: u64 = 4 << 20;
/// Bytes between two marks `<` or `>`. A cell holds at most 32,767 characters.
const MAX_RUN: usize = 1 << 20;

/// What kind of workbook an archive is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Office Open XML (ECMA-376).
    Xlsx,
    /// OpenDocument (ISO/IEC 26300).
    Ods,
}

/// An archive that keeps within the limits.
pub(super) struct Book {
    pub kind: Kind,
    /// What was seen in the XML of an `.xlsx`.
    pub facts: Facts,
}

/// Which limit an entry broke.
#[derive(Clone, Copy, Debug)]
enum Excess {
    Bytes,
    Ratio,
    Run,
}

/// Reads an entry, counting.
pub(super) struct Guarded<'a, R> {
    inner: R,
    packed: u64,
    read: u64,
    /// Bytes that may still be read of the whole archive.
    left: &'a Cell<u64>,
    run: usize,
    /// Whether the entry is XML.
    marked: bool,
    broke: &'a Cell<Option<Excess>>,
}

impl<R: Read> Read for Guarded<'_, R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.inner.read(buffer)?;
        let bytes = n as u64;
        self.read += bytes;
        let mut excess = None;
        if self.read > MAX_ENTRY_BYTES || bytes > self.left.get() {
            excess = Some(Excess::Bytes);
        }
        self.left.set(self.left.get().saturating_sub(bytes));
        if self.read > RATIO_FROM && self.read / MAX_RATIO > self.packed {
            excess = Some(Excess::Ratio);
        }
        if self.marked {
            let new = buffer.get(..n).unwrap_or_default();
            let is_mark = |b: &u8| matches!(*b, b'<' | b'>');
            match new.iter().rposition(is_mark) {
                Some(last) => {
                    let first = new.iter().position(is_mark).unwrap_or(last);
                    if self.run + first > MAX_RUN {
                        excess = Some(Excess::Run);
                    }
                    self.run = n - last - 1;
                }
                None => self.run += n,
            }
            if self.run > MAX_RUN {
                excess = Some(Excess::Run);
            }
        }
        match excess {
            None => Ok(n),
            Some(excess) => {
                self.broke.set(Some(excess));
                Err(io::Error::other("beyond the limits of a workbook"))
            }
        }
    }
}

/// A fault of the archive as a whole.
pub(super) fn fault(file: &str, found: impl Into<String>, remedy: &str) -> BenchError {
    Fault::new(
        Place::file(clip(file)),
        found,
        "a workbook in .xlsx or .ods, as a spreadsheet program writes it",
    )
    .remedy(remedy)
    .into()
}

/// What to do with a file that is damaged.
pub(super) const AGAIN: &str =
    "open it in the spreadsheet program and save it again as .xlsx, or save the sheet as CSV";
/// What to do with a file that is too large.
const TOO_LARGE: &str = "save the sheet that is needed as CSV: text logs of any size are read";

fn damaged(file: &str, error: &ZipError) -> BenchError {
    fault(
        file,
        format!(
            "a damaged or cut-off archive ({})",
            clip_sentence(&error.to_string())
        ),
        AGAIN,
    )
}

/// Checks that the bytes are a workbook within the limits, every entry inflated once.
pub(super) fn open(file: &str, bytes: &[u8]) -> Result<Book, BenchError> {
    if bytes.len() as u64 > MAX_PACKED_BYTES {
        let found = format!("{} MB", bytes.len() >> 20);
        return Err(fault(file, found, TOO_LARGE));
    }
    if !bytes.starts_with(b"PK\x03\x04") {
        return Err(no_archive(file, bytes));
    }
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|e| damaged(file, &e))?;
    if zip.len() > MAX_ENTRIES {
        let found = format!("an archive of {} entries", zip.len());
        return Err(fault(file, found, AGAIN));
    }
    let kind = kind_of(file, &mut zip)?;
    let left = Cell::new(MAX_BYTES);
    let mut facts = Facts::default();
    for index in 0..zip.len() {
        let name = {
            let raw = zip.by_index_raw(index).map_err(|e| damaged(file, &e))?;
            let name = raw.name().map_err(|e| damaged(file, &e))?.into_owned();
            if raw.encrypted() {
                return Err(locked(file));
            }
            name
        };
        if kind == Kind::Ods && !ods_needs(&name) {
            continue;
        }
        let entry = zip.by_index(index).map_err(|e| damaged(file, &e))?;
        let broke = Cell::new(None);
        let marked = is_xml(&name);
        let mut reader = Guarded {
            packed: entry.compressed_size().min(bytes.len() as u64),
            inner: entry,
            read: 0,
            left: &left,
            run: 0,
            marked,
            broke: &broke,
        };
        let walked = if marked && kind == Kind::Xlsx {
            facts.walk(&name, BufReader::new(&mut reader))
        } else {
            io::copy(&mut reader, &mut io::sink())
                .map(|_| ())
                .map_err(|e| e.to_string())
        };
        if let Some(excess) = broke.get() {
            return Err(over(file, &name, excess));
        }
        if let Err(found) = walked {
            let found = format!(
                "an entry `{}` that cannot be read: {}",
                clip(&name),
                clip_sentence(&found)
            );
            return Err(fault(file, found, AGAIN));
        }
    }
    Ok(Book { kind, facts })
}

/// The entries of an `.ods` that are read.
fn ods_needs(name: &str) -> bool {
    matches!(name, "content.xml" | "mimetype" | "META-INF/manifest.xml")
}

pub(super) fn is_xml(name: &str) -> bool {
    let lower = name.to_ascii_lowercase();
    lower.ends_with(".xml") || lower.ends_with(".rels")
}

fn kind_of(file: &str, zip: &mut ZipArchive<Cursor<&[u8]>>) -> Result<Kind, BenchError> {
    let names: Vec<String> = (0..zip.len())
        .filter_map(|i| zip.name_for_index(i).and_then(Result::ok))
        .map(|n| n.to_ascii_lowercase())
        .collect();
    let has = |end: &str| names.iter().any(|n| n.ends_with(end));
    if has("vbaproject.bin") {
        return Err(fault(
            file,
            "a workbook with programs (macros) inside",
            "save it as .xlsx without them, or the sheet as CSV",
        ));
    }
    if has("xl/workbook.bin") {
        return Err(fault(
            file,
            "a binary workbook (.xlsb)",
            "save it as .xlsx, or the sheet as CSV",
        ));
    }
    if names.iter().any(|n| n == "[content_types].xml") {
        return Ok(Kind::Xlsx);
    }
    let mut head = [0; 46];
    let is_ods = match zip.by_name("mimetype") {
        Ok(mut entry) => {
            entry.read_exact(&mut head).is_ok()
                && &head == b"application/vnd.oasis.opendocument.spreadsheet"
        }
        Err(ZipError::UnsupportedArchive(_)) => return Err(locked(file)),
        Err(_) => false,
    };
    if is_ods {
        return Ok(Kind::Ods);
    }
    let nested = names
        .iter()
        .find(|n| [".xlsx", ".ods", ".csv"].iter().any(|e| n.ends_with(e)));
    Err(match nested {
        Some(inner) => fault(
            file,
            format!("an archive that holds files such as `{}`", clip(inner)),
            "unpack it, put the file itself into the bench folder and name that",
        ),
        None => fault(file, "a zip archive that is no workbook", AGAIN),
    })
}

/// A file without the first bytes of an archive.
fn no_archive(file: &str, bytes: &[u8]) -> BenchError {
    if bytes.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return fault(
            file,
            "an old binary workbook (.xls), or one with a password",
            "open it in the spreadsheet program and save it as .xlsx without a password, or the sheet as CSV",
        );
    }
    let found = if bytes.is_empty() {
        "an empty file"
    } else {
        "a file that is no workbook, whatever its name ends in"
    };
    fault(
        file,
        found,
        "save it again as .xlsx; a text table is named .csv",
    )
}

pub(super) fn locked(file: &str) -> BenchError {
    fault(
        file,
        "a workbook with a password",
        "save it without a password, or the sheet as CSV",
    )
}

fn over(file: &str, entry: &str, excess: Excess) -> BenchError {
    let entry = clip(entry);
    let found = match excess {
        Excess::Bytes => format!(
            "more than {} MB when unpacked (in the entry `{entry}`)",
            MAX_ENTRY_BYTES >> 20
        ),
        Excess::Ratio => format!(
            "an entry `{entry}` that unpacks to more than {MAX_RATIO} times its size, as no sheet of readings does"
        ),
        Excess::Run => format!(
            "an entry `{entry}` with more than {} kB in one piece",
            MAX_RUN >> 10
        ),
    };
    fault(file, found, TOO_LARGE)
}

/// An entry of an archive that [`open`] has let pass.
pub(super) fn entry(
    file: &str,
    bytes: &[u8],
    name: &str,
    then: &mut dyn FnMut(&mut dyn Read) -> Result<(), BenchError>,
) -> Result<(), BenchError> {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|e| damaged(file, &e))?;
    let mut entry = match zip.by_name(name) {
        Ok(entry) => entry,
        Err(e) => return Err(damaged(file, &e)),
    };
    then(&mut entry)
}
