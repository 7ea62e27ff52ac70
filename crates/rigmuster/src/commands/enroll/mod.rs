//! `enroll`: makes a rig file from what is on the wire, or from a spreadsheet, or adds to one.

mod diff;
mod from;
mod hosts;
mod look;
mod seen;
mod sheet;
mod target;
mod yes;

use crate::args::EnrollArgs;
use crate::{Exit, Failure};

use target::Target;

/// Proposes an entry for each host, has them confirmed, and writes the file.
pub(super) async fn enroll(args: EnrollArgs) -> Result<Exit, Failure> {
    let target = Target::find(&args.rig)?;
    if let Some(sheet) = &args.from {
        from::from(&from::Wanted {
            target: &target,
            sheet,
            subnet: args.subnet,
            sure: args.yes,
        })
    } else if args.yes {
        yes::take(&args, target).await
    } else {
        sheet::confirm(&args, target).await
    }
}
