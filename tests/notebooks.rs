//! The notebooks' and the README's console blocks are run, and what they print is compared.

use std::path::Path;

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
