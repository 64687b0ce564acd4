//! Equations for a spreadsheet and for a paper, read back by readers of their own, give what the plain equation gives.

use std::iter::Peekable;
use std::path::Path;
use std::str::Chars;

use serde_json::Value;
use steadydraw::fit::Equation;

use crate::support::sheet::Sheet;
use crate::support::{BenchDir, run, run_in};

/// Values that stand for names.
pub type Names<'a> = &'a dyn Fn(&str) -> f64;

/// Reads a spreadsheet's formula by a spreadsheet's own rules: a leading minus binds tighter than a power, powers go from the left.
struct Formula<'a> {
    text: Peekable<Chars<'a>>,
    names: Names<'a>,
}

impl Formula<'_> {
    fn value(text: &str, names: Names<'_>) -> f64 {
        let inner = text
            .strip_prefix('=')
            .unwrap_or_else(|| panic!("{text} is no formula"));
        assert!(inner.is_ascii() && !inner.contains(' '), "{inner}");
        let mut reader = Formula {
            text: inner.chars().peekable(),
            names,
        };
        let value = reader.sum();
        assert_eq!(reader.text.next(), None, "{text}");
        value
    }

    fn take(&mut self, c: char) -> bool {
        self.text.next_if_eq(&c).is_some()
    }

    fn sum(&mut self) -> f64 {
        let mut value = self.product();
        loop {
            if self.take('+') {
                value += self.product();
            } else if self.take('-') {
                value -= self.product();
            } else {
                return value;
            }
        }
    }

    fn product(&mut self) -> f64 {
        let mut value = self.power();
        loop {
            if self.take('*') {
                value *= self.power();
            } else if self.take('/') {
                value /= self.power();
            } else {
                return value;
            }
        }
    }

    fn power(&mut self) -> f64 {
        let mut value = self.signed();
        while self.take('^') {
            value = value.powf(self.signed());
        }
        value
    }

    fn signed(&mut self) -> f64 {
        if self.take('-') {
            -self.signed()
        } else {
            self.part()
        }
    }

    fn part(&mut self) -> f64 {
        if self.take('(') {
            let value = self.sum();
            assert!(self.take(')'));
            return value;
        }
        let mut word = String::new();
        while let Some(c) = self
            .text
            .next_if(|c| c.is_ascii_alphanumeric() || *c == '.')
        {
            word.push(c);
            let exponent = word.ends_with('E') && word.starts_with(|c: char| c.is_ascii_digit());
            if exponent && self.take('-') {
                word.push('-');
            }
        }
        if word.starts_with(|c: char| c.is_ascii_digit()) {
            return word.parse().unwrap();
        }
        if !self.take('(') {
            return (self.names)(&word);
        }
        let mut arguments = vec![self.sum()];
        while self.take(',') {
            arguments.push(self.sum());
        }
        assert!(self.take(')'), "{word}");
        match (word.as_str(), arguments[..].as_ref()) {
            ("EXP", [x]) => x.exp(),
            ("LN", [x]) => x.ln(),
            ("LOG10", [x]) => x.log10(),
            ("SQRT", [x]) => x.sqrt(),
            ("SIN", [x]) => x.sin(),
            ("COS", [x]) => x.cos(),
            ("TAN", [x]) => x.tan(),
            ("ATAN", [x]) => x.atan(),
            ("ABS", [x]) => x.abs(),
            ("MIN", [x, y]) => x.min(*y),
            ("MAX", [x, y]) => x.max(*y),
            other => panic!("no function {other:?}"),
        }
    }
}

/// A spreadsheet's formula where `names` gives the value of each cell.
pub fn formula(text: &str, names: Names<'_>) -> f64 {
    Formula::value(text, names)
}

/// The text between the brace that opens here and the one that closes it, and what follows.
fn group(text: &str) -> (&str, &str) {
    let inner = text
        .strip_prefix('{')
        .unwrap_or_else(|| panic!("no brace: {text}"));
    let mut depth = 1;
    for (i, c) in inner.char_indices() {
        depth += match c {
            '{' => 1,
            '}' => -1,
            _ => 0,
        };
        if depth == 0 {
            return (&inner[..i], &inner[i + 1..]);
        }
    }
    panic!("an open brace: {text}")
}

/// LaTeX as plain algebra; symbols become names.
fn algebra(latex: &str, symbols: &[(&str, &str)]) -> String {
    let mut rest = latex;
    let mut plain = String::new();
    'next: while !rest.is_empty() {
        for (symbol, name) in symbols {
            if let Some(r) = rest.strip_prefix(symbol) {
                plain.push_str(name);
                rest = r;
                continue 'next;
            }
        }
        for (command, text) in [
            (r"\left(", "("),
            (r"\right)", ")"),
            (r"\left|", "abs("),
            (r"\right|", ")"),
            (r"\cdot", "*"),
            (r"\exp", "exp"),
            (r"\ln", "ln"),
            (r"\log_{10}", "log10"),
            (r"\sin", "sin"),
            (r"\cos", "cos"),
            (r"\tan", "tan"),
            (r"\arctan", "atan"),
            (r"\min", "min"),
            (r"\max", "max"),
        ] {
            if let Some(r) = rest.strip_prefix(command) {
                plain.push_str(text);
                rest = r;
                continue 'next;
            }
        }
        if let Some(r) = rest.strip_prefix(r"\frac") {
            let (over, r) = group(r);
            let (under, r) = group(r);
            plain.push_str(&format!(
                "(({})/({}))",
                algebra(over, symbols),
                algebra(under, symbols)
            ));
            rest = r;
        } else if let Some(r) = rest.strip_prefix(r"\sqrt") {
            let (inner, r) = group(r);
            plain.push_str(&format!("sqrt({})", algebra(inner, symbols)));
            rest = r;
        } else if let Some(r) = rest.strip_prefix('^') {
            let (inner, r) = group(r);
            plain.push_str(&format!("^({})", algebra(inner, symbols)));
            rest = r;
        } else {
            let c = rest.chars().next().unwrap();
            assert!(!r"\{}_".contains(c), "not understood: {rest}");
            plain.push(c);
            rest = &rest[c.len_utf8()..];
        }
    }
    plain
}

/// The right side of plain algebra at some values.
fn plain(right: &str, values: &[(&str, f64)]) -> f64 {
    let whole = format!("left = {right} + 0*nothing");
    let columns: Vec<String> = values
        .iter()
        .map(|v| v.0.to_owned())
        .chain(["left".to_owned()])
        .collect();
    let curve = Equation::parse(&whole)
        .and_then(|e| e.with_columns(&columns))
        .unwrap_or_else(|e| panic!("{right}: {e}"));
    assert_eq!(curve.parameters(), ["nothing"], "{right}");
    let value = |c: &String| [values.iter().find(|v| v.0 == c).map_or(f64::NAN, |v| v.1)];
    let data: Vec<[f64; 1]> = curve.columns().iter().map(value).collect();
    curve.right_values(&[0.0], &data, 1)[0]
}

#[track_caller]
fn alike(a: f64, b: f64, what: &str) {
    let same = a == b || (a.is_nan() && b.is_nan()) || (a / b - 1.0).abs() < 1e-12;
    assert!(same, "{what}: {a} and {b}");
}

#[test]
fn powers_signs_and_fractions_survive() {
    let values = [("x", 1.7), ("y", -2.3), ("z", 0.4)];
    for right in [
        "-x^2",
        "(-x)^2",
        "2^3^2",
        "(2^3)^2",
        "2^-x",
        "x - (y - z)",
        "x - (y + z)",
        "x/(y/z)",
        "x/y/z",
        "x/(y*z)",
        "(x + y)*(z - x)",
        "-(x + y)*z",
        "x*-y",
        "x - -y",
        "--x",
        "(x/y)^2",
        "((x*z)^(1/3))^2",
        "abs(y)^z",
        "sqrt(x + 1)*ln(x)/log10(x)",
        "sin(x) + cos(y)*tan(z) - atan(x*y)",
        "min(x, max(y, z)) - max(-x, y)",
        "1e-12*x + 3e20",
        "0.0000123*x - 120000*y",
        "exp(-x^2/(2*z^2))",
        "x^-2 + (x + z)^-3",
        "pi*x",
    ] {
        let equation = Equation::parse(&format!("q = {right}")).unwrap();
        let expected = plain(right, &values);
        let cells = |name: &str| match name {
            "x" => "B7".to_owned(),
            "y" => "C7".to_owned(),
            _ => "D7".to_owned(),
        };
        let formula = equation.spreadsheet(cells);
        let value = |cell: &str| match cell {
            "B7" => values[0].1,
            "C7" => values[1].1,
            "D7" => values[2].1,
            _ => panic!("{cell}"),
        };
        alike(Formula::value(&formula, &value), expected, &formula);
        let latex = equation.latex(str::to_owned);
        alike(plain(&algebra(&latex, &[]), &values), expected, &latex);
    }
}

const SYMBOLS: [(&str, &str); 5] = [
    (r"t_{\mathrm{in}}", "intake_degC"),
    (r"t_{\mathrm{amb}}", "ambient_degC"),
    (r"\dot{V}", "flow_m3h"),
    (r"\dot{Q}", "capacity_W"),
    ("P", "draw_W"),
];

/// Compares what `fit --json` holds of its best curves; gives how many figures were compared.
fn compare(json: &Value) -> usize {
    let mut compared = 0;
    for (curve, left) in [("draw", "draw_W = "), ("capacity", "capacity_W = ")] {
        for e in json[curve]["equations"].as_array().into_iter().flatten() {
            let text = e["text"].as_str().unwrap().strip_prefix(left).unwrap();
            let formula = e["spreadsheet"].as_str().unwrap();
            let latex = algebra(e["latex"].as_str().unwrap(), &SYMBOLS);
            let latex = latex.strip_prefix(left).unwrap();
            for (intake, ambient, flow) in [
                (27.0, 26.0, 150.0),
                (21.5, 19.0, 310.0),
                (40.0, 45.0, 90.0),
                (-3.0, -8.0, 200.0),
            ] {
                let values = [
                    ("intake_degC", intake),
                    ("ambient_degC", ambient),
                    ("flow_m3h", flow),
                ];
                let expected = plain(text, &values);
                let cell = |name: &str| match name {
                    "A2" => intake,
                    "B2" => ambient,
                    "C2" => flow,
                    other => panic!("{other} in {formula}"),
                };
                alike(Formula::value(formula, &cell), expected, formula);
                alike(plain(latex, &values), expected, latex);
                compared += 2;
            }
        }
    }
    compared
}

#[test]
fn fitted_equations_are_the_same_in_plain_algebra_in_a_spreadsheet_and_in_a_paper() {
    let demo = run("fit --json").answers().json();
    assert!(compare(&demo) > 100);
    let bench = |sheet: Sheet| {
        BenchDir::invented()
            .points(sheet.csv())
            .run("fit --json")
            .answers()
            .json()
    };
    assert!(compare(&bench(Sheet::invented())) > 50);
    // Airflow as a variable; no ambient; no conditions at all.
    let cooling = bench(Sheet::invented().keep(|kind, _, _| kind == "cooling"));
    assert!(compare(&cooling) > 0);
    assert!(compare(&bench(Sheet::invented().drop(&["ambient_temp"]))) > 0);
    assert!(
        compare(&bench(
            Sheet::invented().drop(&["intake_temp", "ambient_temp"])
        )) > 0
    );
    let published = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/two-stage-heat-pump");
    let args = ["fit", published.to_str().unwrap(), "--json"].map(str::to_owned);
    let folder = tempfile::tempdir().unwrap();
    assert!(compare(&run_in(folder.path(), &args, &[]).answers().json()) > 0);
}

#[test]
fn words_show_the_form_that_was_asked_for() {
    run("fit --paste spreadsheet")
        .answers()
        .tells("A2 intake air, degC")
        .tells("=10.05+MAX(6,B2+");
    run("fit --paste latex")
        .answers()
        .tells(r"t_{\mathrm{in}}")
        .tells(r"\exp\left(");
    run("fit")
        .answers()
        .tells("draw_W = 10.0500 + max(6, ambient_degC");
    run("fit --paste excell").exits(2);
    run("fit --paste latex --budget").exits(2);
}
