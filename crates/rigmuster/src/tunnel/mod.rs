//! A tunnel to one device: loopback listeners on this side, the carrier in the scanner on the other.
//!
//! A task for each door listens, one for each connection speaks with its client (`http`, `rtsp` or `plain`),
//! and the [`Pump`] moves bytes between them and the carrier, which is the run's and not a task's. What
//! is rewritten on the way is pure: `names`, `head`, `framing`.

mod check;
mod doors;
mod exchanges;
mod framing;
mod head;
pub(crate) mod http;
mod intake;
mod line;
mod names;
mod plain;
mod pump;
pub(crate) mod rtsp;

pub(crate) use check::ask as sign_of_life;
pub(crate) use head::Door;
pub(crate) use names::Names;

pub(crate) use doors::{CONNECTIONS, Hall, Opened, Wanted};
pub(crate) use line::Line;
pub(crate) use pump::{Desk, Pump, Traffic, Wish};
