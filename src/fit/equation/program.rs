//! A part of an equation as a list of steps over rows of data, in any kind of number.

use std::collections::HashMap;

use super::node::{Node, Nodes};
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
        let mut space = vec![T::constant(0.0); self.slots * width];
        for start in (0..rows).step_by(BLOCK) {
            let count = width.min(rows - start);
            let read = |space: &[T], place: Place, row: usize| match place {
                Place::Fixed(i) => fixed[i],
                Place::Column(c) => T::constant(data[c].as_ref()[start + row]),
                Place::Slot(s) => space[s * width + row],
            };
            for step in &self.steps {
                for row in 0..count {
                    let first = read(&space, step.first, row);
                    space[step.slot * width + row] = match step.node {
                        Node::Call(f, _) => f.apply(first),
                        Node::Whole(_, n) => first.power_whole(n),
                        Node::Join(o, _, _) => o.apply(first, read(&space, step.second, row)),
                        Node::Number(_) | Node::Name(_) => first,
                    };
                }
            }
            for row in 0..count {
                sink(start + row, read(&space, self.result, row));
            }
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
