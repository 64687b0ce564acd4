//! A line's cells.

use std::borrow::Cow;

/// Where the cells of a line stand, for lines without quotes: byte ranges, reused from line to line.
#[derive(Debug, Default)]
pub struct Cells {
    ends: Vec<(usize, usize)>,
}

impl Cells {
    /// Finds the first `most` cells of a line without quotes; gives whether the line may hold more.
    pub fn split(&mut self, line: &[u8], delimiter: u8, most: usize) {
        self.ends.clear();
        if delimiter == b' ' {
            self.split_blanks(line, most);
            return;
        }
        let mut start = 0;
        for (at, b) in line.iter().enumerate() {
            if *b == delimiter {
                self.ends.push((start, at));
                start = at + 1;
                if self.ends.len() == most {
                    return;
                }
            }
        }
        self.ends.push((start, line.len()));
    }

    /// Cells apart by any number of blanks and tabs.
    fn split_blanks(&mut self, line: &[u8], most: usize) {
        let mut at = 0;
        while self.ends.len() < most {
            let blank = |b: &&u8| matches!(**b, b' ' | b'\t');
            let rest = line.get(at..).unwrap_or_default();
            let start = at + rest.iter().take_while(blank).count();
            let rest = line.get(start..).unwrap_or_default();
            let end = start + rest.iter().take_while(|b| !blank(b)).count();
            if end == start {
                return;
            }
            self.ends.push((start, end));
            at = end;
        }
    }

    /// The count of cells found.
    pub fn count(&self) -> usize {
        self.ends.len()
    }

    /// A cell, counting from 0.
    pub fn get<'a>(&self, line: &'a [u8], index: usize) -> Option<&'a [u8]> {
        let (start, end) = *self.ends.get(index)?;
        line.get(start..end)
    }
}

/// All cells of a line, with quotes undone: `"a;b"` is one cell, `""` inside one a quote.
///
/// A quote that is not closed runs to the end of its own line and no further: a line is a reading, and one bad line must
/// not swallow the rest of the log.
pub fn split_quoted(line: &[u8], delimiter: u8) -> Vec<Cow<'_, [u8]>> {
    if !line.contains(&b'"') {
        let mut cells = Cells::default();
        cells.split(line, delimiter, usize::MAX);
        return (0..cells.count())
            .filter_map(|i| cells.get(line, i).map(Cow::Borrowed))
            .collect();
    }
    let mut out = Vec::new();
    let mut cell = Vec::new();
    let mut quoted = false;
    let mut bytes = line.iter().peekable();
    while let Some(b) = bytes.next() {
        match *b {
            b'"' if quoted && bytes.peek() == Some(&&b'"') => {
                cell.push(b'"');
                bytes.next();
            }
            b'"' => quoted = !quoted,
            b if b == delimiter && !quoted => out.push(Cow::Owned(std::mem::take(&mut cell))),
            b => cell.push(b),
        }
    }
    out.push(Cow::Owned(cell));
    out
}

/// The lines of a block without their ends, each with its number counted from `first`.
pub fn lines(block: &[u8], first: usize) -> impl Iterator<Item = (usize, &[u8])> {
    let mut rest = block;
    let mut number = first;
    std::iter::from_fn(move || {
        if rest.is_empty() {
            return None;
        }
        let end = rest.iter().position(|b| *b == b'\n');
        let (line, after) = match end {
            Some(at) => (rest.get(..at)?, rest.get(at + 1..)?),
            None => (rest, &[][..]),
        };
        rest = after;
        let this = number;
        number += 1;
        Some((this, line.strip_suffix(b"\r").unwrap_or(line)))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(line: &str, delimiter: u8) -> Vec<String> {
        split_quoted(line.as_bytes(), delimiter)
            .iter()
            .map(|c| String::from_utf8_lossy(c).into_owned())
            .collect()
    }

    #[test]
    fn quotes_keep_delimiters_and_end_with_their_line() {
        assert_eq!(texts(r#"a,"b,c",d"#, b','), ["a", "b,c", "d"]);
        assert_eq!(texts(r#""say ""hi""";2"#, b';'), [r#"say "hi""#, "2"]);
        assert_eq!(texts(r#"1,"2,3"#, b','), ["1", "2,3"]);
        assert_eq!(texts("a,,", b','), ["a", "", ""]);
    }

    #[test]
    fn blanks_of_any_number_stand_between_cells() {
        assert_eq!(texts("  1   2.5\t3 ", b' '), ["1", "2.5", "3"]);
    }

    #[test]
    fn lines_lose_their_ends_and_keep_their_numbers() {
        let all: Vec<_> = lines(b"a\r\n\nb", 7).collect();
        assert_eq!(all, [(7, &b"a"[..]), (8, b""), (9, b"b")]);
    }
}
