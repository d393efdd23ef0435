//! `[simulator]` and `[[button]]` of a rig file: what they mean.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test stops at the first surprise"
)]

mod common;

use common::RIG;
use std::time::Duration;
use tallywheel_profile::{Button, Press, Spot, rig};
use tallywheel_units::{BoardIndex, ButtonNumber, Degrees};

#[test]
fn without_the_tables_there_is_neither() {
    let rig = rig("r", RIG).unwrap();
    assert!(rig.simulator.is_none() && rig.buttons.is_empty());
}

#[test]
fn a_simulator_on_this_machine_needs_no_senders() {
    for listen in ["127.0.0.1:47820", "[::1]:47820"] {
        let rig = rig("r", &format!("{RIG}[simulator]\nlisten = \"{listen}\"\n")).unwrap();
        let simulator = rig.simulator.unwrap();
        assert_eq!((simulator.listen.to_string().as_str(), simulator.senders.len()), (listen, 0));
        assert_eq!(simulator.gone_after, Duration::from_secs(5));
    }
}

#[test]
fn a_simulator_elsewhere_is_named() {
    let text = "[simulator]\nlisten = \"0.0.0.0:47820\"\nsenders = [\"192.168.0.20\", \"fe80::1\"]\ngone_after_s = 0.5\n";
    let rig = rig("r", &format!("{RIG}{text}")).unwrap();
    let simulator = rig.simulator.unwrap();
    assert_eq!(
        simulator.senders.iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["192.168.0.20", "fe80::1"]
    );
    assert_eq!(simulator.gone_after, Duration::from_millis(500));
}

#[test]
fn each_thing_that_a_button_does() {
    let text = "[[button]]\nboard = \"main\"\nbutton = 9\ndoes = \"align\"\nwheel = \"rudder\"\nposition = \"take-off\"\n\
                [[button]]\nboard = \"main\"\nbutton = 10\ndoes = \"align\"\nwheel = \"elevator\"\nposition = 12.5\n\
                [[button]]\nboard = \"second\"\nbutton = 9\ndoes = \"next-aircraft\"\n\
                [[button]]\nboard = \"second\"\nbutton = 10\ndoes = \"hold\"\n\
                [[button]]\nboard = \"second\"\nbutton = 11\ndoes = \"next-ratio\"\nwheel = \"rudder\"\n";
    let rig = rig("r", &format!("{RIG}{text}")).unwrap();
    let align = |wheel: &str, position| Press::Align { wheel: wheel.into(), position };
    let expected = [
        (0, 9, align("rudder", Spot::Named("take-off".into()))),
        (0, 10, align("elevator", Spot::At(Degrees::new(12.5).unwrap()))),
        (1, 9, Press::NextAircraft),
        (1, 10, Press::Hold),
        (1, 11, Press::NextRatio { wheel: "rudder".into() }),
    ];
    let expected = expected.map(|(board, button, does)| Button {
        board: BoardIndex::new(board),
        button: ButtonNumber::new(button).unwrap(),
        does,
    });
    assert_eq!(rig.buttons, expected);
}

#[test]
fn a_rig_has_one_simulator_and_not_many_senders() {
    let many: Vec<_> = (0..65).map(|n| format!("\"10.0.0.{n}\"")).collect();
    let text = format!("{RIG}[simulator]\nlisten = \"127.0.0.1:1\"\nsenders = [{}]\n", many.join(", "));
    let told = common::rig_messages(&text);
    assert!(told.ends_with("simulator.senders: expected at most 64 IP addresses, found 65"), "{told}");
}
