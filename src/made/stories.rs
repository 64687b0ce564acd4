//! The invented benches of the worked analyses, in `data/stories/`: two are the demo with runs left out, one is another unit.

use super::bench::{Options, make};
use super::demo;
use super::kind::Kind;

/// Seed of the other unit.
const SECOND_SEED: u64 = 458;
/// Ambient up to which a run counts as one of the cool hours, degC.
pub const COOL_UP_TO_C: f64 = 27.0;

/// The demo's points table with only the runs that `keep` asks for: it is given the cells of a row.
fn demo_rows(keep: impl Fn(&[&str]) -> bool) -> String {
    let table = demo::files()
        .iter()
        .find(|f| f.0 == "points.csv")
        .map_or("", |f| f.1);
    let mut lines = table.lines().filter(|l| !l.starts_with('#'));
    let mut out = lines.next().unwrap_or_default().to_owned();
    out.push('\n');
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        if keep(&cells) {
            out.push_str(line);
            out.push('\n');
        }
    }
    out
}

/// What the demo's bench would be had each mode been run at one fan level only: its points table.
pub fn one_fan_a_mode() -> String {
    demo_rows(|cells| match cells {
        [_, "standby", ..] => true,
        [_, "fan-only", _, fan, ..] => ["1", "3", "5"].contains(fan),
        [_, _, mode, fan, ..] => {
            [("cruise", "5"), ("hush", "1"), ("damp", "3")].contains(&(*mode, *fan))
        }
        _ => false,
    })
}

/// The demo's runs in cool ambient air alone: its points table.
pub fn cool_hours() -> String {
    const AMBIENT: usize = 10;
    demo_rows(|cells| {
        let ambient = cells.get(AMBIENT).and_then(|t| t.parse::<f64>().ok());
        cells.get(1) != Some(&"cooling") || ambient.is_some_and(|t| t <= COOL_UP_TO_C)
    })
}

/// Another unit, one compressor speed a mode: its points table and its truth as JSON.
///
/// # Errors
/// When the truth cannot be written as JSON, which does not happen.
pub fn second_cooler() -> Result<(String, String), serde_json::Error> {
    let made = make(Kind::Independent, SECOND_SEED, &Options::default());
    Ok((made.points_csv, made.truth.to_json()?))
}
