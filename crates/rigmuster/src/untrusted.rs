//! The doors in this crate through which bytes from outside come, for those who try them with any bytes.
//!
//! Not for use: each function hands back what came of the bytes, in the simplest form in which a promise
//! about it can be checked.

use std::collections::BTreeMap;
use std::net::Ipv4Addr;
use std::path::Path;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream};

use crate::files::saved_of_bytes;
use crate::journal::stats::Count;
use crate::journal::{Book, Trouble, Wanted};
use crate::report::{Paint, Record, diary};
use crate::tunnel::{Door, Names, http, rtsp};
use crate::vendors;

/// The device behind the tunnel.
pub const DEVICE: Ipv4Addr = Ipv4Addr::new(192, 168, 0, 20);
/// The tunnel's doors: the device's port, and the loopback port that stands for it.
pub const DOORS: [(u16, u16); 3] = [(80, 40_080), (554, 40_554), (8_080, 48_080)];
/// What a connection holds on its way, in bytes: more than any of the tries.
const HELD: usize = 1 << 20;

/// What speaks through a tunnel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speech {
    /// HTTP, to the device's port 80.
    Http,
    /// RTSP, to its port 554.
    Rtsp,
}

/// Lets both sides of a connection say all that they have, and end: what reached the device, then what
/// reached the client.
///
/// # Panics
/// If the connection does not end.
pub async fn through_tunnel(speech: Speech, client: &[u8], device: &[u8]) -> (Vec<u8>, Vec<u8>) {
    let names = || {
        let mut names = Names::new(DEVICE);
        for (port, door) in DOORS {
            names.add(port, door);
        }
        names
    };
    let (near_client, far_client) = tokio::io::duplex(HELD);
    let (near_device, far_device) = tokio::io::duplex(HELD);
    let (far_client, far_device) = (say(far_client, client).await, say(far_device, device).await);
    let door = Door {
        local: DOORS[0].1,
        port: DOORS[0].0,
    };
    // An error resets both sides, which is an end as well.
    let _ = match speech {
        Speech::Http => http::carry(near_client, near_device, names, door).await,
        Speech::Rtsp => rtsp::carry(near_client, near_device, names).await,
    };
    (hear(far_device).await, hear(far_client).await)
}

async fn say(mut side: DuplexStream, words: &[u8]) -> DuplexStream {
    let _ = side.write_all(words).await;
    let _ = side.shutdown().await;
    side
}

async fn hear(mut side: DuplexStream) -> Vec<u8> {
    let mut heard = Vec::new();
    let _ = side.read_to_end(&mut heard).await;
    heard
}

/// A saved check or survey, written again, and the sheet to be signed that is made of it; else why not.
///
/// # Errors
/// It is none.
pub fn saved_check(bytes: &[u8]) -> Result<(String, Option<rig::sheet::Checked>), String> {
    let report = saved_of_bytes(Path::new("check.json"), bytes).map_err(|why| why.to_string())?;
    let again = serde_json::to_string(&report).map_err(|why| why.to_string())?;
    // By this clock every time is still to come.
    let now = Timestamp::UNIX_EPOCH.to_zoned_datetime(TimeZone::UTC);
    Ok((again, report.checked(&now)))
}

/// One registry of hardware makers as the system has it: its prefixes with their makers.
pub fn registry(bytes: &[u8], digits: usize) -> Option<BTreeMap<String, Vec<String>>> {
    let mut names = BTreeMap::new();
    vendors::registry(bytes, digits, &mut names)?;
    Some(names)
}

/// All that is shown of the journal at `path`: as a person and as a program read it.
///
/// # Errors
/// It cannot be read; in words.
pub fn journal(path: &Path) -> Result<String, String> {
    let words = |trouble: Trouble| format!("{trouble}\n{}", trouble.step());
    let book = Book::open_to_read(path).map_err(words)?;
    let wanted = Wanted::default();
    let mut out = String::new();
    for run in book.runs(&wanted).map_err(words)? {
        out.push_str(&diary::heading(&run, Paint::Plain));
        let mut count = Count::default();
        let each = |line: crate::journal::Line| {
            let record = Record::entry(&run, &line);
            out.push_str(&diary::entry(&line, Paint::Plain));
            out.push_str(&record.json());
            if let (Some(device), Some(standing)) = (line.devices.first(), &line.standing) {
                count.standing(device, line.mono, standing, line.lost == Some(true));
            }
            if line.hides() {
                count.blind();
            }
            line.count_start(&mut count);
            true
        };
        book.lines(run.id, &wanted, each).map_err(words)?;
        count.run_over(run.last);
        out.push_str(&diary::figures(&run, count.figures().iter(), Paint::Plain));
        let _ = book.before(&run.head.file, run.head.rehearsal, (i64::MAX, i64::MAX), 50);
    }
    let found = book.found(&wanted).map_err(words)?;
    out.push_str(&diary::found(&found, Paint::Plain));
    Ok(out)
}
