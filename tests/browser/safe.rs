//! Nothing from a bench acts, and nothing leaves the page.

use super::chrome::Chrome;
use super::support::{BenchDir, POINTS, TOML};
use super::{Written, quiet};

/// Text that would act where it is not escaped: in HTML, in an attribute, in a script, in data inside a script.
const HOSTILE: &str =
    "</script><script>window.acted=1</script><img src=x onerror=acted=2>'\\\"&lt;${acted=3}<!--";

#[test]
fn hostile_names_are_only_text() {
    // In TOML the quote and the backslash are escaped; in CSV a quote is doubled.
    let toml = TOML
        .replace(
            "Quay shed bench",
            &HOSTILE.replace('\\', "\\\\").replace('"', "\\\""),
        )
        .replace(
            "name = \"meter\"",
            "name = \"<img src=x onerror=window.acted=4>\"",
        );
    let quoted = format!("\"{}\"", HOSTILE.replace('"', "\"\""));
    let points = POINTS.replace(",eco,", &format!(",{quoted},"));
    assert_ne!(points, POINTS);
    let written = Written::of(Some(BenchDir::new().toml(toml).points(points)), "");
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    chrome.open(&written.page(), 1000, 900);
    assert_eq!(chrome.evaluate("typeof window.acted"), "undefined");
    assert_eq!(
        chrome.evaluate("document.images.length + document.scripts.length"),
        2,
        "the model and the script alone"
    );
    let told = chrome.evaluate("document.querySelector('h1').textContent");
    assert!(
        told.as_str()
            .unwrap()
            .starts_with("</script><script>window.acted"),
        "{told}"
    );
    let option = chrome.evaluate("[...document.getElementById('ask-mode').options].some((o) => o.textContent.startsWith('</script>'))");
    assert_eq!(option, true);
    let answer = chrome.evaluate("{ const f = document.getElementById('ask-mode'); f.value = [...f.options].find((o) => o.textContent.startsWith('</script>')).value; f.dispatchEvent(new Event('input', { bubbles: true })); new Promise((r) => setTimeout(() => r(document.getElementById('ask-answer').textContent), 500)); }");
    assert!(
        answer.as_str().unwrap().contains("</script><script>"),
        "{answer}"
    );
    assert_eq!(chrome.evaluate("typeof window.acted"), "undefined");
    quiet(&chrome, &written.page());
}

#[test]
fn the_page_s_policy_lets_nothing_else_run_or_load() {
    let written = Written::demo("");
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    chrome.open(&written.page(), 1000, 900);
    quiet(&chrome, &written.page());
    let policy = chrome
        .evaluate("document.querySelector('meta[http-equiv=Content-Security-Policy]').content");
    let policy = policy.as_str().unwrap();
    assert!(
        policy.starts_with("default-src 'none'") && !policy.contains("unsafe"),
        "{policy}"
    );
    // Each of these is refused: a script, a style, an address.
    let blocked = chrome.evaluate("new Promise((done) => { const seen = []; document.addEventListener('securitypolicyviolation', (e) => { seen.push(e.effectiveDirective); if (seen.length > 2) done(seen.sort()); }); const s = document.createElement('script'); s.textContent = 'window.acted = 1'; document.body.append(s); const t = document.createElement('style'); t.textContent = 'p{color:red}'; document.body.append(t); fetch('https://example.invalid/').catch(() => 0); setTimeout(() => done(seen), 5000); })");
    assert_eq!(
        blocked,
        serde_json::json!(["connect-src", "script-src-elem", "style-src-elem"])
    );
    assert_eq!(chrome.evaluate("typeof window.acted"), "undefined");
}
