//! One table of keys, from which the keys, the hints at the foot and the help page are made.

use crossterm::event::{KeyCode, KeyEvent};

use crate::keymap::{self, key, place};

/// What a key or a click asks of the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Action {
    Up,
    Down,
    PageUp,
    PageDown,
    Home,
    End,
    /// Take the selected host, or leave it out.
    Toggle,
    Name,
    Role,
    Address,
    Channel,
    /// The next panel, whose channels the cameras get.
    Panel,
    Sort,
    Sweep,
    Filter,
    /// Show what would be written.
    Prepare,
    Back,
    Help,
    Quit,
    Yes,
    No,
}

/// One row of the table.
pub(super) type Key = keymap::Key<Action>;
/// A hint at the foot.
pub(super) type Hint = keymap::Hint<Action>;

/// Every key of the sheet, in the order of the help page.
pub(super) static KEYS: &[Key] = &[
    key(Action::Up, &[KeyCode::Up], "arrows", "", "move the selection"),
    key(Action::Down, &[KeyCode::Down], "", "", ""),
    key(
        Action::PageUp,
        &[KeyCode::PageUp],
        "Page Up/Down",
        "",
        "move by a screenful",
    ),
    key(Action::PageDown, &[KeyCode::PageDown], "", "", ""),
    key(
        Action::Home,
        &[KeyCode::Home],
        "Home, End",
        "",
        "to the first, to the last",
    ),
    key(Action::End, &[KeyCode::End], "", "", ""),
    key(
        Action::Toggle,
        &[KeyCode::Char(' ')],
        "Space",
        "take/leave",
        "take the selected host, or leave it out; at a listed device: add its mac",
    ),
    key(
        Action::Name,
        &[KeyCode::Char('n')],
        "n",
        "name",
        "give it another name; an empty one: as proposed",
    ),
    key(
        Action::Role,
        &[KeyCode::Char('r')],
        "r",
        "role",
        "say what it is for; the beginning of the word will do",
    ),
    key(
        Action::Address,
        &[KeyCode::Char('a')],
        "a",
        "address",
        "how it is written: an address, dhcp, or none",
    ),
    key(
        Action::Channel,
        &[KeyCode::Char('c')],
        "c",
        "channel",
        "the panel's channel that points at it; empty: none",
    ),
    key(
        Action::Panel,
        &[KeyCode::Char('p')],
        "p",
        "panel",
        "choose the panel whose channels the cameras get, or none",
    ),
    key(
        Action::Sort,
        &[KeyCode::Char('o')],
        "o",
        "order",
        "put the hosts in the order of their addresses",
    ),
    key(
        Action::Sweep,
        &[KeyCode::Char('s')],
        "s",
        "sweep",
        "ask the whole subnet once more, now",
    ),
    key(
        Action::Filter,
        &[KeyCode::Char('/')],
        "/",
        "filter",
        "show only what matches: a name, role, address, maker",
    ),
    key(
        Action::Prepare,
        &[KeyCode::Enter],
        "Enter",
        "write",
        "show what would be written, and ask before it is",
    ),
    key(
        Action::Back,
        &[KeyCode::Esc],
        "Esc",
        "back",
        "back; on the sheet: drop the filter, else leave",
    ),
    key(Action::Help, &[KeyCode::Char('?')], "?", "help", "this page"),
    key(
        Action::Quit,
        &[KeyCode::Char('q')],
        "q",
        "quit",
        "leave, and write nothing; Ctrl-C as well",
    ),
];

const YES: &[KeyCode] = &[KeyCode::Char('y'), KeyCode::Char('Y')];
const NO: &[KeyCode] = &[KeyCode::Char('n'), KeyCode::Char('N'), KeyCode::Esc];

static WRITING: [Key; 2] = [
    key(Action::Yes, YES, "y", "write", ""),
    key(Action::No, NO, "n", "not yet", ""),
];
static LEAVING: [Key; 2] = [
    key(Action::Yes, YES, "y", "leave", ""),
    key(Action::No, NO, "n", "stay", ""),
];
static TYPING: [Key; 2] = [
    key(Action::Yes, &[], "Enter", "keep", ""),
    key(Action::No, &[], "Esc", "drop", ""),
];

/// What the keys mean at the moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mood {
    /// The rows.
    Rows,
    /// The help page.
    Help,
    /// What would be written, with the question whether it shall be.
    Preview,
    /// Leaving would lose something: shall it?
    Leaving,
    /// A filter is typed.
    Typing,
    /// A value of the selected host is typed.
    Field,
}

/// What a key does in this mood, typing left out.
pub(super) fn action(mood: Mood, event: &KeyEvent) -> Option<Action> {
    let find = |keys: &[Key]| keymap::find(keys, event);
    let scrolls = |action: &Action| {
        matches!(
            action,
            Action::Up | Action::Down | Action::PageUp | Action::PageDown | Action::Home | Action::End
        )
    };
    let leaves = |action: &Action| matches!(action, Action::Back | Action::Quit | Action::Help);
    match mood {
        Mood::Leaving => find(&LEAVING),
        Mood::Preview => find(&WRITING).or_else(|| find(KEYS).filter(scrolls)),
        Mood::Help => find(KEYS).filter(|action| scrolls(action) || leaves(action)),
        Mood::Rows => find(KEYS),
        Mood::Typing | Mood::Field => find(KEYS).filter(scrolls),
    }
}

/// The hints that fit into `columns` from column `x` on. Help and quit stand at the end and fit first.
pub(super) fn hints(mood: Mood, x: u16, columns: u16, of_use: impl Fn(Action) -> bool) -> Vec<Hint> {
    let wanted: &[Action] = match mood {
        Mood::Leaving => return place(&LEAVING, x, columns),
        Mood::Preview => return place(&WRITING, x, columns),
        Mood::Typing | Mood::Field => return place(&TYPING, x, columns),
        Mood::Help => &[Action::Quit, Action::Back],
        Mood::Rows => &[
            Action::Help,
            Action::Quit,
            Action::Prepare,
            Action::Toggle,
            Action::Name,
            Action::Role,
            Action::Address,
            Action::Channel,
            Action::Panel,
            Action::Filter,
            Action::Sweep,
            Action::Sort,
        ],
    };
    let wanted = wanted.iter().copied().filter(|action| of_use(*action));
    let last = if mood == Mood::Rows { 2 } else { 1 };
    place(keymap::choose(KEYS, wanted, columns, last), x, columns)
}

/// The columns that the answers to a question take, with a gap before them.
pub(super) fn answers(mood: Mood) -> u16 {
    let keys: &[Key] = match mood {
        Mood::Leaving => &LEAVING,
        Mood::Preview => &WRITING,
        Mood::Typing | Mood::Field => &TYPING,
        Mood::Rows | Mood::Help => &[],
    };
    keymap::answers(keys)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_key_does_two_things() {
        for keys in [KEYS, &WRITING, &LEAVING] {
            let codes: Vec<String> = keys
                .iter()
                .flat_map(|k| k.codes)
                .map(|c| format!("{c:?}"))
                .collect();
            let once: std::collections::BTreeSet<&String> = codes.iter().collect();
            assert_eq!(once.len(), codes.len());
        }
    }

    #[test]
    fn help_and_quit_are_hinted_at_every_width_that_is_drawn() {
        for columns in 40..220 {
            let hints = hints(Mood::Rows, 1, columns - 2, |_| true);
            for action in [Action::Help, Action::Quit] {
                assert!(hints.iter().any(|hint| hint.key.action == action), "{columns}");
            }
            assert!(hints.iter().all(|hint| hint.x + hint.columns < columns));
        }
    }
}
