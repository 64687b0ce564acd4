//! Is any test sensitive to every operator of every formula?
//!
//! A compiler's run for each changed operator would take weeks. Instead a copy of the project is written in which every operator asks at
//! run time whether to be itself or a replacement; one build then holds all changes, and an environment variable chooses one.
//! See README.md here.

mod copy;
mod explained;
mod judge;
mod record;
mod rewrite;

use std::path::PathBuf;

use clap::{Parser, Subcommand};

/// What may go wrong: the message is for whoever runs the command.
type Failure = Box<dyn std::error::Error>;

#[derive(Parser)]
struct Args {
    #[command(subcommand)]
    step: Step,
}

#[derive(Subcommand)]
enum Step {
    /// Write the copy and mend it until it compiles
    Prepare {
        /// Folder of the copy; what a former copy has built is used again
        copy: PathBuf,
        /// The project
        #[arg(long, default_value = ".")]
        project: PathBuf,
        /// Rooms whose operators are switched
        #[arg(
            long,
            value_delimiter = ',',
            default_value = "air,stats,fit,budget,coupling,predict,supply,plan,findings,steady"
        )]
        rooms: Vec<String>,
    },
    /// Run each test alone: how long it takes, and which operators it reaches
    Record {
        /// Folder of the copy
        copy: PathBuf,
        /// Test programs left out
        #[arg(
            long,
            value_delimiter = ',',
            default_value = "notebooks,browser,real_logs,practice,workbooks,bad_input,fuzz_smoke,figures,units,new_command,report,reproduce,hard_limits,made"
        )]
        leave: Vec<String>,
    },
    /// Change operators at random, evenly over the rooms, and see whether a test turns red
    Judge {
        /// Folder of the copy
        copy: PathBuf,
        /// Seconds of tests for each change, quickest tests first
        #[arg(long, default_value_t = 10.0)]
        seconds: f64,
        /// Minutes in all
        #[arg(long, default_value_t = 30.0)]
        minutes: f64,
        /// Which changes come first
        #[arg(long, default_value_t = 1)]
        seed: u64,
        /// Only these rooms
        #[arg(long, value_delimiter = ',')]
        rooms: Vec<String>,
        /// Only arithmetic: what formulas are made of
        #[arg(long)]
        arithmetic: bool,
        /// One change of each operator, not all
        #[arg(long)]
        once: bool,
    },
    /// Print what turned no test red and is not explained in `explained.tsv`, as lines for it
    Left {
        /// Folder of the copy
        copy: PathBuf,
        /// The project, as it was copied
        #[arg(long, default_value = ".")]
        project: PathBuf,
    },
}

fn main() -> Result<(), Failure> {
    match Args::parse().step {
        Step::Prepare {
            copy,
            project,
            rooms,
        } => copy::prepare(&project, &copy, &rooms),
        Step::Record { copy, leave } => record::record(&copy, &leave),
        Step::Judge {
            copy,
            seconds,
            minutes,
            seed,
            rooms,
            arithmetic,
            once,
        } => judge::judge(
            &copy,
            &judge::Limits {
                seconds,
                minutes,
                seed,
                rooms,
                arithmetic,
                once,
            },
        ),
        Step::Left { copy, project } => explained::left(&copy, &project),
    }
}
