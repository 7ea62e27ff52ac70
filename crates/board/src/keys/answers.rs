//! The tables of what is under way on a page or asked at the foot: answers, and what ends it.

use crossterm::event::KeyCode;
use vocab::Level;

use super::{Action, Key, Mood};
use crate::deed;
use crate::keymap::key;

/// Yes, called so.
const fn yes(hint: &'static str) -> Key {
    key(
        Action::Yes,
        &[KeyCode::Char('y'), KeyCode::Char('Y')],
        "y",
        hint,
        "",
    )
}

/// No; Esc says so as well.
const NO: Key = key(
    Action::No,
    &[KeyCode::Char('n'), KeyCode::Char('N'), KeyCode::Esc],
    "n",
    "no",
    "",
);

/// The end of a deed, called so.
const fn end(hint: &'static str) -> Key {
    key(Action::EndDeed, &[KeyCode::Esc], "Esc", hint, "")
}

/// A level to choose.
const fn level(level: Level, codes: &'static [KeyCode], label: &'static str, hint: &'static str) -> Key {
    key(Action::Level(level), codes, label, hint, "")
}

static ASKING: [Key; 2] = [yes("yes"), NO];
static CHOOSING: [Key; 3] = [
    yes("search"),
    key(
        Action::Wait,
        &[KeyCode::Char('w'), KeyCode::Char('W')],
        "w",
        "wait",
        "",
    ),
    NO,
];
static RESTARTING: [Key; 3] = [
    yes("it"),
    key(
        Action::TheSwitch,
        &[KeyCode::Char('s'), KeyCode::Char('S')],
        "s",
        "switch",
        "",
    ),
    NO,
];
static CABLING: [Key; 2] = [yes("check"), NO];
static CHECKING: [Key; 1] = [key(Action::StopCheck, &[KeyCode::Esc], "Esc", "end it", "")];
static LEVELS: [Key; 4] = [
    level(Level::All, &[KeyCode::Char('1')], "1", "everything"),
    level(Level::Watch, &[KeyCode::Char('2')], "2", "watching only"),
    level(Level::Silent, &[KeyCode::Char('3')], "3", "nothing"),
    NO,
];
/// The two ends of typing a filter, which takes all keys itself.
static TYPING: [Key; 2] = [
    key(Action::Yes, &[], "Enter", "keep", ""),
    key(Action::No, &[], "Esc", "clear", ""),
];
/// A deed asks for yes or no: Esc is no answer, it ends the deed.
static AGREEING: [Key; 3] = [
    yes("yes"),
    key(
        Action::No,
        &[KeyCode::Char('n'), KeyCode::Char('N')],
        "n",
        "no",
        "",
    ),
    end("end it"),
];
static ANSWERING: [Key; 2] = [
    key(Action::Yes, &[KeyCode::Enter], "Enter", "done", ""),
    end("end it"),
];
/// A deed offers a page, and goes on.
static OFFERING: [Key; 2] = [
    key(
        Action::Take,
        &[KeyCode::Char('b'), KeyCode::Char('B'), KeyCode::Enter],
        "b",
        "browser",
        "",
    ),
    end("close it"),
];
static DOING: [Key; 1] = [end("end it in order")];

/// The keys that belong to this mood alone; none where the board's own do.
pub(super) fn of(mood: Mood) -> &'static [Key] {
    match mood {
        Mood::Asking => &ASKING,
        Mood::Choosing => &CHOOSING,
        Mood::Restarting => &RESTARTING,
        Mood::Cabling => &CABLING,
        Mood::Checking => &CHECKING,
        Mood::Levels => &LEVELS,
        Mood::Typing => &TYPING,
        Mood::Deed(deed::Mood::Runs) => &DOING,
        Mood::Deed(deed::Mood::Offers) => &OFFERING,
        Mood::Deed(deed::Mood::YesNo) => &AGREEING,
        Mood::Deed(deed::Mood::Types) => &ANSWERING,
        Mood::Board | Mood::Sheet | Mood::Moves | Mood::Page => &[],
    }
}
