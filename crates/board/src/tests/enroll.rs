//! The sheet of an enrolment, painted and played. Harbour Hall is invented.

use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use rig::enroll::{Draft, Fate, Found, HostId, Lease, Source, Wire, Word};
use rig::{AddressSpec, Role};
use vocab::{ControlState, Mac, NameSource, Text};

use super::{FULL, text};
use crate::enroll::{Around, Change, EnrollRequest, EnrollSheet, LookState, Preview};
use crate::{ColourUse, Look};

const SIZES: [(u16, u16); 4] = [(40, 12), (80, 24), (120, 40), (220, 60)];

fn at(last: u8) -> Ipv4Addr {
    Ipv4Addr::new(10, 40, 8, last)
}

fn mac(last: u8) -> Mac {
    Mac::new([0x02, 0x52, 0x43, 0, 0, last])
}

fn host(last: u8, answers: &[&str], called: &str) -> Found {
    let refused = ["http", "rtsp"].iter().filter(|port| !answers.contains(port));
    let control = answers.iter().map(|port| (port, ControlState::Answered));
    Found {
        mac: Some(mac(last)),
        addresses: vec![at(last)],
        words: [called]
            .iter()
            .filter(|word| !word.is_empty())
            .map(|word| Word {
                text: Text::clean(word),
                source: Source::Name(NameSource::Mdns),
            })
            .collect(),
        control: control
            .chain(refused.map(|port| (port, ControlState::Refused)))
            .map(|(port, state)| (port.parse().unwrap(), state))
            .collect(),
        ..Found::default()
    }
}

fn wire() -> Wire {
    Wire {
        subnet: "10.40.8.0/24".parse().unwrap(),
        gateway: Some(at(1)),
        own_macs: BTreeSet::from([mac(230)]),
        own_addresses: BTreeSet::from([at(230)]),
        servers: BTreeSet::new(),
    }
}

/// Six cameras, a panel that calls them, a guest, the gateway, a borrowed camera from elsewhere, one with a
/// leased address, and two on one address.
fn hall() -> Draft {
    let mut all: Vec<Found> = (21..=26)
        .map(|last| host(last, &["visca-udp", "rtsp"], ""))
        .collect();
    all[0].words = host(21, &[], "Organ loft").words;
    all[1].vendor = Some(Text::clean("Lantern Works"));
    let mut panel = host(60, &["http"], "");
    panel.calls = (21..=26).map(at).collect();
    let mut leased = host(131, &["https"], "Stream encoder");
    leased.lease = Some(Lease::Asked);
    let mut borrowed = host(140, &["onvif"], "");
    borrowed.addresses = vec![Ipv4Addr::new(192, 168, 0, 20)];
    let mut twin = host(151, &["http"], "");
    twin.addresses = vec![at(150)];
    all.extend([
        panel,
        host(1, &["http"], "Gateway"),
        host(99, &[], "Guest tablet"),
        leased,
        borrowed,
        host(150, &["http"], ""),
        twin,
    ]);
    let mut draft = Draft::new(None, wire());
    draft.take_in(all);
    draft
}

/// A draft that adds to a file with one camera and a panel without its mac.
fn more() -> Draft {
    let file = "format = 1\n[network]\nsubnet = \"10.40.8.0/24\"\n[[device]]\nname = \"Organ loft\"\nrole = \"camera\"\n\
                mac = \"02:52:43:00:00:15\"\naddress = \"10.40.8.21\"\n[[device]]\nname = \"Desk panel\"\nrole = \"panel\"\n\
                address = \"10.40.8.60\"\nchannels = { 1 = \"Organ loft\" }\n";
    let mut draft = Draft::new(rig::read("hall", file.as_bytes()).rig, wire());
    draft.take_in([21, 22, 60].map(|last| host(last, &["visca-udp"], "")));
    draft
}

fn around() -> Around {
    Around {
        file: "hall.rig.toml".to_owned(),
        seen_by: "eth0".to_owned(),
        look: LookState::Over,
        may_sweep: true,
    }
}

/// A sheet on a screen of its own, as a person uses it.
struct Seat {
    sheet: EnrollSheet,
    draft: Draft,
    size: (u16, u16),
}

impl Seat {
    fn new(draft: Draft, size: (u16, u16)) -> Self {
        Self::with(FULL, draft, size)
    }

    fn with(look: Look, draft: Draft, size: (u16, u16)) -> Self {
        let mut sheet = EnrollSheet::new(look);
        sheet.resize(size.0, size.1);
        Self { sheet, draft, size }
    }

    fn press(&mut self, code: KeyCode) -> Option<EnrollRequest> {
        let event = Event::Key(KeyEvent::new(code, KeyModifiers::NONE));
        self.sheet.handle(&event, &mut self.draft)
    }

    fn type_in(&mut self, words: &str) {
        for c in words.chars() {
            assert_eq!(self.press(KeyCode::Char(c)), None);
        }
    }

    /// Empties the field and types this into it, and Enter.
    fn enter(&mut self, words: &str) {
        let clear = KeyEvent::new(KeyCode::Char('u'), KeyModifiers::CONTROL);
        self.sheet.handle(&Event::Key(clear), &mut self.draft);
        self.type_in(words);
        self.press(KeyCode::Enter);
    }

    fn go(&mut self, last: u8) {
        self.press(KeyCode::Home);
        let n = self.draft.place(HostId::Mac(mac(last))).unwrap();
        for _ in 0..n {
            self.press(KeyCode::Down);
        }
    }

    fn row(&self, last: u8) -> &rig::enroll::Row {
        &self.draft.rows()[self.draft.place(HostId::Mac(mac(last))).unwrap()]
    }

    fn buffer(&self) -> ratatui::buffer::Buffer {
        let mut terminal = Terminal::new(TestBackend::new(self.size.0, self.size.1)).unwrap();
        terminal
            .draw(|frame| self.sheet.draw(frame, &self.draft, &around()))
            .unwrap();
        terminal.backend().buffer().clone()
    }

    fn see(&self) -> String {
        text(&self.buffer())
    }

    #[track_caller]
    fn shows(&self, words: &str) {
        let screen = self.see();
        let flat = screen.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(words), "{words:?} is not on\n{screen}");
    }
}

#[test]
fn the_sheet() {
    for (columns, rows) in SIZES {
        let mut seat = Seat::new(hall(), (columns, rows));
        insta::assert_snapshot!(format!("enroll_{columns}x{rows}"), seat.see());
        seat.press(KeyCode::Char('?'));
        insta::assert_snapshot!(format!("enroll_help_{columns}x{rows}"), seat.see());
    }
    for size in [(0, 0), (1, 1), (39, 12), (40, 11)] {
        Seat::new(hall(), size).see();
    }
}

#[test]
fn adding_to_a_file_and_its_preview() {
    let mut seat = Seat::new(more(), (80, 24));
    seat.go(60);
    seat.press(KeyCode::Char(' '));
    insta::assert_snapshot!("enroll_more_80x24", seat.see());
    assert_eq!(seat.press(KeyCode::Enter), Some(EnrollRequest::Prepare));
    seat.sheet.show(Preview::new(vec![
        (Change::Skipped, "... line 8".to_owned()),
        (Change::Kept, "address = \"10.40.8.60\"".to_owned()),
        (Change::Gone, "channels = { 1 = \"Organ loft\" }".to_owned()),
        (Change::Added, "mac = \"02:52:43:00:00:3c\"".to_owned()),
    ]));
    insta::assert_snapshot!("enroll_preview_80x24", seat.see());
    assert_eq!(
        seat.press(KeyCode::Char('x')),
        None,
        "nothing but a word on it counts"
    );
    assert_eq!(seat.press(KeyCode::Enter), None, "Enter is no yes");
    assert_eq!(seat.press(KeyCode::Char('n')), None);
    seat.shows("To write: 1 device, 1 mac, 1 channel on Desk panel");
    seat.sheet.show(Preview::new(Vec::new()));
    assert_eq!(seat.press(KeyCode::Char('y')), Some(EnrollRequest::Write));
}

#[test]
fn ascii_and_no_colour_say_the_same() {
    let plain = Look {
        colour: ColourUse::None,
        unicode: false,
    };
    let buffer = Seat::with(plain, hall(), (80, 24)).buffer();
    assert!(buffer.content.iter().all(|cell| cell.symbol().is_ascii()));
    let reset = ratatui::style::Color::Reset;
    assert!(
        buffer
            .content
            .iter()
            .all(|cell| cell.fg == reset && cell.bg == reset)
    );
    insta::assert_snapshot!("enroll_ascii_80x24", text(&buffer));
}

#[test]
fn every_key_does_what_the_help_says() {
    let mut seat = Seat::new(hall(), (80, 24));
    seat.go(22);
    seat.press(KeyCode::Char(' '));
    assert_eq!(seat.row(22).fate, Fate::Left);
    seat.press(KeyCode::Char('n'));
    seat.shows("take it first (Space)");
    seat.press(KeyCode::Char(' '));
    seat.press(KeyCode::Char('n'));
    seat.enter("West door");
    assert_eq!(seat.row(22).name, "West door");
    seat.press(KeyCode::Char('r'));
    seat.type_in("de");
    seat.press(KeyCode::Enter);
    assert_eq!(seat.row(22).role, Role::Decoder, "no other role begins so");
    seat.press(KeyCode::Char('r'));
    seat.type_in("c");
    seat.press(KeyCode::Enter);
    seat.shows("type one letter more");
    seat.enter("cam");
    assert_eq!(seat.row(22).role, Role::Camera);
    seat.press(KeyCode::Char('a'));
    seat.enter("10.40.9.1");
    seat.shows("no host's address in 10.40.8.0/24");
    seat.enter("dhcp");
    assert_eq!(seat.row(22).address, AddressSpec::Dhcp);
    seat.press(KeyCode::Char('c'));
    seat.enter("40");
    assert_eq!(seat.row(22).channel, Some(40));
    seat.press(KeyCode::Char('c'));
    seat.enter("");
    assert_eq!(seat.row(22).channel, None);
    seat.press(KeyCode::Char('p'));
    assert_eq!(seat.draft.panel(), None, "after the only panel comes none");
    seat.press(KeyCode::Char('c'));
    seat.shows("No panel is chosen");
    assert_eq!(seat.press(KeyCode::Char('s')), Some(EnrollRequest::Sweep));
    seat.press(KeyCode::Char('/'));
    seat.type_in("guest");
    seat.press(KeyCode::Enter);
    seat.shows("1 host");
    seat.press(KeyCode::Esc);
    seat.shows("1-12 of 13");
    // Something was done by hand: leaving asks.
    for (answer, ends) in [('n', None), ('y', Some(EnrollRequest::Quit))] {
        assert_eq!(seat.press(KeyCode::Char('q')), None);
        seat.shows("Leave, and write nothing?");
        assert_eq!(seat.press(KeyCode::Char(answer)), ends);
    }
    for key in [KeyCode::Char('q'), KeyCode::Esc] {
        let mut untouched = Seat::new(hall(), (80, 24));
        assert_eq!(untouched.press(key), Some(EnrollRequest::Quit));
    }
}

#[test]
fn what_cannot_be_written_is_said_in_the_head() {
    let mut seat = Seat::new(hall(), (80, 24));
    for last in [150, 151] {
        seat.go(last);
        seat.shows("take the one that is yours");
        seat.press(KeyCode::Char(' '));
    }
    seat.shows("Cannot be written yet: Device 2: 10.40.8.150 is another's too");
    {
        let last = 1;
        seat.go(last);
        seat.press(KeyCode::Char(' '));
        seat.shows("It is the gateway");
    }
}

#[test]
fn the_row_under_the_cursor_never_moves() {
    let mut seat = Seat::new(hall(), (80, 24));
    seat.go(24);
    let line = |seat: &Seat| seat.see().lines().position(|line| line.starts_with('»'));
    let before = line(&seat);
    assert!(before.is_some());
    // New hosts come in below, whatever their addresses.
    seat.draft.take_in((2..=9).map(|last| host(last, &["http"], "")));
    assert_eq!(line(&seat), before);
    seat.shows("Camera 3 camera 10.40.8.24");
    // Sorting puts them above; the selected row stays where it is, with others around it.
    seat.press(KeyCode::Char('o'));
    assert_eq!(line(&seat), before);
    assert!(
        seat.see()
            .lines()
            .any(|line| line.starts_with('»') && line.contains("10.40.8.24"))
    );
    seat.press(KeyCode::Char('/'));
    seat.type_in("visca-udp");
    assert!(
        seat.see()
            .lines()
            .any(|line| line.starts_with('»') && line.contains("10.40.8.24"))
    );
}

#[test]
fn the_mouse_selects_takes_and_presses_hints() {
    let mut seat = Seat::new(hall(), (80, 24));
    let click = |seat: &mut Seat, words: &str| {
        let screen = seat.see();
        let (y, line) = screen
            .lines()
            .enumerate()
            .find(|(_, line)| line.contains(words))
            .unwrap();
        let x = crate::text::width(&line[..line.find(words).unwrap()]);
        let mouse = MouseEvent {
            kind: MouseEventKind::Down(MouseButton::Left),
            column: x as u16,
            row: y as u16,
            modifiers: KeyModifiers::NONE,
        };
        seat.sheet.handle(&Event::Mouse(mouse), &mut seat.draft)
    };
    click(&mut seat, "10.40.8.23");
    assert!(seat.row(23).is_taken(), "the first click selects");
    click(&mut seat, "10.40.8.23");
    assert!(!seat.row(23).is_taken());
    click(&mut seat, "name  r role");
    seat.shows("take it first");
    assert_eq!(click(&mut seat, "Camera 1"), None, "the foot is free again");
    assert_eq!(click(&mut seat, "Enter write"), Some(EnrollRequest::Prepare));
}

#[test]
fn ten_thousand_hosts_are_shown_a_screenful_at_a_time() {
    let mut draft = Draft::new(
        None,
        Wire {
            subnet: "10.40.0.0/16".parse().unwrap(),
            ..wire()
        },
    );
    draft.take_in((0..10_000_u16).map(|n| {
        let [high, low] = n.to_be_bytes();
        Found {
            mac: Some(Mac::new([2, 0x52, 0x43, 1, high, low])),
            addresses: vec![Ipv4Addr::new(10, 40, high, low)],
            ..Found::default()
        }
    }));
    let mut seat = Seat::new(draft, (120, 40));
    seat.press(KeyCode::End);
    seat.shows("10.40.39.15");
    seat.press(KeyCode::Char('/'));
    seat.type_in("10.40.7.77");
    seat.shows("1 host");
}
