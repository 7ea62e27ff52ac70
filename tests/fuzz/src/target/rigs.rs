//! Rig files, venue files and spreadsheets: read, edited, written and read again.

use std::collections::BTreeMap;

use rig::spreadsheet::{self, Given};
use rig::{AddressSpec, Edit, How, NetworkKey, NewDevice, Rig, RigDocument, Role, plan, sheet};
use vocab::{Mac, Pace};

use crate::{Bytes, Target, must_be_clean, seeds};

/// A rig file, with edits of its document; the edits stand before it.
pub(super) const RIG_FILE: Target = Target {
    name: "rig_file",
    longest: 12_000,
    short: 1_200,
    run: rig_file,
    seeds: || {
        let with = |edits: &[u8], file: &[u8]| {
            let mut out = vec![edits.len() as u8];
            out.extend(edits);
            out.extend(file);
            out
        };
        let all = [
            seeds::files("rigs", ".toml"),
            seeds::files("rigs/broken", ".toml"),
        ]
        .concat();
        let scenes = seeds::scenes().into_iter().filter(|file| file.len() < 6_000);
        let edits: Vec<u8> = (0..9).flat_map(|n| [n, n, 3, n, 7, n, 2]).collect();
        all.into_iter()
            .chain(scenes)
            .filter(|file| file.len() < 11_000)
            .map(|file| with(&edits, &file))
            .collect()
    },
};

/// A venue file, and the plan that moves a rig there.
pub(super) const VENUE_FILE: Target = Target {
    name: "venue_file",
    longest: 6_000,
    short: 1_200,
    run: |data| {
        let reading = rig::read_venue("hall.venue.toml", data);
        assert_eq!(reading.venue.is_none(), !reading.errors.is_empty());
        problems(reading.errors.iter());
        if let Some(venue) = reading.venue {
            let rig = hall();
            let _ = plan::plan(&rig, &plan::Hall::moved(&rig, &venue), &[], plan::Dhcp::Fix);
        }
    },
    seeds: || {
        [
            seeds::files("venues", ".toml"),
            seeds::files("rigs/broken", ".toml"),
        ]
        .concat()
    },
};

/// A spreadsheet.
pub(super) const CSV: Target = Target {
    name: "csv",
    longest: 8_000,
    short: 1_200,
    run: |data| {
        let sheet = spreadsheet::read("list.csv", data, &Given::default());
        assert_eq!(sheet.rig.is_none(), !sheet.errors.is_empty());
        for problem in sheet.errors.iter().chain(&sheet.warnings) {
            assert!(!problem.mend.is_empty());
            must_be_words(&problem.to_string());
        }
        if let Some(rig) = sheet.rig {
            comes_back(&rig);
        }
    },
    seeds: || {
        let rigs = [seeds::files("rigs", ".toml"), seeds::scenes()].concat();
        let of = |file: Vec<u8>| Some(spreadsheet::write(&rig::read("a", &file).rig?));
        let mut all: Vec<Vec<u8>> = rigs.into_iter().filter_map(of).map(String::into_bytes).collect();
        all.retain(|file| file.len() < 7_000);
        all.push(b"Name;IP;Mask;MAC\r\nOrgan loft;10.40.8.21;255.255.255.0;02-52-43-00-00-21\r\n".to_vec());
        all.push(
            b"\xef\xbb\xbfname,address,subnet,used by\n\"a \"\"b\"\"\",10.40.8.3,10.40.8.0/24,\"x\ny\"\n"
                .to_vec(),
        );
        all
    },
};

pub(super) fn hall() -> Rig {
    let file = std::fs::read(seeds::fixture("rigs/harbour-hall.rig.toml")).unwrap();
    rig::read("hall", &file).rig.expect("the hall's file is sound")
}

fn problems<'p>(all: impl Iterator<Item = &'p rig::Problem>) {
    for problem in all {
        assert!(!problem.mend.is_empty(), "{problem}");
        must_be_words(&problem.to_string());
    }
}

/// A message may have several lines, and each of them is clean.
fn must_be_words(text: &str) {
    text.lines().for_each(must_be_clean);
}

fn rig_file(data: &[u8]) {
    let mut bytes = Bytes::new(data);
    let count = usize::from(bytes.u8());
    let edits = Bytes::new(bytes.piece(count));
    let file = bytes.rest();
    let reading = rig::read("any.rig.toml", file);
    assert_eq!(reading.rig.is_none(), !reading.errors.is_empty());
    assert_eq!(reading.document.is_none(), !reading.errors.is_empty());
    problems(reading.errors.iter().chain(&reading.warnings));
    let (Some(rig), Some(document)) = (reading.rig, reading.document) else {
        return;
    };
    assert_eq!(
        document.text().as_bytes(),
        file,
        "a text that was not edited is as it was"
    );
    comes_back(&rig);
    shows(&rig);
    edited(rig, document, edits);
}

/// Both forms in which a rig is written anew say the same as the rig.
fn comes_back(rig: &Rig) {
    let fresh =
        RigDocument::fresh(rig).unwrap_or_else(|e| panic!("a rig that was read cannot be written: {e}"));
    let again = rig::read("fresh.rig.toml", fresh.text().as_bytes()).rig;
    assert_eq!(again.as_ref(), Some(rig), "{}", fresh.text());
    let csv = spreadsheet::write(rig);
    let sheet = spreadsheet::read("rig.csv", csv.as_bytes(), &Given::default());
    let errors: Vec<String> = sheet.errors.iter().map(ToString::to_string).collect();
    assert_eq!(sheet.rig.as_ref(), Some(rig), "{}\n{csv}", errors.join("\n"));
}

/// What is worked out of a rig alone.
fn shows(rig: &Rig) {
    let _ = rig.budget();
    let parts = vec![sheet::patch(rig), sheet::channels(rig), sheet::handover(rig, &[])];
    let sheet = sheet::Sheet {
        title: rig.title.clone(),
        origin: String::new(),
        parts,
    };
    must_be_words(&sheet::html(&sheet));
    must_be_words(&sheet::markdown(&sheet));
    let account = rig::compare::Account::of(rig);
    assert!(
        rig::compare::compare(&account, &account).is_empty(),
        "a rig differs from itself"
    );
    let _ = plan::plan(rig, &plan::Hall::of(rig), &[], plan::Dhcp::Fix);
}

/// Makes edits one after the other: none loses a comment, and a refused one leaves all as it was.
fn edited(mut rig: Rig, mut document: RigDocument, mut bytes: Bytes<'_>) {
    for _ in 0..12 {
        if bytes.is_empty() {
            return;
        }
        let before = document.clone();
        let edit = edit(&rig, &mut bytes);
        match document.apply(std::slice::from_ref(&edit)) {
            Ok(after) => {
                let read = rig::read("edited", document.text().as_bytes()).rig;
                assert_eq!(read.as_ref(), Some(&after));
                let (kept, had) = (comments(document.text()), comments(before.text()));
                for (comment, times) in had {
                    let now = kept.get(comment).copied().unwrap_or(0);
                    assert!(
                        now >= times,
                        "{edit:?} lost the comment {comment:?}\n{}",
                        document.text()
                    );
                }
                took(&edit, &after);
                rig = after;
            }
            Err(why) => {
                let _ = why.to_string();
                assert_eq!(document, before);
            }
        }
    }
}

fn took(edit: &Edit, rig: &Rig) {
    match edit {
        Edit::Macs { name, macs } => {
            if let Some(device) = rig.device(name) {
                assert_eq!(&device.macs, macs);
            }
        }
        Edit::Address { name, address } => {
            if let Some(device) = rig.device(name) {
                assert_eq!(device.address, *address);
            }
        }
        Edit::Add(new) => assert!(rig.device(&new.name).is_some()),
        _ => {}
    }
}

fn edit(rig: &Rig, bytes: &mut Bytes<'_>) -> Edit {
    let kind = bytes.u8() % 9;
    let names = rig.devices.iter().map(|d| &d.name);
    let names: Vec<&String> = names.chain(rig.switches.iter().map(|s| &s.name)).collect();
    let name = |bytes: &mut Bytes<'_>| match names.as_slice() {
        [] => "nobody".to_owned(),
        all => (*bytes.one_of(all)).clone(),
    };
    let mac = |bytes: &mut Bytes<'_>| Mac::new([2, 0x52, 0x43, 0xee, bytes.u8(), bytes.u8()]);
    let subnet = rig.network.subnet;
    let address = |bytes: &mut Bytes<'_>| {
        let base = u32::from(subnet.network()) & u32::from(subnet.netmask());
        std::net::Ipv4Addr::from(base.wrapping_add(u32::from(bytes.u8())))
    };
    let range = |bytes: &mut Bytes<'_>| vocab::AddressRange::new(address(bytes), address(bytes));
    match kind {
        0 => Edit::Macs {
            name: name(bytes),
            macs: (0..bytes.u8() % 3).map(|_| mac(bytes)).collect(),
        },
        1 => Edit::Address {
            name: name(bytes),
            address: match bytes.u8() % 4 {
                0 => AddressSpec::Dhcp,
                1 => AddressSpec::None,
                _ => AddressSpec::Fixed(address(bytes)),
            },
        },
        2 => Edit::How {
            name: name(bytes),
            how: bytes.one_of(&How::ALL),
        },
        3 => {
            let networks: Vec<&str> = rig.networks().map(|n| n.name.as_str()).collect();
            Edit::Network {
                network: bytes.one_of(&networks).to_owned(),
                key: match bytes.u8() % 5 {
                    0 => NetworkKey::Gateway(Some(address(bytes)).filter(|a| a.octets()[3] % 2 == 0)),
                    1 => NetworkKey::Leases(range(bytes).into_iter().collect()),
                    2 => NetworkKey::Pace(bytes.one_of(&[Pace::Own, Pace::House])),
                    3 => NetworkKey::Subnet(subnet),
                    _ => NetworkKey::Shared(bytes.u8().is_multiple_of(2)),
                },
            }
        }
        4 => Edit::Reserved(range(bytes).into_iter().collect()),
        5 => {
            let one = |bytes: &mut Bytes<'_>| Some((bytes.one_of(&Role::ALL), range(bytes)?));
            Edit::Blocks(
                (0..bytes.u8() % 3)
                    .filter_map(|_| one(bytes))
                    .collect::<BTreeMap<_, _>>(),
            )
        }
        6 => Edit::Add(NewDevice {
            name: bytes.text(8),
            role: bytes.one_of(&Role::LISTED),
            macs: vec![mac(bytes)],
            address: AddressSpec::Fixed(address(bytes)),
            control: Vec::new(),
            note: Some(bytes.text(8)),
        }),
        7 => Edit::Devices(
            rig.devices
                .first()
                .cloned()
                .into_iter()
                .map(|mut device| {
                    device.name = bytes.text(8);
                    device.macs = vec![mac(bytes)];
                    device.address = AddressSpec::None;
                    device
                })
                .collect(),
        ),
        _ => Edit::Channels {
            name: name(bytes),
            channels: BTreeMap::from([(u32::from(bytes.u8()), name(bytes))]),
        },
    }
}

/// The comments of a TOML text, each with how often it stands there, but for those inside a value of several
/// lines. Written from the specification (TOML 1.0), and not with the library that the edits use.
fn comments(text: &str) -> BTreeMap<&str, usize> {
    let mut all = BTreeMap::new();
    let (mut rest, mut depth, mut in_value) = (text, 0_usize, false);
    while let Some(c) = rest.chars().next() {
        let mut skip = c.len_utf8();
        match c {
            '"' | '\'' => skip = string(rest, c),
            '#' => {
                skip = rest.find('\n').unwrap_or(rest.len());
                if depth == 0 {
                    *all.entry(rest[..skip].trim_end()).or_default() += 1;
                }
            }
            '=' if depth == 0 => in_value = true,
            '[' | '{' if in_value => depth += 1,
            ']' | '}' if in_value => depth = depth.saturating_sub(1),
            '\n' if depth == 0 => in_value = false,
            _ => {}
        }
        rest = &rest[skip..];
    }
    all
}

/// How long the string is that `text` begins with, its quotes included.
fn string(text: &str, quote: char) -> usize {
    let triple: String = [quote; 3].iter().collect();
    let end = if text.starts_with(&triple) {
        triple
    } else {
        quote.to_string()
    };
    let mut at = end.len();
    while at < text.len() {
        let rest = &text[at..];
        if rest.starts_with('\\') && quote == '"' {
            at += 1 + rest[1..].chars().next().map_or(0, char::len_utf8);
        } else if rest.starts_with(&end) {
            // A string of several lines may end in one or two quotes of its own.
            let more = rest.chars().take_while(|c| *c == quote).count();
            return at + if end.len() == 3 { more.min(5) } else { 1 };
        } else {
            at += rest.chars().next().map_or(1, char::len_utf8);
        }
    }
    text.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_are_told_from_strings_and_values() {
        let text =
            "# one\na = \"#no\" # two\nb = '''\n# no\n''''' # three\nc = [ # inside\n 1 ]\n[[d]] # two\n";
        let found: Vec<(&str, usize)> = comments(text).into_iter().collect();
        assert_eq!(found, [("# one", 1), ("# three", 1), ("# two", 2)]);
    }
}
