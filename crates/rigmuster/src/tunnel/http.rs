//! One HTTP connection through the tunnel, request after request.

use std::io;
use std::pin::pin;
use std::sync::atomic::{AtomicBool, Ordering};

use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt};

use super::framing::Framing;
use super::head::{self, Door, Refusal};
use super::intake::Intake;
use super::names::Names;

/// Carries a connection: each request is checked by itself and its answer read to its end before the
/// next is looked at. `names` is asked anew for every message.
///
/// # Errors
/// Of either side; both connections are to be reset then.
pub(crate) async fn carry<C, D>(client: C, device: D, names: impl Fn() -> Names, door: Door) -> io::Result<()>
where
    C: AsyncRead + AsyncWrite + Unpin,
    D: AsyncRead + AsyncWrite + Unpin,
{
    let (client, mut to_client) = tokio::io::split(client);
    let (device, mut to_device) = tokio::io::split(device);
    let (mut client, mut device) = (Intake::new(client), Intake::new(device));
    loop {
        let request = loop {
            match head::request(client.bytes(), &names(), door) {
                Ok(Some(request)) => break request,
                Ok(None) => {}
                Err(refusal) => {
                    to_device.shutdown().await?;
                    return refuse(&mut to_client, refusal).await;
                }
            }
            tokio::select! {
                more = client.more() => if !more? {
                    // Whoever goes in the midst of a head has said nothing.
                    to_device.shutdown().await?;
                    return to_client.shutdown().await;
                },
                // It ends an idle connection, or says what nobody asked.
                _ = device.more() => {
                    to_device.shutdown().await?;
                    return to_client.shutdown().await;
                }
            }
        };
        client.take(request.length);
        let mut body = request.body;
        let asked = AtomicBool::new(false);
        let asks = async {
            let passed = async {
                to_device.write_all(&request.head).await?;
                client.pass(&mut body, &mut to_device).await?;
                asked.store(true, Ordering::Relaxed);
                // A client that goes is seen, though it has said all; what it says already waits its turn.
                client.wait_for_end(head::LONGEST).await
            };
            let passed = passed.await;
            let _ = to_device.shutdown().await;
            passed
        };
        // Both at once: a device may answer before it has heard all, and may not read on until it has.
        let end = {
            let hears = hear(&mut device, &mut to_client, &names, request.is_head);
            let (mut asks, mut hears) = (pin!(asks), pin!(hears));
            tokio::select! {
                biased;
                end = &mut hears => end?,
                // What it has to say to so much is passed on still.
                _ = &mut asks => match hears.await? {
                    End::Switched => End::Switched,
                    End::Kept | End::Last => End::Last,
                },
            }
        };
        match end {
            // It has not heard all, and what is left is no request.
            End::Kept | End::Switched if !asked.load(Ordering::Relaxed) => break,
            // It changes over to what nobody offered (RFC 9110, section 7.8): what the client says next may
            // be a request that must be looked at.
            End::Switched if !request.upgrades => break,
            End::Switched => {
                let out = async { client.pass_all(&mut to_device).await };
                let back = async { device.pass_all(&mut to_client).await };
                tokio::try_join!(out, back)?;
                return Ok(());
            }
            End::Last => break,
            End::Kept if request.last => break,
            End::Kept => {}
        }
    }
    to_device.shutdown().await?;
    to_client.shutdown().await
}

/// Tells the client why nothing is passed on, and ends the connection.
///
/// # Errors
/// The client's.
pub(crate) async fn refuse(to_client: &mut (impl AsyncWrite + Unpin), why: Refusal) -> io::Result<()> {
    to_client.write_all(&why.answer()).await?;
    to_client.shutdown().await
}

/// What follows an answer.
enum End {
    /// The next request may come.
    Kept,
    /// Nothing.
    Last,
    /// Another protocol.
    Switched,
}

/// Passes on the answer to one request.
async fn hear<D: AsyncRead + Unpin>(
    device: &mut Intake<D>,
    to_client: &mut (impl AsyncWrite + Unpin),
    names: &impl Fn() -> Names,
    is_head: bool,
) -> io::Result<End> {
    loop {
        let mut answer = loop {
            match head::answer(device.bytes(), &names(), is_head) {
                Ok(Some(answer)) => break answer,
                Ok(None) if device.more().await? => {}
                // Not what we take for an answer: the client may know better, and nothing follows it.
                Ok(None) | Err(_) => {
                    device.pass(&mut Framing::Close, to_client).await?;
                    return Ok(End::Last);
                }
            }
        };
        device.take(answer.length);
        to_client.write_all(&answer.head).await?;
        to_client.flush().await?;
        if answer.interim {
            continue;
        }
        if answer.switches {
            return Ok(End::Switched);
        }
        device.pass(&mut answer.body, to_client).await?;
        return Ok(if answer.last { End::Last } else { End::Kept });
    }
}

#[cfg(test)]
#[path = "http_tests.rs"]
mod tests;
