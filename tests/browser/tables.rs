//! Tables sort and copy.

use serde_json::json;

use super::chrome::Chrome;
use super::{Written, quiet};

#[test]
fn tables_sort_and_copy() {
    let written = Written::demo("");
    let Some(mut chrome) = Chrome::start() else {
        return;
    };
    chrome.open(&written.page(), 1000, 900);
    let table = "[...document.querySelectorAll('table')].find((t) => t.caption.textContent.startsWith('Every tested setting at 26'))";
    let bar = "[...document.querySelectorAll('.table-copy')].find((b) => b.querySelector('button').ariaLabel.startsWith('Copy table: Every tested setting at 26'))";
    let column =
        |n: usize| format!("[...{table}.tBodies[0].rows].map((r) => r.cells[{n}].textContent)");
    let head = |n: usize| format!("{table}.tHead.rows[0].cells[{n}]");
    let as_it_was = chrome.evaluate(&column(3));
    let sorted = |list: &serde_json::Value, down: bool| {
        let number = |v: &serde_json::Value| v.as_str().unwrap().parse::<f64>().unwrap();
        let mut list: Vec<f64> = list.as_array().unwrap().iter().map(number).collect();
        list.sort_by(|a, b| if down { b.total_cmp(a) } else { a.total_cmp(b) });
        list
    };
    let numbers = |v: serde_json::Value| -> Vec<f64> {
        let list = v.as_array().unwrap().clone();
        list.iter()
            .map(|v| v.as_str().unwrap().parse().unwrap())
            .collect()
    };
    // By keyboard, as by pointer.
    for (state, down) in [("ascending", false), ("descending", true)] {
        chrome.evaluate(&format!("{}.querySelector('button').focus()", head(3)));
        chrome.press("Enter", 13);
        assert_eq!(
            chrome.evaluate(&format!("{}.getAttribute('aria-sort')", head(3))),
            state
        );
        let now = chrome.evaluate(&column(3));
        assert_eq!(numbers(now), sorted(&as_it_was, down));
    }
    chrome.evaluate(&format!("{}.querySelector('button').click()", head(3)));
    assert_eq!(
        chrome.evaluate(&column(3)),
        as_it_was,
        "the third time brings the order back"
    );
    // Words by the alphabet, and one column at a time.
    chrome.evaluate(&format!("{}.querySelector('button').click()", head(0)));
    let modes = chrome.evaluate(&format!("[...new Set({})]", column(0)));
    assert_eq!(modes, json!(["cruise", "damp", "hush"]));
    let states = chrome.evaluate(&format!("[...{table}.tHead.rows[0].cells].filter((c) => c.getAttribute('aria-sort') !== 'none').length"));
    assert_eq!(states, 1);
    // A negative number sorts below a positive one, and is copied with a plain minus.
    let copied = chrome.evaluate(&format!("(async () => {{ let got = ''; navigator.clipboard.writeText = async (t) => {{ got = t; }}; {bar}.querySelector('button').click(); await new Promise((r) => setTimeout(r, 50)); return got + {bar}.querySelector('[role=status]').textContent; }})()"));
    let copied = copied.as_str().unwrap();
    let lines: Vec<&str> = copied.lines().collect();
    assert!(
        lines[0].starts_with("mode\tfan\truns\tdraw W\tmean, 95 % W\t"),
        "{copied}"
    );
    assert!(lines[1].starts_with("cruise\t1\t6\t112."), "{copied}");
    assert_eq!(lines.last(), Some(&"Copied."));
    assert_eq!(lines.len(), 1 + as_it_was.as_array().unwrap().len() + 1);
    quiet(&chrome, &written.page());
}
