//! Which UDP ports are open on this machine: /proc/net/udp and udp6, as proc(5) describes them. Addresses are
//! written as 32-bit words in the machine's own byte order.

use std::fs;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::Path;

/// All that are open; nothing where they cannot be read.
pub(super) fn udp(proc: &Path) -> Option<Vec<SocketAddr>> {
    let four = fs::read_to_string(proc.join("net/udp")).ok()?;
    let six = fs::read_to_string(proc.join("net/udp6")).unwrap_or_default();
    Some(four.lines().chain(six.lines()).filter_map(local).collect())
}

/// The local address in a line.
fn local(line: &str) -> Option<SocketAddr> {
    let (address, port) = line.split_whitespace().nth(1)?.split_once(':')?;
    let port = u16::from_str_radix(port, 16).ok()?;
    let word = |n: usize| u32::from_str_radix(address.get(n * 8..n * 8 + 8)?, 16).ok().map(u32::to_ne_bytes);
    let ip = match address.len() {
        8 => IpAddr::V4(Ipv4Addr::from(word(0)?)),
        32 => {
            let mut bytes = [0; 16];
            for (n, four) in bytes.chunks_exact_mut(4).enumerate() {
                four.copy_from_slice(&word(n)?);
            }
            IpAddr::V6(Ipv6Addr::from(bytes))
        }
        _ => return None,
    };
    Some(SocketAddr::new(ip, port))
}

/// Whether a datagram to `to` reaches one of `open`.
pub(super) fn reach(open: &[SocketAddr], to: SocketAddr) -> bool {
    let same_kind = |ip: IpAddr| ip.is_ipv4() == to.is_ipv4() || (ip.is_ipv6() && ip.is_unspecified());
    open.iter().any(|at| {
        at.port() == to.port() && same_kind(at.ip()) && (at.ip() == to.ip() || at.ip().is_unspecified())
    })
}

/// Whether one of `open` keeps others from listening at `at`.
pub(super) fn clash(open: &[SocketAddr], at: SocketAddr) -> bool {
    reach(open, at) || (at.ip().is_unspecified() && open.iter().any(|other| other.port() == at.port()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line of a real /proc/net/udp on a little-endian machine: port 47811 on 127.0.0.1.
    #[cfg(target_endian = "little")]
    #[test]
    fn a_line_of_the_kernel_s_is_understood() {
        let line = "  305: 0100007F:BAC3 00000000:0000 07 00000000:00000000 00:00000000 00000000  1000        0 31 2 0 0";
        assert_eq!(local(line), Some("127.0.0.1:47811".parse().unwrap()));
        let six = "  305: 00000000000000000000000001000000:BAC3 00000000000000000000000000000000:0000 07";
        assert_eq!(local(six), Some("[::1]:47811".parse().unwrap()));
        assert_eq!(local("  sl  local_address rem_address   st tx_queue"), None);
        assert_eq!(local("1: 01:2 3"), None);
    }

    #[test]
    fn a_receiver_is_reached_at_its_own_or_at_any_address() {
        let to = "127.0.0.1:47811".parse().unwrap();
        let reached = |at: &str| reach(&[at.parse().unwrap()], to);
        assert!(reached("127.0.0.1:47811") && reached("0.0.0.0:47811") && reached("[::]:47811"));
        assert!(!reached("127.0.0.1:47812") && !reached("127.0.0.2:47811") && !reached("[::1]:47811"));
    }

    #[test]
    fn whoever_listens_everywhere_clashes_with_all_at_that_port() {
        let clashes = |open: &str, at: &str| clash(&[open.parse().unwrap()], at.parse().unwrap());
        assert!(clashes("127.0.0.1:1", "0.0.0.0:1") && clashes("0.0.0.0:1", "127.0.0.1:1"));
        assert!(!clashes("127.0.0.1:1", "127.0.0.2:1") && !clashes("127.0.0.1:1", "0.0.0.0:2"));
    }

    /// The system's own table, with a port that this test has opened.
    #[cfg(target_os = "linux")]
    #[test]
    fn an_open_port_is_in_the_system_s_table() {
        let socket = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
        let at = socket.local_addr().unwrap();
        assert!(reach(&udp(Path::new("/proc")).unwrap(), at));
        drop(socket);
        assert!(!reach(&udp(Path::new("/proc")).unwrap(), at));
    }
}
