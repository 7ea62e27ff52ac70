//! Tests of the matching of replies and of silences.

use super::*;

const A: Ipv4Addr = Ipv4Addr::new(10, 40, 8, 21);
const M: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x21]);
const OTHER: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x99]);

fn ms(millis: u64) -> Moment {
    Moment::from_millis(millis)
}

fn reply(sender: Mac, names_us: bool) -> Reply {
    Reply {
        address: A,
        sender,
        names_us,
        proves: true,
    }
}

fn silences(questions: &mut Questions, now: Moment) -> Vec<ArpForm> {
    let mut out = Vec::new();
    questions.tick(now, |s| out.push(s.form));
    out
}

#[test]
fn all_claimants_of_one_broadcast_are_answers() {
    let mut q = Questions::default();
    q.sent(ms(0), A, ArpForm::Broadcast, true);
    assert_eq!(
        q.answer(ms(1), reply(M, true)).map(|a| a.after),
        Some(Duration::from_millis(1))
    );
    assert_eq!(
        q.answer(ms(2), reply(OTHER, true)).map(|a| a.after),
        Some(Duration::from_millis(2))
    );
    assert_eq!(silences(&mut q, ms(300)), []);
    assert_eq!(
        q.answer(ms(900), reply(OTHER, true)).map(|a| a.form),
        Some(ArpForm::Broadcast)
    );
    assert_eq!(silences(&mut q, ms(1_000)), []);
    assert_eq!(q.answer(ms(1_000), reply(M, true)), None);
    assert_eq!(q.next_wake(), None);
}

#[test]
fn a_late_reply_is_matched_though_the_silence_was_told() {
    let mut q = Questions::default();
    q.sent(ms(0), A, ArpForm::Broadcast, true);
    assert_eq!(silences(&mut q, ms(299)), []);
    assert_eq!(silences(&mut q, ms(300)), [ArpForm::Broadcast]);
    assert_eq!(silences(&mut q, ms(301)), []);
    assert_eq!(
        q.answer(ms(800), reply(M, true)).map(|a| a.after),
        Some(Duration::from_millis(800))
    );
}

#[test]
fn the_target_address_tells_a_proxy_from_an_owner() {
    let mut q = Questions::default();
    q.sent(ms(0), A, ArpForm::Nobody, false);
    q.sent(ms(1), A, ArpForm::Broadcast, true);
    assert_eq!(
        q.answer(ms(2), reply(M, false)).map(|a| a.form),
        Some(ArpForm::Nobody)
    );
    assert_eq!(
        q.answer(ms(3), reply(M, true)).map(|a| a.form),
        Some(ArpForm::Broadcast)
    );
    assert_eq!(
        q.answer(ms(4), reply(M, true)).map(|a| a.form),
        Some(ArpForm::Broadcast)
    );

    let mut q = Questions::default();
    q.sent(ms(0), A, ArpForm::Nobody, false);
    assert_eq!(
        q.answer(ms(2), reply(M, true)),
        None,
        "a proxy's late answer to an older question"
    );
}

#[test]
fn a_unicast_question_is_answered_by_its_host_and_the_latest_open_one_counts() {
    let mut q = Questions::default();
    q.sent(ms(0), A, ArpForm::Broadcast, true);
    q.sent(ms(5), A, ArpForm::Unicast(M), true);
    assert_eq!(
        q.answer(ms(6), reply(OTHER, true)).map(|a| a.form),
        Some(ArpForm::Broadcast)
    );
    assert_eq!(
        q.answer(ms(7), reply(M, true)).map(|a| a.form),
        Some(ArpForm::Unicast(M))
    );
    assert_eq!(
        q.answer(ms(8), reply(M, true)).map(|a| a.form),
        Some(ArpForm::Broadcast)
    );
}

#[test]
fn a_reply_whose_frame_came_from_elsewhere_ends_no_silence() {
    let mut q = Questions::default();
    q.sent(ms(0), A, ArpForm::Broadcast, true);
    assert!(
        q.answer(
            ms(1),
            Reply {
                proves: false,
                ..reply(M, true)
            }
        )
        .is_some()
    );
    assert_eq!(silences(&mut q, ms(300)), [ArpForm::Broadcast]);
}

#[test]
fn a_stall_of_ours_is_no_silence() {
    let mut q = Questions::default();
    q.sent(ms(0), A, ArpForm::Broadcast, true);
    assert_eq!(silences(&mut q, ms(5_000)), []);
    assert_eq!(q.next_wake(), Some(ms(5_050)));
    assert!(q.answer(ms(5_010), reply(M, true)).is_some());
    assert_eq!(silences(&mut q, ms(6_500)), []);

    q.sent(ms(7_000), A, ArpForm::Broadcast, true);
    assert_eq!(silences(&mut q, ms(9_000)), []);
    assert_eq!(
        silences(&mut q, ms(12_000)),
        [ArpForm::Broadcast],
        "one grace only"
    );
}

#[test]
fn as_many_on_their_way_as_answers_find_room_and_no_more() {
    let fill = |q: &mut Questions| {
        let mut sent = 0;
        while q.ready_at() <= ms(0) {
            let address = Ipv4Addr::from(u32::from(A) + sent);
            q.sent(ms(0), address, ArpForm::Broadcast, true);
            sent += 1;
        }
        sent
    };
    for (room, most) in [(332, 332), (0, 32), (1_000_000, 1_024)] {
        let mut q = Questions::default();
        q.set_room(room);
        assert_eq!(fill(&mut q), most);
    }
    let mut q = Questions::default();
    assert_eq!(fill(&mut q), 200);
    assert_eq!(q.ready_at(), ms(2));
    q.answer(ms(1), reply(M, true));
    assert!(q.ready_at() <= ms(0));
    q.sent(ms(1), A, ArpForm::Broadcast, true);
    assert_eq!(silences(&mut q, ms(2)), []);
    assert!(q.ready_at() <= ms(0));
}
