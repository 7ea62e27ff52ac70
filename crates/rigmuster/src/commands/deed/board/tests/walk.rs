//! Key `p`.

use ledger::Standing;

use super::*;

const PANEL: &str = "Desk panel";
/// A camera on channel 3.
const LEFT: &str = "Stage left";

/// At the question which channels, with this selected.
async fn chosen(desk: &mut Desk, who: &str) {
    desk.until_device(PANEL, Standing::Present).await;
    desk.until("Ready.").await;
    desk.select(who).await;
    // Its cameras are shown with it, and come first.
    if who == PANEL {
        desk.press(KeyCode::End);
    }
    desk.key('p');
}

fn on_its_rows(desk: &Desk, words: &str) -> bool {
    desk.see().contains(words)
}

#[test]
fn a_panel_is_walked_channel_by_channel_and_each_push_is_called_in_large_letters() {
    for (columns, rows) in SIZES {
        play("crossed", (columns, rows), async |desk| {
            let picture = |desk: &Desk, stage: &str| {
                insta::assert_snapshot!(format!("walk_{stage}_{columns}x{rows}"), desk.see());
            };
            chosen(desk, PANEL).await;
            desk.until("Enter for all 6 channels of Desk panel, or one's number")
                .await;
            desk.line("");
            desk.until("Is everybody clear of the heads?").await;
            picture(desk, "asks");
            desk.key('y');
            desk.until("Does Organ loft move?").await;
            desk.line("y");
            desk.until("Channel 2 (West door)").await;
            picture(desk, "push");
            // Its own channels are read; 6 cannot be.
            desk.until("Does Conductor move?").await;
            picture(desk, "wrong");
            desk.line("n");
            desk.until("Esc closes this page").await;
            picture(desk, "done");
            assert!(desk.done.first().unwrap().text.contains("begun, 6 channels"));
            assert!(
                desk.done
                    .last()
                    .unwrap()
                    .text
                    .contains("ended; 2 of 6 channels proven")
            );
        });
    }
}

#[test]
fn with_a_camera_selected_its_panel_is_walked_or_its_channel_alone() {
    play("calm", (80, 24), async |desk| {
        chosen(desk, LEFT).await;
        desk.until("(Stage left: 3):").await;
        desk.line("3");
        desk.until("Is everybody clear of the heads?").await;
        desk.key('y');
        desk.until("1 of 1 channel proven").await;
        assert!(
            desk.noted()
                .iter()
                .any(|(_, text)| text.ends_with("channel 3: proven: Stage left moved"))
        );
        desk.press(KeyCode::Esc);
        // None of that number, and no.
        chosen(desk, LEFT).await;
        desk.until("(Stage left: 3):").await;
        desk.line("7");
        desk.until("has no channel \"7\"").await;
        desk.press(KeyCode::Esc);
        let before = desk.done.len();
        chosen(desk, LEFT).await;
        desk.until("(Stage left: 3):").await;
        desk.line("3");
        desk.until("Is everybody clear of the heads?").await;
        desk.key('n');
        desk.until("Not done, as you said").await;
        assert_eq!(desk.done.len(), before);
    });
}

#[test]
fn of_several_panels_one_is_asked_for_and_where_there_is_none_it_is_said() {
    const CHOIR: &str = "\n[[device]]\nname = \"Choir panel\"\nrole = \"panel\"\naddress = \"10.40.8.97\"\n\
                         channels = { 4 = \"Stage left\", 5 = \"Foyer\" }\n";
    let scene = settings::scene("calm").unwrap();
    let text = scene.rig.to_string() + CHOIR;
    for (line, words) in [
        (
            "2",
            "Enter for all 2 channels of Choir panel, or one's number (Stage left: 4):",
        ),
        ("3", "No panel was named"),
        ("", "No panel was named"),
    ] {
        play("calm", (120, 40), async |desk| {
            let reading = rig::read("calm.rig.toml", text.as_bytes());
            desk.hands.expected().rig = reading.rig;
            desk.hands.expected().document = reading.document;
            chosen(desk, LEFT).await;
            desk.until("Type the number of the one to walk").await;
            assert!(on_its_rows(desk, "1  Desk panel") && on_its_rows(desk, "2  Choir panel"));
            desk.line(line);
            desk.until(words).await;
        });
    }
    play("calm", (80, 24), async |desk| {
        chosen(desk, "Foyer").await;
        assert!(on_its_rows(desk, "is on no panel's channel"), "{}", desk.see());
        assert!(!desk.hands.are_busy());
    });
}

#[test]
fn esc_ends_a_walk_with_what_was_proven_and_the_lock_ends_it_at_once() {
    for lock in [false, true] {
        play("calm", (80, 24), async |desk| {
            chosen(desk, PANEL).await;
            desk.until("Enter for all 6").await;
            desk.line("");
            desk.until("Is everybody clear of the heads?").await;
            desk.key('y');
            desk.until("Channel 3 (Stage left)").await;
            if lock {
                desk.run.source.set_level(Level::Watch);
                desk.hands.take_level(Level::Watch, &mut desk.run);
            } else {
                desk.press(KeyCode::Esc);
            }
            desk.until(if lock {
                "Ended by the show lock"
            } else {
                "Ended, as you wanted"
            })
            .await;
            assert!(on_its_rows(desk, "2 of 6 channels proven"), "{}", desk.see());
            let last = desk.done.last().unwrap();
            assert!(last.text.contains("ended; 2 of 6 channels proven") && !last.began);
        });
    }
}

#[test]
fn a_link_that_is_lost_in_a_walk_proves_nothing_and_is_said() {
    play("calm", (80, 24), async |desk| {
        chosen(desk, PANEL).await;
        desk.until("Enter for all 6").await;
        desk.line("");
        desk.until("Is everybody clear of the heads?").await;
        desk.key('y');
        desk.until("Channel 2 (West door)").await;
        let now = desk.run.source.now();
        desk.venue().plan(now, venue::Deed::UnplugUs);
        desk.until("Not all of it is proven").await;
        assert!(on_its_rows(desk, "network link is down"), "{}", desk.see());
        let last = desk.done.last().unwrap();
        assert!(
            last.text.contains("ended; 1 of 6 channels proven"),
            "{}",
            last.text
        );
    });
}
