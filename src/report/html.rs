//! A write-up as one HTML page that stands alone: no network, no other file, and all of it readable where no script runs.

use std::fmt::Write as _;

use maud::{DOCTYPE, Markup, PreEscaped, html};
use rayon::prelude::*;

use super::document::{Block, Document, Section};
use super::explorer::SCRIPTS;
use super::figure::theme::{Role, Theme, dark_rules};
use super::figure::{Figure, FigureError, Lettering, Size};
use super::{font, words};

/// Nothing may be loaded but what the page carries itself, and nothing runs or styles but what was written here: both are named by
/// their digests (Content Security Policy Level 3, W3C 2024, 8.4).
fn policy(style: &str, script: Option<&str>) -> String {
    let digest = |text: &str| {
        use sha2::Digest;
        format!("'sha256-{}'", font::base64(&sha2::Sha256::digest(text)))
    };
    let script = script.map_or_else(|| "'none'".to_owned(), digest);
    format!(
        "default-src 'none'; script-src {script}; style-src {}; font-src data:; img-src data:; base-uri 'none'; form-action 'none'",
        digest(style)
    )
}

/// What sorts and copies tables and answers in the explorer.
fn script() -> String {
    let parts = [include_str!("tables.js")]
        .into_iter()
        .chain(SCRIPTS)
        .chain([include_str!("start.js")]);
    format!(
        "(() => {{\n'use strict';\n{}}})();\n",
        parts.collect::<String>()
    )
}

/// The page.
///
/// Equal documents give equal bytes. Every figure is there twice, wide and for a hand-held screen; the style sheet
/// shows one of them.
///
/// # Errors
///
/// [`FigureError`] where a figure cannot be drawn.
pub fn page(document: &Document) -> Result<String, FigureError> {
    let figures: Vec<&Figure> = document.figures().collect();
    let mut drawn = figures
        .par_iter()
        .enumerate()
        .map(|(i, figure)| {
            let draw = |size, scope: &str| {
                figure.to_svg(
                    size,
                    Theme::Light,
                    Lettering::Text,
                    &format!("{}{scope}", i + 1),
                )
            };
            Ok((draw(Size::PAGE, "w")?, draw(Size::HAND, "h")?))
        })
        .collect::<Result<Vec<_>, FigureError>>()?
        .into_iter();
    let sections: Vec<Markup> = document
        .sections
        .iter()
        .enumerate()
        .map(|(i, section)| self::section(section, i + 1, &mut drawn))
        .collect();
    let style = format!("{}{}", font::css(), style());
    let script = document.interactive.then(script);
    let page = html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy(&style, script.as_deref()));
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="referrer" content="no-referrer";
                title { (words::visible(&document.title)) }
                style { (PreEscaped(&style)) }
            }
            body {
                main {
                    header {
                        h1 { (words::visible(&document.title)) }
                        @for paragraph in &document.lead { p.lead { (prose(paragraph)) } }
                    }
                    @if document.sections.len() > 3 {
                        nav aria-label="Contents" {
                            ol {
                                @for (i, section) in document.sections.iter().enumerate() {
                                    li { a href={ "#s" (i + 1) } { (words::visible(&section.title)) } }
                                }
                            }
                        }
                    }
                    @for section in &sections { (section) }
                    @if !document.foot.is_empty() {
                        footer { @for paragraph in &document.foot { p { (prose(paragraph)) } } }
                    }
                }
                @if let Some(script) = &script { script { (PreEscaped(script)) } }
            }
        }
    };
    Ok(page.into_string())
}

fn section(
    section: &Section,
    number: usize,
    drawn: &mut impl Iterator<Item = (String, String)>,
) -> Markup {
    html! {
        section aria-labelledby={ "s" (number) } {
            h2 id={ "s" (number) } { (words::visible(&section.title)) }
            @for block in &section.blocks { (self::block(block, drawn)) }
        }
    }
}

fn block(block: &Block, drawn: &mut impl Iterator<Item = (String, String)>) -> Markup {
    html! {
        @match block {
            Block::Text(text) => p { (prose(text)) },
            Block::Heading(text) => h3 { (words::visible(text)) },
            Block::Finding(text) => p.finding { (prose(text)) },
            Block::List(items) => ul { @for item in items { li { (prose(item)) } } },
            Block::Terms(terms) => dl {
                @for (term, meaning) in terms { dt { (words::visible(term)) } dd { (prose(meaning)) } }
            },
            Block::Caution(items) => div.caution role="note" aria-label="Caution" {
                p { strong { "Caution" } }
                ul { @for item in items { li { (prose(item)) } } }
            },
            Block::Code(text) => pre tabindex="0" { code { (code(text)) } },
            Block::Table(table) => (table.to_html()),
            Block::Explorer(explorer) => (explorer.to_html()),
            Block::Figure(_) => @if let Some((wide, hand)) = drawn.next() {
                figure.figure {
                    div.wide { (PreEscaped(wide)) }
                    div.hand { (PreEscaped(hand)) }
                }
            },
        }
    }
}

/// Running text: no line ends between a number and its unit.
fn prose(text: &str) -> String {
    words::unbroken(&words::visible(text))
}

/// Text to be copied keeps its line breaks; everything else hidden is written out.
fn code(text: &str) -> String {
    text.lines()
        .map(words::visible)
        .collect::<Vec<_>>()
        .join("\n")
}

/// The page's own style sheet.
fn style() -> String {
    let mut css = String::new();
    let colours = |theme: Theme| {
        let names = [
            ("paper", Role::Paper),
            ("ink", Role::Ink),
            ("quiet", Role::Quiet),
            ("axis", Role::Axis),
            ("line", Role::Grid),
            ("region", Role::Region),
            ("mark", Role::Series(0)),
            ("warn", Role::Series(1)),
        ];
        names
            .map(|(name, role)| format!("--{name}:{};", theme.colour(role)))
            .concat()
    };
    let paper = Theme::Light.colour(Role::Paper);
    // Writing to a String cannot fail.
    let _ = write!(
        css,
        ":root{{{}}}@media screen and (prefers-color-scheme:dark){{:root{{{}}}{}}}\
         @media print{{.figure [fill=\"{paper}\"]{{fill:#fff}}.figure [stroke=\"{paper}\"]{{stroke:#fff}}}}",
        colours(Theme::Light),
        colours(Theme::Dark),
        dark_rules()
    );
    css.push_str(include_str!("page.css"));
    css
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_from_a_bench_acts_and_nothing_is_loaded() {
        let hostile = "</p><script>alert(1)</script><img src=x onerror=y>\u{202e}";
        let document = Document {
            title: hostile.into(),
            lead: vec![hostile.into()],
            sections: vec![
                Section::new(hostile)
                    .with(Block::Text(hostile.into()))
                    .with(Block::Heading(hostile.into()))
                    .with(Block::Finding(hostile.into()))
                    .with(Block::List(vec![hostile.into()]))
                    .with(Block::Terms(vec![(hostile.into(), hostile.into())]))
                    .with(Block::Caution(vec![hostile.into()]))
                    .with(Block::Code(hostile.into())),
            ],
            foot: vec![hostile.into()],
            interactive: false,
        };
        let page = page(&document).expect("a page");
        for bad in [
            "<script",
            "<img",
            "http://",
            "https://",
            "javascript:",
            "\u{202e}",
        ] {
            assert!(!page.contains(bad), "{bad}");
        }
        assert!(page.contains("default-src 'none'") && page.contains("&lt;script&gt;"));
    }

    #[test]
    fn the_policy_names_what_the_page_carries() {
        let carried = |page: &str, tag: &str| {
            let (_, rest) = page.split_once(&format!("<{tag}>")).expect(tag);
            rest.split_once(&format!("</{tag}>"))
                .expect(tag)
                .0
                .to_owned()
        };
        let still = page(&Document::default()).expect("a page");
        assert!(still.contains("script-src 'none'") && !still.contains("<script"));
        let document = Document {
            interactive: true,
            ..Document::default()
        };
        let page = page(&document).expect("a page");
        let (style, script) = (carried(&page, "style"), carried(&page, "script"));
        let policy = policy(&style, Some(&script));
        assert!(page.contains(&policy), "{policy}");
        assert!(!policy.contains("unsafe") && !page.contains(" style="));
        // What a page says of itself is not text from a bench, but it must not end its own element either.
        assert_eq!(script.matches("</").count(), 0);
    }

    #[test]
    fn code_keeps_its_lines() {
        assert_eq!(code("a = 1\nb = 2"), "a = 1\nb = 2");
    }
}
