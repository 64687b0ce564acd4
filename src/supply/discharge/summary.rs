//! The answer of a discharge test: capacity, energy, ratio to the rating, cost; and what must be said beside it.

use super::{
    DischargeError, DischargeFile, DischargeOptions, FileResult, Load, MeterU, Pooled, Resistance,
    Sign, Test, Worth, measure, pool,
};
use crate::bench::{Battery, Bench, BenchError};
use crate::quantity::Accuracy;

/// What a battery is said to hold and cost.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rating {
    /// Rated capacity, Ah.
    pub capacity_ah: Option<f64>,
    /// Rated energy, Wh, where it is stated by itself.
    pub energy_wh: Option<f64>,
    /// Nominal voltage, V.
    pub nominal_v: Option<f64>,
    /// Price, in whatever currency.
    pub price: Option<f64>,
}

/// A repeat that gives less than this share of the largest is pointed out. Common practice, no source.
const PARTIAL_SHARE: f64 = 0.8;

impl Rating {
    /// What a bench's `[battery]` states.
    pub fn of(battery: &Battery) -> Rating {
        Rating {
            capacity_ah: battery.capacity_ah,
            energy_wh: battery.energy_wh,
            nominal_v: battery.nominal_v,
            price: battery.price,
        }
    }

    /// Rated energy, Wh: as stated, else rated capacity times nominal voltage.
    pub fn rated_wh(&self) -> Option<f64> {
        self.energy_wh
            .or_else(|| Some(self.capacity_ah? * self.nominal_v?))
    }

    /// What this leaves open is taken from another.
    #[must_use]
    pub fn or(self, other: Rating) -> Rating {
        Rating {
            capacity_ah: self.capacity_ah.or(other.capacity_ah),
            energy_wh: self.energy_wh.or(other.energy_wh),
            nominal_v: self.nominal_v.or(other.nominal_v),
            price: self.price.or(other.price),
        }
    }
}

impl Load {
    /// A stated load's accuracy as that of a meter that reads the current.
    pub fn meter(self, accuracy: Accuracy) -> MeterU {
        let (Load::Power(v) | Load::Current(v)) = self;
        let whole = Accuracy {
            relative: accuracy.relative + accuracy.absolute / v,
            absolute: 0.0,
        };
        MeterU::from_accuracy(whole, crate::bench::AccuracyAs::Limits, true)
    }
}

/// Discharge tests, read and pooled.
#[derive(Clone, Debug)]
pub struct Discharge {
    /// What each file shows.
    pub files: Vec<FileResult>,
    /// Repeats joined, slowest discharge first; at least one.
    pub groups: Vec<Pooled>,
    /// What the battery is said to hold.
    pub rating: Rating,
    /// How the logs were read.
    pub options: DischargeOptions,
}

impl Discharge {
    /// Reads files and pools their tests.
    ///
    /// # Errors
    /// [`DischargeError`] for the first file that gives no discharge.
    pub fn of(
        files: &[DischargeFile],
        options: DischargeOptions,
        rating: Rating,
    ) -> Result<Discharge, DischargeError> {
        let files = files
            .iter()
            .map(|f| measure(f, &options))
            .collect::<Result<Vec<_>, _>>()?;
        let tests: Vec<&Test> = files.iter().flat_map(|f| &f.tests).collect();
        let groups = pool(&tests, &options);
        Ok(Discharge {
            files,
            groups,
            rating,
            options,
        })
    }

    /// Every test with its file, in order.
    pub fn tests(&self) -> impl Iterator<Item = (&FileResult, &Test)> {
        self.files
            .iter()
            .flat_map(|f| f.tests.iter().map(move |t| (f, t)))
    }

    /// Internal resistance from the load steps of all files; none where there are none.
    pub fn resistance(&self) -> Option<Resistance> {
        let steps: Vec<_> = self
            .files
            .iter()
            .flat_map(|f| f.steps.iter().copied())
            .collect();
        let resolution = self
            .files
            .iter()
            .filter_map(|f| f.step_v)
            .fold(0.0, f64::max);
        Resistance::from_steps(
            &steps,
            resolution,
            &self.options.current_meters,
            &self.options.voltmeters,
        )
    }

    /// The tests that stand for the battery: the slowest, nearest to how capacities are rated.
    pub fn headline(&self) -> Option<&Pooled> {
        self.groups.first()
    }

    /// Capacity over the rating.
    pub fn ratio_ah(&self) -> Option<Worth> {
        let rated = self.rating.capacity_ah?;
        Some(self.headline()?.charge_ah.times(1.0 / rated))
    }

    /// Energy over the rated energy.
    pub fn ratio_wh(&self) -> Option<Worth> {
        let rated = self.rating.rated_wh()?;
        Some(self.headline()?.energy_wh.times(1.0 / rated))
    }

    /// Price of a Wh held.
    pub fn cost_per_wh(&self) -> Option<Worth> {
        Some(self.headline()?.energy_wh.under(self.rating.price?))
    }

    /// What must be said beside the figures, in sentences.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        for file in &self.files {
            self.note_file(file, &mut notes);
        }
        self.note_pool(&mut notes);
        notes
    }

    fn note_file(&self, file: &FileResult, notes: &mut Vec<String>) {
        let name = &file.file;
        for finding in &file.findings {
            notes.push(format!("{}.", finding.message.trim_end_matches('.')));
        }
        if file.small > 0 {
            notes.push(format!(
                "{name}: {} discharges of less than 5 % of the largest are left out.",
                file.small
            ));
        }
        if self.options.cutoff_v.is_none() {
            let ends = || file.tests.iter().map(|t| t.end_v);
            let (low, high) = (
                ends().fold(f64::INFINITY, f64::min),
                ends().fold(f64::NEG_INFINITY, f64::max),
            );
            let at = if high - low < 0.005 {
                format!("{low:.2} V")
            } else {
                format!("{low:.2} to {high:.2} V")
            };
            notes.push(format!(
                "{name}: no cut-off was stated, so the figures hold to the end of the load, at {at}."
            ));
        }
        let rated_wh = self.rating.rated_wh();
        for (k, test) in file.tests.iter().enumerate() {
            let which = if file.tests.len() > 1 {
                format!("{name}, test {}", k + 1)
            } else {
                name.clone()
            };
            note_test(&which, test, self.options.cutoff_v, notes);
            // A factor of a thousand between rating and test is a slip of units.
            if rated_wh.is_some_and(|r| !(0.02..=50.0).contains(&(test.energy_wh / r))) {
                notes.push(format!(
                    "{which}: {:.3} Wh against a rating of {:.0} Wh: are the units right?",
                    test.energy_wh,
                    rated_wh.unwrap_or_default()
                ));
            }
        }
    }

    fn note_pool(&self, notes: &mut Vec<String>) {
        if self.groups.len() > 1 {
            notes.push("The tests were made at different currents, so they are no repeats of one another: only tests within 10 % of one another's mean current are pooled. The figures at the top are those of the slowest, nearest to how capacities are rated.".to_owned());
        }
        let Some(head) = self.headline() else {
            return;
        };
        let tests: Vec<&Test> = self.tests().map(|(_, t)| t).collect();
        for group in &self.groups {
            let of = |k: &usize| tests.get(*k).map_or(0.0, |t| t.charge_ah);
            let most = group.tests.iter().map(of).fold(0.0, f64::max);
            for k in group.tests.iter().filter(|k| of(k) < PARTIAL_SHARE * most) {
                notes.push(format!(
                    "Test {} gave {:.3} Ah where another at the same current gave {most:.3} Ah: did it begin with a full battery? It is pooled with the others all the same.",
                    k + 1,
                    of(k)
                ));
            }
        }
        match head.tests.len() {
            1 if self.options.current_meters.is_empty() => notes.push("One test and no accuracy stated for the meter: no interval can be given. State it (--current-accuracy \"0.5 % of reading + 0.02 A\", --voltage-accuracy \"0.1 % of reading\"), and repeat the test.".to_owned()),
            1 => notes.push("One test: the interval holds the instruments and what lies between readings, not how much the battery differs from day to day. A second test would tell.".to_owned()),
            n if self.options.current_meters.is_empty() => notes.push(format!("The interval comes from the scatter of {n} tests; no accuracy was stated for the meter, so an error that it makes every time is not in it.")),
            _ => {}
        }
    }
}

fn note_test(which: &str, test: &Test, cutoff_v: Option<f64>, notes: &mut Vec<String>) {
    if let (Some(false), Some(v)) = (test.reached_cutoff, cutoff_v) {
        notes.push(format!(
            "{which}: the voltage ended at {:.2} V and never reached the cut-off of {v:.2} V, so the battery holds at least this much.",
            test.end_v
        ));
    }
    if test.dips > 0 {
        notes.push(format!(
            "{which}: the voltage fell below the cut-off for a single reading {} and came back; the test goes on.",
            times(test.dips)
        ));
    }
    let g = &test.gaps;
    if g.count > 0 {
        notes.push(format!(
            "{which}: {} in the log under load, the longest {:.0} s. A straight line across gives {:.3} Ah; with {} at least and the log's largest current at most, the whole lies between {:.3} and {:.3} Ah.",
            gaps(g.count),
            g.longest_s,
            g.charge_ah,
            if g.rested { "nothing" } else { "the log's smallest load" },
            test.charge_ah - g.less_ah,
            test.charge_ah + g.more_ah
        ));
    }
    if test.returned_ah > 0.001 * test.charge_ah {
        notes.push(format!(
            "{which}: {:.3} Ah were put back during the test and are not subtracted.",
            test.returned_ah
        ));
    }
    if test.below_ah > 0.001 * test.charge_ah {
        notes.push(format!(
            "{which}: {:.3} Ah at less than 1 % of the largest current are taken for the meter's zero and left out.",
            test.below_ah
        ));
    }
}

fn times(n: usize) -> String {
    if n == 1 {
        "once".to_owned()
    } else {
        format!("{n} times")
    }
}

fn gaps(n: usize) -> String {
    if n == 1 {
        "one gap".to_owned()
    } else {
        format!("{n} gaps")
    }
}

impl FileResult {
    /// Which sign empties the battery, in words; none where the load was stated.
    pub fn sign_words(&self) -> Option<&'static str> {
        Some(match self.sign? {
            Sign::Positive => "discharge is positive",
            Sign::Negative => "discharge is negative",
        })
    }
}

/// The files of a bench's `[battery.discharge]`; none where it has none.
///
/// # Errors
/// [`BenchError`] for files that are not there.
pub fn bench_files(bench: &Bench) -> Result<Vec<DischargeFile>, BenchError> {
    let battery = bench.supply.battery.as_ref();
    let log = battery.and_then(|b| b.discharge.as_deref());
    let (Some(log), Some(source)) = (log, bench.source.as_ref()) else {
        return Ok(Vec::new());
    };
    let files = source.files(&log.spec.file, &log.spec.place)?;
    Ok(files
        .into_iter()
        .map(|file| DischargeFile {
            spec: log.spec.clone(),
            file,
            taken: Vec::new(),
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_gap_and_several_are_said_in_words() {
        assert_eq!(
            (gaps(1), gaps(3)),
            ("one gap".to_owned(), "3 gaps".to_owned())
        );
        assert_eq!(
            (times(1), times(2)),
            ("once".to_owned(), "2 times".to_owned())
        );
    }

    #[test]
    fn a_meters_accuracy_at_a_load_by_hand() {
        // 1 % and 0.2 A at 20 A: 2 %, as limits that hold 95 %.
        let accuracy = Accuracy {
            relative: 0.01,
            absolute: 0.2,
        };
        let at_20 = Load::Current(20.0).meter(accuracy);
        let plain = Accuracy {
            relative: 0.02,
            absolute: 0.0,
        };
        let by_hand = MeterU::from_accuracy(plain, crate::bench::AccuracyAs::Limits, true);
        assert_eq!(format!("{at_20:?}"), format!("{by_hand:?}"));
    }
}
