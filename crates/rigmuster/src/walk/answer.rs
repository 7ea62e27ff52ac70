//! What a person answers while a channel is walked.

use super::map::Map;
use super::proof::Word;

/// An answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Said {
    /// What moved.
    Word(Word),
    /// Push once more.
    Again,
    /// Leave this channel out.
    Skip,
    /// End the walk.
    End,
    /// Nothing of that.
    Unknown,
}

/// Reads an answer: a letter, a word, or the name of a head, or so much of one as no other begins with. Nothing
/// at all is a no.
pub(super) fn read(line: &str, map: &Map) -> Said {
    let line = line.trim().to_lowercase();
    match line.as_str() {
        "" | "n" | "no" => return Said::Word(Word::No),
        "y" | "yes" => return Said::Word(Word::Yes),
        "a" | "again" => return Said::Again,
        "s" | "skip" => return Said::Skip,
        "e" | "end" | "q" | "quit" => return Said::End,
        _ => {}
    }
    let names = || map.heads.iter().map(|h| h.name.to_lowercase()).enumerate();
    let exact = names().find(|(_, name)| *name == line);
    let mut begin = names().filter(|(_, name)| name.starts_with(&line));
    let only = begin.next().filter(|_| begin.next().is_none());
    exact
        .or(only)
        .map_or(Said::Unknown, |(head, _)| Said::Word(Word::This(head)))
}
