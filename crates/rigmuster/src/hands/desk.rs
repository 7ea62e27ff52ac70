//! The deed's side of the network: ways to devices, questions of the scanner's, and the time.

use std::net::{Ipv4Addr, SocketAddr};
use std::time::Duration;

use link::Stage;
use tokio::sync::{mpsc, oneshot, watch};
use vocab::{Ask, ControlPort, ControlState, Moment, Sighting};

use super::clock::Clock;
use super::whom::Place;
use super::wish::{Flow, NoWay, Way, Wish};
use crate::tunnel::{self, Line};

/// So long an address to speak from may be sought: the scanner seeks for 30 s at most, and probes for 2.
const SEEK: Duration = Duration::from_secs(40);
/// Datagrams that may wait for the deed.
const DATAGRAMS: usize = 64;

/// The deed's handle on the network. All goes from a borrowed, checked address with this computer's own MAC, so
/// that its addresses, routes and neighbour table stay as they are. Nothing leaves under the show lock, whatever
/// a deed does.
#[derive(Debug, Clone)]
pub(crate) struct Desk {
    pub(super) wishes: mpsc::UnboundedSender<Wish>,
    pub(super) clock: Clock,
}

impl Desk {
    /// The time on the run's own clock.
    pub(crate) fn now(&self) -> Moment {
        self.clock.now()
    }

    /// Waits for so long, by the run's own clock.
    pub(crate) async fn wait(&self, span: Duration) {
        self.wait_until(self.now() + span).await;
    }

    /// Waits until then.
    pub(crate) async fn wait_until(&self, at: Moment) {
        self.clock.until(at).await;
    }

    /// What comes of `work`; `None` after `span`.
    pub(crate) async fn within<T>(&self, span: Duration, work: impl Future<Output = T>) -> Option<T> {
        tokio::select! {
            biased;
            done = work => Some(done),
            () = self.wait(span) => None,
        }
    }

    /// A way to the hardware that is at this place, and to nobody else at its address. It is closed when what
    /// this gives is dropped; several at one time are well.
    ///
    /// # Errors
    /// There is none.
    pub(crate) async fn reach(&self, place: &Place) -> Result<Reached, NoWay> {
        let (tell, told) = oneshot::channel();
        let _ = self.wishes.send(Wish::Open(place.clone(), tell));
        let (desk, way, flow) = told.await.map_err(|_| NoWay::NoAddress)?;
        let reached = Reached {
            place: place.clone(),
            desk,
            way,
            flow,
            wishes: self.wishes.clone(),
        };
        match self.within(SEEK, reached.stands()).await {
            Some(Ok(_)) => Ok(reached),
            Some(Err(why)) => Err(why),
            None => Err(NoWay::NoAddress),
        }
    }

    /// Puts a question of the scanner's on the network at that place, with its manners and pace. What comes of it
    /// is in the head count, and in [`Desk::sightings`].
    pub(crate) fn ask(&self, leg: usize, ask: Ask) {
        let _ = self.wishes.send(Wish::Ask(leg, ask));
    }

    /// In a rehearsal somebody pushes the stick of that panel on that channel; else the user does, and nothing
    /// happens here.
    pub(crate) fn play_push(&self, panel: &str, channel: u32) {
        let _ = self.wishes.send(Wish::Push(panel.to_owned(), channel));
    }

    /// All that is seen from now on, each with the place of its network.
    pub(crate) fn sightings(&self) -> mpsc::UnboundedReceiver<(usize, Sighting)> {
        let (give, take) = mpsc::unbounded_channel();
        let _ = self.wishes.send(Wish::Hear(give));
        take
    }
}

/// A way to a device.
#[derive(Debug)]
pub(crate) struct Reached {
    place: Place,
    desk: tunnel::Desk,
    way: watch::Receiver<Way>,
    flow: watch::Receiver<Flow>,
    wishes: mpsc::UnboundedSender<Wish>,
}

impl Reached {
    /// How it stands. One that was lost seeks another address by itself; its streams are cut then, and its
    /// exchanges go on.
    pub(crate) fn way(&self) -> Way {
        *self.way.borrow()
    }

    /// What went by it so far.
    pub(crate) fn flow(&self) -> Flow {
        *self.flow.borrow()
    }

    /// How tasks beside the deed use it.
    pub(crate) fn tunnel(&self) -> tunnel::Desk {
        self.desk.clone()
    }

    /// Until it stands; the address that it speaks from.
    ///
    /// # Errors
    /// There is no way any more.
    pub(crate) async fn stands(&self) -> Result<Ipv4Addr, NoWay> {
        let mut way = self.way.clone();
        loop {
            match *way.borrow_and_update() {
                Way::Stands(from) => return Ok(from),
                Way::Closed(why) => return Err(why),
                Way::Seeks => {}
            }
            if way.changed().await.is_err() {
                return Err(NoWay::NoAddress);
            }
        }
    }

    /// A connection to a port. It may take 10 s until it is known that nobody takes it. End it in order with
    /// `shutdown` and read to the end; one that is dropped is reset.
    ///
    /// # Errors
    /// How it failed.
    pub(crate) async fn stream(&self, port: u16) -> Result<Line, Stage> {
        self.desk.connect(port).await
    }

    /// Whether a control port gives a sign of life: one inquiry, tried three times.
    pub(crate) async fn sign_of_life(&self, desk: &Desk, port: ControlPort) -> ControlState {
        let wait = |span| desk.wait(span);
        let device = self.place.address;
        if !port.word.is_udp() {
            return tunnel::sign_of_life(&self.desk, device, port, None, wait).await;
        }
        let mut replies = self.exchange(port.port).await.replies;
        tunnel::sign_of_life(&self.desk, device, port, Some(&mut replies), wait).await
    }

    /// An exchange of datagrams with a port; one at a time for each port.
    pub(crate) async fn exchange(&self, port: u16) -> Exchange {
        let (give, replies) = mpsc::channel(DATAGRAMS);
        self.desk.wish(tunnel::Wish::Listen(port, give)).await;
        Exchange {
            desk: self.desk.clone(),
            port,
            replies,
        }
    }
}

impl Drop for Reached {
    fn drop(&mut self) {
        let _ = self.wishes.send(Wish::Close(self.place.clone()));
    }
}

/// An exchange of datagrams, from a port of our own that stays the same while something is said at least once a
/// minute and the way stands.
#[derive(Debug)]
pub(crate) struct Exchange {
    desk: tunnel::Desk,
    port: u16,
    replies: mpsc::Receiver<(SocketAddr, Vec<u8>)>,
}

impl Exchange {
    /// Sends a datagram. It may be lost like any other, and is where the way does not stand.
    pub(crate) async fn send(&self, datagram: &[u8]) {
        // No client of a tunnel has port 0.
        let us = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
        let wish = tunnel::Wish::Send((self.port, us), datagram.to_vec());
        self.desk.wish(wish).await;
    }

    /// The next datagram from the port. Waits for ever where none comes: wrap it in [`Desk::within`].
    pub(crate) async fn next(&mut self) -> Vec<u8> {
        match self.replies.recv().await {
            Some((_, datagram)) => datagram,
            None => std::future::pending().await,
        }
    }
}
