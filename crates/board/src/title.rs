//! What the terminal's window is called while the board is open.

use ledger::Snapshot;

use crate::text;

/// The longest title, in characters: window lists show no more.
const LONGEST: usize = 80;

/// How the rig stands and which rig it is, in one line that is safe to hand to any terminal.
pub fn title(snapshot: &Snapshot) -> String {
    let said = snapshot.headline.trim_end_matches('.');
    let whole = match snapshot.title.as_deref() {
        Some(rig) if !rig.is_empty() => format!("{said} - {rig}"),
        _ => said.to_owned(),
    };
    text::cut(&whole, LONGEST)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tests::hall;

    #[test]
    fn it_says_how_the_rig_stands_and_is_safe() {
        let mut s = hall::trouble();
        assert!(title(&s).starts_with("Not ready: "), "{}", title(&s));
        s.headline = "Ready\x1b]2;else\x07\u{202e}".repeat(20);
        let said = title(&s);
        assert!(
            said.chars().count() <= LONGEST && !said.contains(['\x1b', '\x07', '\u{202e}']),
            "{said:?}"
        );
    }
}
