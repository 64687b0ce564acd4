//! Writes the tables of the worked analyses' invented benches anew into `data/stories/` (or the folder given):
//! `cargo run --example make_stories`.

use std::path::PathBuf;

use steadydraw::made::stories::{cool_hours, one_fan_a_mode, second_cooler};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let here = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/stories");
    let folder = std::env::args_os().nth(1).map_or(here, PathBuf::from);
    let (second, truth) = second_cooler()?;
    for (name, text) in [
        ("one-fan-a-mode/points.csv", one_fan_a_mode()),
        ("cool-hours/points.csv", cool_hours()),
        ("second-cooler/points.csv", second),
        ("second-cooler/truth.json", truth),
    ] {
        std::fs::write(folder.join(name), text)?;
    }
    println!("Wrote four files to {}", folder.display());
    Ok(())
}
