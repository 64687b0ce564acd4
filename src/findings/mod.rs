//! What a careful colleague would point out: about the bench itself ([`check`]), the maker's figures ([`hold_claims`]), and how several
//! units stand to one another ([`compare`]).

mod check;
mod claims;
mod compare;

pub use check::check;
pub use claims::{ClaimAir, Finding, Fits, HeldClaim, Measured, Sense, TakenFrom, hold_claims};
pub use compare::{
    CompareError, CompareOptions, Compared, ComparedSetting, ComparedUnit, Comparison,
    MOST_EACH_WITH_EACH, Pair, Same, compare,
};
