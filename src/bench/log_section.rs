//! Reading `[[log]]` with its `[log.time]` and `[log.channels]`.

use toml::Spanned;
use toml::de::DeValue;

use super::Channel;
use super::error::{Fault, Place};
use super::logs::{ChannelSpec, ColumnRef, Decimal, Encoding, LogSpec, TimeFormat, TimeSpec};
use super::manifest::Section;
use super::table::clip;
use crate::quantity::{Dimension, Unit};

/// Reads one `[[log]]`; none where something in it is at fault (then said).
pub(super) fn read_log(s: &Section<'_, '_>) -> Option<LogSpec> {
    let file = s.text("file");
    if file.is_none() {
        s.fault(Fault::new(
            s.place(),
            "[[log]] without a file",
            "file = \"logs/meter.csv\" (a pattern such as \"logs/meter-*.csv\" may name several)",
        ));
    }
    let delimiter = read_delimiter(s);
    let decimal = choice(
        s,
        "decimal",
        &[(".", Decimal::Point), (",", Decimal::Comma)],
    );
    if delimiter == Some(b',') && decimal == Some(Decimal::Comma) {
        s.fault(Fault::new(
            s.place_of("decimal"),
            "a comma both between cells and in numbers",
            "a delimiter other than the decimal mark, such as delimiter = \";\"",
        ));
    }
    let encoding = choice(
        s,
        "encoding",
        &[
            ("utf-8", Encoding::Utf8),
            ("latin-1", Encoding::Latin1),
            ("windows-1252", Encoding::Latin1),
            ("utf-16", Encoding::Utf16Le),
            ("utf-16le", Encoding::Utf16Le),
            ("utf-16be", Encoding::Utf16Be),
        ],
    );
    let unit_rows = match s.number("unit_rows") {
        None => 0,
        Some(n) if (0.0..=20.0).contains(&n) && n.fract() == 0.0 => n as usize,
        Some(n) => {
            s.fault(Fault::new(
                s.place_of("unit_rows"),
                format!("unit_rows = {n}"),
                "the number of rows below the headings that hold units, 0 to 20",
            ));
            0
        }
    };
    let missing = s.texts("missing").unwrap_or_default();
    let only = s.section("only").and_then(|o| {
        let column = columns(&o, "column").and_then(|mut c| (c.len() == 1).then(|| c.remove(0)));
        let is = o.text("is");
        o.note_unknown_keys();
        match (column, is) {
            (Some(c), Some(v)) => Some((c, v)),
            _ => {
                o.fault(Fault::new(
                    o.place(),
                    "`only` without a column or a value",
                    "only = { column = \"device\", is = \"2\" }",
                ));
                None
            }
        }
    });
    let time = match s.section("time") {
        Some(t) => read_time(&t),
        None => {
            s.fault(Fault::new(
                s.place(),
                "[[log]] without [log.time]",
                "[log.time] with column and format",
            ));
            None
        }
    };
    let channels = match s.section("channels") {
        Some(c) => read_channels(&c),
        None => {
            s.fault(Fault::new(
                s.place(),
                "[[log]] without [log.channels]",
                "[log.channels] with entries such as voltage = { column = \"U\", unit = \"V\" }",
            ));
            Vec::new()
        }
    };
    s.note_unknown_keys();
    Some(LogSpec {
        place: s.place_of("file"),
        file: file?,
        delimiter,
        decimal,
        unit_rows,
        encoding,
        missing,
        only,
        time: time?,
        channels,
    })
}

/// One of a few words, each with its meaning.
fn choice<T: Copy>(s: &Section<'_, '_>, key: &'static str, words: &[(&str, T)]) -> Option<T> {
    let text = s.text(key)?;
    let lower = text.to_ascii_lowercase();
    let found = words.iter().find(|(w, _)| *w == lower).map(|(_, t)| *t);
    if found.is_none() {
        let list: Vec<String> = words.iter().map(|(w, _)| format!("\"{w}\"")).collect();
        s.fault(Fault::new(
            s.place_of(key),
            format!("{key} = \"{}\"", clip(&text)),
            format!("one of {}", list.join(", ")),
        ));
    }
    found
}

fn read_delimiter(s: &Section<'_, '_>) -> Option<u8> {
    let text = s.text("delimiter")?;
    let byte = match text.as_str() {
        "tab" => Some(b'\t'),
        "space" => Some(b' '),
        one => match one.as_bytes() {
            [b] if b.is_ascii() && !b.is_ascii_alphanumeric() && !b"\"\r\n.-+".contains(b) => {
                Some(*b)
            }
            _ => None,
        },
    };
    if byte.is_none() {
        s.fault(Fault::new(
            s.place_of("delimiter"),
            format!("delimiter = \"{}\"", clip(&text)),
            "one character between cells: \",\", \";\", \"tab\", \"|\" or \"space\"",
        ));
    }
    byte
}

/// A column by heading or number, or a list of them.
fn columns(s: &Section<'_, '_>, key: &'static str) -> Option<Vec<ColumnRef>> {
    let value = s.entry(key)?;
    let one = |v: &Spanned<DeValue<'_>>| match v.get_ref() {
        DeValue::String(t) if !t.trim().is_empty() => Some(ColumnRef::Name(t.trim().to_owned())),
        DeValue::Integer(i) => i
            .as_str()
            .parse::<usize>()
            .ok()
            .filter(|n| (1..=10_000).contains(n))
            .map(ColumnRef::Number),
        _ => None,
    };
    let found = match value.get_ref() {
        DeValue::Array(list) => list
            .iter()
            .map(one)
            .collect::<Option<Vec<_>>>()
            .filter(|l| !l.is_empty()),
        _ => one(value).map(|c| vec![c]),
    };
    if found.is_none() {
        s.wrong(
            key,
            value,
            "a column's heading in quotes, or its number counting from 1",
        );
    }
    found
}

fn read_time(s: &Section<'_, '_>) -> Option<TimeSpec> {
    let cols = columns(s, "column");
    if cols.is_none() {
        s.fault(Fault::new(
            s.place(),
            "[log.time] without a column",
            "column = \"Time\" (or a list, where date and time stand apart)",
        ));
    }
    let format = match s.text("format").as_deref() {
        None => {
            s.fault(Fault::new(
                s.place(),
                "[log.time] without a format",
                "format = \"iso\", \"unix\", \"elapsed_s\", or a pattern such as \"%d.%m.%Y %H:%M:%S\"",
            ));
            None
        }
        Some(text) if TimeFormat::from_words(text).is_some() => TimeFormat::from_words(text),
        Some(other) => {
            s.fault(Fault::new(
                s.place_of("format"),
                format!("format = \"{}\"", clip(other)),
                TimeFormat::WORDS,
            ));
            None
        }
    };
    let zone = s.text("zone");
    let shift_s = s.quantity("shift", Dimension::Time).unwrap_or(0.0);
    let year = s.number("year").and_then(|y| {
        if y.fract() == 0.0 && (1970.0..=2200.0).contains(&y) {
            return Some(y as i32);
        }
        s.fault(Fault::new(
            s.place_of("year"),
            format!("year = {y}"),
            "a year between 1970 and 2200",
        ));
        None
    });
    let origin = s.text("origin");
    s.note_unknown_keys();
    Some(TimeSpec {
        columns: cols?,
        format: format?,
        zone,
        shift_s,
        dated: false,
        year,
        origin,
        place: s.place(),
        format_place: s.place_of("format"),
        zone_place: s.place_of("zone"),
    })
}

fn read_channels(s: &Section<'_, '_>) -> Vec<ChannelSpec> {
    let mut channels = Vec::new();
    for channel in Channel::ALL {
        let Some(c) = s.section(channel.name()) else {
            continue;
        };
        if let Some(spec) = read_channel(&c, channel, s.place_of(channel.name())) {
            channels.push(spec);
        }
        c.note_unknown_keys();
    }
    s.note_unknown_keys();
    if channels.is_empty() {
        s.fault(Fault::new(
            s.place(),
            "[log.channels] without a known quantity",
            format!(
                "entries such as voltage = {{ column = \"U\", unit = \"V\" }}; known are {}",
                Channel::ALL.map(Channel::name).join(", ")
            ),
        ));
    }
    channels
}

fn read_channel(s: &Section<'_, '_>, channel: Channel, place: Place) -> Option<ChannelSpec> {
    let column = columns(s, "column").and_then(|mut c| (c.len() == 1).then(|| c.remove(0)));
    if column.is_none() {
        s.fault(Fault::new(
            place.clone(),
            format!("`{}` without a column", channel.name()),
            "column = \"the heading in the log\"",
        ));
    }
    let want = channel.dimension();
    let unit = s
        .text("unit")
        .and_then(|text| match Unit::parse_for(&text, want) {
            Ok(unit) => Some(unit),
            Err(e) => {
                s.fault(Fault::new(
                    s.place_of("unit"),
                    format!("unit = \"{}\"", clip(&text)),
                    e.expected,
                ));
                None
            }
        });
    let sign = match s.number("sign") {
        None => 1.0,
        Some(v) if v == 1.0 || v == -1.0 => v,
        Some(v) => {
            s.fault(Fault::new(
                s.place_of("sign"),
                format!("sign = {v}"),
                "1 or -1",
            ));
            1.0
        }
    };
    let scale = match s.number("scale") {
        Some(0.0) => {
            s.fault(Fault::new(
                s.place_of("scale"),
                "scale = 0",
                "a number other than zero",
            ));
            1.0
        }
        other => other.unwrap_or(1.0),
    };
    let difference = match want {
        Dimension::Temperature => Dimension::TemperatureDifference,
        other => other,
    };
    let offset = s.quantity("offset", difference).unwrap_or(0.0);
    Some(ChannelSpec {
        channel,
        column: column?,
        unit,
        factor: sign * scale,
        offset,
        place,
    })
}
