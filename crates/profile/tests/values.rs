//! What good files say.
#![allow(clippy::unwrap_used, reason = "helpers of tests may stop at the first surprise")]

mod common;

use common::{AIRCRAFT, RARE_AIRCRAFT, RARE_RIG, RIG, good_aircraft, good_rig, spoiled};
use std::time::Duration;
use tallywheel_profile::{
    AxisCode, ButtonRun, DatagramConfig, Destination, DeviceName, OnReport, OutputConfig, Position, Scale,
    Start, Template, UsbId, WheelInputs,
};
use tallywheel_units::{
    BoardIndex, ButtonNumber, CountsPerCycle, Degrees, Normalized, Ratio, StopStyle, TrimIndex,
};

fn button(number: u8) -> ButtonNumber {
    ButtonNumber::new(number).unwrap()
}

#[test]
fn a_rig_with_everything() {
    let rig = good_rig(RIG);
    assert_eq!(rig.name, "bench");

    let [main, second] = &rig.boards[..] else { panic!("{:?}", rig.boards) };
    assert_eq!(main.name, "main");
    assert_eq!(main.usb, Some(UsbId { vendor: 0x1209, product: 0x7a11 }));
    assert_eq!(main.usb.unwrap().to_string(), "1209:7a11");
    assert_eq!((&main.serial, &main.path), (&None, &None));
    assert_eq!(main.report_interval, Some(Duration::from_millis(4)));
    assert!(main.buttons.is_empty());
    assert_eq!(second.serial.as_deref(), Some("A-2"));
    assert_eq!(second.path.as_deref(), Some("/dev/hidraw3"));
    assert_eq!(second.report_interval, None);
    let run = ButtonRun { report_id: Some(1), first_bit: 8, first_button: button(1), buttons: 32 };
    assert_eq!(second.buttons, [run]);

    let [rudder, elevator] = &rig.wheels[..] else { panic!("{:?}", rig.wheels) };
    assert_eq!((rudder.name.as_str(), rudder.board), ("rudder", BoardIndex::new(0)));
    assert_eq!(rudder.inputs, WheelInputs::Pulses { forward: button(3), backward: button(4) });
    assert_eq!(rudder.per_turn.get(), 96);
    assert!(!rudder.pressed_at_rest && !rudder.reversed);
    assert_eq!((elevator.name.as_str(), elevator.board), ("elevator", BoardIndex::new(1)));
    let inputs = WheelInputs::Quadrature { a: button(1), b: button(2), per_cycle: CountsPerCycle::X4 };
    assert_eq!(elevator.inputs, inputs);
    assert_eq!(elevator.inputs.buttons(), [button(1), button(2)]);
    assert!(elevator.pressed_at_rest && elevator.reversed);
}

#[test]
fn an_aircraft_with_everything() {
    let aircraft = good_aircraft(AIRCRAFT);
    assert_eq!(aircraft.name, "Kettrin 2 floatplane");

    let [rudder, pitch] = &aircraft.trims[..] else { panic!("{:?}", aircraft.trims) };
    assert_eq!((rudder.name.as_str(), rudder.wheel.as_str()), ("rudder", "rudder"));
    assert_eq!((rudder.travel.get(), rudder.neutral.get()), (580.0, 320.0));
    assert_eq!((rudder.stops, rudder.reversed, rudder.start), (StopStyle::Slip, false, Start::Neutral));
    assert_eq!((pitch.name.as_str(), pitch.wheel.as_str()), ("pitch", "elevator"));
    assert_eq!((pitch.travel.get(), pitch.neutral.get()), (1080.5, 540.25));
    assert_eq!((pitch.stops, pitch.reversed), (StopStyle::Remember, true));
    let Start::At(start) = pitch.start else { panic!("{:?}", pitch.start) };
    assert_eq!(start.get(), 400.0);

    let [axis, datagram] = &aircraft.outputs[..] else { panic!("{:?}", aircraft.outputs) };
    let (first, second) = (TrimIndex::new(0), TrimIndex::new(1));
    let OutputConfig::Axis { device, axes, scale, .. } = axis else { panic!("{axis:?}") };
    assert_eq!(*device, DeviceName::new("Kettrin trim"));
    assert_eq!(axes[..], [(first, AxisCode::X), (second, AxisCode::Ry)]);
    assert_eq!(*scale, Scale::UNIT);
    let trims = vec![(second, "pitch".to_owned()), (first, "rudder".to_owned())];
    let to = Destination::parse("127.0.0.1:47811").unwrap();
    assert_eq!(*datagram, OutputConfig::Datagram(DatagramConfig::new(to, Template::Line, trims)));
}

#[test]
fn what_is_left_out_has_its_default() {
    let aircraft = good_aircraft(
        "name = \"Least\"\n[[trim]]\nname = \"a\"\ntravel_degrees = 90\n[[trim]]\nname = \"b\"\ntravel_degrees = 1\n\
         [[output]]\nkind = \"axis\"\n[[output]]\nkind = \"datagram\"\nto = \"[::1]:9\"\n",
    );
    let trim = &aircraft.trims[0];
    assert_eq!((trim.wheel.as_str(), trim.neutral.get()), ("a", 45.0));
    assert_eq!((trim.stops, trim.reversed, trim.start), (StopStyle::Slip, false, Start::Saved));
    assert_eq!((trim.report, trim.smoothing), (OnReport::Adopt, None));
    assert_eq!(trim.ratios, [Ratio::DIRECT]);
    assert!(trim.positions.is_empty() && trim.curve.is_empty());
    assert!(aircraft.titles.is_empty() && !aircraft.default);
    let (first, second) = (TrimIndex::new(0), TrimIndex::new(1));
    let axes = vec![(first, AxisCode::X), (second, AxisCode::Y)];
    assert_eq!(
        aircraft.outputs[0],
        OutputConfig::Axis { device: None, axes, declared: vec![], scale: Scale::UNIT }
    );
    let trims = vec![(first, "a".to_owned()), (second, "b".to_owned())];
    let datagram = DatagramConfig::new(Destination::parse("[::1]:9").unwrap(), Template::Json, trims);
    assert_eq!(aircraft.outputs[1], OutputConfig::Datagram(datagram));
    assert!(
        good_aircraft("name = \"None\"\n[[trim]]\nname = \"a\"\ntravel_degrees = 90\n").outputs.is_empty()
    );
}

/// The keys that most files leave out.
#[test]
fn an_aircraft_with_everything_rare() {
    let aircraft = good_aircraft(RARE_AIRCRAFT);
    let degrees = |degrees: f64| Degrees::new(degrees).unwrap();
    let titles: Vec<_> = aircraft.titles.iter().map(|pattern| pattern.as_str()).collect();
    assert_eq!((titles.as_slice(), aircraft.default), (["Kettrin 2*", "*floatplane?"].as_slice(), true));
    let [trim] = aircraft.trims.as_slice() else { panic!("{:?}", aircraft.trims) };
    let position = |name: &str, at: f64| Position { name: name.to_owned(), at: degrees(at) };
    assert_eq!(
        trim.positions,
        [position("take-off", 350.0), position("short field", 0.0), position("landing", 600.0)]
    );
    assert_eq!(trim.start, Start::At(degrees(350.0)));
    assert_eq!(trim.report, OnReport::Await);
    assert_eq!(trim.smoothing, Some(Duration::from_micros(12_500)));
    assert_eq!(trim.ratios, [Ratio::new(0.5).unwrap(), Ratio::DIRECT]);
    let curve: Vec<_> = trim.curve.iter().map(|(x, y)| (x.get(), y.get())).collect();
    assert_eq!(curve, [(0.0, -1.0), (100.0, -0.5), (300.0, 0.0), (400.0, 0.25), (600.0, 1.0)]);
    for (name, at) in [("low", 0.0), ("neutral", 300.0), ("high", 600.0), ("landing", 600.0)] {
        assert_eq!(trim.position(name), Some(degrees(at)), "{name}");
    }
    assert_eq!(trim.position("Landing"), None);
}

#[test]
fn every_start_and_every_answer_to_a_report() {
    let trim = |key: &str| {
        good_aircraft(&format!("name = \"x\"\n[[trim]]\nname = \"a\"\ntravel_degrees = 90\n{key}\n"))
            .trims
            .remove(0)
    };
    for (text, start) in [
        ("saved", Start::Saved),
        ("neutral", Start::Neutral),
        ("low", Start::Low),
        ("high", Start::High),
        ("simulator", Start::Simulator),
    ] {
        assert_eq!(trim(&format!("start = {text:?}")).start, start);
    }
    for (text, report) in
        [("adopt", OnReport::Adopt), ("await", OnReport::Await), ("override", OnReport::Override)]
    {
        assert_eq!(trim(&format!("report = {text:?}")).report, report);
    }
}

/// With neutral at a stop that stop is 0, and the curve has one side.
#[test]
fn a_curve_with_neutral_at_a_stop() {
    let curve = |neutral: f64, points: &str| {
        let text = format!(
            "name = \"x\"\n[[trim]]\nname = \"a\"\ntravel_degrees = 90\nneutral_degrees = {neutral}\ncurve = {points}\n"
        );
        good_aircraft(&text).trims[0].curve.clone()
    };
    let points = |list: &[(f64, f64)]| -> Vec<_> {
        list.iter().map(|(x, y)| (Degrees::new(*x).unwrap(), Normalized::clamped(*y))).collect()
    };
    assert_eq!(curve(0.0, "[[30, 0.1]]"), points(&[(0.0, 0.0), (30.0, 0.1), (90.0, 1.0)]));
    assert_eq!(curve(90.0, "[[30, -0.1]]"), points(&[(0.0, -1.0), (30.0, -0.1), (90.0, 0.0)]));
}

#[test]
fn a_wheel_with_everything_rare() {
    let rig = good_rig(RARE_RIG);
    let wheel = &rig.wheels[0];
    assert_eq!((wheel.counts_per_detent, wheel.index), (Some(4), Some(button(9))));
    assert_eq!(wheel.pulse_on, Some(Duration::from_millis(10)));
    assert_eq!(wheel.pulse_off, Some(Duration::from_micros(2_500)));
    let rig = good_rig(RIG);
    let other = &rig.wheels[1];
    assert_eq!(
        (other.counts_per_detent, other.pulse_on, other.pulse_off, other.index),
        (None, None, None, None)
    );
}

#[test]
fn a_single_board_needs_no_naming() {
    let rig = good_rig(
        "name = \"small\"\n[[board]]\nname = \"only\"\npath = \"somewhere\"\n\
         [[wheel]]\nname = \"w\"\nwiring = \"pulses\"\nforward = 128\nbackward = 1\ncounts_per_turn = 1\n",
    );
    assert_eq!(rig.wheels[0].board, BoardIndex::new(0));
    assert_eq!(rig.boards[0].usb, None);
}

/// The same file written another way is the same aircraft.
#[test]
fn the_way_of_writing_does_not_matter() {
    let inline = "name = 'Kettrin 2 floatplane'\n\
        trim = [{ name = \"rudder\", travel_degrees = 5.8e2, neutral_degrees = 3_20, start = \"neutral\" },\n\
        { name = \"pitch\", wheel = \"elevator\", travel_degrees = 1080.50, stops = \"remember\", reversed = true, start = 400.0 }]\n\
        output = [{ kind = \"axis\", device = \"Kettrin trim\", axes.pitch = \"ry\", axes.rudder = \"x\" },\n\
        { kind = \"datagram\", to = \"127.0.0.1:47811\", template = \"line\", trims = [\"pitch\", \"rudder\",] }]\n";
    assert_eq!(good_aircraft(inline), good_aircraft(AIRCRAFT));
    assert_ne!(good_aircraft(&spoiled(AIRCRAFT, "start = 400", "start = 401")), good_aircraft(AIRCRAFT));
}

#[test]
fn every_axis_has_its_name() {
    for axis in AxisCode::ALL {
        let text = spoiled(AIRCRAFT, "pitch = \"ry\"", &format!("pitch = \"{}\"", axis.name()));
        let text =
            if axis == AxisCode::X { spoiled(&text, "rudder = \"x\"", "rudder = \"y\"") } else { text };
        let OutputConfig::Axis { axes, .. } = &good_aircraft(&text).outputs[0] else { panic!("{text}") };
        assert_eq!(axes[1].1, axis);
    }
}

/// `UINPUT_MAX_NAME_SIZE` is 80 (Linux, `include/uapi/linux/uinput.h`), of which the `evdev` crate fills 78.
#[test]
fn the_default_joystick_is_named_after_the_rig() {
    let named =
        |name: &str| good_rig(&spoiled(RIG, "\"bench\"", &format!("{name:?}"))).device_name().to_string();
    assert_eq!(named("bench"), "Tallywheel bench");
    assert_eq!(named(&"x".repeat(64)), format!("Tallywheel {}", "x".repeat(64)));
    // 11 bytes and 64 characters of 2 bytes each: 33 of them fit.
    assert_eq!(named(&"\u{e9}".repeat(64)), format!("Tallywheel {}", "\u{e9}".repeat(33)));
}
