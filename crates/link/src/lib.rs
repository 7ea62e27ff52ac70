//! The only room that knows an operating system's network.
//!
//! It offers *frames* ([`FramePort`]), *dialers* for TCP and UDP, and the state of the interface.
//! [`Live`] puts all three together for one real interface; on a system where that is not built
//! yet, opening it is refused in clear words. [`UserDialer`] speaks TCP and UDP over frames and
//! knows no system at all, so the simulated venue uses it too.

mod choose;
mod clock;
mod dial;
#[cfg(not(target_os = "linux"))]
mod elsewhere;
mod error;
mod event;
mod frame;
mod interfaces;
#[cfg(target_os = "linux")]
mod linux;
mod user;

pub use choose::{ChooseError, Interface, choose};
pub use clock::Clock;
pub use dial::{Dial, DialEvent, DialId, Transport};
#[cfg(not(target_os = "linux"))]
pub use elsewhere::{Live, MOST_NETWORKS, close_spare, default_gateway, forwards, give_up_rights};
pub use error::{OpenError, OpenHow};
pub use event::LiveEvent;
pub use frame::{Frame, FramePort, PortError};
pub use interfaces::interfaces;
#[cfg(target_os = "linux")]
pub use linux::{Live, MOST_NETWORKS, close_spare, default_gateway, forwards, give_up_rights};
pub use user::{Carrier, MAX_DIALS, MAX_FLOWS, Stage, UserDialer};

/// The program may hand either to another thread or task.
const _: fn() = || {
    fn can_move<T: Send>() {}
    can_move::<Live>();
    can_move::<UserDialer>();
    can_move::<Carrier>();
};
