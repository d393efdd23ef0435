//! `listen ADDRESS FILE`: writes every datagram as one line, until it is killed.

use std::fs::File;
use std::io::Write;
use std::net::UdpSocket;

use crate::Failure;

pub(crate) fn run(words: &[String]) -> Result<(), Failure> {
    let [address, path] = words else { return Err("listen ADDRESS FILE".into()) };
    let socket = UdpSocket::bind(address)?;
    let mut file = File::create(path)?;
    let mut datagram = vec![0_u8; 65_536];
    loop {
        let length = socket.recv(&mut datagram)?;
        let mut line = datagram.get(..length).unwrap_or_default().to_vec();
        while line.last() == Some(&b'\n') {
            line.pop();
        }
        line.push(b'\n');
        // One write per datagram: the records may be copied at any moment.
        file.write_all(&line)?;
    }
}
