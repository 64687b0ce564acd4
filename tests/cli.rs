//! The program as a user meets it: what it prints, what it promises to other programs, and what it does with odd benches.

#[path = "cli/claims.rs"]
mod claims;
#[path = "cli/compare.rs"]
mod compare;
#[path = "cli/contracts.rs"]
mod contracts;
#[path = "cli/determinism.rs"]
mod determinism;
#[path = "cli/equations.rs"]
mod equations;
#[path = "cli/help.rs"]
mod help;
#[path = "cli/invariance.rs"]
mod invariance;
#[path = "cli/misuse.rs"]
mod misuse;
#[path = "cli/noise.rs"]
mod noise;
#[path = "cli/odd.rs"]
mod odd;
#[path = "cli/options.rs"]
mod options;
#[path = "cli/pasted.rs"]
mod pasted;
#[path = "cli/schemas.rs"]
mod schemas;
#[path = "cli/workbook.rs"]
mod workbook;
#[path = "cli/written.rs"]
mod written;

mod support;
