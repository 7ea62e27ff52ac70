//! `readdress --moves FILE`: the devices of a work list, one after the other.

use std::path::Path;

use rig::plan::Task;

use super::{dry, login};
use crate::args::ReaddressArgs;
use crate::commands::deed;
use crate::hands::Deed;
use crate::moves::Moves;
use crate::readdress::{List, Offer, Order, wish, work as go_through};
use crate::settings::Expected;
use crate::walltime;
use crate::{Exit, Failure};

/// Goes through the list in `file`, which keeps what is done.
pub(super) async fn work(args: &ReaddressArgs, expected: Expected, file: &Path) -> Result<Exit, Failure> {
    let moves = Moves::load(file.to_owned())?;
    let Some(rig) = expected.rig.clone() else {
        return Err(Failure::usage(
            "a work list needs its rig file, which says who the devices are\n\
             next step: name the rig file with --rig",
        ));
    };
    moves.is_of(&rig)?;
    let mut ticks = moves.ticks();
    let is_done = |ticks: &[Vec<bool>], nth: usize| {
        let task = ticks.get(nth).and_then(|task| task.first());
        task.copied().unwrap_or_default()
    };
    let tasks: Vec<(Task, bool)> = moves
        .work()
        .tasks
        .into_iter()
        .enumerate()
        .map(|(nth, task)| (task, is_done(&ticks, nth)))
        .collect();
    if args.deed.dry_run {
        super::super::print(&dry::list(&rig, &tasks))?;
        return Ok(Exit::Done);
    }
    let mut run = deed::open(Deed::Readdress, &args.deed, &expected)?;
    let interrupt = deed::signals()?;
    let journal = deed::record(&args.deed, &run, &expected);
    let stations: Vec<_> = (0..run.ledger.networks().count())
        .map(|leg| super::own(&run, leg))
        .collect();
    let offer = Offer::default();
    let order = |task: &Task, place: crate::hands::Place, snapshot: &ledger::Snapshot| {
        let own = stations.get(place.leg).map(Vec::as_slice).unwrap_or_default();
        let order = Order::new(Some(&rig), place, wish(task), own, snapshot);
        let mut order = order.map_err(|refused| refused.to_string())?;
        order.login = login::given(rig.device(&task.device));
        order.utc = walltime::utc();
        order.offer = Some(offer.clone());
        Ok(order)
    };
    let done = |nth: usize| {
        if let Some(tick) = ticks.get_mut(nth).and_then(|task| task.first_mut()) {
            *tick = true;
        }
        moves.save(&ticks)
    };
    let list = List {
        tasks,
        within: args.deed.within,
        order,
        done,
    };
    let done = deed::carry_out(Deed::Readdress, &mut run, journal, interrupt, |desk, talk| {
        go_through(desk, talk, list)
    });
    let done = done.await;
    super::then_open(done, &mut run, &args.deed, &expected, &offer).await
}
