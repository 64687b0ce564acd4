//! Arrangements of labels within strata: every distinct one, by rank and one after the other, or at random.

use crate::stats::random::{self, Stream};

/// The places of one stratum and the labels that belong there.
pub(super) struct Stratum {
    pub(super) places: Vec<usize>,
    /// Its labels in ascending order: the first arrangement.
    pub(super) sorted: Vec<usize>,
    /// Number of distinct arrangements, n!/(n₁! n₂! …).
    pub(super) arrangements: f64,
}

impl Stratum {
    /// Splits places by stratum, in order of first appearance.
    pub(super) fn split(labels: &[usize], strata: &[usize]) -> Vec<Self> {
        let mut names: Vec<usize> = Vec::new();
        let mut groups: Vec<Self> = Vec::new();
        for (place, (label, name)) in labels.iter().zip(strata).enumerate() {
            let at = names.iter().position(|n| n == name).unwrap_or_else(|| {
                names.push(*name);
                groups.push(Self {
                    places: Vec::new(),
                    sorted: Vec::new(),
                    arrangements: 1.0,
                });
                groups.len() - 1
            });
            groups[at].places.push(place);
            groups[at].sorted.push(*label);
        }
        for group in &mut groups {
            group.sorted.sort_unstable();
            group.arrangements = arrangements(&group.sorted);
        }
        groups
    }

    /// Writes the labels of one arrangement to their places.
    pub(super) fn place(&self, order: &[usize], arranged: &mut [usize]) {
        for (place, label) in self.places.iter().zip(order) {
            arranged[*place] = *label;
        }
    }

    /// The arrangement of every stratum at a rank below the product of their counts; the first stratum turns fastest.
    pub(super) fn at_rank(groups: &[Self], rank: u64) -> Vec<Vec<usize>> {
        let mut rest = rank;
        groups
            .iter()
            .map(|group| {
                // Whole numbers, since enumeration happens only far below 2^53.
                let count = group.arrangements as u64;
                let own = rest % count;
                rest /= count;
                unrank(&group.sorted, own)
            })
            .collect()
    }
}

/// Deals the labels of one stratum to its places at random.
pub(super) struct Hand {
    places: Vec<usize>,
    /// The most frequent label, which gets whatever places are left: fewer places to draw.
    common: usize,
    others: Vec<usize>,
}

impl Hand {
    pub(super) fn new(stratum: &Stratum) -> Self {
        let runs = stratum.sorted.chunk_by(|a, b| a == b);
        let common = runs.max_by_key(|r| r.len()).map_or(0, |r| r[0]);
        let others = stratum.sorted.iter().copied().filter(|l| *l != common);
        Self {
            places: stratum.places.clone(),
            common,
            others: others.collect(),
        }
    }

    /// Writes the labels to places drawn anew.
    pub(super) fn deal(&mut self, rng: &mut Stream, arranged: &mut [usize]) {
        random::draw(rng, &mut self.places, self.others.len());
        let (rest, drawn) = self.places.split_at(self.places.len() - self.others.len());
        rest.iter().for_each(|place| arranged[*place] = self.common);
        for (place, label) in drawn.iter().zip(&self.others) {
            arranged[*place] = *label;
        }
    }
}

/// Number of distinct arrangements of sorted labels, as a product of binomials (whole while below 2^53).
fn arrangements(sorted: &[usize]) -> f64 {
    let mut total = 1.0_f64;
    let mut placed = 0_usize;
    for run in sorted.chunk_by(|a, b| a == b) {
        // Multiply before dividing: every intermediate is a binomial coefficient times the total, hence whole.
        for k in 1..=run.len() {
            placed += 1;
            total = (total * placed as f64 / k as f64).round();
        }
    }
    total
}

/// The arrangement at a lexicographic rank.
fn unrank(sorted: &[usize], rank: u64) -> Vec<usize> {
    let mut left = sorted.to_vec();
    let mut rest = rank as f64;
    let mut order = Vec::with_capacity(left.len());
    while !left.is_empty() {
        let mut at = 0;
        loop {
            // Arrangements of what remains once the label at `at` stands next.
            let mut others = left.clone();
            let label = others.remove(at);
            let count = arrangements(&others);
            let next = left.iter().position(|l| *l > label);
            match next {
                Some(next) if rest >= count => {
                    rest -= count;
                    at = next;
                }
                _ => {
                    order.push(label);
                    left = others;
                    break;
                }
            }
        }
    }
    order
}

/// Moves to the next combination of arrangements; the first stratum turns fastest.
pub(super) fn advance(current: &mut [Vec<usize>]) {
    for order in current {
        if next_arrangement(order) {
            return;
        }
    }
}

/// Lexicographically next arrangement in place; false (and back to the first) after the last.
fn next_arrangement(order: &mut [usize]) -> bool {
    let Some(pivot) = (1..order.len()).rev().find(|i| order[i - 1] < order[*i]) else {
        order.reverse();
        return false;
    };
    // A larger label exists to the right, at the pivot at least.
    let swap = (pivot..order.len())
        .rev()
        .find(|i| order[*i] > order[pivot - 1])
        .unwrap_or(pivot);
    order.swap(pivot - 1, swap);
    order[pivot..].reverse();
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranks_follow_the_next_arrangement() {
        let sorted = [0, 0, 1, 2, 2];
        let mut order = sorted.to_vec();
        for rank in 0..30 {
            assert_eq!(unrank(&sorted, rank), order);
            assert_eq!(next_arrangement(&mut order), rank < 29);
        }
        assert_eq!(order, sorted);
    }

    #[test]
    fn ranks_of_several_strata_follow_the_next_combination() {
        // Three places of two labels, and three of three: 3 × 6 arrangements.
        let labels = [0, 1, 0, 1, 2, 0];
        let groups = Stratum::split(&labels, &[7, 7, 7, 9, 9, 9]);
        let mut current = Stratum::at_rank(&groups, 0);
        assert_eq!(current, [vec![0, 0, 1], vec![0, 1, 2]]);
        let mut seen = std::collections::BTreeSet::new();
        for rank in 0..18 {
            assert_eq!(Stratum::at_rank(&groups, rank), current, "{rank}");
            seen.insert(current.clone());
            advance(&mut current);
        }
        assert_eq!(seen.len(), 18);
    }
}
