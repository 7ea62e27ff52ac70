//! One table of keys, from which the keys, the hints at the foot and the help page are made.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use crate::keymap::{self, key, place};
use crate::{Deed, deed};

mod answers;

/// What a key or a click asks of the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Action {
    /// One up.
    Up,
    /// One down.
    Down,
    /// One to the left.
    Left,
    /// One to the right.
    Right,
    /// A screenful up.
    PageUp,
    /// A screenful down.
    PageDown,
    /// To the first.
    Home,
    /// To the last.
    End,
    /// Open the sheet of what is selected.
    Open,
    /// Back to where one came from.
    Back,
    /// From the wall to the list or the other way.
    Switch,
    /// Type a filter.
    Filter,
    /// Sweep now.
    Sweep,
    /// Ask the selected device's control ports now.
    AskControl,
    /// Search beyond the subnet, after a question; or end that.
    Far,
    /// Wait for a device to start instead.
    Wait,
    /// Say that the selected device is being restarted, after a question; or end that.
    Restart,
    /// It is the switch that is restarted.
    TheSwitch,
    /// Check the selected device's cable, after a question.
    CheckCable,
    /// End that.
    StopCheck,
    /// Have a deed done to what is selected, after its questions.
    Do(crate::Deed),
    /// Take what the deed under way offers.
    Take,
    /// End the deed under way.
    EndDeed,
    /// Accept the probable match of the selected missing device.
    Accept,
    /// How much is sent.
    Listen,
    /// So much.
    Level(vocab::Level),
    /// All findings.
    Findings,
    /// All changes.
    History,
    /// How the devices come up.
    Starts,
    /// The work list of a plan.
    Moves,
    /// Tick the selected step of the work list.
    Tick,
    /// The help page.
    Help,
    /// Leave.
    Quit,
    /// Yes, to what the board asks back.
    Yes,
    /// No, to what the board asks back.
    No,
}

/// One row of the table.
pub(crate) type Key = keymap::Key<Action>;
/// A hint at the foot.
pub(crate) type Hint = keymap::Hint<Action>;

/// Every key of the board. The order is that of the help page.
pub(crate) static KEYS: &[Key] = &[
    key(Action::Up, &[KeyCode::Up], "arrows", "", "move the selection"),
    key(Action::Down, &[KeyCode::Down], "", "", ""),
    key(Action::Left, &[KeyCode::Left], "", "", ""),
    key(Action::Right, &[KeyCode::Right], "", "", ""),
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
        Action::Open,
        &[KeyCode::Enter],
        "Enter",
        "open",
        "open the sheet of what is selected",
    ),
    key(
        Action::Back,
        &[KeyCode::Esc, KeyCode::Backspace],
        "Esc",
        "back",
        "back; on the wall or list: drop the filter",
    ),
    key(
        Action::Switch,
        &[KeyCode::Tab, KeyCode::BackTab],
        "Tab",
        "view",
        "from the wall to the list and back",
    ),
    key(
        Action::Filter,
        &[KeyCode::Char('/')],
        "/",
        "filter",
        "show only what matches: a name, role, address, standing",
    ),
    key(
        Action::Sweep,
        &[KeyCode::Char('s')],
        "s",
        "sweep",
        "ask the whole subnet once more, now",
    ),
    key(
        Action::Far,
        &[KeyCode::Char('d')],
        "d",
        "deep search",
        "asks, then searches other networks or waits; again: ends it",
    ),
    key(
        Action::AskControl,
        &[KeyCode::Char('c')],
        "c",
        "ask ports",
        "ask the selected device's control ports, now",
    ),
    key(
        Action::Restart,
        &[KeyCode::Char('r')],
        "r",
        "restarting",
        "I'm restarting this: no alarm for it meanwhile; again: ends it",
    ),
    key(
        Action::CheckCable,
        &[KeyCode::Char('x')],
        "x",
        "cable",
        "asks, then checks the selected device's cable with echoes",
    ),
    key(
        Action::Do(Deed::Wink),
        &[KeyCode::Char('w')],
        "w",
        "wink",
        "asks, then the selected camera shows itself: lamp or head",
    ),
    key(
        Action::Do(Deed::Readdress),
        &[KeyCode::Char('a')],
        "a",
        "address",
        "asks, then gives the selected device its address in the file",
    ),
    key(
        Action::Do(Deed::Reach),
        &[KeyCode::Char('o')],
        "o",
        "open",
        "opens the selected device at 127.0.0.1: its page, its ports",
    ),
    key(
        Action::Do(Deed::Walk),
        &[KeyCode::Char('p')],
        "p",
        "panel",
        "asks, then walks the panel: which head moves on each channel",
    ),
    key(
        Action::Accept,
        &[KeyCode::Char('m')],
        "m",
        "match",
        "accept a missing device's match: writes its mac in the file",
    ),
    key(
        Action::Listen,
        &[KeyCode::Char('l')],
        "l",
        "level",
        "how much is sent: everything, watching only, nothing",
    ),
    key(
        Action::Findings,
        &[KeyCode::Char('f')],
        "f",
        "findings",
        "all findings, each with its next step",
    ),
    key(
        Action::History,
        &[KeyCode::Char('h')],
        "h",
        "history",
        "all changes, the latest first, back into the journal",
    ),
    key(
        Action::Starts,
        &[KeyCode::Char('t')],
        "t",
        "starts",
        "how the devices come up, step by step",
    ),
    key(
        Action::Moves,
        &[KeyCode::Char('v')],
        "v",
        "work list",
        "the work list of a plan, ticked off as it is done",
    ),
    key(
        Action::Tick,
        &[KeyCode::Char(' ')],
        "Space",
        "tick",
        "on the work list: tick the selected step; Enter as well",
    ),
    key(Action::Help, &[KeyCode::Char('?')], "?", "help", "this page"),
    key(
        Action::Quit,
        &[KeyCode::Char('q')],
        "q",
        "quit",
        "leave; Ctrl-C as well",
    ),
];

/// What the keys mean at the moment, which decides the hints.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Mood {
    /// The wall or the list.
    Board,
    /// The sheet of a device or host.
    Sheet,
    /// The work list.
    Moves,
    /// Another page.
    Page,
    /// A filter is being typed.
    Typing,
    /// The board has asked back.
    Asking,
    /// The board has asked whether to search or to wait, on a page of its own.
    Choosing,
    /// The board has asked what is restarted, on a page of its own.
    Restarting,
    /// The board has asked whether to check a cable, on a page of its own.
    Cabling,
    /// A check of a cable is under way on the open page.
    Checking,
    /// The board has asked how much to send.
    Levels,
    /// A deed is under way on the open page.
    Deed(deed::Mood),
}

impl Mood {
    /// Whether the foot belongs to a question, or to what is typed.
    pub(crate) const fn wants_an_answer(self) -> bool {
        matches!(
            self,
            Self::Asking
                | Self::Choosing
                | Self::Restarting
                | Self::Cabling
                | Self::Levels
                | Self::Typing
                | Self::Deed(deed::Mood::YesNo | deed::Mood::Types)
        )
    }
}

/// What a key does in this mood, typing left out.
pub(crate) fn action(mood: Mood, event: &KeyEvent) -> Option<Action> {
    let find = |keys: &[Key]| keymap::find(keys, event);
    let scrolls = |action: &Action| {
        matches!(
            action,
            Action::Up | Action::Down | Action::PageUp | Action::PageDown | Action::Home | Action::End
        )
    };
    let own = find(answers::of(mood));
    match mood {
        Mood::Asking | Mood::Levels => own,
        Mood::Choosing
        | Mood::Restarting
        | Mood::Cabling
        | Mood::Deed(deed::Mood::YesNo | deed::Mood::Types) => own.or_else(|| find(KEYS).filter(scrolls)),
        Mood::Checking
        | Mood::Deed(deed::Mood::Runs | deed::Mood::Offers)
        | Mood::Board
        | Mood::Sheet
        | Mood::Moves
        | Mood::Page
        | Mood::Typing => own.or_else(|| find(KEYS)),
    }
}

/// The columns that the answers to a question take, with a gap before them.
pub(crate) fn columns(mood: Mood) -> u16 {
    keymap::answers(answers::of(mood))
}

/// Whether it is Ctrl-C, which quits from everywhere.
pub(crate) fn is_interrupt(event: &KeyEvent) -> bool {
    event.modifiers.contains(KeyModifiers::CONTROL) && matches!(event.code, KeyCode::Char('c' | 'C'))
}

/// The hints that fit into `columns`, from column `x` on, for those that are `of_use` now. Help and quit
/// come last and always fit first.
pub(crate) fn hints(mood: Mood, x: u16, columns: u16, of_use: impl Fn(Action) -> bool) -> Vec<Hint> {
    use Action::{
        Accept, AskControl, Back, CheckCable, Do, Far, Filter, Findings, Help, History, Listen, Moves, Open,
        Quit, Restart, Starts, Sweep, Switch, Tick,
    };
    // In order of importance; shown in that order too, with help and quit at the end.
    let wanted: &[Action] = match mood {
        Mood::Checking => {
            let always = KEYS.iter().filter(|k| matches!(k.action, Help | Quit));
            return place(answers::of(mood).iter().chain(always), x, columns);
        }
        Mood::Asking
        | Mood::Choosing
        | Mood::Restarting
        | Mood::Cabling
        | Mood::Levels
        | Mood::Deed(_)
        | Mood::Typing => return place(answers::of(mood), x, columns),
        Mood::Board => &[
            Help, Quit, Open, Switch, Filter, Sweep, AskControl, Listen, Findings, Far, History, Accept,
            Starts, Moves,
        ],
        Mood::Sheet => &[
            Help,
            Quit,
            Back,
            AskControl,
            // What is done to the one whose sheet it is comes before what is for all.
            Do(Deed::Wink),
            Do(Deed::Readdress),
            Do(Deed::Reach),
            Do(Deed::Walk),
            Sweep,
            Listen,
            Findings,
            Far,
            History,
            Accept,
            Starts,
            Restart,
            CheckCable,
            Moves,
        ],
        Mood::Moves => &[Help, Quit, Back, Tick],
        Mood::Page => &[Help, Quit, Back],
    };
    let wanted = wanted.iter().copied().filter(|action| of_use(*action));
    place(keymap::choose(KEYS, wanted, columns, 2), x, columns)
}

#[cfg(test)]
mod tests;
