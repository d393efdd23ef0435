//! Datagrams through a real socket on this machine, from the public interface only.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic, reason = "a test may stop anywhere")]

use std::net::{Ipv6Addr, SocketAddr, UdpSocket};
use std::time::Duration;
use tallywheel_output::{
    ConfigProblem, Epoch, ErrorKind, Frame, Output, OutputError, State, Supervised, TrimReading, check,
    open_at,
};
use tallywheel_profile::{
    AxisCode, ByteOrder, DatagramConfig, Destination, LayoutField, NumberForm, NumberKind, NumberSource,
    OutputConfig, Scale, Template, TextForm, TrimValue,
};
use tallywheel_units::{AxisValue, Counts, Degrees, Margin, Normalized, Timestamp, TrimIndex};

const RUDDER: TrimIndex = TrimIndex::new(0);
const ELEVATOR: TrimIndex = TrimIndex::new(1);

fn reading(position: f64) -> TrimReading {
    TrimReading {
        degrees: Degrees::new(290.0 * (position + 1.0)).unwrap(),
        normalized: Normalized::clamped(position),
        axis: AxisValue::NEUTRAL,
        counts: Counts::ZERO,
        margin: Margin::CERTAIN,
    }
}

fn frame(sequence: u64, trims: &[TrimReading]) -> Frame<'_> {
    Frame { at: Timestamp::from_micros(sequence * 1_000), sequence, trims }
}

fn receiver() -> UdpSocket {
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    // Loopback hands over at once; this only keeps a failing test from hanging.
    socket.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    socket
}

fn receive(socket: &UdpSocket) -> String {
    let mut bytes = [0; 2_000];
    let length = socket.recv(&mut bytes).unwrap();
    String::from_utf8(bytes[..length].to_vec()).unwrap()
}

/// Whether nothing has arrived. On loopback a datagram is there when `send` returns.
fn is_empty(socket: &UdpSocket) -> bool {
    socket.set_nonblocking(true).unwrap();
    let empty = socket.recv(&mut [0; 2_000]).is_err();
    socket.set_nonblocking(false).unwrap();
    empty
}

fn datagram(to: SocketAddr, template: Template, trims: &[(TrimIndex, &str)]) -> OutputConfig {
    let trims = trims.iter().map(|&(trim, name)| (trim, name.to_owned())).collect();
    OutputConfig::Datagram(DatagramConfig::new(to, template, trims))
}

fn osc() -> Template {
    Template::Osc { prefix: "/tallywheel".to_owned() }
}

/// Time, number, and the rudder as text and as bytes.
fn layout() -> Template {
    let text = |source| LayoutField::Number { source, form: NumberForm::Text(TextForm::default()) };
    let rudder = NumberSource::Trim(RUDDER, TrimValue::Position(Scale::UNIT));
    let form = NumberForm::Binary(NumberKind::F32, ByteOrder::Big);
    Template::Layout(vec![
        text(NumberSource::TimeSeconds),
        LayoutField::Bytes(b" rudder ".to_vec()),
        text(NumberSource::Sequence),
        text(rudder),
        LayoutField::Pad { to: 80, with: b' ' },
        LayoutField::Number { source: rudder, form },
    ])
}

fn open(config: &OutputConfig) -> Result<Box<dyn Output>, OutputError> {
    tallywheel_output::open(config, Epoch::ZERO)
}

fn opened(to: &UdpSocket, template: Template, trims: &[(TrimIndex, &str)]) -> Box<dyn Output> {
    open(&datagram(to.local_addr().unwrap(), template, trims)).unwrap()
}

#[test]
fn json_arrives_as_documented() {
    let simulator = receiver();
    let mut output = opened(&simulator, Template::Json, &[(ELEVATOR, "elevator"), (RUDDER, "rudder")]);
    assert_eq!(output.name(), format!("datagram {}", simulator.local_addr().unwrap()));
    output.publish(&frame(7, &[reading(-1.0), reading(0.5)])).unwrap();
    assert_eq!(
        receive(&simulator),
        "{\"tallywheel\":1,\"sequence\":0,\"time_us\":7000,\"trims\":{\
         \"elevator\":{\"position\":0.5,\"axis\":0,\"degrees\":435,\"counts\":0,\"margin\":[0,0]},\
         \"rudder\":{\"position\":-1,\"axis\":0,\"degrees\":0,\"counts\":0,\"margin\":[0,0]}}}"
    );
}

#[test]
fn a_line_arrives_as_documented() {
    let simulator = receiver();
    let mut output = opened(&simulator, Template::Line, &[(RUDDER, "rudder")]);
    output.publish(&frame(0, &[reading(-0.25)])).unwrap();
    assert_eq!(receive(&simulator), "rudder -0.25\n");
}

#[test]
fn only_a_change_in_the_outputs_own_trims_is_sent() {
    let simulator = receiver();
    let mut output = opened(&simulator, Template::Json, &[(RUDDER, "rudder")]);
    output.publish(&frame(0, &[reading(0.0), reading(0.0)])).unwrap();
    receive(&simulator);
    output.publish(&frame(1, &[reading(0.0), reading(0.7)])).unwrap();
    assert!(is_empty(&simulator));
    let doubtful = TrimReading { margin: Margin::both(Counts::ONE), ..reading(0.0) };
    output.publish(&frame(2, &[doubtful, reading(0.7)])).unwrap();
    assert!(receive(&simulator).contains("\"sequence\":1,"));
    output.publish(&frame(3, &[doubtful, reading(0.7)])).unwrap();
    assert!(is_empty(&simulator));
    assert_eq!(output.deadline(), None, "nothing is left to do, so nothing may wake up");
}

/// Linux reports the refusal of one datagram on the next `send` and does not send that one.
#[cfg(target_os = "linux")]
#[test]
fn a_simulator_that_starts_late_misses_nothing() {
    // An address of its own: no other test may take the port while nobody listens on it.
    let simulator = UdpSocket::bind("127.0.0.2:0").unwrap();
    let address = simulator.local_addr().unwrap();
    let mut output = opened(&simulator, Template::Line, &[(RUDDER, "rudder")]);
    drop(simulator);
    output.publish(&frame(0, &[reading(0.1)])).unwrap();
    for step in 1..4_u8 {
        let position = 0.1 + f64::from(step) / 100.0;
        let error = output.publish(&frame(step.into(), &[reading(position)])).unwrap_err();
        assert_eq!(error.kind(), ErrorKind::CarryOn);
        assert_eq!(
            error.to_string(),
            format!(
                "nobody listens at {address}: start the simulator, or correct the port in the aircraft file"
            )
        );
    }
    let simulator = UdpSocket::bind(address).unwrap();
    // The refusal before is still to be told, and yet this one arrives.
    let outcome = output.publish(&frame(4, &[reading(0.9)]));
    assert_eq!(outcome.unwrap_err().kind(), ErrorKind::CarryOn);
    assert_eq!(receive(&simulator), "rudder 0.9\n");
    output.publish(&frame(5, &[reading(1.0)])).unwrap();
    assert_eq!(receive(&simulator), "rudder 1\n");
    assert!(is_empty(&simulator));
}

#[test]
fn what_comes_back_is_neither_needed_nor_harmful() {
    let simulator = receiver();
    let mut output = opened(&simulator, Template::Line, &[(RUDDER, "rudder")]);
    output.publish(&frame(0, &[reading(0.0)])).unwrap();
    let (_, from) = simulator.recv_from(&mut [0; 100]).unwrap();
    assert!(from.ip().is_loopback(), "a socket for this machine alone must not be bound to the network");
    for _ in 0..10_000 {
        simulator.send_to(&[0xFF; 1_000], from).unwrap();
    }
    output.publish(&frame(1, &[reading(0.5)])).unwrap();
    assert_eq!(receive(&simulator), "rudder 0.5\n");
}

#[test]
fn ipv6_works_where_the_machine_has_it() {
    // A machine without IPv6 cannot be asked.
    let Ok(simulator) = UdpSocket::bind((Ipv6Addr::LOCALHOST, 0)) else { return };
    let mut output = opened(&simulator, Template::Line, &[(RUDDER, "rudder")]);
    output.publish(&frame(0, &[reading(1.0)])).unwrap();
    assert_eq!(receive(&simulator), "rudder 1\n");
}

#[test]
fn nothing_is_allocated_per_frame() {
    let simulator = receiver();
    for template in [Template::Json, Template::Line, osc(), Template::Packed, layout()] {
        let mut output = opened(&simulator, template.clone(), &[(RUDDER, "rudder"), (ELEVATOR, "elevator")]);
        let readings: Vec<_> =
            (0..50_u8).map(|step| [reading(f64::from(step) / -77.0), reading(0.0)]).collect();
        output.publish(&frame(0, &readings[0])).unwrap();
        let counted = allocation_counter::measure(|| {
            for (sequence, trims) in (1..).zip(&readings) {
                output.publish(&frame(sequence, trims)).unwrap();
            }
        });
        assert_eq!(counted.count_total, 0, "{template:?}");
        let mut bytes = [0; 2_000];
        assert!(simulator.recv(&mut bytes).unwrap() > 10);
    }
}

#[test]
fn times_go_on_where_a_restarted_program_had_them() {
    let simulator = receiver();
    let template = Template::Layout(vec![
        LayoutField::Number {
            source: NumberSource::TimeSeconds,
            form: NumberForm::Text(TextForm { digits: Some(6), ..TextForm::default() }),
        },
        LayoutField::Bytes(b",".to_vec()),
        LayoutField::Number {
            source: NumberSource::Trim(RUDDER, TrimValue::Position(Scale::UNIT)),
            form: NumberForm::Text(TextForm::default()),
        },
    ]);
    let config = datagram(simulator.local_addr().unwrap(), template, &[]);
    let mut seen = Vec::new();
    for start in [1_795_574_403, 1_795_574_463] {
        let epoch = Epoch::new(Duration::from_secs(start));
        let mut output = tallywheel_output::open(&config, epoch).unwrap();
        // The second program's clock starts at 0 again.
        output.publish(&frame(2_500, &[reading(0.25)])).unwrap();
        seen.push(receive(&simulator));
    }
    assert_eq!(seen, ["1795574405.500000,0.25", "1795574465.500000,0.25"]);
}

#[test]
fn a_receiver_can_be_called_by_its_name() {
    let simulator = receiver();
    let to = Destination::parse(&format!("localhost:{}", simulator.local_addr().unwrap().port())).unwrap();
    let config = DatagramConfig::new(to, Template::Line, vec![(RUDDER, "rudder".to_owned())]);
    let mut output = Supervised::new(OutputConfig::Datagram(config), Epoch::ZERO);
    let trims = [reading(0.25)];
    let mut notices = Vec::new();
    while output.state() != State::Open {
        notices.extend(output.publish(&frame(1, &trims)).map(|notice| notice.to_string()));
        assert_ne!(output.state(), State::Failed, "{notices:?}");
        std::thread::yield_now();
    }
    assert_eq!(notices, ["open"]);
    assert_eq!(receive(&simulator), "rudder 0.25\n");
    assert_eq!(output.deadline(), None);
}

fn refused(config: &OutputConfig) -> ConfigProblem {
    match open(config).map(|_| ()) {
        Err(OutputError::ChangeConfig(problem)) => problem,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_configuration_that_cannot_work_is_refused_when_it_is_opened() {
    let to: SocketAddr = "127.0.0.1:9".parse().unwrap();
    for bad in ["127.0.0.1:0", "0.0.0.0:9", "[::]:9", "255.255.255.255:9"] {
        let to = bad.parse().unwrap();
        let config = datagram(to, Template::Json, &[(RUDDER, "t")]);
        assert_eq!(refused(&config), ConfigProblem::Address(to));
    }
    assert_eq!(
        refused(&datagram(to, osc(), &[(RUDDER, "nose up")])),
        ConfigProblem::NameInOsc("nose up".to_owned())
    );
    let many: Vec<_> = (0..36).map(TrimIndex::new).map(|trim| (trim, format!("t{}", trim.get()))).collect();
    let many = DatagramConfig::new(to, Template::Packed, many);
    let limit = ConfigProblem::TooLarge { bytes: 1_464, limit: 1_400 };
    assert_eq!(refused(&OutputConfig::Datagram(many)), limit);
    let spaced = datagram(to, Template::Line, &[(RUDDER, "nose up")]);
    assert_eq!(refused(&spaced), ConfigProblem::NameInLine("nose up".to_owned()));
    assert!(open(&datagram(to, Template::Json, &[(RUDDER, "nose up")])).is_ok());
}

#[test]
fn more_than_1400_bytes_are_refused_and_1400_are_not() {
    let to: SocketAddr = "127.0.0.1:9".parse().unwrap();
    let line = |length: usize| datagram(to, Template::Line, &[(RUDDER, &"n".repeat(length))]);
    // Blank, the longest position "-0.123456789" and newline: 14 bytes.
    assert!(open(&line(1_386)).is_ok());
    assert_eq!(refused(&line(1_387)), ConfigProblem::TooLarge { bytes: 1_401, limit: 1_400 });
    let names = ["rudder", "elevator", "aileron", "stabiliser", "flaps", "tail wheel"];
    let six: Vec<_> = (0..).map(TrimIndex::new).zip(names).collect();
    assert!(open(&datagram(to, Template::Json, &six)).is_ok(), "six trims are no reason for a second output");
}

#[test]
fn a_configuration_can_be_checked_without_opening_it() {
    let to: SocketAddr = "127.0.0.1:9".parse().unwrap();
    assert_eq!(check(&datagram(to, Template::Json, &[(RUDDER, "rudder")])), Ok(()));
    let nowhere = "0.0.0.0:9".parse().unwrap();
    let config = datagram(nowhere, Template::Json, &[(RUDDER, "rudder")]);
    assert_eq!(check(&config), Err(ConfigProblem::Address(nowhere)));
    let axes = vec![(RUDDER, AxisCode::X)];
    let axis = OutputConfig::Axis { device: None, axes, declared: Vec::new(), scale: Scale::UNIT };
    let possible = if cfg!(target_os = "linux") { Ok(()) } else { Err(ConfigProblem::NoKernelDriver) };
    assert_eq!(check(&axis), possible);
}

#[test]
fn a_trim_that_the_aircraft_lacks_is_named() {
    let simulator = receiver();
    let config = datagram(simulator.local_addr().unwrap(), Template::Json, &[(ELEVATOR, "elevator")]);
    let short = [reading(0.0)];
    let error = open_at(&config, Epoch::ZERO, &frame(0, &short)).map(|_| ()).unwrap_err();
    assert_eq!(error.kind(), ErrorKind::ChangeConfig);
    assert!(error.to_string().contains("place 1"), "{error}");
    let mut output = open(&config).unwrap();
    assert_eq!(output.publish(&frame(0, &short)).unwrap_err().kind(), ErrorKind::ChangeConfig);
    assert!(is_empty(&simulator));
}
