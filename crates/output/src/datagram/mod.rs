//! UDP datagrams to one receiver.

use crate::{ConfigProblem, Frame, Output, OutputError, Template, TrimReading};
use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, UdpSocket};
use std::time::Duration;
use tallywheel_units::{Timestamp, TrimIndex};

mod json;
mod line;
mod number;
mod template;

use template::Encoder;

/// The most bytes of a datagram. With IP and UDP headers it fits into one Ethernet frame of 1,500 bytes,
/// with room for a tunnel's own header.
pub(crate) const LARGEST_DATAGRAM: usize = 1_400;

/// How long after a full send buffer the position is sent again. On a machine that is not overloaded the
/// buffer empties within microseconds.
const RESEND_AFTER: Duration = Duration::from_millis(100);

/// Opens a socket that sends to `to` and never waits.
pub(crate) fn open(
    name: String,
    to: SocketAddr,
    template: Template,
    trims: &[(TrimIndex, String)],
    start: Option<&Frame<'_>>,
) -> Result<Box<dyn Output>, OutputError> {
    let encoder = encoder(to, template, trims)?;
    if let Some(start) = start {
        for &(trim, _) in trims {
            start.trim(trim).ok_or(ConfigProblem::NoSuchTrim(trim))?;
        }
    }
    let socket = connect(to).map_err(|source| OutputError::Reopen {
        reason: "there is no way to the receiver of the datagrams",
        cure: "check the network and the address in the aircraft file; a broadcast address does not do",
        source,
    })?;
    Ok(Box::new(Datagram {
        name,
        to,
        socket,
        bytes: Vec::with_capacity(encoder.largest()),
        encoder,
        trims: trims.iter().map(|&(trim, _)| trim).collect(),
        readings: Vec::with_capacity(trims.len()),
        sent: Vec::with_capacity(trims.len()),
        resend_at: None,
    }))
}

/// Checks everything that the configuration alone decides.
fn encoder(
    to: SocketAddr,
    template: Template,
    trims: &[(TrimIndex, String)],
) -> Result<Box<dyn Encoder>, ConfigProblem> {
    if to.port() == 0 || to.ip().is_unspecified() || to.ip() == IpAddr::V4(Ipv4Addr::BROADCAST) {
        return Err(ConfigProblem::Address(to));
    }
    if trims.is_empty() {
        return Err(ConfigProblem::NoTrims);
    }
    let mut seen = Vec::with_capacity(trims.len());
    for (_, name) in trims {
        if seen.contains(&name) {
            return Err(ConfigProblem::NameTwice(name.clone()));
        }
        seen.push(name);
    }
    let names = trims.iter().map(|(_, name)| name.as_str());
    let encoder: Box<dyn Encoder> = match template {
        Template::Json => Box::new(json::Json::new(names)),
        Template::Line => Box::new(line::Line::new(names)?),
    };
    let bytes = encoder.largest();
    if bytes > LARGEST_DATAGRAM {
        return Err(ConfigProblem::TooLarge { bytes, limit: LARGEST_DATAGRAM });
    }
    Ok(encoder)
}

/// A socket that sends to `to` only and hears of nobody else.
fn connect(to: SocketAddr) -> io::Result<UdpSocket> {
    let from: IpAddr = match (to.ip(), to.ip().is_loopback()) {
        // What stays on this machine is not even bound to the network.
        (IpAddr::V4(_), true) => Ipv4Addr::LOCALHOST.into(),
        (IpAddr::V4(_), false) => Ipv4Addr::UNSPECIFIED.into(),
        (IpAddr::V6(_), true) => Ipv6Addr::LOCALHOST.into(),
        (IpAddr::V6(_), false) => Ipv6Addr::UNSPECIFIED.into(),
    };
    let socket = UdpSocket::bind((from, 0))?;
    socket.set_nonblocking(true)?;
    socket.connect(to)?;
    Ok(socket)
}

struct Datagram {
    name: String,
    to: SocketAddr,
    socket: UdpSocket,
    encoder: Box<dyn Encoder>,
    trims: Vec<TrimIndex>,
    /// The readings of this frame, in the order of `trims`.
    readings: Vec<TrimReading>,
    /// The readings that went out last; empty before the first.
    sent: Vec<TrimReading>,
    bytes: Vec<u8>,
    resend_at: Option<Timestamp>,
}

impl Output for Datagram {
    fn name(&self) -> &str {
        &self.name
    }

    fn publish(&mut self, frame: &Frame<'_>) -> Result<(), OutputError> {
        self.readings.clear();
        for &trim in &self.trims {
            self.readings.push(*frame.trim(trim).ok_or(ConfigProblem::NoSuchTrim(trim))?);
        }
        let first = self.sent.is_empty();
        let moved = self.sent.iter().zip(&self.readings).any(|(sent, now)| self.encoder.differs(sent, now));
        if !first && !moved {
            self.resend_at = None;
            return Ok(());
        }
        self.bytes.clear();
        self.encoder.encode(frame.sequence, frame.at, &self.readings, &mut self.bytes);
        let outcome = self.send();
        match &outcome {
            Ok(()) | Err(OutputError::CarryOn { .. }) => {
                std::mem::swap(&mut self.sent, &mut self.readings);
                self.resend_at = None;
            }
            Err(OutputError::Resend { .. }) => self.resend_at = Some(frame.at.after(RESEND_AFTER)),
            Err(_) => self.resend_at = None,
        }
        outcome
    }

    fn deadline(&self) -> Option<Timestamp> {
        self.resend_at
    }
}

impl Datagram {
    fn send(&self) -> Result<(), OutputError> {
        match self.socket.send(&self.bytes) {
            Ok(_) => Ok(()),
            // The system tells that nobody took the datagram before, and does not send this one: once more,
            // or a simulator that has just started would miss it.
            Err(error) if is_refusal(&error) => match self.socket.send(&self.bytes) {
                Ok(_) => Err(OutputError::CarryOn { to: self.to }),
                Err(error) => Err(not_sent(error)),
            },
            Err(error) => Err(not_sent(error)),
        }
    }
}

/// The receiver's machine answered that nobody listens on that port (reset is how Windows puts it).
fn is_refusal(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::ConnectionRefused | io::ErrorKind::ConnectionReset)
}

fn not_sent(source: io::Error) -> OutputError {
    if is_refusal(&source) || is_busy(&source) {
        return OutputError::Resend {
            reason: "a datagram did not get out",
            cure: "the position is sent again by itself; close what keeps the network busy",
            source,
        };
    }
    OutputError::Reopen {
        reason: "the datagrams do not get out any more",
        cure: "check the network, the firewall and the address in the aircraft file",
        source,
    }
}

/// The machine has no room for the datagram at the moment.
fn is_busy(error: &io::Error) -> bool {
    let kinds = [io::ErrorKind::WouldBlock, io::ErrorKind::Interrupted, io::ErrorKind::OutOfMemory];
    kinds.contains(&error.kind()) || error.raw_os_error() == Some(NO_BUFFER_SPACE)
}

/// Linux's `ENOBUFS`, which std has no kind for.
#[cfg(target_os = "linux")]
const NO_BUFFER_SPACE: i32 = libc::ENOBUFS;
/// Windows Sockets' `WSAENOBUFS`.
#[cfg(not(target_os = "linux"))]
const NO_BUFFER_SPACE: i32 = 10_055;
