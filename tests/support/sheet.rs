//! A points table in memory, to be changed and written in any of the ways that a spreadsheet writes one.

use super::POINTS;

/// Headings and rows.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Headings with their units.
    pub headings: Vec<String>,
    /// Rows of cells.
    pub rows: Vec<Vec<String>>,
}

impl Sheet {
    /// The invented bench's table.
    pub fn invented() -> Sheet {
        Sheet::parse(POINTS)
    }

    /// Reads plain CSV without quotes; lines that begin with `#` are left out.
    pub fn parse(text: &str) -> Sheet {
        let mut lines = text
            .lines()
            .filter(|l| !l.starts_with('#') && !l.is_empty())
            .map(|l| l.split(',').map(str::to_owned).collect::<Vec<_>>());
        Sheet {
            headings: lines.next().unwrap(),
            rows: lines.collect(),
        }
    }

    /// A table of the columns run, mode, fan, power alone.
    pub fn bare(rows: &[(&str, &str, &str, &str)]) -> Sheet {
        Sheet {
            headings: ["run", "mode", "fan", "power [W]"]
                .map(str::to_owned)
                .to_vec(),
            rows: rows
                .iter()
                .map(|(a, b, c, d)| [a, b, c, d].map(|s| (*s).to_owned()).to_vec())
                .collect(),
        }
    }

    /// Index of a column by its name without the unit.
    pub fn column(&self, name: &str) -> usize {
        self.headings
            .iter()
            .position(|h| h.split(" [").next() == Some(name))
            .unwrap_or_else(|| panic!("no column {name}"))
    }

    /// Replaces a column's heading.
    pub fn heading(mut self, name: &str, heading: &str) -> Sheet {
        let i = self.column(name);
        self.headings[i] = heading.to_owned();
        self
    }

    /// Changes every non-empty cell of a column.
    pub fn each(mut self, name: &str, change: impl Fn(&str) -> String) -> Sheet {
        let i = self.column(name);
        for row in self.rows.iter_mut().filter(|r| !r[i].is_empty()) {
            row[i] = change(&row[i]);
        }
        self
    }

    /// Changes every number of a column, in as many digits as it takes to read the same number back.
    pub fn numbers(self, name: &str, change: impl Fn(f64) -> f64) -> Sheet {
        self.each(name, |c| change(c.parse().unwrap()).to_string())
    }

    /// Sets one cell, by run.
    pub fn set(mut self, run: &str, name: &str, cell: &str) -> Sheet {
        let (r, i) = (self.column("run"), self.column(name));
        let row = self.rows.iter_mut().find(|row| row[r] == run).unwrap();
        row[i] = cell.to_owned();
        self
    }

    /// Leaves columns out.
    pub fn drop(mut self, names: &[&str]) -> Sheet {
        for name in names {
            let i = self.column(name);
            self.headings.remove(i);
            for row in &mut self.rows {
                row.remove(i);
            }
        }
        self
    }

    /// Keeps the rows for which `keep` says so of (kind, mode, fan).
    pub fn keep(mut self, keep: impl Fn(&str, &str, &str) -> bool) -> Sheet {
        let (k, m, f) = (self.column("kind"), self.column("mode"), self.column("fan"));
        self.rows.retain(|r| keep(&r[k], &r[m], &r[f]));
        self
    }

    /// Puts the rows in another order, the same each time for a seed.
    pub fn shuffled(mut self, seed: u64) -> Sheet {
        let mut state = seed;
        for i in (1..self.rows.len()).rev() {
            // Knuth's constants for a 64-bit linear congruential generator (from memory); any shuffle will do.
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            self.rows.swap(i, (state >> 33) as usize % (i + 1));
        }
        self
    }

    /// Written with commas.
    pub fn csv(&self) -> String {
        self.written(",", "\n")
    }

    /// Written with any delimiter and line end.
    pub fn written(&self, delimiter: &str, line_end: &str) -> String {
        std::iter::once(&self.headings)
            .chain(&self.rows)
            .map(|r| r.join(delimiter) + line_end)
            .collect()
    }
}
