//! Keys and hints.

use super::*;

#[test]
fn no_key_does_two_things() {
    let mut seen: Vec<KeyCode> = Vec::new();
    for code in KEYS.iter().flat_map(|k| k.codes) {
        assert!(!seen.contains(code), "{code:?}");
        seen.push(*code);
    }
    let moods = [
        Mood::Asking,
        Mood::Choosing,
        Mood::Restarting,
        Mood::Cabling,
        Mood::Levels,
        Mood::Deed(deed::Mood::Runs),
        Mood::Deed(deed::Mood::Offers),
        Mood::Deed(deed::Mood::YesNo),
        Mood::Deed(deed::Mood::Types),
    ];
    for mood in moods {
        let codes: Vec<KeyCode> = answers::of(mood).iter().flat_map(|k| k.codes).copied().collect();
        let once: std::collections::BTreeSet<String> = codes.iter().map(|c| format!("{c:?}")).collect();
        assert_eq!(once.len(), codes.len(), "{mood:?}");
    }
}

#[test]
fn help_and_quit_are_hinted_at_every_width_that_is_drawn() {
    for columns in 40..220 {
        for mood in [Mood::Board, Mood::Sheet, Mood::Moves, Mood::Page, Mood::Checking] {
            let hints = hints(mood, 1, columns - 2, |_| true);
            for action in [Action::Help, Action::Quit] {
                assert!(hints.iter().any(|h| h.key.action == action), "{columns} {mood:?}");
            }
            assert!(hints.iter().all(|h| h.x + h.columns < columns));
        }
    }
}

#[test]
fn modifiers_make_another_key_of_it() {
    let plain = KeyEvent::new(KeyCode::Char('s'), KeyModifiers::NONE);
    assert_eq!(action(Mood::Board, &plain), Some(Action::Sweep));
    let with_ctrl = KeyEvent::new(KeyCode::Char('s'), KeyModifiers::CONTROL);
    assert_eq!(action(Mood::Board, &with_ctrl), None);
    assert!(is_interrupt(&KeyEvent::new(
        KeyCode::Char('c'),
        KeyModifiers::CONTROL
    )));
}
