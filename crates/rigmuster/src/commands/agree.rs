//! Asking before something is overwritten or deleted.

use std::io::{self, IsTerminal, Write};

use crate::Failure;

/// Asks on the terminal: what is the matter, and whether to do it. Whatever is no clear yes is a no.
///
/// # Errors
/// Where there is no terminal to ask on.
pub(super) fn agreed(matter: &str, act: &str) -> Result<bool, Failure> {
    if !io::stdin().is_terminal() {
        return Err(Failure::usage(format_args!(
            "{matter}, and there is no terminal to ask on\nnext step: add --yes"
        )));
    }
    let mut err = io::stderr();
    let _ = write!(err, "{matter}. {act}? [y/N] ");
    let _ = err.flush();
    let mut answer = String::new();
    let read = io::stdin().read_line(&mut answer);
    Ok(read.is_ok() && matches!(answer.trim(), "y" | "Y" | "yes"))
}
