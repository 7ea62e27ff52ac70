//! The work list as a file: saved by `plan`, for the board to tick off.

use std::net::Ipv4Addr;

use rig::plan::{Follow, Kind, Task, WorkList};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use vocab::{ControlPort, Mac};

use crate::report::{Format, Printed, Word};

/// The file.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct MovesFile {
    format: Format,
    /// What the rig is called.
    title: String,
    /// In this order.
    tasks: Vec<TaskPart>,
}

/// What has to be done with one device.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub(crate) struct TaskPart {
    device: String,
    macs: Vec<Printed<Mac>>,
    position: Option<String>,
    kind: Word<Kind>,
    /// Where it is; null where that is not known.
    from: Option<Ipv4Addr>,
    to: Ipv4Addr,
    mask: Ipv4Addr,
    gateway: Option<Ipv4Addr>,
    /// The same as a line for a person.
    text: String,
    /// What follows at once.
    then: Vec<FollowPart>,
}

/// Somebody who points at the device: a channel of a panel, or a user in the rig file's words.
#[derive(Debug, Serialize, Deserialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
struct FollowPart {
    panel: Option<String>,
    channel: Option<u32>,
    control: Option<Printed<ControlPort>>,
    user: Option<String>,
    /// The same as a line for a person.
    text: String,
}

impl MovesFile {
    /// The file of a work list.
    pub(crate) fn new(work: &WorkList) -> Self {
        Self {
            format: Format,
            title: work.title.clone(),
            tasks: work.tasks.iter().map(TaskPart::new).collect(),
        }
    }
}

impl TaskPart {
    /// The part of a task.
    pub(crate) fn new(task: &Task) -> Self {
        Self {
            device: task.device.clone(),
            macs: task.macs.iter().copied().map(Printed).collect(),
            position: task.position.clone(),
            kind: Word(task.kind),
            from: task.from,
            to: task.to.addr(),
            mask: task.to.netmask(),
            gateway: task.gateway,
            text: task.to_string(),
            then: task
                .then
                .iter()
                .map(|follow| FollowPart::new(task, follow))
                .collect(),
        }
    }
}

impl FollowPart {
    fn new(task: &Task, follow: &Follow) -> Self {
        let text = task.follow(follow);
        let (panel, channel, control, user) = match follow {
            Follow::Channel {
                panel,
                number,
                control,
            } => (Some(panel.clone()), Some(*number), control.map(Printed), None),
            Follow::User(user) => (None, None, None, Some(user.clone())),
        };
        Self {
            panel,
            channel,
            control,
            user,
            text,
        }
    }
}
