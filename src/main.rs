//! The `steadydraw` program: starts the library, prints what it says, sets the exit code.

fn main() -> std::process::ExitCode {
    steadydraw::cli::run_from_env()
}
