//! UDP datagrams to one receiver.

use crate::{ConfigProblem, Frame, Output, OutputError, Template};
use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, UdpSocket};
use tallywheel_units::TrimIndex;

mod json;
mod line;
mod number;
mod sender;
mod template;

use sender::Sender;
use template::Encoder;

/// The most bytes of a datagram. With IP and UDP headers it fits into one Ethernet frame of 1,500 bytes,
/// with room for a tunnel's own header.
pub(crate) const LARGEST_DATAGRAM: usize = 1_400;

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
    Ok(Box::new(Sender::new(name, to, socket, encoder, trims.iter().map(|&(trim, _)| trim).collect())))
}

/// Checks everything that the configuration alone decides.
pub(crate) fn check(
    to: SocketAddr,
    template: Template,
    trims: &[(TrimIndex, String)],
) -> Result<(), ConfigProblem> {
    encoder(to, template, trims).map(|_| ())
}

/// The encoder of a configuration that can work.
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
