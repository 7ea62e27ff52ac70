//! A pseudo-terminal with the program in it: a screen that is read as a person reads it, keys, resizes, and what the terminal
//! is like before and after.
//!
//! The program is not the leader of its session: when a leader ends, the kernel hangs the terminal up and resets its modes,
//! and a terminal that the program left in disorder would look tidy. A shell leads, starts the program, reports its end, and
//! stays until the test is over.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Write};
use std::num::NonZero;
use std::os::fd::AsFd;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::thread;
use std::time::{Duration, Instant};

use nix::pty::{Winsize, openpty};
use nix::sys::signal::{Signal, kill};
use nix::sys::termios::{LocalFlags, Termios, tcgetattr};
use nix::unistd::Pid;
use rustix::io::FdFlags;
use tempfile::TempDir;

use crate::PATIENCE;
use crate::program::bin;

/// What the leading shell writes to the terminal after the program's end: an operating system command that no terminal knows
/// and that leaves no trace on the screen. When it has been read, so has all that the program wrote.
const LEFT: &[u8] = b"\x1b]7777;left\x07";

/// `$1` is the marker's octal form; the rest is the program. Its standard error goes to the terminal, the shell's to us.
const LEADER: &str = r#"mark=$1; shift
sh -c 'echo "pid $$" >&2; exec "$@" 2>&1' inner "$@"
code=$?
printf "$mark"
echo "exit $code" >&2
exec sleep 600"#;

#[derive(Debug)]
struct Shown {
    parser: Parser,
    raw: Vec<u8>,
    closed: bool,
}

struct Parser(vt100::Parser);

impl std::fmt::Debug for Parser {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0.screen().contents())
    }
}

/// What one end of the program left behind.
#[derive(Debug)]
pub struct Ended {
    /// The exit code; 128 and the signal's number if a signal ended it.
    pub code: i32,
    /// All bytes that were written to the terminal.
    pub raw: Vec<u8>,
}

/// A program in a terminal. Dropping it ends everything in it.
#[derive(Debug)]
pub struct Terminal {
    said: String,
    leader: Child,
    pid: Option<Pid>,
    tells: Receiver<String>,
    master: File,
    before: Termios,
    shown: Arc<(Mutex<Shown>, Condvar)>,
    /// Where the program keeps the user's data, so that no test touches a real user's. It goes
    /// away last.
    _data: TempDir,
}

/// How the program is started in its terminal.
#[derive(Debug, Clone)]
pub struct Start {
    words: Vec<String>,
    env: Vec<(String, String)>,
    rows: u16,
    cols: u16,
}

impl Start {
    /// The program with these arguments, at 80x24.
    pub fn program(args: &[&str]) -> Self {
        let bin = bin().display().to_string();
        Self::of(std::iter::once(bin.as_str()).chain(args.iter().copied()))
    }

    /// Any command, at 80x24.
    pub fn of<'a>(words: impl IntoIterator<Item = &'a str>) -> Self {
        Self {
            words: words.into_iter().map(ToOwned::to_owned).collect(),
            env: Vec::new(),
            rows: 24,
            cols: 80,
        }
    }

    /// On a screen of this size.
    #[must_use]
    pub const fn size(mut self, cols: u16, rows: u16) -> Self {
        self.cols = cols;
        self.rows = rows;
        self
    }

    /// With this variable of the environment.
    #[must_use]
    pub fn env(mut self, name: &str, value: &str) -> Self {
        self.env.push((name.into(), value.into()));
        self
    }

    /// Opens the terminal and starts the program in it.
    #[track_caller]
    pub fn start(self) -> Terminal {
        let size = Winsize {
            ws_row: self.rows,
            ws_col: self.cols,
            ws_xpixel: 0,
            ws_ypixel: 0,
        };
        let pty = openpty(Some(&size), None).expect("a pseudo-terminal");
        for end in [&pty.master, &pty.slave] {
            rustix::io::fcntl_setfd(end, FdFlags::CLOEXEC).expect("a descriptor");
        }
        let before = tcgetattr(&pty.master).expect("a terminal has modes");
        let slave = || Stdio::from(pty.slave.try_clone().expect("a descriptor"));
        let mark: Vec<String> = LEFT.iter().map(|b| format!("\\{b:03o}")).collect();
        let mark = mark.concat();
        let data = tempfile::tempdir().expect("a folder");
        let mut command = Command::new("setsid");
        command
            .args(["--ctty", "sh", "-c", LEADER, "leader", &mark])
            .args(&self.words)
            .env("TERM", "xterm-256color")
            .env("LC_ALL", "C.UTF-8")
            .env_remove("NO_COLOR")
            .env("XDG_DATA_HOME", data.path())
            .envs(self.env.iter().map(|(n, v)| (n, v)))
            .stdin(slave())
            .stdout(slave())
            .stderr(Stdio::piped());
        let mut leader = command.spawn().expect("setsid runs");
        drop(command);
        drop(pty.slave);
        let tells = listen(leader.stderr.take().expect("a pipe was asked for"));
        let parser = Parser(vt100::Parser::new(cells(self.rows), cells(self.cols), 0));
        let shown = Arc::new((
            Mutex::new(Shown {
                parser,
                raw: Vec::new(),
                closed: false,
            }),
            Condvar::new(),
        ));
        let master = File::from(pty.master);
        read(master.try_clone().expect("a descriptor"), Arc::clone(&shown));
        let said = self.words.join(" ");
        let mut terminal = Terminal {
            said,
            leader,
            pid: None,
            tells,
            master,
            before,
            shown,
            _data: data,
        };
        let pid = terminal.told("pid");
        terminal.pid = Some(Pid::from_raw(pid));
        terminal
    }
}

/// A screen has at least one row and one column.
fn cells(many: u16) -> NonZero<u16> {
    NonZero::new(many).expect("a screen of some size")
}

fn listen(from: impl Read + Send + 'static) -> Receiver<String> {
    let (tell, tells) = channel();
    thread::spawn(move || {
        for line in BufReader::new(from).lines().map_while(Result::ok) {
            if tell.send(line).is_err() {
                break;
            }
        }
    });
    tells
}

fn read(mut from: File, shown: Arc<(Mutex<Shown>, Condvar)>) {
    thread::spawn(move || {
        let mut bytes = vec![0; 65536];
        loop {
            // A terminal that nobody holds any more reads as an error.
            let many = from.read(&mut bytes).unwrap_or(0);
            let mut now = shown.0.lock().unwrap();
            if many == 0 {
                now.closed = true;
                shown.1.notify_all();
                return;
            }
            now.raw.extend_from_slice(&bytes[..many]);
            now.parser.0.process(&bytes[..many]);
            shown.1.notify_all();
        }
    });
}

impl Terminal {
    /// The program's process id.
    pub fn pid(&self) -> Pid {
        self.pid.expect("it was started")
    }

    fn lock(&self) -> MutexGuard<'_, Shown> {
        self.shown.0.lock().unwrap()
    }

    /// What the screen shows now.
    pub fn contents(&self) -> String {
        self.lock().parser.0.screen().contents()
    }

    /// How many bytes were written to the terminal so far.
    pub fn written(&self) -> usize {
        self.lock().raw.len()
    }

    /// All bytes that were written to the terminal so far.
    pub fn raw(&self) -> Vec<u8> {
        self.lock().raw.clone()
    }

    /// What `look` finds on the screen.
    pub fn look<T>(&self, look: impl FnOnce(&vt100::Screen) -> T) -> T {
        look(self.lock().parser.0.screen())
    }

    /// Waits until the screen is as wanted; woken by output.
    ///
    /// # Panics
    /// If it never is, with the screen.
    #[track_caller]
    pub fn wait_for(&self, what: &str, wanted: impl Fn(&vt100::Screen) -> bool) {
        let came = self.comes(PATIENCE, |shown| wanted(shown.parser.0.screen()));
        assert!(
            came,
            "{}\nnever showed {what}; it shows:\n{}",
            self.said,
            self.picture()
        );
    }

    /// Waits until the screen has these words somewhere.
    #[track_caller]
    pub fn wait_text(&self, words: &str) {
        self.wait_for(&format!("{words:?}"), |screen| screen.contents().contains(words));
    }

    /// Waits until all these words stand on the screen, whatever lines they are broken into.
    ///
    /// # Panics
    /// As [`Terminal::wait_for`].
    #[track_caller]
    pub fn wait_words(&self, words: &[&str]) {
        self.wait_for(&format!("{words:?}"), |screen| {
            let text = screen.contents().split_whitespace().collect::<Vec<_>>().join(" ");
            words.iter().all(|w| text.contains(w))
        });
    }

    /// Waits until more than `than` bytes were written; false if that does not happen `within` that time.
    pub fn writes(&self, than: usize, within: Duration) -> bool {
        self.comes(within, |shown| shown.raw.len() > than)
    }

    fn comes(&self, within: Duration, wanted: impl Fn(&Shown) -> bool) -> bool {
        let deadline = Instant::now() + within;
        let mut now = self.lock();
        loop {
            if wanted(&now) {
                return true;
            }
            let left = deadline.saturating_duration_since(Instant::now());
            if left.is_zero() || now.closed {
                return false;
            }
            now = self.shown.1.wait_timeout(now, left).unwrap().0;
        }
    }

    /// The screen with a frame around it.
    pub fn picture(&self) -> String {
        self.look(|screen| {
            let (_, cols) = screen.size();
            let rows: Vec<String> = screen.rows(0, cols.get()).map(|row| format!("|{row}")).collect();
            rows.join("\n")
        })
    }

    /// Types.
    #[track_caller]
    pub fn send(&self, keys: &str) {
        (&self.master)
            .write_all(keys.as_bytes())
            .expect("the terminal takes keys");
    }

    /// Makes the screen another size; the kernel tells the program.
    #[track_caller]
    pub fn resize(&self, cols: u16, rows: u16) {
        let mut now = self.lock();
        now.parser.0.screen_mut().set_size(cells(rows), cells(cols));
        let size = rustix::termios::Winsize {
            ws_row: rows,
            ws_col: cols,
            ws_xpixel: 0,
            ws_ypixel: 0,
        };
        rustix::termios::tcsetwinsize(self.master.as_fd(), size).expect("a terminal can be resized");
    }

    /// Sends the program a signal.
    #[track_caller]
    pub fn signal(&self, signal: Signal) {
        kill(self.pid(), signal).expect("the program runs");
    }

    /// Whether the terminal hands over keys one by one, without echo.
    pub fn is_raw(&self) -> bool {
        let modes = tcgetattr(&self.master).expect("a terminal has modes");
        !modes
            .local_flags
            .intersects(LocalFlags::ICANON | LocalFlags::ECHO)
    }

    /// Waits for the program's end and holds the terminal to what it was before: the same modes, the
    /// main screen, the cursor shown, no mouse reports, no colours left on.
    #[track_caller]
    pub fn end(&self) -> Ended {
        let code = self.told("exit");
        assert!(
            self.comes(PATIENCE, |shown| shown.raw.windows(LEFT.len()).any(|w| w == LEFT)),
            "{}\nended, but its output did not:\n{}",
            self.said,
            self.picture()
        );
        let after = tcgetattr(&self.master).expect("a terminal has modes");
        assert!(
            after == self.before,
            "other modes than before:\n{after:?}\nbefore:\n{:?}",
            self.before
        );
        self.look(|screen| {
            let left = screen.contents();
            assert!(
                !screen.alternate_screen(),
                "still on the alternate screen:\n{left}"
            );
            assert!(!screen.hide_cursor(), "the cursor is still hidden:\n{left}");
            assert_eq!(
                screen.mouse_protocol_mode(),
                vt100::MouseProtocolMode::None,
                "the mouse still reports"
            );
            assert!(!screen.bracketed_paste(), "pasting is still bracketed");
            assert!(
                !screen.application_cursor(),
                "the arrow keys are still the application's"
            );
            assert_eq!(screen.fgcolor(), vt100::Color::Default, "a colour is left on");
            assert_eq!(screen.bgcolor(), vt100::Color::Default, "a background is left on");
        });
        Ended {
            code,
            raw: self.raw(),
        }
    }

    /// Waits for the end of a program whose terminal went away.
    #[track_caller]
    pub fn hang_up(self) {
        let pid = self.pid();
        drop(self);
        let deadline = Instant::now() + PATIENCE;
        // Nobody is left to report the end: the kernel is asked whether there is such a process.
        while kill(pid, None).is_ok() && !is_zombie(pid) {
            assert!(Instant::now() < deadline, "{pid} lives on without its terminal");
            thread::yield_now();
            thread::sleep(Duration::from_millis(20));
        }
    }

    fn told(&self, word: &str) -> i32 {
        loop {
            let Ok(line) = self.tells.recv_timeout(PATIENCE) else {
                panic!(
                    "{}\nno word of its {word}; it shows:\n{}",
                    self.said,
                    self.picture()
                );
            };
            if let Some(number) = line.strip_prefix(word).and_then(|rest| rest.trim().parse().ok()) {
                return number;
            }
        }
    }
}

/// Whether the process has ended and only waits to be asked about it.
fn is_zombie(pid: Pid) -> bool {
    std::fs::read_to_string(format!("/proc/{pid}/stat")).map_or(true, |stat| {
        stat.rsplit_once(") ")
            .is_some_and(|(_, rest)| rest.starts_with('Z') || rest.starts_with('X'))
    })
}

impl Drop for Terminal {
    fn drop(&mut self) {
        // The leader first; the hang-up that follows is what a closed window does to the program.
        let _ = self.leader.kill();
        let _ = self.leader.wait();
    }
}
