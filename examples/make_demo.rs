//! Writes the demo bench's table and truth anew into `data/demo/` (or the folder given): `cargo run --example make_demo`.

use std::path::PathBuf;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let here = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/demo");
    let folder = std::env::args_os().nth(1).map_or(here, PathBuf::from);
    let (points, truth) = steadydraw::made::demo::make()?;
    std::fs::write(folder.join("points.csv"), points)?;
    std::fs::write(folder.join("truth.json"), truth)?;
    println!("Wrote points.csv and truth.json to {}", folder.display());
    Ok(())
}
