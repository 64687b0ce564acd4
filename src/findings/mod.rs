//! What a careful colleague would point out: about the bench itself ([`check`]).

mod check;

pub use check::check;
