//! What the page computes is what the commands say.

use serde_json::Value;
use steadydraw::made::bench::{Kind, Options, make};

use super::chrome::Chrome;
use super::support::BenchDir;
use super::{Written, quiet};

/// Relative agreement asked for. The page solves for its quantiles to 1e-11 of their size, the command to 1e-10.
const AGREES: f64 = 1e-8;

/// Inside the tests, between set points, a little and far outside on both sides.
const INTAKES: [f64; 9] = [8.0, 19.0, 22.3, 24.9, 27.0, 29.4, 31.8, 36.0, 46.0];

struct Compared {
    values: usize,
    worst: f64,
}

impl Compared {
    fn near(&mut self, page: &Value, command: &Value, what: &str) {
        match (page.as_f64(), command.as_f64()) {
            (None, None) => {}
            (Some(p), Some(c)) => {
                let apart = (p - c).abs() / c.abs().max(1e-6);
                assert!(apart < AGREES, "{what}: page {p}, command {c}");
                self.worst = self.worst.max(apart);
                self.values += 1;
            }
            _ => panic!("{what}: page {page}, command {command}"),
        }
    }
}

/// A page beside the commands that it must agree with.
struct Beside<'a> {
    written: &'a Written,
    chrome: Chrome,
    modes: Vec<String>,
    fans: Vec<String>,
    /// Options of every command, such as a level.
    options: &'a str,
    seen: Compared,
}

impl Beside<'_> {
    fn new<'a>(written: &'a Written, options: &'a str) -> Option<Beside<'a>> {
        let mut chrome = Chrome::start()?;
        chrome.open(&written.page(), 1000, 900);
        let mut names = |what: &str| -> Vec<String> {
            let model = "JSON.parse(document.getElementById('explorer-model').textContent)";
            serde_json::from_value(chrome.evaluate(&format!("{model}.{what}"))).unwrap()
        };
        let (modes, fans) = (names("modes"), names("fans"));
        Some(Beside {
            written,
            chrome,
            modes,
            fans,
            options,
            seen: Compared {
                values: 0,
                worst: 0.0,
            },
        })
    }

    fn page(&mut self, mode: usize, fan: usize, intake: f64, ambient: Option<f64>) -> Value {
        let ambient = ambient.map_or("undefined".to_owned(), |a| a.to_string());
        self.chrome.evaluate(&format!("steadydraw.ask({{mode: {mode}, fan: {fan}, intake: {intake}, ambient: {ambient}, battery: steadydraw.battery}})"))
    }

    /// All tested settings, or one that is named, at every intake. Whether the commands answer.
    fn compare(&mut self, ambient: Option<f64>, setting: &str) -> bool {
        let intakes = INTAKES.map(|t| format!("{t}degC")).join(",");
        let at = ambient.map_or(String::new(), |a| format!(" --ambient {a}degC"));
        let line = format!("--intake {intakes} {setting}{at} {}", self.options);
        let Some(predicted) = self.written.ask(&format!("predict {line}")) else {
            return false;
        };
        let hours = self.written.ask(&format!("runtime {line}"));
        for (i, p) in predicted["predictions"]
            .as_array()
            .unwrap()
            .iter()
            .enumerate()
        {
            let fan = match &p["fan"] {
                Value::String(label) => label.clone(),
                number => number.to_string(),
            };
            let mode = self.modes.iter().position(|m| p["mode"] == **m).unwrap();
            let level = self.fans.iter().position(|f| *f == fan).unwrap();
            let intake = p["intake_c"].as_f64().unwrap();
            let page = self.page(mode, level, intake, ambient);
            let what = |name: &str| format!("{} fan {fan} at {intake}{at}, {name}", p["mode"]);
            let (draw, capacity) = (&page["draw"], &page["capacity"]);
            for (name, mine, command) in [
                ("draw", &draw["draw_w"], &p["draw_w"]),
                ("mean, low", &draw["mean_w"][0], &p["mean_low_w"]),
                ("mean, high", &draw["mean_w"][1], &p["mean_high_w"]),
                ("run, low", &draw["run_w"][0], &p["run_low_w"]),
                ("run, high", &draw["run_w"][1], &p["run_high_w"]),
                ("capacity", &capacity["capacity_w"], &p["capacity_w"]),
                (
                    "capacity, low",
                    &capacity["mean_w"][0],
                    &p["capacity_mean_low_w"],
                ),
                (
                    "capacity, high",
                    &capacity["mean_w"][1],
                    &p["capacity_mean_high_w"],
                ),
            ] {
                self.seen.near(mine, command, &what(name));
            }
            let inside = p["support"] == "inside";
            assert_eq!(draw["inside"], Value::Bool(inside), "{}", what("support"));
            let Some(row) = hours.as_ref().map(|h| &h["rows"][i]) else {
                continue;
            };
            assert_eq!((&row["mode"], &row["fan"]), (&p["mode"], &p["fan"]));
            if row["hours_for"] == "battery" {
                let h = &page["hours"];
                for (name, mine, command) in [
                    ("hours", &h["value"], &row["hours"]),
                    ("hours, low", &h["low"], &row["hours_low"]),
                    ("hours, high", &h["high"], &row["hours_high"]),
                    ("battery power", &h["battery_w"], &row["battery_w"]),
                    ("current", &h["current_a"], &row["current_a"]),
                    ("current near empty", &h["empty_a"], &row["current_empty_a"]),
                ] {
                    self.seen.near(mine, command, &what(name));
                }
            }
        }
        true
    }

    /// Settings never run together; where the commands have no answer, the page has none.
    fn compare_untested(&mut self) {
        let model = "JSON.parse(document.getElementById('explorer-model').textContent)";
        let tested: Vec<Vec<usize>> =
            serde_json::from_value(self.chrome.evaluate(&format!("{model}.tested"))).unwrap();
        for (m, levels) in tested.iter().enumerate() {
            for f in (0..levels.len()).filter(|f| levels[*f] == 0) {
                let (mode, fan) = (self.modes[m].clone(), self.fans[f].clone());
                if !self.compare(None, &format!("--mode {mode} --fan {fan}")) {
                    let page = self.page(m, f, 27.0, None);
                    assert_eq!(
                        page["draw"],
                        Value::Null,
                        "only the page answers {mode}, {fan}"
                    );
                }
            }
        }
    }

    /// Asserts that the page's curves have these parts.
    fn holds(&mut self, parts: &[&str]) {
        let model = "document.getElementById('explorer-model').textContent";
        for part in parts {
            let found = self.chrome.evaluate(&format!("{model}.includes('{part}')"));
            assert_eq!(
                found, true,
                "no {part} among the curves: choose another seed"
            );
        }
    }

    fn finish(self, at_least: usize) {
        quiet(&self.chrome, &self.written.page());
        let Compared { values, worst } = self.seen;
        println!("{values} values compared, the worst {worst:.1e} apart");
        assert!(values >= at_least, "only {values} values compared");
    }
}

fn made(kind: Kind, seed: u64) -> Written {
    let bench = make(kind, seed, &Options::default());
    let dir = BenchDir::new().toml(&bench.toml).points(&bench.points_csv);
    Written::of(Some(dir), "")
}

#[test]
fn the_demo_answers_as_the_commands() {
    let written = Written::demo("");
    let Some(mut beside) = Beside::new(&written, "") else {
        return;
    };
    for ambient in [None, Some(12.0), Some(26.5), Some(39.0)] {
        assert!(beside.compare(ambient, ""));
    }
    beside.compare_untested();
    beside.finish(5000);
}

#[test]
fn another_level_and_a_converter_answer_as_the_commands() {
    let supply = "\n[battery]\nnominal_voltage = \"25.6 V\"\ncapacity = \"200 Ah\"\ntolerance = \"5 %\"\nusable = \"90 %\"\ncutoff = \"21 V\"\npeukert = 1.1\nrated_over = \"20 h\"\n\n[cable]\nlength = \"3 m\"\narea = \"10 mm2\"\ntolerance = \"5 %\"\n\n[converter]\nefficiency = \"92 %\"\ntolerance = \"2 %\"\nidle = \"4 W\"\n";
    let bench = BenchDir::invented().toml(format!("{}{supply}", super::support::TOML));
    let written = Written::of(Some(bench), "--level 0.8 --units us");
    let Some(mut beside) = Beside::new(&written, "--level 0.8") else {
        return;
    };
    assert!(beside.compare(None, "") && beside.compare(Some(31.0), ""));
    beside.finish(1000);
}

#[test]
fn a_control_that_ramps_answers_as_the_commands() {
    let written = made(Kind::IndependentRamp, 9);
    let Some(mut beside) = Beside::new(&written, "") else {
        return;
    };
    beside.holds(&[
        r#""ramp-held-above""#,
        "ramp-held-above-by-group",
        r#""held":"by-group""#,
        r#""held":"by-flow""#,
    ]);
    assert!(beside.compare(None, "") && beside.compare(Some(44.0), ""));
    beside.compare_untested();
    beside.finish(300);
}

#[test]
fn a_control_that_steps_answers_as_the_commands() {
    let written = made(Kind::IndependentStepped, 3);
    let Some(mut beside) = Beside::new(&written, "") else {
        return;
    };
    beside.holds(&["terraced", r#""held":"common""#, r#""held":"by-flow""#]);
    assert!(beside.compare(None, "") && beside.compare(Some(44.0), ""));
    beside.finish(300);
}

#[test]
fn benches_that_say_little_answer_as_the_commands() {
    for kind in [
        Kind::ConfoundedCoupled,
        Kind::CoupledNoFan,
        Kind::CoupledUneven,
    ] {
        let written = made(kind, 11);
        let Some(mut beside) = Beside::new(&written, "") else {
            return;
        };
        assert!(beside.compare(None, ""));
        beside.compare_untested();
        beside.finish(150);
    }
}

#[test]
fn a_battery_that_is_typed_in_is_one_that_the_bench_states() {
    let supply = "\n[battery]\nnominal_voltage = \"12.4 V\"\ncapacity = \"180 Ah\"\nusable = \"80 %\"\n\n[cable]\nlength = \"2 m\"\narea = \"25 mm2\"\n";
    let toml = super::support::TOML;
    let stated = BenchDir::invented().toml(format!("{toml}{supply}"));
    let (_, cable) = supply.split_once("\n\n").unwrap();
    let written = Written::of(
        Some(BenchDir::invented().toml(format!("{toml}\n{cable}"))),
        "",
    );
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    chrome.open(&written.page(), 1000, 900);
    let answer = stated.run("runtime --intake 29degC --json").answers();
    let answer: Value = serde_json::from_str(&answer.stdout).unwrap();
    let row = &answer["rows"][0];
    // The bench that states no battery asks for one at once.
    for (name, value) in [
        ("ah", "180"),
        ("volts", "12.4"),
        ("usable", "80"),
        ("intake", "29"),
    ] {
        chrome.evaluate(&format!("{{ const f = document.getElementById('ask-{name}'); f.value = '{value}'; f.dispatchEvent(new Event('input', {{ bubbles: true }})); }}"));
    }
    let choose = format!(
        "{{ const pick = (id, text) => {{ const f = document.getElementById(id); f.value = [...f.options].find((o) => o.textContent === text).value; f.dispatchEvent(new Event('input', {{ bubbles: true }})); }}; pick('ask-mode', {}); pick('ask-fan', '{}'); }}",
        row["mode"], row["fan"]
    );
    chrome.evaluate(&choose);
    chrome.evaluate(&format!("document.getElementById('ask-ambient').value = {}, document.getElementById('ask').dispatchEvent(new Event('input'))", row["ambient_c"]));
    chrome.evaluate("new Promise((r) => setTimeout(r, 600))");
    let said = chrome.evaluate("document.getElementById('ask-answer').textContent");
    let number = |key: &str| format!("{:.1}", row[key].as_f64().unwrap());
    let expected = format!(
        "and runs for {} h ({} to {}) on 180 Ah at 12.4 V, 80 % of it used, at {} A.",
        number("hours"),
        number("hours_low"),
        number("hours_high"),
        number("current_a")
    );
    assert!(
        said.as_str().unwrap().ends_with(&expected),
        "{said}\n{expected}"
    );
    quiet(&chrome, &written.page());
}
