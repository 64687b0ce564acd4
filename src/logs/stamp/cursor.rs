//! Stamps one after the other: most differ from the one before in their seconds alone.

use super::{Kind, Stamp, StampFault, StampReader};
use crate::logs::pattern::Piece;

/// Reads stamps one after the other: one that differs from the one before in its seconds alone is read from those.
#[derive(Clone, Debug)]
pub struct StampCursor<'a> {
    reader: &'a StampReader,
    /// The last stamp read in full, where its seconds can be told from the rest; else empty.
    text: Vec<u8>,
    /// Where its seconds stand.
    seconds_at: usize,
    /// The stamp at second 0 of its minute.
    minute: Stamp,
}

impl<'a> StampCursor<'a> {
    /// A cursor for a reader.
    pub fn new(reader: &'a StampReader) -> Self {
        StampCursor {
            reader,
            text: Vec::new(),
            seconds_at: 0,
            minute: Stamp::Instant(0.0),
        }
    }

    /// Reads the stamp at the start of a longer text, if it is one of the same minute as the last; gives it and its length.
    #[inline]
    pub fn same_minute(&self, text: &[u8]) -> Option<(Stamp, usize)> {
        let n = self.text.len();
        let (head, tail) = self.text.split_at_checked(self.seconds_at)?;
        let (old, after) = tail.split_at_checked(2)?;
        let now = text.get(..n)?;
        let (now_head, now_tail) = now.split_at_checked(self.seconds_at)?;
        let (&[a, b], now_after) = now_tail.split_first_chunk::<2>()?;
        let _ = old;
        if now_head != head || now_after != after {
            return None;
        }
        let (a, b) = (a.wrapping_sub(b'0'), b.wrapping_sub(b'0'));
        if a > 5 || b > 9 {
            return None;
        }
        let seconds = f64::from(10 * a + b);
        let stamp = match self.minute {
            Stamp::Instant(t) => Stamp::Instant(t + seconds),
            Stamp::Local(t) => Stamp::Local(t + seconds),
        };
        Some((stamp, n))
    }

    /// Reads a stamp.
    ///
    /// # Errors
    /// As [`StampReader::read`].
    pub fn read(&mut self, text: &[u8]) -> Result<Stamp, StampFault> {
        let stamp = self.reader.read(text)?;
        self.text.clear();
        if let Some(at) = self.reader.seconds_at(text)
            && let Some(&[a, b]) = text.get(at..at + 2)
        {
            let seconds = f64::from(10 * a.wrapping_sub(b'0') + b.wrapping_sub(b'0'));
            self.minute = match stamp {
                Stamp::Instant(t) => Stamp::Instant(t - seconds),
                Stamp::Local(t) => Stamp::Local(t - seconds),
            };
            self.seconds_at = at;
            self.text.extend_from_slice(text);
            if self.may_end_a_day() && !self.has_more_seconds() {
                self.text.clear();
            }
        }
        Ok(stamp)
    }

    /// Whether the minute may begin a day somewhere: clocks are a multiple of a quarter of an hour apart.
    fn may_end_a_day(&self) -> bool {
        let (Stamp::Instant(t) | Stamp::Local(t)) = self.minute;
        t.rem_euclid(900.0) == 0.0
    }

    /// Whether the minute goes on: of 24:00:00 there is only the one second.
    fn has_more_seconds(&self) -> bool {
        let mut last = self.text.clone();
        last.get_mut(self.seconds_at..self.seconds_at + 2)
            .is_some_and(|two| {
                two.copy_from_slice(b"59");
                true
            })
            && self.reader.read(&last).is_ok()
    }
}

impl StampReader {
    /// Where the two digits of the seconds stand in a stamp that has been read, where they stand last (but for a `Z`).
    fn seconds_at(&self, text: &[u8]) -> Option<usize> {
        // The mark ahead of the seconds, and how often it stands in a stamp that ends in them: digits behind another mark, or one too
        // many, are hundredths of a second, an offset, or the minutes of a time without seconds.
        let (mark, times) = match &self.kind {
            Kind::Iso => (b':', 2),
            Kind::Pieces(_) if self.dated => (b':', 2),
            Kind::Pieces(pieces) => match pieces.as_slice() {
                [
                    ..,
                    Piece::Literal(mark @ (b':' | b'.' | b'-')),
                    Piece::Second,
                ] => {
                    let same = |p: &&Piece| **p == Piece::Literal(*mark);
                    (*mark, pieces.iter().filter(same).count())
                }
                _ => return None,
            },
            _ => return None,
        };
        let bare = text.strip_suffix(b"Z").unwrap_or(text);
        match bare {
            [.., b'0'..=b'9', before, a, b]
                if *before == mark && (b'0'..=b'5').contains(a) && b.is_ascii_digit() =>
            {
                let seen = bare.iter().filter(|b| **b == mark).count();
                (seen == times).then(|| bare.len() - 2)
            }
            _ => None,
        }
    }
}
