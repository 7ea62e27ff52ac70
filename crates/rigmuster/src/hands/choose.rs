//! Whom the board means: what a command asks for on its line, the board asks for in its panel.

use std::fmt::Write as _;

use ledger::Snapshot;
use vocab::Mac;

use super::doing::End;
use super::gate::{Deed, admit};
use super::talk::Talk;
use super::whom::{Place, Sight, Whom};

/// So much of a MAC names it, where no other ends so: one of its six parts.
const PART: usize = 2;

/// Where `whom` is in the head count as it is now. Of several at one address one must be named by its MAC, and so
/// must other hardware that holds the address of whoever is meant.
///
/// # Errors
/// It is nowhere, or nobody was named: that was told.
pub(crate) async fn choose(talk: &Talk, deed: Deed, whom: Whom) -> Result<Place, End> {
    let snapshot = talk.snapshot().await.map_err(End::Stopped)?;
    let sight = match whom.look(&snapshot) {
        Sight::Several(address, macs) => {
            let mut text = format!("{address} is held by {} at once:", macs.len());
            for mac in &macs {
                let _ = write!(text, "\n  {mac}  {}", whose(&snapshot, *mac));
            }
            talk.aside(text);
            let question = "Type the MAC of the one that you mean, or how it ends; Enter leaves it:";
            named(talk, question, &macs).await?.look(&snapshot)
        }
        Sight::Other(name, mac) => {
            talk.aside(format!(
                "The address of {name} is held by {mac}, which is not its hardware; its own is not seen."
            ));
            let question = "To take that unit instead, type its MAC, or how it ends; Enter leaves it:";
            named(talk, question, &[mac]).await?.look(&snapshot)
        }
        sight => sight,
    };
    match admit(deed, sight) {
        Ok(Some(place)) => Ok(place),
        Ok(None) => {
            talk.aside(format!(
                "{whom} is not seen now: nothing was sent.\nnext step: look whether it is switched on, and sweep (key s)"
            ));
            Err(End::Failed)
        }
        Err(failure) => {
            talk.aside(failure.message);
            Err(End::Failed)
        }
    }
}

/// Asks for one of them by its hardware.
async fn named(talk: &Talk, question: &str, macs: &[Mac]) -> Result<Whom, End> {
    let line = talk.line(question).await.map_err(End::Stopped)?;
    let end = line.trim().to_lowercase().replace('-', ":");
    let mut such = macs
        .iter()
        .filter(|mac| end.len() >= PART && mac.to_string().ends_with(&end));
    match (such.next(), such.next()) {
        (Some(mac), None) => Ok(Whom::Mac(*mac)),
        _ if end.is_empty() => {
            talk.aside("Nobody was named: nothing was sent.");
            Err(End::Declined)
        }
        _ => {
            talk.aside("That names none of them: nothing was sent.");
            Err(End::Failed)
        }
    }
}

/// What the rig file says of that hardware.
fn whose(snapshot: &Snapshot, mac: Mac) -> String {
    let device = snapshot.devices.iter().find(|d| d.expected_macs.contains(&mac));
    device.map_or_else(
        || "not in the rig file".to_owned(),
        |device| format!("{} in the rig file", device.name),
    )
}
