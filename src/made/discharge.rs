//! A made discharge test: an invented battery of eight lithium iron phosphate cells at a steady load.

use std::fmt::Write as _;

use super::dice::Dice;

/// What a test begins with and how it is read.
#[derive(Clone, Copy, Debug)]
pub struct Tested {
    /// Charge that the battery truly holds at this load, Ah.
    pub capacity_ah: f64,
    /// The load, A.
    pub load_a: f64,
    /// What the meter reads of every current and voltage, over the truth.
    pub current_gain: f64,
    /// See `current_gain`.
    pub voltage_gain: f64,
}

/// Internal resistance of the battery, ohm.
const OHM: f64 = 0.011;
/// Volts at which the load lets go.
const EMPTY_V: f64 = 20.0;
/// Minutes of rest before the load and after.
const REST_MIN: u32 = 5;

/// Voltage at rest with a share `left` of the charge: a plateau, a little crown, a knee. An invented shape of the usual kind.
fn open_v(left: f64) -> f64 {
    8.0 * (3.255 + 0.06 * left + 0.09 * (-(1.0 - left) / 0.015).exp()
        - 0.85 * (-left / 0.022).exp())
}

/// The log: a reading a minute; a discharging current is negative.
pub fn log(dice: &mut Dice, test: &Tested) -> String {
    let mut text = String::from("elapsed [s],voltage [V],current [A]\n");
    let mut row = |dice: &mut Dice, second: u32, v: f64, i: f64| {
        let v = v * test.voltage_gain + 0.004 * dice.normal();
        let i = i * test.current_gain + 0.02 * dice.normal();
        // Writing into a string does not fail.
        let _ = writeln!(text, "{second},{v:.2},{:.2}", -i);
    };
    for minute in 0..REST_MIN {
        row(dice, 60 * minute, open_v(1.0), 0.0);
    }
    let begin = 60 * REST_MIN;
    // The logger writes at once when the load comes on, and then every minute.
    row(dice, begin - 2, open_v(1.0), 0.0);
    row(dice, begin, open_v(1.0) - OHM * test.load_a, test.load_a);
    let mut minute = 1;
    loop {
        let left = 1.0 - test.load_a * f64::from(minute) / 60.0 / test.capacity_ah;
        let v = open_v(left) - OHM * test.load_a;
        row(dice, begin + 60 * minute, v, test.load_a);
        // A knee ends every such curve long before this.
        if v <= EMPTY_V || minute > 60 * 100 {
            let end = begin + 60 * minute;
            row(dice, end + 2, open_v(left.max(0.0)), 0.0);
            for after in 1..=REST_MIN {
                row(
                    dice,
                    end + 60 * after,
                    open_v(left.max(0.0)) + 0.05 * f64::from(after),
                    0.0,
                );
            }
            return text;
        }
        minute += 1;
    }
}
