//! Tables of keys, whatever they do: finding a key's row, and placing the hints at the foot.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

/// One row of a table.
pub(crate) struct Key<A: 'static> {
    /// What it does.
    pub(crate) action: A,
    /// The keys.
    pub(crate) codes: &'static [KeyCode],
    /// The keys in words.
    pub(crate) label: &'static str,
    /// A word or two for the foot; empty for keys that have no hint.
    pub(crate) hint: &'static str,
    /// What it does, for the help page; empty where the row above says it.
    pub(crate) help: &'static str,
}

/// A row.
pub(crate) const fn key<A>(
    action: A,
    codes: &'static [KeyCode],
    label: &'static str,
    hint: &'static str,
    help: &'static str,
) -> Key<A> {
    Key {
        action,
        codes,
        label,
        hint,
        help,
    }
}

/// What the key does by this table. With Ctrl or Alt a key is another one, and in no table.
pub(crate) fn find<A: Copy>(keys: &[Key<A>], event: &KeyEvent) -> Option<A> {
    if event
        .modifiers
        .intersects(KeyModifiers::CONTROL | KeyModifiers::ALT)
    {
        return None;
    }
    keys.iter()
        .find(|key| key.codes.contains(&event.code))
        .map(|key| key.action)
}

/// A hint at the foot: from which column, how many columns.
pub(crate) struct Hint<A: 'static> {
    /// The key.
    pub(crate) key: &'static Key<A>,
    /// Its first column.
    pub(crate) x: u16,
    /// How many columns it takes.
    pub(crate) columns: u16,
}

const GAP: u16 = 2;

const fn wide<A>(key: &Key<A>) -> u16 {
    (key.label.len() + 1 + key.hint.len()) as u16
}

/// The columns that the answers to a question take, with a gap before them.
pub(crate) fn answers<A>(keys: &[Key<A>]) -> u16 {
    keys.iter().map(|key| wide(key) + GAP).sum::<u16>() + 1
}

/// Those of `keys` that fit into `columns`, in the order of `wanted`, most important first; the first `last` of them then
/// go to the end.
pub(crate) fn choose<A: Copy + PartialEq>(
    keys: &'static [Key<A>],
    wanted: impl Iterator<Item = A>,
    columns: u16,
    last: usize,
) -> Vec<&'static Key<A>> {
    let mut left = columns;
    let mut chosen = Vec::new();
    for action in wanted {
        let Some(key) = keys.iter().find(|key| key.action == action) else {
            continue;
        };
        let Some(rest) = left.checked_sub(wide(key)) else {
            break;
        };
        left = rest.saturating_sub(GAP);
        chosen.push(key);
    }
    let last = chosen.len().min(last);
    chosen.rotate_left(last);
    chosen
}

/// Puts hints side by side from column `x` on, as many as fit into `columns`.
pub(crate) fn place<A>(
    keys: impl IntoIterator<Item = &'static Key<A>>,
    x: u16,
    columns: u16,
) -> Vec<Hint<A>> {
    let end = x.saturating_add(columns);
    let mut at = x;
    let mut out = Vec::new();
    for key in keys {
        let columns = wide(key);
        if at.saturating_add(columns) > end {
            break;
        }
        out.push(Hint { key, x: at, columns });
        at += columns + GAP;
    }
    out
}
