//! What each key of the board begins: what a command is told on its line is asked on the page.

use rig::Device;
use vocab::{ControlPort, Ipv4Net, Moment};

use super::super::super::open::Run;
use super::super::super::reach::{Show, doors, near, usual};
use super::super::super::readdress::given;
use crate::browser::Browser;
use crate::hands::wink::{self, By};
use crate::hands::{Deed, Desk, Doing, End, Host, Place, Talk, Whom, choose};
use crate::readdress::{Offer, Order, Refused, Wish, readdress as give};
use crate::settings::Expected;
use crate::walltime;

/// What a deed on the board knows before it begins.
pub(super) struct Seat {
    now: Moment,
    /// Of each network: this computer's addresses, and whether it forwards what it hears there.
    legs: Vec<(Vec<Ipv4Net>, bool)>,
    simulated: bool,
    browser: Browser,
}

impl Seat {
    /// At this run; pages are opened by `browser`.
    pub(super) fn at(run: &Run, browser: Browser) -> Self {
        let legs = (0..run.ledger.networks().count()).map(|leg| {
            let Some(station) = run.source.station(leg) else {
                return (Vec::new(), false);
            };
            let forwards = !run.simulated && link::forwards(&station.name) == Some(true);
            (station.addresses, forwards)
        });
        Self {
            now: run.source.now(),
            legs: legs.collect(),
            simulated: run.simulated,
            browser,
        }
    }

    /// When it begins.
    pub(super) const fn now(&self) -> Moment {
        self.now
    }

    fn own(&self, leg: usize) -> &[Ipv4Net] {
        self.legs.get(leg).map_or(&[], |(own, _)| own)
    }

    /// Where whoever is meant is.
    async fn seek(&self, talk: &Talk, deed: Deed, whom: Whom) -> Result<Place, End> {
        let place = choose(talk, deed, whom).await?;
        if self.legs.get(place.leg).is_some_and(|(_, forwards)| *forwards) {
            talk.aside(FORWARDS);
        }
        Ok(place)
    }
}

const FORWARDS: &str = "\
caution: this computer forwards packets, so copies of what the device answers may leave by its routes.
next step: if that matters here, switch it off for as long: sysctl net.ipv4.ip_forward";

/// The lamp or the head of whoever that is. `listed` are its control ports, where the rig has it.
pub(super) fn wink(seat: Seat, whom: Whom, listed: Option<Vec<ControlPort>>) -> Doing<'static> {
    Doing::begin(seat.now, Host::Board, |desk, talk| async move {
        let place = match seat.seek(&talk, Deed::Wink, whom).await {
            Ok(place) => place,
            Err(end) => return end,
        };
        let by = match talk
            .line("Enter for its lamp, or type head to move its head a little:")
            .await
        {
            Ok(line) if line.trim() == "head" => By::Head,
            Ok(line) if line.trim().is_empty() || line.trim() == "lamp" => By::Lamp(wink::SPAN),
            Ok(_) => return End::Declined,
            Err(stop) => return End::Stopped(stop),
        };
        wink::wink(desk, talk, place, wink::ports(listed.as_deref()), by).await
    })
}

/// The address of the file for whoever that is.
pub(super) fn readdress(seat: Seat, whom: Whom, expected: Expected) -> Doing<'static> {
    Doing::begin(seat.now, Host::Board, |desk, talk| async move {
        order(&desk, &talk, &seat, whom, &expected).await
    })
}

/// Doors to whoever that is.
pub(super) fn reach(seat: Seat, whom: Whom, expected: Expected) -> Doing<'static> {
    Doing::begin(seat.now, Host::Board, |desk, talk| async move {
        let place = match seat.seek(&talk, Deed::Reach, whom).await {
            Ok(place) => place,
            Err(end) => return end,
        };
        open(desk, talk, &seat, place, &expected, false).await
    })
}

/// Doors to the device at `place`; with `at_once` its page opens in the browser.
async fn open(desk: Desk, talk: Talk, seat: &Seat, place: Place, expected: &Expected, at_once: bool) -> End {
    let ports = usual(expected.rig.as_ref(), place.name.as_deref());
    let show = Show {
        browser: seat.browser,
        at_once,
    };
    let is_near = seat.own(place.leg).iter().any(|net| net.contains(&place.address));
    if is_near && !place.shared && !seat.simulated {
        return near(&talk, &place, &ports, show).await;
    }
    doors(desk, talk, place, ports, show).await
}

async fn order(desk: &Desk, talk: &Talk, seat: &Seat, whom: Whom, expected: &Expected) -> End {
    let rig = expected.rig.as_ref();
    // What cannot be is said before anything is asked.
    let listed = device(expected, whom.name());
    if let (Some(_), Err(refused)) = (listed, crate::readdress::check(rig, listed, Wish::default(), &[])) {
        return refuse(talk, &whom.to_string(), &refused);
    }
    let place = match seat.seek(talk, Deed::Readdress, whom).await {
        Ok(place) => place,
        Err(end) => return end,
    };
    let snapshot = match talk.snapshot().await {
        Ok(snapshot) => snapshot,
        Err(stop) => return End::Stopped(stop),
    };
    let (called, leg) = (place.called(), place.leg);
    let login = given(device(expected, place.name.as_deref()));
    let mut order = match Order::new(rig, place, Wish::default(), seat.own(leg), &snapshot) {
        Ok(order) => order,
        Err(refused) => return refuse(talk, &called, &refused),
    };
    order.login = login;
    order.utc = walltime::utc();
    let offer = Offer::default();
    order.offer = Some(offer.clone());
    let end = give(desk.clone(), talk.clone(), order).await;
    match offer.accepted() {
        // It is not set by that, and its page stays until somebody has done so.
        Some(place) => open(desk.clone(), talk.clone(), seat, place, expected, true).await,
        None => end,
    }
}

fn refuse(talk: &Talk, who: &str, refused: &Refused) -> End {
    let words = match refused {
        // The board has no line for it.
        Refused::NotListed => format!(
            "No rig file says which address {who} should have.\n\
             next step: if it is a device of the rig, take its match (key m), or write its mac in the file"
        ),
        Refused::NoAddress(name) => format!(
            "The rig file gives {name} no fixed address.\n\
             next step: write the address in the rig file, and begin the board again"
        ),
        other => other.to_string(),
    };
    talk.aside(words);
    End::Failed
}

fn device<'e>(expected: &'e Expected, name: Option<&str>) -> Option<&'e Device> {
    expected.rig.as_ref()?.device(name?)
}
