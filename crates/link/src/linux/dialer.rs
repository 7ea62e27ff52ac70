//! Connections through the system's own sockets, tied to the chosen interface.
//!
//! Each runs as a task of its own and reports through one bounded channel: a peer that talks
//! faster than we listen is made to wait.
//!
//! An attempt that fails at once, for want of an address in the peer's subnet or of a route, says
//! nothing of the peer (`NoWay`). One that fails *later* as unreachable means that nobody answered for the
//! address: that is the peer's silence, so nothing is reported and the caller's patience decides.

use std::collections::BTreeMap;
use std::io;
use std::net::{Ipv4Addr, Shutdown, SocketAddr, SocketAddrV4};
use std::os::fd::{AsFd, BorrowedFd};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use socket2::{Domain, Protocol, Socket, Type};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpStream, UdpSocket};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;
use vocab::{Ipv4Net, LinkState, Station};

use super::pinger::never_left;
use super::plain::bind_to;
use super::sys::{self, Returned};
use crate::{Dial, DialEvent, DialId, Transport};

/// Bytes that may wait to be sent, for one dial.
const MAX_WAITING: usize = 64 * 1024;
/// Bytes read at once; with [`EVENTS`] this bounds what all peers together can make us hold.
const CHUNK: usize = 8 * 1024;
/// Reports that may wait to be read.
const EVENTS: usize = 128;

#[derive(Debug)]
struct Line {
    orders: mpsc::UnboundedSender<Vec<u8>>,
    waiting: Arc<AtomicUsize>,
    task: JoinHandle<()>,
    /// The task's socket. The task lets go of it only when it next runs, and a further connection to
    /// the same host may begin before that.
    twin: Socket,
}

impl Drop for Line {
    fn drop(&mut self) {
        // In vain where the peer was the first to end it.
        let _ = self.twin.shutdown(Shutdown::Both);
        self.task.abort();
    }
}

/// All open dials.
#[derive(Debug)]
pub(super) struct OsDialer {
    lines: BTreeMap<DialId, Line>,
    report: mpsc::Sender<(DialId, DialEvent)>,
    reports: mpsc::Receiver<(DialId, DialEvent)>,
    /// Reports that need no task.
    at_once: Vec<(DialId, DialEvent)>,
}

impl OsDialer {
    /// A dialer with nothing open.
    pub(super) fn new() -> Self {
        let (report, reports) = mpsc::channel(EVENTS);
        Self {
            lines: BTreeMap::new(),
            report,
            reports,
            at_once: Vec::new(),
        }
    }

    /// Opens a connection or exchange over the interface of `station`, or by the system's routes.
    pub(super) fn open(&mut self, station: &Station, reach: Reach, dial: &Dial) {
        if self.lines.contains_key(&dial.id) {
            return;
        }
        let fit = self.lines.len() < crate::MAX_DIALS && station.state == LinkState::Up;
        let socket = if fit {
            begin(station, reach, dial)
        } else {
            Err(DialEvent::NoWay)
        };
        let twins = socket.and_then(|socket| {
            let twin = socket.try_clone().map_err(|_| DialEvent::NoWay)?;
            Ok((socket, twin))
        });
        let (socket, twin) = match twins {
            Ok(twins) => twins,
            Err(event) => {
                self.at_once.push((dial.id, event));
                return;
            }
        };
        let (orders, inbox) = mpsc::unbounded_channel();
        let waiting = Arc::new(AtomicUsize::new(0));
        let talk = Talk {
            id: dial.id,
            report: self.report.clone(),
            orders: inbox,
            waiting: waiting.clone(),
            to: dial.to,
            afar: (reach != Reach::Beside).then(|| station.clone()),
        };
        let task = match dial.transport {
            Transport::Tcp => tokio::spawn(talk.stream(socket)),
            Transport::Udp => tokio::spawn(talk.datagrams(socket)),
        };
        self.lines.insert(
            dial.id,
            Line {
                orders,
                waiting,
                task,
                twin,
            },
        );
    }

    /// Sends bytes. Where too many wait already the peer does not take them: the dial ends.
    pub(super) fn send(&mut self, id: DialId, data: Vec<u8>) {
        let Some(line) = self.lines.get(&id) else { return };
        let waiting = line
            .waiting
            .fetch_add(data.len(), Ordering::Relaxed)
            .saturating_add(data.len());
        if waiting > MAX_WAITING || line.orders.send(data).is_err() {
            self.lines.remove(&id);
            self.at_once.push((id, DialEvent::Closed));
        }
    }

    /// Ends a dial. No further event bears its name.
    pub(super) fn close(&mut self, id: DialId) {
        self.lines.remove(&id);
        self.at_once.retain(|(other, _)| *other != id);
    }

    /// Waits until there is a report, and keeps it.
    pub(super) async fn readable(&mut self) {
        if self.at_once.is_empty()
            && let Some(report) = self.reports.recv().await
        {
            self.keep(report);
        }
    }

    /// The next report.
    pub(super) fn event(&mut self) -> Option<(DialId, DialEvent)> {
        while self.at_once.is_empty() {
            let report = self.reports.try_recv().ok()?;
            self.keep(report);
        }
        Some(self.at_once.remove(0))
    }

    /// Keeps a report of a dial that is still open; one that ends it takes it off the list.
    fn keep(&mut self, (id, event): (DialId, DialEvent)) {
        if !self.lines.contains_key(&id) {
            return;
        }
        if matches!(event, DialEvent::Refused | DialEvent::NoWay | DialEvent::Closed) {
            self.lines.remove(&id);
        }
        self.at_once.push((id, event));
    }
}

/// Which peers the dialer may reach, and by what way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reach {
    /// Those in the interface's own subnets, tied to it.
    Beside,
    /// Those of one network behind routers, by the system's routes.
    Through(Ipv4Net),
}

/// A socket on its way to the peer.
fn begin(station: &Station, reach: Reach, dial: &Dial) -> Result<Socket, DialEvent> {
    let (kind, protocol) = match dial.transport {
        Transport::Tcp => (Type::STREAM, Protocol::TCP),
        Transport::Udp => (Type::DGRAM, Protocol::UDP),
    };
    let no_way = |_| DialEvent::NoWay;
    // For a socket tied to an interface the kernel takes every address to be on the link, and would
    // ask for a foreign one in our own name: only our own subnets are tried.
    let beside = match reach {
        Reach::Beside => station
            .addresses
            .iter()
            .find(|net| net.contains(dial.to.ip()))
            .map(Ipv4Net::addr),
        Reach::Through(net) => net.contains(dial.to.ip()).then_some(Ipv4Addr::UNSPECIFIED),
    };
    let beside = beside.ok_or(DialEvent::NoWay)?;
    let socket = Socket::new(Domain::IPV4, kind.cloexec().nonblocking(), Some(protocol)).map_err(no_way)?;
    match reach {
        // Where that is not permitted, the address of the interface does nearly the same.
        Reach::Beside => drop(bind_to(&socket, station)),
        // So that it is known who says that a peer cannot be reached.
        Reach::Through(_) => {
            let _ = sys::set_option(socket.as_fd(), libc::IPPROTO_IP, libc::IP_RECVERR, 1);
        }
    }
    let from = dial.from.unwrap_or(beside);
    socket.bind(&SocketAddrV4::new(from, 0).into()).map_err(no_way)?;
    match socket.connect(&dial.to.into()) {
        Ok(()) => Ok(socket),
        Err(e) if e.raw_os_error() == Some(libc::EINPROGRESS) => Ok(socket),
        Err(e) if e.kind() == io::ErrorKind::ConnectionRefused => Err(DialEvent::Refused),
        Err(_) => Err(DialEvent::NoWay),
    }
}

/// What it means that a dial to `to`, behind routers, came back, with whose word if there was one;
/// `None` for silence.
fn meaning(refused: bool, word: Option<Returned>, to: Ipv4Addr, station: &Station) -> Option<DialEvent> {
    match word {
        Some(word) if never_left(word, station) => Some(DialEvent::NoWay),
        // A router on the way may turn anything away, in whatever words.
        Some(word) if word.by != to => None,
        // A reset leaves no such word. It bears the peer's address, whoever on the way may have made it.
        Some(_) | None => refused.then_some(DialEvent::Refused),
    }
}

/// One dial's task.
struct Talk {
    id: DialId,
    report: mpsc::Sender<(DialId, DialEvent)>,
    orders: mpsc::UnboundedReceiver<Vec<u8>>,
    waiting: Arc<AtomicUsize>,
    to: SocketAddrV4,
    /// This computer, where the peer is behind routers: they too may say that it cannot be reached.
    afar: Option<Station>,
}

impl Talk {
    /// What an error means that came back on the way to the peer; `None` for silence.
    fn verdict(&self, fd: BorrowedFd<'_>, error: &io::Error) -> Option<DialEvent> {
        let refused = error.kind() == io::ErrorKind::ConnectionRefused;
        let Some(station) = &self.afar else {
            return refused.then_some(DialEvent::Refused);
        };
        let word = std::iter::from_fn(|| sys::take_error(fd).ok()).flatten().last();
        meaning(refused, word, *self.to.ip(), station)
    }

    async fn say(&self, event: DialEvent) {
        // Nobody listens any more only when all is over.
        let _ = self.report.send((self.id, event)).await;
    }

    async fn stream(mut self, socket: Socket) {
        let Ok(mut stream) = TcpStream::from_std(socket.into()) else {
            return self.say(DialEvent::NoWay).await;
        };
        let connected = match stream.writable().await {
            Ok(()) => stream.take_error(),
            Err(e) => Err(e),
        };
        match connected {
            Ok(None) => {}
            Ok(Some(e)) if e.raw_os_error() == Some(libc::ENETDOWN) => {
                return self.say(DialEvent::NoWay).await;
            }
            Ok(Some(e)) => {
                // Nothing to say where nobody answered for the address.
                if let Some(event) = self.verdict(stream.as_fd(), &e) {
                    self.say(event).await;
                }
                return;
            }
            Err(_) => return self.say(DialEvent::NoWay).await,
        }
        let _ = stream.set_nodelay(true);
        self.say(DialEvent::Opened).await;
        let (mut reader, mut writer) = stream.split();
        let (id, report, waiting) = (self.id, &self.report, &self.waiting);
        let orders = &mut self.orders;
        let reading = async {
            let mut buffer = vec![0; CHUNK];
            while let Ok(length @ 1..) = reader.read(&mut buffer).await {
                let data = buffer.get(..length).unwrap_or_default().to_vec();
                if report.send((id, DialEvent::Data(data))).await.is_err() {
                    break;
                }
            }
        };
        let writing = async {
            while let Some(data) = orders.recv().await {
                if writer.write_all(&data).await.is_err() {
                    // The reader sees the end as well, after the peer's last words.
                    break;
                }
                waiting.fetch_sub(data.len(), Ordering::Relaxed);
            }
            std::future::pending::<()>().await;
        };
        tokio::select! {
            () = reading => {}
            () = writing => {}
        }
        self.say(DialEvent::Closed).await;
    }

    async fn datagrams(mut self, socket: Socket) {
        let socket = match UdpSocket::from_std(socket.into()) {
            // Connected: the kernel delivers nothing from elsewhere.
            Ok(socket) if socket.peer_addr().ok() == Some(SocketAddr::V4(self.to)) => socket,
            _ => return self.say(DialEvent::NoWay).await,
        };
        self.say(DialEvent::Opened).await;
        // The longest datagram there can be.
        let mut buffer = vec![0; 65_536];
        loop {
            let outcome = tokio::select! {
                got = socket.recv(&mut buffer) => got.map(Some),
                order = self.orders.recv() => match order {
                    Some(data) => {
                        self.waiting.fetch_sub(data.len(), Ordering::Relaxed);
                        socket.send(&data).await.map(|_| None)
                    }
                    None => return,
                },
            };
            match outcome {
                Ok(Some(length)) => {
                    let data = buffer.get(..length).unwrap_or_default().to_vec();
                    self.say(DialEvent::Data(data)).await;
                }
                Ok(None) => {}
                // ICMP port unreachable, or behind routers any other such word.
                Err(e) if e.kind() == io::ErrorKind::ConnectionRefused || self.afar.is_some() => {
                    if let Some(event) = self.verdict(socket.as_fd(), &e) {
                        return self.say(event).await;
                    }
                }
                // Nobody answered for the address: silence.
                Err(e) if e.kind() == io::ErrorKind::HostUnreachable => {}
                Err(_) => return self.say(DialEvent::Closed).await,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::pinger::tests::{ROUTER, US, WHO, station, unreachable};
    use super::*;

    /// The task that holds the socket cannot run in between: nothing is awaited.
    #[test]
    fn a_connection_is_ended_at_once_and_not_when_its_task_next_runs() {
        use std::io::Read;
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let SocketAddr::V4(to) = listener.local_addr().unwrap() else {
            panic!("an IPv4 address");
        };
        let here = Station {
            name: "lo".to_owned(),
            addresses: vec!["127.0.0.1/8".parse().unwrap()],
            ..station()
        };
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        runtime.block_on(async {
            let mut dialer = OsDialer::new();
            let id = DialId(1);
            let dial = Dial {
                id,
                transport: Transport::Tcp,
                to,
                mac: None,
                from: None,
            };
            dialer.open(&here, Reach::Beside, &dial);
            dialer.readable().await;
            let (mut peer, _) = listener.accept().unwrap();
            dialer.close(id);
            peer.set_read_timeout(Some(std::time::Duration::from_secs(5)))
                .unwrap();
            assert_eq!(peer.read(&mut [0; 1]).unwrap(), 0, "the end of the connection");
        });
    }

    #[test]
    fn behind_routers_only_the_peers_own_refusal_counts() {
        let said = |refused, word| meaning(refused, word, WHO, &station());
        assert_eq!(said(true, None), Some(DialEvent::Refused), "a reset");
        assert_eq!(said(true, Some(unreachable(WHO, 3))), Some(DialEvent::Refused));
        // A firewall's "port unreachable" looks the same to the program that dials.
        assert_eq!(said(true, Some(unreachable(ROUTER, 3))), None);
        assert_eq!(said(false, Some(unreachable(ROUTER, 1))), None);
        assert_eq!(said(false, Some(unreachable(ROUTER, 13))), None);
        assert_eq!(said(false, Some(unreachable(US, 1))), Some(DialEvent::NoWay));
        assert_eq!(said(false, None), None, "nobody answered");
    }
}
