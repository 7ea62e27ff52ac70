//! The deed's side of the talk with the user.

use std::fmt;
use std::sync::Arc;

use ledger::Snapshot;
use tokio::sync::{mpsc, oneshot};
use zeroize::Zeroizing;

use super::host::Host;
use super::stop::{Stop, StopSign};
use super::wish::Wish;
use crate::journal::Action;

/// Something that a deed says. The host shows it.
#[derive(Debug)]
pub(crate) enum Said {
    /// A result: one or several whole lines.
    Line(String),
    /// A caution, a trouble, a remark: one or several whole lines.
    Aside(String),
    /// How far it is, in place of what was shown before; empty takes it away.
    Progress(String),
    /// What is to be read from afar, one or two short lines, in place of what was shown before; empty takes it
    /// away. Where there are no large letters it is left out: all of it is said otherwise too.
    Call(String),
    /// A question that waits for its answer.
    Question(Question),
    /// What it did, for the journal.
    Action(Action),
}

/// How an answer is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    /// Yes or no; whatever is no clear yes is a no.
    YesNo,
    /// This word, letter by letter, for what moves or cannot be undone; all else is a no.
    Word(&'static str),
    /// A line of text.
    Text,
    /// A line that nobody may read over a shoulder.
    Secret,
    /// Something that can be had by one key for as long as it goes on, called so. A host may leave it out.
    Offer(&'static str),
}

/// A question and the way back for its answer.
#[derive(Debug)]
pub(crate) struct Question {
    /// What is asked, one or several lines.
    pub text: String,
    /// How it is answered.
    pub form: Form,
    tell: oneshot::Sender<Option<Zeroizing<String>>>,
}

impl Question {
    /// Answers it: with the line that was typed, which may be a secret.
    pub(crate) fn answer(self, line: impl Into<Zeroizing<String>>) {
        let _ = self.tell.send(Some(line.into()));
    }

    /// There is nobody to answer it.
    pub(crate) fn nobody(self) {
        let _ = self.tell.send(None);
    }

    /// Whether the deed does not want to know any more.
    pub(crate) fn is_over(&self) -> bool {
        self.tell.is_closed()
    }
}

/// A word that is never shown, written or told, and wiped when it is dropped.
#[derive(Clone, PartialEq, Eq)]
pub(crate) struct Secret(Zeroizing<String>);

impl Secret {
    /// The word itself, for whoever has to say it to a device.
    pub(crate) fn expose(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(..)")
    }
}

/// The deed's handle on the user.
///
/// Every question ends with [`Stop`] when the deed is to end, so that `?` brings a deed to its last part, where
/// it puts back what it changed.
#[derive(Debug, Clone)]
pub(crate) struct Talk {
    pub(super) wishes: mpsc::UnboundedSender<Wish>,
    pub(super) sign: StopSign,
    pub(super) host: Host,
}

impl Talk {
    /// Who carries the deed out.
    pub(crate) const fn host(&self) -> Host {
        self.host
    }

    /// Tells a result, one or several lines.
    pub(crate) fn say(&self, text: impl Into<String>) {
        self.put(Said::Line(text.into()));
    }

    /// Tells a caution, a trouble or a remark, one or several lines. A trouble ends in a next step.
    pub(crate) fn aside(&self, text: impl Into<String>) {
        self.put(Said::Aside(text.into()));
    }

    /// Tells how far it is, in one short line that takes the place of the last; an empty one takes it away.
    pub(crate) fn progress(&self, text: impl Into<String>) {
        self.put(Said::Progress(text.into()));
    }

    /// Shows what is to be read from afar, one or two short lines; empty takes it away.
    pub(crate) fn call(&self, text: impl Into<String>) {
        self.put(Said::Call(text.into()));
    }

    /// Asks for yes or no; whatever is no clear yes is a no.
    ///
    /// # Errors
    /// The deed is to end.
    pub(crate) async fn agree(&self, question: impl Into<String>) -> Result<bool, Stop> {
        let line = self.ask(Form::YesNo, question.into()).await?;
        Ok(matches!(line.trim(), "y" | "Y" | "yes"))
    }

    /// Asks for `word`, typed letter by letter: for what moves, or cannot be undone.
    ///
    /// # Errors
    /// The deed is to end.
    pub(crate) async fn typed(&self, word: &'static str, question: impl Into<String>) -> Result<bool, Stop> {
        let line = self.ask(Form::Word(word), question.into()).await?;
        Ok(line.trim() == word)
    }

    /// Asks for a line of text; it comes without its end, and may be empty. What a deed does with it must bound
    /// it. Whoever drops the future takes the question back.
    ///
    /// # Errors
    /// The deed is to end.
    pub(crate) async fn line(&self, question: impl Into<String>) -> Result<String, Stop> {
        let line = self.ask(Form::Text, question.into()).await?;
        Ok(line.as_str().to_owned())
    }

    /// Asks for a secret, which is not shown while it is typed.
    ///
    /// # Errors
    /// The deed is to end.
    pub(crate) async fn secret(&self, question: impl Into<String>) -> Result<Secret, Stop> {
        self.ask(Form::Secret, question.into()).await.map(Secret)
    }

    /// Offers something by one key, called so; returns each time that somebody takes it, and is to be called anew.
    ///
    /// # Errors
    /// The deed is to end.
    pub(crate) async fn offer(&self, what: &'static str) -> Result<(), Stop> {
        self.ask(Form::Offer(what), String::new()).await.map(drop)
    }

    /// The head count as it is now.
    ///
    /// # Errors
    /// The deed is to end.
    pub(crate) async fn snapshot(&self) -> Result<Arc<Snapshot>, Stop> {
        self.look(None).await.map(|(_, snapshot)| snapshot)
    }

    /// The head count once it is other than at `revision`, which is then the new one; 0 at first.
    ///
    /// # Errors
    /// The deed is to end.
    pub(crate) async fn next_snapshot(&self, revision: &mut u64) -> Result<Arc<Snapshot>, Stop> {
        let (new, snapshot) = self.look(Some(*revision)).await?;
        *revision = new;
        Ok(snapshot)
    }

    /// Writes into the journal what was done.
    pub(crate) fn note(&self, action: Action) {
        self.put(Said::Action(action));
    }

    /// Whether the deed is to end, and why.
    pub(crate) fn stop(&self) -> Option<Stop> {
        self.sign.now()
    }

    /// Until the deed is to end.
    pub(crate) async fn stopped(&self) -> Stop {
        self.sign.wait().await
    }

    /// What comes of `work`, unless the deed is to end before.
    ///
    /// # Errors
    /// The deed is to end.
    pub(crate) async fn unless_stopped<T>(&self, work: impl Future<Output = T>) -> Result<T, Stop> {
        tokio::select! {
            biased;
            stop = self.stopped() => Err(stop),
            done = work => Ok(done),
        }
    }

    async fn ask(&self, form: Form, text: String) -> Result<Zeroizing<String>, Stop> {
        let (tell, told) = oneshot::channel();
        self.put(Said::Question(Question { text, form, tell }));
        match self.unless_stopped(told).await? {
            Ok(Some(line)) => Ok(line),
            Ok(None) => Err(Stop::NobodyToAsk),
            // The host is gone.
            Err(_) => Err(Stop::Interrupted),
        }
    }

    async fn look(&self, than: Option<u64>) -> Result<(u64, Arc<Snapshot>), Stop> {
        let (tell, told) = oneshot::channel();
        let _ = self.wishes.send(Wish::Look(than, tell));
        self.unless_stopped(told).await?.map_err(|_| Stop::Interrupted)
    }

    fn put(&self, said: Said) {
        let _ = self.wishes.send(Wish::Say(said));
    }
}
