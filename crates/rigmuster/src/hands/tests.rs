//! The room by itself: ways, exchanges, waiting, questions, and what ends a deed.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};

use wire::visca;

use super::script::{Answer, Stage, lock, run};
use super::wish::NoWay;
use super::*;

const SECOND: Duration = Duration::from_secs(1);

/// The version inquiry, to the port of VISCA over IP.
async fn version(desk: &Desk, port: &mut Exchange) -> Option<Vec<u8>> {
    let mut talk = visca::Exchange::new(visca::Framing::Headed, 7);
    let sending = talk.inquire(visca::Inquiry::Version);
    port.send(&sending.bytes).await;
    desk.within(SECOND, port.next()).await
}

#[test]
fn a_deed_speaks_with_several_devices_by_datagrams_and_streams() {
    run(async {
        let mut stage = Stage::named("calm", 1);
        let one = stage.place("Organ loft").await;
        let other = stage.place("Stage left").await;
        let course = stage
            .play([], vec![], |desk, talk| {
                let (one, other) = (one.clone(), other.clone());
                async move {
                    let first = desk.reach(&one).await.unwrap();
                    let second = desk.reach(&other).await.unwrap();
                    assert!(matches!(first.way(), Way::Stands(_)));
                    for (reached, place) in [(&first, &one), (&second, &other)] {
                        let mut port = reached.exchange(52_381).await;
                        let answer = version(&desk, &mut port).await.unwrap();
                        assert_eq!(answer[..2], [1, 0x11]);
                        talk.say(format!("{} answers", place.called()));
                    }
                    let mut page = first.stream(80).await.unwrap();
                    page.write_all(b"HEAD / HTTP/1.0\r\n\r\n").await.unwrap();
                    let mut head = [0; 7];
                    page.read_exact(&mut head).await.unwrap();
                    assert_eq!(&head, b"HTTP/1.");
                    let none = first.stream(9_999).await.map(drop);
                    assert_eq!(none, Err(link::Stage::Refused));
                    End::Done
                }
            })
            .await;
        assert_eq!(course.end, Some(End::Done));
        assert_eq!(course.lines.len(), 2);
        assert!(course.took < 5 * SECOND, "{:?}", course.took);
    });
}

#[test]
fn waiting_goes_by_the_venues_clock_and_the_head_count_goes_on() {
    run(async {
        let mut stage = Stage::named("calm", 1);
        let course = stage
            .play([], vec![], |desk, talk| async move {
                let mut revision = 0;
                while !talk.next_snapshot(&mut revision).await.unwrap().ready {}
                let began = desk.now();
                desk.wait(120 * SECOND).await;
                assert_eq!(desk.now().since(began), 120 * SECOND);
                assert_eq!(desk.within(SECOND, std::future::pending::<()>()).await, None);
                talk.say(talk.snapshot().await.unwrap().headline.clone());
                End::Done
            })
            .await;
        assert_eq!(course.end, Some(End::Done));
        assert!(course.took >= 121 * SECOND);
        assert!(course.says("Ready"), "{:?}", course.lines);
    });
}

#[test]
fn questions_are_answered_by_what_was_typed_and_only_a_clear_yes_is_one() {
    run(async {
        let mut stage = Stage::named("calm", 1);
        let yes = ["y", "Y", "yes", " yes "].map(Answer::Line);
        let no = ["", "n", "ja", "yess", "Yes!"].map(Answer::Line);
        let typed = ["yes", "y", ""].map(Answer::Line);
        let rest = ["some line", "hush"].map(Answer::Line);
        let answers = yes.into_iter().chain(no).chain(typed).chain(rest);
        let course = stage
            .play(answers, vec![], |_, talk| async move {
                for _ in 0..4 {
                    assert!(talk.agree("Do it?").await.unwrap());
                }
                for _ in 0..5 {
                    assert!(!talk.agree("Do it?").await.unwrap());
                }
                for expected in [true, false, false] {
                    assert_eq!(talk.typed("yes", "Type yes:").await, Ok(expected));
                }
                assert_eq!(talk.line("Which?").await.unwrap(), "some line");
                let secret = talk.secret("Word:").await.unwrap();
                assert_eq!(secret.expose(), "hush");
                talk.say(format!("{secret:?}"));
                End::Done
            })
            .await;
        assert_eq!(course.end, Some(End::Done));
        assert!(!course.says("hush"));
    });
}

#[test]
fn an_interrupt_and_nobody_to_ask_end_a_question() {
    for (answer, stop) in [
        (Answer::Interrupt, Stop::Interrupted),
        (Answer::Nobody, Stop::NobodyToAsk),
    ] {
        run(async {
            let mut stage = Stage::named("calm", 1);
            let course = stage
                .play([answer], vec![], |_, talk| async move {
                    match talk.agree("Do it?").await {
                        Err(stop) => End::Stopped(stop),
                        Ok(_) => End::Done,
                    }
                })
                .await;
            assert_eq!(course.end, Some(End::Stopped(stop)));
        });
    }
}

#[test]
fn after_an_interrupt_a_deed_puts_things_back_and_has_a_bounded_time_for_it() {
    run(async {
        let mut stage = Stage::named("calm", 1);
        let place = stage.place("Organ loft").await;
        let interrupt = || -> Vec<script::Event> {
            vec![(
                3 * SECOND,
                Box::new(|source, doing| doing.stop(Stop::Interrupted, source)),
            )]
        };
        let course = stage
            .play([], interrupt(), |desk, talk| {
                let place = place.clone();
                async move {
                    let reached = desk.reach(&place).await.unwrap();
                    let mut port = reached.exchange(52_381).await;
                    let stop = talk.unless_stopped(desk.wait(60 * SECOND)).await.unwrap_err();
                    // What is said now still goes out.
                    assert!(version(&desk, &mut port).await.is_some());
                    End::Stopped(stop)
                }
            })
            .await;
        assert_eq!(course.end, Some(End::Stopped(Stop::Interrupted)));
        assert!(course.took < 4 * SECOND);
        let course = stage.play([], interrupt(), |_, _| std::future::pending()).await;
        assert_eq!(course.end, Some(End::Overdue));
        assert_eq!(course.took, 18 * SECOND);
    });
}

#[test]
fn under_the_show_lock_nothing_leaves_whatever_a_deed_does() {
    run(async {
        let mut stage = Stage::named("calm", 1);
        let place = stage.place("Organ loft").await;
        let events: Vec<script::Event> = vec![(3 * SECOND, Box::new(lock))];
        let seen = Arc::new(Mutex::new(Vec::new()));
        let log = Arc::clone(&seen);
        let course = stage
            .play([], events, |desk, talk| {
                let place = place.clone();
                async move {
                    let reached = desk.reach(&place).await.unwrap();
                    let mut port = reached.exchange(52_381).await;
                    assert_eq!(talk.stopped().await, Stop::Locked);
                    assert_eq!(version(&desk, &mut port).await, None);
                    assert_eq!(reached.stream(80).await.map(drop), Err(link::Stage::Cut));
                    assert_eq!(reached.way(), Way::Closed(NoWay::Locked));
                    assert_eq!(desk.reach(&place).await.map(drop), Err(NoWay::Locked));
                    log.lock().unwrap().push(desk.now());
                    End::Stopped(Stop::Locked)
                }
            })
            .await;
        assert_eq!(course.end, Some(End::Stopped(Stop::Locked)));
        assert_eq!(seen.lock().unwrap().len(), 1);
    });
}
