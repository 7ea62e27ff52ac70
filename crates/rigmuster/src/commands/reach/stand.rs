//! The tunnel while it stands.

use std::io::{self, Write};
use std::net::Ipv4Addr;
use std::time::Duration;

use sweep::TunnelNews;
use tokio::sync::mpsc;
use vocab::{ControlPort, Moment};

use super::super::deed;
use super::super::interrupt::Interrupt;
use super::super::open::Run;
use super::say::{self, Figures};
use crate::hands::Place;
use crate::journal::Recorder;
use crate::tunnel::{Hall, Opened, Pump, Wanted};
use crate::{Exit, Failure};

/// Addresses that others may take from it before it gives up.
const TAKEN_MAX: usize = 5;

/// How it is to stand.
#[derive(Debug, Clone, Copy)]
pub(super) struct How {
    /// The device's page is opened in the browser.
    pub open: bool,
    /// It ends after so long by itself.
    pub span: Option<Duration>,
}

/// Why it ended.
enum End {
    /// Somebody ended it, or its time was over.
    Asked(&'static str),
    /// No control port works.
    NoPort,
    /// There is no address to speak from.
    NoAddress(String),
}

struct Standing<'a> {
    run: &'a mut Run,
    how: How,
    place: Place,
    ports: Vec<Wanted>,
    journal: Recorder,
    pump: Pump,
    hall: Hall,
    figures: Figures,
    /// Where it speaks from now.
    from: Option<Ipv4Addr>,
    /// How often its address was taken.
    taken: usize,
    /// Control ports of which it is known what came of them, and those that work.
    told: usize,
    works: usize,
    /// Whether the doors were told to open, and the page was shown.
    begun: bool,
    shown: bool,
}

/// Borrows an address, opens the doors, and carries until it is ended.
pub(super) async fn stand(
    run: &mut Run,
    how: How,
    place: Place,
    ports: Vec<Wanted>,
    journal: Recorder,
    mut interrupt: Interrupt,
) -> Result<Exit, Failure> {
    let (pump, desk) = Pump::new();
    let (tell, mut news) = mpsc::unbounded_channel();
    let now = run.source.now();
    let peer = place.peer();
    let ranges = run.ledger.lendable(place.leg, place.address);
    run.source.open_tunnel(place.leg, peer, ranges);
    let mut standing = Standing {
        hall: Hall::new(desk, place.address, tell),
        run,
        how,
        place,
        ports,
        journal,
        pump,
        figures: Figures::new(now),
        from: None,
        taken: 0,
        told: 0,
        works: 0,
        begun: false,
        shown: false,
    };
    standing.greet()?;
    let end = standing.carry(&mut interrupt, &mut news).await?;
    standing.part(end).await
}

impl Standing<'_> {
    fn now(&self) -> Moment {
        self.run.source.now()
    }

    fn greet(&mut self) -> Result<(), Failure> {
        let place = &self.place;
        let shared = if place.shared {
            ", which it shares with others"
        } else {
            ""
        };
        super::super::print(&format!("{} is at {}{shared}\n", place.called(), place.address))?;
        deed::warn_of_forwarding(self.run, place.leg);
        Ok(())
    }

    /// Carries until there is a reason to end.
    async fn carry(
        &mut self,
        interrupt: &mut Interrupt,
        news: &mut mpsc::UnboundedReceiver<(ControlPort, Opened)>,
    ) -> Result<End, Failure> {
        let end_at = self.how.span.map(|span| self.now() + span);
        loop {
            if let Some(end) = self.hear()? {
                return Ok(end);
            }
            while let Ok((port, opened)) = news.try_recv() {
                self.tell(port, &opened)?;
            }
            if self.told == self.ports.len() && self.works == 0 {
                return Ok(End::NoPort);
            }
            let now = self.now();
            if end_at.is_some_and(|at| now >= at) {
                return Ok(End::Asked("its time was over"));
            }
            let given = self
                .pump
                .turn(now, self.run.source.carrier(self.place.leg, self.place.peer()));
            // What is seen besides is of no interest now; nothing is asked for it.
            while self.run.source.next_sighting().is_some() {}
            let heard = self
                .run
                .source
                .carrier(self.place.leg, self.place.peer())
                .and_then(|c| c.heard());
            if self.begun {
                self.figures.show(now, self.pump.traffic(), heard);
            }
            self.journal.go_on(now);
            if given {
                self.run.source.turn(Some(now)).await;
                // The tasks that speak with clients get their turn.
                tokio::task::yield_now().await;
            }
            let wakes = [end_at, self.pump.next_wake(), self.figures.next_wake()];
            let until = if given {
                Some(now)
            } else {
                wakes.into_iter().flatten().min()
            };
            let stirred = self.pump.stirred();
            tokio::select! {
                biased;
                () = interrupt.wait() => return Ok(End::Asked("interrupted")),
                Some((port, opened)) = news.recv() => self.tell(port, &opened)?,
                () = stirred => {}
                () = self.run.source.turn(until) => {}
            }
        }
    }

    /// Takes in what became of the address; why it must end, if it must.
    fn hear(&mut self) -> Result<Option<End>, Failure> {
        while let Some((_, news)) = self.run.source.tunnel_news(self.place.leg) {
            match news {
                TunnelNews::Stands { from, borrowed } => {
                    self.figures.clear();
                    self.from = Some(from);
                    self.stands(from, borrowed)?;
                }
                TunnelNews::Taken { from } => {
                    self.from = None;
                    self.taken += 1;
                    self.lose(&format!(
                        "{from} was taken by somebody else, who has it: all connections were ended"
                    ));
                    if self.taken > TAKEN_MAX {
                        return Ok(Some(End::NoAddress(
                            "every address that was borrowed is taken by somebody else".to_owned(),
                        )));
                    }
                }
                TunnelNews::Lost => {
                    self.from = None;
                    self.lose("the link or this computer's addresses changed: all connections were ended");
                }
                TunnelNews::NoWay => {
                    return Ok(Some(End::NoAddress(format!(
                        "no free address could be borrowed to speak to {}",
                        self.place.address
                    ))));
                }
            }
        }
        Ok(None)
    }

    fn lose(&mut self, what: &str) {
        self.pump.cut_all();
        self.figures.clear();
        let _ = writeln!(io::stderr(), "rigmuster: {what}; another address is sought");
    }

    fn stands(&mut self, from: Ipv4Addr, borrowed: bool) -> Result<(), Failure> {
        let whose = if borrowed {
            "borrowed after three probes that nobody answered"
        } else {
            "this computer's own in the simulated venue"
        };
        super::super::print(&format!("speaking from {from}, {whose}\n"))?;
        self.note(true, &format!("opened from {from}"), self.before_and_after());
        if !std::mem::replace(&mut self.begun, true) {
            let _ = writeln!(io::stderr(), "{}", say::CAUTION);
            for wanted in &self.ports {
                self.hall.open(*wanted);
            }
        }
        Ok(())
    }

    fn tell(&mut self, port: ControlPort, opened: &Opened) -> Result<(), Failure> {
        self.figures.clear();
        self.told += 1;
        self.works += usize::from(matches!(opened, Opened::Works(_)));
        super::super::print(&say::port(port, opened))?;
        if self.how.open
            && !self.shown
            && let Some(url) = say::page(port, opened)
        {
            self.shown = true;
            say::show(&url);
        }
        if self.told == self.ports.len() && self.works > 0 {
            let _ = writeln!(
                io::stderr(),
                "Ctrl-C ends it. Nothing on this computer was changed."
            );
        }
        Ok(())
    }

    fn before_and_after(&self) -> String {
        let port = |w: &Wanted| w.port.to_string();
        let ports: Vec<String> = self.ports.iter().map(port).collect();
        format!(
            "before: not reachable from here; after: {} by way of 127.0.0.1",
            ports.join(", ")
        )
    }

    fn note(&mut self, began: bool, text: &str, basis: String) {
        let now = self.now();
        let place = &self.place;
        let text = format!("reach {} at {}: {text}", place.called(), place.address);
        let action = place.action(began, text, basis);
        self.journal.act(action, now);
    }

    /// Ends it in order: connections are reset, the address is given back.
    async fn part(mut self, end: End) -> Result<Exit, Failure> {
        self.figures.clear();
        self.pump.cut_all();
        self.run.source.close_tunnel(self.place.leg, self.place.peer());
        // Resets leave in one turn; what the link does not take then is of no use later.
        let now = self.now();
        self.run.source.turn(Some(now)).await;
        let went = say::total(self.pump.traffic());
        let why = match &end {
            End::Asked(why) => why,
            End::NoPort => "no control port works",
            End::NoAddress(why) => why.as_str(),
        };
        if self.begun {
            let back = self
                .from
                .map_or_else(String::new, |from| format!(", {from} given back"));
            let after =
                "before: open; after: as it was, nothing was changed on the device or here".to_owned();
            self.note(false, &format!("ended ({why}){back}; {went}"), after);
            let _ = writeln!(io::stderr(), "rigmuster: ended ({why}){back}\n  {went}");
        }
        let now = self.now();
        if let Some(trouble) = self.journal.finish(now) {
            let _ = writeln!(io::stderr(), "rigmuster: {trouble}");
        }
        match end {
            End::Asked(_) if self.begun => Ok(Exit::Done),
            End::Asked(_) => Ok(Exit::Interrupted),
            End::NoPort => {
                let _ = writeln!(
                    io::stderr(),
                    "next step: look whether the device has started, or name another port: --control http:8080"
                );
                Ok(Exit::NotReady)
            }
            End::NoAddress(why) => Err(Failure::link(format_args!(
                "{why}\nnext step: wait a minute and try again; if it stays so, ask who runs this network"
            ))),
        }
    }
}
