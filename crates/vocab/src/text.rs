//! Text from outside, made harmless once on entry.

use core::fmt;

use unicode_width::UnicodeWidthChar;

/// A name or banner that came from outside, bounded and cleaned.
///
/// Control characters (C0, DEL, C1: ECMA-48), bidirectional controls (UAX #9), invisible and
/// tag characters and line separators are dropped or turned into a space, invalid UTF-8 into
/// U+FFFD, runs of blanks of whatever width into one, and of what takes no room of its own, as
/// combining marks of every script, at most two in a row are kept. Every sink still escapes it
/// again in its own way.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Text(String);

impl Text {
    /// The longest text that is kept, in characters.
    pub const MAX_CHARS: usize = 120;

    /// Cleans `raw`, which may be any bytes, and keeps at most [`Text::MAX_CHARS`] characters.
    pub fn clean_bytes(raw: &[u8]) -> Self {
        // Four bytes a character at most, and cleaning only shortens: no need to read on for ever.
        let raw = &raw[..raw.len().min(Self::MAX_CHARS * 8)];
        Self::clean(&String::from_utf8_lossy(raw))
    }

    /// Cleans `raw` and keeps at most [`Text::MAX_CHARS`] characters.
    pub fn clean(raw: &str) -> Self {
        let mut out = String::new();
        let mut kept = 0;
        let mut marks = 0;
        for c in raw.chars() {
            if kept == Self::MAX_CHARS {
                break;
            }
            let c = match class(c) {
                Class::Plain => {
                    marks = 0;
                    c
                }
                Class::Mark if marks < 2 => {
                    marks += 1;
                    c
                }
                Class::Blank => {
                    if out.is_empty() || out.ends_with(' ') {
                        continue;
                    }
                    ' '
                }
                Class::Mark | Class::Drop => continue,
            };
            out.push(c);
            kept += 1;
        }
        if out.ends_with(' ') {
            out.pop();
        }
        Self(out)
    }

    /// The cleaned text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether nothing was left of it.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

enum Class {
    Plain,
    Mark,
    Blank,
    Drop,
}

fn class(c: char) -> Class {
    match c {
        '\t' | '\n' | '\r' => Class::Blank,
        '\0'..='\u{1f}' | '\u{7f}'..='\u{9f}' => Class::Drop,
        // Bidirectional controls: UAX #9.
        '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {
            Class::Drop
        }
        // Invisible characters, variation selectors and tags (UTS #39 speaks of them; list from memory).
        '\u{ad}'
        | '\u{34f}'
        | '\u{180b}'..='\u{180e}'
        | '\u{200b}'..='\u{200d}'
        | '\u{2060}'..='\u{2065}'
        | '\u{206a}'..='\u{206f}' => Class::Drop,
        '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}' => {
            Class::Drop
        }
        // Letters and patterns that look like nothing: fillers of Hangul, and Braille without a dot.
        '\u{115f}' | '\u{1160}' | '\u{3164}' | '\u{ffa0}' | '\u{2800}' => Class::Blank,
        _ if c.is_whitespace() => Class::Blank,
        _ if c.width() == Some(0) => Class::Mark,
        _ => Class::Plain,
    }
}

/// Whether a character can move the cursor, turn the writing direction, break the line or hide itself:
/// controls (ECMA-48), bidirectional controls (UAX #9), line separators, invisible characters and
/// tags. Sinks that show text from a file or the wire put something else in its place.
pub const fn moves_or_hides(c: char) -> bool {
    matches!(c,
        '\0'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{ad}' | '\u{61c}' | '\u{180e}'
        | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}'
        | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
}

impl fmt::Display for Text {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl fmt::Debug for Text {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.0, f)
    }
}

impl From<&str> for Text {
    fn from(raw: &str) -> Self {
        Self::clean(raw)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escape_sequences_are_defused() {
        assert_eq!(
            Text::clean("\u{1b}[2J\u{9b}31mStage\r\nleft").as_str(),
            "[2J31mStage left"
        );
        assert_eq!(Text::clean("a\u{202e}cba\u{2066}\u{200b}").as_str(), "acba");
    }

    #[test]
    fn length_and_combining_marks_are_capped() {
        assert_eq!(Text::clean(&"x".repeat(9_999)).as_str().len(), Text::MAX_CHARS);
        let tower = format!("e{}", "\u{301}".repeat(50));
        assert_eq!(Text::clean(&tower).as_str().chars().count(), 3);
    }

    /// Marks of every script pile up, not only the common ones: Cyrillic, Hebrew, Arabic, Devanagari, Thai, Tibetan,
    /// musical symbols, and the vowels of Hangul without their consonant (Unicode, general categories Mn and Me).
    #[test]
    fn nothing_that_takes_no_room_piles_up() {
        for mark in [
            '\u{301}',
            '\u{489}',
            '\u{5b0}',
            '\u{64b}',
            '\u{670}',
            '\u{94d}',
            '\u{e49}',
            '\u{f74}',
            '\u{1161}',
            '\u{3099}',
            '\u{1d165}',
            '\u{1e8d0}',
        ] {
            let tower = format!("e{}f", mark.to_string().repeat(50));
            assert_eq!(Text::clean(&tower).as_str().chars().count(), 4, "{mark:?}");
        }
        for blank in [
            '\u{2003}', '\u{3000}', '\u{1680}', '\u{2800}', '\u{3164}', '\u{85}',
        ] {
            let gap = format!("a{}b", blank.to_string().repeat(50));
            let left = Text::clean(&gap);
            assert!(matches!(left.as_str(), "a b" | "ab"), "{blank:?}: {left:?}");
        }
        for word in ["Größe", "e\u{301}tage", "日本語", "กล้อง", "क्षेत्र", "שָׁלוֹם"]
        {
            assert_eq!(Text::clean(word).as_str(), word);
        }
    }

    #[test]
    fn broken_utf8_becomes_the_replacement_character() {
        assert_eq!(Text::clean_bytes(b"cam\xff1").as_str(), "cam\u{fffd}1");
    }
}
