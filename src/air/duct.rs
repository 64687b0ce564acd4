//! Ducts.

/// Mean speed over centre-line speed in a round duct with fully developed turbulent flow: 49/60, exact for a 1/7-power profile
/// (Prandtl's profile, from memory). A single reading in the middle of a duct reads about a fifth high. Short ducts behind a blower
/// have no such profile: measure across (see [`super::traverse`]).
pub const MEAN_OVER_CENTRE_ROUND: f64 = 49.0 / 60.0;
