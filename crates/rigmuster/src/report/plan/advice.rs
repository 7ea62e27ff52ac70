//! How each device should come to its address, as a table.

use rig::plan::{Stay, advice};

use super::Outcome;
use crate::report::table::columns;

/// The table, with its heading.
pub(crate) fn table(outcome: &Outcome<'_>) -> String {
    let rows: Vec<Vec<String>> = advice(outcome.rig, outcome.hall, outcome.stay)
        .into_iter()
        .map(|(device, has, advice)| {
            let better = if has == advice.way {
                ""
            } else {
                advice.way.as_str()
            };
            vec![
                device.name.clone(),
                has.as_str().to_owned(),
                better.to_owned(),
                advice.why.to_owned(),
            ]
        })
        .collect();
    let of = match outcome.stay {
        Stay::Fixed => "stays here (or: --touring)",
        Stay::Touring => "travels",
    };
    format!(
        "How each should get its address, in a rig that {of}\n{}",
        columns(&["device", "has", "better", "why"], rows)
    )
}
