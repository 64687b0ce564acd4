//! The notebooks' and the README's console blocks are run, and what they print is compared.

use std::path::Path;

use assert_cmd::Command;

/// Counts the console blocks of a page, so that an empty run cannot pass for a good one.
fn console_blocks(page: &Path) -> usize {
    std::fs::read_to_string(page)
        .unwrap_or_default()
        .lines()
        .filter(|l| l.trim_start().starts_with("```console"))
        .count()
}

#[test]
fn every_notebook_says_what_the_program_says() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut pages: Vec<_> = std::fs::read_dir(root.join("notebooks-md"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|x| x == "md"))
        .collect();
    pages.push(root.join("README.md"));
    for page in &pages {
        assert!(console_blocks(page) > 0, "{} runs nothing", page.display());
    }
    let cases = trycmd::TestCases::new();
    cases.case("notebooks-md/*.md").case("README.md");
    cases.run();
}

/// Each picture of the pages, the command line that makes it, and its name there. `OUT` stands for a folder.
const PICTURES: [(&str, &str, &str); 6] = [
    (
        "draw-by-fan.png",
        "report --out OUT",
        "figures/draw-by-fan.png",
    ),
    (
        "compressor-by-airflow.png",
        "report --out OUT",
        "figures/compressor-by-airflow.png",
    ),
    (
        "cool-hours.png",
        "report data/stories/cool-hours --out OUT",
        "figures/draw-by-intake.png",
    ),
    ("day.png", "runtime --out OUT", "day.png"),
    (
        "read-demand.png",
        "reduce data/chamber-day --out OUT --figures OUT",
        "run-demand.png",
    ),
    (
        "two-units.png",
        "compare data/demo data/stories/second-cooler --out OUT",
        "compare.png",
    ),
];

/// Share of pixels that are not alike; 1 where the pictures differ in size.
fn differing(a: &[u8], b: &[u8]) -> f64 {
    let decode = |bytes| resvg::tiny_skia::Pixmap::decode_png(bytes).unwrap();
    let (a, b) = (decode(a), decode(b));
    if (a.width(), a.height()) != (b.width(), b.height()) {
        return 1.0;
    }
    // Another processor may round a pixel at the edge of a line otherwise by a step or two, no more.
    let differ = |(p, q): (&u8, &u8)| p.abs_diff(*q) > 8;
    let count = a.data().iter().zip(b.data()).filter(|p| differ(*p)).count();
    count as f64 / a.data().len() as f64
}

/// `TRYCMD=overwrite` makes the pictures anew, as it does the console blocks.
#[test]
fn every_picture_is_what_the_program_draws() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let kept = root.join("notebooks-md/figures");
    let mut there: Vec<String> = std::fs::read_dir(&kept)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    let mut known: Vec<String> = PICTURES.iter().map(|p| p.0.to_owned()).collect();
    there.sort();
    known.sort();
    assert_eq!(there, known, "pictures without a command that makes them");
    let mut made = std::collections::BTreeMap::new();
    for (picture, line, name) in PICTURES {
        let out = made.entry(line).or_insert_with(|| {
            let folder = tempfile::tempdir().unwrap();
            let out = folder.path().to_str().unwrap();
            let words = line.split(' ').map(|w| w.replace("OUT", out));
            Command::cargo_bin("steadydraw")
                .unwrap()
                .current_dir(root)
                .args(words)
                .assert()
                .success();
            folder
        });
        let fresh = std::fs::read(out.path().join(name)).unwrap();
        let path = kept.join(picture);
        if std::env::var("TRYCMD").is_ok_and(|v| v == "overwrite") {
            std::fs::write(&path, &fresh).unwrap();
        }
        let share = differing(&std::fs::read(&path).unwrap(), &fresh);
        assert!(
            share < 1e-4,
            "{picture} is not what `steadydraw {line}` draws: {:.2} % of it differs; TRYCMD=overwrite makes it anew",
            100.0 * share
        );
    }
}

/// The fenced blocks of a page in a language.
fn blocks(page: &str, language: &str) -> Vec<String> {
    let opening = format!("```{language}\n");
    let parts = page.split(&opening).skip(1);
    parts
        .filter_map(|p| p.split_once("```").map(|(block, _)| block.to_owned()))
        .collect()
}

#[test]
fn the_benches_that_the_readme_shows_can_be_read() {
    let page = include_str!("../README.md");
    let toml = blocks(page, "toml");
    let tables = blocks(page, "text");
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    let with = |part: &str| toml.iter().find(|t| t.contains(part)).unwrap();
    let run = |command: &str| {
        let mut run = Command::cargo_bin("steadydraw").unwrap();
        run.current_dir(folder.path()).args([command, "."]).assert()
    };
    let plain = with("[points]");
    write("bench.toml", plain);
    write(
        "points.csv",
        tables.iter().find(|t| t.starts_with("run,kind")).unwrap(),
    );
    run("check").success();
    // With the duct that it shows; five points on each of five lines, at each fan level, in place of its first two.
    let traverse = tables
        .iter()
        .find(|t| t.starts_with("fan,pass,line"))
        .unwrap();
    let heading = traverse.lines().next().unwrap();
    let rows: String = (0..25)
        .map(|i| {
            format!(
                "1,1,{},{},{}\n",
                1 + i / 5,
                1 + i % 5,
                1.7 + 0.01 * f64::from(i)
            )
        })
        .collect();
    let duct = with("[duct]").replace(
        "diameter = \"160 mm\"",
        "width = \"200 mm\"\nheight = \"100 mm\"",
    );
    write("traverse.csv", &format!("{heading}\n{rows}"));
    write("bench.toml", &format!("{plain}\n{duct}"));
    run("check").success();
    // From raw logs.
    let logs = with("[[log]]");
    write(
        "bench.toml",
        &format!("title = \"logs\"\n[unit]\nname = \"cooler\"\n{logs}"),
    );
    write(
        "runs.csv",
        "run,kind,mode,fan,block,start,end\nr01,cooling,cruise,1,day 1,2026-05-04 10:00:00,2026-05-04 10:40:00\n",
    );
    std::fs::create_dir(folder.path().join("logs")).unwrap();
    let log: String = (0..240)
        .map(|i| {
            format!(
                "2026-05-04 10:{:02}:{:02},25.6,-{:.2}\n",
                i / 6,
                10 * (i % 6),
                7.0 + 0.01 * f64::from(i % 3)
            )
        })
        .collect();
    write("logs/meter.csv", &format!("Time,U,I\n{log}"));
    std::fs::remove_file(folder.path().join("points.csv")).unwrap();
    run("reduce").success();
    let points = std::fs::read_to_string(folder.path().join("points.csv")).unwrap();
    assert!(points.contains("r01"), "{points}");
}
