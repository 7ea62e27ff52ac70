//! What the board hands over is written, counted and read back.

use std::net::Ipv4Addr;

use board::PastLine;
use ledger::{
    FindingKind, HeardView, Muster, Opening, Purpose, SeenView, Severity, Snapshot, Standing, Start,
};
use vocab::Mac;

use super::*;
use crate::args::LinkArgs;
use crate::files::scratch::Scratch;
use crate::journal::{Line, Wanted};

const SCENE: &str = "tangled";

fn expected() -> Expected {
    Expected::of_scene(&venue::scene(SCENE).unwrap()).unwrap()
}

/// What is seen at the start: nothing.
fn snapshot() -> Snapshot {
    let link = LinkArgs {
        link: Vec::new(),
        rehearse: Some(SCENE.to_owned()),
        seed: 1,
        listen_only: false,
        pace: None,
        unprivileged: false,
    };
    let settings = expected().ledger(Purpose::Board, &link);
    Muster::new(settings, Moment::ZERO).snapshot(Moment::ZERO)
}

fn recorder(path: &std::path::Path) -> Recorder {
    let about = About::of(&expected(), "rehearsal".to_owned(), true);
    let wall = WallTime::read(Moment::ZERO);
    Recorder::start(Place::At(path.to_owned()), about, &wall, Moment::ZERO)
}

fn change(n: u64, subject: Subject) -> Change {
    Change {
        at: Moment::from_secs(n),
        subject,
        text: format!("change {n}"),
        basis: String::new(),
        worse: false,
        folded: false,
    }
}

fn stands(n: u64, to: Standing) -> Change {
    let subject = Subject::Device {
        name: "Pulpit".to_owned(),
        from: Standing::Unknown,
        to,
        mac: None,
        address: None,
    };
    change(n, subject)
}

fn start(n: u64, secs: u64) -> Change {
    let took = Duration::from_secs(secs);
    let start = Start {
        device: "Nave".to_owned(),
        mac: None,
        address: None,
        first: Moment::ZERO,
        opening: Opening::FirstFrame,
        settled: Some(took / 2),
        echo: None,
        ports: vec![("rtsp".parse().unwrap(), Some(took))],
        done: Some(took),
    };
    change(n, Subject::Start(Box::new(start)))
}

fn lines(path: &std::path::Path) -> Vec<Line> {
    let book = Book::open_to_read(path).unwrap();
    let mut all = Vec::new();
    for run in book.runs(&Wanted::default()).unwrap() {
        let each = |line| {
            all.push(line);
            true
        };
        book.lines(run.id, &Wanted::default(), each).unwrap();
    }
    all
}

#[tokio::test]
async fn every_kind_of_change_is_written_as_what_it_is() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    let mut recorder = recorder(&path);
    let mac = Mac::new([2, 0x52, 0x43, 0, 1, 0x94]);
    let address = Some(Ipv4Addr::new(10, 40, 9, 24));
    let finding = Subject::Finding {
        kind: FindingKind::AddressConflict,
        severity: Severity::Fault,
        began: true,
        devices: vec!["Font".to_owned(), "Nave".to_owned()],
        macs: vec![mac],
        address,
    };
    let checked = Subject::Cable {
        device: "Nave".to_owned(),
        mac: Some(mac),
        address: Ipv4Addr::new(10, 40, 9, 24),
    };
    let before = snapshot();
    let now = Moment::from_secs(9);
    for change in [
        stands(1, Standing::Missing),
        change(2, finding),
        change(3, Subject::Ready(true)),
        start(4, 50),
        change(5, checked),
    ] {
        recorder.record(&change, &before, now);
    }
    assert_eq!(recorder.finish(now), None);
    let all = lines(&path);
    let kinds: Vec<&str> = all.iter().map(|line| line.kind.as_str()).collect();
    assert_eq!(kinds, ["standing", "finding", "ready", "start", "cable"]);
    assert_eq!(
        (&all[4].devices, &all[4].macs, all[4].address.as_deref()),
        (
            &vec!["Nave".to_owned()],
            &vec![mac.to_string()],
            Some("10.40.9.24")
        )
    );
    assert_eq!(
        (all[0].standing.as_deref(), all[0].lost),
        (Some("missing"), Some(false)),
        "it was never heard in this run"
    );
    let finding = &all[1];
    assert_eq!(
        (
            finding.finding.as_deref(),
            finding.severity.as_deref(),
            finding.began
        ),
        (Some("address_conflict"), Some("fault"), Some(true))
    );
    assert_eq!(finding.devices, ["Font", "Nave"]);
    assert_eq!(
        (&finding.macs[..], finding.address.as_deref()),
        (&[mac.to_string()][..], Some("10.40.9.24"))
    );
    assert_eq!(all[2].began, Some(true));
    assert_eq!(all[3].took, Some(Duration::from_secs(50)));
    let steps = all[3].steps.as_ref().unwrap();
    assert_eq!(
        (steps.first_frame, steps.address_ms, steps.echo_ms),
        (true, Some(25_000), None)
    );
    assert_eq!(steps.control_ms["rtsp"], Some(50_000));
}

#[tokio::test]
async fn how_long_a_device_usually_takes_comes_back() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    let before = snapshot();
    let usual = async |recorder: &mut Recorder| loop {
        if let News::Usual(all) = recorder.news().await {
            return all;
        }
    };
    let mut first = recorder(&path);
    assert!(usual(&mut first).await.is_empty(), "nothing is known yet");
    for (n, secs) in [(1, 52), (2, 50)] {
        first.record(&start(n, secs), &before, Moment::from_secs(n));
    }
    while usual(&mut first).await.iter().all(|(_, usual)| usual.count < 2) {}
    first.finish(Moment::from_secs(9));
    // The next run knows it from the start.
    let mut second = recorder(&path);
    let all = usual(&mut second).await;
    let [(device, usual)] = all.as_slice() else {
        panic!("{all:?}");
    };
    assert_eq!((device.as_str(), usual.count), ("Nave", 2));
    assert_eq!(
        (usual.median, usual.p90),
        (Duration::from_secs(50), Duration::from_secs(52))
    );
}

#[tokio::test]
async fn what_the_board_no_longer_has_is_read_back_once_and_whole() {
    let scratch = Scratch::new();
    let path = scratch.path().join("journal.db");
    let mut seen = snapshot();
    let mut earlier = recorder(&path);
    for n in 1..=5 {
        earlier.record(&stands(n, Standing::Missing), &seen, Moment::from_secs(n));
    }
    earlier.finish(Moment::from_secs(9));
    let mut recorder = recorder(&path);
    // The board keeps the last 300 of 1,000. Every fifth is told by another one, and not listed.
    let many = 1_000_u64;
    for n in 1..=many {
        let change = Change {
            folded: n.is_multiple_of(5),
            ..stands(n, Standing::Present)
        };
        recorder.record(&change, &seen, change.at);
        if n > many - 300 && !change.folded {
            seen.changes.push(change);
        }
        if n % 200 == 0 {
            // So that none of them finds the channel full.
            while !matches!(recorder.news().await, News::Writing) || committed(&recorder) < n {}
        }
    }
    recorder.look(&seen, Moment::from_secs(many));
    // What comes after the picture was made is not on it, and not to be read either.
    recorder.record(
        &stands(many + 1, Standing::Present),
        &seen,
        Moment::from_secs(many + 1),
    );
    let mut texts = Vec::new();
    let mut heads = 0;
    let mut anew = true;
    loop {
        recorder.read_back(anew);
        anew = false;
        let (lines, more) = loop {
            if let News::Past(lines, more) = recorder.news().await {
                break (lines, more);
            }
        };
        for line in lines {
            match line {
                PastLine::Head(_) => heads += 1,
                PastLine::Change { text, .. } => texts.push(text),
            }
        }
        if !more {
            break;
        }
    }
    let own = (1..=many - 300).rev().filter(|n| !n.is_multiple_of(5));
    let wanted: Vec<String> = own.chain((1..=5).rev()).map(|n| format!("change {n}")).collect();
    assert_eq!(texts, wanted);
    assert_eq!(heads, 2, "one for each run");
}

fn committed(recorder: &Recorder) -> u64 {
    match &recorder.0 {
        Kind::Kept(kept) => kept.writer.state().committed,
        _ => 0,
    }
}

#[test]
fn only_the_units_own_settled_state_is_as_found() {
    let wall = Stamp { ms: 0, offset_s: 0 };
    let mut device = snapshot().devices.remove(0);
    let own = Mac::new([2, 0x52, 0x43, 0, 1, 0x15]);
    let other = Mac::new([2, 0x52, 0x43, 0, 1, 0x94]);
    let address = Ipv4Addr::new(192, 168, 0, 20);
    assert_eq!(AsFound::of(&device, wall), None, "nothing was seen of it");
    let mask = Some(Ipv4Addr::new(255, 255, 255, 0));
    device.seen = Some(SeenView {
        mac: Some(own),
        address: Some(address),
        addresses: vec![address],
        heard: HeardView {
            asks_dhcp: true,
            ..HeardView::default()
        },
        vendor: None,
        names: Vec::new(),
        rtt: None,
        mask,
        first_seen: Moment::ZERO,
    });
    let mut found = |standing, expected: &[Mac]| {
        device.standing = standing;
        device.expected_macs = expected.to_vec();
        AsFound::of(&device, wall).map(|f| (f.mac, f.address, f.mask, f.dhcp))
    };
    let whole = Some((Some(own), address, mask, Some(true)));
    for standing in [
        Standing::Present,
        Standing::NoControl,
        Standing::WrongSubnet,
        Standing::Moved,
    ] {
        assert_eq!(found(standing, &[own]), whole, "{standing:?}");
        assert_eq!(found(standing, &[]), whole, "{standing:?}");
        assert_eq!(found(standing, &[other]), None, "{standing:?}");
    }
    assert_eq!(
        found(Standing::Conflict, &[own]),
        whole,
        "its own hardware is there"
    );
    assert_eq!(
        found(Standing::Conflict, &[]),
        None,
        "which of the two is not known"
    );
    for standing in [
        Standing::Replaced,
        Standing::Starting,
        Standing::Missing,
        Standing::Unknown,
    ] {
        assert_eq!(found(standing, &[own]), None, "{standing:?}");
    }
}
