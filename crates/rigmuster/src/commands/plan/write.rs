//! Putting the plan in the rig file.

use std::io::{self, IsTerminal, Write};

use rig::RigDocument;

use crate::settings::Expected;
use crate::{Failure, files};

/// Writes `new` in place of `old`, if somebody wants it and nobody else has written there meanwhile.
pub(super) fn write(
    expected: &Expected,
    old: &RigDocument,
    new: &RigDocument,
    sure: bool,
) -> Result<(), Failure> {
    let Some(path) = &expected.path else {
        return Err(Failure::usage(
            "the scene has no file on the disk, so nothing was written\n\
             next step: name a rig file: rigmuster plan hall.rig.toml --write",
        ));
    };
    let mut err = io::stderr();
    if old.text() == new.text() {
        let _ = writeln!(
            err,
            "rigmuster: the rig file says so already; nothing was written"
        );
        return Ok(());
    }
    let file = expected.file.as_deref().unwrap_or_default();
    if !sure && !agreed(file)? {
        let _ = writeln!(err, "rigmuster: nothing was written");
        return Ok(());
    }
    let now = files::load(path).map_err(Failure::usage)?;
    if now.document != *old {
        return Err(Failure::usage(format_args!(
            "{file} was changed meanwhile, so nothing was written\nnext step: plan again"
        )));
    }
    files::save_atomic(path, new.text()).map_err(Failure::usage)?;
    let _ = writeln!(err, "rigmuster: written in {file}");
    Ok(())
}

/// Asks on the terminal. Whatever is no clear yes is a no.
fn agreed(file: &str) -> Result<bool, Failure> {
    if !io::stdin().is_terminal() {
        return Err(Failure::usage(
            "the plan would be written in the rig file, and there is no terminal to ask on\nnext step: add --yes",
        ));
    }
    let mut err = io::stderr();
    let _ = write!(err, "Write this plan in {file}? [y/N] ");
    let _ = err.flush();
    let mut answer = String::new();
    let read = io::stdin().read_line(&mut answer);
    Ok(read.is_ok() && matches!(answer.trim(), "y" | "Y" | "yes"))
}
