//! The sheets: what stands on them, and that no text breaks out of its cell.

#![allow(clippy::unwrap_used)]

use std::time::Duration;

use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};
use rig::sheet::{
    AsFound, Cell, Checked, CheckedDevice, CheckedFinding, Kind, Part, SeenDevice, Sheet, Stands, channels,
    handover, html, markdown, patch, sign_off,
};
use rig::{AddressSpec, Need, Rig};

/// Names that would like to be something else: separators, quotes, other directions of writing, emoji,
/// formulas, markup for each of the sinks.
const NASTY: &[&str] = &[
    "a|b \\| c",
    "Organ, loft; \"west\" 'end'",
    "שלום בימה",
    "مسرح 7",
    "🎥 舞台 Größe",
    "=cmd|' /C calc'!A0",
    "+1",
    "-x",
    "@SUM(A1)",
    "<script>alert(1)</script>",
    "</td></tr></table><h1>x",
    "<!-- x",
    "]]> &amp; &#60;",
    "![x](http://203.0.113.9/x.png)",
    "[x](javascript:alert(1))",
    "`code` **bold** _it_ ~~gone~~ $m$",
    "# heading #",
    "1. item",
    "\\",
    "{{ x }} {% y %}",
    "http://203.0.113.9/ www.example.test a@example.test",
    ":smile: a\u{301}\u{301}",
];

fn rig(text: &str) -> Rig {
    let reading = rig::read("t", text.as_bytes());
    reading.rig.unwrap_or_else(|| panic!("{:?}", reading.errors))
}

fn harbour() -> Rig {
    rig(include_str!("../../../fixtures/rigs/harbour-hall.rig.toml"))
}

/// A rig in which each of these names is a camera's, its position, and a channel of a panel that is called so.
fn nasty() -> Rig {
    use std::fmt::Write as _;
    let quoted = |text: &str| format!("{:?}", text.replace('\u{301}', "\u{e9}"));
    let mut text = format!(
        "format = 1\ntitle = {}\n[network]\nsubnet = \"10.40.8.0/24\"\n",
        quoted("<title>| x")
    );
    for (n, name) in NASTY.iter().enumerate() {
        let name = quoted(name);
        write!(
            text,
            "[[device]]\nname = {name}\nrole = \"camera\"\naddress = \"10.40.8.{}\"\nposition = {name}\nnote = {name}\n\
             mac = \"02:52:43:00:00:{n:02x}\"\nused_by = [{name}]\n",
            n + 20
        )
        .unwrap();
    }
    text.push_str(
        "[[device]]\nname = \"Panel | <i>\"\nrole = \"panel\"\naddress = \"10.40.8.200\"\nchannels = { ",
    );
    let channels: Vec<String> = NASTY
        .iter()
        .enumerate()
        .map(|(n, name)| format!("{} = {}", n + 1, quoted(name)))
        .collect();
    writeln!(text, "{} }}", channels.join(", ")).unwrap();
    rig(&text)
}

fn sheet(rig: &Rig, parts: Vec<Part>) -> Sheet {
    Sheet {
        title: rig.title.clone(),
        origin: "hall.rig.toml, printed 2026-11-26 18:42".to_owned(),
        parts,
    }
}

fn all(rig: &Rig) -> Sheet {
    sheet(rig, vec![patch(rig), channels(rig), handover(rig, &[])])
}

/// The tables as a reader of Markdown that is not ours sees them. Nothing but text, lists, headings and
/// our own bold words may stand in the whole.
fn read_markdown(text: &str) -> Vec<Vec<Vec<String>>> {
    let mut tables: Vec<Vec<Vec<String>>> = Vec::new();
    let mut cell: Option<String> = None;
    for event in Parser::new_ext(
        text,
        Options::ENABLE_TABLES | Options::ENABLE_STRIKETHROUGH | Options::ENABLE_MATH,
    ) {
        match event {
            Event::Start(Tag::Table(_)) => tables.push(Vec::new()),
            Event::Start(Tag::TableHead | Tag::TableRow) => tables.last_mut().unwrap().push(Vec::new()),
            Event::Start(Tag::TableCell) => cell = Some(String::new()),
            Event::End(TagEnd::TableCell) => tables
                .last_mut()
                .unwrap()
                .last_mut()
                .unwrap()
                .push(cell.take().unwrap()),
            Event::Text(said) => {
                if let Some(cell) = &mut cell {
                    cell.push_str(&said);
                }
            }
            Event::Start(Tag::Heading { .. } | Tag::Paragraph | Tag::List(None) | Tag::Item) => {
                assert!(cell.is_none());
            }
            Event::Start(Tag::Strong) => assert!(cell.is_none()),
            Event::End(_) => {}
            other => panic!("{other:?} in\n{text}"),
        }
    }
    tables
}

/// The tables as they are meant, without columns that have nothing to show.
fn meant(sheet: &Sheet) -> Vec<Vec<Vec<String>>> {
    let tables = sheet.parts.iter().flat_map(|p| &p.tables);
    tables
        .filter(|t| !t.shown().is_empty())
        .map(|table| {
            let shown = table.shown();
            let heads = shown.iter().map(|i| table.columns[*i].head.to_owned()).collect();
            let rows = table.rows.iter().map(|row| {
                let cell = |i: &usize| match &row[*i] {
                    Cell::Text(text) => text.clone(),
                    Cell::Tick => "☐".to_owned(),
                    Cell::ByHand => String::new(),
                };
                shown.iter().map(cell).collect()
            });
            core::iter::once(heads).chain(rows).collect()
        })
        .collect()
}

#[test]
fn every_device_stands_on_the_patch_sheet_with_all_that_is_known() {
    let rig = harbour();
    let part = patch(&rig);
    let table = &part.tables[0];
    let heads: Vec<&str> = table.columns.iter().map(|c| c.head).collect();
    assert_eq!(
        heads,
        [
            "Device",
            "Role",
            "Position",
            "Channel",
            "MAC",
            "Address",
            "Mask",
            "Gateway",
            "Switch port",
            "Power",
            "Control ports",
            "Used by",
            "Note"
        ]
    );
    let row = |name: &str| {
        let row = table
            .rows
            .iter()
            .find(|r| matches!(&r[0], Cell::Text(text) if text.starts_with(name)))
            .unwrap();
        row.iter()
            .map(|c| {
                if let Cell::Text(text) = c {
                    text.as_str()
                } else {
                    "?"
                }
            })
            .collect::<Vec<_>>()
    };
    assert_eq!(
        row("Organ loft"),
        [
            "Organ loft",
            "camera",
            "gallery, left",
            "Desk panel 1",
            "02:52:43:00:00:21",
            "10.40.8.21",
            "255.255.255.0",
            "10.40.8.1",
            "S1/3",
            "class 4, 30 W",
            "visca-udp, http, rtsp",
            "Mixer input 4",
            ""
        ]
    );
    assert_eq!(row("West door")[9], "17.5 W: class 4, 30 W");
    assert_eq!(row("Balcony")[..1], ["Balcony (spare)"]);
    assert_eq!(row("Balcony")[5], "10.40.8.120 reserved");
    assert_eq!(
        row("Show laptop")[5..8],
        ["by DHCP", "", ""],
        "the server gives mask and gateway"
    );
    assert_eq!(
        row("S2")[9],
        "gives 60 W",
        "a switch without an address stands on it too"
    );
    assert_eq!(table.rows.len(), rig.devices.len() + 1);
}

#[test]
fn a_channel_to_a_moving_address_or_another_subnet_is_a_warning() {
    let text = r#"
format = 1
[network]
subnet = "10.40.8.0/24"
[networks.media]
subnet = "10.40.12.0/24"
[[device]]
name = "Roving"
role = "camera"
mac = "02:52:43:00:00:21"
address = "dhcp"
[[device]]
name = "Fixed"
role = "camera"
address = "10.40.8.22"
how = "reserved"
control = ["http", "visca-tcp:5679"]
[[device]]
name = "Afar"
role = "camera"
address = "10.40.12.21"
network = "media"
[[device]]
name = "Dummy"
role = "other"
address = "none"
[[device]]
name = "Desk"
role = "panel"
address = "10.40.8.60"
channels = { 1 = "Roving", 2 = "Fixed", 3 = { device = "Afar", control = "visca-udp" }, 4 = "Dummy" }
"#;
    let part = channels(&rig(text));
    let said: Vec<&str> = part.warnings.iter().map(|w| w.text.as_str()).collect();
    assert_eq!(said.len(), 3, "{said:?}");
    assert!(
        said[0].starts_with("Channel 1 of Desk points at Roving, whose address comes from the DHCP server")
    );
    assert!(
        said[1].contains("Channel 3 of Desk points at Afar") && said[1].contains("10.40.12.0/24"),
        "{}",
        said[1]
    );
    assert!(said[2].contains("Channel 4 of Desk points at Dummy, which has no address"));
    assert!(part.warnings.iter().all(|w| w.next.ends_with('.')));
    let driven: Vec<(&Cell, &Cell)> = part.tables[0].rows.iter().map(|r| (&r[5], &r[6])).collect();
    assert_eq!(
        driven[1],
        (&"visca-tcp".into(), &"TCP 5679".into()),
        "by its first VISCA port"
    );
    assert_eq!(
        driven[2],
        (&"visca-udp".into(), &"UDP 52381".into()),
        "as the file says"
    );
    assert_eq!(driven[0], (&"".into(), &"".into()), "nothing is made up");
}

#[test]
fn units_go_back_as_they_were_found() {
    let rig = harbour();
    let found = |device: &str, mac: Option<&str>, mask: Option<&str>| AsFound {
        device: device.to_owned(),
        mac: mac.map(|m| m.parse().unwrap()),
        address: "192.168.0.20".to_owned(),
        mask: mask.map(str::to_owned),
        dhcp: None,
        when: "2026-11-26 17:02".to_owned(),
    };
    let known = [
        found("Organ loft", Some("02:52:43:00:00:99"), Some("255.255.0.0")),
        found("Organ loft", Some("02:52:43:00:00:21"), None),
        found("Nobody", None, None),
    ];
    let part = handover(&rig, &known);
    let back = &part.tables[1];
    let rows: Vec<&Vec<Cell>> = back.rows.iter().filter(|r| r[0] == "Organ loft".into()).collect();
    assert_eq!(rows.len(), 2, "two units were found under that name");
    assert_eq!(
        rows[0][1..],
        [
            "02:52:43:00:00:99".into(),
            "192.168.0.20".into(),
            "255.255.0.0".into(),
            Cell::ByHand,
            "2026-11-26 17:02".into(),
            "10.40.8.21".into(),
            Cell::Tick
        ]
    );
    assert_eq!(rows[1][3], Cell::ByHand, "what is not known is written by hand");
    assert!(
        back.rows
            .iter()
            .all(|r| r[0] != "Nobody".into() && r[0] != "Talkback box".into())
    );
    assert_eq!(
        part.tables[0].rows.len(),
        13,
        "twelve devices and a switch without an address"
    );
    assert!(
        part.facts[0].1.starts_with("13 in all: camera 4, panel 1,"),
        "{:?}",
        part.facts
    );
    assert_eq!(part.sign.len(), 3);
}

/// A check of the rig of the examples: a device in each condition.
fn check() -> Checked {
    let device =
        |name: &str, address: &str, stands, standing: &str, seen: Option<(&str, &str)>| CheckedDevice {
            name: name.to_owned(),
            need: Need::Show,
            stands,
            standing: standing.to_owned(),
            expected: address.parse().map_or(AddressSpec::Dhcp, AddressSpec::Fixed),
            macs: harbour().device(name).map(|d| d.macs.clone()).unwrap_or_default(),
            seen: seen.map(|(address, mac)| SeenDevice {
                address: address.parse().ok(),
                mac: mac.parse().ok(),
                control: vec![
                    ("visca-udp".parse().unwrap(), None),
                    ("http".parse().unwrap(), Some("answered")),
                ],
            }),
            advice: if stands == Stands::Well {
                String::new()
            } else {
                format!("Look at {name}.")
            },
        };
    let own = "02:52:43:00:00:21";
    Checked {
        taken_at: "2026-11-26 18:42:07+00:00".to_owned(),
        ahead_of: None,
        elapsed: Duration::from_millis(30_040),
        title: "Harbour Hall, chamber concert".to_owned(),
        file: "harbour-hall.rig.toml".to_owned(),
        ready: false,
        seen_from: "eth0 at 10.40.8.7/24, whole frames".to_owned(),
        unseen: vec![("Clashes".to_owned(), "no permission".to_owned())],
        devices: vec![
            device(
                "S1",
                "10.40.8.2",
                Stands::Well,
                "present",
                Some(("10.40.8.2", "02:52:43:00:00:02")),
            ),
            CheckedDevice {
                need: Need::Spare,
                ..device("Balcony", "10.40.8.120", Stands::Unknown, "not asked", None)
            },
            device(
                "Organ loft",
                "10.40.8.21",
                Stands::Otherwise,
                "wrong address",
                Some(("10.40.8.73", own)),
            ),
            device("West door", "10.40.8.22", Stands::Otherwise, "missing", None),
        ],
        unlisted: 2,
        findings: vec![CheckedFinding {
            severity: "fault",
            text: "West door is missing: nobody answers at 10.40.8.22.".to_owned(),
            advice: "Look at West door.".to_owned(),
        }],
    }
}

fn texts(row: &[Cell]) -> Vec<&str> {
    row.iter()
        .map(|c| {
            if let Cell::Text(text) = c {
                text.as_str()
            } else {
                "?"
            }
        })
        .collect()
}

#[test]
fn a_sign_off_has_its_exceptions_first_with_expected_beside_seen() {
    let part = sign_off(&harbour(), &check(), &[]);
    assert_eq!(part.kind, Kind::SignOff);
    assert_eq!(
        part.facts[0].1,
        "NOT READY: 1 of 3 that the show needs stood as they should, and 1 fault found"
    );
    assert!(
        part.facts
            .contains(&("Checked".into(), "2026-11-26 18:42:07+00:00".into()))
    );
    assert!(part.facts.contains(&("Took".into(), "30.0 s".into())));
    let titles: Vec<&str> = part.tables.iter().map(|t| t.title.as_str()).collect();
    assert_eq!(
        titles,
        ["Exceptions", "Findings", "As they should be", "Not checked"]
    );
    let exceptions: Vec<Vec<&str>> = part.tables[0].rows.iter().map(|r| texts(r)).collect();
    let names: Vec<&str> = exceptions.iter().map(|r| r[0]).collect();
    assert_eq!(
        names,
        ["Organ loft", "West door", "Balcony (spare)"],
        "what the show waits for first"
    );
    assert_eq!(
        exceptions[0],
        [
            "Organ loft",
            "wrong address",
            "10.40.8.21",
            "10.40.8.73",
            "02:52:43:00:00:21",
            "02:52:43:00:00:21",
            "visca-udp not asked, http answered",
            "Look at Organ loft."
        ]
    );
    assert_eq!(exceptions[1][3], "-");
    let unchecked: Vec<String> = part.tables[3].rows.iter().map(|r| texts(r).join(": ")).collect();
    for what in [
        "Pictures, sound, tally and talkback: the check looks at the network alone",
        "Clashes: no permission",
        "Balcony: not asked, or no way there",
        "Control ports of S1, Organ loft: not asked",
        "Control of S1: the rig file names no control ports",
        "Talkback box: without an address, so not in the count",
    ] {
        assert!(unchecked.iter().any(|u| u == what), "{what}: {unchecked:#?}");
    }
    assert!(
        part.notes
            .iter()
            .any(|n| n.contains("2 hosts that the rig file does not list"))
    );
    assert_eq!(part.sign, ["Checked by", "Accepted by"]);
}

#[test]
fn a_check_of_another_rig_or_an_older_file_is_a_warning() {
    let said = |checked: &Checked| {
        let warnings = sign_off(&harbour(), checked, &[]).warnings;
        warnings.into_iter().map(|w| w.text).collect::<Vec<_>>()
    };
    let listed = said(&check());
    assert_eq!(listed.len(), 1);
    assert!(
        listed[0].starts_with("In the rig file, and not in the check: Stage left, Desk panel"),
        "{listed:?}"
    );
    let mut other = check();
    other.title = "Quay Chapel".to_owned();
    other.devices[2].expected = AddressSpec::Fixed([10, 40, 8, 99].into());
    other.devices[3].name = "Pulpit".to_owned();
    let told = said(&other).join("\n");
    for what in [
        "another rig: \"Quay Chapel\", not \"Harbour Hall, chamber concert\"",
        "In the check, and not in the rig file: Pulpit.",
        "has changed for Organ loft.",
    ] {
        assert!(told.contains(what), "{what}: {told}");
    }
}

#[test]
fn ready_is_said_only_where_the_check_bears_it_out() {
    let mut checked = check();
    checked.ready = true;
    let result = |checked: &Checked| sign_off(&harbour(), checked, &[]).facts[0].1.clone();
    assert!(result(&checked).starts_with("Ready by its own word, and yet 1 of 3"));
    checked.devices.truncate(2);
    checked.findings.clear();
    assert_eq!(
        result(&checked),
        "Ready: the one that the show needs answered on the network"
    );
    for device in &mut checked.devices {
        device.need = Need::Spare;
    }
    assert_eq!(result(&checked), "Ready: the show needs none of the devices");
}

#[test]
fn another_reader_of_markdown_sees_the_same_tables() {
    for rig in [harbour(), nasty()] {
        let mut sheet = all(&rig);
        sheet.parts.push(sign_off(&rig, &check(), &[]));
        assert_eq!(read_markdown(&markdown(&sheet)), meant(&sheet));
    }
}

#[test]
fn no_name_is_markup_in_html() {
    let sheet = all(&nasty());
    let text = html(&sheet);
    // All markup is ours: no element that we do not use, no attribute from a name.
    for tag in text.split('<').skip(1) {
        let name: String = tag
            .chars()
            .take_while(|c| c.is_ascii_alphanumeric() || *c == '/' || *c == '!')
            .collect();
        assert!(
            [
                "!DOCTYPE", "html", "head", "meta", "title", "style", "body", "section", "header", "h1",
                "h2", "h3", "p", "dl", "div", "dt", "dd", "table", "thead", "tbody", "tr", "th", "td",
                "span", "strong", "em", "wbr"
            ]
            .contains(&name.trim_start_matches('/')),
            "{name}"
        );
    }
    for gone in ["<script", "<img", "href", "src=", "<!--", "javascript:alert(1)\""] {
        assert!(!text.contains(gone), "{gone}");
    }
    let whole = text.replace("<wbr>", "");
    assert!(whole.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert!(text.contains("<td dir=\"auto\">שלום בימה</td>"));
}

#[test]
fn an_empty_rig_still_makes_sheets() {
    let sheet = all(&rig("format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n"));
    assert!(markdown(&sheet).contains("No panel of the rig file has channels."));
    assert!(html(&sheet).ends_with("</html>\n"));
}
