//! Answers of a few dozen command lines, kept as sums. Not a proof that they are right, which other tests give: a change of any
//! formula on the way moves a sum, so that no answer changes unseen.
//!
//! Of each key of a JSON answer (`candidates[].weight`) `tests/kept/NAME.txt` holds how many numbers stand under it, their sum, their sum
//! weighted by place, and the sum of their sizes; of words without digits, of yes and no and of null, how often each stands there.
//! After a change that is meant: `BLESS=1 cargo test --test kept_answers`, and read what git says has moved.

mod support;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use serde_json::Value;
use steadydraw::made::bench::{Kind, Options, make};
use steadydraw::made::logs::{self, varied};

/// How far a sum may move, as a share of the sum of sizes: libraries of elementary functions differ in the last bit, and a search that
/// ends on a tolerance enlarges that.
const MAY_MOVE: f64 = 1e-7;
/// The same for what is zero but for rounding.
const NOTHING: f64 = 1e-9;
/// Longer words are sentences, which the notebooks hold.
const WORD: usize = 32;

/// What stands under one key.
#[derive(Debug, Default, Clone, PartialEq)]
struct Kept {
    count: usize,
    sum: f64,
    by_place: f64,
    size: f64,
    words: BTreeMap<String, usize>,
}

impl Kept {
    fn number(&mut self, x: f64) {
        self.count += 1;
        self.sum += x;
        // Places count from 1 to 2, so that two numbers that change places are seen and none is lost among many.
        self.by_place += x * (1.0 + (self.count % 97) as f64 / 97.0);
        self.size += x.abs();
    }

    fn word(&mut self, word: &str) {
        *self.words.entry(word.to_owned()).or_default() += 1;
    }

    fn line(&self) -> String {
        let mut line = match self.count {
            0 => "0\t0\t0\t0".to_owned(),
            n => format!(
                "{n}\t{:.12e}\t{:.12e}\t{:.12e}",
                self.sum, self.by_place, self.size
            ),
        };
        for (word, times) in &self.words {
            write!(line, "\t{times} × {word}").unwrap();
        }
        line
    }

    fn of_line(line: &str) -> Option<Kept> {
        let mut cells = line.split('\t');
        let mut kept = Kept {
            count: cells.next()?.parse().ok()?,
            sum: cells.next()?.parse().ok()?,
            by_place: cells.next()?.parse().ok()?,
            size: cells.next()?.parse().ok()?,
            words: BTreeMap::new(),
        };
        for cell in cells {
            let (times, word) = cell.split_once(" × ")?;
            kept.words.insert(word.to_owned(), times.parse().ok()?);
        }
        Some(kept)
    }

    fn is_like(&self, other: &Kept) -> bool {
        let near = |a: f64, b: f64| (a - b).abs() <= MAY_MOVE * self.size + NOTHING;
        self.count == other.count
            && self.words == other.words
            && near(self.sum, other.sum)
            && near(self.by_place, other.by_place)
            && near(self.size, other.size)
    }
}

fn gather(value: &Value, key: &str, into: &mut BTreeMap<String, Kept>) {
    match value {
        Value::Object(fields) => {
            for (name, field) in fields {
                // Names the very bytes that were read.
                if name != "made_by" {
                    let separator = if key.is_empty() { "" } else { "." };
                    gather(field, &format!("{key}{separator}{name}"), into);
                }
            }
        }
        Value::Array(items) => {
            for item in items {
                gather(item, &format!("{key}[]"), into);
            }
        }
        _ => {
            let kept = into.entry(key.to_owned()).or_default();
            match value {
                Value::Number(x) => kept.number(x.as_f64().unwrap()),
                Value::Bool(yes) => kept.word(if *yes { "yes" } else { "no" }),
                Value::Null => kept.word("null"),
                Value::String(s)
                    if s.len() <= WORD && !s.contains(|c: char| c.is_ascii_digit() || c == '/') =>
                {
                    kept.word(&s.replace(['\t', '\n'], " "));
                }
                _ => kept.word("(text)"),
            }
        }
    }
}

/// Writes a bench of logs.
fn written(folder: &Path, files: &[(String, Vec<u8>)]) -> PathBuf {
    for (name, bytes) in files {
        let path = folder.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }
    folder.to_owned()
}

/// Puts folders in place of `{demo}`, `{data/…}`, `{tests/…}`, `{made KIND SEED}`, `{logs SEED}`,
/// `{varied SEED}` and `{untold SEED SECONDS_BEHIND}`.
fn with_folders(line: &str, within: &Path) -> Vec<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut args = Vec::new();
    let mut rest = line;
    while let Some((before, after)) = rest.split_once('{') {
        args.extend(before.split_whitespace().map(str::to_owned));
        let (what, after) = after.split_once('}').unwrap();
        rest = after;
        let words: Vec<&str> = what.split_whitespace().collect();
        let folder = within.join(format!("bench-{}", args.len()));
        let path: PathBuf = match words[..] {
            ["made", kind, seed] => {
                let kind = Kind::ALL.into_iter().find(|k| k.name() == kind).unwrap();
                // Outliers and day effects in every other one.
                let seed: u64 = seed.parse().unwrap();
                let options = Options {
                    outliers: seed % 2 == 1,
                    day_effects: seed % 2 == 1,
                };
                let made = make(kind, seed, &options);
                std::fs::create_dir(&folder).unwrap();
                std::fs::write(folder.join("bench.toml"), made.toml).unwrap();
                std::fs::write(folder.join("points.csv"), made.points_csv).unwrap();
                folder
            }
            ["logs", seed] => written(&folder, &logs::make(seed.parse().unwrap()).files),
            ["varied", seed] => written(&folder, &varied::make(seed.parse().unwrap()).files),
            ["untold", seed, behind_s] => {
                let behind_s = behind_s.parse().unwrap();
                let made = varied::make_untold(seed.parse().unwrap(), behind_s);
                written(&folder, &made.files)
            }
            [path] => root.join(path),
            _ => panic!("{what}"),
        };
        args.push(path.to_str().unwrap().to_owned());
    }
    // What stands in quotation marks is one word.
    for (i, part) in rest.split('"').enumerate() {
        if i % 2 == 1 {
            args.push(part.to_owned());
        } else {
            args.extend(part.split_whitespace().map(str::to_owned));
        }
    }
    args
}

#[track_caller]
fn keeps(name: &str, line: &str) {
    let folder = tempfile::tempdir().unwrap();
    let mut args = with_folders(line, folder.path());
    args.push("--json".to_owned());
    let answer = support::run_in(folder.path(), &args, &[]).exits(0).json();
    let mut now = BTreeMap::new();
    gather(&answer, "", &mut now);

    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/kept/{name}.txt"));
    if std::env::var_os("BLESS").is_some() {
        let mut text = format!("# {line}\n");
        for (key, kept) in &now {
            writeln!(text, "{key}\t{}", kept.line()).unwrap();
        }
        std::fs::write(file, text).unwrap();
        return;
    }
    let text = std::fs::read_to_string(&file).unwrap_or_default();
    let (first, rest) = text.split_once('\n').unwrap_or_default();
    assert_eq!(
        first,
        format!("# {line}"),
        "{name} was kept of another line: BLESS=1 keeps it anew"
    );
    let before: BTreeMap<&str, Kept> = { rest.lines() }
        .map(|l| {
            let (key, kept) = l.split_once('\t').unwrap();
            (key, Kept::of_line(kept).unwrap())
        })
        .collect();
    let mut moved = String::new();
    for (key, kept) in &before {
        match now.get(*key) {
            Some(new) if kept.is_like(new) => {}
            Some(new) => {
                writeln!(moved, "{key}\n  was {}\n  is  {}", kept.line(), new.line()).unwrap()
            }
            None => writeln!(moved, "{key} is gone").unwrap(),
        }
    }
    for key in now.keys().filter(|k| !before.contains_key(k.as_str())) {
        writeln!(moved, "{key} is new").unwrap();
    }
    assert!(
        moved.is_empty(),
        "the answer to `{line}` is another one:\n{moved}"
    );
}

macro_rules! kept {
    ($($name:ident: $line:expr;)*) => { $(#[test] fn $name() { keeps(stringify!($name), $line); })* };
}

kept! {
    check_demo: "check {data/demo}";
    check_two_stage: "check {data/two-stage-heat-pump}";
    check_cool_hours: "check {data/stories/cool-hours}";
    check_one_fan: "check {data/stories/one-fan-a-mode}";
    check_ramp: "check {made independent-ramp 1}";
    check_stepped: "check {made independent-stepped 2}";
    check_outliers: "check {made weak 3}";

    check_made_0: "check {made independent 23}";
    check_made_1: "check {made coupled 25}";
    check_made_2: "check {made coupled-modes 27}";
    check_made_3: "check {made coupled-uneven 29}";
    check_made_4: "check {made independent-stepped 31}";
    check_made_5: "check {made confounded-coupled 33}";
    check_made_6: "check {made weak 35}";
    check_made_7: "check {made independent-nofan 37}";

    fit_demo: "fit {data/demo}";
    fit_two_stage: "fit {data/two-stage-heat-pump} --leave-out";
    fit_cool_hours: "fit {data/stories/cool-hours} --leave-out";
    fit_ramp: "fit {made independent-ramp 1}";
    fit_stepped: "fit {made independent-stepped 2} --leave-out";
    fit_uneven: "fit {made coupled-uneven 3}";
    fit_few: "fit {made confounded-coupled 4} --leave-out";
    fit_no_fan: "fit {made coupled-nofan 5} --level 0.8";
    budget_demo: "fit {data/demo} --budget";
    budget_two_stage: "fit {data/two-stage-heat-pump} --budget";
    budget_second: "fit {data/stories/second-cooler} --budget";
    budget_made: "fit {made coupled-modes 6} --budget --level 0.9";
    budget_days: "fit {made independent 7} --budget";

    coupling_demo: "coupling {data/demo}";
    coupling_two_stage: "coupling {data/two-stage-heat-pump}";
    coupling_one_fan: "coupling {data/stories/one-fan-a-mode}";
    coupling_independent: "coupling {made independent 8}";
    coupling_ramp: "coupling {made independent-ramp 9}";
    coupling_stepped: "coupling {made independent-stepped 10}";
    coupling_no_fan: "coupling {made independent-nofan 11}";
    coupling_coupled: "coupling {made coupled 12} --margin 0.05";
    coupling_modes: "coupling {made coupled-modes 13} --allowance 0.1";
    coupling_uneven: "coupling {made coupled-uneven 14} --seed 5";
    coupling_weak: "coupling {made weak 15} --level 0.99";
    coupling_confounded: "coupling {made confounded-independent 16}";

    coupling_made_0: "coupling {made confounded-coupled 22}";
    coupling_made_1: "coupling {made confounded-independent 24}";
    coupling_made_2: "coupling {made independent-nofan 26}";
    coupling_made_3: "coupling {made weak 28}";
    coupling_made_4: "coupling {made coupled-modes 30}";
    coupling_made_5: "coupling {made coupled-nofan 32}";
    coupling_made_6: "coupling {made confounded-coupled 35}";
    coupling_made_7: "coupling {made independent-nofan 37}";
    coupling_made_8: "coupling {made independent 39}";
    coupling_made_9: "coupling {made coupled 41}";

    predict_demo: "predict {data/demo} --intake 19degC,27degC,35degC --ambient 30degC --mode cruise --explain";
    predict_demo_far: "predict {data/demo} --intake 30degC --ambient 42degC --mode damp --fan 3 --explain --assume-ambient-slope published";
    predict_demo_slope: "predict {data/demo} --intake 30degC --ambient 40degC --mode damp --assume-ambient-slope \"1.6 to 2.2 %/K\"";
    predict_two_stage: "predict {data/two-stage-heat-pump} --intake 24degC,29degC";
    predict_adjusted: "predict {data/demo} --adjusted";
    predict_adjusted_at: "predict {data/stories/cool-hours} --adjusted --intake 25degC --ambient 28degC --level 0.8";
    predict_ramp: "predict {made independent-ramp 1} --intake 18degC,26degC,30degC,36degC,40degC";
    predict_ramp_clipped: "predict {made independent-ramp 18} --intake 18degC,26degC,30degC,36degC --explain";
    predict_stepped: "predict {made independent-stepped 2} --intake 18degC,26degC,30degC,36degC,40degC";
    predict_stepped_seen: "predict {made independent-stepped 19} --intake 18degC,26degC,30degC,36degC --explain";
    predict_uneven: "predict {made coupled-uneven 3} --intake 22degC,38degC --ambient 39degC";
    predict_days: "predict {made coupled-modes 17} --intake 24degC,38degC";

    runtime_demo: "runtime {data/demo}";
    runtime_hot: "runtime {data/demo} --intake 27degC,35degC --ambient 33degC --mode cruise --level 0.8";
    discharge_demo: "discharge {data/demo}";
    discharge_pack: "discharge {tests/reference/discharge/pack_0.3C.csv} --time \"Total Time [s]\" --current \"Current [A]\" --voltage \"Voltage [V]\" --rating 65Ah --nominal 24V --price 900 --current-accuracy \"0.5 % of reading + 0.05 A\" --voltage-accuracy \"0.1 % of reading\" --cutoff 21V";
    discharge_rates: "discharge {tests/reference/discharge/cell_five_rates.csv} --cutoff 3V";
    discharge_load: "discharge {tests/reference/discharge/ups_voltage_only.csv} --voltage \"state [V]\" --load 6.6W --load-accuracy \"15 % of reading\" --from 2026-03-26T11:03:00Z --until 2026-03-26T20:34:58Z --rating 10Ah --nominal 12.8V";

    plan_new: "plan --modes cool,eco --fans 1,2,3 --intakes 24degC,30degC --simulations 60";
    plan_scatter: "plan --modes cool --fans 1,2,3,4 --intakes 20degC,26degC,32degC --repeats 3 --blocks 3 --scatter 2.5% --airflows 100m3/h,150m3/h,210m3/h,250m3/h --elasticities 0,0.3 --simulations 60 --group-intakes --no-standby";
    plan_decide: "plan --modes cool --fans 1,2,3 --intakes 24degC,30degC --decide 80% --simulations 40";
    plan_demo: "plan {data/demo} --simulations 40";
    plan_next: "plan {data/stories/cool-hours} --next predict --intake 32degC --ambient 31.6degC --mode damp --fan 3";
    plan_next_elasticity: "plan {made weak 20} --next elasticity";

    claims_demo: "claims {data/demo}";
    claims_second: "claims {data/stories/second-cooler} --level 0.8";
    compare_two: "compare {data/demo} {data/stories/second-cooler}";
    compare_apart: "compare {data/demo} {data/stories/second-cooler} --meters-apart --intake 25degC --ambient 27degC --margin 0.1";
    compare_three: "compare {made coupled 21} {made independent 21} {made weak 21}";

    reduce_chamber: "reduce {data/chamber-day} --out out";
    reduce_cycling: "reduce {data/chamber-day} --with-cycling --out out";
    reduce_night: "reduce {tests/benches/night} --out out";
    reduce_made: "reduce {logs 1} --out out";
    reduce_made_more: "reduce {logs 2} --out out";
    reduce_made_again: "reduce {logs 3} --out out";
    reduce_made_last: "reduce {logs 4} --out out";

    reduce_logs_5: "reduce {logs 5} --out out";
    reduce_logs_6: "reduce {logs 6} --out out";
    reduce_logs_7: "reduce {logs 7} --out out";
    reduce_logs_8: "reduce {logs 8} --out out";
    reduce_varied_1: "reduce {varied 1} --out out";
    reduce_varied_2: "reduce {varied 2} --out out";
    reduce_varied_3: "reduce {varied 3} --out out";
    reduce_varied_4: "reduce {varied 4} --out out";
    reduce_varied_5: "reduce {varied 5} --out out";
    reduce_varied_6: "reduce {varied 6} --out out";
    reduce_varied_7: "reduce {varied 7} --out out";
    reduce_varied_8: "reduce {varied 8} --out out";
    reduce_varied_9: "reduce {varied 9} --out out";
    reduce_varied_10: "reduce {varied 10} --out out";
    reduce_varied_11: "reduce {varied 11} --out out";
    reduce_varied_12: "reduce {varied 12} --out out";
    reduce_varied_13: "reduce {varied 13} --out out";
    reduce_varied_14: "reduce {varied 14} --out out";
    reduce_varied_15: "reduce {varied 15} --out out";
    reduce_varied_16: "reduce {varied 16} --out out";
    reduce_varied_17: "reduce {varied 17} --out out";
    reduce_varied_18: "reduce {varied 18} --out out";
    reduce_varied_19: "reduce {varied 19} --out out";
    reduce_untold_1: "reduce {untold 1 0} --out out";
    reduce_untold_2: "reduce {untold 2 40} --out out";
    reduce_untold_3: "reduce {untold 3 95} --out out";
    reduce_untold_4: "reduce {untold 4 -70} --out out";

    curve_line: "curve {data/demo/points.csv} --equation \"y = a + b*x\" --x intake_temp --y power --at x=30";
    curve_power: "curve {data/demo/points.csv} --equation \"y = a + b*x^c\" --x airflow --y current --start a=1,b=0.01,c=1 --at x=150,x=300 --level 0.9";
    curve_growth: "curve {data/demo/points.csv} --equation \"y = a*exp(b*x) + c*t\" --x airflow --y current --column \"t=intake_temp\" --range a=0.1..20,b=0..0.05,c=-1..1";
}
