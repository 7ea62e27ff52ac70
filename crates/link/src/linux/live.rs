//! One real interface, whole.

use std::collections::VecDeque;
use std::io;
use std::net::Ipv4Addr;

use tokio::time::Instant;
use vocab::{FrameSize, Ipv4Net, LinkState, Mode, Station};
use wire::icmp::Echo;

use super::dialer::{OsDialer, Reach};
use super::groups::Groups;
use super::monitor::{Besides, Monitor};
use super::neighbours::Neighbours;
use super::news::News;
use super::packets::Packets;
use super::pinger::Pinger;
use super::plain::Plain;
use super::way::Way;
use crate::{Dial, DialId, Frame, LiveEvent, OpenError, OpenHow, PortError};

/// Pieces of news taken in one go, so that a flood of them holds nothing up.
const MOST_NEWS: usize = 256;

/// By which means the wire is reached.
#[derive(Debug)]
enum Means {
    Frames(Packets),
    Plain(Plain, Neighbours),
    /// One network behind routers.
    Routed(Pinger, Way),
}

/// One interface, whole: frames or the unprivileged means, the interface's state, the system's
/// dialer.
///
/// It heals by itself: when the interface goes down, loses its cable, is called otherwise, or is deleted and
/// made again under the same name, what was open stays open and no permission is needed anew.
#[derive(Debug)]
pub struct Live {
    station: Station,
    monitor: Monitor,
    means: Means,
    dialer: OsDialer,
    groups: Groups,
    waiting: VecDeque<LiveEvent>,
    /// The number of the interface that the sockets are bound to.
    bound: u32,
}

impl Live {
    /// Opens the interface called `name`. To be called inside a tokio runtime with I/O and time.
    ///
    /// # Errors
    /// See [`OpenError`]. A link that is down or has no cable is none.
    pub fn open(name: &str, how: OpenHow) -> Result<Self, OpenError> {
        let system = |doing| move |error| OpenError::System { doing, error };
        let besides = match how {
            OpenHow::Raw => Besides::Nothing,
            OpenHow::Auto | OpenHow::Unprivileged => Besides::Neighbours,
        };
        let (monitor, known) = Monitor::open(besides).map_err(system("listen to the kernel's news"))?;
        match monitor.books().is_ethernet(name) {
            Some(true) => {}
            Some(false) => {
                return Err(OpenError::NotEthernet {
                    name: name.to_owned(),
                });
            }
            None => {
                let others = monitor.books().names();
                return Err(OpenError::NotFound {
                    name: name.to_owned(),
                    others,
                });
            }
        }
        let mut station = monitor.station(name, Mode::Raw, None);
        let frames = match how {
            OpenHow::Unprivileged => None,
            OpenHow::Auto | OpenHow::Raw => match Packets::open(station.index) {
                Ok(packets) => Some(packets),
                Err(e) if how == OpenHow::Auto && is_withheld(&e) => None,
                Err(e) if e.kind() == io::ErrorKind::PermissionDenied => {
                    return Err(OpenError::NoPermission {
                        name: name.to_owned(),
                    });
                }
                Err(error) => {
                    return Err(OpenError::System {
                        doing: "open a packet socket",
                        error,
                    });
                }
            },
        };
        let means = if let Some(packets) = frames {
            Means::Frames(packets)
        } else {
            station.mode = Mode::Unprivileged;
            let plain = Plain::open(&station).map_err(system("open a datagram socket"))?;
            let mut table = Neighbours::default();
            for news in &known {
                // What was there before is no sighting of now.
                let _ = table.enter(station.index, news);
            }
            Means::Plain(plain, table)
        };
        let bound = station.index;
        Ok(Self {
            station,
            monitor,
            means,
            dialer: OsDialer::new(),
            groups: Groups::default(),
            waiting: VecDeque::new(),
            bound,
        })
    }

    /// Opens the way to one network behind routers, by the system's routes: echo and dials to its
    /// hosts, no frames. Its station is the interface that the route takes; while there is none,
    /// that called `fallback`. To be called inside a tokio runtime with I/O and time.
    ///
    /// # Errors
    /// See [`OpenError`]: among them that the system lets this program send no echo requests.
    pub fn open_routed(net: Ipv4Net, fallback: &str) -> Result<Self, OpenError> {
        let system = |doing| move |error| OpenError::System { doing, error };
        let (monitor, _) = Monitor::open(Besides::Routes).map_err(system("listen to the kernel's news"))?;
        let pinger = Pinger::open().map_err(|error| match error.kind() {
            io::ErrorKind::PermissionDenied => OpenError::NoEcho,
            _ => OpenError::System {
                doing: "open a socket for echo requests",
                error,
            },
        })?;
        let mut way = Way::to(net);
        let name = way.out(&monitor).unwrap_or_else(|| fallback.to_owned());
        let station = monitor.station(&name, Mode::Routed, None);
        let bound = station.index;
        Ok(Self {
            station,
            monitor,
            means: Means::Routed(pinger, way),
            dialer: OsDialer::new(),
            groups: Groups::default(),
            waiting: VecDeque::new(),
            bound,
        })
    }

    /// How frames get in and out.
    pub fn mode(&self) -> Mode {
        self.station.mode
    }

    /// The interface as it was when [`Live::next`] last said so.
    pub fn station(&self) -> &Station {
        &self.station
    }

    /// Waits until something may have happened: then call [`Live::next`] until it gives nothing.
    /// Cancel-safe.
    pub async fn ready(&mut self) {
        if !self.waiting.is_empty() {
            return;
        }
        let means = &self.means;
        let traffic = async {
            match means {
                Means::Frames(packets) => packets.readable().await,
                Means::Plain(plain, _) => plain.readable().await,
                Means::Routed(pinger, way) => tokio::select! {
                    () = pinger.readable() => {}
                    () = way.due() => {}
                },
            }
        };
        tokio::select! {
            () = traffic => {}
            () = self.monitor.readable() => {}
            () = self.dialer.readable() => {}
        }
    }

    /// The next thing that happened, without waiting. A received frame is put into `frame`, whose
    /// buffer is used again.
    pub fn next(&mut self, frame: &mut Frame) -> Option<LiveEvent> {
        for _ in 0..MOST_NEWS {
            if !self.waiting.is_empty() {
                break;
            }
            let Some(news) = self.monitor.take() else { break };
            match &mut self.means {
                // Routes may change by the thousand, and one look is enough for all.
                Means::Routed(_, way) => way.doubt(Instant::now()),
                Means::Frames(_) | Means::Plain(..) => self.learn(&news),
            }
        }
        if let Means::Routed(_, way) = &self.means
            && way.is_due(Instant::now())
        {
            self.learn(&[]);
        }
        if let Some(event) = self.waiting.pop_front() {
            return Some(event);
        }
        if let Some((id, event)) = self.dialer.event() {
            return Some(LiveEvent::Dial(id, event));
        }
        match &mut self.means {
            Means::Frames(packets) => packets.receive(frame).then_some(LiveEvent::Frame),
            Means::Plain(plain, table) => {
                // What we sent went to the hardware in the table, and its answer came back.
                let proven = |address| {
                    let mac = Some(table.hardware(address)?);
                    Some(LiveEvent::Neighbour { address, mac })
                };
                if let Some((address, sequence, data)) = plain.reply() {
                    self.waiting.extend(proven(address));
                    return Some(LiveEvent::EchoReply {
                        address,
                        sequence,
                        data,
                    });
                }
                // As many at most as were asked.
                std::iter::from_fn(|| plain.refusal()).find_map(proven)
            }
            Means::Routed(pinger, way) => pinger.event(way.net(), &self.station),
        }
    }

    /// Takes in news: about neighbours, and perhaps about ourselves.
    fn learn(&mut self, news: &[News]) {
        if let Means::Plain(_, table) = &mut self.means {
            for piece in news {
                if let Some((address, mac)) = table.enter(self.station.index, piece) {
                    self.waiting.push_back(LiveEvent::Neighbour { address, mac });
                }
            }
        }
        let name = match &mut self.means {
            Means::Routed(_, way) => way.out(&self.monitor),
            // It may be called otherwise now. Once its number is gone, the next of its name is taken.
            Means::Frames(_) | Means::Plain(..) => self.monitor.books().name(self.bound).map(str::to_owned),
        };
        let name = name.as_ref().unwrap_or(&self.station.name);
        let station = self.monitor.station(name, self.station.mode, Some(&self.station));
        match &mut self.means {
            Means::Frames(packets) => {
                if station.index != 0 && station.index != self.bound && packets.bind(station.index).is_ok() {
                    self.bound = station.index;
                }
                self.groups.follow(station.index);
            }
            Means::Plain(_, table) => {
                if station.state != LinkState::Up || station.index != self.station.index {
                    table.forget();
                }
            }
            Means::Routed(..) => {}
        }
        if station != self.station {
            // Sockets tied to an interface are tied to its number, so a new number needs new ones.
            if let Means::Plain(plain, _) = &mut self.means
                && station.index != 0
                && station.index != self.bound
                && let Ok(fresh) = Plain::open(&station)
            {
                *plain = fresh;
                self.bound = station.index;
            }
            self.station = station.clone();
            self.waiting.push_back(LiveEvent::Station(station));
        }
    }

    /// Sends one frame, as it stands. Raw mode only.
    ///
    /// # Errors
    /// See [`PortError`]; after an error the frame has not left. Without carrier the kernel would
    /// take a frame and drop it in silence, so that is [`PortError::Down`] too.
    pub fn send(&mut self, frame: &[u8]) -> Result<(), PortError> {
        self.must_carry()?;
        match &mut self.means {
            Means::Frames(packets) => packets.send(frame),
            Means::Plain(..) | Means::Routed(..) => Err(PortError::Other(io::ErrorKind::Unsupported.into())),
        }
    }

    /// Waits until something may be sent after [`PortError::Busy`].
    pub async fn writable(&mut self) {
        match &mut self.means {
            Means::Frames(packets) => packets.writable().await,
            Means::Plain(plain, _) => plain.writable().await,
            Means::Routed(pinger, _) => pinger.writable().await,
        }
    }

    /// Makes the kernel look for an address, unless it is sure of it: then nothing is sent on the
    /// wire but a datagram, and [`LiveEvent::Neighbour`] follows only if the host refuses it, which
    /// not every host does, so [`Live::ping`] as well.
    /// The kernel gives up after about three seconds. Unprivileged mode only.
    ///
    /// # Errors
    /// See [`PortError`]; after an error nothing was asked. A foreign address is one
    /// ([`io::ErrorKind::NetworkUnreachable`]): the kernel would ask for it in our own name.
    pub fn poke(&mut self, address: Ipv4Addr) -> Result<(), PortError> {
        self.must_carry()?;
        self.must_be_ours(address)?;
        match &mut self.means {
            Means::Plain(plain, table) => {
                plain.poke(address, table.hardware(address).is_some())?;
                table.asked(address);
                Ok(())
            }
            Means::Frames(_) | Means::Routed(..) => Err(PortError::Other(io::ErrorKind::Unsupported.into())),
        }
    }

    /// Sends an echo request with this number. Not in raw mode; see [`Live::can_ping`].
    ///
    /// # Errors
    /// See [`PortError`]; after an error nothing was asked. A foreign address is one, as for
    /// [`Live::poke`].
    pub fn ping(&mut self, address: Ipv4Addr, sequence: u16) -> Result<(), PortError> {
        self.must_carry()?;
        self.must_be_ours(address)?;
        match &self.means {
            Means::Plain(plain, _) => plain.ping(address, sequence, Echo::OWN_DATA),
            Means::Routed(pinger, _) => pinger.ping(address, sequence),
            Means::Frames(_) => Err(PortError::Other(io::ErrorKind::Unsupported.into())),
        }
    }

    /// The same with a frame of this size, which is never cut in pieces. Unprivileged mode only.
    ///
    /// # Errors
    /// As [`Live::ping`]; and the system may have no room for so large a frame on this interface.
    pub fn ping_sized(&mut self, address: Ipv4Addr, sequence: u16, size: FrameSize) -> Result<(), PortError> {
        self.must_carry()?;
        self.must_be_ours(address)?;
        match &self.means {
            Means::Plain(plain, _) => plain.ping(address, sequence, Echo::trial_data(size)),
            Means::Frames(_) | Means::Routed(..) => Err(PortError::Other(io::ErrorKind::Unsupported.into())),
        }
    }

    /// Whether [`Live::ping`] can work: the system may keep echo requests from ordinary programs
    /// (`net.ipv4.ping_group_range`).
    pub fn can_ping(&self) -> bool {
        match &self.means {
            Means::Plain(plain, _) => plain.can_ping(),
            Means::Routed(..) => true,
            Means::Frames(_) => false,
        }
    }

    /// Opens a connection or exchange through the system's own sockets, tied to the interface. At
    /// most [`crate::MAX_DIALS`] at once; one too many is `NoWay`.
    ///
    /// A peer that nobody answers for is silent: no event comes, and the caller's patience decides.
    #[expect(clippy::needless_pass_by_value, reason = "it is the dialer's from here on")]
    pub fn dial(&mut self, dial: Dial) {
        let reach = match &self.means {
            Means::Routed(_, way) => Reach::Through(way.net()),
            Means::Frames(_) | Means::Plain(..) => Reach::Beside,
        };
        self.dialer.open(&self.station, reach, &dial);
    }

    /// Sends bytes over it. With more than 64 KiB waiting to leave, it ends as `Closed`.
    pub fn dial_send(&mut self, id: DialId, data: Vec<u8>) {
        self.dialer.send(id, data);
    }

    /// Ends it. No further event bears its name.
    pub fn dial_close(&mut self, id: DialId) {
        self.dialer.close(id);
    }

    /// Also lets in ICMP, TCP and UDP for these addresses, which replaces what was let in before:
    /// for those that a [`crate::UserDialer`] speaks from. Raw mode only.
    ///
    /// # Errors
    /// See [`PortError`].
    pub fn admit(&mut self, addresses: &[Ipv4Addr]) -> Result<(), PortError> {
        match &self.means {
            Means::Frames(packets) => packets.admit(addresses).map_err(PortError::Other),
            Means::Plain(..) | Means::Routed(..) => Err(PortError::Other(io::ErrorKind::Unsupported.into())),
        }
    }

    /// Tells the switches that we want to hear the groups of discovery, or no longer do; until the
    /// first call they are not told. Joining is told by the kernel in two frames, leaving within a
    /// second in two more. Raw mode only; otherwise nothing.
    pub fn join_groups(&mut self, join: bool) {
        if matches!(self.means, Means::Frames(_)) {
            self.groups.set(join, self.station.index);
        }
    }

    /// How many short frames, such as answers are, the kernel keeps until they are read. `None` where no frames
    /// are read.
    pub fn room(&self) -> Option<usize> {
        match &self.means {
            Means::Frames(packets) => packets.room(),
            Means::Plain(..) | Means::Routed(..) => None,
        }
    }

    /// Frames that the kernel had to drop since the start because we read too slowly.
    pub fn dropped(&mut self) -> u64 {
        match &mut self.means {
            Means::Frames(packets) => packets.dropped(),
            Means::Plain(..) | Means::Routed(..) => 0,
        }
    }

    fn must_carry(&self) -> Result<(), PortError> {
        if self.station.state == LinkState::Up {
            Ok(())
        } else {
            Err(PortError::Down)
        }
    }

    fn must_be_ours(&self, address: Ipv4Addr) -> Result<(), PortError> {
        let ours = match &self.means {
            Means::Routed(_, way) => way.net().contains(&address),
            Means::Frames(_) | Means::Plain(..) => {
                self.station.addresses.iter().any(|net| net.contains(&address))
            }
        };
        if ours {
            Ok(())
        } else {
            Err(PortError::Other(io::ErrorKind::NetworkUnreachable.into()))
        }
    }
}

/// Whether the system withholds packet sockets: by permission, or from a container altogether.
fn is_withheld(error: &io::Error) -> bool {
    error.kind() == io::ErrorKind::PermissionDenied
        || matches!(
            error.raw_os_error(),
            Some(libc::EAFNOSUPPORT | libc::EPROTONOSUPPORT | libc::ENOSYS | libc::ESOCKTNOSUPPORT)
        )
}
