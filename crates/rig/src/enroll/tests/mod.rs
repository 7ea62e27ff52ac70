//! Drafts, and the files that come of them. Harbour Hall and its neighbours are invented.

mod drafts;
mod files;

use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use vocab::{ControlState, Mac, NameSource, Text};

use super::*;
use crate::{Rig, RigDocument, read};

/// A camera of the hall that is listed, a panel, and a device without hardware.
pub(super) const FILE: &str = "# kept by the crew\nformat = 1\ntitle = \"Harbour Hall\"\n\n[network]\n\
    subnet = \"10.40.8.0/24\"\ngateway = \"10.40.8.1\"\nleases = [\"10.40.8.100-10.40.8.180\"]\n\n\
    [[device]] # up there\nname = \"Organ loft\"\nrole = \"camera\"\nmac = \"02:52:43:00:00:15\"\naddress = \"10.40.8.21\"\n\n\
    [[device]]\nname = \"Desk panel\"\nrole = \"panel\"\naddress = \"10.40.8.60\"\nchannels = { 1 = \"Organ loft\" }\n";

pub(super) fn mac(last: u8) -> Mac {
    Mac::new([0x02, 0x52, 0x43, 0, 0, last])
}

pub(super) fn at(last: u8) -> Ipv4Addr {
    Ipv4Addr::new(10, 40, 8, last)
}

pub(super) fn wire() -> Wire {
    Wire {
        subnet: "10.40.8.0/24".parse().unwrap(),
        gateway: Some(at(1)),
        own_macs: BTreeSet::from([mac(230)]),
        own_addresses: BTreeSet::from([at(230)]),
        servers: BTreeSet::new(),
    }
}

/// A host at 10.40.8.`last` with hardware `last`.
pub(super) fn host(last: u8, answers: &[&str], called: &str) -> Found {
    Found {
        mac: Some(mac(last)),
        addresses: vec![at(last)],
        words: [called]
            .into_iter()
            .filter(|word| !word.is_empty())
            .map(|word| Word {
                text: Text::clean(word),
                source: Source::Name(NameSource::Mdns),
            })
            .collect(),
        control: answers
            .iter()
            .map(|port| (port.parse().unwrap(), ControlState::Answered))
            .collect(),
        ..Found::default()
    }
}

/// A draft of a new file.
pub(super) fn new(hosts: impl IntoIterator<Item = Found>) -> Draft {
    let mut draft = Draft::new(None, wire());
    draft.take_in(hosts);
    draft
}

/// A draft that adds to [`FILE`].
pub(super) fn more(hosts: impl IntoIterator<Item = Found>) -> Draft {
    let mut draft = Draft::new(read("hall", FILE.as_bytes()).rig, wire());
    draft.take_in(hosts);
    draft
}

/// The file that comes of it.
pub(super) fn written(draft: &Draft) -> (Rig, String) {
    let mut document = match draft.rig() {
        Some(_) => read("hall", FILE.as_bytes()).document.unwrap(),
        None => RigDocument::fresh(&draft.empty("hall")).unwrap(),
    };
    assert_eq!(draft.fault(), None);
    let rig = document.apply(&draft.edits()).unwrap();
    (rig, document.text().to_owned())
}

/// The row of the host with hardware `last`.
pub(super) fn row(draft: &Draft, last: u8) -> &Row {
    &draft.rows()[draft.place(HostId::Mac(mac(last))).unwrap()]
}
