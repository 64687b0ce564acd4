//! Splitting a sum of squares: one factor (any group sizes) and two factors (balanced).

use super::error::{all_finite, at_least};
use super::summary::{Centred, sum};
use super::{StatsError, f};

/// One source of variation: its sum of squares and degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Sum of squares.
    pub squares: f64,
    /// Degrees of freedom.
    pub dof: f64,
}

impl Source {
    /// Mean square.
    pub fn mean_square(&self) -> f64 {
        self.squares / self.dof
    }

    /// Adds two sources into one.
    pub fn pooled_with(&self, other: &Self) -> Self {
        Self {
            squares: self.squares + other.squares,
            dof: self.dof + other.dof,
        }
    }

    /// This source's mean square against another's.
    pub fn against(&self, residual: &Self) -> Ratio {
        let ratio = self.mean_square() / residual.mean_square();
        Ratio {
            f: ratio,
            d1: self.dof,
            d2: residual.dof,
            p: f::sf(ratio, self.dof, residual.dof),
        }
    }
}

/// A variance ratio with its upper-tail probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ratio {
    /// The ratio of mean squares; infinite where the lower one is zero.
    pub f: f64,
    /// Degrees of freedom above.
    pub d1: f64,
    /// Degrees of freedom below.
    pub d2: f64,
    /// P(F > f) if the two estimate the same variance. NaN where both mean squares are zero.
    pub p: f64,
}

/// One group's size, mean and sum of squares about that mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Group {
    /// Number of values.
    pub n: usize,
    /// Mean.
    pub mean: f64,
    /// Sum of squares about the mean.
    pub squares: f64,
}

/// One-way analysis of variance.
#[derive(Debug, Clone, PartialEq)]
pub struct OneWay {
    /// The groups in the order given.
    pub groups: Vec<Group>,
    /// Mean of all values.
    pub grand_mean: f64,
    /// Between groups.
    pub between: Source,
    /// Within groups.
    pub within: Source,
    /// Between against within.
    pub ratio: Ratio,
}

impl OneWay {
    /// Share of the total sum of squares that lies between groups.
    pub fn r_squared(&self) -> f64 {
        self.between.squares / (self.between.squares + self.within.squares)
    }

    /// Pooled standard deviation within groups.
    pub fn residual_sd(&self) -> f64 {
        self.within.mean_square().sqrt()
    }

    /// Estimated variance of the groups' own true means: (between − within mean square)/n₀, where n₀ is the common group
    /// size or its equivalent (N − Σnᵢ²/N)/(k − 1). Negative estimates are returned as they are: they say that no
    /// variance between groups can be seen. (Method of moments; JCGM 100:2008, H.5.2 for equal sizes.)
    pub fn between_variance(&self) -> f64 {
        let total = sum(self.groups.iter().map(|g| g.n as f64));
        let squared = sum(self.groups.iter().map(|g| (g.n * g.n) as f64));
        let size = (total - squared / total) / self.between.dof;
        (self.between.mean_square() - self.within.mean_square()) / size
    }
}

/// One-way analysis of variance of groups of any sizes.
///
/// Every value is reduced by the rounded grand mean first, which is exact for values close together, so that a large
/// common part costs no digits.
///
/// # Errors
///
/// [`StatsError`] for fewer than two groups, an empty group, no group with a second value, or a value that is not finite.
///
/// ```
/// use steadydraw::stats::anova::one_way;
/// // Three settings, two runs each.
/// let found = one_way(&[[412.0, 415.0], [433.0, 430.0], [451.0, 455.0]])?;
/// assert_eq!((found.between.dof, found.within.dof), (2.0, 3.0));
/// assert!(found.ratio.p < 0.01);
/// # Ok::<(), steadydraw::stats::StatsError>(())
/// ```
pub fn one_way<G: AsRef<[f64]>>(groups: &[G]) -> Result<OneWay, StatsError> {
    at_least("groups", 2, groups.len())?;
    for group in groups {
        at_least("values in a group", 1, group.as_ref().len())?;
        all_finite("values in a group", group.as_ref())?;
    }
    let total: usize = groups.iter().map(|g| g.as_ref().len()).sum();
    at_least("values in all groups", groups.len() + 1, total)?;
    let centre = sum(groups.iter().flat_map(|g| g.as_ref().iter().copied())) / total as f64;
    let shifted: Vec<Group> = groups
        .iter()
        .map(|group| {
            let reduced: Vec<f64> = group.as_ref().iter().map(|y| y - centre).collect();
            let part = Centred::of(&reduced);
            Group {
                n: reduced.len(),
                mean: part.mean(),
                squares: part.squares,
            }
        })
        .collect();
    Ok(from_shifted(centre, &shifted))
}

/// One-way analysis of variance from each group's size, mean and sum of squares about its mean.
///
/// # Errors
///
/// As [`one_way`], and [`StatsError::OutOfRange`] for a negative sum of squares.
pub fn one_way_from_groups(groups: &[Group]) -> Result<OneWay, StatsError> {
    at_least("groups", 2, groups.len())?;
    let means: Vec<f64> = groups.iter().map(|g| g.mean).collect();
    let squares: Vec<f64> = groups.iter().map(|g| g.squares).collect();
    all_finite("group means", &means)?;
    all_finite("sums of squares", &squares)?;
    for group in groups {
        at_least("values in a group", 1, group.n)?;
        if group.squares < 0.0 {
            let (value, expected) = (group.squares, "zero or more");
            return Err(StatsError::OutOfRange {
                what: "a sum of squares",
                value,
                expected,
            });
        }
    }
    let total: usize = groups.iter().map(|g| g.n).sum();
    at_least("values in all groups", groups.len() + 1, total)?;
    let centre = sum(groups.iter().map(|g| g.n as f64 * g.mean)) / total as f64;
    let shifted: Vec<Group> = groups
        .iter()
        .map(|g| Group {
            mean: g.mean - centre,
            ..*g
        })
        .collect();
    Ok(from_shifted(centre, &shifted))
}

/// The analysis once the means are given as offsets from `centre`.
fn from_shifted(centre: f64, shifted: &[Group]) -> OneWay {
    let total: usize = shifted.iter().map(|g| g.n).sum();
    let rest = sum(shifted.iter().map(|g| g.n as f64 * g.mean)) / total as f64;
    let between = Source {
        squares: sum(shifted
            .iter()
            .map(|g| g.n as f64 * (g.mean - rest) * (g.mean - rest))),
        dof: (shifted.len() - 1) as f64,
    };
    let within = Source {
        squares: sum(shifted.iter().map(|g| g.squares)),
        dof: (total - shifted.len()) as f64,
    };
    OneWay {
        groups: shifted
            .iter()
            .map(|g| Group {
                mean: centre + g.mean,
                ..*g
            })
            .collect(),
        grand_mean: centre + rest,
        between,
        within,
        ratio: between.against(&within),
    }
}

/// Balanced two-way analysis of variance.
#[derive(Debug, Clone, PartialEq)]
pub struct TwoWay {
    /// Mean of all values.
    pub grand_mean: f64,
    /// Means over each row (first factor).
    pub row_means: Vec<f64>,
    /// Means over each column (second factor).
    pub column_means: Vec<f64>,
    /// Values in each cell.
    pub replicates: usize,
    /// First factor.
    pub rows: Source,
    /// Second factor.
    pub columns: Source,
    /// What the two factors do beyond their sum.
    pub interaction: Source,
    /// Within cells; its degrees of freedom are zero with one value in each cell.
    pub within: Source,
}

impl TwoWay {
    /// Interaction and within-cell variation pooled: the residual of the additive model.
    pub fn additive_residual(&self) -> Source {
        self.interaction.pooled_with(&self.within)
    }
}

/// Two-way analysis of variance of `cells[row][column]`, each cell holding the same number of values.
///
/// With unequal cells the sums of squares overlap and no single split exists: compare nested fits instead
/// ([`super::tests::nested_f`]).
///
/// # Errors
///
/// [`StatsError`] for fewer than two rows or columns, unequal cells, or a value that is not finite.
pub fn two_way<C: AsRef<[f64]>>(cells: &[Vec<C>]) -> Result<TwoWay, StatsError> {
    at_least("rows", 2, cells.len())?;
    let columns = cells[0].len();
    at_least("columns", 2, columns)?;
    let replicates = cells[0][0].as_ref().len();
    at_least("values in a cell", 1, replicates)?;
    for row in cells {
        if row.len() != columns {
            return Err(StatsError::Unequal {
                what: "cells in two rows",
                left: columns,
                right: row.len(),
            });
        }
        for cell in row {
            let cell = cell.as_ref();
            if cell.len() != replicates {
                return Err(StatsError::Unequal {
                    what: "values in two cells",
                    left: replicates,
                    right: cell.len(),
                });
            }
            all_finite("values in a cell", cell)?;
        }
    }
    let (r, c, n) = (cells.len() as f64, columns as f64, replicates as f64);
    let every = cells
        .iter()
        .flatten()
        .flat_map(|cell| cell.as_ref().iter().copied());
    let centre = sum(every) / (r * c * n);
    // Cell means and sums of squares, all as offsets from the rounded grand mean.
    let parts: Vec<Vec<Centred>> = cells
        .iter()
        .map(|row| {
            row.iter()
                .map(|cell| {
                    Centred::of(
                        &cell
                            .as_ref()
                            .iter()
                            .map(|y| y - centre)
                            .collect::<Vec<f64>>(),
                    )
                })
                .collect()
        })
        .collect();
    let row_offsets: Vec<f64> = parts
        .iter()
        .map(|row| sum(row.iter().map(Centred::mean)) / c)
        .collect();
    let column_offsets: Vec<f64> = (0..columns)
        .map(|j| sum(parts.iter().map(|row| row[j].mean())) / r)
        .collect();
    let rest = sum(row_offsets.iter().copied()) / r;
    let square_about = |offsets: &[f64]| sum(offsets.iter().map(|m| (m - rest) * (m - rest)));
    let interaction = sum(parts.iter().zip(&row_offsets).flat_map(|(row, row_mean)| {
        row.iter()
            .zip(&column_offsets)
            .map(move |(cell, column_mean)| {
                let deviation = cell.mean() - row_mean - column_mean + rest;
                deviation * deviation
            })
    }));
    Ok(TwoWay {
        grand_mean: centre + rest,
        replicates,
        rows: Source {
            squares: c * n * square_about(&row_offsets),
            dof: r - 1.0,
        },
        columns: Source {
            squares: r * n * square_about(&column_offsets),
            dof: c - 1.0,
        },
        interaction: Source {
            squares: n * interaction,
            dof: (r - 1.0) * (c - 1.0),
        },
        within: Source {
            squares: sum(parts.iter().flatten().map(|cell| cell.squares)),
            dof: r * c * (n - 1.0),
        },
        row_means: row_offsets.iter().map(|m| centre + m).collect(),
        column_means: column_offsets.iter().map(|m| centre + m).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unbalanced_groups_by_hand() {
        // Groups {1, 3}, {5}: means 2 and 5, grand mean 3; between 2·1 + 1·4 = 6, within 2; F = 6/2 = 3.
        let found = one_way(&[vec![1.0, 3.0], vec![5.0]]).unwrap();
        assert_eq!(found.grand_mean, 3.0);
        assert_eq!(
            found.between,
            Source {
                squares: 6.0,
                dof: 1.0
            }
        );
        assert_eq!(
            found.within,
            Source {
                squares: 2.0,
                dof: 1.0
            }
        );
        assert!((found.ratio.f - 3.0).abs() < 1e-15);
        // n₀ = 3 − 5/3 = 4/3, so (6 − 2)/(4/3) = 3.
        assert!((found.between_variance() - 3.0).abs() < 1e-14);
    }

    #[test]
    fn two_way_parts_add_up_to_the_one_way_total() {
        let cells = vec![
            vec![vec![1.0, 2.0], vec![4.0, 3.5], vec![0.0, 7.0]],
            vec![vec![2.0, 2.5], vec![9.0, 3.0], vec![1.0, -4.0]],
        ];
        let two = two_way(&cells).unwrap();
        let one = one_way(&cells.concat()).unwrap();
        let model = two.rows.squares + two.columns.squares + two.interaction.squares;
        assert!((model - one.between.squares).abs() < 1e-12);
        assert!((two.within.squares - one.within.squares).abs() < 1e-12);
        assert_eq!(
            two.rows.dof + two.columns.dof + two.interaction.dof,
            one.between.dof
        );
    }

    #[test]
    fn equal_values_give_no_p_value_and_no_panic() {
        let found = one_way(&[[1.0, 1.0], [1.0, 1.0]]).unwrap();
        assert!(found.ratio.p.is_nan());
        let apart = one_way(&[[1.0, 1.0], [2.0, 2.0]]).unwrap();
        assert_eq!((apart.ratio.f, apart.ratio.p), (f64::INFINITY, 0.0));
    }

    #[test]
    fn bad_layouts_are_refused() {
        assert!(one_way(&[vec![1.0, 2.0]]).is_err());
        assert!(one_way(&[vec![1.0], vec![2.0]]).is_err());
        assert!(one_way(&[vec![1.0, 2.0], vec![]]).is_err());
        assert!(matches!(
            one_way(&[[1.0, f64::NAN], [1.0, 2.0]]),
            Err(StatsError::NotFinite { .. })
        ));
        assert!(matches!(
            two_way(&[vec![vec![1.0], vec![2.0]], vec![vec![1.0], vec![2.0, 3.0]]]),
            Err(StatsError::Unequal { .. })
        ));
        assert!(two_way(&[vec![vec![1.0], vec![2.0]], vec![vec![1.0]]]).is_err());
        let bad = [Group {
            n: 3,
            mean: 1.0,
            squares: -1.0,
        }; 2];
        assert!(matches!(
            one_way_from_groups(&bad),
            Err(StatsError::OutOfRange { .. })
        ));
    }

    /// Sums of squares that stand in a layout with a common part added to every value.
    fn splits(cells: &[Vec<Vec<f64>>], factor: f64, common: f64) -> TwoWay {
        let moved = |y: &f64| factor * y + common;
        let cells: Vec<Vec<Vec<f64>>> = cells
            .iter()
            .map(|row| row.iter().map(|c| c.iter().map(moved).collect()).collect())
            .collect();
        two_way(&cells).unwrap()
    }

    #[test]
    fn two_way_means_by_hand() {
        // Cells 1, 3 / 2, 10: rows 2 and 6, columns 1.5 and 6.5, all 4; interaction cells ±1.5.
        let two = two_way(&[vec![[1.0], [3.0]], vec![[2.0], [10.0]]]).unwrap();
        assert_eq!(two.grand_mean, 4.0);
        assert_eq!(
            (two.row_means, two.column_means),
            (vec![2.0, 6.0], vec![1.5, 6.5])
        );
        assert_eq!((two.rows.squares, two.columns.squares), (16.0, 25.0));
        assert_eq!((two.interaction.squares, two.within.dof), (9.0, 0.0));
    }

    #[test]
    fn a_large_common_part_costs_no_digits() {
        // Sums of squares by exact fractions.
        let cells = vec![
            vec![vec![1.0, 2.0], vec![4.0, 3.5], vec![0.0, 7.0]],
            vec![vec![2.0, 2.5], vec![9.0, 3.0], vec![1.0, -4.0]],
        ];
        // Every value is exact; near 2^55 the mean itself is rounded to a multiple of 8, far off by the data's measure.
        for (factor, common) in [(1.0, 0.0), (1.0, 2f64.powi(50)), (16.0, 2f64.powi(55))] {
            let two = splits(&cells, factor, common);
            for (got, want) in [
                (two.rows.squares, 4.0 / 3.0),
                (two.columns.squares, 793.0 / 24.0),
                (two.interaction.squares, 703.0 / 24.0),
                (two.within.squares, 223.0 / 4.0),
            ] {
                let got = got / (factor * factor);
                assert!((got / want - 1.0).abs() < 1e-12, "{common}: {got} {want}");
            }
        }
        // The same for groups given by size and mean: three of mean 1.25 and five of 2.75 with a common part have between
        // them 3·5/8·1.5².
        let groups = [(3, 1.25), (5, 2.75)].map(|(n, mean)| Group {
            n,
            mean: mean + 2f64.powi(50),
            squares: 1.0,
        });
        let one = one_way_from_groups(&groups).unwrap();
        assert!((one.between.squares / (15.0 / 8.0 * 2.25) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn groups_without_a_second_value_leave_no_residual() {
        let single = |mean| Group {
            n: 1,
            mean,
            squares: 0.0,
        };
        assert!(matches!(
            one_way_from_groups(&[single(1.0), single(2.0), single(4.0)]),
            Err(StatsError::TooFew { .. })
        ));
    }
}
