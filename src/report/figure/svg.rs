//! The finished drawing: marks, lettering, and the figure in words for those who cannot see it.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::layout::{Anchor, Sheet, Text};
use super::theme::{Role, Theme};
use super::{Figure, FigureError, Lettering, marks};
use crate::report::font::{FAMILY, Weight, face};
use crate::report::words;

/// Writes the document.
pub(super) fn document(
    figure: &Figure,
    sheet: &Sheet<'_>,
    theme: Theme,
    lettering: Lettering,
    scope: &str,
) -> Result<String, FigureError> {
    let marks = marks::draw(sheet, theme).map_err(|reason| FigureError::Drawing {
        figure: figure.name.clone(),
        reason,
    })?;
    let (width, height) = (sheet.width, sheet.height);
    let (box_width, box_height) = (width * 10, height * 10);
    let id = identifier(scope, &figure.name);
    let title = escaped(&figure.title);
    let told = if figure.alt.is_empty() {
        escaped(&figure.claim)
    } else {
        escaped(&figure.alt)
    };
    let mut out = String::with_capacity(marks.len() + 32_768);
    // Writing to a String cannot fail.
    let _ = write!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {box_width} {box_height}\" \
         role=\"img\" aria-labelledby=\"{id}-title {id}-words\">\n\
         <title id=\"{id}-title\">{title}</title>\n<desc id=\"{id}-words\">{told}</desc>\n\
         <rect width=\"{box_width}\" height=\"{box_height}\" fill=\"{}\"/>\n\
         <g stroke-linejoin=\"round\" stroke-linecap=\"round\">\n{marks}\n</g>\n",
        theme.colour(Role::Paper),
    );
    match lettering {
        Lettering::Outlines => outlines(&mut out, sheet, theme, &id),
        Lettering::Text => text(&mut out, sheet, theme),
    }
    out.push_str("</svg>\n");
    Ok(out)
}

/// An id that no other figure of a page has.
fn identifier(scope: &str, name: &str) -> String {
    format!(
        "fig{}{}-{}",
        if scope.is_empty() { "" } else { "-" },
        plain(scope),
        plain(name)
    )
}

/// Letters, digits and single hyphens only, whatever a name holds.
pub(super) fn plain(name: &str) -> String {
    let kept: String = name
        .chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .collect();
    kept.split('-')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("-")
}

/// Text that is safe between tags and inside an attribute.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in words::visible(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Not allowed in XML 1.0 at all.
            '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// A place, to a tenth of a unit.
fn tenths(value: f64) -> f64 {
    (value * 10.0).round() / 10.0 + 0.0
}

/// Attributes of the rim around a text, `width` in the units of its group.
fn rim(text: &Text, theme: Theme, width: f64) -> String {
    text.rim.map_or_else(String::new, |role| {
        format!(
            " stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\" paint-order=\"stroke\"",
            theme.colour(role),
            tenths(width)
        )
    })
}

/// Text as text, for a page that carries the faces.
fn text(out: &mut String, sheet: &Sheet<'_>, theme: Theme) {
    let _ = writeln!(out, "<g font-family=\"{FAMILY}\">");
    for line in &sheet.texts {
        let anchor = match line.anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let weight = if line.weight == Weight::Bold {
            " font-weight=\"700\""
        } else {
            ""
        };
        let (x, y) = (tenths(line.x), tenths(line.y));
        let turn = if line.turned {
            format!(" transform=\"rotate(-90 {x} {y})\"")
        } else {
            String::new()
        };
        let _ = writeln!(
            out,
            "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\"{weight}{anchor} fill=\"{}\"{}{turn}>{}</text>",
            tenths(line.size),
            theme.colour(line.role),
            rim(line, theme, 0.3 * line.size),
            escaped(&line.says),
        );
    }
    out.push_str("</g>\n");
}

/// Text as outlines: each glyph once, then used wherever it stands.
fn outlines(out: &mut String, sheet: &Sheet<'_>, theme: Theme, id: &str) {
    let mut glyphs: BTreeMap<(Weight, u16), String> = BTreeMap::new();
    let mut lines = String::new();
    for line in &sheet.texts {
        let face = face(line.weight);
        let (placed, width) = face.place(&line.says);
        let scale = line.size / face.units_per_em();
        let shift = f64::from(width)
            * scale
            * match line.anchor {
                Anchor::Start => 0.0,
                Anchor::Middle => 0.5,
                Anchor::End => 1.0,
            };
        let place = if line.turned {
            format!(
                "translate({} {}) rotate(-90)",
                tenths(line.x),
                tenths(line.y + shift)
            )
        } else {
            format!("translate({} {})", tenths(line.x - shift), tenths(line.y))
        };
        let _ = write!(
            lines,
            "<g fill=\"{}\" transform=\"{place} scale({:.5})\"{}>",
            theme.colour(line.role),
            scale,
            rim(line, theme, 0.3 * line.size / scale),
        );
        for at in placed {
            let path = glyphs
                .entry((line.weight, at.glyph))
                .or_insert_with(|| face.outline(at.glyph));
            if !path.is_empty() {
                let _ = write!(
                    lines,
                    "<use href=\"#{}\" x=\"{}\"/>",
                    glyph_id(id, line.weight, at.glyph),
                    at.x
                );
            }
        }
        lines.push_str("</g>\n");
    }
    out.push_str("<defs>\n");
    for ((weight, glyph), path) in &glyphs {
        if !path.is_empty() {
            let _ = writeln!(
                out,
                "<path id=\"{}\" d=\"{path}\"/>",
                glyph_id(id, *weight, *glyph)
            );
        }
    }
    let _ = write!(out, "</defs>\n<g aria-hidden=\"true\">\n{lines}</g>\n");
}

fn glyph_id(id: &str, weight: Weight, glyph: u16) -> String {
    let weight = if weight == Weight::Bold { "b" } else { "r" };
    format!("{id}-{weight}{glyph}")
}
