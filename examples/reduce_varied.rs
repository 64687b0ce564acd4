//! Reduces made log benches of many sorts, and counts how often each sort of run is named rightly and its means hold.
//!
//! `cargo run --release --example reduce_varied -- --each 500`

use std::collections::BTreeMap;

use clap::Parser;
use rayon::prelude::*;
use steadydraw::bench::Channel;
use steadydraw::bench::logs::LogBench;
use steadydraw::made::logs::varied::{
    Burden, RUNS, Sort, VariedLogs, VariedRun, make, make_untold,
};
use steadydraw::steady::{Judged, Reduction, reduce};

#[derive(Parser)]
struct Args {
    /// Runs of each sort, at least
    #[arg(long, default_value_t = 500)]
    each: u64,
    /// First seed
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Print every run of this sort that is named wrongly or whose mean is off
    #[arg(long)]
    show: Option<String>,
    /// Keep the made benches in this folder
    #[arg(long)]
    keep: Option<std::path::PathBuf>,
    /// Instead: benches whose thermometers' clock is wrong by known amounts, so many of each
    #[arg(long)]
    clocks: Option<u64>,
}

/// What came of one run.
struct Outcome {
    seed: u64,
    burden: Burden,
    sort: Sort,
    named: &'static str,
    /// Error of the draw as a share, whether it is beyond 1 % and half a step of the display, and the error over its uncertainty.
    draw: Option<(f64, bool, f64)>,
    /// Errors of intake, outlet and ambient, K, and whether each is beyond 0.2 K and half a step.
    temps: Vec<(f64, bool)>,
    says: String,
}

/// Compares one run with the truth: with what it settles at, or with what a perfect meter would have read in the stretch.
fn compare(seed: u64, made: &VariedLogs, truth: &VariedRun, judged: &Judged) -> Outcome {
    let named = judged.status.name();
    let mut out = Outcome {
        seed,
        burden: made.burden,
        sort: truth.sort,
        named,
        draw: None,
        temps: Vec::new(),
        says: format!(
            "seed {seed} {} {:?} {:?}: {named} ({}) {:?}\n    {:?}\n    meter {} s, air {} s, steps {:?}, noise {:?}, {} V",
            truth.run,
            truth.sort,
            made.burden,
            judged.reason,
            judged.notes,
            truth.drawn,
            made.style.meter_s,
            made.style.air_s,
            made.steps,
            made.style.draw_noise,
            made.style.supply_v
        ),
    };
    let right = named == truth.sort.status();
    if let Some(plateau) = judged.plateau.as_ref().filter(|_| right) {
        let there = truth.course.mean(plateau.span.start, plateau.span.end);
        if let (Some([w, intake, outlet]), Some(draw)) =
            (truth.settled.or(there), plateau.values.get(&Channel::Power))
        {
            let off = draw.value - w;
            let step = 0.5 * made.steps.0 * made.style.supply_v;
            let beyond = off.abs() > (0.01 * w).max(step);
            out.draw = Some((off / w, beyond, draw.u.map_or(0.0, |u| off / u)));
            for (c, t) in [
                (Channel::IntakeTemp, intake),
                (Channel::OutletTemp, outlet),
                (Channel::AmbientTemp, truth.ambient_c),
            ] {
                // A cycling outlet lags and is read at its own moments: its mean over cycles is not asked for.
                if let Some(m) = plateau.values.get(&c)
                    && truth.drawn.cycle.is_none()
                {
                    let off = m.value - t;
                    out.temps
                        .push((off, off.abs() > 0.2_f64.max(0.5 * made.steps.1)));
                }
            }
            out.says = format!(
                "{}\n    draw {:+.2} %, temperatures {:?}",
                out.says,
                100.0 * off / w,
                out.temps
            );
        }
    }
    out
}

fn reduced(made: &VariedLogs, keep: Option<&std::path::Path>) -> Result<Reduction, String> {
    let temporary = tempfile::tempdir().map_err(|e| e.to_string())?;
    let folder = keep.unwrap_or(temporary.path());
    made.files
        .iter()
        .try_for_each(|(name, bytes)| {
            let path = folder.join(name);
            if let Some(parent) = path.parent() {
                std::fs::create_dir_all(parent)?;
            }
            std::fs::write(path, bytes)
        })
        .map_err(|e| e.to_string())?;
    LogBench::open(folder)
        .and_then(|b| reduce(&b))
        .map_err(|e| e.to_string())
}

fn main() {
    let args = Args::parse();
    if let Some(each) = args.clocks {
        return clocks(each, args.seed);
    }
    let benches = (args.each * Sort::ALL.len() as u64).div_ceil(RUNS as u64);
    let outcomes: Vec<Outcome> = (args.seed..args.seed + benches)
        .into_par_iter()
        .flat_map_iter(|seed| {
            let made = make(seed);
            let keep = args.keep.as_ref().map(|k| k.join(format!("{seed:05}")));
            let found = reduced(&made, keep.as_deref());
            let runs = match &found {
                Ok(found) => found.runs.as_slice(),
                Err(e) => {
                    println!("seed {seed}: REFUSED {e}\n{:?}", made.style);
                    &[]
                }
            };
            runs.iter()
                .zip(&made.runs)
                .map(|(run, truth)| compare(seed, &made, truth, &run.judged))
                .collect::<Vec<_>>()
        })
        .collect();
    if let Some(show) = &args.show {
        for o in &outcomes {
            let wrong = o.named != o.sort.status()
                || o.draw.is_some_and(|d| d.1)
                || o.temps.iter().any(|t| t.1);
            if wrong && (show == "all" || format!("{:?}", o.sort).eq_ignore_ascii_case(show)) {
                println!("{}", o.says);
            }
        }
    }
    println!(
        "sort             should be  runs  named rightly  draw: rms %  beyond 1 %  rms z  temperatures: rms K  beyond 0.2 K"
    );
    for sort in Sort::ALL {
        let of: Vec<&Outcome> = outcomes.iter().filter(|o| o.sort == sort).collect();
        println!("{:<16} {}", format!("{sort:?}"), line(&of, sort.status()));
    }
    for burden in Burden::ALL {
        let of: Vec<&Outcome> = outcomes.iter().filter(|o| o.burden == burden).collect();
        let right = of.iter().filter(|o| o.named == o.sort.status()).count();
        println!("burden {burden:?}: {right} of {} named rightly", of.len());
    }
    let last = outcomes.iter().map(|o| o.seed).max().unwrap_or(0);
    println!("seeds {} to {last}", args.seed);
}

fn line(of: &[&Outcome], should: &str) -> String {
    let right = of.iter().filter(|o| o.named == should).count();
    let mut others: BTreeMap<&str, usize> = BTreeMap::new();
    for o in of.iter().filter(|o| o.named != should) {
        *others.entry(o.named).or_default() += 1;
    }
    let draws: Vec<(f64, bool, f64)> = of.iter().filter_map(|o| o.draw).collect();
    let temps: Vec<(f64, bool)> = of.iter().flat_map(|o| o.temps.iter().copied()).collect();
    let rms = |values: Vec<f64>| {
        (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt()
    };
    format!(
        "{should:<9} {:>5}  {right:>5} {:>6.2} %  {:>11.3}  {:>10}  {:>5.2}  {:>19.3}  {:>12}  {}",
        of.len(),
        100.0 * right as f64 / of.len().max(1) as f64,
        100.0 * rms(draws.iter().map(|d| d.0).collect()),
        draws.iter().filter(|d| d.1).count(),
        rms(draws.iter().map(|d| d.2).collect()),
        rms(temps.iter().map(|t| t.0).collect()),
        temps.iter().filter(|t| t.1).count(),
        others
            .iter()
            .map(|(name, n)| format!("{name} {n}"))
            .collect::<Vec<_>>()
            .join(", ")
    )
}

/// How often a wrong clock is found, and how well; and how often a right one is suspected.
fn clocks(each: u64, seed: u64) {
    println!("behind s  benches  suggested  within 15 s  wrong way  rms error s");
    for behind in [
        0.0, 30.0, 45.0, 90.0, 180.0, 300.0, -30.0, -45.0, -90.0, -180.0, -300.0,
    ] {
        let found: Vec<Option<f64>> = (seed..seed + each)
            .into_par_iter()
            .filter_map(|s| {
                let found = reduced(&make_untold(s, behind), None).ok()?;
                Some(found.shifts.first().map(|s| s.add_s))
            })
            .collect();
        let added: Vec<f64> = found.iter().flatten().copied().collect();
        let within = added.iter().filter(|a| (*a - behind).abs() <= 15.0).count();
        let wrong = added.iter().filter(|a| *a * behind <= 0.0).count();
        let rms = (added.iter().map(|a| (a - behind).powi(2)).sum::<f64>()
            / added.len().max(1) as f64)
            .sqrt();
        println!(
            "{behind:>8}  {:>7}  {:>9}  {within:>11}  {wrong:>9}  {rms:>11.1}",
            found.len(),
            added.len()
        );
    }
}
