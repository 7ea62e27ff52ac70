//! A simulated network behind the link traits: switch, devices with real stacks, scenes, faults, one seed.
//!
//! A [`Venue`] is one sans-I/O loop of events. Somebody hands it the time with [`Venue::advance`],
//! asks [`Venue::next_wake`] when something is due next, and sends and takes Ethernet frames at
//! our computer's jack through [`link::FramePort`]. It reads no clock and draws every chance from
//! one seed, so that a run replays exactly.
//!
//! What stands in it and what happens is a [`Plan`]; the planned ones that ship are [`scenes`].

mod boot;
mod builder;
mod camera;
mod chance;
mod deeds;
mod device;
mod dhcp;
mod events;
mod host;
mod ill;
mod neighbours;
mod oddity;
mod ours;
mod packet;
mod port;
mod proxy;
mod router;
mod says;
mod scene;
mod service;
mod six;
mod speech;
mod stack;
mod storm;
mod switch;
mod truth;
mod venue;

pub use builder::{
    Boot, Clash, Computer, Deed, Habit, HostId, HostPlan, Interim, Line, Plan, Service, Start, SwitchId,
    SwitchPlan,
};
pub use ill::{Ill, Toll};
pub use oddity::Oddities;
pub use router::Router;
pub use scene::{Scene, scene, scenes};
pub use storm::{Ground, NAMES, Storm};
pub use truth::{HostTruth, Truth};
pub use venue::{Sent, Venue};
pub use wire::persona::camera::{CameraPlan, Sway, at as steps};
pub use wire::persona::device::{ComesUp, DevicePlan, Takes, Tells, Trouble, Wants};
