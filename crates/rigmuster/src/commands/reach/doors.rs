//! The same on the board: the doors of a device for as long as the page's deed goes on.

use std::fmt::Write as _;
use std::time::Duration;

use board::span;
use tokio::sync::mpsc;
use vocab::{ControlPort, ControlWord};

use super::say;
use crate::browser::Browser;
use crate::hands::{Desk, End, NoWay, Place, Reached, Stop, Talk, Way};
use crate::tunnel::{Hall, Opened, Wanted};

/// So often the figures are shown anew.
const FIGURES: Duration = Duration::from_millis(500);
/// So long doors may take to close; nothing of theirs waits for anybody.
const CLOSING: Duration = Duration::from_secs(2);
/// What is offered.
const PAGE: &str = "browser";

/// Why it ended.
enum Why {
    Stopped(Stop),
    NoPort,
    NoWay(NoWay),
}

/// How the page of a device is shown.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Show {
    /// By this.
    pub browser: Browser,
    /// As soon as it can be, without being asked for.
    pub at_once: bool,
}

impl Show {
    fn page(self, talk: &Talk, url: &str) {
        match (self.browser)(url) {
            Ok(()) => talk.say(format!("The browser was told to open {url}")),
            Err(why) => talk.aside(format!(
                "No browser could be opened ({why}).\nnext step: open {url} yourself"
            )),
        }
    }
}

/// Opens a door for each port that works, until it is ended.
pub(in super::super) async fn doors(
    desk: Desk,
    talk: Talk,
    place: Place,
    ports: Vec<Wanted>,
    show: Show,
) -> End {
    let shared = if place.shared {
        ", which it shares with others"
    } else {
        ""
    };
    talk.say(format!("{} is at {}{shared}", place.called(), place.address));
    talk.progress("a free address to speak from is sought and checked...");
    let reached = match talk.unless_stopped(desk.reach(&place)).await {
        Ok(Ok(reached)) => reached,
        Ok(Err(why)) => {
            talk.aside(no_way(why, &place));
            return End::Failed;
        }
        Err(stop) => return End::Stopped(stop),
    };
    let Ok(from) = reached.stands().await else {
        talk.aside(no_way(NoWay::NoAddress, &place));
        return End::Failed;
    };
    talk.say(format!("speaking from {from}, and to that hardware alone"));
    talk.aside(say::CAUTION);
    let note = |began, text: &str, basis: String| {
        let text = format!("reach {} at {}: {text}", place.called(), place.address);
        talk.note(place.action(began, text, basis));
    };
    let names: Vec<String> = ports.iter().map(|wanted| wanted.port.to_string()).collect();
    note(
        true,
        &format!("opened from {from}"),
        format!(
            "before: not reachable from here; after: {} by way of 127.0.0.1",
            names.join(", ")
        ),
    );
    let (tell, news) = mpsc::unbounded_channel();
    let hall = Hall::new(reached.tunnel(), place.address, tell);
    for wanted in &ports {
        hall.open(*wanted);
    }
    let standing = Standing {
        desk: &desk,
        talk: &talk,
        reached: &reached,
        ports: ports.len(),
        told: 0,
        works: 0,
        page: None,
        show,
    };
    let why = standing.carry(news, from).await;
    talk.progress("the doors are closed...");
    let closed = desk.within(CLOSING, hall.close()).await.is_some();
    let went = say::total(reached.flow().traffic);
    let (reason, end) = match why {
        Why::Stopped(stop) => ("at the user's word", End::Stopped(stop)),
        Why::NoPort => {
            talk.aside(
                "No control port works.\nnext step: look whether the device has started; its ports stand in the rig file",
            );
            ("no control port works", End::Failed)
        }
        Why::NoWay(why) => {
            talk.aside(no_way(why, &place));
            ("no address to speak from", End::Failed)
        }
    };
    let reason = if end == End::Stopped(Stop::Locked) {
        "by the show lock"
    } else {
        reason
    };
    talk.say(format!(
        "All doors are closed, and {from} is given back; nothing was changed on this computer.\n{went}"
    ));
    let after = "before: open; after: as it was, nothing was changed on the device or here".to_owned();
    note(
        false,
        &format!("ended ({reason}), {from} given back; {went}"),
        after,
    );
    if closed { end } else { End::Overdue }
}

/// What is needed where the device is on this computer's own subnet, and alone at its address.
pub(in super::super) async fn near(talk: &Talk, place: &Place, ports: &[Wanted], show: Show) -> End {
    let mut text = format!(
        "{} is at {}, on this computer's own subnet: it needs no tunnel. Not asked, only listed:\n",
        place.called(),
        place.address
    );
    for wanted in ports {
        let at = say::url(wanted.port.word, place.address, wanted.port.port);
        let _ = writeln!(text, "  {:14} {at}", wanted.port.to_string());
    }
    talk.say(text);
    let page = say::url(ControlWord::Http, place.address, 80);
    if show.at_once {
        show.page(talk, &page);
    }
    loop {
        match talk.offer(PAGE).await {
            Ok(()) => show.page(talk, &page),
            Err(stop) => return End::Stopped(stop),
        }
    }
}

/// While the doors stand.
struct Standing<'a> {
    desk: &'a Desk,
    talk: &'a Talk,
    reached: &'a Reached,
    /// Ports in all, those of which it is known what came of them, and those that work.
    ports: usize,
    told: usize,
    works: usize,
    /// The page to open, once there is one.
    page: Option<String>,
    /// How that is shown.
    show: Show,
}

impl Standing<'_> {
    async fn carry(
        mut self,
        mut news: mpsc::UnboundedReceiver<(ControlPort, Opened)>,
        mut from: std::net::Ipv4Addr,
    ) -> Why {
        let (talk, desk) = (self.talk, self.desk);
        let mut offer = None;
        let mut seeks = false;
        loop {
            if offer.is_none() && self.page.is_some() {
                offer = Some(Box::pin(talk.offer(PAGE)));
            }
            let taken = async {
                match &mut offer {
                    Some(offer) => offer.await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                biased;
                stop = talk.stopped() => return Why::Stopped(stop),
                Some((port, opened)) = news.recv() => self.tell(port, &opened),
                taken = taken => {
                    offer = None;
                    match (taken, &self.page) {
                        (Err(stop), _) => return Why::Stopped(stop),
                        (Ok(()), Some(page)) => self.show.page(talk, page),
                        (Ok(()), None) => {}
                    }
                }
                () = desk.wait(FIGURES) => {}
            }
            if self.told == self.ports && self.works == 0 {
                return Why::NoPort;
            }
            match self.reached.way() {
                Way::Closed(why) => return Why::NoWay(why),
                Way::Seeks if !seeks => {
                    seeks = true;
                    talk.aside(format!(
                        "{from} cannot be used any more (somebody else has it, or the link changed): all connections \
                         were ended, and another address is sought."
                    ));
                }
                Way::Stands(now) if seeks || now != from => {
                    (seeks, from) = (false, now);
                    talk.say(format!("speaking from {from}"));
                }
                Way::Seeks | Way::Stands(_) => {}
            }
            if self.works > 0 && !seeks {
                self.figures();
            }
        }
    }

    fn tell(&mut self, port: ControlPort, opened: &Opened) {
        self.told += 1;
        self.works += usize::from(matches!(opened, Opened::Works(_)));
        self.talk.say(say::port(port, opened));
        if self.page.is_none() {
            self.page = say::page(port, opened);
            if let Some(page) = self.page.as_ref().filter(|_| self.show.at_once) {
                self.show.page(self.talk, page);
            }
        }
        if self.told == self.ports && self.works > 0 {
            self.talk
                .aside("The board goes on meanwhile: Tab shows it, o comes back here.");
        }
    }

    fn figures(&self) {
        let flow = self.reached.flow();
        let heard = flow.heard.map_or_else(String::new, |at| {
            format!(", heard {} ago", span(self.desk.now().since(at)))
        });
        self.talk.progress(say::figures(flow.traffic) + &heard);
    }
}

fn no_way(why: NoWay, place: &Place) -> String {
    match why {
        NoWay::Locked => "The show lock is on: nothing is sent any more.".to_owned(),
        NoWay::Taken => {
            "Every address that was borrowed is taken by somebody else.\nnext step: wait a minute and try \
                         again; if it stays so, ask who runs this network"
                .to_owned()
        }
        NoWay::NoAddress => format!(
            "No free address could be borrowed to speak to {}.\nnext step: wait a minute and try again; if it stays \
             so, ask who runs this network",
            place.address
        ),
    }
}
