//! The promise of the figures: the same bytes each time, nothing missing, nothing cut, and nothing from a bench that acts.
//!
//! The samples are left in the build folder under `tmp/figures`, to be looked at.

#[path = "figures/samples.rs"]
mod samples;

use std::fs;
use std::path::{Path, PathBuf};

use resvg::tiny_skia::Pixmap;
use resvg::usvg::roxmltree;
use steadydraw::report::document::{Block, Document, Section};
use steadydraw::report::figure::{
    Along, Axis, Figure, FigureError, Format, Layer, Lettering, Look, Misplaced, Panel, Scale,
    Size, Theme, files, theme,
};
use steadydraw::report::tables::{Cell, Column, Table};
use steadydraw::report::{html, markdown};

const SIZES: [(&str, Size); 3] = [
    ("page", Size::PAGE),
    ("slide", Size::SLIDE),
    ("hand", Size::HAND),
];
const THEMES: [(&str, Theme); 2] = [("light", Theme::Light), ("dark", Theme::Dark)];

fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("figures");
    fs::create_dir_all(&folder).expect("a folder for samples");
    folder
}

/// The share of a picture's pixels that differ clearly from its ground.
fn covered(picture: &Pixmap, (left, top, right, bottom): (u32, u32, u32, u32)) -> f64 {
    let ground = picture.pixel(0, 0).expect("a first pixel");
    let far = |a: u8, b: u8| a.abs_diff(b) > 40;
    let marked = (top..bottom)
        .flat_map(|y| (left..right).map(move |x| (x, y)))
        .filter_map(|(x, y)| picture.pixel(x, y))
        .filter(|p| {
            far(p.red(), ground.red())
                || far(p.green(), ground.green())
                || far(p.blue(), ground.blue())
        })
        .count();
    marked as f64 / f64::from((right - left) * (bottom - top))
}

#[test]
fn every_sample_is_a_picture_of_the_right_size_with_lettering_and_marks() {
    let folder = folder();
    let figures = samples::all();
    let figures: Vec<&Figure> = figures.iter().collect();
    for (size_name, size) in SIZES {
        for (theme_name, theme) in THEMES {
            let suffix = format!("-{size_name}-{theme_name}");
            let formats = [
                (Format::Svg(size, theme), suffix.as_str()),
                (Format::Png(size, theme), suffix.as_str()),
            ];
            let made = files(&figures, &formats).expect("every sample can be drawn");
            assert_eq!(made.len(), 2 * figures.len());
            for (name, bytes) in made {
                fs::write(folder.join(&name), &bytes).expect("written");
                if !name.ends_with(".png") {
                    continue;
                }
                let picture = Pixmap::decode_png(&bytes).expect("a readable PNG");
                let (width, height) = (picture.width(), picture.height());
                assert_eq!(
                    width,
                    (f64::from(size.width) * size.density) as u32,
                    "{name}"
                );
                if size.fixed {
                    assert_eq!(height, size.height, "{name}");
                }
                // The title lies in the uppermost part, marks fill some of the middle, and no mark touches the edge.
                let share = covered(&picture, (0, 0, width, height / 5));
                assert!(
                    share > 0.01,
                    "{name}: the title covers {share:.4} of its strip"
                );
                let share = covered(
                    &picture,
                    (width / 4, height / 3, 3 * width / 4, 3 * height / 4),
                );
                assert!(
                    share > 0.001,
                    "{name}: marks cover {share:.4} of the middle"
                );
                let rim = 6;
                for strip in [
                    (0, 0, width, rim),
                    (0, height - rim, width, height),
                    (0, 0, rim, height),
                    (width - rim, 0, width, height),
                ] {
                    assert_eq!(
                        covered(&picture, strip),
                        0.0,
                        "{name}: something is cut off at {strip:?}"
                    );
                }
            }
        }
    }
}

#[test]
fn equal_figures_give_equal_bytes() {
    for figure in samples::all() {
        let again = figure.clone();
        for lettering in [Lettering::Outlines, Lettering::Text] {
            let draw = |figure: &Figure| {
                figure
                    .to_svg(Size::PAGE, Theme::Light, lettering, "a")
                    .expect("an SVG")
            };
            assert!(draw(&figure) == draw(&again), "{}", figure.name);
        }
        assert!(
            figure.to_png(Size::HAND, Theme::Dark) == again.to_png(Size::HAND, Theme::Dark),
            "{}",
            figure.name
        );
    }
}

#[test]
fn drawings_are_sound_xml_without_text_that_needs_a_font_and_without_numbers_that_are_none() {
    for figure in samples::all() {
        for (_, size) in SIZES {
            let svg = figure
                .to_svg(size, Theme::Light, Lettering::Outlines, "")
                .expect("an SVG");
            let tree = roxmltree::Document::parse(&svg).expect("sound XML");
            let root = tree.root_element();
            assert_eq!(root.attribute("role"), Some("img"));
            assert_eq!(
                root.attribute("width"),
                Some(size.width.to_string().as_str())
            );
            let child = |name: &str| {
                root.children()
                    .find(|n| n.has_tag_name(name))
                    .and_then(|n| n.text())
                    .unwrap_or_default()
                    .to_owned()
            };
            assert!(
                !child("title").is_empty() && !child("desc").is_empty(),
                "{}",
                figure.name
            );
            let mut known = std::collections::BTreeSet::new();
            for node in tree.descendants().filter(|n| n.is_element()) {
                let tag = node.tag_name().name();
                assert!(
                    [
                        "svg", "title", "desc", "rect", "g", "defs", "path", "use", "line",
                        "circle", "polygon", "polyline"
                    ]
                    .contains(&tag),
                    "{}: an element <{tag}>",
                    figure.name
                );
                for attribute in node.attributes() {
                    let value = attribute.value();
                    assert!(
                        !value.contains("NaN") && !value.contains("inf"),
                        "{}: {}={value}",
                        figure.name,
                        attribute.name()
                    );
                    assert!(
                        !attribute.name().starts_with("on"),
                        "{}: {}",
                        figure.name,
                        attribute.name()
                    );
                }
                if let Some(id) = node.attribute("id") {
                    assert!(
                        known.insert(id),
                        "{}: the id {id} stands twice",
                        figure.name
                    );
                }
            }
            for node in tree.descendants().filter(|n| n.has_tag_name("use")) {
                let target = node
                    .attribute("href")
                    .expect("a target")
                    .trim_start_matches('#');
                assert!(
                    known.contains(target),
                    "{}: {target} is used but not there",
                    figure.name
                );
            }
        }
    }
}

/// The boxes of all lines of text of a drawing that is lettered as text, by the widths of the embedded faces.
fn boxes(svg: &str) -> Vec<(String, [f64; 4])> {
    use steadydraw::report::font::{Weight, face};
    let tree = roxmltree::Document::parse(svg).expect("sound XML");
    let number = |node: roxmltree::Node<'_, '_>, name: &str| -> f64 {
        node.attribute(name)
            .and_then(|v| v.parse().ok())
            .expect(name)
    };
    tree.descendants()
        .filter(|node| node.has_tag_name("text"))
        .map(|node| {
            let says = node.text().unwrap_or_default().to_owned();
            let weight = if node.attribute("font-weight").is_some() {
                Weight::Bold
            } else {
                Weight::Regular
            };
            let size = number(node, "font-size");
            let width = face(weight).width(&says, size);
            let (x, y) = (number(node, "x"), number(node, "y"));
            let left = match node.attribute("text-anchor") {
                Some("middle") => x - width / 2.0,
                Some("end") => x - width,
                _ => x,
            };
            // From the height of capitals to a little below the base line.
            let reach = if node.attribute("transform").is_some() {
                [x - 0.73 * size, y - width, x, y]
            } else {
                [left, y - 0.73 * size, left + width, y]
            };
            (says, reach)
        })
        .collect()
}

#[test]
fn no_line_of_text_lies_on_another_or_leaves_the_figure() {
    for figure in samples::all() {
        for (size_name, size) in SIZES {
            let svg = figure
                .to_svg(size, Theme::Light, Lettering::Text, "")
                .expect("an SVG");
            let view = roxmltree::Document::parse(&svg)
                .expect("sound XML")
                .root_element()
                .attribute("viewBox")
                .expect("a view box")
                .to_owned();
            let view: Vec<f64> = view.split(' ').filter_map(|v| v.parse().ok()).collect();
            let lines = boxes(&svg);
            assert!(lines.len() > 5, "{}", figure.name);
            for (i, (says, a)) in lines.iter().enumerate() {
                assert!(
                    a[0] >= 0.0 && a[1] >= 0.0 && a[2] <= view[2] && a[3] <= view[3],
                    "{} {size_name}: “{says}” leaves the figure: {a:?} in {view:?}",
                    figure.name
                );
                for (other, b) in &lines[..i] {
                    let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
                    assert!(
                        apart,
                        "{} {size_name}: “{says}” lies on “{other}”",
                        figure.name
                    );
                }
            }
        }
    }
}

#[test]
fn names_from_a_bench_are_shown_whole_or_visibly_cut_and_never_act() {
    let svg = samples::hostile()
        .to_svg(Size::PAGE, Theme::Light, Lettering::Text, "\"><script>")
        .expect("an SVG");
    let tree = roxmltree::Document::parse(&svg).expect("sound XML");
    assert!(!svg.contains("<script") && !svg.contains("<b>") && !svg.contains('\u{202e}'));
    let lettered: Vec<&str> = tree
        .descendants()
        .filter(|n| n.has_tag_name("text"))
        .filter_map(|n| n.text())
        .collect();
    let all = lettered.join("\n");
    for shown in [
        "\\u{5236}\\u{51b7}",
        "mode\\u{202e}evil",
        "Kühlen & \"leise\"",
        "Ωmega",
        "-->",
    ] {
        assert!(all.contains(shown), "{shown} in {all}");
    }
    assert!(
        all.contains('…'),
        "a name that is too long ends in an ellipsis: {all}"
    );
}

fn one_layer(layer: Layer) -> Figure {
    Figure {
        name: "one".into(),
        title: "One layer".into(),
        claim: String::new(),
        x: Axis::new("x", ""),
        y: Axis::new("y", ""),
        panels: vec![Panel {
            y: None,
            title: String::new(),
            layers: vec![layer],
        }],
        note: String::new(),
        alt: String::new(),
    }
}

fn points(at: Vec<(f64, f64)>) -> Figure {
    one_layer(Layer::Points {
        at,
        look: Look::series(0),
        label: String::new(),
    })
}

#[test]
fn what_cannot_be_drawn_is_refused_by_name() {
    let draw = |figure: Figure| {
        figure
            .to_svg(Size::PAGE, Theme::Light, Lettering::Outlines, "")
            .expect_err("refused")
    };
    for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e200] {
        assert!(
            matches!(
                draw(points(vec![(1.0, 2.0), (value, 3.0)])),
                FigureError::Value {
                    panel: 1,
                    why: Misplaced::NotFinite,
                    ..
                }
            ),
            "{value}"
        );
        assert!(
            matches!(
                draw(points(vec![(1.0, value)])),
                FigureError::Value {
                    why: Misplaced::NotFinite,
                    ..
                }
            ),
            "{value}"
        );
    }
    assert!(matches!(
        draw(points(Vec::new())),
        FigureError::Empty { .. }
    ));
    assert!(matches!(
        draw(Figure {
            panels: Vec::new(),
            ..points(vec![(1.0, 1.0)])
        }),
        FigureError::Empty { .. }
    ));
    let named = Figure {
        y: Axis::names("y", ["a", "b"]),
        ..points(vec![(1.0, 2.0)])
    };
    assert!(matches!(
        draw(named),
        FigureError::Value {
            why: Misplaced::Unnamed { names: 2 },
            ..
        }
    ));
    let rule = Layer::Rule {
        along: Along::X,
        at: 1.0,
        label: "alone".into(),
    };
    assert!(matches!(draw(one_layer(rule)), FigureError::Empty { .. }));
    let logarithmic = Figure {
        x: Axis::new("x", "").logarithmic(),
        ..points(vec![(0.0, 1.0)])
    };
    assert!(matches!(
        draw(logarithmic),
        FigureError::Value {
            why: Misplaced::NotPositive,
            ..
        }
    ));
    for (low, high) in [(1.0, 1.0), (f64::NAN, 1.0), (0.0, f64::INFINITY)] {
        let fixed = Figure {
            x: Axis::new("x", "").reaching(low, high),
            ..points(vec![(1.0, 1.0)])
        };
        assert!(
            matches!(draw(fixed), FigureError::Range { .. }),
            "{low} to {high}"
        );
    }
    let small = Size {
        width: 90,
        height: 60,
        ..Size::PAGE
    };
    let refused = points(vec![(1.0, 1.0)])
        .to_svg(small, Theme::Light, Lettering::Outlines, "")
        .expect_err("refused");
    assert!(matches!(refused, FigureError::NoRoom { .. }));
}

#[test]
fn extreme_but_sound_values_are_drawn() {
    for at in [
        vec![(1.0, 1.0)],
        vec![(0.0, 0.0), (0.0, 0.0)],
        vec![(-1e-120, 3.0), (1e-120, 3.0)],
        vec![(1e140, -1e140), (-1e140, 1e140)],
        vec![(1e6, 1e-9), (1e6 + 1e-7, 2e-9)],
    ] {
        let svg = points(at.clone())
            .to_svg(Size::PAGE, Theme::Light, Lettering::Text, "")
            .expect("an SVG");
        assert!(!svg.contains("NaN") && svg.contains("<circle"), "{at:?}");
        assert!(boxes(&svg).len() >= 4, "{at:?} has marks on both axes");
    }
}

/// A repeatable stand-in for chance.
struct Draws(u64);

impl Draws {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % n
    }

    fn words(&mut self, most: usize) -> String {
        let count = self.below(most + 1);
        let word = |draws: &mut Self| {
            "fandrawintakemodecapacityWärme-β°×"
                .chars()
                .cycle()
                .skip(draws.below(20))
                .take(1 + draws.below(14))
                .collect::<String>()
        };
        (0..count).map(|_| word(self)).collect::<Vec<_>>().join(" ")
    }

    fn axis(&mut self) -> Axis {
        let axis = Axis::new(self.words(3), ["degC", "W", "", "m3/h"][self.below(4)]);
        match self.below(6) {
            0 => axis.logarithmic(),
            1 => axis.from_zero(),
            2 => Axis::names(
                self.words(2),
                (0..1 + self.below(7))
                    .map(|_| self.words(4))
                    .collect::<Vec<_>>(),
            ),
            3 => axis.shown_as("degF", 1.8, 32.0),
            4 => axis.clock(),
            _ => axis,
        }
    }

    fn figure(&mut self) -> Figure {
        let size = 10_f64.powi(self.below(9) as i32 - 4);
        let (x, y) = (self.axis(), self.axis());
        let on = |axis: &Axis, value: usize| match &axis.scale {
            Scale::Names(names) => (value % names.len()) as f64,
            _ => size * (1 + value) as f64,
        };
        let panel = |draws: &mut Self| {
            let mut layers = Vec::new();
            for n in 0..1 + draws.below(9) {
                let mut place = || (on(&x, draws.below(400)), on(&y, draws.below(400)));
                let at: Vec<(f64, f64)> = (0..7).map(|_| place()).collect();
                let (across, up) = place();
                let label = draws.words(6);
                layers.push(match draws.below(6) {
                    0 => Layer::Points {
                        at,
                        look: Look::series(n),
                        label,
                    },
                    1 => Layer::Rule {
                        along: Along::X,
                        at: across,
                        label,
                    },
                    2 => Layer::Region {
                        along: Along::Y,
                        from: f64::NEG_INFINITY,
                        to: up,
                        label,
                    },
                    3 => Layer::Remark {
                        at: (across, up),
                        label,
                    },
                    _ => Layer::Curve {
                        through: at,
                        look: Look::series(n),
                        label,
                    },
                });
            }
            layers.push(Layer::Points {
                at: vec![(on(&x, 0), on(&y, 0))],
                look: Look::ink(),
                label: String::new(),
            });
            Panel {
                y: None,
                title: draws.words(4),
                layers,
            }
        };
        let panels = (0..1 + self.below(5)).map(|_| panel(self)).collect();
        Figure {
            name: "drawn".into(),
            title: self.words(20),
            claim: self.words(30),
            x,
            y,
            panels,
            note: self.words(30),
            alt: String::new(),
        }
    }
}

#[test]
fn whatever_is_asked_for_is_drawn_legibly_or_refused() {
    let mut draws = Draws(7);
    let mut drawn = 0;
    for round in 0..400 {
        let figure = draws.figure();
        let (size_name, size) = SIZES[round % 3];
        let svg = match figure.to_svg(size, Theme::Light, Lettering::Text, "") {
            Ok(svg) => svg,
            Err(FigureError::NoRoom { .. }) => continue,
            Err(other) => panic!("round {round}: {other}"),
        };
        drawn += 1;
        assert!(
            !svg.contains("NaN") && !svg.contains("inf\""),
            "round {round}"
        );
        // No label inside a panel is left out, however crowded it is.
        let labelled = |layer: &&Layer| match layer {
            Layer::Rule { label, .. }
            | Layer::Region { label, .. }
            | Layer::Remark { label, .. } => !label.is_empty(),
            _ => false,
        };
        let labels = figure
            .panels
            .iter()
            .flat_map(|panel| &panel.layers)
            .filter(labelled)
            .count();
        let rimmed = svg
            .lines()
            .filter(|line| line.contains("paint-order"))
            .count();
        assert!(
            rimmed >= labels,
            "round {round}: {rimmed} lines for {labels} labels"
        );
        // Such labels have a rim, since they may have to lie on something. All other text stands alone.
        let outside: String = svg
            .lines()
            .filter(|line| !line.contains("paint-order"))
            .collect::<Vec<_>>()
            .join("\n");
        let lines = boxes(&outside);
        for (i, (says, a)) in lines.iter().enumerate() {
            assert!(
                a[0] >= 0.0 && a[2] <= f64::from(size.width) * 10.0,
                "round {round}, {size_name}: “{says}” leaves the figure: {a:?}"
            );
            for (other, b) in &lines[..i] {
                let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
                assert!(
                    apart,
                    "round {round}, {size_name}: “{says}” lies on “{other}”"
                );
            }
        }
    }
    assert!(drawn > 300, "only {drawn} were drawn");
}

/// A document of every kind of block.
fn document() -> Document {
    let mut table = Table::new(
        "Draw by setting at 35 °C intake",
        [
            Column::text("fan"),
            Column::number("runs", ""),
            Column::number("draw", "W"),
            Column::interval("one further run", "W"),
            Column::interval("long-run mean", "W"),
            Column::number("hours per 100 Ah", "h"),
            Column::text("support"),
        ],
    )
    .with_note("Intervals: 95 %. Invented values.");
    for (fan, draw) in [
        ("low", 258.0),
        ("middle", 348.0),
        ("high", 427.0),
        ("full", 438.0),
    ] {
        table.row([
            fan.into(),
            Cell::number(12.0, 0),
            Cell::number(draw, 0),
            Cell::interval(draw - 16.0, draw + 16.0, 0),
            Cell::interval(draw - 5.0, draw + 5.0, 0),
            if fan == "full" {
                Cell::Absent
            } else {
                Cell::number(2560.0 / draw, 1)
            },
            "inside".into(),
        ]);
    }
    let mut sections = vec![
        Section::new("What it draws")
            .with(Block::Finding("At 35 °C intake the unit draws 258 to 438 W, depending on the fan level.".into()))
            .with(Block::Text("Each fan level was run twelve times over three days. A run is the unit of the experiment: the thousands of samples inside one tell how well its own mean is known, and nothing about the next run.".into()))
            .with(Block::Table(table))
            .with(Block::Heading("As an equation".into()))
            .with(Block::Code("draw = 235 + 4.1 * (intake - 30) + 0.09 * (intake - 30)^2\nintake in degC, draw in W".into())),
        Section::new("What hurts").with(Block::Caution(vec![
            "At full fan the current is 18 A. Fuse at the battery within its rating and the cable's.".into(),
            "Local codes and licensed practice decide on wiring, refrigerant and installation.".into(),
        ])),
        Section::new("How it was done").with(Block::List(vec!["Runs in random order within a day.".into(), "Fan-only runs at every level.".into()])).with(Block::Terms(vec![
            ("draw".into(), "electrical power at the unit's supply terminals".into()),
            ("intake".into(), "air entering the evaporator side".into()),
        ])),
        Section::new("Figures"),
    ];
    for (i, figure) in samples::all().into_iter().enumerate() {
        let at = if i == 0 { 0 } else { 3 };
        sections[at].blocks.push(Block::Figure(Box::new(figure)));
    }
    Document {
        title: "A cabin cooler on a canal boat: what it draws".into(),
        lead: vec!["The fan level and the compressor are tied together: with more air the compressor works harder. On a day of 35 °C the unit draws up to 438 W, and 100 Ah at 25.6 V carry it for six hours. Invented values.".into()],
        sections,
        foot: vec!["These are measurements of one unit, not an approval.".into()],
        interactive: false,
    }
}

#[test]
fn a_page_stands_alone_and_its_ids_are_its_own() {
    let document = document();
    let page = html::page(&document).expect("a page");
    fs::write(folder().join("page.html"), &page).expect("written");
    assert!(
        page == html::page(&document).expect("a page"),
        "equal documents give equal bytes"
    );
    for bad in [
        "<script",
        "http-equiv=\"refresh\"",
        "https://",
        "src=\"http",
        "@import",
        "<link",
        "<iframe",
    ] {
        assert!(!page.contains(bad), "{bad}");
    }
    // The one address is the name of the SVG language, which nothing loads.
    assert_eq!(
        page.matches("http://").count(),
        page.matches("xmlns=\"http://www.w3.org/2000/svg\"").count()
    );
    let mut ids: Vec<&str> = page
        .split(" id=\"")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count, "an id stands twice");
    assert_eq!(page.matches("<figure").count(), samples::all().len());
    assert!(page.len() < 1_200_000, "{} bytes", page.len());
}

#[test]
fn the_same_document_reads_as_markdown() {
    let text = markdown::text(&document(), "figures");
    fs::write(folder().join("page.md"), &text).expect("written");
    assert!(text.starts_with("# A cabin cooler"));
    assert!(
        text.contains("(figures/draw-by-intake.png)")
            && text.contains("| low | 12 | 258 | 242 to 274 |")
    );
    assert!(!text.contains("<script>") && !text.contains("\n- -"));
}

#[test]
fn runs_of_one_setting_stand_side_by_side_and_measured_values_do_not_move() {
    let at = vec![(1.0, 5.0); 4]
        .into_iter()
        .chain([(2.0, 6.0)])
        .collect::<Vec<_>>();
    let middles = |figure: Figure| {
        let svg = figure
            .to_svg(Size::PAGE, Theme::Light, Lettering::Text, "")
            .expect("an SVG");
        let tree = roxmltree::Document::parse(&svg).expect("sound XML");
        let number =
            |node: roxmltree::Node<'_, '_>, name: &str| node.attribute(name).map(str::to_owned);
        let colour = Theme::Light.colour(theme::Role::Series(0)).to_string();
        let all: Vec<_> = tree
            .descendants()
            .filter(|node| node.has_tag_name("circle") && node.attribute("fill") == Some(&colour))
            .map(|node| (number(node, "cx"), number(node, "cy")))
            .collect();
        let apart: std::collections::BTreeSet<_> = all.iter().cloned().collect();
        let heights: std::collections::BTreeSet<_> =
            all.iter().map(|spot| spot.1.clone()).collect();
        (all.len(), apart.len(), heights.len())
    };
    let settings = Figure {
        x: Axis::new("x", "").of_settings(),
        ..points(at.clone())
    };
    assert_eq!(
        middles(settings),
        (5, 5, 2),
        "five marks at five places, none moved up or down"
    );
    assert_eq!(middles(points(at)), (5, 2, 2));
}
