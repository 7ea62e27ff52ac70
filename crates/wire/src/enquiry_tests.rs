//! The cameras' enquiry: what the manual shows, and what lies.

use proptest::prelude::*;

use super::*;
use crate::{What, peek};

const LOFT: Mac = Mac::new([2, 0x52, 0x43, 0, 0, 0x21]);

/// An answer as the manual lays it out.
const ANSWER: &[u8] =
    b"\x02MAC:02-52-43-00-00-21\xffMODEL:PT-20\xffSOFTVERSION:1.04\xffIPADR:192.168.000.100\xff\
MASK:255.255.255.0\xffNAME:CAM1\xffWRITE:on\xff\x03";

fn reason(bytes: &[u8]) -> Option<Reason> {
    Message::parse(bytes).err().map(|e| e.reason)
}

#[test]
fn the_question_is_the_manuals_and_no_setting() {
    assert_eq!(question(), b"\x02ENQ:network\xff\x03");
    let frame = frame(LOFT, Ipv4Addr::new(10, 40, 8, 5), &question());
    assert_eq!(frame[..6], [0xff; 6]);
    let What::Enquiry { from, message } = peek(&frame).unwrap().what else {
        panic!("{frame:?}")
    };
    assert_eq!((from, *message), (Ipv4Addr::new(10, 40, 8, 5), Message::Question));
}

#[test]
fn an_answer_is_read_and_what_was_written_is_read_back() {
    let Message::Settings(read) = Message::parse(ANSWER).unwrap() else {
        panic!()
    };
    let wanted = Settings {
        mac: LOFT,
        model: Some("PT-20".into()),
        address: Some(Ipv4Addr::new(192, 168, 0, 100)),
        mask: Some(Ipv4Addr::new(255, 255, 255, 0)),
        name: Some("CAM1".into()),
    };
    assert_eq!(read, wanted);
    assert_eq!(
        Message::parse(&wanted.emit()),
        Ok(Message::Settings(wanted.clone()))
    );
    let names: Vec<String> = wanted.names().iter().map(ToString::to_string).collect();
    assert_eq!(names, ["CAM1 (LAN enquiry)", "PT-20 (hardware)"]);
}

#[test]
fn an_answer_cut_anywhere_or_without_an_end_is_refused() {
    for cut in 0..ANSWER.len() {
        assert!(Message::parse(&ANSWER[..cut]).is_err(), "{cut}");
    }
    assert_eq!(reason(b"ENQ:network\xff\x03"), Some(Reason::Value));
    assert_eq!(reason(b"\x02ENQ:network\x03"), Some(Reason::Value));
    assert_eq!(
        reason(&[b"\x02", &[b'x'; 2_000][..], b"\xff\x03"].concat()),
        Some(Reason::Long)
    );
    let many = [
        b"\x02MAC:02-52-43-00-00-21\xff",
        &b"NAME:x\xff".repeat(60)[..],
        b"\x03",
    ]
    .concat();
    assert_eq!(reason(&many), Some(Reason::Long));
}

#[test]
fn values_that_are_none_are_left_out_and_names_are_cleaned() {
    let read = |units: &[u8]| {
        let bytes = [b"\x02MAC:02-52-43-00-00-21\xff", units, b"\x03"].concat();
        match Message::parse(&bytes).unwrap() {
            Message::Settings(settings) => settings,
            other => panic!("{other:?}"),
        }
    };
    for wrong in [
        "1.2.3",
        "1.2.3.4.5",
        "1.2.3.256",
        "1.2.3.-4",
        "1.2.3.+4",
        "a.b.c.d",
        "",
    ] {
        let settings = read(&[b"IPADR:", wrong.as_bytes(), b"\xff"].concat());
        assert_eq!(settings.address, None, "{wrong}");
    }
    let settings = read(b"NAME:\x1b[2J\x07Loft\xffNAME:other\xffGATEWAY:10.0.0.1\xff");
    assert_eq!(settings.name.unwrap().as_str(), "[2JLoft");
    assert_eq!(
        Message::parse(b"\x02ACK:02-52-43-00-00-21\xff\x03"),
        Ok(Message::Other)
    );
    assert_eq!(Message::parse(b"\x02MAC:rubbish\xff\x03"), Ok(Message::Other));
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes: Vec<u8>, units in prop::collection::vec("[A-Z]{1,11}:[ -~]{0,30}", 0..40)) {
        let _ = Message::parse(&bytes);
        let mut whole = vec![2];
        for unit in units {
            whole.extend(unit.bytes());
            whole.push(0xff);
        }
        whole.push(3);
        let _ = Message::parse(&whole);
    }
}
