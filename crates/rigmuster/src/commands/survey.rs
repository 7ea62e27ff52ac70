//! `survey`: one look at the whole wire.

use std::io::{self, Write};
use std::time::Duration;

use ledger::{Purpose, Snapshot};
use vocab::{Mode, Moment};

use super::check::{count, interrupted, result};
use super::open::{Tempo, open_without};
use crate::args::{FarArgs, LinkArgs, RigArg};
use crate::places;
use crate::settings::Expected;
use crate::{Exit, Failure};

/// How long it listens on after its pass is over.
const LISTEN: Duration = Duration::from_secs(3);
/// So long after that at the most it waits for answers that are still out.
const LONGEST: Duration = Duration::from_secs(25);

/// Goes through the subnet once, and farther if that is wanted, listens a little longer, to the end
/// of the time for DHCP offers and until hosts on foreign subnets have told of their control ports,
/// and prints what is there.
pub(super) async fn survey(
    rig: RigArg,
    link: LinkArgs,
    far: FarArgs,
    within: Option<Duration>,
    json: bool,
) -> Result<Exit, Failure> {
    let places = places::places(&far, &link)?;
    let searches = places.is_some();
    let expected = Expected::find(&rig, &link, false)?;
    super::print_warnings(&expected.warnings);
    // Without a subnet of its own a search still has places to look.
    let mut run = open_without(&expected, &link, Purpose::Survey, Tempo::Jump, searches)?;
    need_frames(run.source.mode(), searches)?;
    let mut waiting = places.map(|places| (places, expected.pace(&link)));
    let vendors = run.look_for_vendors();
    let deadline = within.map(|span| run.source.now() + span);
    // With nothing to send there is no pass: listening is all.
    let mut end: Option<Moment> = link.listen_only.then(|| run.source.now() + LISTEN);
    let whole = count(&mut run, deadline, |ledger, now| {
        if let Some((places, pace)) = &waiting
            && ledger.search(now, places.clone(), *pace)
        {
            waiting = None;
        }
        if end.is_none() && waiting.is_none() && ledger.pass_complete() && !ledger.is_searching() {
            end = Some(now + LISTEN);
        }
        end.map(|at| {
            let waits = ledger.awaits_offers(now) || ledger.awaits_ports(now, at);
            if waits { at + LONGEST } else { at }
        })
    })
    .await?;
    if (whole || searches)
        && let Some(vendors) = vendors.end().await
    {
        run.ledger.set_vendors(&vendors);
    }
    let snapshot = run.ledger.snapshot(run.source.now());
    if searches {
        tell_search(&snapshot, waiting.is_none());
    }
    if whole || searches {
        if !whole {
            interrupted(&run, "what was found so far follows");
        }
        result(&run, &snapshot, &expected, json, None)?;
    } else {
        interrupted(&run, "nothing was decided");
    }
    Ok(if whole { Exit::Done } else { Exit::Interrupted })
}

/// Other subnets are seen with whole frames only.
fn need_frames(mode: Mode, searches: bool) -> Result<(), Failure> {
    if searches && mode == Mode::Unprivileged {
        return Err(Failure::link(
            "this link gives no whole frames, and without them other subnets cannot be searched\n\
             next step: leave --far and --in out, or use a computer whose system allows packet sockets",
        ));
    }
    Ok(())
}

/// How far the search came, on standard error: the table says what was found.
fn tell_search(snapshot: &Snapshot, begun: bool) {
    let mut err = io::stderr().lock();
    let _ = match &snapshot.search {
        Some(s) if begun => writeln!(
            err,
            "rigmuster: searched {} of {} addresses outside the rig's subnet; hosts known there: {}",
            s.asked, s.total, s.finds
        ),
        _ => writeln!(err, "rigmuster: the search did not begin"),
    };
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_search_without_whole_frames_is_refused_with_what_to_do() {
        let refused = need_frames(Mode::Unprivileged, true).unwrap_err().to_string();
        assert!(
            refused.contains("next step: leave --far and --in out"),
            "{refused}"
        );
        assert!(
            need_frames(Mode::Unprivileged, false).is_ok(),
            "a survey needs none"
        );
        assert!(need_frames(Mode::Raw, true).is_ok());
    }
}
