//! Curves written in plain algebra: `y = b1*(1 - exp(-b2*x))`.
//!
//! `+ - * / ^`, brackets, `exp ln log log10 sqrt sin cos tan atan abs min max` and `pi`; `log` is the natural
//! logarithm, angles are in radians. `^` binds tightest and to the right, also tighter than a leading minus:
//! `-x^2` is `-(x^2)`, `2^3^2` is `2^9`. Names that are columns of the data are data, all others are the
//! parameters to fit. The left side may be an expression of columns, `log(y) = …`.

mod error;
mod lexer;
mod node;
mod parser;
mod program;
mod scalar;
mod structure;
#[cfg(test)]
mod tests;
mod written;

use std::collections::HashMap;
use std::ops::Range;

pub use error::{EquationError, EquationProblem};
pub use parser::{DEPTH_LIMIT, LENGTH_LIMIT, NAME_LIMIT};
pub use scalar::Scalar;
pub(crate) use scalar::Sloped;

use node::Nodes;
use program::{Meaning, Program, data_parts};

/// An equation that has been read, before its names have been sorted into columns and parameters.
#[derive(Debug, Clone)]
pub struct Equation {
    text: String,
    nodes: Nodes,
    names: Vec<(String, Range<usize>)>,
    left: usize,
    right: usize,
    left_bytes: Range<usize>,
    right_bytes: Range<usize>,
}

impl Equation {
    /// Reads an equation.
    ///
    /// # Errors
    /// [`EquationError`] names the character and what was expected there. Texts longer than [`LENGTH_LIMIT`] bytes,
    /// nested deeper than [`DEPTH_LIMIT`] or with more than [`NAME_LIMIT`] names are refused.
    ///
    /// # Example
    /// ```
    /// use steadydraw::fit::Equation;
    /// let equation = Equation::parse("log(y) = a - b*x^2")?;
    /// assert_eq!(equation.names().collect::<Vec<_>>(), ["y", "a", "b", "x"]);
    /// let error = Equation::parse("y = 2x").unwrap_err();
    /// assert_eq!(error.column(), 6);
    /// # Ok::<(), steadydraw::fit::EquationError>(())
    /// ```
    pub fn parse(text: &str) -> Result<Self, EquationError> {
        let parser::Parsed {
            nodes,
            names,
            left,
            right,
            left_bytes,
            right_bytes,
        } = parser::parse(text)?;
        Ok(Self {
            text: text.to_owned(),
            nodes,
            names,
            left,
            right,
            left_bytes,
            right_bytes,
        })
    }

    /// The text as given.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Every name in the equation once, in order of appearance.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.names.iter().map(|(name, _)| name.as_str())
    }

    /// The right side where `value` gives the value of each name; NaN where it knows none.
    pub fn value(&self, value: impl Fn(&str) -> f64) -> f64 {
        let mut values: Vec<f64> = Vec::with_capacity(self.right + 1);
        for node in self.nodes.list.iter().take(self.right + 1) {
            let of = |part: usize| values.get(part).copied().unwrap_or(f64::NAN);
            let found = match *node {
                node::Node::Number(v) => v,
                node::Node::Name(i) => self.names.get(i).map_or(f64::NAN, |n| value(&n.0)),
                node::Node::Call(f, a) => f.apply(of(a)),
                node::Node::Whole(a, n) => of(a).power_whole(n),
                node::Node::Join(o, a, b) => o.apply(of(a), of(b)),
            };
            values.push(found);
        }
        values.pop().unwrap_or(f64::NAN)
    }

    /// Sorts the names: those among `columns` are data, the others parameters.
    ///
    /// # Errors
    /// [`EquationError`] where the left side holds a name that is no column, or none at all, and where the right side
    /// holds no parameter.
    pub fn with_columns(self, columns: &[String]) -> Result<Curve, EquationError> {
        let fail =
            |problem, bytes: Range<usize>| Err(EquationError::new(problem, bytes, &self.text));
        let (mut used, mut parameters) = (Vec::new(), Vec::new());
        let mut meanings = Vec::with_capacity(self.names.len());
        for (name, bytes) in &self.names {
            if columns.contains(name) {
                meanings.push(Meaning::Column(used.len()));
                used.push(name.clone());
            } else if self.left_bytes.contains(&bytes.start) {
                let distance = |c: &&String| strsim::damerau_levenshtein(c, name);
                let near = columns
                    .iter()
                    .min_by_key(distance)
                    .filter(|c| distance(c) <= 1 + name.chars().count() / 4);
                let problem = EquationProblem::LeftNotAColumn {
                    found: name.clone(),
                    columns: columns.to_vec(),
                    near: near.cloned(),
                };
                return fail(problem, bytes.clone());
            } else {
                meanings.push(Meaning::Parameter(parameters.len()));
                parameters.push(name.clone());
            }
        }
        if !self
            .names
            .iter()
            .any(|(_, bytes)| self.left_bytes.contains(&bytes.start))
        {
            return fail(EquationProblem::LeftWithoutColumn, self.left_bytes.clone());
        }
        if parameters.is_empty() {
            return fail(EquationProblem::NoParameters, self.right_bytes.clone());
        }
        let parameter = |name: usize| match meanings[name] {
            Meaning::Parameter(p) => Some(p),
            Meaning::Column(_) => None,
        };
        let set = structure::linear_parameters(&self.nodes.list, self.right, parameter);
        let linear = (0..parameters.len()).map(|p| set >> p & 1 == 1).collect();
        let program = |root| Program::new(&self.nodes, root, &meanings, &HashMap::new());
        let (left, right) = (program(self.left), program(self.right));
        Ok(Curve {
            equation: self,
            meanings,
            columns: used,
            parameters,
            linear,
            left,
            right,
        })
    }
}

/// An equation whose names are sorted: a measured quantity as a function of columns and parameters.
#[derive(Debug, Clone)]
pub struct Curve {
    equation: Equation,
    meanings: Vec<Meaning>,
    columns: Vec<String>,
    parameters: Vec<String>,
    linear: Vec<bool>,
    left: Program,
    right: Program,
}

impl Curve {
    /// The equation's text.
    pub fn text(&self) -> &str {
        self.equation.text()
    }

    /// The text of the left side: what is fitted.
    pub fn left_text(&self) -> &str {
        self.equation
            .text
            .get(self.equation.left_bytes.clone())
            .unwrap_or_default()
            .trim()
    }

    /// The text of the right side.
    pub fn right_text(&self) -> &str {
        self.equation
            .text
            .get(self.equation.right_bytes.clone())
            .unwrap_or_default()
            .trim()
    }

    /// The equation with `values` in place of the parameters, one a parameter in their order; negative ones in brackets.
    pub fn with_values(&self, values: &[String]) -> String {
        let text = self.text();
        let Ok(words) = lexer::words(text) else {
            return text.to_owned();
        };
        let mut result = String::with_capacity(text.len());
        let mut done = 0;
        for (word, bytes) in words {
            let lexer::Token::Name(name) = word else {
                continue;
            };
            let place = self.parameters.iter().position(|p| p == name);
            // A parameter never stands on the left side.
            let Some(value) = place.and_then(|p| values.get(p)) else {
                continue;
            };
            result.push_str(text.get(done..bytes.start).unwrap_or_default());
            if value.starts_with('-') {
                result.push_str(&format!("({value})"));
            } else {
                result.push_str(value);
            }
            done = bytes.end;
        }
        result.push_str(text.get(done..).unwrap_or_default());
        result
    }

    /// The columns that the equation uses; data is handed over in this order.
    pub fn columns(&self) -> &[String] {
        &self.columns
    }

    /// The columns that stand on the right side.
    pub fn right_columns(&self) -> Vec<&str> {
        let needed = structure::reachable(&self.equation.nodes.list, self.equation.right);
        let stands = |c: usize| {
            self.equation.nodes.list.iter().zip(&needed).any(
                |(n, &needed)| matches!(n, node::Node::Name(i) if needed && self.meanings[*i] == Meaning::Column(c)),
            )
        };
        (0..self.columns.len())
            .filter(|&c| stands(c))
            .map(|c| self.columns[c].as_str())
            .collect()
    }

    /// The parameters in order of appearance.
    pub fn parameters(&self) -> &[String] {
        &self.parameters
    }

    /// For every parameter whether the curve is linear in it (and in all others marked so, together) for any fixed
    /// values of the parameters not marked.
    pub fn linear_parameters(&self) -> &[bool] {
        &self.linear
    }

    /// Whether the curve is linear in all its parameters, so that it needs no start.
    pub fn is_linear(&self) -> bool {
        self.linear.iter().all(|l| *l)
    }

    /// The left side for every row; `data` holds one slice a column in the order of [`columns`](Self::columns),
    /// all of length `rows`.
    pub fn left_values<T: Scalar, D: AsRef<[f64]>>(&self, data: &[D], rows: usize) -> Vec<T> {
        let mut values = Vec::with_capacity(rows);
        self.left
            .run(&[], data, rows, |_, value| values.push(value));
        values
    }

    /// The right side for every row, in any kind of number.
    pub fn right_values<T: Scalar, D: AsRef<[f64]>>(
        &self,
        parameters: &[T],
        data: &[D],
        rows: usize,
    ) -> Vec<T> {
        let mut values = Vec::with_capacity(rows);
        self.right
            .run(parameters, data, rows, |_, value| values.push(value));
        values
    }

    /// The curve on given data, with all that depends on data alone computed once: for many evaluations.
    pub fn on_data<D: AsRef<[f64]>>(&self, data: &[D], rows: usize) -> CurveOnData {
        let nodes = &self.equation.nodes;
        let mut columns: Vec<Vec<f64>> = data.iter().map(|c| c.as_ref().to_vec()).collect();
        let mut ready = HashMap::new();
        for part in data_parts(nodes, self.equation.right, &self.meanings) {
            let program = Program::new(nodes, part, &self.meanings, &HashMap::new());
            let mut values = Vec::with_capacity(rows);
            program.run::<f64, _>(&[], data, rows, |_, value| values.push(value));
            ready.insert(part, columns.len());
            columns.push(values);
        }
        let program = Program::new(nodes, self.equation.right, &self.meanings, &ready);
        CurveOnData {
            program,
            columns,
            rows,
            parameters: self.parameters.len(),
        }
    }
}

/// A curve tied to its data, ready to be evaluated for many parameter values.
#[derive(Debug, Clone)]
pub struct CurveOnData {
    program: Program,
    columns: Vec<Vec<f64>>,
    rows: usize,
    parameters: usize,
}

impl CurveOnData {
    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Number of parameters.
    pub fn parameters(&self) -> usize {
        self.parameters
    }

    /// The curve in every row.
    pub fn values(&self, parameters: &[f64], mut sink: impl FnMut(usize, f64)) {
        self.program
            .run(parameters, &self.columns, self.rows, &mut sink);
    }

    /// The curve and its exact derivatives by every parameter: `values` has one entry a row, `jacobian` is
    /// column-major, rows × parameters.
    pub fn with_derivatives(&self, parameters: &[f64], values: &mut [f64], jacobian: &mut [f64]) {
        let mut first = 0;
        while first < self.parameters {
            let left = self.parameters - first;
            // Derivatives travel in fixed-size vectors of at most eight.
            match left.min(8) {
                1 => self.block::<1>(parameters, first, values, jacobian),
                2 => self.block::<2>(parameters, first, values, jacobian),
                3 => self.block::<3>(parameters, first, values, jacobian),
                4 => self.block::<4>(parameters, first, values, jacobian),
                5 => self.block::<5>(parameters, first, values, jacobian),
                6 => self.block::<6>(parameters, first, values, jacobian),
                7 => self.block::<7>(parameters, first, values, jacobian),
                _ => self.block::<8>(parameters, first, values, jacobian),
            }
            first += left.min(8);
        }
    }

    fn block<const N: usize>(
        &self,
        parameters: &[f64],
        first: usize,
        values: &mut [f64],
        jacobian: &mut [f64],
    ) {
        let numbers: Vec<_> = parameters
            .iter()
            .enumerate()
            .map(|(p, &v)| Sloped::<N>::parameter(v, p.checked_sub(first)))
            .collect();
        self.program
            .run(&numbers, &self.columns, self.rows, |row, value| {
                values[row] = value.value;
                for (k, slope) in value.by.into_iter().enumerate() {
                    jacobian[(first + k) * self.rows + row] = slope;
                }
            });
    }
}
