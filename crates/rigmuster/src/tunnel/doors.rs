//! The loopback listeners, one for each control port of the device that works.

use std::io;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::{Arc, PoisonError, RwLock};

use tokio::net::{TcpListener, TcpStream, UdpSocket};
use tokio::sync::{Semaphore, mpsc, watch};
use tokio::time::sleep;
use vocab::{ControlPort, ControlState, ControlWord};

use super::check::{self, Replies};
use super::head::{Door, Refusal};
use super::names::Names;
use super::pump::{Desk, Wish};
use super::{http, plain, rtsp};

/// Connections at one time; a client that wants one more waits.
pub(crate) const CONNECTIONS: usize = 64;
/// Datagrams that may wait for a client.
const DATAGRAMS: usize = 256;
/// The longest datagram (RFC 768: its length has 16 bits).
const LONGEST: usize = 65_535;

/// A control port to carry, and the loopback port to listen at; `None`: any that is free.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Wanted {
    /// The device's.
    pub port: ControlPort,
    /// Ours.
    pub local: Option<u16>,
}

/// What came of a control port.
#[derive(Debug)]
pub(crate) enum Opened {
    /// It works, and this loopback address stands for it.
    Works(SocketAddr),
    /// It does not.
    Not(ControlState),
    /// There can be no listener.
    NoDoor(io::Error),
}

/// The doors of one device. Dropping it closes them all.
#[derive(Debug)]
pub(crate) struct Hall {
    shared: Shared,
    open: watch::Sender<bool>,
}

/// What all doors share.
#[derive(Debug, Clone)]
struct Shared {
    desk: Desk,
    names: Arc<RwLock<Names>>,
    places: Arc<Semaphore>,
    news: mpsc::UnboundedSender<(ControlPort, Opened)>,
    /// Whether they are to be open.
    open: watch::Receiver<bool>,
}

impl Hall {
    /// For a device at `device`. Each door tells `news` once what came of it.
    pub(crate) fn new(
        desk: Desk,
        device: Ipv4Addr,
        news: mpsc::UnboundedSender<(ControlPort, Opened)>,
    ) -> Self {
        let (open, opened) = watch::channel(true);
        let shared = Shared {
            desk,
            names: Arc::new(RwLock::new(Names::new(device))),
            places: Arc::new(Semaphore::new(CONNECTIONS)),
            news,
            open: opened,
        };
        Self { shared, open }
    }

    /// Opens a door once its control port answers, and keeps it open until all are closed.
    pub(crate) fn open(&self, wanted: Wanted) {
        let hall = self.shared.clone();
        tokio::spawn(async move {
            tokio::select! {
                biased;
                () = hall.closed() => {}
                () = hall.stand(wanted) => {}
            }
        });
    }

    /// Closes all doors; returns once no listener and no connection is left.
    pub(crate) async fn close(self) {
        let Self { shared, open } = self;
        drop(shared);
        open.send_replace(false);
        open.closed().await;
    }
}

impl Shared {
    /// Until the doors are closed.
    async fn closed(&self) {
        let mut open = self.open.clone();
        // Whoever held them is gone: that is an end too.
        let _ = open.wait_for(|open| !open).await;
    }

    async fn stand(&self, wanted: Wanted) {
        let port = wanted.port;
        let opened = if port.word.is_udp() {
            self.datagrams(wanted).await
        } else {
            self.streams(wanted).await
        };
        // It came to nothing; where it did not, this was told long ago.
        if let Err(opened) = opened {
            let _ = self.news.send((port, opened));
        }
    }

    fn names(&self) -> Names {
        self.names.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    async fn streams(&self, wanted: Wanted) -> Result<(), Opened> {
        let Wanted { port, local } = wanted;
        // First of all, so that a port that is taken is told at once.
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, local.unwrap_or(0)))
            .await
            .map_err(Opened::NoDoor)?;
        let address = listener.local_addr().map_err(Opened::NoDoor)?;
        let state = check::ask(&self.desk, self.names().device(), port, None, sleep).await;
        if state != ControlState::Answered {
            return Err(Opened::Not(state));
        }
        let door = Door {
            local: address.port(),
            port: port.port,
        };
        self.names
            .write()
            .unwrap_or_else(PoisonError::into_inner)
            .add(door.port, door.local);
        let _ = self.news.send((port, Opened::Works(address)));
        loop {
            let Ok(place) = Arc::clone(&self.places).acquire_owned().await else {
                return Ok(());
            };
            // What cannot be accepted, such as one that went again at once, is its client's loss.
            if let Ok((client, _)) = listener.accept().await {
                let hall = self.clone();
                tokio::spawn(async move {
                    hall.serve(client, port.word, door).await;
                    drop(place);
                });
            } else {
                tokio::task::yield_now().await;
            }
        }
    }

    /// One connection, from its first byte to its last.
    async fn serve(&self, mut client: TcpStream, word: ControlWord, door: Door) {
        // What is small here is small on the wire as well.
        let _ = client.set_nodelay(true);
        let speaks_http = matches!(word, ControlWord::Http | ControlWord::Onvif);
        let carried = async {
            match self.desk.connect(door.port).await {
                Err(_) if speaks_http => http::refuse(&mut client, Refusal::NoDevice).await,
                Err(_) => Err(io::ErrorKind::ConnectionReset.into()),
                Ok(line) if speaks_http => http::carry(&mut client, line, || self.names(), door).await,
                Ok(line) if word == ControlWord::Rtsp => {
                    rtsp::carry(&mut client, line, || self.names()).await
                }
                Ok(line) => plain::carry(&mut client, line).await,
            }
        };
        let result = tokio::select! {
            biased;
            () = self.closed() => Err(io::ErrorKind::ConnectionReset.into()),
            result = carried => result,
        };
        if result.is_err() {
            // A reset is passed on as one.
            let _ = client.set_zero_linger();
        }
    }

    async fn datagrams(&self, wanted: Wanted) -> Result<(), Opened> {
        let Wanted { port, local } = wanted;
        let socket = UdpSocket::bind((Ipv4Addr::LOCALHOST, local.unwrap_or(0)))
            .await
            .map_err(Opened::NoDoor)?;
        let address = socket.local_addr().map_err(Opened::NoDoor)?;
        let (give, mut replies) = mpsc::channel(DATAGRAMS);
        self.desk.wish(Wish::Listen(port.port, give)).await;
        let device = self.names().device();
        let state = check::ask(&self.desk, device, port, Some(&mut replies), sleep).await;
        if state != ControlState::Answered {
            return Err(Opened::Not(state));
        }
        let _ = self.news.send((port, Opened::Works(address)));
        self.exchange(&socket, port, &mut replies).await;
        Ok(())
    }

    async fn exchange(&self, socket: &UdpSocket, port: ControlPort, replies: &mut Replies) {
        let mut datagram = vec![0; LONGEST];
        loop {
            tokio::select! {
                heard = socket.recv_from(&mut datagram) => match heard {
                    Ok((n, client)) => {
                        self.desk.wish(Wish::Send((port.port, client), datagram[..n].to_vec())).await;
                    }
                    // A client that is gone is told so by some systems.
                    Err(_) => tokio::task::yield_now().await,
                },
                reply = replies.recv() => match reply {
                    Some((client, bytes)) if client.port() != 0 => {
                        let _ = socket.send_to(&bytes, client).await;
                    }
                    Some(_) => {}
                    None => return,
                },
            }
        }
    }
}
