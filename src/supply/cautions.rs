//! The usual cautions about batteries and their wiring.

/// Beside a discharge test.
pub const DISCHARGE: [&str; 3] = [
    "A battery delivers hundreds of amperes into a fault: fuse it at the battery, within its and the cable's rating.",
    "Keep to the battery maker's current, voltage and temperature limits; do not leave a discharge or a charge unattended.",
    "The figures are measurements, not an approval; local codes and licensed practice decide on wiring.",
];
