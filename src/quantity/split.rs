//! A standard uncertainty kept in two parts.

/// Standard uncertainty split by how it behaves between runs, in the unit of the value that it belongs to.
///
/// The shared part is the same error in every run (the same sensor reads them all): it cancels in differences between
/// runs and is not reduced by repeating. The fresh part is drawn anew in each run and averages out.
/// Parts of different inputs are taken as independent (JCGM 100:2008, 5.1.2).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Split {
    /// Standard uncertainty common to all runs.
    pub shared: f64,
    /// Standard uncertainty new in each run.
    pub fresh: f64,
}

impl Split {
    /// Both parts.
    pub fn new(shared: f64, fresh: f64) -> Self {
        Self { shared, fresh }
    }

    /// An uncertainty that is the same error in every run.
    pub fn shared(u: f64) -> Self {
        Self::new(u, 0.0)
    }

    /// An uncertainty that is new in each run.
    pub fn fresh(u: f64) -> Self {
        Self::new(0.0, u)
    }

    /// Standard uncertainty of one run's figure taken by itself: the root of the sum of squares.
    pub fn total(&self) -> f64 {
        self.shared.hypot(self.fresh)
    }

    /// The uncertainty of `factor` times the value.
    pub fn scaled(&self, factor: f64) -> Self {
        Self::new(self.shared * factor.abs(), self.fresh * factor.abs())
    }

    /// The uncertainty of a sum of this value and an independent one.
    pub fn plus(&self, other: Self) -> Self {
        Self::new(
            self.shared.hypot(other.shared),
            self.fresh.hypot(other.fresh),
        )
    }
}
