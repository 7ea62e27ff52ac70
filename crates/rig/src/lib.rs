//! The rig file: what should be on the network, as text and as a model. Pure.
//!
//! - [`read`] turns the bytes of a `NAME.rig.toml` into a [`Reading`]: a [`Rig`], or all mistakes of
//!   the file at once, each a [`Problem`] with its line, its column and how to mend it; and warnings
//!   about what is allowed but risky.
//! - [`Rig`] and the types below it are the model. One is only made from a file without errors, so
//!   whoever has one may rely on unique names and addresses, on addresses that lie in their network's subnet, and
//!   on channels that point at a device.
//! - [`read_venue`] reads a venue file in the same way: the networks of a hall, for [`plan`].
//! - [`RigDocument`] is the text of such a file, kept for editing. Comments, order, line endings and
//!   all that is not touched stay as they were, byte for byte.
//!
//! - [`spreadsheet`] writes a rig as CSV and reads one back, or a plain list of devices.
//! - [`compare`] holds two accounts of a rig against each other.
//!
//! Nothing here opens a file, reads a clock or waits. To add a key to the format: list it in
//! `read/keys.rs`, read it in `read/device.rs` (or the file of its table), put it in the model, and
//! add a broken example under `fixtures/rigs/broken`.

mod budget;
pub mod compare;
mod document;
pub mod enroll;
mod model;
pub mod plan;
mod read;
pub mod sheet;
mod spell;
pub mod spreadsheet;
mod wiring;

pub use budget::{
    Budget, Cable, Load, Move, Moves, NO_CORDS_M, OverBudget, PortTrouble, PortUse, PowerSums, SwitchBudget,
    TIGHT, Uplink, WeakPort,
};
pub use document::{Edit, EditError, NetworkKey, NewDevice, RigDocument};
pub use model::{
    AddressSpec, AskWhen, Channel, Device, How, Login, Need, Network, NoLogin, Plan, PoeType, PoeTypes,
    Power, Reach, Rig, Role, Switch, SwitchPort, Venue,
};
pub use read::{LARGEST_FILE, Problem, Reading, VenueReading, keys_of, read, read_venue};
