//! The parts of an equation, each made of earlier ones.

use std::collections::HashMap;

use super::scalar::Scalar;

/// A function of one argument.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Function {
    Negate,
    Exp,
    Ln,
    Log10,
    Sqrt,
    Sin,
    Cos,
    Tan,
    Atan,
    Abs,
}

/// What joins two values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum Operation {
    Add,
    Subtract,
    Multiply,
    Divide,
    Power,
    Min,
    Max,
}

/// One part of an equation. Numbers refer to earlier parts, so that no walk over an equation needs recursion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Node {
    Number(f64),
    /// A name, by its place in the list of names.
    Name(usize),
    Call(Function, usize),
    /// A part to a power that is a whole number.
    Whole(usize, i32),
    Join(Operation, usize, usize),
}

impl Node {
    /// The parts that this one is made of.
    pub(super) fn operands(self) -> impl Iterator<Item = usize> {
        let (a, b) = match self {
            Node::Number(_) | Node::Name(_) => (None, None),
            Node::Call(_, a) | Node::Whole(a, _) => (Some(a), None),
            Node::Join(_, a, b) => (Some(a), Some(b)),
        };
        a.into_iter().chain(b)
    }
}

/// The functions of one argument by the names that they have in an equation.
pub(super) const FUNCTIONS: [(&str, Function); 10] = [
    ("exp", Function::Exp),
    ("ln", Function::Ln),
    ("log", Function::Ln),
    ("log10", Function::Log10),
    ("sqrt", Function::Sqrt),
    ("sin", Function::Sin),
    ("cos", Function::Cos),
    ("tan", Function::Tan),
    ("atan", Function::Atan),
    ("abs", Function::Abs),
];

/// The functions of two arguments.
pub(super) const PAIR_FUNCTIONS: [(&str, Operation); 2] =
    [("min", Operation::Min), ("max", Operation::Max)];

/// All parts of an equation; equal parts are kept once.
#[derive(Debug, Clone, Default)]
pub(super) struct Nodes {
    pub(super) list: Vec<Node>,
    seen: HashMap<(u8, u64, usize), usize>,
}

impl Nodes {
    pub(super) fn add(&mut self, node: Node) -> usize {
        let key = match node {
            Node::Number(v) => (0, v.to_bits(), 0),
            Node::Name(i) => (1, i as u64, 0),
            Node::Call(f, a) => (2, f as u64, a),
            Node::Whole(a, n) => (3, u64::from(n.cast_unsigned()), a),
            Node::Join(o, a, b) => (4 + o as u8, a as u64, b),
        };
        let list = &mut self.list;
        *self.seen.entry(key).or_insert_with(|| {
            list.push(node);
            list.len() - 1
        })
    }

    /// The value of a part that holds no name; `None` where it holds one. Only few steps are followed: exponents
    /// are short.
    pub(super) fn constant(&self, part: usize) -> Option<f64> {
        match *self.list.get(part)? {
            Node::Number(v) => Some(v),
            Node::Call(Function::Negate, a) => match self.list.get(a)? {
                Node::Number(v) => Some(-v),
                _ => None,
            },
            _ => None,
        }
    }
}

impl Function {
    #[inline(always)]
    pub(super) fn apply<T: Scalar>(self, x: T) -> T {
        match self {
            Function::Negate => -x,
            Function::Exp => x.map(f64::exp, f64::exp),
            Function::Ln => x.map(f64::ln, f64::recip),
            Function::Log10 => x.map(f64::log10, |v| std::f64::consts::LOG10_E / v),
            Function::Sqrt => x.root(),
            Function::Sin => x.map(f64::sin, f64::cos),
            Function::Cos => x.map(f64::cos, |v| -v.sin()),
            Function::Tan => x.map(f64::tan, |v| 1.0 + v.tan().powi(2)),
            Function::Atan => x.map(f64::atan, |v| 1.0 / (1.0 + v * v)),
            Function::Abs if x.value() < 0.0 => -x,
            Function::Abs => x,
        }
    }
}

impl Operation {
    #[inline(always)]
    pub(super) fn apply<T: Scalar>(self, a: T, b: T) -> T {
        match self {
            Operation::Add => a + b,
            Operation::Subtract => a - b,
            Operation::Multiply => a * b,
            Operation::Divide => a / b,
            Operation::Power => a.power(b),
            // A NaN on either side must come out as NaN, not be passed over.
            Operation::Min if b.value() < a.value() || b.value().is_nan() => b,
            Operation::Max if b.value() > a.value() || b.value().is_nan() => b,
            Operation::Min | Operation::Max => a,
        }
    }
}
