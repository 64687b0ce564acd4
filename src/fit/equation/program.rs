//! A part of an equation as a list of steps over rows of data, in any kind of number.

use std::collections::HashMap;

use super::node::{Function, Node, Nodes, Operation};
use super::scalar::Scalar;
use super::structure::reachable;

/// Rows computed together: long enough to forget the cost of reading a step, short enough for the cache.
const BLOCK: usize = 128;

/// What a name stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Meaning {
    /// A column of the data, by number.
    Column(usize),
    /// A parameter, by number.
    Parameter(usize),
}

/// Where a value is found.
#[derive(Debug, Clone, Copy)]
enum Place {
    /// The same for all rows.
    Fixed(usize),
    /// In the data.
    Column(usize),
    /// In the working space.
    Slot(usize),
}

#[derive(Debug, Clone, Copy)]
struct Step {
    node: Node,
    first: Place,
    second: Place,
    slot: usize,
}

/// Steps that compute one part of an equation.
#[derive(Debug, Clone)]
pub(super) struct Program {
    /// Parts that no row changes; operands are numbers of earlier ones.
    fixed: Vec<Node>,
    steps: Vec<Step>,
    result: Place,
    slots: usize,
    /// Data columns and parameters that must be there.
    columns: usize,
    parameters: usize,
}

/// On what a part depends.
#[derive(Clone, Copy, Default)]
struct Kind {
    data: bool,
    parameters: bool,
}

fn kinds(nodes: &[Node], meanings: &[Meaning]) -> Vec<Kind> {
    let mut kinds: Vec<Kind> = Vec::with_capacity(nodes.len());
    for node in nodes {
        let mut kind = Kind::default();
        if let Node::Name(name) = node {
            match meanings[*name] {
                Meaning::Column(_) => kind.data = true,
                Meaning::Parameter(_) => kind.parameters = true,
            }
        }
        for operand in node.operands() {
            kind.data |= kinds[operand].data;
            kind.parameters |= kinds[operand].parameters;
        }
        kinds.push(kind);
    }
    kinds
}

/// The largest parts of `root` that depend on data alone and take some computing: worth computing only once.
pub(super) fn data_parts(nodes: &Nodes, root: usize, meanings: &[Meaning]) -> Vec<usize> {
    let nodes = &nodes.list;
    let (kinds, needed) = (kinds(nodes, meanings), reachable(nodes, root));
    let alone = |part: usize| kinds[part].data && !kinds[part].parameters;
    let mut wanted = vec![false; nodes.len()];
    wanted[root] = alone(root);
    for (part, node) in nodes.iter().enumerate() {
        if needed[part] && !alone(part) {
            node.operands()
                .filter(|&o| alone(o))
                .for_each(|o| wanted[o] = true);
        }
    }
    (0..nodes.len())
        .filter(|&part| wanted[part] && !matches!(nodes[part], Node::Name(_)))
        .collect()
}

impl Program {
    /// The steps that compute part `root`. Parts listed in `ready` are found in the data column given there.
    pub(super) fn new(
        nodes: &Nodes,
        root: usize,
        meanings: &[Meaning],
        ready: &HashMap<usize, usize>,
    ) -> Self {
        let nodes = &nodes.list;
        let kinds = kinds(nodes, meanings);
        let needed = needed_with(nodes, root, ready);
        let mut last_use = vec![0; nodes.len()];
        for (part, node) in nodes.iter().enumerate().filter(|(part, _)| needed[*part]) {
            node.operands().for_each(|operand| last_use[operand] = part);
        }
        let mut program = Program {
            fixed: Vec::new(),
            steps: Vec::new(),
            result: Place::Fixed(0),
            slots: 0,
            columns: 0,
            parameters: 0,
        };
        for (part, _) in needed.iter().enumerate().filter(|(_, needed)| **needed) {
            match (ready.get(&part), nodes[part]) {
                (Some(&column), _) => program.columns = program.columns.max(column + 1),
                (None, Node::Name(name)) => match meanings[name] {
                    Meaning::Column(c) => program.columns = program.columns.max(c + 1),
                    Meaning::Parameter(p) => program.parameters = program.parameters.max(p + 1),
                },
                _ => {}
            }
        }
        let mut places: Vec<Place> = Vec::with_capacity(nodes.len());
        let mut free: Vec<usize> = Vec::new();
        for (part, &node) in nodes.iter().enumerate() {
            let place = if !needed[part] {
                Place::Fixed(0)
            } else if let Some(&column) = ready.get(&part) {
                Place::Column(column)
            } else if !kinds[part].data {
                let index = |operand: usize| {
                    if let Place::Fixed(i) = places[operand] {
                        i
                    } else {
                        0
                    }
                };
                program.fixed.push(match node {
                    Node::Number(_) => node,
                    Node::Name(name) => Node::Name(match meanings[name] {
                        Meaning::Parameter(p) | Meaning::Column(p) => p,
                    }),
                    Node::Call(f, a) => Node::Call(f, index(a)),
                    Node::Whole(a, n) => Node::Whole(index(a), n),
                    Node::Join(o, a, b) => Node::Join(o, index(a), index(b)),
                });
                Place::Fixed(program.fixed.len() - 1)
            } else if let Node::Name(name) = node {
                match meanings[name] {
                    Meaning::Column(c) | Meaning::Parameter(c) => Place::Column(c),
                }
            } else {
                let operands: Vec<usize> = node.operands().collect();
                let first = operands.first().map_or(Place::Fixed(0), |&o| places[o]);
                let second = operands.get(1).map_or(first, |&o| places[o]);
                // An operand's slot may be written over by the part that uses it last.
                for (k, &operand) in operands.iter().enumerate() {
                    if let Place::Slot(slot) = places[operand]
                        && last_use[operand] == part
                        && !operands[..k].contains(&operand)
                    {
                        free.push(slot);
                    }
                }
                let slot = free.pop().unwrap_or_else(|| {
                    program.slots += 1;
                    program.slots - 1
                });
                program.steps.push(Step {
                    node,
                    first,
                    second,
                    slot,
                });
                Place::Slot(slot)
            };
            places.push(place);
        }
        program.result = places[root];
        program
    }

    /// Computes the part for every row of `data` and hands it to `sink` in order. Hands over nothing where columns
    /// or parameters are missing or a column is shorter than `rows`.
    pub(super) fn run<T: Scalar, D: AsRef<[f64]>>(
        &self,
        parameters: &[T],
        data: &[D],
        rows: usize,
        mut sink: impl FnMut(usize, T),
    ) {
        let short = |column: &D| column.as_ref().len() < rows;
        if data.len() < self.columns || parameters.len() < self.parameters || data.iter().any(short)
        {
            return;
        }
        let mut fixed: Vec<T> = Vec::with_capacity(self.fixed.len());
        for node in &self.fixed {
            let value = match *node {
                Node::Number(v) => T::constant(v),
                Node::Name(p) => parameters[p],
                Node::Call(f, a) => f.apply(fixed[a]),
                Node::Whole(a, n) => fixed[a].power_whole(n),
                Node::Join(o, a, b) => o.apply(fixed[a], fixed[b]),
            };
            fixed.push(value);
        }
        let width = BLOCK.min(rows);
        let mut block = Block {
            fixed: &fixed,
            data,
            space: vec![T::constant(0.0); self.slots * width],
            width,
            start: 0,
            count: 0,
        };
        for start in (0..rows).step_by(BLOCK) {
            (block.start, block.count) = (start, width.min(rows - start));
            for step in &self.steps {
                block.step(step);
            }
            for row in 0..block.count {
                sink(start + row, block.read(self.result, row));
            }
        }
    }
}

/// A stretch of rows and the working space for it.
struct Block<'a, T, D> {
    fixed: &'a [T],
    data: &'a [D],
    space: Vec<T>,
    width: usize,
    start: usize,
    count: usize,
}

impl<T: Scalar, D: AsRef<[f64]>> Block<'_, T, D> {
    #[inline(always)]
    fn read(&self, place: Place, row: usize) -> T {
        match place {
            Place::Fixed(i) => self.fixed[i],
            Place::Column(c) => T::constant(self.data[c].as_ref()[self.start + row]),
            Place::Slot(s) => self.space[s * self.width + row],
        }
    }

    #[inline(always)]
    fn one(&mut self, step: &Step, f: impl Fn(T) -> T) {
        for row in 0..self.count {
            self.space[step.slot * self.width + row] = f(self.read(step.first, row));
        }
    }

    #[inline(always)]
    fn two(&mut self, step: &Step, f: impl Fn(T, T) -> T) {
        for row in 0..self.count {
            let value = f(self.read(step.first, row), self.read(step.second, row));
            self.space[step.slot * self.width + row] = value;
        }
    }

    /// One step for all rows. What to do is decided here, once, so that each loop over rows holds nothing else.
    fn step(&mut self, step: &Step) {
        match step.node {
            Node::Call(Function::Negate, _) => self.one(step, |x| Function::Negate.apply(x)),
            Node::Call(Function::Exp, _) => self.one(step, |x| Function::Exp.apply(x)),
            Node::Call(Function::Ln, _) => self.one(step, |x| Function::Ln.apply(x)),
            Node::Call(function, _) => self.one(step, |x| function.apply(x)),
            Node::Whole(_, 2) => self.one(step, |x| x.power_whole(2)),
            Node::Whole(_, n) => self.one(step, |x| x.power_whole(n)),
            Node::Join(Operation::Add, ..) => self.two(step, |a, b| Operation::Add.apply(a, b)),
            Node::Join(Operation::Subtract, ..) => {
                self.two(step, |a, b| Operation::Subtract.apply(a, b))
            }
            Node::Join(Operation::Multiply, ..) => {
                self.two(step, |a, b| Operation::Multiply.apply(a, b))
            }
            Node::Join(Operation::Divide, ..) => {
                self.two(step, |a, b| Operation::Divide.apply(a, b))
            }
            Node::Join(Operation::Power, ..) => self.two(step, |a, b| Operation::Power.apply(a, b)),
            Node::Join(operation, ..) => self.two(step, |a, b| operation.apply(a, b)),
            Node::Number(_) | Node::Name(_) => self.one(step, |x| x),
        }
    }
}

/// The parts needed for `root`, not looking behind parts that are ready.
fn needed_with(nodes: &[Node], root: usize, ready: &HashMap<usize, usize>) -> Vec<bool> {
    let mut needed = vec![false; nodes.len()];
    needed[root] = true;
    for part in (0..nodes.len()).rev() {
        if needed[part] && !ready.contains_key(&part) {
            nodes[part]
                .operands()
                .for_each(|operand| needed[operand] = true);
        }
    }
    needed
}
