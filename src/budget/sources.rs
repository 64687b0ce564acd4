//! What a setting's figures lean on, beside the scatter between runs.

use crate::air::traverse::profile_error;
use crate::bench::{Bench, Channel, CrossSection, FlowFrom, Instrument, Kind, Point, PressureFrom};
use crate::fit::forms::DrawData;
use crate::quantity::Dimension;

use super::readings::Readings;

/// What an uncertainty comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cause {
    /// An instrument, in all that it reads of one kind.
    Instrument {
        /// Index into the bench's instruments.
        index: usize,
        /// The kind.
        dimension: Dimension,
    },
    /// The scatter of the airflow's readings about the fan level's mean.
    FlowScatter {
        /// Index into [`DrawData::levels`].
        level: usize,
    },
    /// The scatter between repeated traverses of a fan level.
    TraverseRepeats {
        /// Index into [`DrawData::levels`].
        level: usize,
    },
    /// The traverse's rule: points are not the whole area.
    TraverseRule,
    /// The duct's measures.
    DuctSize,
    /// The factor from a probe's reading to the mean over the duct.
    ReadingToMean,
    /// Where the airflow was measured, which settles the density that makes it a mass flow.
    FlowPlace,
    /// The weather, where the pressure was taken from the altitude.
    Weather,
    /// The humidity, where none was read.
    AssumedHumidity,
    /// The runs' own uncertainty of a channel (`u_NAME`), where no scatter between runs is known.
    WithinRuns(Channel),
}

/// Which runs have the same error.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scope {
    /// All runs of the bench.
    Shared,
    /// All runs at one fan level.
    Level,
    /// Each run has its own; the mean over the runs is meant.
    Fresh,
}

/// A source of uncertainty and what one standard uncertainty of it moves.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// What it is.
    pub cause: Cause,
    /// Its name, for tables.
    pub name: String,
    /// What it does there, in words.
    pub acts: String,
    /// Which runs share it.
    pub scope: Scope,
    /// Degrees of freedom; infinite where the uncertainty is taken as known.
    pub dof: f64,
    /// Whether all values within limits are alike; otherwise normal, or t with `dof`.
    pub rectangular: bool,
    /// The readings that it moves, each by its standard uncertainty in base units.
    pub moves: Vec<(Channel, f64)>,
}

/// Weather's share of the air pressure where only the altitude is known, relative, as limits that hold 95 % of days.
/// Common practice, no source.
const WEATHER_LIMIT: f64 = 0.03;

/// Everything that is known of one setting's readings.
pub(super) struct Sought<'a> {
    pub bench: &'a Bench,
    pub data: &'a DrawData,
    pub level: usize,
    pub points: &'a [&'a Point],
    pub readings: &'a Readings,
    /// Whether the scatter between runs is known, so that what is fresh in each stands in it already.
    pub scatter_known: bool,
}

impl Sought<'_> {
    /// All sources.
    pub fn all(&self) -> Vec<Source> {
        let mut list = Vec::new();
        for (index, instrument) in self.bench.instruments.iter().enumerate() {
            let mut kinds: Vec<Dimension> = Vec::new();
            for c in &instrument.measures {
                if !kinds.contains(&c.dimension()) {
                    kinds.push(c.dimension());
                }
            }
            for kind in kinds {
                list.extend(self.instrument(index, instrument, kind));
            }
        }
        list.extend(self.flow());
        if !self.scatter_known {
            list.extend(Channel::ALL.into_iter().filter_map(|c| self.within(c)));
        }
        if self.bench.pressure_from == PressureFrom::Altitude
            && self
                .points
                .iter()
                .all(|p| p.get(Channel::Pressure).is_none())
        {
            let u = WEATHER_LIMIT / 1.959_963_984_540_054 * self.bench.pressure_pa;
            list.push(shared(
                Cause::Weather,
                "weather",
                "air density: pressure from altitude".to_owned(),
                vec![(Channel::Pressure, u)],
            ));
        }
        if self.readings.humidity_assumed {
            list.push(Source {
                rectangular: true,
                ..shared(
                    Cause::AssumedHumidity,
                    "humidity not read",
                    "air density: dry to saturated".to_owned(),
                    vec![(Channel::IntakeRh, 0.5 / 3f64.sqrt())],
                )
            });
        }
        list.retain(|s| s.moves.iter().any(|m| m.1 > 0.0));
        list
    }

    fn flow_from(&self) -> Option<FlowFrom> {
        self.points.first().and_then(|p| p.flow_from)
    }

    /// The fan level's mean air speed, m/s.
    fn speed(&self) -> Option<f64> {
        let level = self.label();
        match self.flow_from()? {
            FlowFrom::Traverse => Some(self.bench.duct.traverse.as_ref()?.level(level)?.mean_m_s()),
            FlowFrom::AirSpeed => {
                let all = self.level_points().filter_map(|p| p.get(Channel::AirSpeed));
                let (sum, n) = all.fold((0.0, 0.0), |(s, n), v| (s + v, n + 1.0));
                (n > 0.0).then(|| sum / n)
            }
            FlowFrom::Read | FlowFrom::Stated => None,
        }
    }

    fn label(&self) -> &str {
        let level = self.data.levels.get(self.level);
        level.map_or("", |l| l.label.as_str())
    }

    fn level_points(&self) -> impl Iterator<Item = &Point> {
        let level = self.label();
        let at = move |p: &&Point| p.fan == level && p.kind != Kind::Standby;
        self.bench.points.iter().filter(at)
    }

    /// What one standard uncertainty of a channel's reading moves.
    fn moves(&self, channel: Channel, u_at: &dyn Fn(f64) -> f64) -> Option<(Channel, f64)> {
        let power = self.readings.get(Channel::Power)?;
        match channel {
            Channel::AirSpeed => {
                let (v, flow) = (self.speed()?, self.readings.get(Channel::Airflow)?);
                Some((Channel::Airflow, flow * u_at(v) / v))
            }
            Channel::Airflow => {
                let flow = self.readings.get(Channel::Airflow)?;
                let own = matches!(self.flow_from(), Some(FlowFrom::Read | FlowFrom::Stated));
                own.then(|| (Channel::Airflow, u_at(flow)))
            }
            Channel::Power => self
                .bench
                .power_metered()
                .then(|| (Channel::Power, u_at(power))),
            Channel::Voltage | Channel::Current => {
                let v = self.readings.get(channel)?;
                (!self.bench.power_metered() && v > 0.0)
                    .then(|| (Channel::Power, power * u_at(v) / v))
            }
            // Conditions, not part of any figure.
            Channel::AmbientTemp => None,
            _ => {
                let v = self.readings.get(channel)?;
                Some((channel, u_at(v)))
            }
        }
    }

    fn instrument(&self, index: usize, instrument: &Instrument, kind: Dimension) -> Option<Source> {
        let read: Vec<Channel> = instrument
            .measures
            .iter()
            .copied()
            .filter(|c| c.dimension() == kind)
            .collect();
        let mut moves: Vec<(Channel, f64)> = read
            .iter()
            .filter_map(|c| self.moves(*c, &|v| instrument.standard_u(v)))
            .collect();
        if moves.is_empty() {
            return None;
        }
        let flow = moves.iter().any(|m| m.0 == Channel::Airflow);
        let scope = if instrument.shared {
            Scope::Shared
        } else if flow {
            // The level's mean airflow is used, and its scatter is counted by itself where it is known.
            if flow_scatter(self.bench, self.data).is_some() && self.scattered_flow() {
                return None;
            }
            let n = self
                .level_points()
                .filter(|p| p.airflow_m3h().is_some())
                .count();
            average(&mut moves, n);
            Scope::Level
        } else if self.scatter_known {
            return None;
        } else {
            average(&mut moves, self.points.len());
            Scope::Fresh
        };
        Some(Source {
            cause: Cause::Instrument {
                index,
                dimension: kind,
            },
            name: instrument.name.clone(),
            acts: acts(&moves),
            scope,
            dof: f64::INFINITY,
            rectangular: false,
            moves,
        })
    }

    /// Whether the runs carry flows (or speeds) of their own, so that these can scatter.
    fn scattered_flow(&self) -> bool {
        matches!(self.flow_from(), Some(FlowFrom::Read | FlowFrom::AirSpeed))
    }

    /// What makes the airflow uncertain, beside its instrument.
    fn flow(&self) -> Vec<Source> {
        let mut list = Vec::new();
        let (Some(flow), Some(from)) = (self.readings.get(Channel::Airflow), self.flow_from())
        else {
            return list;
        };
        let relative = |u: f64| vec![(Channel::Airflow, flow * u)];
        let level = self.level;
        if let (true, Some((sd, dof))) =
            (self.scattered_flow(), flow_scatter(self.bench, self.data))
        {
            let n = self
                .level_points()
                .filter(|p| p.airflow_m3h().is_some())
                .count();
            list.push(Source {
                scope: Scope::Level,
                dof,
                ..shared(
                    Cause::FlowScatter { level },
                    "airflow readings",
                    format!("airflow: mean of {n}"),
                    relative(sd / (n.max(1) as f64).sqrt()),
                )
            });
        }
        if let (None, Some(warm), Some(cold)) = (
            self.bench.duct.at,
            self.readings.get(Channel::IntakeTemp),
            self.readings.get(Channel::OutletTemp),
        ) {
            // The middle is taken: either place lies half the difference of the densities away.
            let half = (warm - cold) / (warm + cold + 2.0 * 273.15);
            list.push(Source {
                rectangular: true,
                ..shared(
                    Cause::FlowPlace,
                    "place of the airflow",
                    "mass flow: [duct] at = … not stated".to_owned(),
                    relative(half.abs() / 3f64.sqrt()),
                )
            });
        }
        if !matches!(from, FlowFrom::Traverse | FlowFrom::AirSpeed) {
            return list;
        }
        let duct = &self.bench.duct;
        if let Some(section) = duct.section {
            let sides = match section {
                CrossSection::Round { .. } => "airflow, twice over",
                CrossSection::Rectangular { .. } => "airflow, by both sides",
            };
            list.push(shared(
                Cause::DuctSize,
                "duct size",
                sides.to_owned(),
                relative(section.relative_u(duct.u_size_m)),
            ));
        }
        match (from, &duct.traverse) {
            (FlowFrom::AirSpeed, _) => list.push(shared(
                Cause::ReadingToMean,
                "factor from reading to mean",
                "airflow".to_owned(),
                relative(duct.u_reading_to_mean / duct.reading_to_mean),
            )),
            (_, Some(traverse)) => {
                let Some(t) = traverse.level(self.label()) else {
                    return list;
                };
                if let Some((u, dof)) = t.repeat_u_m_s() {
                    list.push(Source {
                        scope: Scope::Level,
                        dof,
                        ..shared(
                            Cause::TraverseRepeats { level },
                            "repeated traverses",
                            format!("airflow: {} passes", t.passes_m_s.len()),
                            relative(u / t.mean_m_s()),
                        )
                    });
                }
                let round = duct.section.is_some_and(|s| s.is_round());
                if let Ok(limit) = profile_error(traverse.rule, round, t.lines, t.points) {
                    list.push(Source {
                        rectangular: true,
                        ..shared(
                            Cause::TraverseRule,
                            "traverse rule",
                            format!("airflow: within {:.1} %", 100.0 * limit),
                            relative(limit / 3f64.sqrt()),
                        )
                    });
                }
            }
            _ => {}
        }
        list
    }

    /// The runs' own uncertainty of a channel's mean.
    fn within(&self, channel: Channel) -> Option<Source> {
        let squares: Vec<f64> = self
            .points
            .iter()
            .filter_map(|p| p.own_u(channel))
            .map(|u| u * u)
            .collect();
        if squares.is_empty() {
            return None;
        }
        let u = (squares.iter().sum::<f64>() / squares.len() as f64).sqrt();
        let mut moves = vec![self.moves(channel, &|_| u)?];
        average(&mut moves, self.points.len());
        Some(Source {
            cause: Cause::WithinRuns(channel),
            name: format!("{} within runs", channel.name().replace('_', " ")),
            acts: acts(&moves),
            scope: Scope::Fresh,
            dof: f64::INFINITY,
            rectangular: false,
            moves,
        })
    }
}

/// Divides by the root of a number of independent readings.
fn average(moves: &mut [(Channel, f64)], readings: usize) {
    for (_, u) in moves {
        *u /= (readings.max(1) as f64).sqrt();
    }
}

fn shared(cause: Cause, name: &str, acts: String, moves: Vec<(Channel, f64)>) -> Source {
    Source {
        cause,
        name: name.to_owned(),
        acts,
        scope: Scope::Shared,
        dof: f64::INFINITY,
        rectangular: false,
        moves,
    }
}

/// What an instrument's error moves, in words.
fn acts(moves: &[(Channel, f64)]) -> String {
    let moved = |c: Channel| moves.iter().any(|m| m.0 == c);
    let words = match (
        moved(Channel::IntakeTemp),
        moved(Channel::OutletTemp),
        moved(Channel::IntakeRh),
        moved(Channel::OutletRh),
    ) {
        (true, true, _, _) => "intake and outlet alike: cancels in the temperature drop",
        (true, false, _, _) => "intake temperature: does not cancel in the drop",
        (false, true, _, _) => "outlet temperature: does not cancel in the drop",
        (_, _, true, true) => "intake and outlet humidity alike: partly cancels",
        (_, _, true, false) => "intake humidity",
        (_, _, false, true) => "outlet humidity",
        _ if moved(Channel::Power) => "draw",
        _ if moved(Channel::Airflow) => "airflow",
        _ if moved(Channel::Pressure) => "air density",
        _ => "condensate",
    };
    words.to_owned()
}

/// Relative standard deviation of an airflow reading about its fan level's mean, pooled over the levels, and its degrees of freedom;
/// none where no level has two readings.
fn flow_scatter(bench: &Bench, data: &DrawData) -> Option<(f64, f64)> {
    let (mut squares, mut dof) = (0.0, 0.0);
    for level in &data.levels {
        let logs: Vec<f64> = bench
            .points
            .iter()
            .filter(|p| p.fan == level.label && p.kind != Kind::Standby)
            .filter(|p| matches!(p.flow_from, Some(FlowFrom::Read | FlowFrom::AirSpeed)))
            .filter_map(|p| p.airflow_m3h().map(f64::ln))
            .collect();
        if logs.len() < 2 {
            continue;
        }
        let mean = logs.iter().sum::<f64>() / logs.len() as f64;
        squares += logs.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
        dof += logs.len() as f64 - 1.0;
    }
    (dof > 0.0).then(|| ((squares / dof).sqrt(), dof))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What `ask` finds of a bench with a duct of 160 mm and an anemometer good to 0.06 m/s.
    fn sought<T>(heading: &str, rows: &str, ask: impl Fn(&Sought<'_>) -> T) -> T {
        let toml = "[points]\nfile = \"points.csv\"\n[duct]\nat = \"outlet\"\ndiameter = \"160 mm\"\nreading_to_mean = 0.82\n\
            [[instrument]]\nname = \"anemometer\"\nmeasures = [\"air_speed\"]\naccuracy = \"0.06 m/s\"\nas = \"standard\"\n";
        let text = format!(
            "run,fan,intake_temp [degC],outlet_temp [degC],air_speed [m/s],power [W]{heading}\n{rows}"
        );
        let bench = Bench::from_texts(toml, &text).unwrap();
        let data = DrawData::from_bench(&bench);
        let points: Vec<&Point> = bench.points.iter().collect();
        let readings = Readings::mean(&bench, &points, data.levels[0].flow, false);
        ask(&Sought {
            bench: &bench,
            data: &data,
            level: 0,
            points: &points,
            readings: &readings,
            scatter_known: false,
        })
    }

    #[test]
    fn an_error_of_the_speed_moves_the_airflow_by_its_share_of_the_mean_speed() {
        // The level's flow is the geometric mean of the runs': (2.0 × 2.4 × 2.8)^⅓ = 2.377569 m/s in a circle of 160 mm, times 0.82:
        // 2.377569 × 0.82 × π/4 × 0.16² × 3600 = 141.1170 m3/h. 0.06 of the mean 2.4 m/s is 2.5 % of it, 3.52792 m3/h.
        let rows = "a,1,27,15,2.0,300\nb,1,27,15,2.4,300\nc,1,27,15,2.8,300\n";
        let moves = sought("", rows, |s| {
            let all = s.all();
            all.into_iter()
                .find(|x| x.name == "anemometer")
                .unwrap()
                .moves
        });
        assert_eq!((moves.len(), moves[0].0), (1, Channel::Airflow));
        assert!((moves[0].1 / 3.527_925 - 1.0).abs() < 1e-6, "{moves:?}");
    }

    #[test]
    fn the_runs_own_uncertainties_are_averaged_by_their_squares() {
        // 3 and 4 W: each run has √(½ (9 + 16)) W, the mean of the two √½ of that: 2.5 W.
        let rows = "a,1,27,15,2.4,300,3\nb,1,27,15,2.4,300,4\n";
        let source = sought(",u_power [W]", rows, |s| s.within(Channel::Power)).unwrap();
        assert_eq!((source.moves.len(), source.moves[0].0), (1, Channel::Power));
        assert!((source.moves[0].1 - 2.5).abs() < 1e-12);
    }
}
