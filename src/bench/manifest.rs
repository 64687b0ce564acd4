//! `bench.toml`: reading it key by key, so that every message has a line and a column.

use std::cell::RefCell;
use std::collections::BTreeSet;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::error::{BenchError, Fault, Finding, Place, Severity};
use super::text::{clip, did_you_mean};
use crate::quantity::{Dimension, parse_quantity};

/// Text of `bench.toml` with what is needed to name places in it.
pub(super) struct Manifest<'a> {
    pub file: &'a str,
    text: &'a str,
    faults: RefCell<Vec<Fault>>,
    findings: RefCell<Vec<Finding>>,
}

/// A table of the manifest; remembers which keys were asked for.
pub(super) struct Section<'a, 'm> {
    manifest: &'m Manifest<'a>,
    table: &'m DeTable<'a>,
    path: String,
    start: usize,
    asked: RefCell<BTreeSet<&'static str>>,
}

impl<'a> Manifest<'a> {
    pub fn new(file: &'a str, text: &'a str) -> Self {
        Manifest {
            file,
            text,
            faults: RefCell::default(),
            findings: RefCell::default(),
        }
    }

    /// Parses the text as TOML.
    pub fn parse(&self) -> Result<Spanned<DeTable<'a>>, BenchError> {
        DeTable::parse(self.text).map_err(|e| {
            let place = e
                .span()
                .map_or_else(|| Place::file(self.file), |s| self.place(s.start));
            Fault::new(
                place,
                format!("text that is not TOML ({})", e.message()),
                "[section] headings and lines of the form key = value, each key once in its section",
            )
            .remedy("texts and quantities stand in double quotes: supply = \"24 V\"")
            .into()
        })
    }

    pub fn root<'m>(&'m self, table: &'m Spanned<DeTable<'a>>) -> Section<'a, 'm> {
        Section {
            manifest: self,
            table: table.get_ref(),
            path: String::new(),
            start: 0,
            asked: RefCell::default(),
        }
    }

    pub fn place(&self, offset: usize) -> Place {
        let before = self
            .text
            .get(..offset.min(self.text.len()))
            .unwrap_or(self.text);
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().map_or(0, |l| l.chars().count()) + 1;
        Place::at(self.file, line, column)
    }

    pub fn fault(&self, fault: Fault) {
        self.faults.borrow_mut().push(fault);
    }

    /// A value as it stands in the file.
    fn written(&self, value: &Spanned<DeValue<'a>>) -> String {
        clip(self.text.get(value.span()).unwrap_or_default())
    }

    /// What was found while reading: faults first; without faults, the notes.
    pub fn finish(self) -> Result<Vec<Finding>, BenchError> {
        let mut faults = self.faults.into_inner();
        if faults.is_empty() {
            Ok(self.findings.into_inner())
        } else {
            faults.sort_by_key(|f| (f.place.line, f.place.column));
            Err(BenchError::Faults(faults))
        }
    }
}

impl<'a, 'm> Section<'a, 'm> {
    fn name(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    /// The value of a key as TOML has it.
    pub fn entry(&self, key: &'static str) -> Option<&'m Spanned<DeValue<'a>>> {
        self.asked.borrow_mut().insert(key);
        self.table.get(key)
    }

    /// Reports a value of the wrong kind.
    pub fn wrong(&self, key: &str, value: &Spanned<DeValue<'a>>, expected: &str) {
        let found = match value.get_ref().as_str() {
            Some(text) => format!("{} = \"{}\"", clip(&self.name(key)), clip(text)),
            None => format!(
                "{} = {} ({})",
                clip(&self.name(key)),
                self.manifest.written(value),
                kind_words(value.get_ref())
            ),
        };
        let place = self.manifest.place(value.span().start);
        self.manifest.fault(
            Fault::new(place, found, expected).remedy("correct the value, or remove the entry"),
        );
    }

    /// The place of the section's heading.
    pub fn place(&self) -> Place {
        self.manifest.place(self.start)
    }

    /// The place of a key's value, or of the section where the key is absent.
    pub fn place_of(&self, key: &str) -> Place {
        self.table
            .get(key)
            .map_or_else(|| self.place(), |v| self.manifest.place(v.span().start))
    }

    /// Whether the key is there, of whatever kind.
    pub fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// Reports a fault in this section.
    pub fn fault(&self, fault: Fault) {
        self.manifest.fault(fault);
    }

    pub fn text(&self, key: &'static str) -> Option<String> {
        let value = self.entry(key)?;
        match value.get_ref().as_str() {
            Some(text) => Some(text.to_owned()),
            None => {
                self.wrong(key, value, "a string in double quotes");
                None
            }
        }
    }

    pub fn flag(&self, key: &'static str) -> Option<bool> {
        let value = self.entry(key)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.wrong(key, value, "true or false");
        }
        flag
    }

    pub fn texts(&self, key: &'static str) -> Option<Vec<String>> {
        let value = self.entry(key)?;
        let list = value.get_ref().as_array().and_then(|a| {
            a.iter()
                .map(|v| v.get_ref().as_str().map(str::to_owned))
                .collect::<Option<Vec<_>>>()
        });
        if list.is_none() {
            self.wrong(key, value, "a list of strings");
        }
        list
    }

    /// A quantity in base units. A plain number is refused: it has no unit.
    pub fn quantity(&self, key: &'static str, want: Dimension) -> Option<f64> {
        let value = self.entry(key)?;
        match value.get_ref().as_str() {
            Some(text) => match parse_quantity(text, want) {
                Ok(v) if v.is_finite() => Some(v),
                Ok(_) => {
                    self.wrong(key, value, "a finite quantity");
                    None
                }
                Err(e) => {
                    self.wrong(key, value, &e.expected);
                    None
                }
            },
            None => {
                let expected = format!(
                    "{} with its unit ({}), in double quotes",
                    want.words(),
                    want.accepted().join(", ")
                );
                self.wrong(key, value, &expected);
                None
            }
        }
    }

    /// As [`Section::quantity`], and above zero.
    pub fn positive(&self, key: &'static str, want: Dimension) -> Option<f64> {
        self.at_least(key, want, |v| v > 0.0, "above zero")
    }

    /// As [`Section::quantity`], and not below zero.
    pub fn not_negative(&self, key: &'static str, want: Dimension) -> Option<f64> {
        self.at_least(key, want, |v| v >= 0.0, "not below zero")
    }

    /// Reports a key's value as one that is not expected.
    pub fn reject(&self, key: &'static str, expected: &str) {
        if let Some(value) = self.entry(key) {
            self.wrong(key, value, expected);
        }
    }

    fn at_least(
        &self,
        key: &'static str,
        want: Dimension,
        good: impl Fn(f64) -> bool,
        words: &str,
    ) -> Option<f64> {
        let v = self.quantity(key, want)?;
        if good(v) {
            return Some(v);
        }
        self.reject(key, &format!("{} {words}", want.words()));
        None
    }

    /// A plain number without a unit (an integer or a float).
    pub fn number(&self, key: &'static str) -> Option<f64> {
        let value = self.entry(key)?;
        let parsed = match value.get_ref() {
            DeValue::Integer(i) => i.as_str().parse::<f64>().ok(),
            DeValue::Float(f) => f.as_str().parse::<f64>().ok(),
            _ => None,
        };
        let finite = parsed.filter(|v| v.is_finite());
        if finite.is_none() {
            self.wrong(key, value, "a finite number");
        }
        finite
    }

    pub fn section(&self, key: &'static str) -> Option<Section<'a, 'm>> {
        let value = self.entry(key)?;
        match value.get_ref().as_table() {
            Some(table) => Some(self.inner(key, table, value.span().start)),
            None => {
                self.wrong(key, value, &format!("a section [{}]", self.name(key)));
                None
            }
        }
    }

    /// The sections of an array of tables, `[[key]]`.
    pub fn sections(&self, key: &'static str) -> Vec<Section<'a, 'm>> {
        let Some(value) = self.entry(key) else {
            return Vec::new();
        };
        let Some(array) = value.get_ref().as_array() else {
            self.wrong(
                key,
                value,
                &format!("sections [[{}]] in double brackets", self.name(key)),
            );
            return Vec::new();
        };
        array
            .iter()
            .filter_map(|v| match v.get_ref().as_table() {
                Some(table) => Some(self.inner(key, table, v.span().start)),
                None => {
                    self.wrong(key, v, &format!("sections [[{}]]", self.name(key)));
                    None
                }
            })
            .collect()
    }

    /// All sub-sections under their own (user-chosen) names. `like` shows in a fault how an entry is written.
    pub fn named_sections(&self, like: &str) -> Vec<(String, Section<'a, 'm>)> {
        self.table
            .iter()
            .filter_map(|(k, v)| {
                let name = k.get_ref().to_string();
                let Some(table) = v.get_ref().as_table() else {
                    self.wrong(&name, v, like);
                    return None;
                };
                Some((
                    name.clone(),
                    Section {
                        manifest: self.manifest,
                        table,
                        path: self.name(&name),
                        start: k.span().start,
                        asked: RefCell::default(),
                    },
                ))
            })
            .collect()
    }

    fn inner(&self, key: &str, table: &'m DeTable<'a>, start: usize) -> Section<'a, 'm> {
        Section {
            manifest: self.manifest,
            table,
            path: self.name(key),
            start,
            asked: RefCell::default(),
        }
    }

    /// Notes something that a careful colleague would point out, at a key's place.
    pub fn finding(&self, code: &'static str, key: &str, message: String) {
        self.manifest
            .findings
            .borrow_mut()
            .push(Finding::new(Severity::Warning, code, message).at(&self.place_of(key)));
    }

    /// Notes every key that nobody asked for.
    pub fn note_unknown_keys(&self) {
        let asked = self.asked.borrow();
        for (key, _) in self.table.iter() {
            let name = key.get_ref().as_ref();
            if asked.contains(name) {
                continue;
            }
            let hint = did_you_mean(name, asked.iter().copied());
            self.manifest.findings.borrow_mut().push(
                Finding::new(
                    Severity::Warning,
                    "unknown-key",
                    format!(
                        "the key `{}` is not known and not used{hint}",
                        clip(&self.name(name))
                    ),
                )
                .at(&self.manifest.place(key.span().start)),
            );
        }
    }
}

/// What kind of value it is, for people.
fn kind_words(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a string",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a section",
    }
}
