//! RTSP 1.0: RFC 2326 sections 7.1 (status line) and 10.1 (OPTIONS).

use crate::head::{Head, status_line};
use crate::malformed::{Layer, Malformed};

const PROTOCOL: &[u8] = b"RTSP/";

/// Asks what the server can do: the one question that touches no stream.
pub fn options_request() -> Vec<u8> {
    b"OPTIONS * RTSP/1.0\r\nCSeq: 1\r\nUser-Agent: rigmuster\r\n\r\n".to_vec()
}

/// Reads the head of a response.
///
/// # Errors
/// [`crate::Reason::Short`] while more may come, [`crate::Reason::Value`] if it is not RTSP,
/// [`crate::Reason::Long`] beyond 8 KiB.
pub fn parse(bytes: &[u8]) -> Result<Head<'_>, Malformed> {
    Head::parse(bytes, PROTOCOL, Layer::Rtsp)
}

/// Reads no more than the status: any is proof enough of RTSP, 401 included.
///
/// # Errors
/// As [`parse`].
pub fn status(bytes: &[u8]) -> Result<u16, Malformed> {
    status_line(bytes, PROTOCOL, Layer::Rtsp)
}
