//! Reduces made log benches whose answer is known, and counts how often each kind of run is named rightly and its means hold.
//!
//! `cargo run --release --example reduce_made -- --benches 60 --seed 1`

use std::collections::BTreeMap;

use clap::Parser;
use steadydraw::bench::Channel;
use steadydraw::bench::logs::LogBench;
use steadydraw::made::logs::{RunKind, make};
use steadydraw::steady::reduce;

#[derive(Parser)]
struct Args {
    /// Benches of six runs each
    #[arg(long, default_value_t = 60)]
    benches: u64,
    /// First seed
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Print every run that is named wrongly or whose mean is off
    #[arg(long)]
    show: bool,
    /// Keep the made benches in this folder
    #[arg(long)]
    keep: Option<std::path::PathBuf>,
}

#[derive(Default)]
struct Tally {
    runs: usize,
    named: BTreeMap<&'static str, usize>,
    draw_off: Vec<f64>,
    draw_z: Vec<f64>,
    toward_start: Vec<f64>,
    temp_off: Vec<f64>,
    temp_z: Vec<f64>,
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args = Args::parse();
    let mut tallies: Vec<(RunKind, Tally)> = RunKind::ALL
        .into_iter()
        .map(|k| (k, Tally::default()))
        .collect();
    for seed in args.seed..args.seed + args.benches {
        let made = make(seed);
        let temporary = tempfile::tempdir()?;
        let folder = match &args.keep {
            Some(keep) => keep.join(format!("{seed:04}")),
            None => temporary.path().to_owned(),
        };
        made.write_to(&folder)?;
        let bench = match LogBench::open(&folder).and_then(|b| reduce(&b).map(|r| (b, r))) {
            Ok((_, r)) => r,
            Err(e) => {
                println!("seed {seed}: REFUSED {e}\n{:?}", made.style);
                continue;
            }
        };
        for (run, truth) in bench.runs.iter().zip(&made.runs) {
            let Some((_, tally)) = tallies.iter_mut().find(|(k, _)| *k == truth.kind) else {
                continue;
            };
            tally.runs += 1;
            let j = &run.judged;
            *tally.named.entry(j.status.name()).or_default() += 1;
            let mut wrong = j.status.name() != truth.kind.status();
            let mut words = String::new();
            if let Some(p) = j.plateau.as_ref().filter(|_| !wrong) {
                let draw = p.values[&Channel::Power];
                let off = draw.value / truth.power_w - 1.0;
                tally.draw_off.push(off);
                if let Some(u) = draw.u {
                    let way = (1.0 - truth.plan.start_share).signum();
                    tally
                        .toward_start
                        .push(-way * (draw.value - truth.power_w) / u);
                    tally.draw_z.push((draw.value - truth.power_w) / u);
                }
                words.push_str(&format!(" draw {:+.2} %", 100.0 * off));
                // A cycling run's mean has its own duty, which truth knows only on average.
                let known = truth.kind != RunKind::Cycling || truth.plan.cycle.2 == 0.0;
                wrong |= known && off.abs() > 0.01;
                if !known {
                    tally.draw_off.pop();
                    tally.draw_z.pop();
                }
                for (c, t) in [
                    (Channel::IntakeTemp, truth.intake_c),
                    (Channel::OutletTemp, truth.outlet_c),
                    (Channel::AmbientTemp, truth.ambient_c),
                ] {
                    if let Some(m) = p.values.get(&c)
                        && truth.kind != RunKind::Cycling
                    {
                        tally.temp_off.push(m.value - t);
                        tally.temp_z.extend(m.u.map(|u| (m.value - t) / u));
                        words.push_str(&format!(" {} {:+.2} K", c.name(), m.value - t));
                        wrong |= (m.value - t).abs() > 0.2;
                    }
                }
            }
            if wrong && args.show {
                println!(
                    "seed {seed} {} {:?}: {} ({}){words} {:?}\n    {:?}",
                    truth.run,
                    truth.kind,
                    j.status.name(),
                    j.reason,
                    j.notes,
                    truth.plan
                );
                println!(
                    "    meter {} s air {} s noise {:?} {:?}",
                    made.style.meter_s,
                    made.style.air_s,
                    made.style.draw_noise,
                    made.style.temp_noise
                );
            }
        }
    }
    for (kind, t) in &tallies {
        let beyond = |v: &[f64], limit: f64| v.iter().filter(|x| x.abs() > limit).count();
        let rms = |v: &[f64]| (v.iter().map(|x| x * x).sum::<f64>() / v.len().max(1) as f64).sqrt();
        println!(
            "{kind:?}: {} runs, named {:?}; toward the start {:+.2} u; draw rms {:.3} %, beyond 1 %: {}; |z|>1.96 {} of {}, rms z {:.2}; temp rms {:.3} K, beyond 0.2 K: {} of {}, rms z {:.2}",
            t.runs,
            t.named,
            t.toward_start.iter().sum::<f64>() / t.toward_start.len().max(1) as f64,
            100.0 * rms(&t.draw_off),
            beyond(&t.draw_off, 0.01),
            beyond(&t.draw_z, 1.96),
            t.draw_z.len(),
            rms(&t.draw_z),
            rms(&t.temp_off),
            beyond(&t.temp_off, 0.2),
            t.temp_off.len(),
            rms(&t.temp_z)
        );
    }
    Ok(())
}
