//! Kinds of made benches: what is true of the unit, and what is wrong with the bench.

/// A kind of made bench. Names match those of the practice benches where both have the kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// One compressor speed a mode.
    Independent,
    /// Compressor speed rises with the intake temperature and is clipped; the fan level plays no part.
    IndependentRamp,
    /// Compressor speed steps with the intake's excess over a set temperature.
    IndependentStepped,
    /// As `Independent`, without fan-only runs.
    IndependentNoFan,
    /// Compressor speed follows the fan level, the same in every mode: the modes are one and the same.
    Coupled,
    /// Compressor speed follows the fan level, at a different pace or height in each mode.
    CoupledModes,
    /// As `Coupled`, without fan-only runs.
    CoupledNoFan,
    /// Compressor speed depends on the fan level, highest at a middle one: no power of airflow describes it.
    CoupledUneven,
    /// Compressor speed follows the fan level a little: elasticity 0.30 to 0.45.
    Weak,
    /// Coupled, but each mode was run at a fan level of its own: nothing can tell.
    ConfoundedCoupled,
    /// Independent, but each mode was run at a fan level of its own: nothing can tell.
    ConfoundedIndependent,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 11] = [
        Self::Independent,
        Self::IndependentRamp,
        Self::IndependentStepped,
        Self::IndependentNoFan,
        Self::Coupled,
        Self::CoupledModes,
        Self::CoupledNoFan,
        Self::CoupledUneven,
        Self::Weak,
        Self::ConfoundedCoupled,
        Self::ConfoundedIndependent,
    ];

    /// Its name in truth files, as in `independent-ramp`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Independent => "independent",
            Self::IndependentRamp => "independent-ramp",
            Self::IndependentStepped => "independent-stepped",
            Self::IndependentNoFan => "independent-nofan",
            Self::Coupled => "coupled",
            Self::CoupledModes => "coupled-modes",
            Self::CoupledNoFan => "coupled-nofan",
            Self::CoupledUneven => "coupled-uneven",
            Self::Weak => "weak",
            Self::ConfoundedCoupled => "confounded-coupled",
            Self::ConfoundedIndependent => "confounded-independent",
        }
    }

    /// What a perfect analysis would say; see [`Truth::verdict`](super::truth::Truth::verdict).
    pub fn verdict(self) -> &'static str {
        match self {
            Self::Independent
            | Self::IndependentRamp
            | Self::IndependentStepped
            | Self::IndependentNoFan => "independent",
            Self::Coupled | Self::CoupledModes | Self::CoupledNoFan | Self::CoupledUneven => {
                "coupled"
            }
            Self::Weak => "weak",
            Self::ConfoundedCoupled | Self::ConfoundedIndependent => "undecided",
        }
    }

    /// Whether the bench has fan-only runs.
    pub fn has_fan_only(self) -> bool {
        !matches!(self, Self::IndependentNoFan | Self::CoupledNoFan)
    }

    /// Whether each mode was run at one fan level of its own.
    pub fn is_confounded(self) -> bool {
        matches!(self, Self::ConfoundedCoupled | Self::ConfoundedIndependent)
    }

    /// A number of its own, so that one seed gives unrelated benches of two kinds.
    pub(super) fn stream(self) -> u64 {
        // Counted in the order in which the kinds came to be, so that a new one leaves the benches of the others as they are.
        match self {
            Self::Independent => 1,
            Self::IndependentRamp => 2,
            Self::IndependentStepped => 3,
            Self::IndependentNoFan => 4,
            Self::Coupled => 5,
            Self::CoupledModes => 6,
            Self::CoupledNoFan => 7,
            Self::Weak => 8,
            Self::ConfoundedCoupled => 9,
            Self::ConfoundedIndependent => 10,
            Self::CoupledUneven => 11,
        }
    }
}
