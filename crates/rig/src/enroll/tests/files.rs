//! Whatever is heard on the wire, the file that is written reads without an error.

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::*;
use crate::Role;

/// What hosts may call themselves: anything, and what bites.
fn word() -> impl Strategy<Value = String> {
    prop_oneof![
        ".{0,90}",
        Just("\"; DROP [[device]]\nname = \"x".to_owned()),
        Just("\u{1b}]0;gone\u{7}\u{202e}tfel\u{200b}".to_owned()),
        Just("'''\"\"\"\\\\\\u0000".to_owned()),
        Just("🎥 \u{fe0f}👩\u{200d}🎤".to_owned()),
        Just("e\u{301}\u{302}\u{303}\u{304}".to_owned()),
        "(cam|Camera 1|organ loft|Desk panel|panel)",
    ]
}

fn any_host() -> impl Strategy<Value = Found> {
    let ports = prop::sample::subsequence(
        vec![
            "visca-udp",
            "visca-tcp",
            "rtsp",
            "http:8080",
            "https",
            "onvif",
            "tcp:9000",
        ],
        0..=7,
    );
    let address = prop_oneof![
        8 => (0..=255_u8).prop_map(at),
        1 => any::<u32>().prop_map(Ipv4Addr::from),
    ];
    (
        proptest::option::weighted(0.9, 1..80_u8),
        proptest::collection::vec(address.clone(), 0..3),
        proptest::collection::vec(word(), 0..3),
        ports,
        proptest::collection::vec(address, 0..20),
        0..3_u8,
    )
        .prop_map(|(last, addresses, words, ports, calls, lease)| {
            let mut found = host(last.unwrap_or_default(), &ports, "");
            found.mac = last.map(mac);
            found.addresses = addresses;
            found.calls = calls;
            found.lease = [None, Some(Lease::Asked), Some(Lease::Told)][usize::from(lease)];
            found.words = words
                .iter()
                .map(|text| Word {
                    text: Text::clean(text),
                    source: Source::Name(NameSource::DnsSd),
                })
                .collect();
            found
        })
}

/// Something that a person does.
fn any_key() -> impl Strategy<Value = (usize, u8, String, Ipv4Addr)> {
    (any::<usize>(), 0..7_u8, word(), (0..=255_u8).prop_map(at))
}

fn press(draft: &mut Draft, (n, key, word, address): (usize, u8, String, Ipv4Addr)) {
    let n = n % draft.rows().len().max(1);
    match key {
        0 | 1 => _ = draft.toggle(n),
        2 => draft.rename(n, Text::clean(&word).as_str()),
        3 => draft.cast(n, Role::LISTED[word.len() % Role::LISTED.len()]),
        4 => _ = draft.readdress(n, crate::AddressSpec::Fixed(address)),
        5 => draft.tune(n, Some(word.len() as u32)),
        _ => draft.next_panel(),
    }
}

/// The lines of `before` are all in `after`, in their order; the panel's channels may have grown.
fn keeps(before: &str, after: &str) -> bool {
    let mut lines = after.lines();
    before.lines().all(|old| {
        let stem = old
            .strip_suffix(" }")
            .filter(|_| old.starts_with("channels"))
            .unwrap_or(old);
        lines.any(|new| new == old || (stem != old && new.starts_with(stem)))
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_hosts_make_a_file_without_errors(hosts in proptest::collection::vec(any_host(), 0..40), old in any::<bool>()) {
        let draft = if old { more(hosts) } else { new(hosts) };
        // What is proposed can be written as it is.
        let (rig, text) = written(&draft);
        let mut count = BTreeMap::new();
        for mac in rig.devices.iter().flat_map(|d| &d.macs) {
            *count.entry(*mac).or_insert(0) += 1;
        }
        for row in draft.rows().iter().filter(|row| row.is_taken()) {
            prop_assert!(row.found.is_proven());
            if let Some(mac) = row.found.mac {
                prop_assert_eq!(count.get(&mac), Some(&1));
            }
            prop_assert!(rig.device(&row.name).is_some());
        }
        if old {
            prop_assert!(keeps(FILE, &text), "{}", text);
        }
        // Adding the same hosts again adds nothing.
        let mut again = Draft::new(Some(rig), wire());
        again.take_in(draft.rows().iter().map(|row| row.found.clone()));
        prop_assert!(again.edits().is_empty(), "{:?}", again.edits());
    }

    #[test]
    fn whatever_a_person_does_the_file_is_right_or_the_fault_is_named(
        hosts in proptest::collection::vec(any_host(), 0..20),
        keys in proptest::collection::vec(any_key(), 0..20),
        old in any::<bool>(),
    ) {
        let mut draft = if old { more(hosts) } else { new(hosts) };
        for key in keys {
            press(&mut draft, key);
        }
        if draft.fault().is_none() {
            let (_, text) = written(&draft);
            prop_assert!(!old || keeps(FILE, &text), "{}", text);
        }
    }
}
