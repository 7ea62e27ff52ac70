//! `rehearse`: the board on the simulated venue.

use std::fmt::Write as _;

use ledger::Purpose;

use super::open::{Tempo, open};
use crate::args::{LinkArgs, LookArgs, RecordArgs};
use crate::journal::Place;
use crate::settings::{self, Expected};
use crate::{Exit, Failure};

/// Lists the scenes.
pub(super) fn list() -> Result<Exit, Failure> {
    let scenes = venue::scenes();
    let wide = scenes.iter().map(|s| s.name.len()).max().unwrap_or(0);
    let mut out = String::new();
    for scene in scenes {
        let _ = writeln!(out, "{:wide$}  {}", scene.name, scene.about);
    }
    super::print(&out)?;
    Ok(Exit::Done)
}

/// Opens the board on a scene.
pub(super) async fn rehearse(
    scene: String,
    seed: u64,
    look: LookArgs,
    record: RecordArgs,
) -> Result<Exit, Failure> {
    super::board::need_terminal()?;
    let expected = Expected::of_scene(&settings::scene(&scene)?)?;
    let link = LinkArgs {
        link: Vec::new(),
        rehearse: Some(scene),
        seed,
        listen_only: false,
        pace: None,
        unprivileged: false,
    };
    let run = open(&expected, &link, Purpose::Board, Tempo::Real)?;
    let place = record.journal.map_or(Place::Nowhere, Place::At);
    let journal = run.record(place, &expected);
    super::board::watch(run, expected, None, &look, journal).await
}
