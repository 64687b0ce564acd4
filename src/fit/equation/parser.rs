//! Words to parts, by precedence: `+ -`, then `* /`, then signs, then `^`, which binds tightest and to the right.

use std::ops::Range;

use super::error::{EquationError, EquationProblem};
use super::lexer::{Token, words};
use super::node::{FUNCTIONS, Function, Node, Nodes, Operation, PAIR_FUNCTIONS};

/// Longest equation that is read, in bytes.
pub const LENGTH_LIMIT: usize = 10_000;
/// Deepest nesting of brackets, functions and powers.
pub const DEPTH_LIMIT: usize = 100;
/// Most different names in one equation.
pub const NAME_LIMIT: usize = 128;

/// What a text comes to.
pub(super) struct Parsed {
    pub(super) nodes: Nodes,
    /// Every name once, in order of appearance, with the place of its first appearance.
    pub(super) names: Vec<(String, Range<usize>)>,
    pub(super) left: usize,
    pub(super) right: usize,
    /// Where the left side stands.
    pub(super) left_bytes: Range<usize>,
    /// Where the right side stands.
    pub(super) right_bytes: Range<usize>,
}

struct Parser<'t> {
    text: &'t str,
    words: Vec<(Token<'t>, Range<usize>)>,
    at: usize,
    depth: usize,
    nodes: Nodes,
    names: Vec<(String, Range<usize>)>,
}

type Result<T> = std::result::Result<T, EquationError>;

pub(super) fn parse(text: &str) -> Result<Parsed> {
    if text.len() > LENGTH_LIMIT {
        let cut = (0..=64)
            .rev()
            .find(|&at| text.is_char_boundary(at))
            .unwrap_or(0);
        let problem = EquationProblem::TooLong {
            found: text.len(),
            limit: LENGTH_LIMIT,
        };
        return Err(EquationError::new(problem, 0..0, &text[..cut]));
    }
    let mut parser = Parser {
        text,
        words: words(text)?,
        at: 0,
        depth: 0,
        nodes: Nodes::default(),
        names: Vec::new(),
    };
    let left = parser.sum()?;
    let equals = parser.here();
    match parser.next() {
        Token::Sign('=') => {}
        Token::End => return Err(parser.error(EquationProblem::NoEqualsSign, equals)),
        _ => return Err(parser.unexpected("an operator or `=`", equals, parser.at - 1)),
    }
    let right = parser.sum()?;
    let end = parser.here();
    match parser.next() {
        Token::End => {}
        Token::Sign('=') => return Err(parser.error(EquationProblem::SecondEqualsSign, end)),
        _ => return Err(parser.unexpected("an operator or the end", end, parser.at - 1)),
    }
    let Parser { nodes, names, .. } = parser;
    Ok(Parsed {
        nodes,
        names,
        left,
        right,
        left_bytes: 0..equals.start,
        right_bytes: equals.end..text.len(),
    })
}

impl<'t> Parser<'t> {
    fn peek(&self) -> Token<'t> {
        self.words
            .get(self.at)
            .map_or(Token::End, |(token, _)| *token)
    }

    /// Where the next word stands.
    fn here(&self) -> Range<usize> {
        self.words
            .get(self.at)
            .map_or(self.text.len()..self.text.len(), |(_, bytes)| bytes.clone())
    }

    fn next(&mut self) -> Token<'t> {
        let token = self.peek();
        self.at += 1;
        token
    }

    fn take(&mut self, sign: char) -> bool {
        let found = self.peek() == Token::Sign(sign);
        self.at += usize::from(found);
        found
    }

    fn error(&self, problem: EquationProblem, bytes: Range<usize>) -> EquationError {
        EquationError::new(problem, bytes, self.text)
    }

    /// The word at `at` makes no sense: two values side by side, or something else than `expected`.
    fn unexpected(&self, expected: &'static str, bytes: Range<usize>, at: usize) -> EquationError {
        let token = self.words.get(at).map_or(Token::End, |(token, _)| *token);
        let found = match token {
            Token::End => "the end of the equation".to_owned(),
            _ => format!("`{}`", self.text.get(bytes.clone()).unwrap_or_default()),
        };
        let value_starts = matches!(token, Token::Number(_) | Token::Name(_) | Token::Sign('('));
        let problem = if value_starts && expected.starts_with("an operator") {
            EquationProblem::MissingOperator { found }
        } else {
            EquationProblem::Expected { expected, found }
        };
        self.error(problem, bytes)
    }

    /// Runs `inner` one level deeper.
    fn deeper<T>(&mut self, inner: impl FnOnce(&mut Self) -> Result<T>) -> Result<T> {
        if self.depth >= DEPTH_LIMIT {
            return Err(self.error(EquationProblem::TooDeep { limit: DEPTH_LIMIT }, self.here()));
        }
        self.depth += 1;
        let result = inner(self);
        self.depth -= 1;
        result
    }

    fn sum(&mut self) -> Result<usize> {
        let mut left = self.product()?;
        loop {
            let operation = match self.peek() {
                Token::Sign('+') => Operation::Add,
                Token::Sign('-') => Operation::Subtract,
                _ => return Ok(left),
            };
            self.at += 1;
            let right = self.product()?;
            left = self.nodes.add(Node::Join(operation, left, right));
        }
    }

    fn product(&mut self) -> Result<usize> {
        let mut left = self.signed()?;
        loop {
            let operation = match self.peek() {
                Token::Sign('*') => Operation::Multiply,
                Token::Sign('/') => Operation::Divide,
                _ => return Ok(left),
            };
            self.at += 1;
            let right = self.signed()?;
            left = self.nodes.add(Node::Join(operation, left, right));
        }
    }

    /// Signs before a value; whether an odd number of them was a minus.
    fn signs(&mut self) -> bool {
        let mut negative = false;
        loop {
            if self.take('-') {
                negative = !negative;
            } else if !self.take('+') {
                return negative;
            }
        }
    }

    fn signed(&mut self) -> Result<usize> {
        let negative = self.signs();
        let value = self.power()?;
        Ok(if negative {
            self.nodes.add(Node::Call(Function::Negate, value))
        } else {
            value
        })
    }

    fn power(&mut self) -> Result<usize> {
        let base = self.primary()?;
        if !self.take('^') {
            return Ok(base);
        }
        // The exponent may carry signs and powers of its own: 2^-x^2 is 2^(-(x^2)).
        let exponent = self.deeper(Self::signed)?;
        let whole = self
            .nodes
            .constant(exponent)
            .filter(|v| v.fract() == 0.0 && v.abs() <= 1e6);
        Ok(self.nodes.add(match whole {
            Some(value) => Node::Whole(base, value as i32),
            None => Node::Join(Operation::Power, base, exponent),
        }))
    }

    fn primary(&mut self) -> Result<usize> {
        let bytes = self.here();
        match self.next() {
            Token::Number(value) => Ok(self.nodes.add(Node::Number(value))),
            Token::Sign('(') => {
                let inner = self.deeper(Self::sum)?;
                self.close(bytes)?;
                Ok(inner)
            }
            Token::Name(name) => self.name(name, bytes),
            _ => Err(self.unexpected("a number, a name or `(`", bytes, self.at - 1)),
        }
    }

    /// The bracket that closes the one at `opened`.
    fn close(&mut self, opened: Range<usize>) -> Result<()> {
        if self.take(')') {
            return Ok(());
        }
        match self.peek() {
            Token::End | Token::Sign('=') => Err(self.error(EquationProblem::Unclosed, opened)),
            _ => Err(self.unexpected("an operator or `)`", self.here(), self.at)),
        }
    }

    fn name(&mut self, name: &str, bytes: Range<usize>) -> Result<usize> {
        let one = FUNCTIONS.iter().find(|(known, _)| *known == name);
        let two = PAIR_FUNCTIONS.iter().find(|(known, _)| *known == name);
        let opened = self.here();
        let called = self.take('(');
        match (one, two, called) {
            (Some(&(known, function)), _, true) => {
                let arguments = self.arguments(opened)?;
                let [argument] = arguments[..] else {
                    return Err(self.wrong_count(known, 1, arguments.len(), bytes));
                };
                Ok(self.nodes.add(Node::Call(function, argument)))
            }
            (_, Some(&(known, operation)), true) => {
                let arguments = self.arguments(opened)?;
                let [a, b] = arguments[..] else {
                    return Err(self.wrong_count(known, 2, arguments.len(), bytes));
                };
                Ok(self.nodes.add(Node::Join(operation, a, b)))
            }
            (None, None, true)
                if name == "pi" || self.names.iter().any(|(known, _)| known == name) =>
            {
                self.at -= 1;
                Err(self.unexpected("an operator", opened, self.at))
            }
            (None, None, true) => {
                let all = || {
                    FUNCTIONS
                        .iter()
                        .map(|(n, _)| *n)
                        .chain(PAIR_FUNCTIONS.iter().map(|(n, _)| *n))
                };
                let lower = name.to_lowercase();
                let near = all().find(|known| {
                    strsim::damerau_levenshtein(known, &lower) <= 1
                        || (lower == "arctan" && *known == "atan")
                });
                let known = all().collect::<Vec<_>>().join(", ");
                Err(self.error(
                    EquationProblem::UnknownFunction {
                        found: name.to_owned(),
                        known,
                        near,
                    },
                    bytes,
                ))
            }
            (None, None, false) if name == "pi" => {
                Ok(self.nodes.add(Node::Number(std::f64::consts::PI)))
            }
            (None, None, false) => {
                let place = match self.names.iter().position(|(known, _)| known == name) {
                    Some(place) => place,
                    None if self.names.len() >= NAME_LIMIT => {
                        return Err(
                            self.error(EquationProblem::TooManyNames { limit: NAME_LIMIT }, bytes)
                        );
                    }
                    None => {
                        self.names.push((name.to_owned(), bytes));
                        self.names.len() - 1
                    }
                };
                Ok(self.nodes.add(Node::Name(place)))
            }
            (_, _, false) => Err(self.error(
                EquationProblem::FunctionWithoutBrackets {
                    found: name.to_owned(),
                },
                bytes,
            )),
        }
    }

    fn wrong_count(
        &self,
        function: &'static str,
        expected: usize,
        found: usize,
        bytes: Range<usize>,
    ) -> EquationError {
        self.error(
            EquationProblem::Arguments {
                function,
                expected,
                found,
            },
            bytes,
        )
    }

    /// The arguments of a function whose bracket has been opened.
    fn arguments(&mut self, opened: Range<usize>) -> Result<Vec<usize>> {
        if self.take(')') {
            return Ok(Vec::new());
        }
        let mut result = Vec::new();
        loop {
            result.push(self.deeper(Self::sum)?);
            if !self.take(',') {
                self.close(opened)?;
                return Ok(result);
            }
        }
    }
}
