//! From frames to the screen: any frames at any times go through the scanner and the ledger onto the board.

use std::time::Duration;

use board::{Board, ColourUse, Look};
use ledger::{Muster, Purpose, Settings, Snapshot, Standing, Vendors};
use link::Frame;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::crossterm::event::{Event, KeyCode, KeyEvent, KeyModifiers};
use sweep::{Config, Dialing, Order, Scanner};
use vocab::{Gap, LinkState, Mac, Medium, Mode, Moment, Pace, Station};

use super::frames::mend;
use crate::{Bytes, Target, must_be_clean, seeds};

/// Records of what happens, each: how much later, what, its bytes.
pub(super) const SNAPSHOT: Target = Target {
    name: "snapshot",
    longest: 6_000,
    short: 250,
    run: play,
    seeds: courses,
};

/// So many records are played; the rest adds nothing but time.
const MOST: usize = 80;
/// For so long records may let time pass; later ones come at once. Minutes are dear: each device is asked once a second.
const SPAN: Duration = Duration::from_secs(40);
/// And so long it goes on after the last, until what was open is told to be over.
const AFTER: Duration = Duration::from_secs(130);
/// What answers that may be waited for hold at most, in orders of one moment.
const ORDERS: usize = 4_000;
/// Hosts that a snapshot shows at most (see `Snapshot::unlisted`).
const UNLISTED: usize = 500;
/// Changes that a snapshot shows at most (see `Snapshot::changes`).
const CHANGES: usize = 1_000;

const RIG: &str = r#"
format = 1
title = "Harbour Hall"
[network]
subnet = "10.40.8.0/24"
gateway = "10.40.8.1"
leases = ["10.40.8.100-10.40.8.180"]
[[switch]]
name = "S1"
ports = 8
address = "10.40.8.2"
[[device]]
name = "Organ loft"
role = "camera"
mac = "02:52:43:00:00:21"
address = "10.40.8.21"
control = ["visca-udp", "http", "rtsp", "onvif"]
port = "S1/3"
[[device]]
name = "West door"
role = "camera"
address = "10.40.8.22"
control = ["visca-tcp"]
port = "S1/4"
[[device]]
name = "Roaming"
role = "camera"
mac = "02:52:43:00:00:23"
address = "dhcp"
sleeps = true
[[device]]
name = "Desk panel"
role = "panel"
mac = "02:52:43:00:00:60"
address = "10.40.8.60"
channels = { 1 = "Organ loft", 2 = "West door" }
"#;

struct Course {
    now: Moment,
    scanner: Scanner,
    muster: Muster,
    /// Frames that we sent, to be answered in the course.
    sent: Vec<Vec<u8>>,
    changes: usize,
}

fn station() -> Station {
    Station {
        name: "lan0".into(),
        index: 2,
        mac: seeds::OWN,
        addresses: vec![vocab::Ipv4Net::new(seeds::OWN_IP, 24).unwrap()],
        link_local: None,
        state: LinkState::Up,
        medium: Medium::Wired,
        mode: Mode::Raw,
        others: Vec::new(),
    }
}

fn play(data: &[u8]) {
    let mut bytes = Bytes::new(data);
    let kind = bytes.u8();
    // What is dear at the end is done for a part of all inputs each.
    let end = kind >> 3 & 3;
    let rig = (kind & 1 == 0).then(|| rig::read("hall", RIG.as_bytes()).rig.expect("it is sound"));
    let settings = Settings {
        rig,
        subnet: None,
        gateway: None,
        factory: Vec::new(),
        vendors: Vendors::default(),
        purpose: [Purpose::Board, Purpose::Check, Purpose::Survey, Purpose::Enroll]
            [usize::from(kind >> 1) % 4],
    };
    let config = Config {
        pace: Pace::Own,
        listen_only: false,
        mode: Mode::Raw,
        dialing: Dialing::User,
        seed: 1,
    };
    let mut course = Course {
        now: Moment::ZERO,
        scanner: Scanner::new(config),
        muster: Muster::new(settings, Moment::ZERO),
        sent: Vec::new(),
        changes: 0,
    };
    course.scanner.set_station(Moment::ZERO, station());
    course.exchange();
    for _ in 0..MOST {
        if bytes.is_empty() {
            break;
        }
        course.record(&mut bytes);
    }
    let last = course.muster.snapshot(course.now);
    must_add_up(&last);
    if matches!(end, 0 | 2) {
        draw(&last, 80, 24, true);
    }
    if matches!(end, 1 | 2) {
        draw(&last, 44, 12, false);
    }
    if end == 3 {
        course.go(AFTER);
        must_add_up(&course.muster.snapshot(course.now));
    }
}

impl Course {
    /// The next thing that happens.
    fn record(&mut self, bytes: &mut Bytes<'_>) {
        let what = bytes.u8();
        // From nothing to 64 s later, in steps that double.
        let later = match what >> 4 {
            0 => 0,
            n => 1_u64 << (n + 1),
        };
        let left = SPAN.saturating_sub(self.now.since(Moment::ZERO));
        self.go(Duration::from_millis(later).min(left));
        let now = self.now;
        match what & 0x0f {
            0..=5 => {
                let mut frame = bytes.counted().to_vec();
                mend(&mut frame);
                self.hear(frame, None);
            }
            6 => {
                let raw = bytes.counted().to_vec();
                self.hear(raw, Some(7));
            }
            // What we sent last, with its ends turned round: the beginning of an answer.
            7..=9 => {
                let Some(mut frame) = self.sent.pop() else { return };
                let (to, from) = frame.split_at_mut(6);
                to.swap_with_slice(&mut from[..6]);
                frame[0..6].copy_from_slice(&seeds::OWN.octets());
                frame[6..12].copy_from_slice(&[2, 0x52, 0x43, 0, 0, bytes.u8()]);
                if frame.get(12..14) == Some(&[8, 6]) && frame.len() >= 42 {
                    frame[21] = 2;
                    let (sender, target): (Vec<u8>, Vec<u8>) =
                        (frame[28..32].to_vec(), frame[38..42].to_vec());
                    let source: Vec<u8> = frame[6..12].to_vec();
                    frame[22..28].copy_from_slice(&source);
                    frame[28..32].copy_from_slice(&target);
                    frame[32..38].copy_from_slice(&seeds::OWN.octets());
                    frame[38..42].copy_from_slice(&sender);
                } else if frame.len() >= 34 {
                    let (a, b) = (frame[26..30].to_vec(), frame[30..34].to_vec());
                    frame[26..30].copy_from_slice(&b);
                    frame[30..34].copy_from_slice(&a);
                    if frame[23] == wire::ipv4::ICMP && frame.len() >= 42 {
                        frame[34] = 0;
                    }
                }
                mend(&mut frame);
                self.hear(frame, None);
            }
            10 => {
                let state = bytes.one_of(&[
                    LinkState::Up,
                    LinkState::NoCarrier,
                    LinkState::Down,
                    LinkState::Gone,
                ]);
                let mac = Mac::new([2, 0x52, 0x43, 0, 0, 1 + bytes.u8() % 2]);
                let station = Station {
                    state,
                    mac,
                    ..station()
                };
                self.scanner.set_station(now, station);
            }
            11 => self.scanner.set_listen_only(now, bytes.u8().is_multiple_of(2)),
            12 => self.scanner.set_watch_only(now, bytes.u8().is_multiple_of(2)),
            13 => self
                .scanner
                .gap(now, Gap::Slept(Duration::from_secs(u64::from(bytes.u8())))),
            14 => self.muster.wait_for_start(now),
            _ => self.muster.sweep_now(now),
        }
        self.exchange();
    }

    fn hear(&mut self, bytes: Vec<u8>, vlan: Option<u16>) {
        let checksum_unfinished = bytes.len().is_multiple_of(2);
        let frame = Frame {
            bytes,
            vlan,
            checksum_unfinished,
        };
        self.scanner.receive(self.now, &frame);
        self.exchange();
    }

    /// Lets so much time pass, in as many steps as are due.
    fn go(&mut self, span: Duration) {
        let end = self.now + span;
        // Far more than a rig of five needs: whoever wants more asks for the same moment for ever.
        for _ in 0..20_000 {
            let due = [self.scanner.next_wake(), self.muster.next_wake()];
            let next = due.into_iter().flatten().min().filter(|at| *at <= end);
            let Some(next) = next else { break };
            self.now = self.now.max(next);
            self.exchange();
        }
        self.now = end;
        self.exchange();
    }

    fn exchange(&mut self) {
        let now = self.now;
        self.scanner.tick(now);
        while let Some(sighting) = self.scanner.next_sighting() {
            self.muster.fold(0, &sighting);
        }
        self.muster.tick(now);
        while let Some((_, ask)) = self.muster.next_ask(now) {
            self.scanner.ask(now, ask);
        }
        let mut orders = 0;
        while self.scanner.next_abandoned().is_some() {}
        while let Some(order) = self.scanner.next_order(now) {
            orders += 1;
            assert!(orders < ORDERS, "orders without end");
            if let Order::Frame(frame) = order {
                wire::peek(&frame).expect("what we send is sound");
                self.sent.push(frame);
                if self.sent.len() > 64 {
                    self.sent.remove(0);
                }
            }
            self.scanner.done(now, Ok(()));
        }
        while let Some(change) = self.muster.next_change() {
            must_be_clean(&change.text);
            self.changes += 1;
        }
    }
}

fn must_add_up(snapshot: &Snapshot) {
    assert_eq!(snapshot.counts.total(), snapshot.devices.len());
    for standing in Standing::ALL {
        let counted = snapshot.devices.iter().filter(|d| d.standing == standing).count();
        assert_eq!(counted, snapshot.counts.of(standing), "{standing:?}");
    }
    assert!(snapshot.unlisted.len() <= snapshot.unlisted_total);
    assert!(snapshot.unlisted.len() <= UNLISTED || snapshot.title.is_none());
    assert!(snapshot.changes.len() <= CHANGES);
    must_be_clean(&snapshot.headline);
    must_be_clean(&board::title(snapshot));
    for finding in &snapshot.findings {
        must_be_clean(&finding.text);
    }
    for host in &snapshot.unlisted {
        host.names
            .iter()
            .for_each(|name| must_be_clean(name.text.as_str()));
    }
}

/// Draws every page, and looks at every cell.
fn draw(snapshot: &Snapshot, width: u16, height: u16, unicode: bool) {
    let colour = if unicode {
        ColourUse::Full16
    } else {
        ColourUse::None
    };
    let mut board = Board::new(Look { colour, unicode });
    board.resize(width, height);
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    let clock = |at: Moment| format!("{:08}", at.as_millis() % 100_000_000);
    let back = KeyCode::Esc;
    let keys = [
        KeyCode::Tab,
        KeyCode::Enter,
        back,
        KeyCode::End,
        KeyCode::Enter,
        back,
        KeyCode::Char('f'),
        back,
        KeyCode::Char('h'),
        back,
        KeyCode::Char('t'),
        back,
        KeyCode::Tab,
    ];
    for key in keys {
        let _ = board.handle(&Event::Key(KeyEvent::new(key, KeyModifiers::NONE)), snapshot);
        terminal
            .draw(|frame| board.draw(frame, snapshot, &clock))
            .unwrap();
        for cell in &terminal.backend().buffer().content {
            must_be_clean(cell.symbol());
            assert!(unicode || cell.symbol().is_ascii());
        }
    }
}

/// Courses: all seed frames in turn, each sort by itself, and answers to what we ask.
fn courses() -> Vec<Vec<u8>> {
    let mut out = Vec::new();
    let frames = seeds::frames();
    for (n, some) in frames.chunks(12).enumerate() {
        for kind in [0_u8, 1, 2, 5] {
            if n % 4 != usize::from(kind % 4) {
                continue;
            }
            let mut course = vec![kind | u8::try_from(n / 4 % 4).unwrap() << 3];
            for (at, frame) in some.iter().enumerate() {
                course.push(u8::try_from(at % 12).unwrap() << 4);
                course.extend((frame.len() as u16).to_be_bytes());
                course.extend(frame);
                course.extend([0x57, 0x21, 0x28, 0x22]);
            }
            course.truncate(SNAPSHOT.longest);
            out.push(course);
        }
    }
    // Answers to what we ask, and all else that may happen to a scanner.
    let answers: Vec<u8> = (0..60_u8)
        .flat_map(|n| [0x07 | (n % 12) << 4, 0x20 + n % 4])
        .collect();
    out.push([&[0_u8][..], &answers].concat());
    out.push(vec![
        0, 0x57, 0x21, 0x8a, 1, 0, 0x8a, 0, 1, 0x5b, 0, 0x9b, 1, 0x9c, 0, 0x9c, 1, 0x9d, 30, 0xae, 0xef,
    ]);
    out
}
