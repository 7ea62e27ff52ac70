//! Editing: what is not touched stays as it was, byte for byte.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;

use proptest::prelude::*;
use rig::{AddressSpec, Edit, EditError, How, NewDevice, RigDocument, Role, read};
use vocab::Mac;

const EXAMPLE: &str = include_str!("../../../fixtures/rigs/harbour-hall.rig.toml");

fn document(text: &str) -> RigDocument {
    let reading = read("test.rig.toml", text.as_bytes());
    assert_eq!(reading.errors, [], "{text}");
    reading.document.unwrap()
}

fn mac(last: u8) -> Mac {
    Mac::new([0x02, 0x52, 0x43, 0, 1, last])
}

/// The numbers of the lines that differ, where none was added or taken out.
fn changed(before: &str, after: &str) -> Vec<usize> {
    let (before, after): (Vec<_>, Vec<_>) = (before.split('\n').collect(), after.split('\n').collect());
    assert_eq!(before.len(), after.len());
    (0..before.len()).filter(|i| before[*i] != after[*i]).collect()
}

/// The lines that were added; all others must be the same and in the same order.
fn added<'a>(before: &str, after: &'a str) -> Vec<&'a str> {
    let mut old = before.split_inclusive('\n').peekable();
    let mut new = Vec::new();
    for line in after.split_inclusive('\n') {
        if old.peek() == Some(&line) {
            old.next();
        } else {
            new.push(line);
        }
    }
    assert_eq!(old.next(), None, "a line was lost");
    new
}

#[test]
fn unedited_text_is_the_same_byte_for_byte() {
    for text in [
        EXAMPLE.to_owned(),
        EXAMPLE.replace('\n', "\r\n"),
        format!("\u{feff}{EXAMPLE}"),
        EXAMPLE.trim_end().to_owned(),
    ] {
        assert_eq!(document(&text).text(), text);
    }
}

#[test]
fn a_changed_value_touches_its_line_only_and_keeps_the_comment() {
    for text in [
        EXAMPLE.to_owned(),
        EXAMPLE.replace('\n', "\r\n"),
        format!("\u{feff}{EXAMPLE}"),
    ] {
        let mut edited = document(&text);
        let rig = edited.set_mac("West door", mac(1)).unwrap();
        assert_eq!(rig.device("West door").unwrap().macs, [mac(1)]);
        let lines = changed(&text, edited.text());
        assert_eq!(lines.len(), 1);
        assert!(
            edited
                .text()
                .lines()
                .nth(lines[0])
                .unwrap()
                .contains("02:52:43:00:01:01")
        );
        edited
            .apply(&[Edit::How {
                name: "Balcony".into(),
                how: How::Static,
            }])
            .unwrap();
        assert!(
            edited
                .text()
                .contains("how     = \"static\"     # in the lease pool, and the router knows it")
        );
    }
}

#[test]
fn a_new_key_is_one_new_line_in_the_manner_of_its_neighbours() {
    for line_break in ["\n", "\r\n"] {
        let text = EXAMPLE.replace('\n', line_break);
        let mut edited = document(&text);
        edited.set_mac("Talkback box", mac(2)).unwrap();
        let new = added(&text, edited.text());
        assert_eq!(new, [format!("mac      = \"02:52:43:00:01:02\"{line_break}")]);
    }
    let text = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n[[device]]\n  name = \"A\"\n  role = \"other\"\n  address = \"dhcp\" # last";
    let mut edited = document(text);
    edited.set_mac("A", mac(3)).unwrap();
    assert_eq!(
        edited.text(),
        format!("{text}\n  mac     = \"02:52:43:00:01:03\"")
    );
}

#[test]
fn a_key_can_be_taken_out_and_several_macs_put_in() {
    let mut edited = document(EXAMPLE);
    edited
        .apply(&[Edit::Macs {
            name: "Stage left".into(),
            macs: Vec::new(),
        }])
        .unwrap();
    assert_eq!(
        added(edited.text(), EXAMPLE),
        ["mac         = [\"02:52:43:00:00:23\", \"02:52:43:00:00:33\"]\n"]
    );
    let rig = edited
        .apply(&[Edit::Macs {
            name: "Mixer".into(),
            macs: vec![mac(4), mac(5)],
        }])
        .unwrap();
    assert_eq!(rig.device("Mixer").unwrap().macs, [mac(4), mac(5)]);
}

#[test]
fn switches_are_edited_like_devices() {
    let mut edited = document(EXAMPLE);
    let rig = edited
        .set_address("S2", AddressSpec::Fixed([10, 40, 8, 3].into()))
        .unwrap();
    assert_eq!(rig.device("S2").unwrap().role, Role::Switch);
    assert_eq!(added(EXAMPLE, edited.text()), ["address  = \"10.40.8.3\"\n"]);
    assert!(matches!(
        edited.set_address("S2", AddressSpec::Dhcp),
        Err(EditError::WouldBreak(_))
    ));
}

#[test]
fn inline_tables_are_edited_in_place() {
    let text = "format = 1\nnetwork = { subnet = \"10.40.8.0/24\" }\ndevice = [\n  { name = \"A\", role = \"other\", address = \"dhcp\" }, # one\n  { mac = \"02:52:43:00:00:01\", name = \"B\", role = \"other\", address = \"10.40.8.2\" },\n]\n";
    let mut edited = document(text);
    edited.set_mac("A", mac(1)).unwrap();
    edited
        .apply(&[Edit::Macs {
            name: "B".into(),
            macs: Vec::new(),
        }])
        .unwrap();
    let expected = text
        .replace("\"dhcp\"", "\"dhcp\", mac = \"02:52:43:00:01:01\"")
        .replace("mac = \"02:52:43:00:00:01\", ", "");
    assert_eq!(edited.text(), expected);
}

#[test]
fn an_edit_that_would_break_the_file_changes_nothing() {
    let mut edited = document(EXAMPLE);
    let taken = AddressSpec::Fixed([10, 40, 8, 21].into());
    let Err(EditError::WouldBreak(problems)) = edited.set_address("West door", taken) else {
        panic!("two devices on one address")
    };
    assert!(
        problems[0]
            .message
            .contains("already the address of \"Organ loft\""),
        "{}",
        problems[0]
    );
    assert_eq!(
        edited.set_mac("Nobody", mac(1)),
        Err(EditError::NoSuchDevice("Nobody".into()))
    );
    assert!(edited.set_mac("Organ loft", Mac::BROADCAST).is_err());
    assert_eq!(edited.text(), EXAMPLE);
    // In one go the two may change places.
    let swap = [("West door", 21), ("Organ loft", 22)].map(|(name, last)| Edit::Address {
        name: name.into(),
        address: AddressSpec::Fixed([10, 40, 8, last].into()),
    });
    edited.apply(&swap).unwrap();
    assert_eq!(changed(EXAMPLE, edited.text()).len(), 2);
}

fn newcomer(name: &str, note: Option<&str>) -> NewDevice {
    NewDevice {
        name: name.into(),
        role: Role::Camera,
        macs: vec![mac(9)],
        address: AddressSpec::Fixed([10, 40, 8, 99].into()),
        control: vec!["visca-udp".parse().unwrap(), "http:8080".parse().unwrap()],
        note: note.map(Into::into),
    }
}

#[test]
fn a_new_device_stands_after_the_last_one() {
    for line_break in ["\n", "\r\n"] {
        let text = EXAMPLE.replace('\n', line_break);
        let mut edited = document(&text);
        let rig = edited
            .add_device(newcomer("Crypt", Some("a \"quoted\" \\ remark")))
            .unwrap();
        assert_eq!(rig.devices.last().unwrap().name, "Crypt");
        assert_eq!(
            rig.devices.last().unwrap().note.as_deref(),
            Some("a \"quoted\" \\ remark")
        );
        let new = added(&text, edited.text());
        assert_eq!(new.len(), 8);
        assert!(
            new.iter()
                .all(|line| line.ends_with(line_break) && line.matches('\r').count() == line_break.len() - 1)
        );
        let (at, plan) = (
            edited.text().find("Crypt").unwrap(),
            edited.text().find("[plan]").unwrap(),
        );
        assert!(edited.text().find("Talkback box").unwrap() < at && at < plan);
    }
}

#[test]
fn comments_stay_with_what_they_belong_to() {
    let head = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n";
    let mut edited = document(head);
    edited.add_device(newcomer("First", None)).unwrap();
    assert!(edited.text().starts_with(&format!("{head}\n[[device]]\n")));
    let own = "[[device]]\nname = \"A\"\nrole = \"other\"\naddress = \"none\"\n# in the box\n";
    let mut edited = document(&format!("{head}{own}\n# the plan\n[plan]\n"));
    edited.add_device(newcomer("B", None)).unwrap();
    assert!(edited.text().starts_with(&format!("{head}{own}\n[[device]]\n")));
    assert!(edited.text().ends_with("\n\n# the plan\n[plan]\n"));
    let mut edited = document(&format!(
        "{head}{}# the plan\n[plan]\n",
        own.replace("# in the box\n", "")
    ));
    edited.add_device(newcomer("B", None)).unwrap();
    assert!(edited.text().ends_with("\n# the plan\n[plan]\n"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_edit_is_made_whole_or_not_at_all(
        name in proptest::sample::select(vec!["S1", "S2", "Organ loft", "Stage left", "Talkback box", "Show laptop", "Nobody"]),
        macs in proptest::collection::vec(any::<[u8; 6]>(), 0..3),
        last in any::<u8>(),
        note in ".{0,40}",
        crlf in any::<bool>(),
    ) {
        let text = if crlf { EXAMPLE.replace('\n', "\r\n") } else { EXAMPLE.to_owned() };
        let mut edited = document(&text);
        let edits = [
            Edit::Macs { name: name.into(), macs: macs.into_iter().map(Mac::new).collect() },
            Edit::Address { name: name.into(), address: AddressSpec::Fixed([10, 40, 8, last].into()) },
            Edit::Add(newcomer("Crypt", Some(&note))),
        ];
        if let Ok(rig) = edited.apply(&edits) {
                let again = read("again", edited.text().as_bytes());
                prop_assert_eq!(again.rig.as_ref(), Some(&rig));
                prop_assert_eq!(rig.device("Crypt").unwrap().note.as_deref(), Some(note.as_str()));
                prop_assert_eq!(rig.device(name).unwrap().fixed_address(), Some([10, 40, 8, last].into()));
        } else {
            prop_assert_eq!(edited.text(), text);
        }
    }
}

#[test]
fn channels_are_added_however_the_panels_own_are_written() {
    let head = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n";
    let camera = "[[device]]\nname = \"Loft\"\nrole = \"camera\"\naddress = \"10.40.8.21\"\n";
    let panel = "[[device]]\nname = \"Desk\"\nrole = \"panel\"\naddress = \"10.40.8.60\" # ours\n";
    let edit = Edit::Channels {
        name: "Desk".into(),
        channels: BTreeMap::from([(2, "Loft".to_owned()), (3, "A \"B\" \\".to_owned())]),
    };
    let third = format!(
        "{camera}[[device]]\nname = \"A \\\"B\\\" \\\\\"\nrole = \"camera\"\naddress = \"10.40.8.22\"\n"
    );
    for (own, others) in [
        ("", 0),
        ("channels = {}\n", 0),
        ("channels = { 1 = \"Loft\" } # one\n", 1),
        ("channels = { 1 = { device = \"Loft\", control = \"rtsp\" } }", 1),
        ("  channels.1 = \"Loft\" # one\n", 1),
        ("channels.1.device = \"Loft\"\n", 1),
        ("[device.channels]\n  1 = \"Loft\" # one\n# more\n", 1),
        ("[device.channels]", 0),
    ] {
        for line_break in ["\n", "\r\n"] {
            let text = format!("{head}{third}{panel}{own}").replace('\n', line_break);
            let mut edited = document(&text);
            let rig = edited.apply(std::slice::from_ref(&edit)).unwrap();
            let channels = &rig.device("Desk").unwrap().channels;
            assert_eq!(channels.len(), others + 2, "{}", edited.text());
            assert_eq!(channels[&3].device, "A \"B\" \\");
            for line in text.lines().filter(|line| !line.contains("channels")) {
                assert!(edited.text().contains(line), "{line}: {}", edited.text());
            }
            assert_eq!(edited.text().contains("# one"), text.contains("# one"));
            if line_break == "\r\n" {
                assert_eq!(
                    edited.text().matches('\n').count(),
                    edited.text().matches("\r\n").count()
                );
            }
        }
    }
    let text = format!("{head}{third}{panel}channels = {{ 2 = \"Loft\" }}\n");
    let mut edited = document(&text);
    assert!(
        matches!(edited.apply(&[edit]), Err(EditError::WouldBreak(_))),
        "2 is in use"
    );
    assert_eq!(edited.text(), text);
}
