//! One channel: what its pushes and a person's word say of it.

use std::collections::BTreeSet;

use super::watch::Outcome;

/// A channel that seems to drive the wrong head, or several, is pushed so often before it is said.
const SURE: usize = 2;

/// By what it is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Basis {
    /// Positions were read.
    Read,
    /// A person saw it.
    Word,
}

/// What a channel is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// It drives what the file says.
    Proven(Basis),
    /// It drives another head, and not that of the file.
    Other(usize, Basis),
    /// It drives several heads.
    Several(BTreeSet<usize>),
    /// No head moved.
    Nothing(Basis),
    /// It cannot be told.
    Unclear,
    /// The person left it out.
    Skipped,
}

/// Why something is asked of the person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Ask {
    /// The head of the file cannot be read: did it move?
    Unread,
    /// None of those that can be read moved; these cannot: did one of them?
    Unseen(BTreeSet<usize>),
    /// Nobody can say which of those that moved did by the stick.
    Muddle(BTreeSet<usize>),
}

/// What a person says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Word {
    /// The head of the file moved.
    Yes,
    /// No head moved.
    No,
    /// This head moved.
    This(usize),
}

/// What is to be done next for a channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Next {
    /// Push once more, to be sure: these moved.
    Again(BTreeSet<usize>),
    /// Ask the person.
    Ask(Ask),
    /// It is known.
    Done(Verdict),
}

/// One channel on its way to a verdict.
#[derive(Debug, Clone)]
pub(crate) struct Proof {
    expected: usize,
    /// The heads that cannot be read at all.
    blind: BTreeSet<usize>,
    pushes: Vec<BTreeSet<usize>>,
}

impl Proof {
    /// A channel that should drive the head `expected`. What the blind heads do only a person sees.
    pub(crate) const fn new(expected: usize, blind: BTreeSet<usize>) -> Self {
        Self {
            expected,
            blind,
            pushes: Vec::new(),
        }
    }

    /// What came of a push.
    pub(crate) fn push(&mut self, outcome: &Outcome) -> Next {
        let moved = &outcome.moved;
        let unread: BTreeSet<usize> = [&self.blind, &outcome.restless, &outcome.lost]
            .into_iter()
            .flatten()
            .copied()
            .collect();
        if moved.is_empty() {
            return Next::Ask(if unread.contains(&self.expected) {
                Ask::Unread
            } else if unread.is_empty() {
                return Next::Done(Verdict::Nothing(Basis::Read));
            } else {
                Ask::Unseen(unread)
            });
        }
        self.pushes.push(moved.clone());
        if *moved == BTreeSet::from([self.expected]) && self.pushes.len() == 1 {
            return Next::Done(Verdict::Proven(Basis::Read));
        }
        if self.pushes.len() < SURE {
            return Next::Again(moved.clone());
        }
        // What the stick drives moves at every push; what moves by itself seldom does so twice.
        let mut each = self.pushes.iter().cloned();
        let first = each.next().unwrap_or_default();
        let always = each.fold(first, |all, one| &all & &one);
        let mut heads = always.iter().copied();
        Next::Done(match (heads.next(), heads.next()) {
            (None, _) => {
                let any = self.pushes.iter().flatten().copied().collect();
                return Next::Ask(Ask::Muddle(any));
            }
            (Some(one), None) if one == self.expected => Verdict::Proven(Basis::Read),
            (Some(one), None) => Verdict::Other(one, Basis::Read),
            (Some(_), Some(_)) => Verdict::Several(always),
        })
    }

    /// What the person said.
    pub(crate) fn word(&self, word: Word) -> Verdict {
        match word {
            Word::Yes => Verdict::Proven(Basis::Word),
            Word::This(head) if head == self.expected => Verdict::Proven(Basis::Word),
            Word::This(head) => Verdict::Other(head, Basis::Word),
            Word::No => Verdict::Nothing(Basis::Word),
        }
    }
}
