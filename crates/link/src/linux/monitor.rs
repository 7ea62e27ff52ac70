//! The kernel's news as they come, and its tables when news were lost.

use std::io::{self, Read};
use std::os::fd::{AsFd, OwnedFd};
use std::time::Duration;

use socket2::{Domain, SockRef, Socket, Type};
use tokio::time::Instant;
use vocab::{Mode, Station};

use super::books::Books;
use super::news::{self, News, Table};
use super::watched::Watched;
use super::{medium, sys};

/// Multicast groups of linux/rtnetlink.h.
const GROUP_LINK: i32 = 1;
const GROUP_NEIGHBOUR: i32 = 3;
const GROUP_ADDRESS: i32 = 5;
const GROUP_ROUTE: i32 = 7;
const GROUP_ADDRESS6: i32 = 9;

/// Room for news that come in a burst, such as a neighbour table filling up.
const RECEIVE_BUFFER: usize = 1 << 20;
/// The kernel sends at most 32 KiB at once when it is offered that much.
const DATAGRAM: usize = 32 * 1024;
/// How often a table is read anew because it changed meanwhile.
const MAX_TRIES: usize = 4;
/// How long to wait when the tables cannot be read.
const RETRY: Duration = Duration::from_millis(100);
/// Datagrams looked at for one table: far more than 4,096 interfaces take.
const MAX_DATAGRAMS: usize = 20_000;

/// What is listened for beside interfaces and their addresses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Besides {
    /// Nothing.
    Nothing,
    /// The neighbour table.
    Neighbours,
    /// That a route came or went. Which one is not read: whoever needs one looks it up.
    Routes,
}

/// The socket with what was learned from it.
#[derive(Debug)]
pub(super) struct Monitor {
    socket: Watched,
    books: Books,
    sequence: u32,
    besides: Besides,
    buffer: Box<[u8]>,
    /// News were lost and the tables could not be read: when to try again.
    retry_at: Option<Instant>,
}

impl Monitor {
    /// Subscribes and reads all tables that are listened for.
    pub(super) fn open(besides: Besides) -> io::Result<(Self, Vec<News>)> {
        let domain = Domain::from(libc::AF_NETLINK);
        let socket = Socket::new_raw(domain, Type::RAW.cloexec().nonblocking(), None)?;
        // More room is a bonus.
        let _ = socket.set_recv_buffer_size(RECEIVE_BUFFER);
        let more = match besides {
            Besides::Nothing => None,
            Besides::Neighbours => Some(GROUP_NEIGHBOUR),
            Besides::Routes => Some(GROUP_ROUTE),
        };
        for group in [GROUP_LINK, GROUP_ADDRESS, GROUP_ADDRESS6]
            .into_iter()
            .chain(more)
        {
            sys::set_option(
                socket.as_fd(),
                libc::SOL_NETLINK,
                libc::NETLINK_ADD_MEMBERSHIP,
                group,
            )?;
        }
        let mut monitor = Self {
            socket: Watched::new(OwnedFd::from(socket))?,
            books: Books::default(),
            sequence: 0,
            besides,
            buffer: vec![0; DATAGRAM].into_boxed_slice(),
            retry_at: None,
        };
        let neighbours = monitor.read_tables()?;
        Ok((monitor, neighbours))
    }

    /// What is known of the interfaces.
    pub(super) fn books(&self) -> &Books {
        &self.books
    }

    /// The station on interface `name`.
    pub(super) fn station(&self, name: &str, mode: Mode, before: Option<&Station>) -> Station {
        self.books.station(name, mode, before)
    }

    /// Waits until there may be news, or until the tables may be tried again.
    pub(super) async fn readable(&self) {
        match self.retry_at {
            Some(at) => tokio::time::sleep_until(at).await,
            None => self.socket.readable().await,
        }
    }

    /// Takes in what has come, and gives what concerns neighbours. `None` when nothing has come.
    pub(super) fn take(&mut self) -> Option<Vec<News>> {
        match self.retry_at {
            Some(at) if at > Instant::now() => return None,
            Some(_) => {}
            None => match self.receive_if_told() {
                Ok(news) => return Some(self.enter(news)),
                Err(e) if e.kind() == io::ErrorKind::WouldBlock => return None,
                // News were lost (ENOBUFS): only the tables themselves help.
                Err(_) => {}
            },
        }
        let tables = self.drain().and_then(|()| self.read_tables());
        self.retry_at = tables.is_err().then(|| Instant::now() + RETRY);
        tables.ok()
    }

    /// Throws away what is queued, which is older than the tables, so that there is room for them.
    fn drain(&mut self) -> io::Result<()> {
        for _ in 0..MAX_DATAGRAMS {
            match self.receive() {
                Err(e) if e.kind() == io::ErrorKind::WouldBlock => return Ok(()),
                _ => {}
            }
        }
        Err(io::ErrorKind::TimedOut.into())
    }

    fn enter(&mut self, news: Vec<News>) -> Vec<News> {
        let mut neighbours = Vec::new();
        for piece in news {
            match piece {
                News::Neighbour { .. } | News::NeighbourGone { .. } => neighbours.push(piece),
                other => self.books.enter(&other, &medium),
            }
        }
        neighbours
    }

    fn receive(&mut self) -> io::Result<Vec<News>> {
        let buffer = &mut self.buffer;
        let length = self.socket.try_read(|fd| (&*SockRef::from(&fd)).read(buffer))?;
        Ok(news::read(buffer.get(..length).unwrap_or_default()))
    }

    /// News come seldom, and this is asked after every frame.
    fn receive_if_told(&mut self) -> io::Result<Vec<News>> {
        let buffer = &mut self.buffer;
        let length = self
            .socket
            .read_if_told(|fd| (&*SockRef::from(&fd)).read(buffer))?;
        Ok(news::read(buffer.get(..length).unwrap_or_default()))
    }

    /// Reads all tables anew.
    fn read_tables(&mut self) -> io::Result<Vec<News>> {
        let mut neighbours = Vec::new();
        for _ in 0..MAX_TRIES {
            self.books = Books::default();
            neighbours.clear();
            let mut whole = true;
            for table in [
                Table::Links,
                Table::Addresses,
                Table::Addresses6,
                Table::Neighbours,
            ] {
                if table != Table::Neighbours || self.besides == Besides::Neighbours {
                    whole &= self.read_table(table, &mut neighbours)?;
                }
            }
            if whole {
                return Ok(neighbours);
            }
        }
        Err(io::ErrorKind::Interrupted.into())
    }

    /// Reads one table; false when it has to be read again. The kernel lays the next part ready
    /// whenever one is taken, so nothing is waited for.
    fn read_table(&mut self, table: Table, neighbours: &mut Vec<News>) -> io::Result<bool> {
        self.sequence = self.sequence.wrapping_add(1);
        let request = news::request(table, self.sequence);
        SockRef::from(&self.socket.fd()).send(&request)?;
        let mut whole = true;
        for _ in 0..MAX_DATAGRAMS {
            let news = match self.receive() {
                Ok(news) => news,
                Err(e) if e.raw_os_error() == Some(libc::ENOBUFS) => {
                    whole = false;
                    continue;
                }
                // What was lost may have been the end of the table.
                Err(e) if e.kind() == io::ErrorKind::WouldBlock && !whole => return Ok(false),
                Err(e) => return Err(e),
            };
            let mut done = false;
            for piece in &news {
                match piece {
                    News::Done => done = true,
                    News::Interrupted => whole = false,
                    News::Refused(0) => {}
                    // No room just now, or the table before is still on its way.
                    News::Refused(libc::ENOBUFS | libc::EBUSY) => (done, whole) = (true, false),
                    News::Refused(number) => return Err(io::Error::from_raw_os_error(*number)),
                    _ => {}
                }
            }
            neighbours.extend(self.enter(news));
            if done {
                return Ok(whole);
            }
        }
        Err(io::ErrorKind::TimedOut.into())
    }
}
