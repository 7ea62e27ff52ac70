//! A simulated camera under the questions and commands of several peers.

use vocab::Power;

use super::*;
use crate::visca::{Exchange, Said, Speed, Version};

fn persona() -> Persona {
    Persona {
        version: Version {
            vendor: 1,
            model: 2,
            rom: 3,
        },
        power: Power::On,
        server: String::new(),
        title: String::new(),
        host_name: String::new(),
        login: false,
        onvif: false,
    }
}

const fn ms(ms: u64) -> Moment {
    Moment::from_millis(ms)
}

/// What a camera says to `who` by `now`, after it heard these bytes at the port with the header.
fn say(camera: &mut Camera<u8>, who: u8, bytes: &[u8], now: Moment) -> Vec<(u8, Said)> {
    camera.hear(&persona(), &who, ControlWord::ViscaUdp, bytes, now);
    let mut ear = Exchange::new(Framing::Headed, 0);
    let said = camera.take(now).into_iter();
    said.map(|(peer, _, bytes)| (peer, ear.hear(&bytes)[0].said))
        .collect()
}

#[test]
fn it_moves_and_says_when_it_is_done() {
    let mut camera = Camera::new(CameraPlan::default());
    let mut talk = Exchange::new(Framing::Headed, 7);
    let go = talk.command(Command::Relative(Speed::SLOWEST, at(10, 0))).bytes;
    assert_eq!(say(&mut camera, 1, &go, ms(0)), [(1, Said::Reply(Reply::Ack(1)))]);
    assert_eq!(camera.due(), Some(ms(500)));
    let ask = talk.inquire(Inquiry::Position).bytes;
    assert_eq!(
        say(&mut camera, 1, &ask, ms(250)),
        [(1, Said::Reply(Reply::Position(at(5, 0))))]
    );
    assert_eq!(camera.take(ms(500)).len(), 1);
    assert_eq!(camera.position(ms(600)), Some(at(10, 0)));
    let lamp = talk.command(Command::Tally(true)).bytes;
    let done = [Reply::Ack(2), Reply::Done(2)].map(|reply| (1, Said::Reply(reply)));
    assert_eq!(say(&mut camera, 1, &lamp, ms(700)), done);
    assert_eq!(camera.lamp(), Some(true));
}

#[test]
fn one_without_positions_refuses_the_question() {
    let mut camera = Camera::new(CameraPlan {
        tells_position: false,
        lamp: None,
        ..CameraPlan::default()
    });
    let mut talk = Exchange::new(Framing::Headed, 0);
    let refused = [(1, Said::Reply(Reply::Refused(Refusal::Syntax)))];
    for inquiry in [Inquiry::Position, Inquiry::Tally] {
        let ask = talk.inquire(inquiry).bytes;
        assert_eq!(say(&mut camera, 1, &ask, ms(0)), refused);
    }
    let lamp = talk.command(Command::Tally(true)).bytes;
    assert_eq!(say(&mut camera, 1, &lamp, ms(0)), refused);
}

#[test]
fn one_that_answers_the_last_peer_takes_the_word_from_the_first() {
    let mut camera = Camera::new(CameraPlan {
        last_peer_only: true,
        thinks: Duration::from_millis(20),
        ..CameraPlan::default()
    });
    let ask = Exchange::new(Framing::Headed, 0).inquire(Inquiry::Power).bytes;
    assert!(say(&mut camera, 1, &ask, ms(0)).is_empty());
    assert!(say(&mut camera, 2, &ask, ms(10)).is_empty());
    let to: Vec<u8> = camera.take(ms(30)).into_iter().map(|(peer, ..)| peer).collect();
    assert_eq!(to, [2, 2]);
}

#[test]
fn one_that_counts_wants_a_reset_or_the_next_number() {
    let mut camera = Camera::new(CameraPlan {
        counts: true,
        ..CameraPlan::default()
    });
    let mut talk = Exchange::new(Framing::Headed, 900);
    let ask = talk.inquire(Inquiry::Power).bytes;
    let wrong = [(1, Said::Control(Control::SequenceError))];
    assert_eq!(say(&mut camera, 1, &ask, ms(0)), wrong);
    let reset = talk.reset().unwrap().bytes;
    assert_eq!(
        say(&mut camera, 1, &reset, ms(0)),
        [(1, Said::Control(Control::Reset))]
    );
    let on = [(1, Said::Reply(Reply::Byte(2)))];
    for _ in 0..3 {
        let ask = talk.inquire(Inquiry::Power).bytes;
        assert_eq!(say(&mut camera, 1, &ask, ms(0)), on);
        // The same one again is not the next one.
        assert_eq!(say(&mut camera, 1, &ask, ms(0)), wrong);
    }
}

#[test]
fn busy_silent_and_dead_ones() {
    let ask = Exchange::new(Framing::Headed, 0).inquire(Inquiry::Power).bytes;
    let mut busy = Camera::new(CameraPlan {
        busy: 1,
        ..CameraPlan::default()
    });
    assert_eq!(
        say(&mut busy, 1, &ask, ms(0)),
        [(1, Said::Reply(Reply::Refused(Refusal::BufferFull)))]
    );
    assert_eq!(say(&mut busy, 1, &ask, ms(0)), [(1, Said::Reply(Reply::Byte(2)))]);
    let mut silent = Camera::new(CameraPlan {
        silent: true,
        ..CameraPlan::default()
    });
    assert!(say(&mut silent, 1, &ask, ms(0)).is_empty());
    let mut dying = Camera::new(CameraPlan {
        dies_at: Some(2),
        ..CameraPlan::default()
    });
    assert_eq!(say(&mut dying, 1, &ask, ms(0)).len(), 1);
    assert!(say(&mut dying, 1, &ask, ms(0)).is_empty());
    assert!(dying.is_dead());
}

#[test]
fn a_stream_is_taken_in_whole_packets() {
    let mut camera: Camera<u8> = Camera::new(CameraPlan::default());
    let ask = Inquiry::Position.packet();
    let both = [ask, &ask[..2]].concat();
    let taken = camera.hear(&persona(), &1, ControlWord::ViscaTcp, &both, ms(0));
    assert_eq!(taken, ask.len());
    assert_eq!(camera.take(ms(0)).len(), 1);
}
