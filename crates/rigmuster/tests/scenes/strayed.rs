//! A rig after somebody tidied up: who calls nobody, who changed places, who the stranger is.

use std::time::Duration;

use ledger::{FindingKind, Severity};

use crate::common::{play, play_checked, seeds};

#[test]
fn the_panel_is_told_to_call_nobody_and_only_where_nobody_should_be() {
    for seed in seeds() {
        let mut play = play("strayed", seed);
        play_checked(&mut play, Duration::from_secs(30));
        let snapshot = play.snapshot();
        let calls: Vec<_> = snapshot
            .findings
            .iter()
            .filter(|f| f.kind == FindingKind::CallsForNobody)
            .collect();
        // The quay camera's own address, which the panel calls as well, is explained by its being missing.
        assert_eq!(calls.len(), 1, "seed {seed}: {calls:?}");
        assert_eq!(
            calls[0].text,
            "Loft panel keeps asking for 192.168.0.77; nothing has it. One of its channels still points there.",
            "seed {seed}"
        );
        assert_eq!(calls[0].severity, Severity::Risk);
    }
}
