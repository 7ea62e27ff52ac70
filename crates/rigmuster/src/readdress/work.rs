//! A work list as a deed: one device after the other, each with its own question, until the first surprise.

use std::time::Duration;

use ledger::Snapshot;
use rig::plan::{Kind, Task};

use super::deed::readdress;
use super::order::Order;
use super::target::Wish;
use super::words::{fold, nowhere};
use crate::hands::{Deed, Desk, End, Place, Stop, Talk, Whom, admit};

/// So long others at an address may still answer after a device was seen there first.
const OTHERS: Duration = Duration::from_secs(1);

/// What the deed needs of whoever began it.
pub(crate) struct List<O, D> {
    /// The tasks, each with whether it is done.
    pub tasks: Vec<(Task, bool)>,
    /// So long a device is looked for.
    pub within: Duration,
    /// Makes the order for a device that was found. Otherwise it says why there is none.
    pub order: O,
    /// Keeps that a task is done. Otherwise it says why that is not kept.
    pub done: D,
}

/// What a task wants.
pub(crate) const fn wish(task: &Task) -> Wish {
    Wish {
        address: Some(task.to.addr()),
        prefix: Some(task.to.prefix_len()),
        gateway: task.gateway,
        planned: true,
    }
}

/// Goes through the list.
pub(crate) async fn work<O, D>(desk: Desk, talk: Talk, mut list: List<O, D>) -> End
where
    O: FnMut(&Task, Place, &Snapshot) -> Result<Order, String>,
    D: FnMut(usize) -> Result<(), String>,
{
    let total = list.tasks.len();
    let open: Vec<usize> = (0..total).filter(|n| !list.tasks[*n].1).collect();
    if open.is_empty() {
        talk.say("All of this work list is done.");
        return End::Done;
    }
    let mut end = End::Done;
    for nth in open {
        let task = list.tasks[nth].0.clone();
        talk.say(format!(
            "\n{}",
            fold(&format!("{} of {total}: {task}", nth + 1), "")
        ));
        if let Some(position) = &task.position {
            talk.say(format!("  where: {position}"));
        }
        end = match task.kind {
            Kind::Reserve => reserved(&talk, &task).await,
            Kind::Set | Kind::Park | Kind::Adjust => {
                one(&desk, &talk, &task, list.within, &mut list.order).await
            }
        };
        if end != End::Done {
            break;
        }
        list.tasks[nth].1 = true;
        if let Err(why) = (list.done)(nth) {
            talk.aside(why);
            end = End::Failed;
            break;
        }
        for follow in &task.then {
            talk.say(format!("  then: {}", task.follow(follow)));
        }
    }
    talk.say(summary(&list.tasks));
    end
}

/// What is done, and what remains.
fn summary(tasks: &[(Task, bool)]) -> String {
    let names = |done: bool| -> Vec<&str> {
        let of = tasks.iter().filter(|(_, is)| *is == done);
        of.map(|(task, _)| task.device.as_str()).collect()
    };
    let line = |what: &str, names: Vec<&str>| {
        let all = if names.is_empty() {
            "none".to_owned()
        } else {
            names.join(", ")
        };
        fold(&format!("{what}: {all}."), "")
    };
    format!(
        "\n{}\n{}",
        line("Done", names(true)),
        line("Remain", names(false))
    )
}

/// What the DHCP server is to be told is done by hand.
async fn reserved(talk: &Talk, task: &Task) -> End {
    let question = format!(
        "This is set in the DHCP server, not from here. Type yes when {} has\nrestarted, anything else to stop:",
        task.device
    );
    match talk.typed("yes", question).await {
        Ok(true) => End::Done,
        Ok(false) => End::Declined,
        Err(stop) => End::Stopped(stop),
    }
}

async fn one<O>(desk: &Desk, talk: &Talk, task: &Task, within: Duration, order: &mut O) -> End
where
    O: FnMut(&Task, Place, &Snapshot) -> Result<Order, String>,
{
    let found = match find(desk, talk, task, within).await {
        Ok(found) => found,
        Err(stop) => return End::Stopped(stop),
    };
    let place = match found {
        Ok(place) => place,
        Err(why) => {
            talk.aside(why);
            return End::Failed;
        }
    };
    let snapshot = match talk.snapshot().await {
        Ok(snapshot) => snapshot,
        Err(stop) => return End::Stopped(stop),
    };
    match order(task, place, &snapshot) {
        Ok(order) => readdress(desk.clone(), talk.clone(), order).await,
        Err(why) => {
            talk.aside(why);
            End::Failed
        }
    }
}

/// Where the device is; else why that is not known.
async fn find(
    desk: &Desk,
    talk: &Talk,
    task: &Task,
    within: Duration,
) -> Result<Result<Place, String>, Stop> {
    // A device that the list knows by its hardware is found wherever it is, whoever shares its address.
    let whom = task
        .macs
        .first()
        .map_or_else(|| Whom::Device(task.device.clone()), |mac| Whom::Mac(*mac));
    let look = |snapshot: &Snapshot| {
        let all = task.macs.iter().map(|mac| Whom::Mac(*mac).look(snapshot));
        let mut all = all.chain([whom.look(snapshot)]);
        let sight = all.find(|sight| *sight != crate::hands::Sight::Nothing);
        admit(Deed::Readdress, sight.unwrap_or(crate::hands::Sight::Nothing))
    };
    let until = desk.now() + within;
    let mut revision = 0;
    talk.progress(format!("looking for {} ...", task.device));
    loop {
        let pause = until.since(desk.now());
        let next = desk.within(pause, talk.next_snapshot(&mut revision)).await;
        let Some(snapshot) = next else {
            return Ok(Err(nowhere(&task.device, within)));
        };
        match look(&*snapshot?) {
            Ok(None) => {}
            Err(why) => return Ok(Err(why.message)),
            Ok(Some(_)) => {
                talk.unless_stopped(desk.wait(OTHERS)).await?;
                let settled = look(&*talk.snapshot().await?);
                match settled {
                    Ok(Some(mut place)) => {
                        place.name = Some(task.device.clone());
                        return Ok(Ok(place));
                    }
                    Ok(None) => {}
                    Err(why) => return Ok(Err(why.message)),
                }
            }
        }
    }
}
