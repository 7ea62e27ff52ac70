//! The codec against bytes as the manuals named in each file print them, with sample values of our own.

use vocab::{ControlWord, Power};

use super::*;

const VERSION_REPLY: [u8; 10] = [0x90, 0x50, 0x00, 0x01, 0x05, 0x11, 0x01, 0x00, 0x02, 0xff];
const VERSION: Version = Version {
    vendor: 1,
    model: 0x0511,
    rom: 0x0100,
};

fn hex(text: &str) -> Vec<u8> {
    text.split(' ')
        .map(|b| u8::from_str_radix(b, 16).unwrap())
        .collect()
}

#[test]
fn a_version_inquiry_and_its_reply() {
    let ask = Datagram {
        kind: Kind::Inquiry,
        sequence: 7,
        payload: Inquiry::Version.packet(),
    };
    let bytes = [0x01, 0x10, 0, 5, 0, 0, 0, 7, 0x81, 0x09, 0x00, 0x02, 0xff];
    assert_eq!(ask.emit(), bytes);
    assert_eq!(Datagram::parse(&bytes), Ok(ask));
    assert_eq!(Reply::parse(&VERSION_REPLY), Ok(Reply::Version(VERSION)));
    assert_eq!(Reply::Version(VERSION).emit(), VERSION_REPLY);
    assert_eq!(VERSION.describe().as_str(), "vendor 0001 model 0511, rom 0100");
}

#[test]
fn commands_have_the_published_bytes() {
    let slow = Speed::new(3, 2);
    let drive = |pan, tilt| Command::Drive {
        speed: slow,
        pan,
        tilt,
    };
    let at = |pan, tilt, digits| Position { pan, tilt, digits };
    for (command, text) in [
        (Command::Tally(true), "81 01 7e 01 0a 00 02 ff"),
        (Command::Tally(false), "81 01 7e 01 0a 00 03 ff"),
        (drive(Way::Stay, Way::Back), "81 01 06 01 03 02 03 01 ff"),
        (drive(Way::Stay, Way::Forth), "81 01 06 01 03 02 03 02 ff"),
        (drive(Way::Back, Way::Stay), "81 01 06 01 03 02 01 03 ff"),
        (drive(Way::Forth, Way::Back), "81 01 06 01 03 02 02 01 ff"),
        (Command::Stop, "81 01 06 01 01 01 03 03 ff"),
        (
            Command::Absolute(slow, at(-0x123, 0x45, Digits::Four)),
            "81 01 06 02 03 02 0f 0e 0d 0d 00 00 04 05 ff",
        ),
        (
            Command::Relative(slow, at(0x12345, -1, Digits::Five)),
            "81 01 06 03 03 02 01 02 03 04 05 0f 0f 0f 0f ff",
        ),
    ] {
        assert_eq!(command.packet(), hex(text));
        assert_eq!(Command::parse(&hex(text)), Some(command));
    }
    for inquiry in Inquiry::ALL {
        assert_eq!(Inquiry::parse(inquiry.packet()), Some(inquiry));
        assert_eq!(Command::parse(inquiry.packet()), None, "an inquiry is no command");
    }
    assert_eq!(Inquiry::Position.packet(), hex("81 09 06 12 ff"));
    assert_eq!(Inquiry::Tally.packet(), hex("81 09 7e 01 0a ff"));
    assert_eq!(Speed::new(0, 200), Speed::new(1, 20));
    assert_eq!(
        Command::parse(&hex("81 01 06 01 19 02 01 03 ff")),
        None,
        "too fast"
    );
}

#[test]
fn positions_are_told_apart_by_their_length_and_are_signed() {
    let parse = |text| Reply::parse(&hex(text));
    let at = |pan, tilt, digits| Ok(Reply::Position(Position { pan, tilt, digits }));
    // -170 and 90 degrees in one published command list: F670 and 0510.
    assert_eq!(
        parse("90 50 0f 06 07 00 00 05 01 00 ff"),
        at(-0x990, 0x510, Digits::Four)
    );
    assert_eq!(
        parse("90 50 0f 0f 06 07 00 0f 0f 0f 0f ff"),
        at(-0x990, -1, Digits::Five)
    );
    assert_eq!(
        parse("90 50 08 00 00 00 07 0f 0f 0f ff"),
        at(-32_768, 32_767, Digits::Four)
    );
    // A digit above F is none; ten digits are no known form.
    assert_eq!(parse("90 50 1f 06 07 00 00 05 01 00 ff"), Ok(Reply::Other));
    assert_eq!(parse("90 50 00 00 00 00 00 00 00 00 00 00 ff"), Ok(Reply::Other));
    let far = Position {
        pan: i32::MAX,
        tilt: i32::MIN,
        digits: Digits::Four,
    };
    assert_eq!(far.nibbles(), hex("07 0f 0f 0f 08 00 00 00"));
}

#[test]
fn acknowledgement_completion_bytes_and_refusals() {
    assert_eq!(Reply::parse(&hex("90 50 03 ff")), Ok(Reply::Byte(3)));
    assert_eq!(reply::power(3), Some(Power::Standby));
    assert_eq!(
        (reply::lamp(2), reply::lamp(3), reply::lamp(4)),
        (Some(true), Some(false), None)
    );
    for (text, reply) in [
        ("90 41 ff", Reply::Ack(1)),
        ("90 52 ff", Reply::Done(2)),
        ("90 60 02 ff", Reply::Refused(Refusal::Syntax)),
        ("90 60 03 ff", Reply::Refused(Refusal::BufferFull)),
        ("90 60 77 ff", Reply::Refused(Refusal::Other(0x77))),
    ] {
        assert_eq!(Reply::parse(&hex(text)), Ok(reply));
        assert_eq!(reply.emit(), hex(text));
    }
    assert_eq!(
        Reply::parse(&hex("90 61 41 ff")),
        Ok(Reply::Refused(Refusal::NotExecutable))
    );
    for code in 0..=0xfe {
        assert_eq!(Refusal::of(code).code(), code);
    }
}

#[test]
fn an_echo_of_the_question_is_no_reply() {
    for packet in [
        Inquiry::Version.packet(),
        &[0x90, 0xff],
        &[0x80, 0x41, 0xff],
        &[0x91, 0x50, 0xff],
        &[0x90, 0x50],
        b"HTTP/1.1",
        b"",
    ] {
        assert!(Reply::parse(packet).is_err(), "{packet:02x?}");
    }
}

#[test]
fn headers_that_lie_are_refused() {
    let why = |bytes: &[u8]| Datagram::parse(bytes).err().map(|e| e.reason);
    assert_eq!(why(&[1, 0x11, 0, 3, 0, 0, 0]), Some(Reason::Short));
    assert_eq!(why(&[1, 0x11, 0, 0, 0, 0, 0, 0]), Some(Reason::Length));
    assert_eq!(why(&[1, 0x11, 0, 2, 0, 0, 0, 0, 0xff]), Some(Reason::Length));
    assert_eq!(why(&[1, 0x12, 0, 1, 0, 0, 0, 0, 0xff]), Some(Reason::Value));
    let mut long = vec![1, 0x11, 0, 17, 0, 0, 0, 0];
    long.extend([0; 17]);
    assert_eq!(why(&long), Some(Reason::Length));
}

#[test]
fn a_stream_is_cut_at_its_ends() {
    let stream = [&[0x90, 0x41, 0xff][..], &VERSION_REPLY, &[0x90]].concat();
    let (first, rest) = split(&stream).unwrap().unwrap();
    assert_eq!(first, [0x90, 0x41, 0xff]);
    let (second, rest) = split(rest).unwrap().unwrap();
    assert_eq!(second, VERSION_REPLY);
    assert_eq!(split(rest), Ok(None));
    assert!(split(&[0; 15]).unwrap().is_none());
    assert!(split(&[0; 16]).is_err());
}

#[test]
fn an_exchange_numbers_what_has_a_header_and_nothing_else() {
    let mut headed = Exchange::new(Framing::Headed, u32::MAX);
    let first = headed.inquire(Inquiry::Position);
    assert_eq!(first.bytes, hex("01 10 00 05 ff ff ff ff 81 09 06 12 ff"));
    let second = headed.command(Command::Tally(true));
    assert_eq!(
        second.bytes,
        hex("01 00 00 08 00 00 00 00 81 01 7e 01 0a 00 02 ff")
    );
    assert_eq!(headed.reset().unwrap().bytes, hex("02 00 00 01 00 00 00 00 01"));
    assert_eq!(headed.inquire(Inquiry::Power).number, 1);
    assert_eq!(
        headed.hear(&hex("01 11 00 03 00 00 00 01 90 41 ff")),
        [Heard {
            number: Some(1),
            said: Said::Reply(Reply::Ack(1))
        }]
    );
    for (text, control) in [
        ("02 01 00 01 00 00 00 00 01", Control::Reset),
        ("02 00 00 02 00 00 00 09 0f 01", Control::SequenceError),
        ("02 01 00 02 00 00 00 09 0f 02", Control::TypeError),
    ] {
        assert_eq!(headed.hear(&hex(text))[0].said, Said::Control(control));
    }
    // Our own question sent back, and bytes without a header.
    assert_eq!(headed.hear(&first.bytes)[0].said, Said::Rubbish);
    assert_eq!(headed.hear(&hex("90 41 ff"))[0].said, Said::Rubbish);

    let mut bare = Exchange::new(Framing::Bare, 5);
    assert_eq!(bare.inquire(Inquiry::Power).bytes, Inquiry::Power.packet());
    assert_eq!(bare.reset(), None);
    assert_eq!(bare.hear(&hex("90 50 02 ff"))[0].number, None);
    assert_eq!(
        bare.hear(&hex("01 11 00 04 00 00 00 06 90 50 02 ff"))[0],
        Heard {
            number: Some(6),
            said: Said::Reply(Reply::Byte(2))
        }
    );
    assert_eq!(Framing::of(ControlWord::ViscaTcp), Some(Framing::Stream));
    assert_eq!(Framing::of(ControlWord::Http), None);
}

#[test]
fn a_stream_is_heard_in_any_pieces_and_never_kept_without_end() {
    let all = [&[0x90, 0x41, 0xff][..], &VERSION_REPLY, &[0x90, 0x51, 0xff]].concat();
    for size in 1..=all.len() {
        let mut stream = Exchange::new(Framing::Stream, 0);
        let heard: Vec<Said> = all
            .chunks(size)
            .flat_map(|c| stream.hear(c))
            .map(|h| h.said)
            .collect();
        let wanted = [Reply::Ack(1), Reply::Version(VERSION), Reply::Done(1)].map(Said::Reply);
        assert_eq!(heard, wanted, "in pieces of {size}");
    }
    let mut stream = Exchange::new(Framing::Stream, 0);
    assert_eq!(stream.hear(&[0; 40])[0].said, Said::Rubbish);
    assert_eq!(stream.hear(&[0xff; 10_000]).len(), 64);
    assert!(stream.hear(&hex("90 41")).is_empty());
    stream.renew();
    assert_eq!(stream.hear(&hex("90 42 ff"))[0].said, Said::Reply(Reply::Ack(2)));
}
