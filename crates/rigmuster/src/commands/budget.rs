//! `budget`: power, ports, cables and streams, from the rig file alone.

use crate::args::BudgetArgs;
use crate::report::{BudgetReport, Paint, budget as text};
use crate::settings::Expected;
use crate::{Exit, Failure};

/// Prints what the switches of the rig are asked for. Over budget or not, that is done.
pub(super) fn budget(args: &BudgetArgs) -> Result<Exit, Failure> {
    let (rig, expected) = Expected::on_paper(&args.rig)?;
    super::print_warnings(&expected.warnings);
    let budget = rig.budget();
    if args.json {
        let report = BudgetReport::new(&rig.title, expected.file.as_deref().unwrap_or_default(), &budget);
        super::print_json(&report)?;
    } else {
        super::print(&text(&rig.title, &budget, Paint::of_stdout()))?;
    }
    Ok(Exit::Done)
}
