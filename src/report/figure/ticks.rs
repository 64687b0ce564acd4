//! Where an axis is marked, and how the marks are written.

use super::Scale;

/// One mark of an axis: where it stands on the drawn scale, and what it says.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tick {
    /// The place on the drawn scale (a decimal logarithm on a logarithmic axis).
    pub at: f64,
    /// What stands beside it.
    pub says: String,
}

/// The marks of an axis and the power of ten that was taken out of them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Ticks {
    pub ticks: Vec<Tick>,
    /// The marks are to be multiplied by ten to this power; 0 in ordinary ranges.
    pub power: i32,
    /// The distance between marks on the drawn scale, where it is even.
    pub step: Option<f64>,
}

/// Even steps that people count in: 1, 2, 2.5 or 5 times a power of ten, such that about `wanted` fit in the span.
fn nice_step(span: f64, wanted: f64) -> f64 {
    let raw = span / wanted.max(1.0);
    let power = raw.log10().floor();
    let base = 10_f64.powf(power);
    // The geometric middles between neighbours, so that the count comes nearest to the wanted one.
    let step = match raw / base {
        m if m < 2_f64.sqrt() => 1.0,
        m if m < 5_f64.sqrt() => 2.0,
        m if m < 12.5_f64.sqrt() => 2.5,
        m if m < 50_f64.sqrt() => 5.0,
        _ => 10.0,
    };
    step * base
}

/// Decimals needed to write a multiple of `step` exactly.
fn decimals(step: f64) -> usize {
    (0..=12_usize)
        .find(|d| {
            let scaled = step * 10_f64.powi(*d as i32);
            (scaled - scaled.round()).abs() < 1e-6 * scaled.abs().max(1e-300)
        })
        .unwrap_or(12)
}

/// A number with a true minus sign, and narrow blanks between thousands from 10 000 on.
fn written(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let (whole, rest) = text
        .split_once('.')
        .map_or((text.as_str(), String::new()), |(w, f)| {
            (w, format!(".{f}"))
        });
    let mut grouped = String::new();
    for (i, digit) in whole.chars().enumerate() {
        if whole.len() > 4 && i > 0 && (whole.len() - i) % 3 == 0 {
            grouped.push('\u{202f}');
        }
        grouped.push(digit);
    }
    let negative = value < 0.0 && text.bytes().any(|b| (b'1'..=b'9').contains(&b));
    format!("{}{grouped}{rest}", if negative { "−" } else { "" })
}

/// The marks inside `low..high` on a scale, about `wanted` of them.
///
/// `low` and `high` are finite, in increasing order, on the drawn scale.
pub(super) fn ticks(scale: &Scale, low: f64, high: f64, wanted: f64) -> Ticks {
    match scale {
        Scale::Linear => linear(low, high, wanted),
        Scale::Log => logarithmic(low, high, wanted),
        // Over several days a time of day says nothing; hours do.
        Scale::Clock if high - low > 48.0 => linear(low, high, wanted),
        Scale::Clock => clock(low, high, wanted),
        Scale::Names(names) => Ticks {
            ticks: names
                .iter()
                .enumerate()
                .map(|(i, name)| Tick {
                    at: i as f64,
                    says: name.clone(),
                })
                .collect(),
            power: 0,
            step: None,
        },
    }
}

/// Multiples of a step inside a range, counted in whole numbers so that no rounding piles up.
fn multiples(low: f64, high: f64, step: f64) -> Vec<f64> {
    let first = (low / step - 1e-9).ceil();
    let last = (high / step + 1e-9).floor();
    if !(first.is_finite() && last.is_finite()) || last - first > 1000.0 {
        return Vec::new();
    }
    let count = (last - first).max(-1.0) as i64;
    (0..=count).map(|i| (first + i as f64) * step).collect()
}

fn linear(low: f64, high: f64, wanted: f64) -> Ticks {
    let step = nice_step(high - low, wanted);
    let power = power_of(low, high);
    let unit = 10_f64.powi(power);
    let decimals = decimals(step / unit);
    let ticks = multiples(low, high, step)
        .into_iter()
        .map(|v| Tick {
            at: v,
            says: written(v / unit, decimals),
        })
        .collect();
    Ticks {
        ticks,
        power,
        step: Some(step),
    }
}

/// Times of day, at steps that divide a day.
fn clock(low: f64, high: f64, wanted: f64) -> Ticks {
    const STEPS: [f64; 8] = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 12.0];
    let step = STEPS
        .into_iter()
        .find(|step| (high - low) / step <= wanted.max(1.0))
        .unwrap_or(24.0);
    let says = |hours: f64| {
        let minutes = (hours * 60.0).round();
        // Midnight is 24:00 at the end of a day and 00:00 inside a night.
        let within = if minutes == 1440.0 && high < 24.1 {
            minutes
        } else {
            minutes.rem_euclid(1440.0)
        };
        format!("{:02}:{:02}", (within / 60.0).floor(), within % 60.0)
    };
    let ticks = multiples(low, high, step)
        .into_iter()
        .map(|at| Tick { at, says: says(at) })
        .collect();
    Ticks {
        ticks,
        power: 0,
        step: Some(step),
    }
}

/// The power of ten (a multiple of three) to take out of labels that would be too long to read.
fn power_of(low: f64, high: f64) -> i32 {
    let largest = low.abs().max(high.abs());
    if largest > 0.0 && !(1e-2..1e6).contains(&largest) {
        ((largest.log10() / 3.0).floor() * 3.0) as i32
    } else {
        0
    }
}

fn logarithmic(low: f64, high: f64, wanted: f64) -> Ticks {
    let (from, to) = (10_f64.powf(low), 10_f64.powf(high));
    // Within about a decade people read even steps best; beyond it, the 1-2-5 series, then whole decades.
    if to / from < 8.0 {
        let mut even = linear(from, to, (0.7 * wanted).max(3.0));
        for tick in &mut even.ticks {
            tick.at = tick.at.log10();
        }
        // Even steps draw together upwards on this scale: those too near the last are left out.
        let nearest = 0.7 * (high - low) / wanted.max(1.0);
        let mut last = f64::NEG_INFINITY;
        even.ticks.retain(|tick| {
            let kept = tick.at - last >= nearest;
            if kept {
                last = tick.at;
            }
            kept
        });
        return Ticks { step: None, ..even };
    }
    let decades = high - low;
    let marks: &[f64] = if decades * 3.0 <= wanted * 1.6 {
        &[1.0, 2.0, 5.0]
    } else {
        &[1.0]
    };
    let every = ((decades / wanted).ceil() as i32).max(1);
    let mut ticks = Vec::new();
    for power in low.floor() as i32..=high.ceil() as i32 {
        if power.rem_euclid(every) != 0 {
            continue;
        }
        for mark in marks {
            let at = f64::from(power) + mark.log10();
            if at >= low - 1e-9 && at <= high + 1e-9 {
                let says = if (-3..6).contains(&power) {
                    written(
                        mark * 10_f64.powi(power),
                        usize::try_from(-power).unwrap_or(0),
                    )
                } else if *mark == 1.0 {
                    format!("10{}", superscript(power))
                } else {
                    format!("{mark}×10{}", superscript(power))
                };
                ticks.push(Tick { at, says });
            }
        }
    }
    Ticks {
        ticks,
        power: 0,
        step: None,
    }
}

/// A whole number in raised digits.
pub(super) fn superscript(number: i32) -> String {
    number
        .to_string()
        .chars()
        .map(|c| match c {
            '-' => '⁻',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            c => c
                .to_digit(10)
                .and_then(|d| char::from_u32(0x2070 + d))
                .unwrap_or(c),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn says(scale: &Scale, low: f64, high: f64, wanted: f64) -> Vec<String> {
        ticks(scale, low, high, wanted)
            .ticks
            .into_iter()
            .map(|t| t.says)
            .collect()
    }

    #[test]
    fn even_steps_carry_just_the_decimals_they_need() {
        assert_eq!(
            says(&Scale::Linear, 0.0, 1.0, 5.0),
            ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]
        );
        assert_eq!(
            says(&Scale::Linear, 380.0, 655.0, 6.0),
            ["400", "450", "500", "550", "600", "650"]
        );
        assert_eq!(
            says(&Scale::Linear, -0.011, 0.012, 4.0),
            ["−0.010", "−0.005", "0.000", "0.005", "0.010"]
        );
        assert_eq!(
            says(&Scale::Linear, 20.0, 30.0, 4.0),
            ["20.0", "22.5", "25.0", "27.5", "30.0"]
        );
        assert_eq!(
            says(&Scale::Linear, 9_000.0, 12_000.0, 3.0),
            ["9000", "10\u{202f}000", "11\u{202f}000", "12\u{202f}000"]
        );
        assert_eq!(
            says(&Scale::Linear, 68.0, 104.0, 4.0),
            ["70", "80", "90", "100"]
        );
    }

    #[test]
    fn marks_lie_inside_and_do_not_drift() {
        for (low, high) in [
            (0.1, 0.3),
            (-7.3, 11.9),
            (1e5, 1.000_01e5),
            (1e-7, 3e-7),
            (-1e9, 2e9),
            (299.99, 300.01),
        ] {
            let made = ticks(&Scale::Linear, low, high, 6.0);
            assert!(
                (3..=13).contains(&made.ticks.len()),
                "{low} to {high}: {made:?}"
            );
            for tick in &made.ticks {
                assert!(tick.at >= low - 1e-9 * low.abs() && tick.at <= high + 1e-9 * high.abs());
                let read: f64 = tick
                    .says
                    .replace('−', "-")
                    .replace('\u{202f}', "")
                    .parse()
                    .expect("a number");
                let meant = read * 10_f64.powi(made.power);
                assert!(
                    (meant - tick.at).abs() <= 1e-9 * high.abs().max(low.abs()),
                    "{meant} for {}",
                    tick.at
                );
            }
        }
    }

    #[test]
    fn long_numbers_give_their_power_to_the_label() {
        assert_eq!(ticks(&Scale::Linear, 0.0, 3e-7, 3.0).power, -9);
        assert_eq!(ticks(&Scale::Linear, 0.0, 3e6, 3.0).power, 6);
        assert_eq!(superscript(-12), "⁻¹²");
    }

    #[test]
    fn a_day_is_marked_in_hours() {
        assert_eq!(
            says(&Scale::Clock, 0.0, 24.0, 9.0),
            [
                "00:00", "03:00", "06:00", "09:00", "12:00", "15:00", "18:00", "21:00", "24:00"
            ]
        );
        assert_eq!(
            says(&Scale::Clock, 22.0, 30.0, 4.0),
            ["22:00", "00:00", "02:00", "04:00", "06:00"]
        );
        assert_eq!(
            says(&Scale::Clock, 9.0, 10.0, 4.0),
            ["09:00", "09:15", "09:30", "09:45", "10:00"]
        );
    }

    #[test]
    fn logarithmic_marks_are_ones_twos_and_fives() {
        assert_eq!(
            says(&Scale::Log, 0.0, 2.0, 6.0),
            ["1", "2", "5", "10", "20", "50", "100"]
        );
        assert_eq!(
            says(&Scale::Log, -2.0, 0.0, 6.0),
            ["0.01", "0.02", "0.05", "0.1", "0.2", "0.5", "1"]
        );
        assert_eq!(
            says(&Scale::Log, 0.0, 8.0, 5.0),
            ["1", "100", "10\u{202f}000", "10⁶", "10⁸"]
        );
        let within_a_decade = ticks(&Scale::Log, 150_f64.log10(), 420_f64.log10(), 8.0);
        assert_eq!(
            within_a_decade
                .ticks
                .iter()
                .map(|t| t.says.as_str())
                .collect::<Vec<_>>(),
            ["150", "200", "250", "300", "350", "400"]
        );
        assert!((within_a_decade.ticks[1].at - 200_f64.log10()).abs() < 1e-12);
    }
}
