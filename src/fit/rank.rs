//! Which columns of a design cannot be told apart.

use nalgebra::DMatrix;

use super::qr::Qr;
use super::real::Real;

/// How many of a design's columns carry information of their own, and which do not.
#[derive(Debug, Clone, PartialEq)]
pub struct RankReport {
    /// Number of columns that can be told apart.
    pub rank: usize,
    /// Number of columns.
    pub columns: usize,
    /// Ratio of the largest to the smallest singular value with columns scaled to norm 1; infinite where the rank is
    /// not full.
    pub condition: f64,
    /// Columns, by name, that are tied together by a linear relation: within a group, effects are shared out at will.
    pub groups: Vec<Vec<String>>,
    /// Columns, by name, that hold entries which are not finite; they are left out of the count of the rank.
    pub not_finite: Vec<String>,
}

/// Rank, condition and dependent groups by column number.
pub(super) struct Dependence {
    pub(super) rank: usize,
    pub(super) columns: usize,
    pub(super) condition: f64,
    pub(super) groups: Vec<Vec<usize>>,
}

/// Looks at a design (n × p, any n) by singular values of its scaled columns and names what cannot be told apart.
///
/// `names` has one entry a column; a missing name is replaced by the column's number, counted from 1.
pub fn rank_report(x: &DMatrix<f64>, names: &[String]) -> RankReport {
    let (rows, cols) = x.shape();
    let name = |j: usize| {
        names
            .get(j)
            .cloned()
            .unwrap_or_else(|| format!("column {}", j + 1))
    };
    let column = |j: usize| x.column(j).iter().copied().collect::<Vec<f64>>();
    let (usable, bad): (Vec<usize>, Vec<usize>) =
        (0..cols).partition(|&j| x.column(j).iter().all(|v| v.is_finite()));
    let found = if usable.is_empty() {
        Dependence {
            rank: 0,
            columns: 0,
            condition: 1.0,
            groups: Vec::new(),
        }
    } else {
        // Rows of zeros below change nothing and let the factorisation take a design with fewer rows than columns.
        let tall = rows.max(usable.len());
        let mut a = Vec::with_capacity(tall * usable.len());
        for &j in &usable {
            a.extend(column(j));
            a.resize(a.len() + tall - rows, 0.0);
        }
        of_triangle(&Qr::new(a, tall, usable.len()))
    };
    RankReport {
        rank: found.rank,
        columns: cols,
        condition: if bad.is_empty() {
            found.condition
        } else {
            f64::INFINITY
        },
        groups: found
            .groups
            .iter()
            .map(|g| g.iter().map(|&j| name(usable[j])).collect())
            .collect(),
        not_finite: bad.into_iter().map(name).collect(),
    }
}

/// The same from a factor `R`, whose singular values are those of the design.
pub(super) fn of_triangle<T: Real>(qr: &Qr<T>) -> Dependence {
    let p = qr.columns();
    let mut r = DMatrix::from_fn(p, p, |i, j| if i <= j { qr.r(i, j).to_f64() } else { 0.0 });
    for mut column in r.column_iter_mut() {
        let norm = column.norm();
        if norm > 0.0 {
            column /= norm;
        }
    }
    // Beside columns of length one they are nothing, but their squares leave the range of a double, and the decomposition meets NaN.
    const NOTHING: f64 = 1e-60;
    r.iter_mut()
        .filter(|v| v.abs() < NOTHING)
        .for_each(|v| *v = 0.0);
    // Rounding in the factorisation grows about as the root of its longer side.
    let tolerance = 16.0 * f64::EPSILON * (qr.rows().max(p) as f64).sqrt();
    // The decomposition must not meet NaN.
    if !r.iter().all(|v| v.is_finite()) {
        return by_diagonal(&r, tolerance);
    }
    let Some(svd) = r.clone().try_svd(false, true, f64::EPSILON, 10_000) else {
        return by_diagonal(&r, tolerance);
    };
    let largest = svd.singular_values.max();
    let small: Vec<usize> = (0..p)
        .filter(|&k| svd.singular_values[k] <= tolerance * largest.max(f64::MIN_POSITIVE))
        .collect();
    let smallest = svd.singular_values.min();
    let condition = if small.is_empty() {
        largest / smallest
    } else {
        f64::INFINITY
    };
    let groups = match &svd.v_t {
        Some(v_t) => tied(p, |i, j| {
            small.iter().map(|&k| v_t[(k, i)] * v_t[(k, j)]).sum()
        }),
        None => Vec::new(),
    };
    Dependence {
        rank: p - small.len(),
        columns: p,
        condition,
        groups,
    }
}

/// Groups of columns joined by the projector onto the null space. The projector, unlike a basis of that space, is
/// unique, so columns that share no relation never end up together.
fn tied(p: usize, projector: impl Fn(usize, usize) -> f64) -> Vec<Vec<usize>> {
    const NOTICEABLE: f64 = 1e-6;
    let mut group_of: Vec<Option<usize>> = vec![None; p];
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for start in 0..p {
        if group_of[start].is_some() || projector(start, start) <= NOTICEABLE {
            continue;
        }
        let id = groups.len();
        let mut members = vec![start];
        group_of[start] = Some(id);
        let mut next = 0;
        while next < members.len() {
            let i = members[next];
            next += 1;
            for (j, group) in group_of.iter_mut().enumerate() {
                if group.is_none() && projector(i, j).abs() > NOTICEABLE {
                    *group = Some(id);
                    members.push(j);
                }
            }
        }
        members.sort_unstable();
        groups.push(members);
    }
    groups
}

/// Stand-in should the singular values not be found: a column whose part of its own is lost in rounding.
fn by_diagonal(r: &DMatrix<f64>, tolerance: f64) -> Dependence {
    let p = r.ncols();
    let lost: Vec<Vec<usize>> = (0..p)
        .filter(|&j| r[(j, j)].abs() <= tolerance || !r[(j, j)].is_finite())
        .map(|j| vec![j])
        .collect();
    Dependence {
        rank: p - lost.len(),
        columns: p,
        condition: f64::INFINITY,
        groups: lost,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_singular_values_fail_the_diagonal_says_which_columns_are_lost() {
        let r = DMatrix::from_diagonal(&[1.0, 1e-15, -0.5, f64::NAN, 0.2].to_vec().into());
        let found = by_diagonal(&r, 1e-15);
        assert_eq!((found.rank, found.columns), (3, 5));
        assert_eq!(found.groups, [[1], [3]]);
    }

    #[test]
    fn the_condition_is_that_of_columns_of_length_one() {
        // Lengths 3 and 5 at right angles: 1. Of lengths 3 and 10 with a cosine of 0.6: √(1.6/0.4) = 2.
        let names: Vec<String> = Vec::new();
        let right = DMatrix::from_row_slice(3, 2, &[3.0, 0.0, 0.0, 4.0, 0.0, 3.0]);
        assert!((rank_report(&right, &names).condition - 1.0).abs() < 1e-14);
        let leaning = DMatrix::from_row_slice(3, 2, &[3.0, 6.0, 0.0, 8.0, 0.0, 0.0]);
        assert!((rank_report(&leaning, &names).condition - 2.0).abs() < 1e-13);
    }
}
