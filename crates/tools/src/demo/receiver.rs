//! The demo's stand-in for a simulator-side script: a loopback port that takes the datagrams.

use std::io;
use std::net::{Ipv4Addr, SocketAddr, UdpSocket};

/// Listens on a free loopback port.
#[derive(Debug)]
pub(super) struct Receiver {
    socket: UdpSocket,
    address: SocketAddr,
    received: u64,
}

impl Receiver {
    pub(super) fn open() -> io::Result<Self> {
        let socket = UdpSocket::bind((Ipv4Addr::LOCALHOST, 0))?;
        socket.set_nonblocking(true)?;
        let address = socket.local_addr()?;
        Ok(Self { socket, address, received: 0 })
    }

    pub(super) const fn address(&self) -> SocketAddr {
        self.address
    }

    /// Datagrams taken so far.
    pub(super) const fn received(&self) -> u64 {
        self.received
    }

    /// Takes what has come. Only Tallywheel's own datagrams are counted: anyone may send to a port.
    pub(super) fn drain(&mut self) {
        let mut buffer = [0_u8; 2048];
        while let Ok((length, _)) = self.socket.recv_from(&mut buffer) {
            let datagram = buffer.get(..length).unwrap_or_default();
            let json = serde_json::from_slice::<serde_json::Value>(datagram);
            if json.is_ok_and(|value| value.get("tallywheel").is_some()) {
                self.received += 1;
            }
        }
    }
}
