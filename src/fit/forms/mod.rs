//! The forms that a unit's draw and capacity may take. The only part of this room that knows air conditioners.
//!
//! [`DrawData`] holds the cooling runs as numbers, [`Blower`] the blower's own draw by level,
//! [`DrawForm`] a form in setting × conditions × scatter, [`family`] all forms worth trying on given data.

mod blower;
mod capacity;
mod data;
mod draw;
mod equation;
mod family;
mod lift;
mod naming;
mod paste;
#[cfg(test)]
mod tests;

pub use blower::{Blower, BlowerSource, LevelDraw};
pub(crate) use capacity::flow_side;
pub use capacity::{CapacityData, CapacityKind, NoCapacity, point_capacity};
pub use data::{At, DrawData, DrawRow, FlowScale, Level};
pub use draw::{
    AmbientForm, Corner, DrawForm, Held, HeldSlope, IntakeForm, PLATEAU_SLOPE_PER_K, Scatter,
    SettingForm,
};
pub use equation::Equation;
pub use family::{control_family, family, groupings, held_slopes_tried};
pub use lift::{LiftModel, LiftParts};
pub use paste::{VARIABLES, Variable, upright};
