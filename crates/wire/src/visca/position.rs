//! Where a head points, in a device's own steps.
//!
//! To read beside it: the reply to the pan-tilt position inquiry, `y0 50` and four digits each for
//! pan and tilt in most command lists, five and four with some makers: told apart by their number.
//! A digit is the lower half of a byte; the number is signed (SRG-300H Technical Manual, pp. 27–34).

/// How many digits a device writes pan in. Tilt has four.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Digits {
    /// Sixteen bits.
    Four,
    /// Twenty bits.
    Five,
}

impl Digits {
    const fn count(self) -> usize {
        match self {
            Self::Four => 4,
            Self::Five => 5,
        }
    }
}

/// Where a head points, or how far it is to go. The unit is the device's own; which way is positive
/// differs too.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Position {
    /// To the side: −32,768 to 32,767, or with five digits −524,288 to 524,287.
    pub pan: i32,
    /// Up or down: −32,768 to 32,767.
    pub tilt: i32,
    /// In how many digits the device writes pan.
    pub digits: Digits,
}

/// Digits of tilt.
const TILT: usize = 4;

impl Position {
    /// Reads the digits behind `50` in a reply, or behind the speeds in a command.
    pub fn read(nibbles: &[u8]) -> Option<Self> {
        let digits = match nibbles.len().checked_sub(TILT)? {
            4 => Digits::Four,
            5 => Digits::Five,
            _ => return None,
        };
        let (pan, tilt) = nibbles.split_at_checked(digits.count())?;
        Some(Self {
            pan: signed(pan)?,
            tilt: signed(tilt)?,
            digits,
        })
    }

    /// The digits. What does not fit in becomes the nearest that does.
    pub fn nibbles(self) -> Vec<u8> {
        let mut out = write(self.pan, self.digits.count());
        out.extend(write(self.tilt, TILT));
        out
    }

    /// How far it is to `other` along the axis on which that is more.
    pub fn distance(self, other: Self) -> u32 {
        self.pan.abs_diff(other.pan).max(self.tilt.abs_diff(other.tilt))
    }
}

/// A number of four bits a digit, negative if its first bit is set.
fn signed(nibbles: &[u8]) -> Option<i32> {
    let mut value: i32 = 0;
    for nibble in nibbles {
        if *nibble > 0x0f {
            return None;
        }
        value = (value << 4) | i32::from(*nibble);
    }
    let span = 1 << (4 * nibbles.len());
    Some(if value >= span / 2 { value - span } else { value })
}

fn write(value: i32, digits: usize) -> Vec<u8> {
    let half = 1 << (4 * digits - 1);
    let value = value.clamp(-half, half - 1);
    (0..digits)
        .rev()
        .map(|digit| ((value >> (4 * digit)) & 0x0f) as u8)
        .collect()
}
