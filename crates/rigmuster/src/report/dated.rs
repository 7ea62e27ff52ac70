//! When something began, in what is said of it: neither the table nor the JSON object has a field for that.

use ledger::{FindingKind, Snapshot};
use vocab::Moment;

/// The snapshot, with the time of day at which each clash began in its text. `clock` gives that time.
pub(crate) fn dated(mut snapshot: Snapshot, clock: impl Fn(Moment) -> String) -> Snapshot {
    for finding in &mut snapshot.findings {
        if finding.kind == FindingKind::AddressConflict {
            finding.text = format!("{} Since {}.", finding.text, clock(finding.since));
        }
    }
    snapshot
}
