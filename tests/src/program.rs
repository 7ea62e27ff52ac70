//! The program as a person runs it: arguments in, exit code and text out, in bounded time.

use std::ffi::OsString;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::sync::mpsc::channel;
use std::thread;
use std::time::Duration;

use serde_json::Value;

use crate::{PATIENCE, top};

/// Every command that there is.
pub const COMMANDS: [&str; 16] = [
    "board",
    "check",
    "survey",
    "plan",
    "enroll",
    "rehearse",
    "compare",
    "journal",
    "budget",
    "sheet",
    "reach",
    "wink",
    "readdress",
    "schema",
    "completions",
    "manual",
];

/// The program under test: `RIGMUSTER_BIN`, else the workspace's own, built once.
pub fn bin() -> &'static Path {
    static BIN: OnceLock<PathBuf> = OnceLock::new();
    BIN.get_or_init(|| std::env::var_os("RIGMUSTER_BIN").map_or_else(build, PathBuf::from))
}

fn build() -> PathBuf {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| OsString::from("cargo"));
    let out = Command::new(cargo)
        .args(["build", "-p", "rigmuster", "--message-format", "json"])
        .current_dir(top())
        .stderr(Stdio::inherit())
        .output()
        .expect("cargo runs");
    assert!(out.status.success(), "the program does not build");
    String::from_utf8_lossy(&out.stdout)
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .find_map(|message| message["executable"].as_str().map(PathBuf::from))
        .expect("cargo tells where the program is")
}

/// A run that is about to begin.
#[derive(Debug)]
pub struct Call {
    command: Command,
    said: String,
    input: Option<Vec<u8>>,
    limit: Duration,
}

/// How a run ended.
#[derive(Debug)]
pub struct Outcome {
    /// What was run, for messages.
    pub said: String,
    /// The exit code; `None` if a signal ended it.
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Call {
    /// The program with these arguments.
    pub fn program<S: AsRef<str>>(args: &[S]) -> Self {
        let bin = bin().display().to_string();
        Self::of(std::iter::once(bin.as_str()).chain(args.iter().map(AsRef::as_ref)))
    }

    /// Any command.
    pub fn of<'a>(words: impl IntoIterator<Item = &'a str>) -> Self {
        let words: Vec<&str> = words.into_iter().collect();
        let mut command = Command::new(words[0]);
        command
            .args(&words[1..])
            .env("TERM", "xterm-256color")
            .env("LC_ALL", "C.UTF-8")
            .env_remove("NO_COLOR")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        Self {
            command,
            said: words.join(" "),
            input: None,
            limit: PATIENCE,
        }
    }

    /// In this folder.
    #[must_use]
    pub fn within(mut self, folder: &Path) -> Self {
        self.command.current_dir(folder);
        self
    }

    /// With this variable of the environment.
    #[must_use]
    pub fn env(mut self, name: &str, value: &str) -> Self {
        self.command.env(name, value);
        self
    }

    /// With this on standard input.
    #[must_use]
    pub fn input(mut self, bytes: &[u8]) -> Self {
        self.command.stdin(Stdio::piped());
        self.input = Some(bytes.to_vec());
        self
    }

    /// It may take ten minutes.
    #[must_use]
    pub fn patient(mut self) -> Self {
        self.limit = Duration::from_mins(10);
        self
    }

    /// Runs it to its end.
    ///
    /// # Panics
    /// If it does not end in time; it is killed first.
    #[track_caller]
    pub fn run(mut self) -> Outcome {
        let mut child = self
            .command
            .spawn()
            .unwrap_or_else(|e| panic!("{} cannot be started: {e}", self.said));
        if let Some(bytes) = self.input.take() {
            let mut input = child.stdin.take().expect("standard input was asked for");
            // Whoever does not read to the end does not want more.
            thread::spawn(move || input.write_all(&bytes));
        }
        Running::new(child, self.said, self.limit).end()
    }

    /// Starts it with a reader of its standard output that is gone before the first byte.
    #[track_caller]
    pub fn run_without_reader(mut self) -> Outcome {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        self.command.stdout(writer);
        let child = self
            .command
            .spawn()
            .unwrap_or_else(|e| panic!("{} cannot be started: {e}", self.said));
        // The command holds the writer too.
        drop(self.command);
        Running::new(child, self.said, self.limit).end()
    }

    /// Starts it and leaves it running.
    #[track_caller]
    pub fn start(mut self) -> Running {
        let child = self
            .command
            .spawn()
            .unwrap_or_else(|e| panic!("{} cannot be started: {e}", self.said));
        Running::new(child, self.said, self.limit)
    }
}

/// A run that goes on, and whose output is taken in meanwhile. Dropping it kills it.
#[derive(Debug)]
pub struct Running {
    child: Option<Child>,
    out: Collected,
    err: Collected,
    said: String,
    limit: Duration,
}

impl Running {
    fn new(mut child: Child, said: String, limit: Duration) -> Self {
        Self {
            out: collect(child.stdout.take()),
            err: collect(child.stderr.take()),
            child: Some(child),
            said,
            limit,
        }
    }

    /// Its process id.
    pub fn pid(&self) -> u32 {
        self.child.as_ref().expect("it runs").id()
    }

    /// Whether it has not ended yet.
    pub fn goes_on(&self) -> bool {
        // One that has ended and is not waited for has no program any more.
        std::path::Path::new(&format!("/proc/{}/exe", self.pid()))
            .read_link()
            .is_ok()
    }

    /// Waits for its end.
    #[track_caller]
    pub fn end(mut self) -> Outcome {
        let mut child = self.child.take().expect("it runs");
        let pid = child.id();
        let (out, err) = (std::mem::take(&mut self.out), std::mem::take(&mut self.err));
        let said = std::mem::take(&mut self.said);
        let (tell, told) = channel();
        thread::spawn(move || tell.send(child.wait()));
        let Ok(status) = told.recv_timeout(self.limit) else {
            let _ = Command::new("kill").args(["-KILL", &pid.to_string()]).status();
            panic!(
                "{said}\ndoes not end in {} s; so far:\n{}\n{}",
                self.limit.as_secs(),
                out.join(),
                err.join()
            );
        };
        let status = status.expect("a child can be waited for");
        Outcome {
            said,
            code: status.code(),
            out: out.join(),
            err: err.join(),
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        if let Some(mut child) = self.child.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

#[derive(Debug, Default)]
struct Collected(Option<thread::JoinHandle<Vec<u8>>>);

impl Collected {
    fn join(self) -> String {
        let bytes = self.0.map(|t| t.join().unwrap_or_default()).unwrap_or_default();
        String::from_utf8_lossy(&bytes).into_owned()
    }
}

fn collect(from: Option<impl Read + Send + 'static>) -> Collected {
    Collected(from.map(|mut from| {
        thread::spawn(move || {
            let mut bytes = Vec::new();
            let _ = from.read_to_end(&mut bytes);
            bytes
        })
    }))
}

impl Outcome {
    /// Holds it to an exit code, and to having ended without a panic.
    ///
    /// # Panics
    /// If it ended otherwise, with all that it wrote.
    #[track_caller]
    pub fn expect(&self, code: i32) -> &Self {
        assert!(!self.err.contains("panicked at"), "a panic:\n{self}");
        assert_eq!(self.code, Some(code), "another exit code than expected:\n{self}");
        self
    }

    /// Holds what it wrote on standard error to these words.
    #[track_caller]
    pub fn tells(&self, words: &[&str]) -> &Self {
        for word in words {
            assert!(
                self.err.contains(word),
                "standard error does not say {word:?}:\n{self}"
            );
        }
        self
    }

    /// Its standard output as JSON.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out)
            .unwrap_or_else(|e| panic!("no JSON on standard output ({e}):\n{self}"))
    }
}

impl std::fmt::Display for Outcome {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "$ {}\n-- exit code {:?}\n-- standard output\n{}\n-- standard error\n{}",
            self.said, self.code, self.out, self.err
        )
    }
}

/// Runs the program to its end.
#[track_caller]
pub fn run(args: &[&str]) -> Outcome {
    Call::program(args).run()
}
