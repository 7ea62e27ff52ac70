//! Scripted courses of events.

use std::borrow::Cow;
use std::time::Duration;

use crate::builder::Plan;

mod apart;
mod brownout;
mod cable;
mod calm;
mod clash;
mod crossed;
mod damaged;
mod dozing;
mod grand;
mod hall;
mod heard;
mod held;
mod hidden;
mod hostile;
mod house;
mod late;
mod leases;
mod moving;
mod named;
mod networks;
mod parts;
mod power;
mod standings;
mod strayed;
mod tangled;
mod traps;
mod unpacked;
mod uplink;

pub(crate) use parts::OURS;

/// A rig and what happens to it.
#[derive(Debug, Clone)]
pub struct Scene {
    /// The word it is called by.
    pub name: &'static str,
    /// Its name on the screen.
    pub title: &'static str,
    /// What happens, in one or two sentences.
    pub about: &'static str,
    /// The whole rig file.
    pub rig: Cow<'static, str>,
    /// How long its script runs. The venue goes on after that; nothing new is planned.
    pub length: Duration,
    pub(crate) plan: fn() -> Plan,
}

impl Scene {
    /// What stands there and what happens.
    pub fn plan(&self) -> Plan {
        (self.plan)()
    }
}

/// Every scene, the calm one first.
pub fn scenes() -> Vec<Scene> {
    vec![
        calm::scene(),
        tangled::scene(),
        strayed::scene(),
        power::scene(),
        clash::scene(),
        late::scene(),
        leases::scene(),
        cable::scene(),
        house::scene(),
        grand::scene(),
        standings::scene(),
        hidden::scene(),
        named::scene(),
        heard::scene(),
        networks::scene(),
        held::scene(),
        dozing::scene(),
        traps::scene(),
        apart::scene(),
        brownout::scene(),
        uplink::scene(),
        damaged::scene(),
        moving::scene(),
        crossed::scene(),
        unpacked::scene(),
        hostile::scene(),
    ]
}

/// The scene of that name.
pub fn scene(name: &str) -> Option<Scene> {
    scenes().into_iter().find(|s| s.name == name)
}
