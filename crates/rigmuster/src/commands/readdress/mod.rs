//! `readdress`: one device gets its address, or those of a work list do, one after the other.

mod dry;
mod list;
mod login;

pub(super) use login::given;

use rig::{Device, Rig};
use vocab::Ipv4Net;

use super::deed::{self, Found, find};
use super::open::Run;
use super::reach::open_page;
use crate::args::{DeedArgs, ReaddressArgs};
use crate::hands::{Deed, Place, Whom};
use crate::readdress::{Offer, Order, Wish, nowhere, readdress as give};
use crate::settings::Expected;
use crate::walltime;
use crate::{Exit, Failure};

/// Does what the arguments ask for.
pub(super) async fn readdress(args: ReaddressArgs) -> Result<Exit, Failure> {
    let expected = deed::prepare(Deed::Readdress, &args.deed)?;
    match (&args.moves, &args.device) {
        (Some(file), _) => list::work(&args, expected, file).await,
        (None, Some(device)) => one(&args, expected, device).await,
        (None, None) => Err(Failure::usage(
            "no device is named\nnext step: name one, or a work list with --moves FILE",
        )),
    }
}

async fn one(args: &ReaddressArgs, expected: Expected, device: &str) -> Result<Exit, Failure> {
    let rig = expected.rig.as_ref();
    let whom = Whom::read(device, rig)?;
    let wish = Wish {
        address: args.to.map(|to| to.address),
        prefix: args.to.and_then(|to| to.prefix),
        gateway: args.gateway,
        planned: false,
    };
    if args.deed.dry_run {
        super::print(&dry::one(&whom, rig, wish, args.deed.within)?)?;
        return Ok(Exit::Done);
    }
    // What cannot be is said before anything is sent.
    if let Some(device) = named(rig, whom.name()) {
        crate::readdress::check(rig, Some(device), wish, &[]).map_err(Failure::usage)?;
    }
    let mut run = deed::open(Deed::Readdress, &args.deed, &expected)?;
    let mut interrupt = deed::signals()?;
    let place = match find(Deed::Readdress, &mut run, &whom, args.deed.within, &mut interrupt).await? {
        Found::There(place) => place,
        Found::Interrupted => return Ok(Exit::Interrupted),
        Found::Nowhere => {
            eprintln!("rigmuster: {}", nowhere(&whom.to_string(), args.deed.within));
            return Ok(Exit::NotReady);
        }
    };
    let mut order = order(&run, rig, place, wish)?;
    let offer = Offer::default();
    order.offer = Some(offer.clone());
    deed::warn_of_forwarding(&run, order.place.leg);
    let journal = deed::record(&args.deed, &run, &expected);
    let done = deed::carry_out(Deed::Readdress, &mut run, journal, interrupt, |desk, talk| {
        give(desk, talk, order)
    });
    let done = done.await;
    then_open(done, &mut run, &args.deed, &expected, &offer).await
}

/// Opens the page of the device that could not be set, if somebody wants that. It is not set by that.
async fn then_open(
    done: Result<Exit, Failure>,
    run: &mut Run,
    args: &DeedArgs,
    expected: &Expected,
    offer: &Offer,
) -> Result<Exit, Failure> {
    match offer.accepted() {
        Some(place) => {
            open_page(run, args, expected, place).await?;
            Ok(Exit::NotReady)
        }
        None => done,
    }
}

/// The order for the device at `place`.
fn order(run: &Run, rig: Option<&Rig>, place: Place, wish: Wish) -> Result<Order, Failure> {
    let own = own(run, place.leg);
    let snapshot = run.ledger.snapshot(run.source.now());
    let login = login::given(named(rig, place.name.as_deref()));
    let mut order = Order::new(rig, place, wish, &own, &snapshot).map_err(Failure::usage)?;
    order.login = login;
    order.utc = walltime::utc();
    Ok(order)
}

/// This computer's addresses.
fn own(run: &Run, leg: usize) -> Vec<Ipv4Net> {
    run.source.station(leg).map(|s| s.addresses).unwrap_or_default()
}

fn named<'r>(rig: Option<&'r Rig>, name: Option<&str>) -> Option<&'r Device> {
    rig?.device(name?)
}
