//! A network behind a router, fact by fact.

use std::time::Duration;

use rig::{AskWhen, Reach, Rig};
use vocab::{Ask, ControlState, Fact, Mode, Sighting, SilentTo, Station};

use super::world::{device, ip, rig, secs, settings, station};
use crate::{FindingKind, Ledger, Purpose, Standing};

const AT: &str = "10.40.8.21";

/// A device with one control port behind a router, and the facts that are told of it.
struct Office {
    ledger: Ledger,
    now: f64,
}

impl Office {
    fn new(change: impl FnOnce(&mut Rig)) -> Self {
        let mut loft = device("Loft", 21);
        loft.control = vec!["http".parse().unwrap()];
        let mut rig = rig(vec![loft]);
        rig.network.reach = Reach::Routed;
        change(&mut rig);
        let mut office = Self {
            ledger: Ledger::new(settings(rig, Purpose::Board), secs(0.0)),
            now: 0.0,
        };
        office.see(Fact::Station(Station {
            mode: Mode::Routed,
            addresses: vec!["10.1.1.5/24".parse().unwrap()],
            ..station()
        }));
        office
    }

    fn see(&mut self, fact: Fact) {
        let at = secs(self.now);
        self.ledger.fold(&Sighting { at, fact });
    }

    /// All that is asked within `seconds`.
    fn asks(&mut self, seconds: f64) -> Vec<Ask> {
        let end = self.now + seconds;
        let mut all = Vec::new();
        while self.now < end {
            self.ledger.tick(secs(self.now));
            all.extend(std::iter::from_fn(|| self.ledger.next_ask(secs(self.now))));
            self.now += 0.05;
        }
        all
    }

    fn echo(&mut self) {
        self.sent();
        self.now += 0.002;
        self.see(Fact::Echo {
            address: ip(AT),
            mac: None,
            asked: None,
            rtt: Duration::from_millis(2),
            ttl: None,
        });
    }

    fn sent(&mut self) {
        self.see(Fact::Sent {
            address: ip(AT),
            what: SilentTo::Echo(None),
        });
    }

    /// So many echo requests that stay unanswered; nine in a row are more than loss.
    fn silence(&mut self, times: u32) -> Vec<Ask> {
        let mut asked = Vec::new();
        for _ in 0..times {
            asked.extend(self.asks(6.0));
            let sent = secs(self.now);
            self.sent();
            self.now += 1.5;
            self.see(Fact::Silent {
                address: ip(AT),
                what: SilentTo::Echo(None),
                sent,
            });
        }
        asked
    }

    fn port(&mut self, state: ControlState) {
        let asked = secs(self.now);
        self.now += 0.1;
        self.see(Fact::Control {
            address: ip(AT),
            mac: None,
            port: "http".parse().unwrap(),
            state,
            detail: None,
            asked,
        });
    }

    fn standing(&self) -> Standing {
        self.ledger.standing("Loft").unwrap()
    }
}

#[test]
fn echo_and_ports_are_asked_beside_each_other_and_nothing_else_is() {
    let mut office = Office::new(|_| {});
    let asks = office.asks(1.0);
    assert!(
        asks.iter()
            .any(|a| matches!(a, Ask::Echo { address, mac: None, .. } if *address == ip(AT))),
        "{asks:?}"
    );
    assert!(
        asks.iter().any(|a| matches!(a, Ask::Control { mac: None, .. })),
        "{asks:?}"
    );
    let only = |a: &Ask| matches!(a, Ask::Echo { .. } | Ask::Control { .. });
    assert!(asks.iter().all(only), "{asks:?}");
}

#[test]
fn an_echo_and_an_answering_port_make_it_present() {
    let mut office = Office::new(|_| {});
    office.asks(0.1);
    office.port(ControlState::Answered);
    office.echo();
    assert_eq!(office.standing(), Standing::Present);
    let seen = office.ledger.snapshot(secs(office.now)).devices[0]
        .seen
        .clone()
        .unwrap();
    assert!(seen.mac.is_none() && seen.rtt.is_some());
}

#[test]
fn a_port_alone_makes_it_present_and_keeps_it_so_without_echo() {
    let mut office = Office::new(|_| {});
    office.asks(0.1);
    office.port(ControlState::Answered);
    assert_eq!(office.standing(), Standing::Present);
    let survey = {
        let mut office = Office::new(|_| {});
        office.asks(0.1);
        office.port(ControlState::Answered);
        office.silence(2);
        office.ledger.pass_complete()
    };
    assert!(survey, "two questions are enough for the first pass");
    // It is asked again and again, since nothing else speaks for it.
    let again = office.silence(12);
    assert_eq!(office.standing(), Standing::Present);
    assert!(
        again.iter().any(|a| matches!(a, Ask::Control { .. })),
        "{again:?}"
    );
    office.port(ControlState::Silent);
    assert_eq!(office.standing(), Standing::Missing);
}

#[test]
fn a_refusing_port_is_no_control_and_not_missing() {
    let mut office = Office::new(|rig| rig.devices[0].boot = Duration::from_secs(1));
    office.asks(0.1);
    office.port(ControlState::Refused);
    office.asks(2.0);
    office.silence(3);
    assert_eq!(office.standing(), Standing::NoControl);
}

#[test]
fn it_is_missing_only_when_echo_and_ports_were_asked_in_vain() {
    let mut office = Office::new(|_| {});
    office.asks(0.1);
    office.silence(9);
    assert_eq!(office.standing(), Standing::Unknown, "the port has not told yet");
    office.port(ControlState::Silent);
    assert_eq!(office.standing(), Standing::Missing);
    let snapshot = office.ledger.snapshot(secs(office.now));
    assert!(snapshot.unlisted.is_empty(), "{:?}", snapshot.unlisted);
    // Where the file says that its ports are never asked, the echo decides alone.
    let mut quiet = Office::new(|rig| rig.devices[0].ask = AskWhen::Never);
    quiet.asks(0.1);
    quiet.silence(9);
    assert_eq!(quiet.standing(), Standing::Missing);
}

#[test]
fn one_that_goes_is_asked_at_its_ports_and_never_called_without_control_on_the_way() {
    let mut office = Office::new(|_| {});
    office.asks(0.1);
    office.port(ControlState::Answered);
    office.echo();
    office.silence(1);
    let asks = office.asks(0.2);
    assert!(asks.iter().any(|a| matches!(a, Ask::Control { .. })), "{asks:?}");
    office.port(ControlState::Silent);
    assert_eq!(office.standing(), Standing::Present, "it may just be going");
    office.silence(9);
    assert_eq!(office.standing(), Standing::Missing);
}

#[test]
fn without_a_way_nobody_is_missing_and_it_is_told() {
    let mut office = Office::new(|_| {});
    office.asks(0.1);
    office.silence(2);
    office.port(ControlState::Silent);
    office.see(Fact::NoWay { address: ip(AT) });
    office.silence(2);
    office.see(Fact::NoWay { address: ip(AT) });
    assert_eq!(office.standing(), Standing::Unknown);
    let found = |office: &Office| {
        let snapshot = office.ledger.snapshot(secs(office.now));
        snapshot.findings.iter().any(|f| f.kind == FindingKind::NoWay)
    };
    assert!(found(&office));
    assert!(office.ledger.pass_complete(), "nothing is waited for");
    office.asks(1.0);
    office.echo();
    assert!(!found(&office));
    office.asks(1.0);
    office.port(ControlState::Answered);
    assert_eq!(office.standing(), Standing::Present);
}

#[test]
fn one_that_was_there_is_not_missing_when_the_way_breaks() {
    let mut office = Office::new(|_| {});
    office.asks(0.1);
    office.port(ControlState::Answered);
    office.echo();
    office.silence(2);
    office.see(Fact::NoWay { address: ip(AT) });
    assert_eq!(office.standing(), Standing::Unknown);
}

#[test]
fn it_is_ready_after_two_echoes() {
    let mut office = Office::new(|_| {});
    office.asks(0.1);
    office.port(ControlState::Answered);
    office.echo();
    office.asks(1.0);
    assert!(!office.ledger.ready(), "asked once only");
    office.echo();
    office.asks(1.0);
    assert!(office.ledger.ready());
    let headline = office.ledger.snapshot(secs(office.now)).headline;
    assert!(
        headline.contains("Clashes and hardware not seen on main."),
        "{headline}"
    );
}
