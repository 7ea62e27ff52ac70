//! What devices say of themselves when they are asked: whether they are on, and what they are called.

use ledger::{Finding, FindingKind, Severity, Standing};
use vocab::{Moment, NameSource, Power};

use crate::common::{check_invariants, play, seeds, standing};

#[test]
fn standby_is_a_note_a_fault_inside_a_risk_and_neither_keeps_the_rig_from_being_ready() {
    for seed in seeds() {
        let mut play = play("dozing", seed);
        play.play_until(Moment::from_secs(8), |_| false);
        let snapshot = play.snapshot();
        check_invariants(&snapshot);
        assert!(snapshot.ready, "seed {seed}: {:?}", snapshot.findings);
        let told: Vec<(FindingKind, Severity, &[String])> = snapshot
            .findings
            .iter()
            .map(|f: &Finding| (f.kind, f.severity, f.devices.as_slice()))
            .collect();
        assert_eq!(
            told,
            [
                (
                    FindingKind::DeviceFault,
                    Severity::Risk,
                    &["Stair".to_owned()][..]
                ),
                (FindingKind::Standby, Severity::Note, &["Vault".to_owned()][..]),
            ],
            "seed {seed}"
        );
        let power: Vec<Option<Power>> = snapshot.devices.iter().map(|d| d.power).collect();
        assert_eq!(
            power,
            [Some(Power::On), Some(Power::Standby), Some(Power::Fault), None],
            "seed {seed}"
        );
        for name in ["Vault", "Stair"] {
            assert_eq!(standing(&snapshot, name), Standing::Present);
        }
    }
}

#[test]
fn each_says_of_itself_what_its_protocols_tell_with_their_source() {
    let mut play = play("dozing", 1);
    play.play_until(Moment::from_secs(8), |_| false);
    let snapshot = play.snapshot();
    let device = |name: &str| snapshot.devices.iter().find(|d| d.name == name).unwrap();
    let says = |name: &str, port: usize| {
        let detail = device(name).control[port].detail.as_ref();
        detail.map_or("", |text| text.as_str()).to_owned()
    };
    assert_eq!(says("Vault", 0), "vendor 5243 model 0001, rom 0100");
    assert_eq!(
        says("Stream", 0),
        "server \"venue\"; its page says \"Encoder <2> & co\""
    );
    assert_eq!(says("Ringing room", 2), "server \"venue\"");
    let names = &device("Ringing room").seen.as_ref().unwrap().names;
    assert!(
        names
            .iter()
            .any(|n| n.text.as_str() == "ringing-room" && n.source == NameSource::Onvif),
        "{names:?}"
    );
    // A page's title is what a page says, never a name.
    let stream = &device("Stream").seen.as_ref().unwrap().names;
    assert!(
        stream.iter().all(|n| !n.text.as_str().contains("Encoder")),
        "{stream:?}"
    );
}
