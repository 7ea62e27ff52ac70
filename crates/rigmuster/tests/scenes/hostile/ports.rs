//! Ports that answer without end, slowly, compressed or never, and a host all of whose ports answer.

use std::net::Ipv4Addr;

use ledger::{Purpose, Standing};
use venue::{HostPlan, Ill};
use vocab::ControlPort;

use super::*;
use crate::common::play_for;

/// Connections to one port: three for a question, which is repeated within the device's grace.
const TAKEN: u32 = 27;
/// Connections to one host at the same time.
const AT_ONCE: usize = 2;
/// Bytes that one connection takes: what is read of an answer, and what a window and a buffer hold.
const BYTES: usize = 16 * 1024 + 64 * 1024 + 1024;

fn port(word: &str) -> ControlPort {
    word.parse().expect("a port")
}

/// The calm hall in which these ports of a device are ill from the start, half a minute long: how the device stands then.
fn suffered(name: &str, words: &[&str], ill: Ill) -> Standing {
    let mut play = play("calm", 1);
    for word in words {
        play.rehearsal().venue_mut().make_ill(name, Some(port(word)), ill);
    }
    let mut screen = Screen::of(&play.snapshot());
    let mut drawn = play.ledger().revision();
    for tenth in 1..=300 {
        play.play_until(Moment::ZERO + Duration::from_millis(100) * tenth, |_| false);
        if drawn != play.ledger().revision() {
            drawn = play.ledger().revision();
            let snapshot = play.snapshot();
            check_invariants(&snapshot);
            screen.show(&snapshot);
        }
    }
    let toll = play.rehearsal().venue().toll(name);
    let most = TAKEN * words.len() as u32;
    assert!((1..=most).contains(&toll.taken), "{ill:?}: {toll:?}");
    assert!(toll.at_once <= AT_ONCE, "{ill:?}: {toll:?}");
    assert!(toll.bytes <= BYTES * toll.taken as usize, "{ill:?}: {toll:?}");
    let snapshot = play.snapshot();
    let others = snapshot.devices.iter().filter(|d| d.name != name);
    assert!(
        others.clone().all(|d| d.standing == Standing::Present),
        "{ill:?}: {:?}",
        snapshot.counts
    );
    // Starting, counted, and what became of the one: no more pictures than that.
    assert!(screen.headlines.len() <= 6, "{ill:?}: {:?}", screen.headlines);
    assert!(screen.pictures <= 60, "{ill:?}: {} pictures", screen.pictures);
    // Half a minute later nothing has changed and nothing more was tried.
    let pictures = screen.pictures;
    play.play(Duration::from_secs(30));
    screen.show(&play.snapshot());
    assert!(screen.pictures <= pictures + 1);
    let later = play.rehearsal().venue().toll(name);
    assert!(later.taken <= toll.taken + 3, "{ill:?}: {toll:?}, then {later:?}");
    standing(&play.snapshot(), name)
}

#[test]
fn ports_that_never_end_or_never_speak_cost_a_few_connections_and_nobody_else_his_standing() {
    // What has said a whole status line has answered, however it goes on; what has not is no control.
    for (name, words, ill, stands) in [
        (
            "Organ loft",
            &["rtsp", "http"][..],
            Ill::Endless,
            Standing::Present,
        ),
        ("Organ loft", &["rtsp", "http"], Ill::Bomb, Standing::Present),
        ("Organ loft", &["rtsp", "http"], Ill::Drip, Standing::NoControl),
        ("Organ loft", &["rtsp", "http"], Ill::Dead, Standing::NoControl),
        (
            "West door",
            &["visca-tcp", "http"],
            Ill::Endless,
            Standing::NoControl,
        ),
        (
            "West door",
            &["visca-tcp", "http"],
            Ill::Drip,
            Standing::NoControl,
        ),
        (
            "West door",
            &["visca-tcp", "http"],
            Ill::Dead,
            Standing::NoControl,
        ),
        ("Stream encoder", &["https"], Ill::Endless, Standing::NoControl),
    ] {
        assert_eq!(suffered(name, words, ill), stands, "{name}, {ill:?}");
    }
}

#[test]
fn a_stranger_all_of_whose_ports_answer_is_asked_at_four() {
    for ill in [Ill::Endless, Ill::Drip, Ill::Dead] {
        let mut play = play_for("calm", 1, Purpose::Survey);
        let at = venue::scene("calm").expect("it is one").plan().first_switch();
        let address = vocab::Ipv4Net::new(Ipv4Addr::new(10, 40, 8, 150), 24).expect("a subnet");
        let visitor = HostPlan::new("Visitor", Mac::new([0x06, 0, 0, 0, 0, 9]), at)
            .fixed(address)
            .own_supply();
        let venue = play.rehearsal().venue_mut();
        venue.plan(Moment::ZERO, Deed::AddHost(Box::new(visitor)));
        venue.advance(Moment::ZERO);
        venue.make_ill("Visitor", None, ill);
        play.play(Duration::from_secs(30));
        let toll = play.rehearsal().venue().toll("Visitor");
        assert!((1..=4 * 3).contains(&toll.taken), "{ill:?}: {toll:?}");
        assert!(toll.at_once <= AT_ONCE, "{ill:?}: {toll:?}");
        assert!(all(&play.snapshot(), Standing::Present), "{ill:?}");
    }
}
