//! Key `a`.

use ledger::Standing;

use super::*;

const SEXTANT: &str = "Sextant";
const WORD: &str = "harbour-7";

/// At the page that asks for the password.
async fn asked_for_the_password(desk: &mut Desk) {
    desk.until_device(SEXTANT, Standing::WrongSubnet).await;
    desk.select(SEXTANT).await;
    desk.key('a');
    desk.until("User name of Sextant").await;
    desk.line("operator");
    desk.until("Password (not shown").await;
}

#[test]
fn a_device_gets_its_address_of_the_file_and_its_page_tells_each_stage() {
    for (columns, rows) in SIZES {
        play("unpacked", (columns, rows), async |desk| {
            let picture = |desk: &Desk, stage: &str| {
                insta::assert_snapshot!(format!("readdress_{stage}_{columns}x{rows}"), desk.see());
            };
            asked_for_the_password(desk).await;
            desk.type_in(WORD);
            assert!(!format!("{:?}", desk.board).contains(WORD));
            picture(desk, "password");
            desk.press(KeyCode::Enter);
            desk.until("Type yes to change it").await;
            picture(desk, "review");
            let before = desk.noted().len();
            assert_eq!(before, 0, "nothing before a yes");
            desk.line("yes");
            desk.until("Esc closes this page").await;
            // Chance in its login has it settle a moment sooner or later.
            desk.until_device(SEXTANT, Standing::Present).await;
            picture(desk, "done");
            let texts: Vec<String> = desk.done.iter().map(|a| format!("{a:?}")).collect();
            assert_eq!(texts.len(), 2);
            assert!(texts.iter().all(|text| !text.contains(WORD)));
            assert!(texts[0].contains("before: 192.168.1.188/24") && texts[1].contains("10.40.20.23/24"));
        });
    }
}

#[test]
fn esc_wipes_what_was_typed_and_nothing_is_changed() {
    play("unpacked", (80, 24), async |desk| {
        asked_for_the_password(desk).await;
        desk.type_in(WORD);
        desk.press(KeyCode::Esc);
        assert!(!desk.see().contains("not shown) _"), "{}", desk.see());
        desk.until("Ended, as you wanted").await;
        assert_eq!(desk.noted(), []);
        // Whoever comes next finds nothing of it: an Enter is an empty line.
        desk.press(KeyCode::Esc);
        asked_for_the_password(desk).await;
        desk.press(KeyCode::Enter);
        desk.until("Esc closes this page").await;
        assert!(desk.see().contains("does not take this login"), "{}", desk.see());
    });
}

#[test]
fn without_a_typed_yes_nothing_is_changed() {
    play("unpacked", (80, 24), async |desk| {
        desk.until_device(SEXTANT, Standing::WrongSubnet).await;
        asked_for_the_password(desk).await;
        desk.line(WORD);
        desk.until("Type yes to change it").await;
        desk.line("y");
        desk.until("Not done, as you said").await;
        assert_eq!(desk.noted(), []);
        assert_eq!(
            desk.snapshot
                .devices
                .iter()
                .find(|d| d.name == SEXTANT)
                .unwrap()
                .standing,
            Standing::WrongSubnet
        );
    });
}

#[test]
fn the_show_lock_lets_none_begin_and_ends_one_that_asks() {
    play("unpacked", (80, 24), async |desk| {
        asked_for_the_password(desk).await;
        desk.hands.take_level(Level::Silent, &mut desk.run);
        desk.run.source.set_level(Level::Silent);
        desk.until("Ended by the show lock").await;
        desk.press(KeyCode::Esc);
        desk.turn().await;
        desk.key('a');
        assert!(desk.see().contains("The show lock is on"), "{}", desk.see());
        assert!(!desk.hands.are_busy() && desk.noted().is_empty());
    });
}

#[test]
fn what_cannot_be_is_said_with_its_next_step_before_anything_is_sent() {
    // Of no rig file.
    play("tangled", (80, 24), async |desk| {
        desk.until_device("Nave", Standing::WrongSubnet).await;
        desk.until_device("Font", Standing::Replaced).await;
        desk.select("Font").await;
        desk.key('a');
        desk.until("To take that unit instead").await;
        desk.line("94");
        desk.until("No rig file says which address").await;
        assert!(desk.see().contains("next step: "), "{}", desk.see());
        assert_eq!(desk.noted(), []);
    });
}

#[test]
fn a_link_that_is_lost_on_the_way_ends_it_and_nothing_is_said_that_is_not_so() {
    for ms in [700, 2_500, 6_000] {
        play("unpacked", (120, 60), async |desk| {
            asked_for_the_password(desk).await;
            desk.line(WORD);
            desk.until("Type yes to change it").await;
            desk.line("yes");
            while desk.noted().is_empty() {
                desk.turn().await;
            }
            let at = desk.run.source.now() + Duration::from_millis(ms);
            desk.venue().plan(at, venue::Deed::UnplugUs);
            desk.until("Esc closes this page").await;
            let said = desk.see();
            let held = desk.venue().truth().host(SEXTANT).unwrap().addresses.clone();
            let moved = held
                .iter()
                .any(|address| address.addr().to_string() == "10.40.20.23");
            assert!(
                said.contains("next step: ") || said.contains("answers at 10.40.20.23"),
                "{said}"
            );
            assert!(!(moved && said.contains("Nothing was changed")), "{ms}: {said}");
            assert_eq!(desk.done.len(), 2, "begun and ended are both written down");
        });
    }
}

#[test]
fn one_that_is_set_by_hand_has_its_page_opened_where_it_is() {
    for (columns, rows) in SIZES {
        play("tangled", (columns, rows), async |desk| {
            desk.beside = true;
            desk.until_device("Nave", Standing::WrongSubnet).await;
            desk.select("Nave").await;
            desk.key('a');
            desk.until("Open its page from here now, until Esc?").await;
            let asked = desk.see();
            insta::assert_snapshot!(format!("readdress_by_hand_{columns}x{rows}"), asked);
            assert!(!asked.contains("rigmuster "), "a key, no command: {asked}");
            desk.key('y');
            desk.until("The browser was told to open http://127.0.0.1:").await;
            desk.press(KeyCode::Esc);
            desk.until("Ended, as you wanted").await;
            assert!(desk.see().contains("All doors are closed"), "{}", desk.see());
            let texts: Vec<&str> = desk.done.iter().map(|a| a.text.as_str()).collect();
            assert!(
                matches!(texts[..], [a, b] if a.contains("reach Nave") && b.contains("given back")),
                "it is not set by that: {texts:?}"
            );
        });
    }
}

#[test]
fn a_no_to_its_page_opens_nothing() {
    play("tangled", (80, 24), async |desk| {
        desk.until_device("Nave", Standing::WrongSubnet).await;
        desk.select("Nave").await;
        desk.key('a');
        desk.until("Open its page from here now").await;
        desk.key('n');
        desk.until("Not done: see above").await;
        assert_eq!(desk.noted(), []);
    });
}
