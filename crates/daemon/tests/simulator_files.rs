//! What the files in `config/simulators` make of positions, byte by byte as the simulators document it.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

use std::net::UdpSocket;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tallywheel_engine::runtime_config;
use tallywheel_output::{Epoch, Frame, TrimReading, open};
use tallywheel_profile::OutputConfig;
use tallywheel_units::{AxisValue, Counts, Degrees, Margin, Normalized, Timestamp};

fn config() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../config")
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// The shipped c172p's trims, without its outputs.
fn trims() -> String {
    let aircraft = read(&config().join("aircraft/c172p.toml"));
    let end = aircraft.find("[[output]]").unwrap();
    aircraft[..end].to_owned()
}

/// The outputs of `config/simulators/SIMULATOR/output.toml` on the shipped rig.
fn outputs(simulator: &str) -> Vec<OutputConfig> {
    let file = config().join("simulators").join(simulator).join("output.toml");
    let aircraft = trims() + &read(&file);
    let aircraft =
        tallywheel_profile::aircraft(simulator, &aircraft).unwrap_or_else(|errors| panic!("{errors}"));
    let rig = tallywheel_profile::rig("rig.toml", &read(&config().join("rig.toml"))).unwrap();
    runtime_config::build(&rig, &aircraft).unwrap().outputs
}

fn reading(position: f64) -> TrimReading {
    TrimReading {
        degrees: Degrees::ZERO,
        normalized: Normalized::clamped(position),
        axis: AxisValue::NEUTRAL,
        counts: Counts::ZERO,
        margin: Margin::CERTAIN,
    }
}

/// The ports and the datagrams for a rudder, an elevator and an aileron.
fn datagrams(simulator: &str, positions: [f64; 3]) -> Vec<(u16, Vec<u8>)> {
    let receiver = UdpSocket::bind("127.0.0.1:0").unwrap();
    receiver.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    // In the order of the aircraft file.
    let file =
        tallywheel_profile::aircraft("c172p.toml", &trims()).unwrap_or_else(|errors| panic!("{errors}"));
    let names = ["rudder", "elevator", "aileron"];
    let place = |trim: &str| names.iter().position(|name| *name == trim).unwrap();
    let readings: Vec<_> = file.trims.iter().map(|trim| reading(positions[place(&trim.name)])).collect();
    let frame = Frame { at: Timestamp::from_micros(400_150), sequence: 3, trims: &readings };
    let send = |output: OutputConfig| {
        let OutputConfig::Datagram(mut datagram) = output else { panic!("{output:?}") };
        let port = datagram.to.to_string().rsplit_once(':').unwrap().1.parse().unwrap();
        datagram.to = receiver.local_addr().unwrap().into();
        let epoch = Epoch::new(Duration::from_secs(1_795_574_403));
        open(&OutputConfig::Datagram(datagram), epoch).unwrap().publish(&frame).unwrap();
        let mut bytes = vec![0; 2_000];
        let length = receiver.recv(&mut bytes).unwrap();
        bytes.truncate(length);
        (port, bytes)
    };
    outputs(simulator).into_iter().map(send).collect()
}

/// JSBSim 1.3.3, `src/input_output/FGUDPInputSocket.cpp`, as seen from outside: ASCII, a time, then one value for each
/// property of the `<input>`, parted by commas.
#[test]
fn jsbsim() {
    let sent = datagrams("jsbsim", [-0.25, 0.5, 0.125]);
    assert_eq!(sent, [(5139, b"1795574403.400150,0.25,-0.5,0.125".to_vec())]);
    let input = read(&config().join("simulators/jsbsim/input.xml"));
    assert!(input.contains("port=\"5139\""));
    let order = ["yaw", "pitch", "roll"].map(|axis| input.find(axis).unwrap());
    assert!(order.is_sorted(), "the order of the values");
}

/// README.protocol of FlightGear's docs-mini: chunks parted by `var_separator`, ended by `line_separator`.
#[test]
fn flightgear() {
    let sent = datagrams("flightgear", [-0.25, 0.5, 1.0]);
    assert_eq!(sent, [(5140, b"-0.25 -0.5 1\n".to_vec())]);
    let protocol = read(&config().join("simulators/flightgear/tallywheel.xml"));
    let order = ["rudder-trim", "elevator-trim", "aileron-trim"].map(|node| protocol.find(node).unwrap());
    assert!(order.is_sorted(), "the order of the values");
    assert!(protocol.contains("<line_separator>newline</line_separator>"));
    assert!(protocol.contains("<var_separator>space</var_separator>"));
    assert!(protocol.contains("127.0.0.1,5140,udp"));
}

/// "Exchanging Data with X-Plane": `DREF`, a zero, a float32, the data reference with a zero, blanks up to 509 bytes,
/// port 49000. That the layout gives the published bytes is held in the output crate by digests.
#[test]
fn x_plane() {
    let expected = |value: f32, name: &str| {
        let mut bytes = [b"DREF\0".as_slice(), &value.to_le_bytes(), name.as_bytes(), b"\0"].concat();
        bytes.resize(509, b' ');
        (49_000, bytes)
    };
    let controls = "sim/flightmodel/controls";
    let wanted = [
        expected(-0.25, &format!("{controls}/rud_trim")),
        expected(0.5, &format!("{controls}/elv_trim")),
        expected(1.0, &format!("{controls}/ail_trim")),
    ];
    assert_eq!(datagrams("x-plane", [-0.25, 0.5, 1.0]), wanted);
}

#[test]
fn the_shipped_aircraft_has_the_output_of_its_simulator() {
    let aircraft = read(&config().join("aircraft/c172p.toml"));
    assert!(aircraft.ends_with(&read(&config().join("simulators/jsbsim/output.toml"))));
}
