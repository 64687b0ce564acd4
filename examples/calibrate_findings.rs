//! How often what is said of capacity, of makers' figures and of two units is right, over made benches whose truth is known.
//!
//! `cargo run --release --example calibrate_findings -- --benches 20`
//!
//! Draw is `calibrate`'s matter; here stand the long-run capacity and EER, the findings of `claims` for figures stated a known way off the
//! truth, and the pairs of `compare`.

use std::collections::BTreeMap;

use clap::Parser;
use steadydraw::air::MoistAir;
use steadydraw::bench::Bench;
use steadydraw::findings::{
    CompareOptions, Compared, Comparison, Finding, Fits, Pair, Same, compare, hold_claims,
};
use steadydraw::fit::candidates::{DrawFit, fit_draw};
use steadydraw::fit::forms::{At, CapacityData, CapacityKind, DrawData};
use steadydraw::made::bench::{Kind, Options, design, make};
use steadydraw::made::drawn::Design;
use steadydraw::made::model::Steady;
use steadydraw::made::truth::{Target, Truth};
use steadydraw::predict::{Eer, predict, predict_capacity};

#[derive(Parser)]
struct Args {
    /// Made benches of each kind.
    #[arg(long, default_value_t = 20)]
    benches: u64,
    /// First seed.
    #[arg(long, default_value_t = 0)]
    seed: u64,
    /// Only kinds whose name contains this.
    #[arg(long, default_value = "")]
    kind: String,
    /// Fail where a promise is broken.
    #[arg(long)]
    gate: bool,
}

type Failure = Box<dyn std::error::Error>;

/// How far a stated figure lies from the truth, as a share of it.
const OFF: [f64; 10] = [
    -0.20, -0.08, -0.03, -0.01, -0.003, 0.003, 0.01, 0.03, 0.08, 0.20,
];

/// A share of so many.
#[derive(Default, Clone, Copy)]
struct Count {
    yes: usize,
    of: usize,
}

impl Count {
    fn put(&mut self, yes: bool) {
        self.yes += usize::from(yes);
        self.of += 1;
    }

    fn percent(&self) -> f64 {
        100.0 * self.yes as f64 / self.of as f64
    }

    /// Whether the share, in %, lies so far below `least` that so many benches' luck does not account for it: figures of one bench share
    /// theirs, so a bench counts once.
    fn falls_short(&self, least: f64, benches: usize) -> bool {
        let p = least / 100.0;
        let luck = 200.0 * (p * (1.0 - p) / benches.max(1) as f64).sqrt();
        self.percent() + luck < least
    }
}

/// One bench, fitted, with its truth.
struct Judged {
    seed: u64,
    bench: Bench,
    toml: String,
    table: String,
    truth: Truth,
    design: Design,
    draw: DrawFit,
    capacity: Option<(CapacityKind, DrawFit)>,
}

impl Judged {
    fn make(kind: Kind, seed: u64) -> Result<Self, Failure> {
        let made = make(kind, seed, &Options::default());
        let bench = Bench::from_texts(&made.toml, &made.points_csv)?;
        let data = DrawData::from_bench(&bench);
        let capacity = CapacityData::from_bench(&bench, &data)
            .ok()
            .and_then(|c| Some((c.kind, fit_draw(c.data).ok()?)));
        Ok(Self {
            seed,
            toml: made.toml,
            table: made.points_csv,
            truth: made.truth,
            design: design(kind, seed),
            draw: fit_draw(data)?,
            capacity,
            bench,
        })
    }

    fn at(&self, target: &Target) -> Option<At> {
        let data = &self.draw.data;
        let mode = data.modes.iter().position(|m| *m == target.mode)?;
        let fan = target.fan.to_string();
        let level = data.levels.iter().position(|l| l.label == fan)?;
        Some(At::new(mode, level, target.intake_c, target.ambient_c))
    }

    /// The true state of a setting at any conditions.
    fn state(&self, mode: &str, fan: &str, intake_c: f64, ambient_c: f64) -> Option<Steady> {
        let machine = &self.design.machine;
        let mode = machine.modes.iter().find(|m| m.name == mode)?;
        let level = fan.parse::<usize>().ok()?.checked_sub(1)?;
        let at = self.design.at(intake_c, ambient_c);
        Some(machine.steady(&mode.control, level, &at))
    }
}

fn true_capacity(kind: CapacityKind, total_w: f64, sensible_w: f64) -> f64 {
    match kind {
        CapacityKind::Total => total_w,
        CapacityKind::Sensible => sensible_w,
    }
}

/// Capacities and EER: by kind of capacity and place, held by the 95 % interval of the long-run mean.
#[derive(Default)]
struct Air {
    held: BTreeMap<(&'static str, String), [Count; 2]>,
    benches: BTreeMap<&'static str, usize>,
}

impl Air {
    fn judge(&mut self, j: &Judged) {
        let Some((kind, fit)) = &j.capacity else {
            return;
        };
        let name = match kind {
            CapacityKind::Total => "total",
            CapacityKind::Sensible => "sensible",
        };
        *self.benches.entry(name).or_default() += 1;
        for target in &j.truth.targets {
            let Some(at) = j.at(target) else { continue };
            let (Some(draw), Some(c)) = (
                predict(&j.bench, &j.draw, at, 0.95),
                predict_capacity(&j.bench, fit, at, 0.95),
            ) else {
                continue;
            };
            let truth = true_capacity(*kind, target.capacity_w, target.sensible_w);
            let entry = self.held.entry((name, target.place.clone()));
            let counts = entry.or_default();
            let holds = |(low, high): (f64, f64), v: f64| low <= v && v <= high;
            counts[0].put(holds(c.mean_w, truth));
            if let Some(e) = Eer::of(&draw, &c) {
                counts[1].put(holds(e.mean, truth / target.mean_w));
            }
        }
    }
}

/// What was found of the claims stated so far off the truth.
#[derive(Default, Clone, Copy)]
struct Said {
    right: usize,
    open: usize,
    wrong: usize,
}

/// Claims: by figure and distance of the stated figure from the truth.
#[derive(Default)]
struct Claims {
    said: BTreeMap<(&'static str, usize), Said>,
}

impl Claims {
    fn judge(&mut self, j: &Judged) -> Result<(), Failure> {
        let fits = Fits {
            draw: Ok(&j.draw),
            capacity: match &j.capacity {
                Some((kind, fit)) => Ok((*kind, fit)),
                None => Err("no capacity".to_owned()),
            },
            budgets: None,
        };
        let inside = j.truth.targets.iter().filter(|t| t.place == "inside");
        // Neighbouring settings share the bench's luck: one in three is enough.
        for (target, i) in inside.step_by(3).zip((0..OFF.len()).cycle()) {
            let at = self.stated_at(j, target)?;
            for off in [i, OFF.len() - 1 - i] {
                let Some(share) = OFF.get(off) else { continue };
                let figures = [
                    ("draw_high", target.mean_w, share >= &0.0),
                    ("cooling", target.capacity_w, share <= &0.0),
                ];
                let lines: String = figures
                    .iter()
                    .map(|(name, truth, _)| {
                        let stated = truth * (1.0 + share);
                        format!("{name} = {{ value = \"{stated:.4} W\", {at} }}\n")
                    })
                    .collect();
                let toml = format!("{}\n[unit.claims]\n{lines}", j.toml);
                let bench = Bench::from_texts(&toml, &j.table)?;
                for held in hold_claims(&bench, &fits, 0.95) {
                    let Some((name, _, keeps)) = figures.iter().find(|f| f.0 == held.name) else {
                        continue;
                    };
                    let said = self.said.entry((name, off)).or_default();
                    match held.finding {
                        Finding::CannotTell => said.open += 1,
                        Finding::Holds if *keeps => said.right += 1,
                        Finding::Fails if !*keeps => said.right += 1,
                        finding => {
                            said.wrong += 1;
                            let (kind, finding) = (&j.truth.kind, finding.words());
                            let percent = 100.0 * share;
                            println!(
                                "WRONG FINDING {kind} seed {}: {name}, {percent} % off: {finding}; {}",
                                j.seed, held.reason
                            );
                        }
                    }
                }
            }
        }
        Ok(())
    }

    /// The conditions, as a maker would state them.
    fn stated_at(&self, j: &Judged, target: &Target) -> Result<String, Failure> {
        let air = MoistAir::from_humidity_ratio(
            target.intake_c,
            j.design.intake_w,
            j.design.pressure_pa,
        )?;
        Ok(format!(
            "intake = \"{} degC\", intake_wet_bulb = \"{:.2} degC\", ambient = \"{} degC\", mode = \"{}\", fan = {}",
            target.intake_c,
            air.wet_bulb_c(),
            target.ambient_c,
            target.mode,
            target.fan
        ))
    }
}

/// Pairs of units: by figure, ratios held and findings.
#[derive(Default)]
struct Pairs {
    held: BTreeMap<&'static str, Count>,
    said: BTreeMap<&'static str, Said>,
    judged: usize,
    refused: usize,
}

const MARGIN: f64 = 0.05;

impl Pairs {
    fn judge(&mut self, a: &Judged, b: &Judged) {
        let compared = [a, b].map(|j| Compared {
            name: String::new(),
            bench: &j.bench,
            draw: &j.draw,
            capacity: j.capacity.as_ref().map(|(k, f)| (*k, f)),
        });
        // Every made bench has errors of its own, however its meters are called.
        let options = CompareOptions {
            intake_c: None,
            ambient_c: None,
            margin: MARGIN,
            level: 0.95,
            shared: false,
        };
        let Ok(c) = compare(&compared, &options) else {
            self.refused += 1;
            return;
        };
        self.judged += 1;
        for pair in &c.pairs {
            let Some(ratio) = true_ratio(a, b, &c, pair) else {
                continue;
            };
            let (low, high) = pair.ratio_interval;
            let held = self.held.entry(pair.figure).or_default();
            let holds = low <= ratio && ratio <= high;
            held.put(holds);
            if !holds {
                let (x, y) = (&a.truth.kind, &b.truth.kind);
                let figure = pair.figure;
                println!(
                    "MISSED {x} and {y}, seed {}: {figure} ratio {ratio:.4}, {low:.4} to {high:.4}",
                    a.seed
                );
            }
            let same = ratio.ln().abs() <= MARGIN.ln_1p();
            let said = self.said.entry(pair.figure).or_default();
            match pair.finding {
                Same::Open => said.open += 1,
                Same::Same if same => said.right += 1,
                Same::Differ if !same => said.right += 1,
                _ => said.wrong += 1,
            }
        }
    }
}

fn true_ratio(a: &Judged, b: &Judged, c: &Comparison, pair: &Pair) -> Option<f64> {
    let figure = |j: &Judged, (unit, setting): (usize, usize)| {
        let s = c.units.get(unit)?.settings.get(setting)?;
        let state = j.state(&s.mode, &s.fan, c.intake_c, c.ambient_c)?;
        let capacity = |kind| true_capacity(kind, state.capacity_w(), state.sensible_w);
        match pair.figure {
            "draw_w" => Some(state.draw_w),
            "capacity_w" => Some(capacity(j.capacity.as_ref()?.0)),
            _ => Some(capacity(j.capacity.as_ref()?.0) / state.draw_w),
        }
    };
    Some(figure(b, pair.b)? / figure(a, pair.a)?)
}

fn main() -> Result<(), Failure> {
    let args = Args::parse();
    let (mut air, mut claims, mut pairs) = (Air::default(), Claims::default(), Pairs::default());
    for seed in args.seed..args.seed + args.benches {
        let mut previous: Option<Judged> = None;
        for kind in Kind::ALL
            .into_iter()
            .filter(|k| k.name().contains(&args.kind))
        {
            let judged = Judged::make(kind, seed)?;
            air.judge(&judged);
            claims.judge(&judged)?;
            if let Some(previous) = &previous {
                pairs.judge(previous, &judged);
            }
            previous = Some(judged);
        }
    }
    let mut broken = Vec::new();
    println!("Long-run capacity and EER: shares held by 95 % intervals, in %.");
    println!(
        "{:<10} {:<8} {:>6} {:>9} {:>6}",
        "capacity", "where", "n", "capacity", "EER"
    );
    for ((kind, place), [c, e]) in &air.held {
        let benches = air.benches.get(kind).copied().unwrap_or(0);
        println!(
            "{kind:<10} {place:<8} {:>6} {:>9.1} {:>6.1}",
            c.of,
            c.percent(),
            e.percent()
        );
        let least = if place == "inside" { 93.0 } else { 90.0 };
        for (what, share) in [("capacities", c), ("EER", e)] {
            if share.falls_short(least, benches) {
                let held = share.percent();
                broken.push(format!("{kind} {place}: {held:.1} % of {what} held"));
            }
        }
    }
    println!(
        "\nMakers' figures stated so far off the truth, at conditions inside the tests. Wrong: `holds` of a figure that is missed, or `fails` of one that is kept."
    );
    println!(
        "{:<10} {:>8} {:>6} {:>6} {:>6}",
        "figure", "off, %", "right", "open", "wrong"
    );
    let (mut all, mut wrong) = (0, 0);
    for ((name, off), s) in &claims.said {
        let share = 100.0 * OFF.get(*off).copied().unwrap_or(f64::NAN);
        println!(
            "{name:<10} {share:>8} {:>6} {:>6} {:>6}",
            s.right, s.open, s.wrong
        );
        all += s.right + s.open + s.wrong;
        wrong += s.wrong;
        let of = s.right + s.open + s.wrong;
        // One tail of a 95 % interval, and twice its standard error.
        let most = 0.025 * of as f64 + 2.0 * (0.025 * 0.975 * of as f64).sqrt() + 1.0;
        if s.wrong as f64 > most {
            broken.push(format!(
                "{name} stated {share} % off: {} of {of} wrong",
                s.wrong
            ));
        }
    }
    println!("{wrong} of {all} wrong.");
    println!(
        "\nTwo units, margin {} %: ratios held by 95 % intervals, and findings.",
        100.0 * MARGIN
    );
    println!(
        "{:<12} {:>6} {:>7} {:>6} {:>6} {:>6}",
        "figure", "n", "held, %", "right", "open", "wrong"
    );
    for (figure, held) in &pairs.held {
        let s = pairs.said.get(figure).copied().unwrap_or_default();
        let (n, share) = (held.of, held.percent());
        println!(
            "{figure:<12} {n:>6} {share:>7.1} {:>6} {:>6} {:>6}",
            s.right, s.open, s.wrong
        );
        // Couples of neighbours: nearly as many as benches.
        if held.falls_short(93.0, pairs.judged) {
            broken.push(format!("{figure}: {share:.1} % of ratios held"));
        }
        if s.wrong as f64 > 0.01 * n as f64 {
            broken.push(format!("{figure}: {} of {n} findings wrong", s.wrong));
        }
    }
    println!("{} couples without conditions in common.", pairs.refused);
    for line in &broken {
        println!("PROMISE BROKEN: {line}");
    }
    if args.gate && !broken.is_empty() {
        return Err("the findings do not keep their promises".into());
    }
    Ok(())
}
