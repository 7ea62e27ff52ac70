//! The work list as a file: saved by `plan`, shown and ticked off by the board, which keeps the ticks in it.

use std::net::Ipv4Addr;
use std::path::PathBuf;

use rig::Rig;
use rig::plan::{Follow, Kind, Task, WorkList};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use vocab::{ControlPort, Ipv4Net, Mac, Text};

use crate::Failure;
use crate::files::{Kind as FileKind, SaveError, read_bounded, save_atomic};
use crate::report::{Format, Printed, Word};

/// A work list as a file. One of 5,000 devices has some 3 MiB.
const LIST: FileKind = FileKind {
    name: "work list",
    example: "moves.json",
    largest: 16,
};

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
    /// Whether it is done; only the board says so.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    done: bool,
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
    /// Whether it is done; only the board says so.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    done: bool,
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

    /// The text of the file.
    pub(crate) fn text(&self) -> Result<String, Failure> {
        let text = serde_json::to_string_pretty(self);
        text.map(|text| text + "\n")
            .map_err(|e| Failure::fault(format_args!("the work list could not be written as JSON: {e}")))
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
            done: false,
        }
    }
}

impl TaskPart {
    fn task(&self) -> Option<Task> {
        let then: Option<Vec<Follow>> = self.then.iter().map(FollowPart::follow).collect();
        Some(Task {
            device: clean(&self.device),
            macs: self.macs.iter().map(|mac| mac.0).collect(),
            position: self.position.as_deref().map(clean),
            kind: self.kind.0,
            from: self.from,
            to: Ipv4Net::with_netmask(self.to, self.mask).ok()?,
            gateway: self.gateway,
            then: then?,
        })
    }

    fn ticks(&self) -> Vec<bool> {
        std::iter::once(self.done)
            .chain(self.then.iter().map(|follow| follow.done))
            .collect()
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
            done: false,
        }
    }

    fn follow(&self) -> Option<Follow> {
        match (&self.panel, self.channel, &self.user) {
            (Some(panel), Some(number), _) => Some(Follow::Channel {
                panel: clean(panel),
                number,
                control: self.control.map(|port| port.0),
            }),
            (_, _, Some(user)) => Some(Follow::User(clean(user))),
            _ => None,
        }
    }
}

/// Text of a file that anybody may have written.
fn clean(text: &str) -> String {
    Text::clean(text).as_str().to_owned()
}

/// A work list that is being worked on.
#[derive(Debug)]
pub(crate) struct Moves {
    path: PathBuf,
    work: WorkList,
    ticks: Vec<Vec<bool>>,
}

impl Moves {
    /// Reads the work list at `path`.
    pub(crate) fn load(path: PathBuf) -> Result<Self, Failure> {
        let bytes = read_bounded(&path, LIST).map_err(Failure::usage)?;
        let shown = Text::clean(&path.display().to_string());
        let refused = |why: &str| {
            Failure::usage(format_args!(
                "{shown} is no work list that this version reads: {}\n\
                 next step: make it anew: rigmuster plan RIG --moves-to FILE",
                Text::clean(why)
            ))
        };
        let file: MovesFile = serde_json::from_slice(&bytes).map_err(|e| refused(&e.to_string()))?;
        let tasks: Option<Vec<Task>> = file.tasks.iter().map(TaskPart::task).collect();
        let tasks = tasks.ok_or_else(|| refused("a mask, or who follows a task, makes no sense"))?;
        Ok(Self {
            work: WorkList {
                title: clean(&file.title),
                tasks,
            },
            ticks: file.tasks.iter().map(TaskPart::ticks).collect(),
            path,
        })
    }

    /// Whether it is a list of that rig: it has every device of the list.
    pub(crate) fn is_of(&self, rig: &Rig) -> Result<(), Failure> {
        let unknown = self
            .work
            .tasks
            .iter()
            .find(|task| rig.device(&task.device).is_none());
        unknown.map_or(Ok(()), |task| {
            Err(Failure::usage(format_args!(
                "{} is the work list of another rig: {} is not in this one\n\
                 next step: name the rig file that it was planned for",
                Text::clean(&self.path.display().to_string()),
                task.device
            )))
        })
    }

    /// The list.
    pub(crate) fn work(&self) -> WorkList {
        self.work.clone()
    }

    /// What of it was done: for each task whether it is, then the same for each that follows it.
    pub(crate) fn ticks(&self) -> Vec<Vec<bool>> {
        self.ticks.clone()
    }

    /// Writes what of it is done in its file. Otherwise one line for the person says why not.
    pub(crate) fn save(&self, ticks: &[Vec<bool>]) -> Result<(), String> {
        let mut file = MovesFile::new(&self.work);
        for (task, ticks) in file.tasks.iter_mut().zip(ticks) {
            let mut ticks = ticks.iter().copied();
            task.done = ticks.next().unwrap_or_default();
            for (follow, done) in task.then.iter_mut().zip(ticks) {
                follow.done = done;
            }
        }
        let text = file.text().map_err(|e| e.to_string())?;
        match save_atomic(&self.path, &text) {
            // The new file is in its place.
            Ok(()) | Err(SaveError::Unsettled { .. }) => Ok(()),
            Err(why) => Err(format!("The tick is not kept in the file: {why}")),
        }
    }
}
