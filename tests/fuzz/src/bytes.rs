//! Input read as numbers and pieces, where a target wants more than one lump of bytes.

/// What is left of an input. At its end every number is zero and every piece is empty.
#[derive(Debug, Clone)]
pub struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    /// All of `input`.
    pub const fn new(input: &'a [u8]) -> Self {
        Self(input)
    }

    /// Whether nothing is left.
    pub const fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The next byte.
    pub fn u8(&mut self) -> u8 {
        self.piece(1).first().copied().unwrap_or(0)
    }

    /// The next two bytes.
    pub fn u16(&mut self) -> u16 {
        u16::from_be_bytes([self.u8(), self.u8()])
    }

    /// As many of the next `count` bytes as are left.
    pub fn piece(&mut self, count: usize) -> &'a [u8] {
        let (piece, rest) = self.0.split_at(count.min(self.0.len()));
        self.0 = rest;
        piece
    }

    /// The next piece, whose length stands before it in two bytes.
    pub fn counted(&mut self) -> &'a [u8] {
        let count = usize::from(self.u16());
        self.piece(count)
    }

    /// All that is left.
    pub const fn rest(self) -> &'a [u8] {
        self.0
    }

    /// Text of at most `count` bytes.
    pub fn text(&mut self, count: usize) -> String {
        String::from_utf8_lossy(self.piece(count)).into_owned()
    }

    /// One of `all`.
    pub fn one_of<T: Copy>(&mut self, all: &[T]) -> T {
        all[usize::from(self.u8()) % all.len()]
    }
}
