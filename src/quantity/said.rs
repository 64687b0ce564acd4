//! A sentence with quantities in it, in every system of units.

use std::fmt;
use std::ops::Deref;

use serde::{Serialize, Serializer};

use super::System;

/// A sentence that a reader gets in the units asked for. As a string, and in JSON, it is in SI units.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    si: String,
    us: String,
}

impl Said {
    /// Says it once in each system.
    pub fn of(say: impl Fn(System) -> String) -> Said {
        Said {
            si: say(System::Si),
            us: say(System::Us),
        }
    }

    /// The sentence in the reader's units.
    pub fn in_units(&self, system: System) -> &str {
        match system {
            System::Si => &self.si,
            System::Us => &self.us,
        }
    }
}

/// Words without a quantity whose unit could differ.
impl From<String> for Said {
    fn from(words: String) -> Said {
        Said {
            us: words.clone(),
            si: words,
        }
    }
}

impl From<&str> for Said {
    fn from(words: &str) -> Said {
        words.to_owned().into()
    }
}

/// In SI units.
impl Deref for Said {
    type Target = str;
    fn deref(&self) -> &str {
        &self.si
    }
}

/// In SI units.
impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.si)
    }
}

/// In SI units.
impl Serialize for Said {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.si)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Dimension;

    #[test]
    fn a_sentence_is_kept_in_every_system_and_is_si_as_a_string() {
        let said = Said::of(|units| {
            format!(
                "{} warmer at {}, {} of air",
                units.shown(Dimension::TemperatureDifference, 5.0, 1),
                units.shown(Dimension::Temperature, 35.0, 1),
                units.shown(Dimension::Flow, 250.0, 0)
            )
        });
        let si = "5.0 K warmer at 35.0 degC, 250 m3/h of air";
        assert_eq!(said.in_units(System::Si), si);
        // 250 m3/h over 1.699 m3/h for each cfm.
        assert_eq!(
            said.in_units(System::Us),
            "9.0 degF warmer at 95.0 degF, 147 cfm of air"
        );
        assert_eq!((&*said, said.to_string().as_str()), (si, si));
        assert_eq!(serde_json::json!(said), serde_json::json!(si));
    }
}
