//! How the page is shown: read by anyone, in both themes, on a phone, on paper, with and without scripts.

use serde_json::json;

use super::chrome::Chrome;
use super::{Written, quiet};

const AUDIT: &str = include_str!("audit.js");

#[track_caller]
fn audit(chrome: &mut Chrome, as_what: &str) {
    let found = chrome.evaluate(AUDIT);
    assert_eq!(found["wrong"], json!([]), "{as_what}: {found:#}");
    let looked = found["looked"].as_u64().unwrap();
    println!(
        "{as_what}: {looked} texts, the least contrast {:.2}",
        found["least"].as_f64().unwrap()
    );
    assert!(looked > 300, "{as_what}: {looked} texts looked at");
}

#[test]
fn the_page_is_accessible_in_both_themes_and_sizes() {
    for options in [
        "",
        "--units us --ambient 40degC --assume-ambient-slope published",
    ] {
        let written = Written::demo(options);
        let Some(mut chrome) = Chrome::start() else {
            return;
        };
        let units = if options.is_empty() { "si" } else { "us" };
        for theme in ["light", "dark"] {
            for (width, height) in [(1000, 900), (360, 740)] {
                chrome.show_as("screen", theme);
                chrome.open(&written.page(), width, height);
                audit(&mut chrome, &format!("{theme}, {width} wide, {units}"));
                chrome.picture(&format!("{units}-{theme}-{width}.png"));
            }
        }
        // A battery of one's own, a place far outside.
        chrome.show_as("screen", "light");
        chrome.open(&written.page(), 360, 740);
        chrome.evaluate("{ const set = (n, v) => { const f = document.getElementById('ask-' + n); f.value = v; f.dispatchEvent(new Event('input', { bubbles: true })); }; set('battery', 'other'); set('intake', units === 'us' ? 110 : 43); }".replace("units", &format!("'{units}'")).as_str());
        chrome.evaluate("new Promise((r) => setTimeout(r, 600))");
        audit(&mut chrome, "a battery of one's own");
        let said = chrome.evaluate("document.getElementById('explorer').innerText");
        let said = said.as_str().unwrap();
        assert!(
            said.contains("100 Ah at 25.6 V") && said.contains("beyond the tested intake"),
            "{said}"
        );
        chrome.picture(&format!("{units}-own-battery.png"));
        quiet(&chrome, &written.page());
    }
}

#[test]
fn every_bench_s_page_fits_a_phone() {
    use steadydraw::made::bench::{Kind, Options, make};
    let bench = make(Kind::IndependentNoFan, 5, &Options::default());
    let folder = super::support::BenchDir::new()
        .toml(&bench.toml)
        .points(&bench.points_csv);
    for (name, dir) in [
        ("made", folder),
        ("invented", super::support::BenchDir::invented()),
    ] {
        let written = Written::of(Some(dir), "");
        let Some(mut chrome) = Chrome::start() else {
            return;
        };
        chrome.open(&written.page(), 360, 740);
        audit(&mut chrome, name);
        chrome.picture(&format!("{name}-360.png"));
        quiet(&chrome, &written.page());
    }
}

#[test]
fn the_form_is_worked_by_keyboard_alone() {
    let written = Written::demo("");
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    chrome.open(&written.page(), 1000, 900);
    let place = "(() => { const a = document.activeElement; const r = a.getBoundingClientRect(); return { id: a.id, tag: a.tagName, seen: getComputedStyle(a).outlineStyle !== 'none' && r.width > 0, text: a.textContent.slice(0, 40) }; })()";
    let mut walked = Vec::new();
    for _ in 0..60 {
        chrome.press("Tab", 9);
        let at = chrome.evaluate(place);
        assert_eq!(at["seen"], json!(true), "focus cannot be seen: {at}");
        walked.push(at["id"].as_str().unwrap().to_owned());
        if at["id"] == "ask-intake" {
            break;
        }
    }
    assert!(
        walked.ends_with(&[
            "ask-mode".to_owned(),
            "ask-fan".to_owned(),
            "ask-intake".to_owned()
        ]),
        "{walked:?}"
    );
    let answer = "document.getElementById('ask-answer').textContent";
    let before = chrome.evaluate(answer);
    for _ in 0..6 {
        chrome.press("ArrowUp", 38);
    }
    chrome.evaluate("new Promise((r) => setTimeout(r, 400))");
    let after = chrome.evaluate(answer);
    assert_ne!(before, after, "the arrow keys change nothing");
    // On to ambient and battery; an impossible temperature is said to be one.
    chrome.press("Tab", 9);
    assert_eq!(chrome.evaluate("document.activeElement.id"), "ask-ambient");
    chrome.evaluate("document.activeElement.value = ''; document.activeElement.dispatchEvent(new Event('input', { bubbles: true }))");
    chrome.evaluate("new Promise((r) => setTimeout(r, 400))");
    let said = chrome.evaluate(answer);
    assert!(
        said.as_str()
            .unwrap()
            .contains("a temperature from -40 to 90 °C"),
        "{said}"
    );
    assert_eq!(
        chrome.evaluate("document.getElementById('ask-ambient').getAttribute('aria-invalid')"),
        "true"
    );
    chrome.press("Tab", 9);
    assert_eq!(chrome.evaluate("document.activeElement.id"), "ask-battery");
    chrome.press("Tab", 9);
    chrome.press("Enter", 13);
    chrome.evaluate("new Promise((r) => setTimeout(r, 400))");
    assert_eq!(
        chrome.evaluate(answer),
        before,
        "starting again brings the first answer back"
    );
    quiet(&chrome, &written.page());
}

#[test]
fn all_is_there_without_scripts_and_on_paper() {
    let written = Written::demo("");
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    chrome.call(
        "Emulation.setScriptExecutionDisabled",
        json!({"value": true}),
    );
    chrome.load(&written.page(), 1000, 900);
    // The protocol still may look, though the page's own scripts may not run.
    let shown = "[...document.querySelectorAll('#explorer, #explorer-without, button')].map((n) => n.id + (n.checkVisibility() ? '+' : '-')).join(' ')";
    assert_eq!(
        chrome.evaluate(shown),
        "explorer- - explorer-without+",
        "the form, its button, the table"
    );
    assert!(
        chrome
            .evaluate("document.querySelectorAll('#explorer-without tbody tr').length")
            .as_u64()
            > Some(20)
    );
    audit(&mut chrome, "without scripts");
    chrome.picture("without-scripts.png");
    assert!(chrome.print("without-scripts.pdf") > 50_000);
    chrome.call(
        "Emulation.setScriptExecutionDisabled",
        json!({"value": false}),
    );
    chrome.open(&written.page(), 1000, 900);
    chrome.show_as("print", "dark");
    let paper = chrome.evaluate("getComputedStyle(document.documentElement).backgroundColor");
    assert_eq!(
        paper, "rgb(255, 255, 255)",
        "paper is white whatever the theme"
    );
    let hidden =
        "['nav', '#ask', '.table-copy'].map((n) => document.querySelector(n).checkVisibility())";
    assert_eq!(chrome.evaluate(hidden), json!([false, false, false]));
    assert_eq!(
        chrome.evaluate("document.querySelector('#ask-answer').checkVisibility()"),
        json!(true)
    );
    chrome.show_as("", "light");
    assert!(chrome.print("page.pdf") > 50_000);
    quiet(&chrome, &written.page());
}
