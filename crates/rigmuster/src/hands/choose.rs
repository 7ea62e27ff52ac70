//! Whom the board means: what a command asks for on its line, the board asks for in its panel.

use vocab::Mac;

use super::gate::{Deed, admit};
use super::stop::Stop;
use super::talk::Talk;
use super::whom::{Place, Sight, Whom};

/// Where `whom` is in the head count as it is now. Of several at one address one must be named by its MAC. `None`
/// where it is nowhere, or nobody was named: that was told.
///
/// # Errors
/// The deed is to end.
pub(crate) async fn choose(talk: &Talk, deed: Deed, whom: Whom) -> Result<Option<Place>, Stop> {
    let snapshot = talk.snapshot().await?;
    let sight = match whom.look(&snapshot) {
        Sight::Several(address, macs) => {
            let all: Vec<String> = macs.iter().map(Mac::to_string).collect();
            talk.aside(format!(
                "{address} is held by {} at once:\n  {}",
                all.len(),
                all.join("\n  ")
            ));
            let line = talk.line("Type the MAC of the one that you mean:").await?;
            let named = line.trim().parse().ok().filter(|mac| macs.contains(mac));
            let Some(mac) = named else {
                talk.aside("That is none of them: nothing was sent.");
                return Ok(None);
            };
            Whom::Mac(mac).look(&snapshot)
        }
        sight => sight,
    };
    Ok(match admit(deed, sight) {
        Ok(Some(place)) => Some(place),
        Ok(None) => {
            talk.aside(format!(
                "{whom} is not seen now: nothing was sent.\nnext step: look whether it is switched on, and sweep (key s)"
            ));
            None
        }
        Err(failure) => {
            talk.aside(failure.message);
            None
        }
    })
}
