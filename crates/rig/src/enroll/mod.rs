//! Enrolment: from what the wire shows to entries of a rig file. Pure.
//!
//! [`Found`] is what one host shows of itself, [`Wire`] what surrounds it. A [`Draft`] makes a
//! [`Row`] of each host, with a proposal for every value of its entry and what speaks for it; a
//! person takes rows, leaves them out, and changes what is proposed. What comes of it are
//! [`Edit`](crate::Edit)s, so an existing file keeps its entries, comments and order.
//!
//! What a host says of itself is shown and proposed, and proves nothing: only an answer at a
//! control port takes a host by itself.

mod address;
mod channels;
mod draft;
mod found;
mod names;
mod role;
mod row;
mod write;

pub use channels::Panel;
pub use draft::Draft;
pub use found::{Found, HostId, Lease, Source, Wire, Word};
pub use names::name_fault;
pub use row::{Fate, Row};
pub use write::{Fault, MOST_DEVICES};

#[cfg(test)]
mod tests;
