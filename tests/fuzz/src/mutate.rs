//! A mutator without tools: the same seed gives the same inputs.

/// Numbers that often stand at an edge.
const EDGES: [u8; 12] = [0, 1, 2, 4, 5, 7, 0x3f, 0x7f, 0x80, 0xc0, 0xfe, 0xff];
/// Pieces that mean something to one reader or another.
const WORDS: &[&[u8]] = &[
    b"\r\n",
    b"\r\n\r\n",
    b"\n",
    b"\0",
    b"\xff\xff\xff\xff",
    b"\x1b[2J",
    b"\xe2\x80\xae",
    b"\xc2\x9b",
    b"\"",
    b"\"\"\"",
    b"'''",
    b"#",
    b"[[",
    b"]]",
    b"[",
    b"{",
    b"}",
    b",",
    b";",
    b"=",
    b"&#0;",
    b"<!--",
    b"<![CDATA[",
    b"</",
    b"/>",
    b"18446744073709551616",
    b"-1",
    b"0",
    b"1e999",
    b"Content-Length: ",
    b"Transfer-Encoding: chunked\r\n",
    b"://",
    b"10.40.8.255",
    b"/0",
    b"/32",
    b"-",
    b"\xef\xbb\xbf",
];

/// Draws inputs from a number.
#[derive(Debug, Clone)]
pub struct Mutator(u64);

impl Mutator {
    /// One that draws the same for the same `seed`.
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next number of the `splitmix64` sequence (Steele, Lea and Flood 2014; constants from memory).
    fn draw(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `end`; 0 where there is none.
    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.draw() % end.max(1) as u64).unwrap_or(0)
    }

    /// One of `seeds` with a few changes, at most `longest` bytes.
    pub fn next(&mut self, seeds: &[Vec<u8>], longest: usize) -> Vec<u8> {
        let mut input = match seeds.len() {
            0 => Vec::new(),
            n => seeds[self.below(n)].clone(),
        };
        for _ in 0..=self.below(6) {
            self.change(&mut input, seeds);
        }
        input.truncate(longest);
        input
    }

    fn change(&mut self, input: &mut Vec<u8>, seeds: &[Vec<u8>]) {
        let at = self.below(input.len() + 1);
        let span = match self.below(4) {
            0 => self.below(input.len() - at + 1),
            _ => self.below(9).min(input.len() - at),
        };
        match self.below(9) {
            0 => {
                if let Some(byte) = input.get_mut(at) {
                    *byte ^= 1 << self.below(8);
                }
            }
            1 => {
                let edge = EDGES[self.below(EDGES.len())];
                if let Some(byte) = input.get_mut(at) {
                    *byte = edge;
                }
            }
            2 => {
                let byte = self.draw() as u8;
                input.insert(at, byte);
            }
            3 => {
                input.drain(at..at + span);
            }
            4 => {
                let piece = input[at..at + span].to_vec();
                let to = self.below(input.len() + 1);
                input.splice(to..to, piece);
            }
            5 => {
                let word = WORDS[self.below(WORDS.len())];
                input.splice(at..at + span.min(word.len()), word.iter().copied());
            }
            6 => {
                // The end of another seed behind the beginning of this one.
                if let Some(other) = seeds.get(self.below(seeds.len())) {
                    let from = self.below(other.len() + 1);
                    input.truncate(at);
                    input.extend(&other[from..]);
                }
            }
            7 => input.truncate(at),
            _ => {
                let piece = input[at..at + span].to_vec();
                for _ in 0..self.below(40) {
                    input.splice(at..at, piece.iter().copied());
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_inputs_and_they_differ_from_where_they_began() {
        let seeds = vec![b"GET / HTTP/1.1\r\n\r\n".to_vec(), vec![0xff; 300], Vec::new()];
        let drawn = |seed| {
            let mut mutator = Mutator::new(seed);
            (0..500).map(|_| mutator.next(&seeds, 400)).collect::<Vec<_>>()
        };
        let inputs = drawn(1);
        assert_eq!(inputs, drawn(1));
        assert_ne!(inputs, drawn(2));
        assert!(inputs.iter().all(|input| input.len() <= 400));
        let new = inputs.iter().filter(|input| !seeds.contains(input)).count();
        assert!(new > 350, "{new}");
        assert!(Mutator::new(1).next(&[], 10).len() <= 10);
    }
}
