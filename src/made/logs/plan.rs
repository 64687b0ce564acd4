//! What happens in a made log bench, drawn from dice.

use super::RunKind;
use crate::made::dice::Dice;

/// One run as it is to happen. Times in s, from the bench's epoch.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// What is made.
    pub kind: RunKind,
    /// When the window starts.
    pub start: f64,
    /// How long the window is.
    pub window_s: f64,
    /// Fan level, 1 to 4.
    pub fan: usize,
    /// The blower's own draw, W.
    pub blower_w: f64,
    /// Draw once settled, W.
    pub power_w: f64,
    /// Draw of the second setting, W.
    pub second_w: f64,
    /// When the second setting begins, as a share of the window.
    pub second_at: f64,
    /// Intake, degC.
    pub intake_c: f64,
    /// Ambient, degC.
    pub ambient_c: f64,
    /// How much cooler the outlet is once settled, K.
    pub drop_k: f64,
    /// Time constant of the start-up, s.
    pub tau_s: f64,
    /// Share of the draw at the moment of starting.
    pub start_share: f64,
    /// The compressor starts so long after the window's start.
    pub delay_s: f64,
    /// How long before the start and after the end of a loose run the window reaches, s.
    pub slack: (f64, f64),
    /// Cycle length, share on, and how much lengths vary from one to the next.
    pub cycle: (f64, f64, f64),
    /// Draw in a pause of the compressor, W.
    pub pause_w: f64,
    /// Drift of the intake over the window, K.
    pub drift_k: f64,
    /// Drift of the draw by itself over the window, share.
    pub drift_share: f64,
    /// How far the draw wanders (standard deviation, share) and how slowly, s.
    pub wander: (f64, f64),
    /// Pause in the meter's readings: start as a share of the window, length in s.
    pub gap: (f64, f64),
}

impl Plan {
    /// A run that starts at `start`.
    pub fn random(dice: &mut Dice, start: f64, style: &Style) -> Self {
        let kind = match dice.whole(0, 15) {
            0..=4 => RunKind::Steady,
            5 => RunKind::Gap,
            6 | 7 => RunKind::Cycling,
            8 => RunKind::Drift,
            9 => RunKind::Wander,
            10 => RunKind::Short,
            11 => RunKind::Unfinished,
            12 | 13 => RunKind::Loose,
            _ => RunKind::TwoSettings,
        };
        let fan = dice.whole(1, 4);
        let blower_w = dice.between(4.0, 9.0) * (fan * fan) as f64;
        let power_w = blower_w + dice.between(60.0, 320.0);
        let window_min = match kind {
            RunKind::Short => dice.between(2.0, 8.0),
            RunKind::Unfinished => dice.between(12.0, 18.0),
            RunKind::TwoSettings => dice.between(75.0, 110.0),
            _ if dice.chance(0.15) => dice.between(85.0, 300.0),
            _ => dice.between(45.0, 85.0),
        };
        // A change that nobody would overlook; a wrong setting is more.
        let change = dice.between(0.07, 0.4) * if dice.chance(0.5) { 1.0 } else { -1.0 };
        let mut period = dice.between(150.0, 720.0);
        let window_s = (60.0 * window_min / 60.0).round() * 60.0;
        period = period.min(window_s / 5.0);
        let by_intake = dice.chance(0.6);
        let hours = window_s / 3600.0;
        let pause_w = if dice.chance(0.7) {
            blower_w
        } else {
            // Between two speeds instead of on and off.
            power_w * dice.between(0.4, 0.8)
        };
        let sign = if dice.chance(0.5) { 1.0 } else { -1.0 };
        Plan {
            kind,
            start,
            window_s,
            fan,
            blower_w,
            power_w,
            second_w: power_w * (1.0 + change),
            second_at: dice.between(0.42, 0.58),
            intake_c: dice.between(23.0, 38.0),
            ambient_c: dice.between(21.0, 36.0),
            drop_k: dice.between(5.0, 12.0),
            tau_s: match kind {
                RunKind::TwoSettings => dice.between(60.0, 300.0),
                RunKind::Unfinished => dice.between(350.0, 500.0),
                _ => dice.between(60.0, 420.0),
            },
            start_share: if kind == RunKind::Unfinished {
                dice.between(0.4, 0.7)
            } else {
                dice.between(0.5, 1.15)
            },
            slack: (60.0 * dice.between(1.0, 8.0), 60.0 * dice.between(1.0, 8.0)),
            delay_s: if style.delays && dice.chance(0.5) {
                dice.between(20.0, 180.0)
            } else {
                0.0
            },
            cycle: (
                period,
                dice.between(0.3, 0.75),
                if dice.chance(0.5) {
                    0.0
                } else {
                    dice.between(0.0, 0.12)
                },
            ),
            pause_w,
            drift_k: if by_intake {
                sign * hours * dice.between(3.0, 8.0)
            } else {
                0.0
            },
            drift_share: if by_intake {
                0.0
            } else {
                sign * hours * dice.between(0.08, 0.25)
            },
            wander: (dice.between(0.05, 0.1), dice.between(200.0, 500.0)),
            gap: (dice.between(0.55, 0.75), 60.0 * dice.between(3.0, 12.0)),
        }
    }

    /// The mean that the run settles at, W.
    pub fn true_power_w(&self) -> f64 {
        if self.kind == RunKind::Cycling {
            let (_, duty, _) = self.cycle;
            duty * self.power_w + (1.0 - duty) * self.pause_w
        } else {
            self.power_w
        }
    }
}

/// How the loggers write.
#[derive(Debug, Clone, PartialEq)]
pub struct Style {
    /// Start of the first run, s since 1970.
    pub first_start: f64,
    /// Interval of the meter, s.
    pub meter_s: f64,
    /// Interval of the thermometers, s.
    pub air_s: f64,
    /// Whether compressors start late.
    pub delays: bool,
    /// Noise of the draw (share) and its correlation time, s.
    pub draw_noise: (f64, f64),
    /// Noise of temperatures (K) and its correlation time, s.
    pub temp_noise: (f64, f64),
    /// Slow wander of intake and ambient, K.
    pub room_wander_k: f64,
    /// Supply voltage, V.
    pub supply_v: f64,
    /// What the air logger's clock is behind, s: added by `shift`.
    pub behind_s: f64,
    /// The meter's way of writing.
    pub meter: FileStyle,
    /// The air logger's way of writing.
    pub air: FileStyle,
    /// Whether the meter counts what is taken out as negative.
    pub negative: bool,
    /// Whether temperatures are in degF.
    pub fahrenheit: bool,
    /// Chance that a row is spoilt in some way.
    pub spoilt: f64,
    /// Whether loggers go on between runs.
    pub continuous: bool,
    /// Whether the meter's log is cut into files.
    pub pieces: usize,
    /// Whether `bench.toml` tells what the air logger's clock is behind.
    pub told: bool,
    /// Where the current stands in a log of its own: what that clock is behind, s; always told.
    pub split_meter_s: Option<f64>,
}

/// How one file is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FileStyle {
    /// Between cells.
    pub delimiter: char,
    /// Whether numbers have a decimal comma.
    pub comma: bool,
    /// Whether a row of units follows the headings.
    pub unit_row: bool,
    /// Encoding.
    pub encoding: Encoding,
    /// Line ends.
    pub crlf: bool,
    /// Lines before the headings.
    pub preamble: usize,
    /// How times are written.
    pub time: TimeStyle,
    /// Zone of the wall clock.
    pub zone: &'static str,
}

/// Encodings made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8.
    Utf8,
    /// UTF-8 with a byte-order mark.
    Utf8Mark,
    /// Latin-1, with a degree sign in the headings.
    Latin1,
    /// UTF-16, low byte first, with a byte-order mark.
    Utf16,
}

/// Ways of writing times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeStyle {
    /// `2026-08-25 09:00:02`
    Plain,
    /// `25.08.2026 09:00:02`
    Dotted,
    /// `08/25/2026 09:00:02 AM`
    HalfDays,
    /// `2026-08-25T09:00:02+02:00`
    Iso,
    /// Seconds since 1970.
    Unix,
    /// Milliseconds since 1970.
    UnixMs,
    /// Date and time in two columns.
    TwoColumns,
    /// Seconds since the first run.
    Elapsed,
}

impl Style {
    fn random_file(dice: &mut Dice) -> FileStyle {
        let comma = dice.chance(0.25);
        let delimiter = if comma {
            [';', '\t'][dice.whole(0, 1)]
        } else {
            [',', ',', ';', '\t', '|'][dice.whole(0, 4)]
        };
        use TimeStyle as T;
        FileStyle {
            delimiter,
            comma,
            unit_row: dice.chance(0.3),
            encoding: [
                Encoding::Utf8,
                Encoding::Utf8,
                Encoding::Utf8Mark,
                Encoding::Latin1,
                Encoding::Utf16,
            ][dice.whole(0, 4)],
            crlf: dice.chance(0.4),
            preamble: if dice.chance(0.3) {
                dice.whole(1, 20)
            } else {
                0
            },
            time: [
                T::Plain,
                T::Plain,
                T::Dotted,
                T::HalfDays,
                T::Iso,
                T::Unix,
                T::UnixMs,
                T::TwoColumns,
                T::Elapsed,
            ][dice.whole(0, 8)],
            zone: [
                "Europe/Amsterdam",
                "America/New_York",
                "UTC",
                "+05:30",
                "Australia/Adelaide",
            ][dice.whole(0, 4)],
        }
    }

    /// A style drawn from dice.
    pub fn random(dice: &mut Dice) -> Self {
        // Some benches run through the end of summer time in Amsterdam (2026-10-25 01:00 UTC) or its start.
        let first_start = match dice.whole(0, 9) {
            0 => 1_792_882_800.0,
            1 => 1_774_738_800.0,
            _ => 1_780_000_000.0 + 3600.0 * dice.whole(0, 4000) as f64,
        };
        let meter_s = [0.5, 1.0, 1.0, 2.0, 5.0, 10.0, 30.0][dice.whole(0, 6)];
        let air_s = [5.0, 10.0, 30.0, 60.0, 60.0][dice.whole(0, 4)];
        Style {
            first_start,
            meter_s,
            air_s,
            delays: dice.chance(0.5),
            draw_noise: (dice.between(0.001, 0.012), dice.between(1.0, 15.0)),
            temp_noise: (dice.between(0.02, 0.12), dice.between(5.0, 90.0)),
            room_wander_k: dice.between(0.02, 0.08),
            supply_v: [12.8, 25.6, 51.2][dice.whole(0, 2)],
            behind_s: if dice.chance(0.5) {
                dice.whole(10, 90) as f64
            } else {
                0.0
            },
            meter: Self::random_file(dice),
            air: Self::random_file(dice),
            negative: dice.chance(0.4),
            fahrenheit: dice.chance(0.4),
            spoilt: if dice.chance(0.5) { 0.002 } else { 0.0 },
            continuous: dice.chance(0.5),
            pieces: if dice.chance(0.3) {
                dice.whole(2, 12)
            } else {
                1
            },
            told: true,
            split_meter_s: None,
        }
    }
}
