//! Cameras with lamps and heads, and panels whose sticks are pushed.
//!
//! What a panel sends to a head is not played as frames: it moves, if both are on the network.

use std::net::Ipv4Addr;
use std::time::Duration;

use smoltcp::iface::SocketHandle;
use smoltcp::socket::udp;
use vocab::Moment;
use wire::persona::camera::{Camera, CameraPlan};
use wire::visca::Position;

use crate::builder::{Deed, HostId, HostPlan, Plan};
use crate::host::Host;
use crate::service::Services;
use crate::stack::Stack;
use crate::venue::Venue;

/// Whom a camera speaks with.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Peer {
    /// By datagrams at this socket.
    Datagram(SocketHandle, udp::UdpMetadata),
    /// By this connection.
    Stream(SocketHandle),
}

impl HostPlan {
    /// It is a camera like that at the ports where it speaks VISCA.
    #[must_use]
    pub fn camera(mut self, camera: CameraPlan) -> Self {
        self.camera = Some(camera);
        self
    }

    /// It is a panel whose channel really drives whoever is at these addresses, whatever a rig file says.
    #[must_use]
    pub fn drives(mut self, channel: u32, addresses: &[Ipv4Addr]) -> Self {
        self.drives.insert(channel, addresses.to_vec());
        self
    }
}

impl Plan {
    /// The planned host of that name is a camera like that.
    pub fn make_camera(&mut self, name: &str, camera: &CameraPlan) {
        for host in self.hosts.iter_mut().filter(|h| h.name == name) {
            host.camera = Some(camera.clone());
        }
    }

    /// The channels of the planned panel of that name drive whoever is at these addresses, and nobody else.
    pub fn wire_panel(&mut self, name: &str, channels: &[(u32, &[Ipv4Addr])]) {
        for host in self.hosts.iter_mut().filter(|h| h.name == name) {
            host.drives = channels.iter().map(|(n, to)| (*n, to.to_vec())).collect();
        }
    }
}

impl Services {
    /// Says what the camera has to say by now.
    pub(crate) fn let_camera_speak(&mut self, stack: &mut Stack, now: Moment) {
        let owed = self.camera.as_mut().map(|camera| camera.take(now));
        for (peer, _, bytes) in owed.into_iter().flatten() {
            match peer {
                Peer::Datagram(handle, to) => {
                    if self.datagrams.iter().any(|(h, _)| *h == handle) {
                        // A full buffer loses the datagram, as it would on a real host.
                        let _ = stack
                            .sockets
                            .get_mut::<udp::Socket>(handle)
                            .send_slice(&bytes, to);
                    }
                }
                Peer::Stream(handle) => {
                    if let Some(c) = self.connections.iter_mut().find(|c| c.handle == handle) {
                        c.owed.extend(bytes);
                    }
                }
            }
        }
    }

    /// Starts the camera anew.
    pub(crate) fn restart_camera(&mut self, plan: Option<&CameraPlan>) {
        self.camera = plan.cloned().map(Camera::new);
    }

    /// Whether the device has died of a question.
    pub(crate) fn is_dead(&self) -> bool {
        self.camera.as_ref().is_some_and(Camera::is_dead)
    }
}

impl Host {
    /// Its camera, while it can be driven by the network.
    fn driven(&mut self, now: Moment) -> Option<&mut Camera<Peer>> {
        let up = self.talks_ip(now) && !self.services.is_dead();
        self.services.camera.as_mut().filter(|_| up)
    }
}

impl Venue {
    /// The host of that name.
    pub fn host_named(&self, name: &str) -> Option<HostId> {
        self.hosts.iter().position(|h| h.plan.name == name).map(HostId)
    }

    /// The host of that name is a camera like that from now on.
    pub fn put_camera(&mut self, name: &str, camera: CameraPlan) {
        let host = self.host_named(name).and_then(|id| self.hosts.get_mut(id.0));
        if let Some(host) = host {
            host.services.restart_camera(Some(&camera));
            host.plan.camera = Some(camera);
        }
    }

    /// Whether the lamp of that camera is lit; `None` if it has none.
    pub fn lamp(&self, name: &str) -> Option<bool> {
        let camera = self.hosts[self.host_named(name)?.0].services.camera.as_ref();
        camera?.lamp()
    }

    /// Where the head of that camera points; `None` if it has none.
    pub fn head(&self, name: &str) -> Option<Position> {
        let camera = self.hosts[self.host_named(name)?.0].services.camera.as_ref();
        camera?.position(self.now)
    }

    /// Drives or lets go of all heads that a channel of a panel really drives.
    pub(crate) fn stick(&mut self, panel: HostId, channel: u32, push: Option<(i32, i32)>) {
        let now = self.now;
        let Some(host) = self.hosts.get(panel.0).filter(|h| h.talks_ip(now)) else {
            return;
        };
        let addresses = host.plan.drives.get(&channel).cloned().unwrap_or_default();
        for host in &mut self.hosts {
            if !host.held.iter().any(|net| addresses.contains(&net.addr())) {
                continue;
            }
            if let Some(camera) = host.driven(now) {
                match push {
                    Some((pan, tilt)) => camera.push(now, pan, tilt),
                    None => camera.let_go(now),
                }
            }
        }
    }

    /// Pushes a stick, and lets go of it later.
    pub(crate) fn push_stick(&mut self, panel: HostId, channel: u32, speed: (i32, i32), span: Duration) {
        self.stick(panel, channel, Some(speed));
        self.plan(self.now + span, Deed::LetGo { panel, channel });
    }

    pub(crate) fn set_camera(&mut self, id: HostId, camera: CameraPlan) {
        if let Some(host) = self.hosts.get_mut(id.0) {
            host.plan.camera = Some(camera);
            host.services.restart_camera(host.plan.camera.as_ref());
        }
    }

    pub(crate) fn wire(&mut self, panel: HostId, channel: u32, to: Vec<Ipv4Addr>) {
        if let Some(host) = self.hosts.get_mut(panel.0) {
            host.plan.drives.insert(channel, to);
        }
    }

    /// Somebody else lights a lamp, or puts it out.
    pub(crate) fn set_lamp(&mut self, id: HostId, lit: bool) {
        if let Some(camera) = self.hosts.get_mut(id.0).and_then(|h| h.services.camera.as_mut()) {
            camera.set_lamp(lit);
        }
    }
}
