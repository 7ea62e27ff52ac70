//! The walk itself, over the handles of a deed.

use std::collections::BTreeSet;
use std::future::poll_fn;
use std::pin::Pin;
use std::task::Poll;
use std::time::Duration;

use ledger::Snapshot;
use tokio::sync::{mpsc, watch};
use vocab::{LinkState, Moment};
use wire::visca::Framing;

use super::eye::{Eye, Glimpse};
use super::map::{Channel, Map};
use super::proof::{Ask, Next, Proof, Verdict, Word};
use super::watch::{Outcome, Step, Watch, pause};
use super::{answer, say};
use crate::hands::{Desk, End, Place, Sight, Stop, Talk, Whom};
use crate::journal::Action;

/// So long it is waited at first for heads to tell where they point.
const FIRST: Duration = Duration::from_secs(6);
/// So long after all are seen others at their addresses may still answer.
const OTHERS: Duration = Duration::from_secs(1);
/// A link that carries nothing for so long is down.
const DOWN: Duration = Duration::from_secs(3);
/// So often a push may be asked for on one channel.
const PUSHES: usize = 12;
/// So often an answer may be none of those that were offered.
const PUZZLES: usize = 5;

/// Said of a name that nobody has.
const NOBODY: &str =
    "No head of this rig is called so. -> Answer a letter, or a name as the rig file has it.";

/// Walks the channels of a panel.
/// `played`: in a rehearsal, where somebody pushes the sticks by himself.
pub(crate) async fn walk(desk: Desk, talk: Talk, map: Map, within: Duration, played: bool) -> End {
    talk.aside(say::plan(&map, &say::rate(pause(map.heads.len()))));
    if played {
        talk.aside("A rehearsal: somebody at the panel pushes each stick soon after it is asked for.");
    }
    talk.aside(say::CAUTION);
    match talk.agree("Is everybody clear of the heads? Begin").await {
        Ok(true) => {}
        Ok(false) => {
            talk.aside("Nothing was sent to any head.");
            return End::Declined;
        }
        Err(stop) => return End::Stopped(stop),
    }
    let places = match find(&desk, &talk, &map, within).await {
        Ok(places) => places,
        Err(stop) => return End::Stopped(stop),
    };
    let (open, opened) = watch::channel(true);
    let (tell, glimpses) = mpsc::unbounded_channel();
    let mut blind: Vec<(usize, String)> = Vec::new();
    let mut eyes = Vec::new();
    for (head, place) in places.into_iter().enumerate() {
        match eye(&map, head, place, desk.now()) {
            Ok(eye) => eyes.push(eye.look(desk.clone(), opened.clone(), tell.clone())),
            Err(why) => blind.push((head, why)),
        }
    }
    let course = Course {
        desk,
        talk: talk.clone(),
        blind: BTreeSet::new(),
        restless: BTreeSet::new(),
        glimpses,
        open,
        results: Vec::new(),
        map,
    };
    tokio::select! {
        biased;
        end = course.go(blind) => end,
        never = all(eyes) => match never {},
    }
}

/// Lets all of them go on for ever.
async fn all(eyes: Vec<impl Future<Output = ()>>) -> std::convert::Infallible {
    let mut eyes: Vec<Option<Pin<Box<_>>>> = eyes.into_iter().map(|eye| Some(Box::pin(eye))).collect();
    poll_fn(|context| {
        for eye in &mut eyes {
            if eye
                .as_mut()
                .is_some_and(|eye| eye.as_mut().poll(context).is_ready())
            {
                *eye = None;
            }
        }
        Poll::Pending
    })
    .await
}

/// Where each head is, as far as that is seen in time; else why not.
async fn find(
    desk: &Desk,
    talk: &Talk,
    map: &Map,
    within: Duration,
) -> Result<Vec<Result<Place, String>>, Stop> {
    let deadline = desk.now() + within;
    let mut revision = 0;
    let mut shown = None;
    let mut all_since: Option<Moment> = None;
    loop {
        let until = all_since.map_or(deadline, |at| (at + OTHERS).min(deadline));
        let snapshot = tokio::select! {
            biased;
            snapshot = talk.next_snapshot(&mut revision) => snapshot?,
            () = desk.wait_until(until) => talk.snapshot().await?,
        };
        let now = desk.now();
        let sights: Vec<Sight> = map
            .heads
            .iter()
            .map(|head| Whom::Device(head.name.clone()).look(&snapshot))
            .collect();
        let missing = sights.iter().filter(|s| **s == Sight::Nothing).count();
        if shown != Some(missing) {
            shown = Some(missing);
            let (all, found) = (sights.len(), sights.len() - missing);
            talk.progress(format!("Looking for the heads: {found} of {all} ..."));
        }
        all_since = all_since.or(Some(now)).filter(|_| missing == 0);
        if now >= deadline || all_since.is_some_and(|at| now >= at + OTHERS) {
            talk.progress("");
            return Ok(sights.into_iter().map(place).collect());
        }
    }
}

fn place(sight: Sight) -> Result<Place, String> {
    match sight {
        Sight::There(place) => Ok(place),
        Sight::Nothing => Err("is not seen on the network".to_owned()),
        Sight::Several(address, _) => Err(format!("shares its address {address} with another")),
        Sight::Other(_, mac) => Err(format!("is not seen; {mac} is at its address")),
    }
}

fn eye(map: &Map, head: usize, place: Result<Place, String>, now: Moment) -> Result<Eye, String> {
    let place = place?;
    let port = map.heads.get(head).and_then(|h| h.port);
    let Some((port, framing)) = port.and_then(|p| Some((p, Framing::of(p.word)?))) else {
        return Err("has no VISCA port in the rig file".to_owned());
    };
    // Far from where another asker's numbers may be, and another at each run.
    let first = (now.as_nanos() as u32).rotate_left(16) ^ u32::from(place.address);
    Ok(Eye {
        head,
        place,
        port,
        framing,
        first,
        pause: pause(map.heads.len()),
    })
}

/// Until no link of this computer has carried anything for a while.
async fn no_link(desk: Desk, talk: Talk) {
    let mut revision = 0;
    loop {
        let Ok(mut snapshot) = talk.next_snapshot(&mut revision).await else {
            return std::future::pending().await;
        };
        if carries(&snapshot) {
            continue;
        }
        desk.wait(DOWN).await;
        match talk.snapshot().await {
            Ok(later) => snapshot = later,
            Err(_) => return std::future::pending().await,
        }
        if !carries(&snapshot) {
            return;
        }
    }
}

/// Whether any link of this computer carries, or is not known.
fn carries(snapshot: &Snapshot) -> bool {
    let others = snapshot.networks.iter().filter_map(|n| n.station.as_ref());
    let mut all = snapshot.station.iter().chain(others).peekable();
    all.peek().is_none() || all.any(|station| station.state == LinkState::Up)
}

/// What came of one push.
enum Pushed {
    /// This was read.
    Read(Outcome),
    /// The person says so.
    Said(Word, Outcome),
    /// Nobody pushed in all the time.
    Nobody,
    /// The person wants to push once more.
    Again,
    /// The person leaves the channel out.
    Skip,
    /// The person ends the walk.
    End,
}

/// What came of a channel.
enum Came {
    Verdict(Verdict),
    End,
}

struct Course {
    desk: Desk,
    talk: Talk,
    map: Map,
    /// The heads that cannot be read.
    blind: BTreeSet<usize>,
    /// Those that moved by themselves when they were watched last.
    restless: BTreeSet<usize>,
    glimpses: mpsc::UnboundedReceiver<(usize, Glimpse)>,
    /// Whether the eyes are to look.
    open: watch::Sender<bool>,
    results: Vec<(usize, Verdict)>,
}

impl Course {
    async fn go(mut self, blind: Vec<(usize, String)>) -> End {
        let no_link = no_link(self.desk.clone(), self.talk.clone());
        let (stop, lost) = tokio::select! {
            biased;
            walked = self.walk(blind) => (walked.err(), false),
            () = no_link => (None, true),
        };
        self.open.send_replace(false);
        self.talk.progress("");
        self.talk.call("");
        if lost {
            self.talk.aside(say::NO_LINK);
        }
        let all = self.results.len();
        let proven = |(_, verdict): &&(usize, Verdict)| matches!(verdict, Verdict::Proven(_));
        let proven = self.results.iter().filter(proven).count();
        if all > 0 {
            self.talk
                .say(say::sheet(&self.map, &self.results, self.talk.host()));
        }
        let channels = say::count(self.map.channels.len(), "channel");
        self.note(
            false,
            format!("walk {}: ended; {proven} of {channels} proven", self.map.panel),
            "before and after: only positions were asked for; no setting was changed",
        );
        match stop {
            Some(stop) => End::Stopped(stop),
            None if proven == self.map.channels.len() => End::Done,
            None => End::Failed,
        }
    }

    async fn walk(&mut self, blind: Vec<(usize, String)>) -> Result<(), Stop> {
        for (head, why) in blind {
            self.tell_blind(head, &why);
        }
        self.note(
            true,
            format!(
                "walk {}: begun, {}",
                self.map.panel,
                say::count(self.map.channels.len(), "channel")
            ),
            "before: not walked; only inquiries of pan-tilt positions are sent",
        );
        self.first_look().await?;
        for (place, channel) in self.map.channels.clone().into_iter().enumerate() {
            match self.channel(&channel).await? {
                Came::End => break,
                Came::Verdict(verdict) => self.settle(place, &channel, verdict),
            }
        }
        Ok(())
    }

    /// Waits until each head has told where it points, or does not.
    async fn first_look(&mut self) -> Result<(), Stop> {
        let mut seen: BTreeSet<usize> = BTreeSet::new();
        let deadline = self.desk.now() + FIRST;
        self.talk.progress("Asking the heads where they point ...");
        while seen.union(&self.blind).count() < self.map.heads.len() {
            let glimpse = tokio::select! {
                biased;
                stop = self.talk.stopped() => return Err(stop),
                glimpse = self.glimpses.recv() => glimpse,
                () = self.desk.wait_until(deadline) => None,
            };
            match glimpse {
                Some((head, Glimpse::At(..))) => drop(seen.insert(head)),
                Some((head, Glimpse::Blind(why))) => self.tell_blind(head, &why),
                Some((_, Glimpse::Missed)) => {}
                None => break,
            }
        }
        self.open.send_replace(false);
        self.talk.progress("");
        for head in 0..self.map.heads.len() {
            if !seen.contains(&head) && !self.blind.contains(&head) {
                self.tell_blind(head, "does not answer where it points");
            }
        }
        let told = self.map.heads.len() - self.blind.len();
        self.talk.aside(if self.blind.is_empty() {
            format!("{} told where they point.", say::count(told, "head"))
        } else {
            format!(
                "{} told where they point; of the others you will be asked.",
                say::count(told, "head")
            )
        });
        Ok(())
    }

    fn tell_blind(&mut self, head: usize, why: &str) {
        if self.blind.insert(head) {
            self.talk.progress("");
            self.talk
                .aside(format!("{} cannot be read: it {why}.", self.map.name(head)));
        }
    }

    async fn channel(&mut self, channel: &Channel) -> Result<Came, Stop> {
        let mut proof = Proof::new(channel.head, self.blind.clone());
        for _ in 0..PUSHES {
            let next = match self.push(channel).await? {
                Pushed::Read(outcome) => proof.push(&outcome),
                Pushed::Said(Word::No, outcome) => match proof.push(&outcome) {
                    // That was asked and answered.
                    Next::Ask(Ask::Unread) => Next::Done(proof.word(Word::No)),
                    next => next,
                },
                Pushed::Said(word, _) => Next::Done(proof.word(word)),
                Pushed::Nobody => {
                    self.talk.aside("Nobody pushed the stick for five minutes.");
                    Next::Done(Verdict::Skipped)
                }
                Pushed::Again => continue,
                Pushed::Skip => Next::Done(Verdict::Skipped),
                Pushed::End => return Ok(Came::End),
            };
            match next {
                Next::Done(verdict) => return Ok(Came::Verdict(verdict)),
                Next::Again(moved) => self.talk.aside(format!(
                    "{} moved, and the file says {}. Once more, to be sure.",
                    say::names(&self.map, &moved),
                    self.map.name(channel.head)
                )),
                Next::Ask(ask) => match self.ask(channel, &ask).await? {
                    answer::Said::Word(word) => return Ok(Came::Verdict(proof.word(word))),
                    answer::Said::Skip => return Ok(Came::Verdict(Verdict::Skipped)),
                    answer::Said::End => return Ok(Came::End),
                    answer::Said::Again | answer::Said::Unknown => {}
                },
            }
        }
        Ok(Came::Verdict(Verdict::Unclear))
    }

    /// Reads all heads around one push. The eyes look only meanwhile.
    async fn push(&mut self, channel: &Channel) -> Result<Pushed, Stop> {
        while self.glimpses.try_recv().is_ok() {}
        self.open.send_replace(true);
        let pushed = self.watch(channel).await;
        self.open.send_replace(false);
        self.talk.progress("");
        self.talk.call("");
        pushed
    }

    async fn watch(&mut self, channel: &Channel) -> Result<Pushed, Stop> {
        let (desk, talk) = (self.desk.clone(), self.talk.clone());
        let mut watch = Watch::new(self.map.heads.len(), desk.now());
        self.blind.iter().for_each(|head| watch.blind(*head));
        watch.know_restless(&self.restless);
        let mut outcome = Outcome::default();
        let mut question = None;
        let every = pause(self.map.heads.len());
        talk.progress(format!(
            "Channel {}: waiting until all heads stand still ...",
            channel.number
        ));
        loop {
            match watch.step(desk.now()) {
                Step::On => {}
                Step::Push(restless) => {
                    for head in restless.difference(&self.restless) {
                        talk.aside(format!(
                            "{} moves by itself, so its movement proves nothing.",
                            self.map.name(*head)
                        ));
                    }
                    for head in watch.lost() {
                        self.tell_blind(head, "does not answer any more");
                    }
                    self.restless.clone_from(&restless);
                    outcome.restless.clone_from(&restless);
                    talk.call(format!("Push the stick\non channel {}", channel.number));
                    let unread = restless.contains(&channel.head) || self.blind.contains(&channel.head);
                    let text = self.prompt(channel, unread);
                    let talk = talk.clone();
                    question = Some(Box::pin(async move { talk.line(text).await }));
                    desk.play_push(&self.map.panel, channel.number);
                }
                Step::Moves(heads) => {
                    question = None;
                    talk.call("Let go\nof the stick");
                    talk.progress(format!(
                        "{} moves. Let go of the stick ...",
                        say::names(&self.map, &heads)
                    ));
                }
                // By the clock, and nobody said a word.
                Step::Over(over) if over.moved.is_empty() => {
                    let Some(open) = question.take() else {
                        return Ok(Pushed::Nobody);
                    };
                    if over.lost.len() + over.restless.len() < self.map.heads.len() {
                        return Ok(Pushed::Nobody);
                    }
                    // Nothing can be read: what the person says counts.
                    return Ok(self.said(&open.await?, over));
                }
                Step::Over(over) => {
                    if over.moving {
                        talk.aside(format!(
                            "{} still moves. Let go of the stick.",
                            say::names(&self.map, &over.moved)
                        ));
                    }
                    return Ok(Pushed::Read(over));
                }
            }
            let answered = async {
                match &mut question {
                    Some(open) => open.await,
                    None => std::future::pending().await,
                }
            };
            tokio::select! {
                biased;
                stop = talk.stopped() => return Err(stop),
                line = answered => {
                    outcome.lost = watch.lost();
                    return Ok(self.said(&line?, outcome));
                }
                glimpse = self.glimpses.recv() => match glimpse {
                    Some((head, Glimpse::At(at, position))) => watch.read(head, at, position),
                    Some((head, Glimpse::Missed)) => watch.miss(head),
                    Some((head, Glimpse::Blind(why))) => {
                        self.tell_blind(head, &why);
                        watch.blind(head);
                    }
                    None => desk.wait(every).await,
                },
                () = desk.wait(every) => {}
            }
        }
    }

    fn prompt(&self, channel: &Channel, unread: bool) -> String {
        let (number, name) = (channel.number, self.map.name(channel.head));
        if unread {
            format!(
                "\nChannel {number}: push its stick a little, then let go. Does {name} move?\n  \
                 y: yes   n: nothing moves   or the name of what moves   s: skip   e: end\n>"
            )
        } else {
            format!(
                "\nChannel {number} ({name}): push its stick a little, then let go.\n  \
                 Enter: pushed, and nothing moves   s: skip   e: end\n>"
            )
        }
    }

    /// Takes in what the person said while a push was waited for.
    fn said(&self, line: &str, outcome: Outcome) -> Pushed {
        match answer::read(line, &self.map) {
            answer::Said::Word(word) => Pushed::Said(word, outcome),
            answer::Said::Skip => Pushed::Skip,
            answer::Said::End => Pushed::End,
            answer::Said::Again => Pushed::Again,
            answer::Said::Unknown => {
                self.talk.aside(NOBODY);
                Pushed::Again
            }
        }
    }

    async fn ask(&mut self, channel: &Channel, ask: &Ask) -> Result<answer::Said, Stop> {
        let name = self.map.name(channel.head);
        let question = match ask {
            Ask::Unread => format!("Did {name} move on channel {}?", channel.number),
            Ask::Unseen(heads) => format!(
                "No head that can be read moved. Did one of these: {}?",
                say::names(&self.map, heads)
            ),
            Ask::Muddle(heads) => format!(
                "Other heads moved each time ({}). Which does channel {} drive?",
                say::names(&self.map, heads),
                channel.number
            ),
        };
        let keys = "  y: it did   n: nothing did   or a name   a: push again   s: skip   e: end\n>";
        for _ in 0..PUZZLES {
            let line = self.talk.line(format!("\n{question}\n{keys}")).await?;
            match answer::read(&line, &self.map) {
                answer::Said::Unknown => {
                    self.talk.aside(NOBODY);
                }
                said => return Ok(said),
            }
        }
        Ok(answer::Said::Skip)
    }

    fn settle(&mut self, place: usize, channel: &Channel, verdict: Verdict) {
        let result = say::result(&self.map, channel, &verdict);
        self.talk.say(format!("  channel {}  {result}", channel.number));
        self.talk.call(say::from_afar(channel, &verdict));
        for line in say::advice(&self.map, channel, &verdict, self.talk.host()) {
            self.talk.say(format!("      {line}"));
        }
        if verdict != Verdict::Skipped {
            self.note(
                false,
                format!(
                    "{}{result}",
                    rig::sheet::walked::begins(&self.map.panel, channel.number)
                ),
                "after: only positions were asked for; no setting was changed",
            );
        }
        self.results.push((place, verdict));
    }

    fn note(&self, began: bool, text: String, basis: &str) {
        self.talk.note(Action {
            began,
            device: Some(self.map.panel.clone()),
            mac: None,
            address: None,
            text,
            basis: basis.to_owned(),
        });
    }
}
