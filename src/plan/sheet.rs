//! The plan as tables to be filled at the bench: `runs.csv` beside logs, `points.csv` for readings taken by hand.

use crate::bench::{BLANK, Channel};
use crate::quantity::{Dimension, System};

use super::Plan;

const RUNS_TOP: &str = "# The plan, in the order in which to run it. Write each run's start and end over the blanks, such as 2026-08-25 09:00.
# set_to is the intake to aim at; the logs tell what it was. Strike out a run that was not made: remove its row.
";

const POINTS_TOP: &str = "# The plan, in the order in which to run it. Write the steady readings over the blanks; empty a cell without a reading.
# set_to is the intake to aim at. Remove columns that you do not measure, and the row of a run that was not made.
";

/// `runs.csv`, its starts and ends blank.
pub fn runs_csv(plan: &Plan, system: System) -> String {
    table(
        plan,
        system,
        RUNS_TOP,
        &["start".to_owned(), "end".to_owned()],
    )
}

/// `points.csv`, its readings blank.
pub fn points_csv(plan: &Plan, system: System) -> String {
    let heading = |c: &Channel| format!("{} [{}]", c.name(), system.symbol(c.dimension()));
    let headings: Vec<String> = Channel::BY_HAND.iter().map(heading).collect();
    table(plan, system, POINTS_TOP, &headings)
}

fn table(plan: &Plan, system: System, top: &str, blanks: &[String]) -> String {
    let unit = system.symbol(Dimension::Temperature);
    let mut text = format!("{top}run,kind,mode,fan,block,order,set_to [{unit}]");
    for heading in blanks {
        text.push(',');
        text.push_str(heading);
    }
    text.push('\n');
    for run in &plan.runs {
        let set = plan.intake_c(run).map_or(String::new(), |c| {
            format!("{:.1}", system.convert(Dimension::Temperature, c))
        });
        text.push_str(&format!(
            "{},{},{},{},{},{},{set}",
            cell(&run.run),
            run.kind.name(),
            cell(plan.mode(run)),
            cell(plan.fan(run)),
            cell(&plan.block(run)),
            run.order
        ));
        text.push_str(&format!(",{BLANK}").repeat(blanks.len()));
        text.push('\n');
    }
    text
}

/// A cell of a table with commas.
fn cell(text: &str) -> String {
    if text.contains([',', '"', '#']) || text.starts_with(char::is_whitespace) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}
