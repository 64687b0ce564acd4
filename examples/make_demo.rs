//! Writes the demo bench's table, truth and discharge logs anew into `data/demo/` (or the folder given): `cargo run --example make_demo`.

use std::path::PathBuf;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let here = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/demo");
    let folder = std::env::args_os().nth(1).map_or(here, PathBuf::from);
    let (points, truth) = steadydraw::made::demo::make()?;
    std::fs::write(folder.join("points.csv"), points)?;
    std::fs::write(folder.join("truth.json"), truth)?;
    for (name, text) in steadydraw::made::demo::discharge_logs() {
        std::fs::write(folder.join(name), text)?;
    }
    println!(
        "Wrote points.csv, truth.json and two discharge logs to {}",
        folder.display()
    );
    Ok(())
}
