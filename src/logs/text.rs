//! A log's bytes as blocks of whole lines, whatever its encoding.

use std::io::{ErrorKind, Read};

use crate::bench::logs::Encoding;
use crate::bench::{Fault, Place};

/// Bytes asked for at a time: large enough to keep the disk busy, small enough to stay in the processor's cache.
const CHUNK: usize = 256 << 10;
/// A longer line is no row of a log.
const MAX_LINE: usize = 1 << 20;

/// Whole lines, in UTF-8 or Latin-1 bytes.
#[derive(Debug, Default)]
pub struct Block {
    /// The lines with their ends; the last may lack one at the end of the file.
    pub bytes: Vec<u8>,
    /// Number of the first line, counting from 1.
    pub first_line: usize,
}

/// Why a file gives no more blocks.
#[derive(Debug)]
pub enum TextError {
    /// The system refused.
    Io(std::io::Error),
    /// The file is no text.
    Fault(Box<Fault>),
}

/// Cuts a file into blocks of whole lines.
pub struct Blocks<R> {
    reader: R,
    name: String,
    encoding: Encoding,
    /// Bytes read and not yet handed out, in UTF-8 or Latin-1.
    pending: Vec<u8>,
    /// Bytes of a UTF-16 character that is not yet complete.
    half: Vec<u8>,
    line: usize,
    ended: bool,
    /// Bytes to be used again, so that a large file does not ask the system for memory block by block.
    spare: Vec<u8>,
    /// Old files end their lines with a carriage return alone.
    returns_only: bool,
}

impl<R: Read> Blocks<R> {
    /// Starts on a file: finds the encoding from its first bytes unless `encoding` is given.
    ///
    /// # Errors
    /// A fault for files that are no text: spreadsheets, archives, bytes of zero.
    pub fn new(reader: R, name: &str, encoding: Option<Encoding>) -> Result<Self, TextError> {
        let mut blocks = Blocks {
            reader,
            name: name.to_owned(),
            encoding: encoding.unwrap_or(Encoding::Utf8),
            pending: Vec::new(),
            half: Vec::new(),
            line: 1,
            ended: false,
            spare: Vec::new(),
            returns_only: false,
        };
        let mut first = vec![0; CHUNK];
        let n = fill(&mut blocks.reader, &mut first).map_err(TextError::Io)?;
        first.truncate(n);
        blocks.ended = n < CHUNK;
        blocks.refuse_formats(&first)?;
        let start = blocks.settle_encoding(&first, encoding.is_some());
        let text = first.get(start..).unwrap_or_default();
        blocks.take(text)?;
        blocks.returns_only = !blocks.pending.contains(&b'\n') && blocks.pending.contains(&b'\r');
        Ok(blocks)
    }

    /// Whether the whole file has been read from the disk.
    pub fn is_at_end(&self) -> bool {
        self.ended
    }

    /// The encoding in use.
    pub fn encoding(&self) -> Encoding {
        self.encoding
    }

    /// The next block; none at the end of the file.
    ///
    /// # Errors
    /// As [`Blocks::new`]; also for a line of more than a megabyte.
    pub fn next_block(&mut self) -> Result<Option<Block>, TextError> {
        loop {
            if self.returns_only {
                for b in &mut self.pending {
                    if *b == b'\r' {
                        *b = b'\n';
                    }
                }
            }
            let cut = self
                .pending
                .iter()
                .rposition(|b| *b == b'\n')
                .map(|at| at + 1);
            let cut = match cut {
                _ if self.ended => self.pending.len(),
                Some(cut) if cut >= CHUNK / 2 => cut,
                _ => {
                    if self.pending.len() > CHUNK + MAX_LINE {
                        let ends = self.pending.iter().filter(|b| **b == b'\n').count();
                        return Err(self.fault(
                            self.line + ends,
                            format!("a line of more than {} kB", MAX_LINE >> 10),
                            "a text table with the readings of one moment a line; look whether the file is the log, and whole",
                        ));
                    }
                    self.read_more()?;
                    continue;
                }
            };
            if cut == 0 {
                return Ok(None);
            }
            // What is left over begins the next block, in the bytes that the last one gave back.
            let mut next = std::mem::take(&mut self.spare);
            next.clear();
            next.extend_from_slice(self.pending.get(cut..).unwrap_or_default());
            self.pending.truncate(cut);
            let bytes = std::mem::replace(&mut self.pending, next);
            let first_line = self.line;
            self.line += bytes.iter().filter(|b| **b == b'\n').count();
            return Ok(Some(Block { bytes, first_line }));
        }
    }

    /// Gives back a block's bytes, to be used again.
    pub fn give_back(&mut self, block: Block) {
        self.spare = block.bytes;
    }

    fn read_more(&mut self) -> Result<(), TextError> {
        if matches!(self.encoding, Encoding::Utf16Le | Encoding::Utf16Be) {
            let mut chunk = vec![0; CHUNK];
            let n = fill(&mut self.reader, &mut chunk).map_err(TextError::Io)?;
            self.ended = n < CHUNK;
            return self.take(chunk.get(..n).unwrap_or_default());
        }
        // Straight into its place: copying a large file once more costs as much as reading it.
        let before = self.pending.len();
        self.pending.resize(before + CHUNK, 0);
        let room = self.pending.get_mut(before..).unwrap_or_default();
        let n = fill(&mut self.reader, room).map_err(TextError::Io)?;
        self.ended = n < CHUNK;
        self.pending.truncate(before + n);
        self.refuse_zeros(before)
    }

    /// Refuses a byte of zero in the pending text from a place on.
    fn refuse_zeros(&self, from: usize) -> Result<(), TextError> {
        let new = self.pending.get(from..).unwrap_or_default();
        // `contains` looks at many bytes at a time.
        if !new.contains(&0) {
            return Ok(());
        }
        let before = self.pending.iter().take_while(|b| **b != 0);
        let line = self.line + before.filter(|b| **b == b'\n').count();
        Err(self.fault(
            line,
            "a byte of zero".to_owned(),
            "a text file; for two-byte text write encoding = \"utf-16le\" or \"utf-16be\"",
        ))
    }

    /// Adds bytes of the file to the pending text.
    fn take(&mut self, bytes: &[u8]) -> Result<(), TextError> {
        match self.encoding {
            Encoding::Utf8 | Encoding::Latin1 => {
                let before = self.pending.len();
                self.pending.extend_from_slice(bytes);
                return self.refuse_zeros(before);
            }
            Encoding::Utf16Le | Encoding::Utf16Be => self.take_utf16(bytes),
        }
        Ok(())
    }

    fn take_utf16(&mut self, bytes: &[u8]) {
        self.half.extend_from_slice(bytes);
        let big = self.encoding == Encoding::Utf16Be;
        let units: Vec<u16> = self
            .half
            .chunks_exact(2)
            .map(|pair| match pair {
                [a, b] if big => u16::from_be_bytes([*a, *b]),
                [a, b] => u16::from_le_bytes([*a, *b]),
                _ => 0,
            })
            .collect();
        // A first half of a pair waits for its second.
        let waits = !self.ended && units.last().is_some_and(|u| (0xD800..0xDC00).contains(u));
        let used = units.len() - usize::from(waits);
        let text = String::from_utf16_lossy(units.get(..used).unwrap_or_default());
        self.pending.extend_from_slice(text.as_bytes());
        self.half.drain(..2 * used);
    }

    /// Settles the encoding; gives the number of bytes that a byte-order mark takes.
    fn settle_encoding(&mut self, first: &[u8], given: bool) -> usize {
        let marked = [
            (&b"\xEF\xBB\xBF"[..], Encoding::Utf8),
            (b"\xFF\xFE", Encoding::Utf16Le),
            (b"\xFE\xFF", Encoding::Utf16Be),
        ];
        if let Some((mark, encoding)) = marked.iter().find(|(m, _)| first.starts_with(m)) {
            // The mark knows better than bench.toml which byte comes first.
            self.encoding = *encoding;
            return mark.len();
        }
        if given {
            return 0;
        }
        // ASCII text in UTF-16 has a zero in every other byte.
        let sample = first.get(..first.len().min(200)).unwrap_or_default();
        let zeros = |odd: usize| {
            sample
                .iter()
                .skip(odd)
                .step_by(2)
                .filter(|b| **b == 0)
                .count()
        };
        let half = sample.len() / 2;
        if half > 4 && zeros(1) * 10 > half * 9 {
            self.encoding = Encoding::Utf16Le;
        } else if half > 4 && zeros(0) * 10 > half * 9 {
            self.encoding = Encoding::Utf16Be;
        } else if std::str::from_utf8(first).is_err_and(|e| e.error_len().is_some()) {
            self.encoding = Encoding::Latin1;
        }
        0
    }

    /// Refuses files that are known to be no text, saying what to do.
    fn refuse_formats(&self, first: &[u8]) -> Result<(), TextError> {
        let known: [(&[u8], &str, &str); 4] = [
            (
                b"PK\x03\x04",
                "a packed file (a spreadsheet, or a .zip)",
                "a spreadsheet is read where its name ends in .xlsx or .ods; else export the sheet as CSV, put that file into the bench folder and name it here",
            ),
            (
                b"\xD0\xCF\x11\xE0",
                "an old binary spreadsheet (.xls)",
                "export the sheet as CSV, put that file into the bench folder and name it here",
            ),
            (
                b"\x1F\x8B",
                "a compressed file (.gz)",
                "unpack it and name the unpacked file",
            ),
            (b"%PDF", "a PDF", "export the readings as CSV"),
        ];
        for (magic, what, todo) in known {
            if first.starts_with(magic) {
                return Err(TextError::Fault(Box::new(
                    Fault::new(Place::file(&self.name), what, "a text log").remedy(todo),
                )));
            }
        }
        Ok(())
    }

    fn fault(&self, line: usize, found: String, expected: &str) -> TextError {
        TextError::Fault(Box::new(Fault::new(
            Place::line(&self.name, line),
            found,
            expected,
        )))
    }
}

/// Reads until the buffer is full or the file ends.
fn fill(reader: &mut impl Read, buffer: &mut [u8]) -> std::io::Result<usize> {
    let mut n = 0;
    while let Some(rest) = buffer.get_mut(n..).filter(|r| !r.is_empty()) {
        match reader.read(rest) {
            Ok(0) => break,
            Ok(k) => n += k,
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(n)
}

/// A piece of a log's text as characters.
pub fn decode(bytes: &[u8], encoding: Encoding) -> String {
    match encoding {
        Encoding::Latin1 => bytes.iter().map(|b| char::from(*b)).collect(),
        _ => String::from_utf8_lossy(bytes).into_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(bytes: &[u8], encoding: Option<Encoding>) -> (Vec<u8>, usize) {
        let mut blocks = Blocks::new(bytes, "f", encoding).unwrap();
        let (mut text, mut lines) = (Vec::new(), 0);
        while let Some(block) = blocks.next_block().unwrap() {
            assert_eq!(block.first_line, lines + 1);
            lines += block.bytes.iter().filter(|b| **b == b'\n').count();
            text.extend(block.bytes);
        }
        (text, lines)
    }

    #[test]
    fn blocks_are_the_file_cut_between_lines() {
        let long: Vec<u8> = (0..60_000)
            .flat_map(|i| format!("{i},1.5\n").into_bytes())
            .collect();
        let (text, lines) = all(&long, None);
        assert_eq!((text == long, lines), (true, 60_000));
    }

    #[test]
    fn byte_order_marks_and_utf16_are_read() {
        assert_eq!(all(b"\xEF\xBB\xBFa\n1\n", None).0, b"a\n1\n");
        let utf16 = |big: bool| -> Vec<u8> {
            "Zeit;°C\n1;2\n"
                .encode_utf16()
                .flat_map(|u| {
                    if big {
                        u.to_be_bytes()
                    } else {
                        u.to_le_bytes()
                    }
                })
                .collect()
        };
        let want = "Zeit;°C\n1;2\n".as_bytes();
        assert_eq!(all(&utf16(false), Some(Encoding::Utf16Le)).0, want);
        assert_eq!(all(&utf16(true), Some(Encoding::Utf16Be)).0, want);
        let mut marked = vec![0xFE, 0xFF];
        marked.extend(utf16(true));
        assert_eq!(all(&marked, None).0, want);
        // Without a mark, from the zeros.
        let plain: Vec<u8> = "t,v\n1,2\n3,4\n5,6\n"
            .encode_utf16()
            .flat_map(u16::to_le_bytes)
            .collect();
        assert_eq!(all(&plain, None).0, b"t,v\n1,2\n3,4\n5,6\n");
    }

    #[test]
    fn lines_that_end_in_returns_alone_are_lines() {
        assert_eq!(all(b"a\r1\r2\r", None), (b"a\n1\n2\n".to_vec(), 3));
    }

    #[test]
    fn files_that_are_no_text_are_refused_with_what_to_do() {
        for (bytes, word) in [
            (&b"PK\x03\x04rest"[..], "export the sheet as CSV"),
            (b"a,b\n1\0,2\n", "line 2"),
        ] {
            let error = Blocks::new(bytes, "f", None)
                .and_then(|mut b| b.next_block())
                .unwrap_err();
            let TextError::Fault(fault) = error else {
                panic!()
            };
            assert!(fault.to_string().contains(word), "{fault}");
        }
    }
}
