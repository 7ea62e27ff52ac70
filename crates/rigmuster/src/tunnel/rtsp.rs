//! One RTSP connection through the tunnel, with the media in it (RFC 2326; RFC 7826 writes its heads alike).
//!
//! The device's own URLs become those of the door and back. Media goes through inside the connection
//! (RFC 2326, section 10.12): datagrams that the device would send by itself have no way back, so a client
//! that wants them is told to ask otherwise.

use std::io;

use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt};
use tokio::sync::Mutex;

use super::framing::Framing;
use super::head::LONGEST;
use super::intake::Intake;
use super::names::Names;

/// The most headers in one head.
const MOST: usize = 128;
/// The longest description of a session that is read.
const LONGEST_SDP: u64 = 64 * 1024;

/// Which way a message goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Toward {
    Device,
    Client,
}

/// What comes next on a connection.
#[derive(Debug, PartialEq, Eq)]
enum Item {
    /// So many bytes that go through as they are: a piece of media, or a line end between messages.
    Bytes(u64),
    /// A message.
    Message(Message),
}

#[derive(Debug, PartialEq, Eq)]
struct Message {
    /// So long its head was.
    length: usize,
    /// Its head for the other side, without the line that says how long the body is.
    head: Vec<u8>,
    /// Its body.
    body: u64,
    /// The body describes a session.
    sdp: bool,
    /// It is not passed on: this is said in the device's place.
    instead: Option<Vec<u8>>,
}

/// A head that is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct NoMessage;

/// Carries a connection. `names` is asked anew for every message.
///
/// # Errors
/// Of either side, and what a client says that is no RTSP; both connections are to be reset then.
pub(crate) async fn carry<C, D>(client: C, device: D, names: impl Fn() -> Names) -> io::Result<()>
where
    C: AsyncRead + AsyncWrite + Unpin,
    D: AsyncRead + AsyncWrite + Unpin,
{
    let (client, to_client) = tokio::io::split(client);
    let (device, mut to_device) = tokio::io::split(device);
    // Answers of ours and of the device's go out one after the other.
    let to_client = Mutex::new(to_client);
    let (mut client, mut device) = (Intake::new(client), Intake::new(device));
    let out = async {
        loop {
            let item = match next(client.bytes(), &names(), Toward::Device) {
                Ok(Some(item)) => item,
                Ok(None) if client.more().await? => continue,
                Ok(None) => return to_device.shutdown().await,
                Err(NoMessage) => return Err(io::ErrorKind::InvalidData.into()),
            };
            if let Item::Message(Message {
                instead: Some(words),
                length,
                body,
                ..
            }) = &item
            {
                client.take(*length);
                client
                    .pass(&mut Framing::Length(*body), &mut tokio::io::sink())
                    .await?;
                let mut to_client = to_client.lock().await;
                to_client.write_all(words).await?;
                to_client.flush().await?;
            } else {
                pass(&mut client, item, &names(), &mut to_device).await?;
            }
        }
    };
    let back = async {
        loop {
            let item = next(device.bytes(), &names(), Toward::Client);
            match item {
                Ok(Some(item)) => pass(&mut device, item, &names(), &mut *to_client.lock().await).await?,
                Ok(None) if device.more().await? => {}
                // The client may know better what it is.
                Ok(None) | Err(NoMessage) => return device.pass_all(&mut *to_client.lock().await).await,
            }
        }
    };
    tokio::try_join!(out, back)?;
    Ok(())
}

/// Passes on one item.
async fn pass<R: AsyncRead + Unpin>(
    from: &mut Intake<R>,
    item: Item,
    names: &Names,
    to: &mut (impl AsyncWrite + Unpin),
) -> io::Result<()> {
    let mut message = match item {
        Item::Bytes(n) => return from.pass(&mut Framing::Length(n), to).await,
        Item::Message(message) => message,
    };
    from.take(message.length);
    let mut body = Vec::new();
    let mut left = Framing::Length(message.body);
    if message.sdp && message.body <= LONGEST_SDP {
        from.pass(&mut left, &mut body).await?;
        body = session(&body, names);
        message.body = body.len() as u64;
    }
    if message.body > 0 {
        let line = format!("Content-Length: {}\r\n", message.body);
        message.head.extend_from_slice(line.as_bytes());
    }
    message.head.extend_from_slice(b"\r\n");
    message.head.extend_from_slice(&body);
    to.write_all(&message.head).await?;
    from.pass(&mut left, to).await?;
    to.flush().await
}

/// What `bytes` begin with; `None` while that is not whole.
fn next(bytes: &[u8], names: &Names, toward: Toward) -> Result<Option<Item>, NoMessage> {
    match bytes {
        [] => return Ok(None),
        [b'$', _, high, low, ..] => {
            let length = u16::from_be_bytes([*high, *low]);
            return Ok(Some(Item::Bytes(4 + u64::from(length))));
        }
        [b'$', ..] => return Ok(None),
        [b'\r' | b'\n', ..] => return Ok(Some(Item::Bytes(1))),
        _ => {}
    }
    let line_end = bytes.iter().position(|b| *b == b'\n');
    let Some(line_end) = line_end else {
        // No line is as long as that, and what is text is so from the first letter on.
        let fit = bytes.len() < LONGEST && bytes[0].is_ascii_alphabetic();
        return if fit { Ok(None) } else { Err(NoMessage) };
    };
    let line = std::str::from_utf8(&bytes[..line_end])
        .map_err(|_| NoMessage)?
        .trim_end();
    let words: Vec<&str> = line.split(' ').collect();
    let is_rtsp = |word: &&str| word.starts_with("RTSP/");
    let is_answer = words.first().is_some_and(is_rtsp);
    let is_request = words.len() == 3 && words.last().is_some_and(is_rtsp);
    if !(is_answer || is_request) {
        return Err(NoMessage);
    }
    let mut headers = [httparse::EMPTY_HEADER; MOST];
    let after = line_end + 1;
    let (length, headers) = match httparse::parse_headers(&bytes[after..], &mut headers) {
        Ok(httparse::Status::Complete((n, headers))) => (after + n, headers),
        Ok(httparse::Status::Partial) if bytes.len() < LONGEST => return Ok(None),
        _ => return Err(NoMessage),
    };
    Ok(Some(Item::Message(message(
        length, &words, headers, names, toward,
    )?)))
}

fn message(
    length: usize,
    words: &[&str],
    headers: &[httparse::Header<'_>],
    names: &Names,
    toward: Toward,
) -> Result<Message, NoMessage> {
    let mut head = match words {
        [method, url, version] if toward == Toward::Device && !version.is_empty() => {
            let url = names.inward(url).unwrap_or_else(|| (*url).to_owned());
            format!("{method} {url} {version}\r\n")
        }
        words => words.join(" ") + "\r\n",
    }
    .into_bytes();
    let is_setup = toward == Toward::Device && words.first() == Some(&"SETUP");
    let (mut body, mut sdp, mut number, mut instead) = (None, false, String::new(), false);
    for header in headers {
        let text = std::str::from_utf8(header.value).ok();
        let named = |name: &str| header.name.eq_ignore_ascii_case(name);
        let mut said = None;
        if named("content-length") {
            let n = text.and_then(|t| t.trim().parse().ok()).ok_or(NoMessage)?;
            if body.replace(n).is_some_and(|before| before != n) {
                return Err(NoMessage);
            }
            continue;
        } else if named("cseq") {
            text.unwrap_or_default().trim().clone_into(&mut number);
        } else if named("content-type") {
            sdp = text.is_some_and(|t| t.trim().to_ascii_lowercase().starts_with("application/sdp"));
        } else if named("transport") && is_setup {
            said = text.map(inside);
            instead = said.as_ref().is_some_and(String::is_empty);
        } else if toward == Toward::Client
            && ["content-base", "content-location", "location", "rtp-info"]
                .into_iter()
                .any(named)
        {
            said = text.map(|t| urls(t, names));
        }
        head.extend_from_slice(header.name.as_bytes());
        head.extend_from_slice(b": ");
        head.extend_from_slice(said.as_ref().map_or(header.value, String::as_bytes));
        head.extend_from_slice(b"\r\n");
    }
    // Only a number is said back.
    number.retain(|c| c.is_ascii_digit());
    // RFC 2326, section 11.3.12.
    let refusal = || format!("RTSP/1.0 461 Unsupported Transport\r\nCSeq: {number}\r\n\r\n").into_bytes();
    Ok(Message {
        length,
        head,
        body: body.unwrap_or(0),
        sdp: sdp && toward == Toward::Client,
        instead: instead.then(refusal),
    })
}

/// Of the transports that a client offers, those inside the connection.
fn inside(transports: &str) -> String {
    let tcp = |spec: &&str| {
        let profile = spec.split(';').next().unwrap_or_default().trim();
        profile.to_ascii_uppercase().ends_with("/TCP")
    };
    let kept: Vec<&str> = transports.split(',').filter(tcp).map(str::trim).collect();
    kept.join(",")
}

/// A text in which the device's own URLs lead to the doors.
fn urls(text: &str, names: &Names) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find("rtsp://") {
        let (before, from) = rest.split_at(at);
        let end = from
            .find([',', ';', ' ', '"', '>', '\r', '\n'])
            .unwrap_or(from.len());
        let (url, after) = from.split_at(end);
        out.push_str(before);
        out.push_str(names.outward(url).as_deref().unwrap_or(url));
        rest = after;
    }
    out.push_str(rest);
    out
}

/// A description of a session (RFC 8866) whose controls (RFC 2326, section C.1.1) lead to the doors.
fn session(body: &[u8], names: &Names) -> Vec<u8> {
    let Ok(text) = std::str::from_utf8(body) else {
        return body.to_vec();
    };
    let line = |line: &str| match line.strip_prefix("a=control:") {
        Some(url) => format!("a=control:{}", urls(url, names)),
        None => line.to_owned(),
    };
    text.split_inclusive('\n')
        .map(line)
        .collect::<String>()
        .into_bytes()
}

#[cfg(test)]
#[path = "rtsp_tests.rs"]
mod tests;
