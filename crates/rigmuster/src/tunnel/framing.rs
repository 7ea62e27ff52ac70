//! Where the body of an HTTP message ends (RFC 9112, sections 6 and 7).

/// The longest line of a chunked body, and all its trailers together.
const LONGEST_LINE: usize = 8 * 1024;

/// A chunked body that is not one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct NoChunk;

/// What is left of a body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Framing {
    /// So many bytes.
    Length(u64),
    /// Chunks.
    Chunked(Chunk),
    /// All until the connection ends.
    Close,
}

/// Where in a chunked body we are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Chunk {
    /// In a line with a size: its digits so far, their value, the line's length.
    Size { digits: u8, size: u64, line: usize },
    /// After the digits, in what is no size; `cr`: after a carriage return.
    Rest { size: u64, line: usize, cr: bool },
    /// In the data of a chunk.
    Data(u64),
    /// In the line end after it, so many bytes of which are over.
    End(u8),
    /// In the trailers: how long this line is, how long all are, whether after a carriage return.
    Trailer { line: usize, all: usize, cr: bool },
    /// Over.
    Over,
}

impl Framing {
    /// No body.
    pub(crate) const NONE: Self = Self::Length(0);
    /// Chunks from the first on.
    pub(crate) const CHUNKED: Self = Self::Chunked(Chunk::FIRST);

    /// Whether nothing of the body is left. One that goes on to the end of the connection never is.
    pub(crate) const fn is_over(&self) -> bool {
        matches!(self, Self::Length(0) | Self::Chunked(Chunk::Over))
    }

    /// Goes on over `bytes`; how many of them, from the first on, belong to the body.
    ///
    /// # Errors
    /// What should be chunked is not.
    pub(crate) fn take(&mut self, bytes: &[u8]) -> Result<usize, NoChunk> {
        match self {
            Self::Close => Ok(bytes.len()),
            Self::Length(left) => {
                let taken = usize::try_from(*left).unwrap_or(usize::MAX).min(bytes.len());
                *left -= taken as u64;
                Ok(taken)
            }
            Self::Chunked(chunk) => {
                let mut at = 0;
                while at < bytes.len() && *chunk != Chunk::Over {
                    at += chunk.step(&bytes[at..])?;
                }
                Ok(at)
            }
        }
    }
}

impl Chunk {
    const FIRST: Self = Self::Size {
        digits: 0,
        size: 0,
        line: 0,
    };

    /// Goes on over the first of `bytes`, or over as much data as there is; never over none.
    fn step(&mut self, bytes: &[u8]) -> Result<usize, NoChunk> {
        let Some(&byte) = bytes.first() else {
            return Err(NoChunk);
        };
        let next = match *self {
            Self::Data(left) => {
                let taken = usize::try_from(left).unwrap_or(usize::MAX).min(bytes.len());
                let left = left - taken as u64;
                *self = if left == 0 { Self::End(0) } else { Self::Data(left) };
                return Ok(taken);
            }
            Self::Size { digits, size, line } => match (byte as char).to_digit(16) {
                // Sixteen digits are all that fit.
                Some(digit) if digits < 16 => Self::Size {
                    digits: digits + 1,
                    size: size << 4 | u64::from(digit),
                    line: line + 1,
                },
                None if digits > 0 && matches!(byte, b'\r' | b';' | b' ' | b'\t') => Self::Rest {
                    size,
                    line: line + 1,
                    cr: byte == b'\r',
                },
                _ => return Err(NoChunk),
            },
            Self::Rest { size, cr: true, .. } if byte == b'\n' => match size {
                0 => Self::Trailer {
                    line: 0,
                    all: 0,
                    cr: false,
                },
                size => Self::Data(size),
            },
            Self::Rest { cr: true, .. } => return Err(NoChunk),
            Self::Rest { size, line, .. } if byte != b'\n' && line < LONGEST_LINE => Self::Rest {
                size,
                line: line + 1,
                cr: byte == b'\r',
            },
            Self::Rest { .. } => return Err(NoChunk),
            Self::End(0) if byte == b'\r' => Self::End(1),
            Self::End(1) if byte == b'\n' => Self::FIRST,
            Self::End(_) => return Err(NoChunk),
            Self::Trailer { line, all, cr: true } if byte == b'\n' => match line {
                0 => Self::Over,
                _ => Self::Trailer {
                    line: 0,
                    all: all + 1,
                    cr: false,
                },
            },
            Self::Trailer { cr: true, .. } => return Err(NoChunk),
            Self::Trailer { line, all, .. } if byte != b'\n' && all < LONGEST_LINE => Self::Trailer {
                line: line + usize::from(byte != b'\r'),
                all: all + 1,
                cr: byte == b'\r',
            },
            Self::Trailer { .. } => return Err(NoChunk),
            Self::Over => return Err(NoChunk),
        };
        *self = next;
        Ok(1)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Takes pieces until it is over; what of the whole belonged to the body.
    fn taken(mut framing: Framing, whole: &[u8], piece: usize) -> Result<usize, NoChunk> {
        let mut all = 0;
        for bytes in whole.chunks(piece.max(1)) {
            let n = framing.take(bytes)?;
            all += n;
            if n < bytes.len() || framing.is_over() {
                assert!(framing.is_over());
                return Ok(all);
            }
        }
        assert!(!framing.is_over());
        Ok(all)
    }

    #[test]
    fn a_chunked_body_ends_after_its_trailers() {
        // The form of RFC 9112, section 7.1, with an extension and a trailer.
        let body = b"4\r\nWiki\r\n6;name=value\r\npedia \r\n1A\r\nabcdefghijklmnopqrstuvwxyz\r\n0\r\nEtag: x\r\n\r\n";
        let whole = [&body[..], b"GET / HTTP/1.1\r\n"].concat();
        for piece in 1..whole.len() {
            assert_eq!(taken(Framing::CHUNKED, &whole, piece), Ok(body.len()), "{piece}");
        }
    }

    #[test]
    fn what_is_no_chunk_is_told() {
        for bad in [
            &b"\r\n"[..],
            b"x\r\n",
            b"-1\r\n",
            b"4\nWiki",
            b"4\r\nWikipedia",
            b"4\r\nWiki\n",
            b"12345678901234567\r\n",
            b"0\r\nEtag: x\n",
            b"4;a\rb\r\n",
        ] {
            assert_eq!(taken(Framing::CHUNKED, bad, 1), Err(NoChunk), "{bad:?}");
        }
        let endless = [b"4;".to_vec(), vec![b'x'; 2 * LONGEST_LINE]].concat();
        assert_eq!(taken(Framing::CHUNKED, &endless, 100), Err(NoChunk));
        let endless = [b"0\r\n".to_vec(), b"a: b\r\n".repeat(LONGEST_LINE)].concat();
        assert_eq!(taken(Framing::CHUNKED, &endless, 100), Err(NoChunk));
    }

    proptest! {
        /// However a body is cut, it ends at the same place, and any bytes are taken.
        #[test]
        fn pieces_do_not_matter(chunks in prop::collection::vec(prop::collection::vec(any::<u8>(), 1..40), 0..6),
                                after in prop::collection::vec(any::<u8>(), 0..20), piece in 1_usize..60,
                                any in prop::collection::vec(any::<u8>(), 0..60)) {
            let mut body = Vec::new();
            for chunk in &chunks {
                body.extend(format!("{:x}\r\n", chunk.len()).bytes());
                body.extend(chunk);
                body.extend(b"\r\n");
            }
            body.extend(b"0\r\n\r\n");
            let whole = [&body[..], &after[..]].concat();
            prop_assert_eq!(taken(Framing::CHUNKED, &whole, piece), Ok(body.len()));
            prop_assert_eq!(taken(Framing::Length(body.len() as u64), &whole, piece), Ok(body.len()));
            prop_assert_eq!(taken(Framing::CHUNKED, &any, piece), taken(Framing::CHUNKED, &any, 1));
        }
    }
}
