//! The small programs of `tests/tools`, and what they tell line by line.

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use crate::{PATIENCE, top};

/// A tool that runs beside the test. Dropping it ends it.
#[derive(Debug)]
pub struct Tool {
    said: String,
    child: Child,
    input: Option<ChildStdin>,
    lines: Receiver<String>,
    heard: Vec<String>,
}

impl Tool {
    /// Starts `words` and waits until it prints `ready`.
    #[track_caller]
    pub fn start(words: &[String]) -> Self {
        let said = words.join(" ");
        let mut child = Command::new(&words[0])
            .args(&words[1..])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap_or_else(|e| panic!("{said} cannot be started: {e}"));
        let input = child.stdin.take();
        let from = BufReader::new(child.stdout.take().expect("a pipe was asked for"));
        let (tell, lines) = channel();
        thread::spawn(move || {
            for line in from.lines().map_while(Result::ok) {
                if tell.send(line).is_err() {
                    break;
                }
            }
        });
        let mut tool = Self {
            said,
            child,
            input,
            lines,
            heard: Vec::new(),
        };
        tool.wait("ready", |line| line == "ready");
        tool
    }

    /// Its process id.
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// Waits for a line; lines that were heard before count too.
    ///
    /// # Panics
    /// If it does not come in time.
    #[track_caller]
    pub fn wait(&mut self, what: &str, wanted: impl Fn(&str) -> bool) -> String {
        self.wait_many(what, 1, wanted).swap_remove(0)
    }

    /// Waits for the first `count` lines of a kind.
    #[track_caller]
    pub fn wait_many(&mut self, what: &str, count: usize, wanted: impl Fn(&str) -> bool) -> Vec<String> {
        let deadline = Instant::now() + PATIENCE;
        let mut found: Vec<String> = self
            .heard
            .iter()
            .filter(|l| wanted(l))
            .take(count)
            .cloned()
            .collect();
        while found.len() < count {
            match self
                .lines
                .recv_timeout(deadline.saturating_duration_since(Instant::now()))
            {
                Ok(line) => {
                    if wanted(&line) {
                        found.push(line.clone());
                    }
                    self.heard.push(line);
                }
                Err(RecvTimeoutError::Timeout) => {
                    panic!(
                        "{}\ndid not tell {what} ({} of {count}); it told:\n{}",
                        self.said,
                        found.len(),
                        self.tail()
                    );
                }
                Err(RecvTimeoutError::Disconnected) => {
                    panic!(
                        "{}\nended before it told {what}; it told:\n{}",
                        self.said,
                        self.tail()
                    );
                }
            }
        }
        found
    }

    /// All lines up to now, and those that still come within `quiet` of the last.
    pub fn drain(&mut self, quiet: Duration) -> &[String] {
        while let Ok(line) = self.lines.recv_timeout(quiet) {
            self.heard.push(line);
        }
        &self.heard
    }

    /// All lines up to now.
    pub fn heard(&mut self) -> &[String] {
        self.heard.extend(self.lines.try_iter());
        &self.heard
    }

    /// Gives it a line.
    #[track_caller]
    pub fn say(&mut self, line: &str) {
        let input = self.input.as_mut().expect("its input is open");
        writeln!(input, "{line}")
            .and_then(|()| input.flush())
            .expect("the tool listens");
    }

    fn tail(&self) -> String {
        let from = self.heard.len().saturating_sub(60);
        self.heard[from..].join("\n")
    }
}

impl Drop for Tool {
    fn drop(&mut self) {
        self.input = None;
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The words that start one of our Python tools.
pub fn python(name: &str, args: &[&str]) -> Vec<String> {
    let script = top().join("tests/tools").join(name);
    ["python3", "-B", &script.display().to_string()]
        .iter()
        .chain(args)
        .map(ToString::to_string)
        .collect()
}
