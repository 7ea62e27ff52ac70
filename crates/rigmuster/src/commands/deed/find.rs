//! Finding the device: the usual head count, until it is seen.

use std::time::Duration;

use vocab::{ArpForm, Ask, Budget, Moment, Rank};

use super::super::interrupt::Interrupt;
use super::super::open::Run;
use crate::Failure;
use crate::hands::{Deed, Place, Sight, Whom, admit};
use crate::report::Progress;
use crate::source::exchange;

/// So long after it was seen first others at its address may still answer.
const OTHERS: Duration = Duration::from_secs(1);
/// So often it is asked for who holds an address; the scanner's own manners hold besides.
const ASK_EVERY: Duration = Duration::from_secs(3);

/// What came of it.
pub(in super::super) enum Found {
    /// It is there.
    There(Place),
    /// It was not seen in time.
    Nowhere,
    /// Somebody ended the search.
    Interrupted,
}

/// Looks for it for at most `within`.
///
/// # Errors
/// It must be said more clearly who is meant.
pub(in super::super) async fn find(
    deed: Deed,
    run: &mut Run,
    whom: &Whom,
    within: Duration,
    interrupt: &mut Interrupt,
) -> Result<Found, Failure> {
    is_another(deed, run, whom)?;
    let deadline = run.source.now() + within;
    let mut progress = Progress::new(run.source.now());
    let mut looked = None;
    let mut since: Option<Moment> = None;
    let mut ask_at = run.source.now();
    loop {
        exchange(&mut run.source, &mut run.ledger);
        let now = run.source.now();
        if let Whom::Address(address) = *whom
            && now >= ask_at
        {
            ask_at = now + ASK_EVERY;
            let ask = Ask::Arp {
                address,
                form: ArpForm::Nobody,
                rank: Rank::Rig,
                budget: Budget::Pass,
            };
            run.source.ask(0, ask);
        }
        let settled = since.is_some_and(|at| now >= at + OTHERS);
        if looked != Some(run.ledger.revision()) || settled {
            looked = Some(run.ledger.revision());
            let sight = whom.look(&run.ledger.snapshot(now));
            match sight {
                Sight::Nothing => since = None,
                Sight::There(place) if settled => {
                    progress.clear();
                    return Ok(Found::There(place));
                }
                Sight::There(_) => since = since.or(Some(now)),
                Sight::Several(..) | Sight::Other(..) => {
                    progress.clear();
                    admit(deed, sight)?;
                }
            }
        }
        if now >= deadline {
            progress.clear();
            return Ok(Found::Nowhere);
        }
        progress.show(now, Some(deadline.since(now)), || run.ledger.snapshot(now));
        let until = [
            Some(deadline),
            since.map(|at| at + OTHERS),
            matches!(whom, Whom::Address(_)).then_some(ask_at),
            run.ledger.next_wake(),
            progress.next_wake(),
        ];
        let until = until.into_iter().flatten().min();
        tokio::select! {
            biased;
            () = interrupt.wait() => {
                progress.clear();
                return Ok(Found::Interrupted);
            }
            () = run.source.turn(until) => {}
        }
    }
}

/// Nothing is done to this computer itself.
fn is_another(deed: Deed, run: &Run, whom: &Whom) -> Result<(), Failure> {
    let Some(station) = run.source.station(0) else {
        return Ok(());
    };
    let own = match whom {
        Whom::Address(address) => station.addresses.iter().any(|net| net.addr() == *address),
        Whom::Mac(mac) => station.mac == *mac,
        Whom::Device(_) => false,
    };
    if own {
        return Err(Failure::usage(format_args!(
            "{whom} is this computer itself\nnext step: name another device: rigmuster {} HOST",
            deed.verb()
        )));
    }
    Ok(())
}
