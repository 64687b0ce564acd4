//! Turns the published chamber points of a two-stage heat pump into a bench: `data/two-stage-heat-pump/points.csv`.
//!
//! `cargo run --example make_two_stage` writes the table; `tests/two_stage.rs` checks that it is up to date.

use steadydraw::made::two_stage::points_csv;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("data/two-stage-heat-pump");
    let source = std::fs::read_to_string(folder.join("source.csv"))?;
    std::fs::write(folder.join("points.csv"), points_csv(&source)?)?;
    println!("data/two-stage-heat-pump/points.csv written");
    Ok(())
}
