//! Putting the plan in the rig file.

use std::io::{self, Write};

use rig::RigDocument;

use crate::commands::agree::agreed;
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
    if !sure && !agreed(&format!("the plan would be written in {file}"), "Write it")? {
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
