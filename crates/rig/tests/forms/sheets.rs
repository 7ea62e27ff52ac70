//! A rig as a spreadsheet comes back as that rig; and any table is read without a panic.

use proptest::prelude::*;
use rig::read;
use rig::spreadsheet::{self, Given};

use super::arbitrary;

const HALL: &str = include_str!("../../../../fixtures/rigs/harbour-hall.rig.toml");

fn back(csv: &str) -> rig::Rig {
    let sheet = spreadsheet::read("rig.csv", csv.as_bytes(), &Given::default());
    let errors: Vec<String> = sheet.errors.iter().map(ToString::to_string).collect();
    sheet
        .rig
        .unwrap_or_else(|| panic!("{}\n{csv}", errors.join("\n")))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(120))]
    #[test]
    fn export_then_import_gives_back_the_same_rig(rig in arbitrary::rig()) {
        let csv = spreadsheet::write(&rig);
        let sheet = spreadsheet::read("rig.csv", csv.as_bytes(), &Given::default());
        let errors: Vec<String> = sheet.errors.iter().map(ToString::to_string).collect();
        prop_assert!(errors.is_empty(), "{}\n{csv}", errors.join("\n"));
        prop_assert_eq!(sheet.rig.as_ref(), Some(&rig), "{}", csv);
        prop_assert!(sheet.notes.is_empty());
    }

    #[test]
    fn the_same_with_the_columns_and_separators_of_another_program(
        rig in arbitrary::rig(),
        turn in 0_usize..40,
        separator in prop::sample::select(vec![b',', b';', b'\t', b'|']),
        crlf in any::<bool>(),
        mark in any::<bool>(),
    ) {
        let csv = spreadsheet::write(&rig);
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(csv.trim_start_matches('\u{feff}').as_bytes());
        let end = if crlf { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') };
        let mut writer = csv::WriterBuilder::new().delimiter(separator).terminator(end).from_writer(Vec::new());
        for record in reader.records() {
            let mut cells: Vec<String> = record.unwrap().iter().map(ToOwned::to_owned).collect();
            let turn = turn % cells.len();
            cells.rotate_left(turn);
            // Decimal commas go with semicolons; here only the separator changes.
            writer.write_record(&cells).unwrap();
        }
        let mut bytes = if mark { b"\xef\xbb\xbf".to_vec() } else { Vec::new() };
        bytes.extend(writer.into_inner().unwrap());
        let sheet = spreadsheet::read("rig.csv", &bytes, &Given::default());
        // Elsewhere than between commas 1.125 may be a thousand and more: it is asked about, never guessed.
        let thousands = |e: &spreadsheet::RowProblem| separator != b',' && e.message.contains(" may be ");
        if sheet.errors.is_empty() {
            prop_assert_eq!(sheet.rig, Some(rig));
        } else {
            prop_assert!(sheet.errors.iter().all(thousands), "{}", sheet.errors[0]);
        }
    }

    #[test]
    fn any_table_is_read_or_refused_with_places(
        rows in prop::collection::vec(prop::collection::vec(
            prop_oneof![
                "\\PC{0,8}",
                prop::sample::select(vec![
                    "name", "ip", "mac", "role", "kind", "channel", "network", "mask", "gateway", "port", "device",
                    "switch", "leases", "block", "reserved", "rig", "camera", "panel", "A", "A/1", "1", "10.40.8.1",
                    "10.40.8.0/24", "255.255.255.0", "dhcp", "subnet", "main", "\"", "poe_type", "1-4=2;1-4=3",
                ]).prop_map(str::to_owned),
            ],
            0..7,
        ), 0..8),
        quote in any::<bool>(),
    ) {
        let line = |row: &Vec<String>| {
            let cells: Vec<String> = row
                .iter()
                .map(|cell| if quote { format!("\"{}\"", cell.replace('"', "\"\"")) } else { cell.clone() })
                .collect();
            cells.join(",")
        };
        let text = rows.iter().map(line).collect::<Vec<_>>().join("\n");
        let sheet = spreadsheet::read("any.csv", text.as_bytes(), &Given::default());
        prop_assert_eq!(sheet.rig.is_none(), !sheet.errors.is_empty());
        let lines = text.lines().count().max(1);
        for problem in &sheet.errors {
            prop_assert!(problem.line >= 1 && problem.line <= lines, "{problem}\n{text}");
            prop_assert!(!problem.mend.is_empty());
            // The text that it was made into is nobody's business.
            prop_assert!(!problem.message.contains("TOML") && !problem.message.contains("header"), "{problem}\n{text}");
        }
    }

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let sheet = spreadsheet::read("any.csv", &bytes, &Given::default());
        prop_assert_eq!(sheet.rig.is_none(), !sheet.errors.is_empty());
    }
}

#[test]
fn the_hall_goes_out_and_comes_back() {
    let rig = read("hall.rig.toml", HALL.as_bytes()).rig.unwrap();
    let csv = spreadsheet::write(&rig);
    assert_eq!(back(&csv), rig);
    let lines: Vec<&str> = csv.lines().collect();
    assert!(
        lines[0].starts_with("kind,name,role,position,channel,mac,address,mask,gateway,"),
        "{csv}"
    );
    assert!(
        csv.contains("\"gallery, left\",Desk panel/1,02:52:43:00:00:21,10.40.8.21,255.255.255.0,10.40.8.1,"),
        "{csv}"
    );
    assert!(
        csv.contains("West door") && csv.contains("Desk panel/2 by visca-tcp"),
        "{csv}"
    );
    for kind in [
        "switch,S1",
        "network,main",
        "leases,",
        "reserved,",
        "block,,camera",
        "rig,\"Harbour Hall, chamber concert\"",
    ] {
        assert!(lines.iter().any(|line| line.starts_with(kind)), "{kind}: {csv}");
    }
    assert!(csv.is_ascii() && !csv.starts_with('\u{feff}'));
}
