//! The write-up: whole, alone, and honest about the demo.

use assert_cmd::Command;

fn report(folder: &std::path::Path, more: &[&str]) -> assert_cmd::assert::Assert {
    Command::cargo_bin("steadydraw")
        .unwrap()
        .args(["report", "--out"])
        .arg(folder)
        .args(more)
        .assert()
}

#[test]
fn the_demo_report_is_one_folder_that_stands_alone() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("r");
    report(&out, &[])
        .success()
        .stdout(predicates_contain("invented"));
    let page = std::fs::read_to_string(out.join("index.html")).unwrap();
    for outside in ["http://", "https://", "src=\"//", "@import", "<script src"] {
        let found = page.replace("http://www.w3.org/", "");
        assert!(
            !found.contains(outside),
            "the page reaches outside: {outside}"
        );
    }
    assert!(!page.contains("NaN"));
    for name in [
        "draw-by-fan",
        "draw-by-intake",
        "capacity-by-intake",
        "coupling",
    ] {
        let svg = std::fs::read_to_string(out.join(format!("figures/{name}.svg"))).unwrap();
        assert!(svg.starts_with("<svg") || svg.starts_with("<?xml"));
        // Outlines, so that it looks the same where no font is installed.
        assert!(!svg.contains("<text"), "{name} needs a font");
        assert!(!svg.contains("NaN"));
        let png = std::fs::read(out.join(format!("figures/{name}.png"))).unwrap();
        assert_eq!(&png[1..4], b"PNG");
        assert!(page.contains("role=\"img\""));
    }
    let markdown = std::fs::read_to_string(out.join("writeup.md")).unwrap();
    assert!(markdown.contains("figures/draw-by-fan.png"));
    assert!(markdown.contains("Cautions"));
    assert!(std::fs::read_dir(out.join("tables")).unwrap().count() >= 4);
}

#[test]
fn nothing_is_overwritten_unasked_and_reports_repeat_to_the_byte() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("r");
    report(&out, &[]).success();
    let first = std::fs::read(out.join("index.html")).unwrap();
    report(&out, &[])
        .code(3)
        .stderr(predicates_contain("--force"));
    report(&out, &["--force"]).success();
    assert_eq!(first, std::fs::read(out.join("index.html")).unwrap());
}

fn predicates_contain(text: &'static str) -> impl predicates::Predicate<str> {
    predicates::str::contains(text)
}
