//! The room for deeds: what is done to a device at the user's word.
//!
//! A *deed* is an async function over two handles, and knows neither terminal nor board: a [`Desk`] for the network
//! and the time, and a [`Talk`] for the user, the head count and the journal.
//!
//! ```text
//! async fn wink(desk: Desk, talk: Talk, place: Place, ...) -> End {
//!     let reached = desk.reach(&place).await ...;        // borrowed address, this MAC and nobody else
//!     if !talk.agree("Switch the lamp on and off?").await? { return End::Declined }
//!     let mut port = reached.exchange(52_381).await;     // or reached.stream(5_678)
//!     port.send(&bytes).await;
//!     match talk.unless_stopped(desk.within(SPAN, port.next())).await { ... }
//!     talk.note(place.action(true, "...", "before: ...; after: ..."));
//! ```
//!
//! - It waits by [`Desk::wait`] and [`Desk::within`] only, never by a timer of tokio's: the clock is the source's, and
//!   the simulated venue's jumps.
//! - Whatever waits for the user, or could take long, goes through [`Talk`], and ends with [`Stop`] when the deed
//!   is to end. Then it puts back what it changed, within the few seconds that it is given, and says what it could
//!   not put back. It need not look for the show lock: under that nothing leaves any more.
//! - It says all it has to say by itself, troubles with a next step, and ends with [`End`].
//!
//! A *host* turns a [`Doing`]: it steps it, shows what it says, answers what it asks, and waits. The commands do so on the
//! terminal (`commands/deed`), the board in a panel, the tests by a script.

mod choose;
mod clock;
mod desk;
mod doing;
mod gate;
mod host;
mod room;
#[cfg(test)]
pub(crate) mod script;
mod stop;
mod talk;
mod visca;
mod whom;
pub(crate) mod wink;
mod wish;

pub(crate) use choose::choose;
pub(crate) use desk::{Desk, Exchange, Reached};
pub(crate) use doing::{Doing, End};
pub(crate) use gate::{Deed, admit, may};
pub(crate) use host::Host;
pub(crate) use stop::Stop;
pub(crate) use talk::{Form, Question, Said, Talk};
pub(crate) use whom::{Place, Sight, Whom};
pub(crate) use wish::{NoWay, Way};

#[cfg(test)]
mod tests;
