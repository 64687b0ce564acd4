//! Mapping a bare table by its headings. Nothing is taken silently: every choice comes back in words, and what a heading does not say is asked for.

use crate::bench::logs::{ChannelSpec, ColumnRef, Decimal, LogSpec, TimeFormat, TimeSpec};
use crate::bench::{BenchError, Channel, Fault, Place, SourceFile, clip};
use crate::logs::cells::{lines, split_quoted};
use crate::logs::stamp::{Stamp, StampReader};
use crate::logs::text::{Blocks, TextError};
use crate::logs::text_of;
use crate::quantity::Unit;

use super::headings::{Line, Role, apart, find_line, nothing};

/// Lines searched for the headings.
const SEARCHED: usize = 300;

/// What the command line says about a table; all of it may be left out.
#[derive(Clone, Debug, Default)]
pub struct Wish {
    /// The time column: a heading, `Heading [unit]`, or `#3`.
    pub time: Option<String>,
    /// How times are written, as in `[log.time]`.
    pub time_format: Option<TimeFormat>,
    /// The zone of a wall clock.
    pub zone: Option<String>,
    /// The current column.
    pub current: Option<String>,
    /// The voltage column.
    pub voltage: Option<String>,
    /// What stands between cells.
    pub delimiter: Option<u8>,
    /// Whether numbers have a decimal comma.
    pub decimal: Option<Decimal>,
    /// Only rows whose cell in this column reads so.
    pub only: Option<(String, String)>,
    /// Whether a table without a current will do.
    pub no_current: bool,
}

/// A column wished for: its name or number, and the unit beside it.
fn wished(text: &str, role: Role) -> Result<(ColumnRef, Option<Unit>), BenchError> {
    let place = || Place::file(format!("--{}", role.word()));
    let (name, unit) = match text.rsplit_once('[') {
        Some((name, rest)) if rest.trim_end().ends_with(']') => {
            let symbol = rest.trim_end().trim_end_matches(']');
            let unit = Unit::parse_for(symbol, role.dimension()).map_err(|e| {
                Fault::new(place(), format!("the unit [{}]", clip(symbol)), e.expected)
            })?;
            (name.trim(), Some(unit))
        }
        _ => (text.trim(), None),
    };
    let column = match name.strip_prefix('#').map(str::parse::<usize>) {
        Some(Ok(n)) if (1..=10_000).contains(&n) => ColumnRef::Number(n),
        _ if name.is_empty() => {
            return Err(Fault::new(
                place(),
                "an empty name",
                "a heading, or a number such as #3",
            )
            .into());
        }
        _ => ColumnRef::Name(name.to_owned()),
    };
    Ok((column, unit))
}

/// Maps a table: which columns hold time, voltage and current, and in which units.
///
/// # Errors
/// [`BenchError`] that says what is missing or can be read in two ways, with the option that settles it.
pub fn map(file: &SourceFile, wish: &Wish) -> Result<(LogSpec, Vec<String>), BenchError> {
    let text = text_of(file, wish.decimal)?;
    let mut blocks = Blocks::new(text.reader, &text.name, None).map_err(|e| raise(file, e))?;
    let first = blocks.next_block().map_err(|e| raise(file, e))?;
    let first = first.unwrap_or_default();
    let encoding = blocks.encoding();
    let head: Vec<(usize, &[u8])> = lines(&first.bytes, 1).take(SEARCHED).collect();
    let asked = [&wish.time, &wish.current, &wish.voltage];
    let mut wishes = [const { None }; 3];
    for ((slot, text), role) in wishes.iter_mut().zip(asked).zip(Role::ALL) {
        if let Some(text) = text {
            *slot = Some(wished(text, role)?);
        }
    }
    let needed: Vec<usize> = (0..3)
        .filter(|k| wishes.get(*k).is_some_and(Option::is_none))
        .filter(|k| *k != 1 || !wish.no_current)
        .collect();
    let line = if needed.is_empty() {
        None
    } else {
        Some(find_line(file, &head, encoding, wish, &needed)?)
    };
    let mut taken = Vec::new();
    let mut channels = Vec::new();
    let mut time = None;
    for (k, role) in Role::ALL.into_iter().enumerate() {
        let (column, unit, heading) = match wishes.get_mut(k).and_then(Option::take) {
            Some((column, unit)) => {
                let shown = match &column {
                    ColumnRef::Name(name) => format!("`{}`", clip(name)),
                    ColumnRef::Number(n) => format!("column {n}"),
                };
                // A heading named without its unit may carry it.
                let unit = unit.or_else(|| match &column {
                    ColumnRef::Name(name) => apart(name, role.dimension()).1,
                    ColumnRef::Number(_) => None,
                });
                (column, unit, shown)
            }
            None => {
                let found = line.as_ref().and_then(|l| {
                    let (at, _) = l.best.get(k).copied().flatten()?;
                    Some((at, l.cells.get(at)?))
                });
                let Some((at, heading)) = found else {
                    continue;
                };
                let unit = apart(heading, role.dimension()).1;
                (
                    ColumnRef::Number(at + 1),
                    unit,
                    format!("`{}`", clip(heading)),
                )
            }
        };
        if role == Role::Time {
            let (format, zone, words) =
                time_format(file, wish, unit, &column, line.as_ref(), &head, &heading)?;
            taken.push(format!("time from {heading}, {words}"));
            time = Some(TimeSpec {
                columns: vec![column],
                format,
                zone,
                shift_s: 0.0,
                dated: false,
                year: None,
                origin: None,
                place: Place::file("--time"),
                format_place: Place::file("--time-format"),
                zone_place: Place::file("--zone"),
            });
            continue;
        }
        let Some(unit) = unit else {
            return Err(Fault::new(
                Place::file(&file.name),
                format!("the {} under {heading}, which names no unit", role.word()),
                format!("{} with its unit", role.dimension().words()),
            )
            .remedy(format!(
                "name it: --{} \"{} [{}]\"",
                role.word(),
                heading.trim_matches('`'),
                role.unit_like()
            ))
            .into());
        };
        taken.push(format!("{} from {heading} in {unit}", role.word()));
        channels.push(ChannelSpec {
            channel: if role == Role::Current {
                Channel::Current
            } else {
                Channel::Voltage
            },
            column,
            unit: Some(unit),
            factor: 1.0,
            offset: 0.0,
            place: Place::file(format!("--{}", role.word())),
        });
    }
    let Some(time) = time else {
        return Err(nothing(file, &["time"]));
    };
    // Where columns go by number, rows above the table are told from it by their times and numbers.
    let spec = LogSpec {
        file: file.name.clone(),
        place: Place::file(&file.name),
        delimiter: wish
            .delimiter
            .or_else(|| line.as_ref().map(|l| l.delimiter)),
        decimal: wish.decimal,
        unit_rows: 0,
        encoding: None,
        missing: Vec::new(),
        only: wish.only.as_ref().map(|(column, value)| {
            let at = line
                .as_ref()
                .and_then(|l| l.cells.iter().position(|c| c == column));
            let column = at.map_or_else(
                || ColumnRef::Name(column.clone()),
                |at| ColumnRef::Number(at + 1),
            );
            (column, value.clone())
        }),
        time,
        channels,
    };
    Ok((named(spec, line.as_ref()), taken))
}

/// Columns by heading again where each heading stands only once, so that the log reader finds the table below any preamble.
fn named(mut spec: LogSpec, line: Option<&Line>) -> LogSpec {
    let Some(line) = line else {
        return spec;
    };
    let name = |column: &mut ColumnRef| {
        if let ColumnRef::Number(n) = column
            && let Some(cell) = line.cells.get(n.saturating_sub(1))
            && line
                .cells
                .iter()
                .filter(|c| c.eq_ignore_ascii_case(cell))
                .count()
                == 1
        {
            *column = ColumnRef::Name(cell.clone());
        }
    };
    spec.time.columns.iter_mut().for_each(name);
    spec.channels.iter_mut().for_each(|c| name(&mut c.column));
    if let Some((column, _)) = &mut spec.only {
        name(column);
    }
    spec
}

/// How the time is written: as asked, from the heading's unit, or from the first cell.
fn time_format(
    file: &SourceFile,
    wish: &Wish,
    unit: Option<Unit>,
    column: &ColumnRef,
    line: Option<&Line>,
    head: &[(usize, &[u8])],
    heading: &str,
) -> Result<(TimeFormat, Option<String>, String), BenchError> {
    let cells: Vec<Vec<u8>> = match (column, line) {
        (ColumnRef::Number(n), Some(line)) => head
            .iter()
            .filter(|(number, _)| *number > line.number)
            .filter_map(|(_, l)| {
                split_quoted(l, line.delimiter)
                    .get(n - 1)
                    .map(|c| c.trim_ascii().to_vec())
            })
            .filter(|c| !c.is_empty())
            .take(20)
            .collect(),
        _ => Vec::new(),
    };
    let reads = |format: &TimeFormat| {
        let reader = StampReader::new(format, None, false).ok()?;
        cells.iter().find_map(|c| reader.read(c).ok())
    };
    let (format, words) = match (&wish.time_format, unit) {
        (Some(format), _) => (format.clone(), "as the option says".to_owned()),
        (None, Some(unit)) => (
            TimeFormat::Elapsed(1.0 / unit.to_si(1.0)),
            format!("elapsed in {unit}"),
        ),
        (None, None) if reads(&TimeFormat::Iso).is_some() => {
            (TimeFormat::Iso, "dates and times of day".to_owned())
        }
        (None, None) if reads(&TimeFormat::ElapsedClock).is_some() => (
            TimeFormat::ElapsedClock,
            "elapsed hours, minutes and seconds".to_owned(),
        ),
        (None, None) => {
            let shown = cells.first().map_or_else(String::new, |c| {
                format!(" (first cell `{}`)", clip(&String::from_utf8_lossy(c)))
            });
            return Err(Fault::new(
                Place::file(&file.name),
                format!("the time under {heading}{shown}, which does not say how it is to be read"),
                "elapsed time with its unit, or dates and times of day",
            )
            .remedy(format!(
                "elapsed: --time \"{} [s]\"; a date: --time-format \"%d.%m.%Y %H:%M:%S\"",
                heading.trim_matches('`')
            ))
            .into());
        }
    };
    let local =
        matches!(format, TimeFormat::Pattern(_)) || matches!(reads(&format), Some(Stamp::Local(_)));
    let mut words = words;
    let zone = wish.zone.clone().or_else(|| {
        local.then(|| {
            words.push_str(", without a change of summer time (no zone named)");
            "UTC".to_owned()
        })
    });
    Ok((format, zone, words))
}

fn raise(file: &SourceFile, error: TextError) -> BenchError {
    match error {
        TextError::Io(source) => file.io(source),
        TextError::Fault(fault) => (*fault).into(),
    }
}
