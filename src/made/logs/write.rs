//! Made readings as two loggers would write them.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::plan::{Encoding, FileStyle, Style, TimeStyle};
use super::signal::Readings;
use crate::logs::clock::{utc, zone};
use crate::made::dice::Dice;

/// A row of a log: when, and its readings.
type Row = (f64, Vec<f64>);

/// A run's window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Fan level.
    pub fan: usize,
    /// When it starts, s since 1970.
    pub start: f64,
    /// How long it is, s.
    pub length_s: f64,
}

/// All files of the bench.
pub fn files(
    windows: &[Window],
    style: &Style,
    readings: &Readings,
    dice: &mut Dice,
) -> Vec<(String, Vec<u8>)> {
    let mut out = vec![
        ("bench.toml".to_owned(), manifest(style).into_bytes()),
        ("runs.csv".to_owned(), runs(windows).into_bytes()),
    ];
    let sign = if style.negative { -1.0 } else { 1.0 };
    let meter = |name: &str,
                 headings: &[&str],
                 units: &[&str],
                 decimals: &[usize],
                 rows: Vec<Row>,
                 dice: &mut Dice| {
        let size = rows.len().div_ceil(style.pieces).max(1);
        let piece = |(k, piece): (usize, &[Row])| {
            let name = if style.pieces == 1 {
                format!("logs/{name}.csv")
            } else {
                format!("logs/{name}-{}.csv", k + 1)
            };
            let text = text(&style.meter, headings, units, piece, decimals, style, dice);
            (name, encode(&text, style.meter.encoding))
        };
        rows.chunks(size).enumerate().map(piece).collect::<Vec<_>>()
    };
    let rows = |behind: f64, pick: &dyn Fn(f64, f64) -> Vec<f64>| -> Vec<Row> {
        readings
            .meter
            .iter()
            .map(|[t, u, i]| (*t - behind, pick(*u, sign * i)))
            .collect()
    };
    match style.split_meter_s {
        None => out.extend(meter(
            "meter",
            &["Volt", "Amp"],
            &["V", "A"],
            &[3, 4],
            rows(0.0, &|u, i| vec![u, i]),
            dice,
        )),
        Some(behind) => {
            out.extend(meter(
                "volts",
                &["Volt"],
                &["V"],
                &[3],
                rows(0.0, &|u, _| vec![u]),
                dice,
            ));
            out.extend(meter(
                "amps",
                &["Amp"],
                &["A"],
                &[4],
                rows(behind, &|_, i| vec![i]),
                dice,
            ));
        }
    }
    let (symbol, convert): (&str, fn(f64) -> f64) = if style.fahrenheit {
        ("degF", |c| c * 1.8 + 32.0)
    } else {
        ("degC", |c| c)
    };
    let rows: Vec<Row> = readings
        .air
        .iter()
        .map(|[t, a, b, c, rh]| {
            (
                *t - style.behind_s,
                vec![convert(*a), convert(*b), convert(*c), *rh],
            )
        })
        .collect();
    let headings = ["Zuluft", "Abluft", "Raum", "Feuchte"];
    let text = text(
        &style.air,
        &headings,
        &[symbol, symbol, symbol, "%"],
        &rows,
        &[2, 2, 2, 1],
        style,
        dice,
    );
    out.push(("logs/air.txt".to_owned(), encode(&text, style.air.encoding)));
    out
}

fn manifest(style: &Style) -> String {
    let mut toml = String::from(
        "title = \"Made logs (answer known)\"\n\n[unit]\nname = \"made unit\"\n\n[runs]\nfile = \"runs.csv\"\n",
    );
    let unit = if style.fahrenheit { "degF" } else { "degC" };
    let sign = if style.negative { ", sign = -1" } else { "" };
    let meter = [("voltage", "Volt", "V", ""), ("current", "Amp", "A", sign)];
    let air = [
        ("intake_temp", "Zuluft", unit, ""),
        ("outlet_temp", "Abluft", unit, ""),
        ("ambient_temp", "Raum", unit, ""),
        ("intake_rh", "Feuchte", "%", ""),
    ];
    let file = |name: &str| {
        let pieces = if style.pieces == 1 { "" } else { "-*" };
        format!("logs/{name}{pieces}.csv")
    };
    match style.split_meter_s {
        None => toml.push_str(&log(&file("meter"), &style.meter, style, 0.0, &meter)),
        Some(behind) => {
            let (volts, amps) = meter.split_at(1);
            toml.push_str(&log(&file("volts"), &style.meter, style, 0.0, volts));
            toml.push_str(&log(&file("amps"), &style.meter, style, behind, amps));
        }
    }
    toml.push_str(&log(
        "logs/air.txt",
        &style.air,
        style,
        if style.told { style.behind_s } else { 0.0 },
        &air,
    ));
    toml
}

fn log(
    file: &str,
    f: &FileStyle,
    style: &Style,
    shift_s: f64,
    channels: &[(&str, &str, &str, &str)],
) -> String {
    let mut toml = format!("\n[[log]]\nfile = \"{file}\"\n");
    if f.unit_row {
        toml.push_str("unit_rows = 1\n");
    }
    let (column, format) = match f.time {
        TimeStyle::Plain => ("\"Zeit\"", "%Y-%m-%d %H:%M:%S"),
        TimeStyle::Dotted => ("\"Zeit\"", "%d.%m.%Y %H:%M:%S"),
        TimeStyle::HalfDays => ("\"Zeit\"", "%m/%d/%Y %I:%M:%S %p"),
        TimeStyle::Iso => ("\"Zeit\"", "iso"),
        TimeStyle::Unix => ("\"Zeit\"", "unix"),
        TimeStyle::UnixMs => ("\"Zeit\"", "unix_ms"),
        TimeStyle::TwoColumns => ("[\"Datum\", \"Uhrzeit\"]", "%d.%m.%y %H:%M:%S"),
        TimeStyle::Elapsed => ("\"Zeit\"", "elapsed_s"),
    };
    toml.push_str(&format!(
        "\n[log.time]\ncolumn = {column}\nformat = \"{format}\"\n"
    ));
    match f.time {
        TimeStyle::Unix | TimeStyle::UnixMs | TimeStyle::Iso => {}
        TimeStyle::Elapsed => toml.push_str(&format!(
            "origin = \"{}\"\n",
            utc(style.first_start).unwrap_or_default()
        )),
        _ => toml.push_str(&format!("zone = \"{}\"\n", f.zone)),
    }
    if shift_s != 0.0 {
        toml.push_str(&format!("shift = \"{shift_s} s\"\n"));
    }
    toml.push_str("\n[log.channels]\n");
    for (name, column, unit, more) in channels {
        // A unit row gives the units itself.
        let unit = if f.unit_row {
            String::new()
        } else {
            format!(", unit = \"{unit}\"")
        };
        toml.push_str(&format!(
            "{name} = {{ column = \"{column}\"{unit}{more} }}\n"
        ));
    }
    toml
}

fn runs(windows: &[Window]) -> String {
    let mut csv = String::from("run,kind,mode,fan,block,start,end\n");
    for (i, p) in windows.iter().enumerate() {
        csv.push_str(&format!(
            "r{:02},cooling,made,{},day 1,{},{}\n",
            i + 1,
            p.fan,
            utc(p.start).unwrap_or_default(),
            utc(p.start + p.length_s).unwrap_or_default()
        ));
    }
    csv
}

/// One file's text.
fn text(
    f: &FileStyle,
    headings: &[&str],
    units: &[&str],
    rows: &[Row],
    decimals: &[usize],
    style: &Style,
    dice: &mut Dice,
) -> String {
    let end = if f.crlf { "\r\n" } else { "\n" };
    let d = f.delimiter;
    let mut out = String::new();
    for k in 0..f.preamble {
        out.push_str(&format!("# setting {k}: made{end}"));
    }
    let time_head = if f.time == TimeStyle::TwoColumns {
        format!("Datum{d}Uhrzeit")
    } else {
        "Zeit".to_owned()
    };
    let join = |cells: &[&str]| cells.join(&d.to_string());
    out.push_str(&format!("{time_head}{d}{}{d}Größe{end}", join(headings)));
    if f.unit_row {
        let blank = if f.time == TimeStyle::TwoColumns {
            d.to_string()
        } else {
            String::new()
        };
        let shown: Vec<String> = units.iter().map(|u| u.replace("deg", "°")).collect();
        let shown: Vec<&str> = shown.iter().map(String::as_str).collect();
        out.push_str(&format!("{blank}{d}{}{d}{end}", join(&shown)));
    }
    let zone = zone(f.zone).unwrap_or(TimeZone::UTC);
    for (t, values) in rows {
        if style.spoilt > 0.0 && dice.chance(style.spoilt) {
            out.push_str(&spoilt(dice, f, end));
        }
        out.push_str(&stamp(*t, f, &zone, style));
        for (k, v) in values.iter().enumerate() {
            out.push(d);
            if style.spoilt > 0.0 && dice.chance(style.spoilt) {
                out.push_str(["", "NaN", "---", "-9999"][dice.whole(0, 3)]);
                continue;
            }
            let places = decimals.get(k).copied().unwrap_or(2);
            let number = format!("{v:.places$}");
            out.push_str(&if f.comma {
                number.replace('.', ",")
            } else {
                number
            });
        }
        out.push_str(&format!("{d}{end}"));
    }
    out
}

/// A line that is no reading.
fn spoilt(dice: &mut Dice, f: &FileStyle, end: &str) -> String {
    match dice.whole(0, 2) {
        0 => end.to_owned(),
        1 => format!("--- logger restarted ---{end}"),
        _ => format!("Zeit{0}???{end}", f.delimiter),
    }
}

fn stamp(t: f64, f: &FileStyle, zone: &TimeZone, style: &Style) -> String {
    let ms = (t * 1000.0).round() as i64;
    let wall = Timestamp::from_millisecond(ms)
        .unwrap_or_default()
        .to_zoned_datetime(zone.clone());
    let fraction = if ms % 1000 == 0 { "" } else { "%.3f" };
    let strftime = |pattern: &str| wall.strftime(&format!("{pattern}{fraction}")).to_string();
    match f.time {
        TimeStyle::Plain => strftime("%Y-%m-%d %H:%M:%S"),
        TimeStyle::Dotted => strftime("%d.%m.%Y %H:%M:%S"),
        TimeStyle::HalfDays => wall
            .strftime(&format!("%m/%d/%Y %I:%M:%S{fraction} %p"))
            .to_string(),
        TimeStyle::Iso => format!("{}{}", strftime("%Y-%m-%dT%H:%M:%S"), wall.strftime("%:z")),
        TimeStyle::Unix => decimal(format!("{}", ms as f64 / 1000.0), f),
        TimeStyle::UnixMs => format!("{ms}"),
        TimeStyle::TwoColumns => format!(
            "{}{}{}",
            wall.strftime("%d.%m.%y"),
            f.delimiter,
            strftime("%H:%M:%S")
        ),
        TimeStyle::Elapsed => decimal(format!("{:.1}", t - style.first_start), f),
    }
}

fn decimal(number: String, f: &FileStyle) -> String {
    if f.comma {
        number.replace('.', ",")
    } else {
        number
    }
}

fn encode(text: &str, encoding: Encoding) -> Vec<u8> {
    match encoding {
        Encoding::Utf8 => text.as_bytes().to_vec(),
        Encoding::Utf8Mark => [b"\xEF\xBB\xBF", text.as_bytes()].concat(),
        Encoding::Latin1 => text
            .chars()
            .map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?'))
            .collect(),
        Encoding::Utf16 => std::iter::once(0xFEFF)
            .chain(text.encode_utf16())
            .flat_map(u16::to_le_bytes)
            .collect(),
    }
}
