//! The program.

use std::process::ExitCode;

fn main() -> ExitCode {
    brimwatch::cli::main()
}
