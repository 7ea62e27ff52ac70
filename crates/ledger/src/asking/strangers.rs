//! How often we ask about addresses that are nobody's of the rig, so that no storm of strangers makes us send one.

use std::time::Duration;

use vocab::Moment;

use crate::asking::lanes::Key;
use crate::ledger::Ledger;

/// Between two such questions in the long run.
const EVERY: Duration = Duration::from_millis(50);
/// So many may go at once after a pause: a small network's guests are known without waiting.
const AT_ONCE: u32 = 64;

/// When the next question about a stranger may go.
#[derive(Debug, Default)]
pub(crate) struct Allowance {
    /// When all that was asked so far is worked off, at one each [`EVERY`].
    paid: Moment,
}

impl Allowance {
    /// Takes one question. `Err` says from when on there is one.
    fn take(&mut self, now: Moment) -> Result<(), Moment> {
        let paid = self.paid.max(now) + EVERY;
        let owed = paid.since(now);
        let room = EVERY * AT_ONCE;
        if owed > room {
            return Err(now + owed.saturating_sub(room));
        }
        self.paid = paid;
        Ok(())
    }
}

impl Ledger {
    /// When a question that is due has to wait for its turn, because it is about a stranger and many of those
    /// were asked. Otherwise it counts as asked.
    pub(crate) fn waits_its_turn(&mut self, key: Key, now: Moment) -> Option<Moment> {
        let address = match key {
            Key::Broadcast(a) | Key::Nobody(a) | Key::Unicast(a, _) | Key::EchoTo(a, _) | Key::Echo(a) => a,
            Key::Port(..) | Key::Dhcp | Key::Pass(_) | Key::Roll(_) => return None,
        };
        let matters = self.targets.contains_key(&address) || self.sought.contains(&address);
        (!matters).then(|| self.allowance.take(now).err()).flatten()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_at_once_and_then_twenty_a_second() {
        let mut allowance = Allowance::default();
        let (mut now, mut asked) = (Moment::from_secs(5), 0);
        let end = now + Duration::from_secs(10);
        while now < end {
            match allowance.take(now) {
                Ok(()) => asked += 1,
                Err(at) => {
                    assert!(at > now);
                    now = at;
                }
            }
        }
        assert_eq!(asked, 64 + 199);
        assert_eq!(allowance.take(end + Duration::from_secs(4)), Ok(()));
    }
}
