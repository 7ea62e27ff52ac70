//! What the board wants from the program.

use ledger::Restarted;
use vocab::{Level, Mac};

use crate::deed::Answer;

/// What can be done to a device at the user's word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Deed {
    /// Have it show itself, by its lamp or its head.
    Wink,
    /// Give it the address that the rig file says.
    Readdress,
    /// Open it in the user's own browser and control software.
    Reach,
    /// Prove the channels of the panel that it is, or that it hangs on.
    Walk,
}

/// Something that the user wants from the program.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Request {
    /// Leave.
    Quit,
    /// Go through the subnet once more, now.
    SweepNow,
    /// Ask the control ports of the device of this name, now.
    AskControl(String),
    /// Search beyond the subnet (`true`; the user has confirmed it), or stop searching.
    Search(bool),
    /// Wait for a device to start, or no longer.
    Wait(bool),
    /// This is being restarted by the user (`true`; confirmed), or no longer.
    Restarting(Restarted, bool),
    /// Check the cable of the device of this name (the user has confirmed it).
    CheckCable(String),
    /// End the check that is under way.
    StopCheck,
    /// Send so much from now on (the user has confirmed what is louder).
    Level(Level),
    /// Send everything again (the user has confirmed it), and do this.
    Louder(Box<Self>),
    /// Write this hardware in the rig file as that of the device (the user has confirmed it).
    Accept {
        /// The device's name.
        device: String,
        /// The hardware that it is now.
        mac: Mac,
    },
    /// Begin this deed; it asks by itself before it does anything.
    Deed {
        /// Which.
        deed: Deed,
        /// The device's name, or the hardware of a host that is not on the list.
        who: String,
    },
    /// The answer to what the deed under way asks.
    Answer(Answer),
    /// End the deed under way in good order.
    EndDeed,
    /// A step of the work list was ticked by hand, or its tick taken back; see
    /// [`Board::ticks`](crate::Board::ticks).
    Ticked,
    /// Read the next lines of the journal, for [`Board::add_past`](crate::Board::add_past).
    Past {
        /// Those before the changes that are kept now; else those before what came last.
        anew: bool,
    },
}
