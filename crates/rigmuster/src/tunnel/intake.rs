//! Bytes that arrived and are not used yet.

use std::io;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};

use super::framing::Framing;

/// Bytes taken in at one go.
const PIECE: usize = 16 * 1024;

/// A reader with what it has read.
#[derive(Debug)]
pub(crate) struct Intake<R> {
    reader: R,
    held: Vec<u8>,
    /// So many of them are used.
    used: usize,
}

impl<R: AsyncRead + Unpin> Intake<R> {
    /// Nothing read yet.
    pub(crate) const fn new(reader: R) -> Self {
        Self {
            reader,
            held: Vec::new(),
            used: 0,
        }
    }

    /// What was read and not used.
    pub(crate) fn bytes(&self) -> &[u8] {
        &self.held[self.used..]
    }

    /// The first `n` of them are used.
    pub(crate) fn take(&mut self, n: usize) {
        self.used = (self.used + n).min(self.held.len());
    }

    /// Reads more. False at the end. Dropping the future loses nothing.
    ///
    /// # Errors
    /// The reader's.
    pub(crate) async fn more(&mut self) -> io::Result<bool> {
        if self.used > 0 {
            self.held.drain(..self.used);
            self.used = 0;
        }
        self.held.reserve(PIECE);
        Ok(self.reader.read_buf(&mut self.held).await? > 0)
    }

    /// Waits for the end, and keeps what comes before, up to `most` bytes; with more it waits for ever.
    ///
    /// # Errors
    /// The reader's.
    pub(crate) async fn wait_for_end(&mut self, most: usize) -> io::Result<()> {
        while self.bytes().len() < most {
            if !self.more().await? {
                return Ok(());
            }
        }
        std::future::pending().await
    }

    /// Passes on what is left of a body.
    ///
    /// # Errors
    /// Of either side; the body is cut short or not framed as it says.
    pub(crate) async fn pass(
        &mut self,
        body: &mut Framing,
        to: &mut (impl AsyncWrite + Unpin),
    ) -> io::Result<()> {
        while !body.is_over() {
            if self.bytes().is_empty() && !self.more().await? {
                return match body {
                    Framing::Close => Ok(()),
                    Framing::Length(_) | Framing::Chunked(_) => Err(io::ErrorKind::UnexpectedEof.into()),
                };
            }
            let taken = body
                .take(self.bytes())
                .map_err(|_| io::Error::from(io::ErrorKind::InvalidData))?;
            to.write_all(&self.bytes()[..taken]).await?;
            self.take(taken);
        }
        to.flush().await
    }

    /// Passes on all until the end, and then ends that direction.
    ///
    /// # Errors
    /// Of either side.
    pub(crate) async fn pass_all(&mut self, to: &mut (impl AsyncWrite + Unpin)) -> io::Result<()> {
        self.pass(&mut Framing::Close, to).await?;
        to.shutdown().await
    }
}
