//! `bench.toml` and paths.

use std::path::Path;

use crate::support::{BenchDir, POINTS, TOML};
use crate::{At, COMMANDS, refused, replaced, toml};

#[test]
fn manifests_that_do_not_fit() {
    toml("toml-empty", At::File, "");
    toml("toml-syntax", At::Cell, replaced("[site]", "[site"));
    toml(
        "toml-key-twice",
        At::Cell,
        replaced("altitude =", "altitude = \"3 m\"\naltitude ="),
    );
    toml("toml-binary", At::Line, replaced("Quay", "Qu\0ay"));
    toml(
        "toml-latin-1",
        At::Line,
        replaced("Quay", "Qu?y")
            .bytes()
            .map(|b| if b == b'?' { 0xE4 } else { b })
            .collect::<Vec<u8>>(),
    );
    toml(
        "toml-deep",
        At::Cell,
        format!("{TOML}x = {}{}\n", "[".repeat(5000), "]".repeat(5000)),
    );
    toml(
        "toml-number-for-quantity",
        At::Cell,
        replaced("\"25.6 V\"", "25.6"),
    );
    toml(
        "toml-flag-for-quantity",
        At::Cell,
        replaced("\"40 m\"", "true"),
    );
    toml(
        "toml-number-for-text",
        At::Cell,
        replaced("\"shed cooler, invented\"", "7"),
    );
    toml("toml-number-for-section", At::Cell, "points = 5\n");
    toml(
        "toml-list-for-section",
        At::Cell,
        replaced("[points]", "[[points]]"),
    );
    toml(
        "toml-section-for-list",
        At::Cell,
        "[points]\nfile = \"points.csv\"\n[instrument]\nname = \"meter\"\n",
    );
    toml("toml-no-points", At::File, "title = \"x\"\n");
    toml(
        "toml-points-without-file",
        At::Cell,
        replaced("file = \"points.csv\"\n", ""),
    );
    toml(
        "toml-file-is-a-number",
        At::Cell,
        replaced("\"points.csv\"", "5"),
    );
    toml("toml-unit-wrong", At::Cell, replaced("25.6 V", "25.6 W"));
    toml(
        "toml-unit-misspelt",
        At::Cell,
        replaced("40 m", "40 metrse"),
    );
    toml("toml-decimal-comma", At::Cell, replaced("25.6 V", "25,6 V"));
    toml(
        "toml-supply-negative",
        At::Cell,
        replaced("25.6 V", "-25.6 V"),
    );
    toml(
        "toml-altitude-of-space",
        At::Cell,
        replaced("40 m", "40000 m"),
    );
    toml(
        "toml-pressure-too-low",
        At::Cell,
        replaced("altitude = \"40 m\"", "pressure = \"10 hPa\""),
    );
    toml(
        "toml-accuracy-in-words",
        At::Cell,
        replaced("0.8 % of reading", "good"),
    );
    toml(
        "toml-accuracy-negative",
        At::Cell,
        replaced("0.8 % of reading", "-0.8 % of reading"),
    );
    toml(
        "toml-accuracy-without-unit",
        At::Cell,
        replaced("0.4 degC", "0.4"),
    );
    toml(
        "toml-accuracy-over-100",
        At::Cell,
        replaced("0.8 % of reading", "900 % of reading"),
    );
    toml(
        "toml-accuracy-of-two-kinds",
        At::Cell,
        replaced("0.8 % of reading", "0.8 W"),
    );
    toml(
        "toml-accuracy-missing",
        At::Cell,
        replaced("accuracy = \"0.4 degC\"\n", ""),
    );
    toml(
        "toml-measures-misspelt",
        At::Cell,
        replaced("[\"airflow\"]", "[\"airfow\"]"),
    );
    toml(
        "toml-measures-no-list",
        At::Cell,
        replaced("[\"airflow\"]", "\"airflow\""),
    );
    toml(
        "toml-measures-missing",
        At::Cell,
        replaced("measures = [\"airflow\"]\n", ""),
    );
    toml(
        "toml-duct-shape",
        At::Cell,
        format!("{TOML}[duct]\nshape = \"hexagon\"\n"),
    );
    toml(
        "toml-duct-size-negative",
        At::Cell,
        format!("{TOML}[duct]\ndiameter = \"-12 cm\"\n"),
    );
    toml(
        "toml-duct-place",
        At::Cell,
        format!("{TOML}[duct]\ndiameter = \"12 cm\"\nat = \"middle\"\n"),
    );
    toml(
        "toml-fan-limit-negative",
        At::Cell,
        format!("{TOML}[fan]\ndraw_limit = \"-5 W\"\n"),
    );
    toml(
        "toml-fan-level-a-number",
        At::Cell,
        format!("{TOML}[fan.levels]\n1 = 5\n"),
    );
    toml(
        "toml-fan-level-negative",
        At::Cell,
        format!("{TOML}[fan.levels]\n1 = {{ airflow = \"-200 m3/h\" }}\n"),
    );
    toml(
        "toml-fan-speed-zero",
        At::Cell,
        format!("{TOML}[fan.levels]\n1 = {{ relative_speed = 0 }}\n"),
    );
    toml(
        "toml-as-misspelt",
        At::Cell,
        replaced(
            "accuracy = \"0.4 degC\"",
            "accuracy = \"0.4 degC\"\nas = \"limit\"",
        ),
    );
}

#[test]
fn paths_that_lead_astray() {
    toml(
        "path-outside",
        At::Cell,
        replaced("\"points.csv\"", "\"../points.csv\""),
    );
    toml(
        "path-absolute",
        At::Cell,
        replaced("\"points.csv\"", "\"/etc/hostname\""),
    );
    toml("path-empty", At::Cell, replaced("\"points.csv\"", "\"\""));
    toml(
        "path-of-the-folder",
        At::Cell,
        replaced("\"points.csv\"", "\".\""),
    );
    toml(
        "path-with-nul",
        At::Cell,
        replaced("\"points.csv\"", "\"a\\u0000b\""),
    );
    refused("points-missing", At::Cell, BenchDir::new().toml(TOML));
    refused("folder-empty", At::File, BenchDir::new());
    let bench = BenchDir::new().toml(TOML);
    std::fs::create_dir(bench.path().join("points.csv")).unwrap();
    refused("points-a-folder", At::Cell, bench);
    let bench = BenchDir::new().points(POINTS);
    std::fs::create_dir(bench.path().join("bench.toml")).unwrap();
    refused("manifest-a-folder", At::File, bench);
    let logs_only = "[runs]\nfile = \"runs.csv\"\n[[log]]\nfile = \"meter.csv\"\n";
    refused("logs-only", At::File, BenchDir::new().toml(logs_only));
}

#[cfg(unix)]
#[test]
fn links_and_permissions() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let outside = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(outside.path(), POINTS).unwrap();
    let linked = |to: &Path| {
        let bench = BenchDir::new().toml(TOML);
        symlink(to, bench.path().join("points.csv")).unwrap();
        bench
    };
    refused("link-out", At::Cell, linked(outside.path()));
    refused(
        "link-to-nothing",
        At::Cell,
        linked(Path::new("nowhere.csv")),
    );
    refused(
        "link-in-a-circle",
        At::Cell,
        linked(Path::new("points.csv")),
    );
    let bench = BenchDir::new().points(POINTS);
    symlink("nowhere.toml", bench.path().join("bench.toml")).unwrap();
    refused("manifest-a-dead-link", At::File, bench);
    // A link that stays inside is as good as the file.
    linked(Path::new("inner.csv"))
        .file("inner.csv", POINTS)
        .run("check")
        .answers();
    let bench = BenchDir::invented();
    let file = bench.path().join("points.csv");
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o000)).unwrap();
    // The system's administrator may read everything, so only others can see this fault.
    if std::fs::File::open(&file).is_err() {
        refused("points-unreadable", At::File, bench);
    }
}

#[test]
fn what_is_not_there_at_all() {
    let bench = BenchDir::invented();
    for line in COMMANDS {
        let outcome = bench.run_on(Path::new("no-such-bench"), line).exits(3);
        let outcome = outcome.complains("no-such-bench found: nothing of this name expected:");
        assert!(outcome.stderr.contains("to do:"), "{}", outcome.stderr);
        let json = bench
            .run_on(Path::new("no-such-bench"), &format!("{line} --json"))
            .exits(3)
            .json();
        assert_eq!(json["error"]["faults"][0]["place"]["file"], "no-such-bench");
    }
}
