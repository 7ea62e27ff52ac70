//! The keys of a deed's page.

use crossterm::event::KeyCode;

use super::Mood;
use crate::keymap::key;
use crate::keys::{Action, Key};

/// While it goes on.
static RUNS: [Key; 1] = [key(
    Action::EndDeed,
    &[KeyCode::Esc],
    "Esc",
    "end it in order",
    "",
)];
/// While it asks for yes or no.
static YES_NO: [Key; 3] = [
    key(
        Action::Yes,
        &[KeyCode::Char('y'), KeyCode::Char('Y')],
        "y",
        "yes",
        "",
    ),
    key(
        Action::No,
        &[KeyCode::Char('n'), KeyCode::Char('N')],
        "n",
        "no",
        "",
    ),
    key(Action::EndDeed, &[KeyCode::Esc], "Esc", "end it", ""),
];
/// While something is typed.
static TYPES: [Key; 2] = [
    key(Action::Yes, &[KeyCode::Enter], "Enter", "done", ""),
    key(Action::EndDeed, &[KeyCode::Esc], "Esc", "end it", ""),
];

/// The keys that belong to the page itself.
pub(crate) fn of(mood: Mood) -> &'static [Key] {
    match mood {
        Mood::Runs => &RUNS,
        Mood::YesNo => &YES_NO,
        Mood::Types => &TYPES,
    }
}
