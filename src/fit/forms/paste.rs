//! Fitted equations ready to be pasted: cells of a spreadsheet, symbols of a paper.

use super::equation::Equation;
use crate::fit;

/// What a fitted equation depends on: its name in the text, the cell that holds it in a spreadsheet, its symbol in a paper, and what it is.
pub const VARIABLES: [Variable; 3] = [
    Variable {
        name: "intake_degC",
        cell: "A2",
        symbol: r"t_{\mathrm{in}}",
        words: "intake air, degC",
    },
    Variable {
        name: "ambient_degC",
        cell: "B2",
        symbol: r"t_{\mathrm{amb}}",
        words: "ambient air, degC",
    },
    Variable {
        name: "flow_m3h",
        cell: "C2",
        symbol: r"\dot{V}",
        words: "airflow, m3/h",
    },
];

/// A variable of the fitted equations.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Variable {
    /// Its name in an equation's text.
    pub name: &'static str,
    /// The cell that holds it in [`Equation::spreadsheet`].
    pub cell: &'static str,
    /// Its symbol in [`Equation::latex`].
    pub symbol: &'static str,
    /// What it is, with its unit.
    pub words: &'static str,
}

/// A name of the left side in a paper.
fn left_symbol(name: &str) -> Option<&'static str> {
    match name {
        "draw_W" => Some("P"),
        "capacity_W" => Some(r"\dot{Q}"),
        _ => None,
    }
}

/// A name as LaTeX writes it, upright.
pub fn upright(name: &str) -> String {
    format!(r"\mathrm{{{}}}", name.replace('_', r"\_"))
}

impl Equation {
    /// As a formula of a spreadsheet whose cells are those of [`VARIABLES`]; `None` where the text is no equation.
    pub fn spreadsheet(&self) -> Option<String> {
        let read = fit::Equation::parse(&self.text).ok()?;
        Some(read.spreadsheet(|name| {
            { VARIABLES.iter() }
                .find(|v| v.name == name)
                .map_or_else(|| name.to_owned(), |v| v.cell.to_owned())
        }))
    }

    /// Its value where `value` gives that of each variable; NaN where the text is no equation.
    pub fn value(&self, value: impl Fn(&Variable) -> f64) -> f64 {
        fit::Equation::parse(&self.text).map_or(f64::NAN, |read| {
            read.value(|name| {
                { VARIABLES.iter() }
                    .find(|v| v.name == name)
                    .map_or(f64::NAN, &value)
            })
        })
    }

    /// In LaTeX, for mathematics mode, with the symbols of [`VARIABLES`]; `None` where the text is no equation.
    pub fn latex(&self) -> Option<String> {
        let read = fit::Equation::parse(&self.text).ok()?;
        let symbol = |name: &str| {
            let own = VARIABLES.iter().find(|v| v.name == name);
            own.map(|v| v.symbol)
                .or_else(|| left_symbol(name))
                .map_or_else(|| upright(name), str::to_owned)
        };
        Some(format!(
            "{} = {}",
            read.left_latex(symbol),
            read.latex(symbol)
        ))
    }
}
