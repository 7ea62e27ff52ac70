//! Spreadsheets as people have them: plain lists, mangled cells, mistakes; each told with its place.

use std::fmt::Write as _;

use rig::spreadsheet::{Given, Sheet, read};
use rig::{AddressSpec, Role};

fn sheet(text: &str) -> Sheet {
    read("list.csv", text.as_bytes(), &Given::default())
}

fn good(text: &str) -> rig::Rig {
    let sheet = sheet(text);
    let errors: Vec<String> = sheet.errors.iter().map(ToString::to_string).collect();
    sheet.rig.unwrap_or_else(|| panic!("{}", errors.join("\n")))
}

/// Every mistake as line, column and message.
fn mistakes(text: &str) -> Vec<(usize, String, String)> {
    let sheet = sheet(text);
    assert!(sheet.rig.is_none(), "{text}");
    sheet
        .errors
        .into_iter()
        .map(|e| {
            (
                e.line,
                e.column.unwrap_or_default(),
                format!("{} {}", e.message, e.mend),
            )
        })
        .collect()
}

/// Holds a table to its mistakes, no more and no less.
#[track_caller]
fn expect(text: &str, wanted: &[(usize, &str, &str)]) {
    let found = mistakes(text);
    assert_eq!(found.len(), wanted.len(), "{found:#?}");
    for ((line, column, said), (want_line, want_column, words)) in found.iter().zip(wanted) {
        assert_eq!((line, column.as_str()), (want_line, *want_column), "{found:#?}");
        assert!(said.contains(words), "{words:?}: {said}");
    }
}

const PLAIN: &str = "Device;IP address;Subnet mask;MAC;Type;Location;Cable (m);Serial\n\
    Organ loft;10.40.8.21;255.255.255.0;02-52-43-00-00-21;Camera;gallery, left;38,5;A 17\n\
    Desk panel;10.40.8.60;255.255.255.0;0252.4300.0060;panel;;;\n\
    Laptop;DHCP;;025243000064;COMPUTER;;;\n";

#[test]
fn a_plain_list_of_somebody_else_is_a_rig() {
    let rig = good(PLAIN);
    assert_eq!(rig.network.subnet.to_string(), "10.40.8.0/24");
    let loft = rig.device("Organ loft").unwrap();
    assert_eq!(loft.macs[0].to_string(), "02:52:43:00:00:21");
    assert_eq!((loft.cable_m, loft.role), (Some(38.5), Role::Camera));
    assert_eq!(loft.position.as_deref(), Some("gallery, left"));
    assert_eq!(loft.note.as_deref(), Some("Serial: A 17"));
    assert_eq!(rig.device("Laptop").unwrap().address, AddressSpec::Dhcp);
    assert_eq!(sheet(PLAIN).notes, ["Serial"]);
}

#[test]
fn without_a_mask_the_subnet_is_asked_for_once_and_may_be_given() {
    let text = "name,role,address\nA,camera,10.40.8.21\nB,camera,10.40.8.22\n";
    expect(text, &[(1, "", "--subnet 10.40.8.0/24")]);
    let given = Given {
        subnet: Some("10.40.8.0/24".parse().unwrap()),
        ..Given::default()
    };
    let rig = read("list.csv", text.as_bytes(), &given).rig.unwrap();
    assert_eq!(rig.devices.len(), 2);
    // Given or not, the addresses are held against it.
    let given = Given {
        subnet: Some("10.40.9.0/24".parse().unwrap()),
        ..Given::default()
    };
    let sheet = read("list.csv", text.as_bytes(), &given);
    assert_eq!(sheet.errors.iter().map(|e| e.line).collect::<Vec<_>>(), [2, 3]);
    assert_eq!(sheet.errors[0].column.as_deref(), Some("address"));
}

#[test]
fn every_bad_row_is_told_with_its_line_and_its_column() {
    expect(
        "name,role,mac,address,mask,control,need,note\n\
         A,camera,02:52:43:00:00:21,10.40.8.21,255.255.255.0,visca-udp,show,\n\
         \n\
         A,kettle,02:52:43:00:00:21,10.40.8.21,/24,\"visca-udp, vizca\",sometimes,\n\
         ,camera,,,,,,\n\
         B,camera,2.52E+11,\"10,40,8,22\",,,,x\n\
         \"C\nD\",camera,,10.40.9.3,255.255.0.0,,,\"two\nlines\"\n\
         E,camera,,dhcp,,,,,,over\n",
        &[
            (4, "name", "taken already, on line 2"),
            (4, "role", "kettle"),
            (4, "mac", "already the hardware address of \"A\", on line 2"),
            (4, "address", "already the address of \"A\", on line 2"),
            (4, "control", "visca"),
            (4, "need", "show, spare or later"),
            (5, "", "no name"),
            (5, "", "no address"),
            (6, "mac", "format of the column to text"),
            (6, "address", "10.40.8.22"),
            (7, "name", "cannot be seen (U+000A)"),
            (7, "address", "outside the subnet"),
            (7, "mask", "10.40.0.0/16"),
            (10, "10", "without a heading"),
        ],
    );
}

#[test]
fn what_spreadsheets_do_to_cells_is_told_as_that() {
    expect(
        "name,role,mac,address,mask,port,cable,watts\n\
         A,camera,25243000021,10.408,255.255.255.0,3-Jan,\"1,000\",17.5 W\n\
         B,camera,02:52:43:00:00:22,10.40.8.22,255.255.255.0,S1/3,42 m,lots\n",
        &[
            (2, "mac", "11 digits"),
            (2, "address", "points may have got lost"),
            (2, "port", "date"),
            (2, "cable", "1000 or 1.000"),
            (3, "watts", "no number"),
        ],
    );
}

#[test]
fn channels_are_written_in_the_row_of_the_device_that_they_drive() {
    let head = "name,role,address,mask,channel\n";
    let panel = "Desk panel,panel,10.40.8.60,/24,\n";
    for (cell, control) in [
        ("Desk panel/1", None),
        ("1", None),
        ("Desk panel 1", None),
        ("Desk panel/1 by visca-tcp:5679", Some("visca-tcp:5679")),
    ] {
        let rig = good(&format!("{head}A,camera,10.40.8.21,/24,{cell}\n{panel}"));
        let channel = &rig.device("Desk panel").unwrap().channels[&1];
        assert_eq!(channel.device, "A", "{cell}");
        assert_eq!(
            channel.control.map(|c| c.to_string()).as_deref(),
            control,
            "{cell}"
        );
    }
    expect(
        &format!(
            "{head}A,camera,10.40.8.21,/24,Desk panel/1\nB,camera,10.40.8.22,/24,Desk panel/1; Side/2\n\
             C,camera,10.40.8.23,/24,Desk panel/2 by vizca\nD,camera,10.40.8.24,/24,Desk panel/x\n{panel}"
        ),
        &[
            (3, "channel", "points at \"A\" already, on line 2"),
            (3, "channel", "no device of this table is called \"Side\""),
            (4, "channel", "vizca"),
            (5, "channel", "no channel"),
        ],
    );
    let two = "name,role,address,mask,channel\nA,camera,10.40.8.21,/24,1\nP,panel,10.40.8.60,/24,\nQ,panel,10.40.8.61,/24,\n";
    expect(two, &[(2, "channel", "of which panel")]);
}

#[test]
fn switch_and_port_may_stand_in_columns_of_their_own() {
    let rig = good(
        "name,role,address,mask,switch,port\nA,camera,10.40.8.21,/24,S1,3\nB,camera,10.40.8.22,/24,S1,\n",
    );
    assert_eq!(rig.devices[0].port.as_ref().unwrap().to_string(), "S1/3");
    assert_eq!(rig.devices[1].note.as_deref(), Some("switch: S1"));
    // A row whose role is a switch is one.
    let rig = good("name,role,address,mask,port\nS1,Switch,10.40.8.2,/24,S0/8\n");
    assert_eq!(rig.switches[0].uplink.as_ref().unwrap().to_string(), "S0/8");
}

#[test]
fn a_table_that_speaks_against_itself_is_not_believed() {
    expect(
        "kind,name,role,address,mask,gateway,network\n\
         device,A,camera,10.40.8.21,255.255.0.0,10.40.8.9,\n\
         device,B,camera,10.41.0.21,,,media\n\
         network,main,,,,10.40.8.1,\n\
         network,main,,,,,\n\
         leases,,,10.40.8.100-90,,,\n\
         rig,One,,,,,\n\
         rig,Two,,,,,\n\
         ship,X,,,,,\n",
        &[
            (2, "gateway", "which is 10.40.8.1"),
            (3, "network", "Add a row of the kind network"),
            (4, "", "`subnet` is missing"),
            (5, "", "on line 4"),
            (6, "address", "ends below its beginning"),
            (8, "", "a title already"),
            (9, "kind", "no kind of row"),
        ],
    );
    expect(
        "name,role,address,mask\nA,camera,10.40.8.21,/24\nB,camera,10.40.9.21,/24\n",
        &[
            (3, "address", "outside the subnet"),
            (3, "mask", "line 2 in 10.40.8.0/24"),
        ],
    );
}

#[test]
fn what_a_row_has_no_place_for_is_told_as_left_out() {
    let sheet = sheet(
        "kind,name,role,address,mask,position,serial\nswitch,S1,,10.40.8.2,/24,rack,17\ndevice,A,camera,dhcp,,,\n",
    );
    assert!(sheet.rig.is_some());
    let left: Vec<&str> = sheet
        .warnings
        .iter()
        .filter(|w| w.message.contains("left out"))
        .map(|w| w.column.as_deref().unwrap())
        .collect();
    assert_eq!(left, ["position", "serial"]);
    // Risks of the rig itself come with their row as well.
    assert!(
        sheet
            .warnings
            .iter()
            .any(|w| w.line == 3 && w.message.contains("DHCP")),
        "{:?}",
        sheet.warnings
    );
}

#[test]
fn passwords_in_a_list_get_neither_into_the_rig_nor_into_a_message() {
    let sheet = sheet(
        "Name,IP,Mask,Role,Password,Web login,Shelf\n\
         Nave,10.40.8.21,255.255.255.0,camera,tide-3-mark,keeper/tide-4-mark,B2\n\
         Rack,10.40.8.2,255.255.255.0,switch,tide-5-mark,,\n",
    );
    let warned: Vec<(usize, Option<&str>)> = sheet
        .warnings
        .iter()
        .filter(|w| w.message.contains("passwords"))
        .map(|w| (w.line, w.column.as_deref()))
        .collect();
    assert_eq!(warned, [(1, Some("Password")), (1, Some("Web login"))]);
    assert_eq!(sheet.notes, ["Shelf"]);
    let rig = sheet.rig.as_ref().unwrap();
    assert_eq!(rig.device("Nave").unwrap().note.as_deref(), Some("Shelf: B2"));
    assert!(!format!("{sheet:?}").contains("-mark"), "{sheet:#?}");
}

#[test]
fn what_is_no_spreadsheet_is_refused_with_what_to_do() {
    let wide: Vec<u8> = "\u{feff}name,role\n"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    let cases: [(&[u8], &str, &str); 9] = [
        (b"", "empty", "headings"),
        (b"\xef\xbb\xbf \r\n,,\r\n", "empty", "headings"),
        (&wide, "UTF-16", "CSV UTF-8"),
        (b"name,role\nGr\xfc\xdfe,camera\n", "line 2", "CSV UTF-8"),
        (b"PK\x03\x04rest", "own file", "Save as"),
        (b"name\0role", "zero bytes", "CSV"),
        (
            b"1,2\n3,4\n",
            "no column of the first line is called name",
            "name, role",
        ),
        (b"Hall\n\nname,role,ip\n", "no column", "line 3"),
        (
            b"name,role,address\nA,camera,\"dhcp\n",
            "never closes",
            "Close the quote",
        ),
    ];
    for (bytes, message, mend) in cases {
        let sheet = read("list.csv", bytes, &Given::default());
        assert!(sheet.rig.is_none());
        assert_eq!(sheet.errors.len(), 1, "{:?}", sheet.errors);
        assert!(sheet.errors[0].message.contains(message), "{:?}", sheet.errors);
        assert!(sheet.errors[0].mend.contains(mend), "{:?}", sheet.errors);
    }
    let commas = vec![b','; 1 << 20];
    assert_eq!(read("list.csv", &commas, &Given::default()).errors.len(), 1);
    let rows = format!("name,role,address,mask\n{}", ",,,\n".repeat(200_000));
    assert_eq!(
        read("list.csv", rows.as_bytes(), &Given::default()).errors.len(),
        1
    );
}

#[test]
fn hostile_names_and_headings_print_harmlessly() {
    let sheet =
        sheet("name,role,ma\u{1b}[2Jc,address,mask\n\u{1b}]0;x\u{7},camera,\u{202e}zz,10.40.8.21,/24\n");
    for problem in sheet.errors.iter().chain(&sheet.warnings) {
        let text = problem.to_string();
        assert!(
            !text.chars().any(|c| c != '\n' && c.is_control()) && !text.contains('\u{202e}'),
            "{text:?}"
        );
    }
    assert!(!sheet.errors.is_empty());
}

#[test]
fn a_rig_of_five_thousand_devices_is_no_matter() {
    let mut text = "name,role,mac,address,mask\n".to_owned();
    for n in 0..5_000_u32 {
        let [_, _, c, d] = (n + 1).to_be_bytes();
        let _ = writeln!(
            text,
            "C{n},camera,02:52:43:00:{c:02x}:{d:02x},10.40.{c}.{d},255.255.0.0"
        );
    }
    assert_eq!(good(&text).devices.len(), 5_000);
}
