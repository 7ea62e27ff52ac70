//! Names: what a host calls itself, made fit for the file, and one of its own for each.

use std::collections::{BTreeMap, BTreeSet};

use vocab::Text;

use super::found::Found;
use super::role::title;
use crate::Role;
use crate::read::{LONGEST_NAME, name_problem};

/// Why `name` cannot be a device's name in a rig file, in a few words; `None` if it can.
pub fn name_fault(name: &str) -> Option<String> {
    name_problem(name)
}

/// The name that a host gives itself, fit for the file: the first of its words that leaves one.
pub(super) fn own(found: &Found) -> Option<String> {
    found
        .words
        .iter()
        .filter(|word| word.source.names())
        .find_map(|word| fit(&word.text))
}

/// A word made fit for a name; `None` if nothing of it can be read.
fn fit(word: &Text) -> Option<String> {
    // Once more: what was cut short may end in a blank.
    let short: String = word.as_str().chars().take(LONGEST_NAME).collect();
    let name = Text::clean(&short).as_str().to_owned();
    let says = name.chars().any(|c| c.is_alphanumeric() && c != '\u{fffd}');
    (says && name_problem(&name).is_none()).then_some(name)
}

/// The names that are taken, in whatever case they are written.
#[derive(Debug, Default)]
pub(super) struct Taken {
    names: BTreeSet<String>,
    /// The number to try next after each stem, so that thousands of like names cost little.
    next: BTreeMap<String, usize>,
}

impl Taken {
    /// Takes a name as it stands. `false` if it was taken before.
    pub(super) fn take(&mut self, name: &str) -> bool {
        self.names.insert(name.to_lowercase())
    }

    /// A name of its own for a host: the one it gives itself, or one after its role, with a number
    /// where it takes one.
    pub(super) fn give(&mut self, own: Option<&str>, role: Role) -> String {
        if let Some(own) = own
            && self.take(own)
        {
            return own.to_owned();
        }
        let (stem, first) = own.map_or((title(role), 1), |own| (own, 2));
        let mut number = self.next.get(stem).copied().unwrap_or(first);
        // There are more numbers than names taken, so one of them is free.
        loop {
            let name = numbered(stem, number);
            number += 1;
            if self.take(&name) {
                self.next.insert(stem.to_owned(), number);
                return name;
            }
        }
    }
}

/// `stem` with a number, short enough for the file.
fn numbered(stem: &str, n: usize) -> String {
    let number = n.to_string();
    let room = LONGEST_NAME.saturating_sub(number.len() + 1);
    let stem: String = stem.chars().take(room).collect();
    format!("{} {number}", stem.trim_end())
}

#[cfg(test)]
mod tests {
    use vocab::NameSource;

    use super::super::found::{Source, Word};
    use super::*;

    fn called(words: &[(&str, Source)]) -> Option<String> {
        own(&Found {
            words: words
                .iter()
                .map(|(text, source)| Word {
                    text: Text::clean(text),
                    source: *source,
                })
                .collect(),
            ..Found::default()
        })
    }

    #[test]
    fn the_first_word_that_can_be_read_names_it() {
        let mdns = Source::Name(NameSource::Mdns);
        for (word, wanted) in [
            ("Organ loft", Some("Organ loft")),
            ("a \"quoted\"\n name", Some("a \"quoted\" name")),
            ("\u{1b}[2J", Some("[2J")),
            ("\u{202e}tfel egatS", Some("tfel egatS")),
            ("🎥 Bühne", Some("🎥 Bühne")),
            ("---", None),
            ("\u{fffd}\u{fffd}", None),
            ("", None),
        ] {
            assert_eq!(called(&[(word, mdns)]).as_deref(), wanted, "{word:?}");
        }
        let hardware = Source::Name(NameSource::Hardware);
        assert_eq!(
            called(&[("Model 5", hardware), ("", mdns), ("stage-2", mdns)]).as_deref(),
            Some("stage-2")
        );
        let long = called(&[(&format!("{} b", "a".repeat(LONGEST_NAME - 1)), mdns)]).unwrap();
        assert_eq!(long, "a".repeat(LONGEST_NAME - 1), "no blank at its end");
    }

    #[test]
    fn everybody_gets_a_name_of_its_own() {
        let mut taken = Taken::default();
        assert!(taken.take("Organ loft"));
        assert_eq!(taken.give(Some("organ Loft"), Role::Camera), "organ Loft 2");
        assert_eq!(taken.give(Some("Organ loft"), Role::Camera), "Organ loft 3");
        assert_eq!(taken.give(None, Role::Camera), "Camera 1");
        assert_eq!(taken.give(None, Role::Camera), "Camera 2");
        let long = "x".repeat(LONGEST_NAME);
        assert_eq!(taken.give(Some(&long), Role::Other), long);
        let second = taken.give(Some(&long), Role::Other);
        assert!(second.ends_with("x 2") && second.chars().count() == LONGEST_NAME);
    }
}
