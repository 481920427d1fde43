//! The command `buswright`.

use std::process::ExitCode;

fn main() -> ExitCode {
    buswright::run(std::env::args_os())
}
