//! UDP datagrams to one receiver.

use crate::{ConfigProblem, Epoch, Frame, Output, OutputError};
use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, UdpSocket};
use tallywheel_profile::{DatagramConfig, Destination, Template};
use tallywheel_units::TrimIndex;

mod encoder;
mod json;
mod layout;
mod line;
mod lookup;
mod named;
mod number;
mod osc;
mod packed;
mod sender;
mod times;

use encoder::Encoder;
use named::Named;
use sender::Sender;
use times::Times;

/// Opens a socket that sends to `config.to` and never waits. A name is looked up first, on a thread of its own.
pub(crate) fn open(
    name: String,
    config: &DatagramConfig,
    epoch: Epoch,
    start: Option<&Frame<'_>>,
) -> Result<Box<dyn Output>, OutputError> {
    let maker =
        Maker { name, encoder: encoder(config)?, trims: config.sent(), times: Times::new(config, epoch) };
    if let Some(start) = start {
        for &trim in &maker.trims {
            start.trim(trim).ok_or(ConfigProblem::NoSuchTrim(trim))?;
        }
    }
    match &config.to {
        Destination::Address(to) => Ok(Box::new(maker.sender(*to)?)),
        Destination::Host { name, port } => Ok(Box::new(Named::new(name, *port, maker)?)),
    }
}

/// All that a sender needs but the socket.
struct Maker {
    name: String,
    encoder: Box<dyn Encoder>,
    trims: Vec<TrimIndex>,
    times: Times,
}

impl Maker {
    fn sender(self, to: SocketAddr) -> Result<Sender<UdpSocket>, OutputError> {
        let socket = connect(to).map_err(no_way)?;
        Ok(self.with(to, socket))
    }

    fn with<L: sender::Link>(self, to: SocketAddr, link: L) -> Sender<L> {
        Sender::new(self.name, to, link, self.encoder, self.trims, self.times)
    }
}

fn no_way(source: io::Error) -> OutputError {
    OutputError::Reopen {
        reason: "there is no way to the receiver of the datagrams",
        cure: "check the network and the address in the aircraft file; a broadcast address does not do",
        source,
    }
}

/// Checks everything that the configuration alone decides.
pub(crate) fn check(config: &DatagramConfig) -> Result<(), ConfigProblem> {
    encoder(config).map(|_| ())
}

/// The encoder of a configuration that can work.
fn encoder(config: &DatagramConfig) -> Result<Box<dyn Encoder>, ConfigProblem> {
    if let Destination::Address(to) = config.to
        && !is_receiver(to)
    {
        return Err(ConfigProblem::Address(to));
    }
    let names = config.trims.iter().map(|(_, name)| name.as_str());
    let scale = config.scale;
    let encoder: Box<dyn Encoder> = match &config.template {
        Template::Layout(fields) => Box::new(layout::Layout::new(fields)?),
        Template::Json => Box::new(json::Json::new(names, scale)),
        Template::Line => Box::new(line::Line::new(names, scale)?),
        Template::Osc { prefix } => Box::new(osc::Osc::new(prefix, names, scale)?),
        Template::Packed => Box::new(packed::Packed::new(config.trims.len(), scale)),
    };
    let bytes = encoder.largest();
    if bytes > DatagramConfig::LARGEST_BYTES {
        return Err(ConfigProblem::TooLarge { bytes, limit: DatagramConfig::LARGEST_BYTES });
    }
    Ok(encoder)
}

/// Whether it is the address of one receiver.
fn is_receiver(to: SocketAddr) -> bool {
    to.port() != 0 && !to.ip().is_unspecified() && to.ip() != IpAddr::V4(Ipv4Addr::BROADCAST)
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
