//! A connection that goes through as it is.

use std::io;

use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt};

use super::intake::Intake;

/// The methods of HTTP (RFC 9110, section 9; PATCH is RFC 5789).
const METHODS: [&str; 9] = [
    "GET ", "HEAD ", "POST ", "PUT ", "DELETE ", "OPTIONS ", "TRACE ", "CONNECT ", "PATCH ",
];

/// Carries a connection; each direction ends by itself. What begins as a request of HTTP does not go
/// through: a page from elsewhere may have a browser send one to any port of this computer, and
/// what stands in it may move a head.
///
/// # Errors
/// Of either side, and for HTTP; both connections are to be reset then.
pub(crate) async fn carry<C, D>(client: C, device: D) -> io::Result<()>
where
    C: AsyncRead + AsyncWrite + Unpin,
    D: AsyncRead + AsyncWrite + Unpin,
{
    let (client, mut to_client) = tokio::io::split(client);
    let (device, mut to_device) = tokio::io::split(device);
    let (mut client, mut device) = (Intake::new(client), Intake::new(device));
    let out = async {
        while might_become_http(client.bytes()) && client.more().await? {}
        if is_http(client.bytes()) {
            return Err(io::Error::from(io::ErrorKind::InvalidData));
        }
        client.pass_all(&mut to_device).await
    };
    let back = async { device.pass_all(&mut to_client).await };
    tokio::try_join!(out, back)?;
    to_client.flush().await
}

/// Whether it is too short to tell.
fn might_become_http(bytes: &[u8]) -> bool {
    METHODS
        .iter()
        .any(|m| m.len() > bytes.len() && m.as_bytes().starts_with(bytes))
}

fn is_http(bytes: &[u8]) -> bool {
    METHODS.iter().any(|m| bytes.starts_with(m.as_bytes()))
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt, duplex};

    use super::*;

    fn run<T>(work: impl Future<Output = T>) -> T {
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        runtime.block_on(work)
    }

    #[test]
    fn each_direction_ends_by_itself() {
        run(async {
            let ((client, mut near), (mut far, device)) = (duplex(64), duplex(64));
            let carried = carry(client, device);
            let talk = async {
                near.write_all(&[0x81, 0x09, 0x00, 0x02, 0xff]).await.unwrap();
                near.shutdown().await.unwrap();
                let mut heard = Vec::new();
                far.read_to_end(&mut heard).await.unwrap();
                assert_eq!(heard, [0x81, 0x09, 0x00, 0x02, 0xff]);
                far.write_all(b"afterwards").await.unwrap();
                drop(far);
                let mut back = String::new();
                near.read_to_string(&mut back).await.unwrap();
                assert_eq!(back, "afterwards");
            };
            let (carried, ()) = tokio::join!(carried, talk);
            carried.unwrap();
        });
    }

    #[test]
    fn a_browsers_request_does_not_reach_the_device() {
        for words in ["POST / HTTP/1.1\r\n", "GET /", "OPTIONS *"] {
            run(async {
                let ((client, mut near), (mut far, device)) = (duplex(64), duplex(64));
                let talk = async {
                    // Byte by byte.
                    for byte in words.bytes() {
                        // It fails from where it is told apart.
                        let _ = near.write_all(&[byte]).await;
                        tokio::task::yield_now().await;
                    }
                };
                let (carried, ()) = tokio::join!(carry(client, device), talk);
                assert_eq!(carried.unwrap_err().kind(), io::ErrorKind::InvalidData);
                let mut heard = Vec::new();
                far.read_to_end(&mut heard).await.unwrap();
                assert_eq!(heard, b"");
            });
        }
        assert!(might_become_http(b"") && might_become_http(b"PO") && !might_become_http(b"PZ"));
        assert!(!might_become_http(&[0x81]) && !is_http(b"POSTER"));
    }
}
