//! Equations written for others: as a spreadsheet's formula, and in LaTeX.

use super::Equation;
use super::node::{Function, Node, Operation};
use super::structure::reachable;

/// How tightly a text holds together: what stands around it brackets what is looser than it needs.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Bond {
    Sum,
    Product,
    Power,
    Whole,
}

/// A part in text.
#[derive(Clone)]
struct Written {
    text: String,
    bond: Bond,
}

impl Written {
    fn whole(text: String) -> Written {
        Written {
            text,
            bond: Bond::Whole,
        }
    }
}

/// A way of writing.
trait Hand {
    fn number(&self, value: f64) -> Written;
    fn bracketed(&self, text: &str) -> String;
    fn call(&self, function: Function, argument: &Written) -> Written;
    fn join(&self, operation: Operation, a: &Written, b: &Written) -> Written;
    fn power(&self, base: &Written, exponent: &Written) -> Written;

    /// A part that must hold at least so tightly.
    fn held(&self, part: &Written, least: Bond) -> String {
        if part.bond >= least {
            part.text.clone()
        } else {
            self.bracketed(&part.text)
        }
    }

    fn negative(&self, part: &Written) -> Written {
        Written {
            text: format!("-{}", self.held(part, Bond::Whole)),
            bond: Bond::Sum,
        }
    }
}

impl Equation {
    /// The right side as a formula of a spreadsheet, beginning with `=`; `cell` gives the cell or the name that stands for a name of the
    /// equation. Functions carry their English names, numbers a decimal point.
    ///
    /// In a spreadsheet a leading minus binds tighter than a power, and powers are taken from the left; brackets stand wherever that
    /// would matter.
    ///
    /// # Example
    /// ```
    /// use steadydraw::fit::Equation;
    /// let equation = Equation::parse("y = 2*exp(-x^2)")?;
    /// assert_eq!(equation.spreadsheet(|_| "A2".to_owned()), "=2*EXP(-(A2^2))");
    /// # Ok::<(), steadydraw::fit::EquationError>(())
    /// ```
    pub fn spreadsheet(&self, cell: impl Fn(&str) -> String) -> String {
        format!("={}", self.write(&Sheet, self.right, cell))
    }

    /// The right side in LaTeX, for mathematics mode; `symbol` gives what stands for a name of the equation.
    ///
    /// # Example
    /// ```
    /// use steadydraw::fit::Equation;
    /// let equation = Equation::parse("y = 2*exp(-x^2)")?;
    /// assert_eq!(equation.latex(str::to_owned), r"2 \cdot \exp\left(-\left(x^{2}\right)\right)");
    /// # Ok::<(), steadydraw::fit::EquationError>(())
    /// ```
    pub fn latex(&self, symbol: impl Fn(&str) -> String) -> String {
        self.write(&Paper, self.right, symbol)
    }

    /// The left side in LaTeX.
    pub fn left_latex(&self, symbol: impl Fn(&str) -> String) -> String {
        self.write(&Paper, self.left, symbol)
    }

    fn write(&self, hand: &impl Hand, root: usize, name: impl Fn(&str) -> String) -> String {
        let nodes = &self.nodes.list;
        let needed = reachable(nodes, root);
        // From the innermost part outwards, since a part is made of earlier ones.
        let mut written: Vec<Written> = Vec::with_capacity(root + 1);
        let none = Written::whole(String::new());
        for (node, needed) in nodes.iter().zip(needed).take(root + 1) {
            let part = |i: usize| written.get(i).unwrap_or(&none);
            let text = match *node {
                _ if !needed => none.clone(),
                Node::Number(v) => hand.number(v),
                Node::Name(i) => {
                    Written::whole(self.names.get(i).map_or(String::new(), |n| name(&n.0)))
                }
                Node::Call(Function::Negate, a) => hand.negative(part(a)),
                Node::Call(f, a) => hand.call(f, part(a)),
                Node::Whole(a, n) => {
                    let size = hand.number(f64::from(n.unsigned_abs()));
                    let exponent = if n < 0 { hand.negative(&size) } else { size };
                    hand.power(part(a), &exponent)
                }
                Node::Join(Operation::Power, a, b) => hand.power(part(a), part(b)),
                Node::Join(o, a, b) => hand.join(o, part(a), part(b)),
            };
            written.push(text);
        }
        written.pop().map_or(String::new(), |w| w.text)
    }
}

/// Sizes that are written out; others with a power of ten.
fn plain(value: f64) -> bool {
    value == 0.0 || (1e-7..1e15).contains(&value.abs())
}

/// A spreadsheet's formula.
struct Sheet;

impl Hand for Sheet {
    fn number(&self, value: f64) -> Written {
        Written::whole(if plain(value) {
            format!("{value}")
        } else {
            format!("{value:E}")
        })
    }

    fn bracketed(&self, text: &str) -> String {
        format!("({text})")
    }

    fn call(&self, function: Function, argument: &Written) -> Written {
        let name = match function {
            Function::Exp => "EXP",
            Function::Ln => "LN",
            Function::Log10 => "LOG10",
            Function::Sqrt => "SQRT",
            Function::Sin => "SIN",
            Function::Cos => "COS",
            Function::Tan => "TAN",
            Function::Atan => "ATAN",
            Function::Abs => "ABS",
            Function::Negate => return self.negative(argument),
        };
        Written::whole(format!("{name}({})", argument.text))
    }

    fn join(&self, operation: Operation, a: &Written, b: &Written) -> Written {
        let (sign, bond) = match operation {
            Operation::Add => ("+", Bond::Sum),
            Operation::Subtract => ("-", Bond::Sum),
            Operation::Multiply => ("*", Bond::Product),
            Operation::Divide => ("/", Bond::Product),
            Operation::Power => return self.power(a, b),
            Operation::Min => return Written::whole(format!("MIN({},{})", a.text, b.text)),
            Operation::Max => return Written::whole(format!("MAX({},{})", a.text, b.text)),
        };
        Written {
            text: chained(self, sign, bond, a, b),
            bond,
        }
    }

    fn power(&self, base: &Written, exponent: &Written) -> Written {
        let (base, exponent) = (
            self.held(base, Bond::Whole),
            self.held(exponent, Bond::Whole),
        );
        Written {
            text: format!("{base}^{exponent}"),
            bond: Bond::Power,
        }
    }
}

/// Two parts joined from the left: the right one is bracketed where it is of the same kind.
fn chained(hand: &impl Hand, sign: &str, bond: Bond, a: &Written, b: &Written) -> String {
    let tighter = if bond == Bond::Sum {
        Bond::Product
    } else {
        Bond::Power
    };
    format!("{}{sign}{}", hand.held(a, bond), hand.held(b, tighter))
}

/// LaTeX.
struct Paper;

impl Hand for Paper {
    fn number(&self, value: f64) -> Written {
        if plain(value) {
            return Written::whole(format!("{value}"));
        }
        let text = format!("{value:e}");
        let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        Written {
            text: format!(r"{digits} \cdot 10^{{{exponent}}}"),
            bond: Bond::Product,
        }
    }

    fn bracketed(&self, text: &str) -> String {
        format!(r"\left({text}\right)")
    }

    fn call(&self, function: Function, argument: &Written) -> Written {
        let inner = &argument.text;
        let name = match function {
            Function::Exp => r"\exp",
            Function::Ln => r"\ln",
            Function::Log10 => r"\log_{10}",
            Function::Sin => r"\sin",
            Function::Cos => r"\cos",
            Function::Tan => r"\tan",
            Function::Atan => r"\arctan",
            Function::Sqrt => return Written::whole(format!(r"\sqrt{{{inner}}}")),
            Function::Abs => return Written::whole(format!(r"\left|{inner}\right|")),
            Function::Negate => return self.negative(argument),
        };
        // The square of a logarithm is bracketed, lest it be read as the logarithm of a square.
        Written {
            text: format!("{name}{}", self.bracketed(inner)),
            bond: Bond::Power,
        }
    }

    fn join(&self, operation: Operation, a: &Written, b: &Written) -> Written {
        let (sign, bond) = match operation {
            Operation::Add => (" + ", Bond::Sum),
            Operation::Subtract => (" - ", Bond::Sum),
            Operation::Multiply => (r" \cdot ", Bond::Product),
            Operation::Divide => {
                return Written {
                    text: format!(r"\frac{{{}}}{{{}}}", a.text, b.text),
                    bond: Bond::Power,
                };
            }
            Operation::Power => return self.power(a, b),
            Operation::Min => {
                return Written::whole(format!(r"\min\left({}, {}\right)", a.text, b.text));
            }
            Operation::Max => {
                return Written::whole(format!(r"\max\left({}, {}\right)", a.text, b.text));
            }
        };
        Written {
            text: chained(self, sign, bond, a, b),
            bond,
        }
    }

    fn power(&self, base: &Written, exponent: &Written) -> Written {
        Written {
            text: format!("{}^{{{}}}", self.held(base, Bond::Whole), exponent.text),
            bond: Bond::Power,
        }
    }
}
