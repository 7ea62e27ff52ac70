//! The program's door: everything else is in the library beside it.

use std::process::ExitCode;

fn main() -> ExitCode {
    rigmuster::main(std::env::args_os())
}
