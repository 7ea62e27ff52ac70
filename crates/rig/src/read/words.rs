//! Text of the file: what may stand in it, and how it is quoted in messages.

use std::fmt::Write as _;

use vocab::Text;

/// How much of a text is quoted in a message, in characters.
const QUOTED: usize = 60;

/// Makes text fit for a terminal, one character for one: what would move the cursor, turn the
/// writing direction or stay unseen becomes U+FFFD, blanks become spaces.
pub(crate) fn harmless(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            ' '..='~' => c,
            '\t' => ' ',
            _ if is_hidden(c) => '\u{fffd}',
            _ => c,
        })
        .collect()
}

/// Quotes text from the file in a message: harmless and at most 60 characters long.
pub(crate) fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    out.push_str(&harmless(&text.chars().take(QUOTED).collect::<String>()));
    if text.chars().nth(QUOTED).is_some() {
        out.push('…');
    }
    out.push('"');
    out
}

/// Whether cleaning ([`Text`]) would drop or change the character standing alone: control,
/// bidirectional and invisible characters, and blanks other than the space.
pub(super) fn is_hidden(c: char) -> bool {
    if matches!(c, ' '..='~') {
        return false;
    }
    let mut around = String::with_capacity(6);
    around.push('a');
    around.push(c);
    around.push('a');
    Text::clean(&around).as_str() != around
}

/// Whether the character is a mark that sits on the one before it.
fn is_mark(c: char) -> bool {
    // Cleaning keeps two marks in a row and drops the third: let it say what a mark is.
    let tower: String = ['a', c, c, c].iter().collect();
    !c.is_ascii() && !is_hidden(c) && Text::clean(&tower).as_str() != tower
}

/// The first character that may not stand in a name or note, with its place among the characters
/// (from 1) and what is wrong with it.
pub(super) fn first_bad_character(text: &str) -> Option<(usize, String)> {
    let mut marks = 0;
    for (i, c) in text.chars().enumerate() {
        let bad = if is_hidden(c) {
            Some("a character that cannot be seen")
        } else {
            marks = if is_mark(c) { marks + 1 } else { 0 };
            (marks > 2).then_some("a third accent on one letter")
        };
        if let Some(bad) = bad {
            let mut said = String::new();
            // Writing to a String does not fail.
            let _ = write!(said, "{bad} (U+{:04X})", u32::from(c));
            return Some((i + 1, said));
        }
    }
    None
}

/// The words joined for a message: `a, b or c`.
pub(crate) fn one_of<'w>(words: impl IntoIterator<Item = &'w str>) -> String {
    let words: Vec<&str> = words.into_iter().collect();
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        Some((only, _)) => (*only).to_owned(),
        None => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hidden_characters_are_told_from_letters_of_all_scripts() {
        for c in [
            '\u{1b}', '\t', '\n', '\u{a0}', '\u{202e}', '\u{200b}', '\u{feff}', '\u{2028}',
        ] {
            assert!(is_hidden(c), "{c:?}");
        }
        for c in ['a', 'é', 'ß', '舞', '🎥', '\u{301}', '"'] {
            assert!(!is_hidden(c), "{c:?}");
        }
    }

    #[test]
    fn a_bad_character_is_named_with_its_place() {
        assert_eq!(
            first_bad_character("Stage\u{202e}left"),
            Some((6, "a character that cannot be seen (U+202E)".into()))
        );
        assert_eq!(first_bad_character("Cafe\u{301} Süd 舞台"), None);
        assert!(first_bad_character("e\u{301}\u{302}\u{303}").is_some());
    }

    #[test]
    fn quotes_are_short_and_keep_their_length_in_characters() {
        assert_eq!(quoted("a\u{1b}b"), "\"a\u{fffd}b\"");
        assert_eq!(quoted(&"x".repeat(99)).chars().count(), QUOTED + 3);
        assert_eq!(one_of(["a", "b", "c"]), "a, b or c");
    }
}
