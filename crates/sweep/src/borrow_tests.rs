//! Tests of the loan machine by itself.

use proptest::prelude::*;
use vocab::Mac;

use super::*;

const HOST: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 20);

fn ms(millis: u64) -> Moment {
    Moment::from_millis(millis)
}

fn target(address: Ipv4Addr, port: &str) -> Target {
    Target {
        address,
        mac: Some(Mac::new([2, 0x52, 0x43, 0, 0, 21])),
        port: port.parse().unwrap(),
    }
}

fn peer(address: Ipv4Addr) -> Peer {
    Peer {
        address,
        mac: Mac::new([2, 0x52, 0x43, 0, 0, 21]),
    }
}

fn range(text: &str) -> AddressRange {
    text.parse().unwrap()
}

fn acts(loans: &mut Loans) -> Vec<Act> {
    std::iter::from_fn(|| loans.act()).collect()
}

/// Sends what is to be sent at once and opens the link, until `end`; gives when what was done.
fn play(loans: &mut Loans, from: u64, end: u64) -> Vec<(u64, Act)> {
    let mut all = Vec::new();
    for t in from..=end {
        loans.tick(ms(t), |_| Some(Moment::ZERO));
        if let Some(addresses) = loans.admission() {
            loans.admitted(addresses, true);
        }
        for act in acts(loans) {
            if let Act::Probe(address) = act {
                assert!(loans.probe(address).is_some());
                loans.probed(ms(t), address);
            }
            all.push((t, act));
        }
    }
    all
}

fn probes(played: &[(u64, Act)]) -> Vec<(u64, Ipv4Addr)> {
    let probe = |(t, act): &(u64, Act)| match act {
        Act::Probe(a) => Some((*t, *a)),
        _ => None,
    };
    played.iter().filter_map(probe).collect()
}

fn asked(played: &[(u64, Act)]) -> Vec<(u64, Target, Ipv4Addr)> {
    let ask = |(t, act): &(u64, Act)| match act {
        Act::Ask(target, from) => Some((*t, *target, *from)),
        _ => None,
    };
    played.iter().filter_map(ask).collect()
}

#[test]
fn three_probes_half_a_second_apart_and_half_a_second_after_the_last() {
    let mut loans = Loans::new(1);
    let (http, rtsp) = (target(HOST, "http"), target(HOST, "rtsp"));
    loans.want(ms(10), http, vec![range("192.168.0.1-254")]);
    loans.want(ms(10), rtsp, vec![range("192.168.0.1-254")]);
    let played = play(&mut loans, 10, 3_000);
    let probes = probes(&played);
    let from = probes[0].1;
    assert_eq!(probes, [(10, from), (510, from), (1_010, from)]);
    assert!(BEST.contains(&from.octets()[3]), "{from}");
    assert_eq!(played[3], (1_510, Act::Say(from)));
    let mut served = asked(&played);
    served.sort();
    assert_eq!(served, [(1_510, rtsp, from), (1_510, http, from)]);
    assert!(loans.holds(from));
    assert_eq!(loans.let_in, [from]);
    loans.over(&http);
    assert!(loans.holds(from));
    loans.over(&rtsp);
    assert!(!loans.holds(from) && loans.next_wake().is_none());
    assert_eq!(
        loans.admission(),
        Some(vec![]),
        "and the link is closed to it again"
    );
}

#[test]
fn a_standing_loan_serves_further_questions_at_once() {
    let mut loans = Loans::new(1);
    loans.want(ms(0), target(HOST, "http"), vec![range("192.168.0.1-254")]);
    let from = asked(&play(&mut loans, 0, 2_000))[0].2;
    let other = target(Ipv4Addr::new(192, 168, 0, 9), "http");
    loans.want(ms(2_001), other, vec![range("192.168.0.1-254")]);
    assert_eq!(acts(&mut loans), [Act::Ask(other, from)]);
    // What is asked already is not asked twice.
    loans.want(ms(2_002), other, vec![range("192.168.0.1-254")]);
    assert_eq!(acts(&mut loans), []);
    // An address that became somebody's in the rig file is given up.
    let third = target(Ipv4Addr::new(192, 168, 0, 10), "http");
    loans.want(ms(2_003), third, vec![range("192.168.0.30-40")]);
    assert_eq!(acts(&mut loans), [Act::Withdraw(from)]);
    let played = play(&mut loans, 2_003, 4_000);
    let next = asked(&played)[0].2;
    assert!(range("192.168.0.30-40").contains(next));
    assert_eq!(asked(&played).len(), 3);
}

#[test]
fn whoever_shows_up_at_the_address_ends_the_loan_at_any_stage() {
    for stage in [0, 400, 900, 1_400, 1_600] {
        let mut loans = Loans::new(1);
        let http = target(HOST, "http");
        loans.want(ms(0), http, vec![range("192.168.0.1-254")]);
        let before = play(&mut loans, 0, stage);
        let first = probes(&before)[0].1;
        loans.taken(ms(stage), Ipv4Addr::new(192, 168, 0, 77));
        assert_eq!(acts(&mut loans), [], "another address is nothing to us");
        loans.taken(ms(stage), first);
        let stood = stage > 1_500;
        let ended = acts(&mut loans);
        assert_eq!(ended, if stood { vec![Act::Withdraw(first)] } else { vec![] });
        assert!(!loans.holds(first));
        let after = play(&mut loans, stage, 6_000);
        let second = probes(&after)[0].1;
        assert_ne!(second, first);
        assert_eq!(probes(&after).len(), 3, "from the beginning");
        assert_eq!(asked(&after), [(stage + 1_500, http, second)]);
        // Two more times, and there is no way.
        loans.taken(ms(6_000), second);
        let third = probes(&play(&mut loans, 6_000, 6_400))[0].1;
        loans.taken(ms(6_400), third);
        assert_eq!(acts(&mut loans), [Act::NoWay(http)]);
        assert_eq!(loans.next_wake(), None);
    }
}

#[test]
fn it_waits_for_an_address_that_may_be_probed_for_and_not_for_ever() {
    let mut loans = Loans::new(1);
    let http = target(HOST, "http");
    loans.want(ms(0), http, vec![range("192.168.0.100-101")]);
    let late = |a: Ipv4Addr| Some(ms(if a.octets()[3] == 100 { 9_000 } else { 8_000 }));
    loans.tick(ms(0), late);
    assert_eq!((acts(&mut loans), loans.next_wake()), (vec![], Some(ms(8_000))));
    loans.tick(ms(8_000), late);
    assert_eq!(acts(&mut loans), [Act::Probe(Ipv4Addr::new(192, 168, 0, 101))]);
    for (free, ranges) in [
        (Some(ms(30_001)), vec![range("192.168.0.100-101")]),
        (None, vec![range("192.168.0.100-101")]),
        (Some(ms(0)), vec![range("10.40.8.1-254")]),
        (
            Some(ms(0)),
            vec![range("192.168.0.20"), range("192.168.0.254-192.168.1.1")],
        ),
        (Some(ms(0)), vec![]),
    ] {
        let mut loans = Loans::new(1);
        loans.want(ms(0), http, ranges);
        loans.tick(ms(0), |_| free);
        assert_eq!(acts(&mut loans), [Act::NoWay(http)]);
    }
}

#[test]
fn a_probe_that_cannot_leave_or_a_link_that_stays_closed_is_no_way() {
    let http = target(HOST, "http");
    let mut loans = Loans::new(1);
    loans.want(ms(0), http, vec![range("192.168.0.1-254")]);
    loans.tick(ms(0), |_| Some(ms(0)));
    let Some(Act::Probe(address)) = loans.act() else {
        panic!()
    };
    loans.failed(address);
    assert_eq!(acts(&mut loans), [Act::NoWay(http)]);

    let mut loans = Loans::new(1);
    loans.want(ms(0), http, vec![range("192.168.0.1-254")]);
    for t in 0..=1_500 {
        loans.tick(ms(t), |_| Some(ms(0)));
        if let Some(Act::Probe(address)) = loans.act() {
            loans.probed(ms(t), address);
        }
    }
    let addresses = loans.admission().unwrap();
    loans.admitted(addresses, false);
    assert_eq!(acts(&mut loans), [Act::NoWay(http)]);
    assert_eq!(loans.admission(), None, "it is not tried for ever");
}

#[test]
fn loans_are_bounded() {
    let mut loans = Loans::new(1);
    for n in 0..200_u8 {
        let address = Ipv4Addr::new(172, 16, n, 9);
        loans.want(
            ms(0),
            target(address, "http"),
            vec![range("172.16.0.1-172.16.255.254")],
        );
    }
    let refused = acts(&mut loans);
    assert_eq!(refused.len(), 200 - LOANS_MAX);
    assert!(refused.iter().all(|act| matches!(act, Act::NoWay(_))));
}

proptest! {
    /// Whatever is asked and whoever shows up: nothing outside the ranges, nothing known, and
    /// nobody's own address is ever probed for or spoken from, and every question has one end.
    #[test]
    fn only_what_may_be_borrowed_is(
        seed in any::<u64>(),
        ranges in prop::collection::vec((0_u8..=255, 0_u8..40), 0..4),
        known in prop::collection::btree_set(0_u8..=255, 0..60),
        wants in prop::collection::vec((0_u64..4_000, 0_u8..=255, 0_usize..3), 1..12),
        showing in prop::collection::vec((0_u64..8_000, any::<bool>(), 0_u8..=255), 0..6),
        tunnel in prop::option::of((0_u64..4_000, 0_u8..=255)),
    ) {
        let at = |d: u8| Ipv4Addr::new(192, 168, 0, d);
        let ranges: Vec<AddressRange> = ranges
            .iter()
            .map(|(first, span)| AddressRange::new(at(*first), at(first.saturating_add(*span))).unwrap())
            .collect();
        let mut known: BTreeSet<Ipv4Addr> = known.into_iter().map(at).collect();
        let mut loans = Loans::new(seed);
        let (mut open, mut borrowed) = (BTreeSet::new(), None);
        let mut refused = false;
        for t in (0..20_000).step_by(50) {
            if let Some((_, d)) = tunnel.filter(|(at, _)| at / 50 == t / 50) {
                known.insert(at(d));
                loans.taken(ms(t), at(d));
                loans.hold(ms(t), peer(at(d)), ranges.clone());
            }
            for (_, d, word) in wants.iter().filter(|w| w.0 / 50 == t / 50) {
                let target = target(at(*d), ["http", "rtsp", "onvif"][*word]);
                known.insert(at(*d));
                // As when it is heard.
                loans.taken(ms(t), at(*d));
                loans.want(ms(t), target, ranges.clone());
                open.insert(target);
            }
            for (_, ours, d) in showing.iter().filter(|s| s.0 / 50 == t / 50) {
                let address = borrowed.filter(|_| *ours).unwrap_or(at(*d));
                known.insert(address);
                loans.taken(ms(t), address);
            }
            loans.tick(ms(t), |a| (!known.contains(&a)).then_some(Moment::ZERO));
            if let Some(addresses) = loans.admission() {
                loans.admitted(addresses, true);
            }
            for act in acts(&mut loans) {
                let used = match act {
                    Act::Probe(a) => {
                        loans.probed(ms(t), a);
                        Some(a)
                    }
                    Act::Ask(target, from) => {
                        if t % 400 == 0 {
                            loans.over(&target);
                            prop_assert!(open.remove(&target));
                        }
                        Some(from)
                    }
                    Act::NoWay(target) => {
                        prop_assert!(open.remove(&target));
                        None
                    }
                    Act::Say(from) => {
                        borrowed = Some(from);
                        Some(from)
                    }
                    Act::Lend(to, from) => {
                        prop_assert_eq!(to.address, at(tunnel.unwrap().1));
                        Some(from)
                    }
                    Act::NoLoan(_) => {
                        refused = true;
                        None
                    }
                    Act::Withdraw(_) => None,
                };
                if let Some(a) = used {
                    prop_assert!(!known.contains(&a) && ranges.iter().any(|r| r.contains(a)), "{a}");
                    prop_assert!(!NEVER.contains(&a.octets()[3]));
                }
            }
        }
        let under_way: BTreeSet<Target> = loans
            .list
            .values()
            .flat_map(|l| l.asked.iter().chain(&l.waiting).copied())
            .collect();
        prop_assert_eq!(open, under_way, "nothing is forgotten");
        let holds = loans.list.values().any(|l| !l.hold.is_empty());
        prop_assert_eq!(holds, tunnel.is_some() && !refused, "a tunnel is held or refused");
    }
}

#[derive(Debug, Clone)]
enum Step {
    Want(u8, u8),
    Hold(u8),
    LetGo(u8),
    Taken(u8),
    ProbeFails,
    LinkRefuses,
    Later(u16),
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        3 => (0_u8..4, 0_u8..3).prop_map(|(net, host)| Step::Want(net, host)),
        1 => (0_u8..4).prop_map(Step::Hold),
        1 => (0_u8..4).prop_map(Step::LetGo),
        1 => any::<u8>().prop_map(Step::Taken),
        1 => Just(Step::ProbeFails),
        1 => Just(Step::LinkRefuses),
        3 => (0_u16..900).prop_map(Step::Later),
    ]
}

proptest! {
    /// Whatever happens on the way, a loan ends with its questions, and each of these is put or given up.
    #[test]
    fn no_loan_outlives_its_work(steps in prop::collection::vec(step(), 1..60)) {
        let mut loans = Loans::new(1);
        let mut now = 0_u64;
        let mut wanted = BTreeSet::new();
        let mut ended = BTreeSet::new();
        let mut put = Vec::new();
        let (mut fails, mut refuses) = (false, false);
        let ends = (0..4).map(Step::LetGo);
        let calm = std::iter::repeat_n(Step::Later(600), 200);
        for step in steps.into_iter().chain(ends).chain(calm) {
            match step {
                Step::Want(net, host) => {
                    let target = target(Ipv4Addr::new(192, 168, net, 20 + host), "http");
                    ended.remove(&target);
                    wanted.insert(target);
                    loans.want(ms(now), target, vec![range("192.168.0.1-192.168.255.254")]);
                }
                Step::Hold(net) => {
                    let at = Ipv4Addr::new(192, 168, net, 30);
                    loans.hold(ms(now), peer(at), vec![range("192.168.0.1-192.168.255.254")]);
                }
                Step::LetGo(net) => loans.let_go(peer(Ipv4Addr::new(192, 168, net, 30))),
                Step::Taken(n) => {
                    let open: Vec<_> = loans.list.values().filter_map(|l| l.state.address()).collect();
                    if let Some(address) = open.get(usize::from(n) % open.len().max(1)) {
                        loans.taken(ms(now), *address);
                    }
                }
                Step::ProbeFails => fails = true,
                Step::LinkRefuses => refuses = true,
                Step::Later(wait) => now += u64::from(wait),
            }
            // What was put is over by now.
            for target in std::mem::take(&mut put) {
                loans.over(&target);
                ended.insert(target);
            }
            loans.tick(ms(now), |_| Some(Moment::ZERO));
            if let Some(addresses) = loans.admission() {
                loans.admitted(addresses, !std::mem::take(&mut refuses));
            }
            while let Some(act) = loans.act() {
                match act {
                    Act::Probe(address) if std::mem::take(&mut fails) => loans.failed(address),
                    Act::Probe(address) => loans.probed(ms(now), address),
                    Act::Ask(target, _) => put.push(target),
                    Act::NoWay(target) => drop(ended.insert(target)),
                    Act::Withdraw(_) => put.clear(),
                    Act::Say(_) | Act::Lend(..) | Act::NoLoan(_) => {}
                }
            }
        }
        prop_assert!(loans.list.is_empty(), "{:?}", loans.list);
        prop_assert_eq!(ended, wanted);
        prop_assert!(loans.admission().is_none() && loans.next_wake().is_none());
    }
}
