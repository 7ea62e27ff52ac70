//! VISCA: no bytes make a reader panic or remember without end, and what was written is read back.

use proptest::collection::vec;
use proptest::prelude::*;
use wire::visca::{
    Command, Control, Datagram, Digits, Exchange, Framing, Inquiry, MAX_PACKET, Position, Reply, Said, Speed,
    Way,
};

const FRAMINGS: [Framing; 3] = [Framing::Headed, Framing::Bare, Framing::Stream];

fn position() -> impl Strategy<Value = Position> {
    let four = (any::<i16>(), any::<i16>()).prop_map(|(pan, tilt)| Position {
        pan: pan.into(),
        tilt: tilt.into(),
        digits: Digits::Four,
    });
    let five = (-524_288..524_288, any::<i16>()).prop_map(|(pan, tilt)| Position {
        pan,
        tilt: tilt.into(),
        digits: Digits::Five,
    });
    prop_oneof![four, five]
}

fn command() -> impl Strategy<Value = Command> {
    let speed = (any::<u8>(), any::<u8>()).prop_map(|(pan, tilt)| Speed::new(pan, tilt));
    let way = || prop::sample::select(vec![Way::Back, Way::Forth, Way::Stay]);
    let drive = (speed.clone(), way(), way()).prop_map(|(speed, pan, tilt)| match (pan, tilt) {
        (Way::Stay, Way::Stay) => Command::Stop,
        (pan, tilt) => Command::Drive { speed, pan, tilt },
    });
    prop_oneof![
        any::<bool>().prop_map(Command::Tally),
        drive,
        (speed.clone(), position()).prop_map(|(speed, to)| Command::Absolute(speed, to)),
        (speed, position()).prop_map(|(speed, by)| Command::Relative(speed, by)),
    ]
}

/// Bytes that look like something now and then.
fn bytes() -> impl Strategy<Value = Vec<u8>> {
    let likely = prop::sample::select(vec![0x01, 0x02, 0x0f, 0x11, 0x20, 0x50, 0x81, 0x90, 0xff, 0x00]);
    vec(prop_oneof![likely, any::<u8>()], 0..300)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn no_bytes_make_a_reader_panic_or_hoard(bytes in bytes(), piece in 1usize..60) {
        let _ = Command::parse(&bytes);
        let _ = Control::parse(&bytes);
        let _ = Position::read(&bytes);
        let _ = Inquiry::parse(&bytes);
        for framing in FRAMINGS {
            let mut exchange = Exchange::new(framing, 7);
            let heard: usize = bytes.chunks(piece).map(|part| exchange.hear(part).len()).sum();
            prop_assert!(heard <= bytes.len());
            // Whatever came before, a whole answer on a new connection is understood.
            exchange.renew();
            let answer = match framing {
                Framing::Headed => [1, 0x11, 0, 3, 0, 0, 0, 7, 0x90, 0x41, 0xff].to_vec(),
                Framing::Bare | Framing::Stream => [0x90, 0x41, 0xff].to_vec(),
            };
            let heard = exchange.hear(&answer);
            prop_assert_eq!(heard[0].said, Said::Reply(Reply::Ack(1)));
        }
    }

    #[test]
    fn what_was_written_is_read_back(command in command(), position in position(), number: u32) {
        let packet = command.packet();
        prop_assert!(packet.len() <= MAX_PACKET);
        prop_assert_eq!(packet.iter().position(|b| *b == 0xff), Some(packet.len() - 1));
        prop_assert_eq!(Command::parse(&packet), Some(command));
        prop_assert_eq!(Position::read(&position.nibbles()), Some(position));
        let told = Reply::Position(position);
        prop_assert_eq!(Reply::parse(&told.emit()), Ok(told));
        let mut headed = Exchange::new(Framing::Headed, number);
        let sent = headed.command(command);
        let read = Datagram::parse(&sent.bytes).unwrap();
        prop_assert_eq!((read.sequence, read.payload), (number, &packet[..]));
    }

    /// Nothing that asks can be taken for something that does: the second byte of the packet tells.
    #[test]
    fn no_command_is_an_inquiry(command in command()) {
        prop_assert_eq!(Inquiry::parse(&command.packet()), None);
        prop_assert_eq!(command.packet()[1], 0x01);
        prop_assert!(Inquiry::ALL.iter().all(|inquiry| inquiry.packet()[1] == 0x09));
    }
}
