//! Which parameters enter an equation linearly.

use super::node::{Function, Node, Operation};

/// A set of parameters, one bit each.
pub(super) type Set = u128;

/// How one part of an equation depends on the parameters.
#[derive(Clone, Copy, Default)]
struct Dependence {
    on: Set,
    /// Those that it depends on in a way not seen to be linear.
    nonlinear: Set,
}

/// The largest set found (not always the largest that there is) of parameters in which the part `root` is linear,
/// jointly, for any fixed values of the others. `parameter` tells the number of a name that is a parameter.
pub(super) fn linear_parameters(
    nodes: &[Node],
    root: usize,
    parameter: impl Fn(usize) -> Option<usize>,
) -> Set {
    let needed = reachable(nodes, root);
    let mut found: Vec<Dependence> = Vec::with_capacity(nodes.len());
    // Parameters that are multiplied with one another: only one of such a pair can be linear.
    let mut partners: [Set; 128] = [0; 128];
    for (node, needed) in nodes.iter().zip(needed) {
        let of = |part: usize| found.get(part).copied().unwrap_or_default();
        let all_of = |part: usize| Dependence {
            on: of(part).on,
            nonlinear: of(part).on,
        };
        let both = |a: Dependence, b: Dependence| Dependence {
            on: a.on | b.on,
            nonlinear: a.nonlinear | b.nonlinear,
        };
        let dependence = if !needed {
            Dependence::default()
        } else {
            match *node {
                Node::Number(_) => Dependence::default(),
                Node::Name(name) => Dependence {
                    on: parameter(name).map_or(0, |p| 1 << p),
                    nonlinear: 0,
                },
                Node::Call(Function::Negate, a) | Node::Whole(a, 1) => of(a),
                Node::Whole(_, 0) => Dependence::default(),
                Node::Call(_, a) | Node::Whole(a, _) => all_of(a),
                Node::Join(Operation::Add | Operation::Subtract, a, b) => both(of(a), of(b)),
                Node::Join(operation @ (Operation::Multiply | Operation::Divide), a, b) => {
                    pair(&mut partners, of(a).on, of(b).on);
                    let second = if operation == Operation::Divide {
                        all_of(b)
                    } else {
                        of(b)
                    };
                    let mut result = both(of(a), second);
                    result.nonlinear |= of(a).on & of(b).on;
                    result
                }
                Node::Join(Operation::Power | Operation::Min | Operation::Max, a, b) => {
                    both(all_of(a), all_of(b))
                }
            }
        };
        found.push(dependence);
    }
    let all = found.get(root).copied().unwrap_or_default();
    let mut candidates: Vec<usize> = (0..128)
        .filter(|p| (all.on & !all.nonlinear) >> p & 1 == 1)
        .collect();
    candidates.sort_by_key(|&p| (partners[p] & all.on & !all.nonlinear).count_ones());
    candidates.into_iter().fold(0, |set, p| {
        if partners[p] & set == 0 {
            set | 1 << p
        } else {
            set
        }
    })
}

fn pair(partners: &mut [Set; 128], a: Set, b: Set) {
    for (p, mine) in partners.iter_mut().enumerate() {
        if a >> p & 1 == 1 {
            *mine |= b;
        }
        if b >> p & 1 == 1 {
            *mine |= a;
        }
    }
}

/// Which parts the part `root` is made of, itself included.
pub(super) fn reachable(nodes: &[Node], root: usize) -> Vec<bool> {
    let mut needed = vec![false; nodes.len()];
    if let Some(mark) = needed.get_mut(root) {
        *mark = true;
    }
    for part in (0..nodes.len()).rev() {
        if needed[part] {
            nodes[part]
                .operands()
                .for_each(|operand| needed[operand] = true);
        }
    }
    needed
}
