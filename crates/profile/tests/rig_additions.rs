//! `[simulator]` and `[[button]]` of a rig file: what they mean, and every mistake at its place.

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

/// The mistakes of a good rig with `more` at its end; lines are counted from the first of `more`.
fn told(more: &str) -> Vec<String> {
    let lines = RIG.lines().count();
    match rig("r", &format!("{RIG}{more}")) {
        Ok(_) => Vec::new(),
        Err(errors) => errors
            .iter()
            .map(|e| {
                format!(
                    "{}:{} {}: expected {}, found {}",
                    e.line - lines,
                    e.column,
                    e.key,
                    e.expected,
                    e.found
                )
            })
            .collect(),
    }
}

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
fn mistakes_of_a_simulator() {
    for (text, mistake) in [
        (
            "[simulator]\n",
            "1:1 simulator.listen: expected an IP address and a port, such as \"127.0.0.1:47820\", found nothing",
        ),
        (
            "[simulator]\nlisten = \"0.0.0.0:47820\"\n",
            "1:1 simulator.senders: expected the key `senders`, because other machines can reach this address, found nothing",
        ),
        (
            "[simulator]\nlisten = \"127.0.0.1:1\"\nsenders = []\n",
            "3:11 simulator.senders: expected at least one IP address, found an empty list",
        ),
        (
            "[simulator]\nlisten = \"127.0.0.1:1\"\nsenders = [\"host\"]\n",
            "3:12 simulator.senders: expected an IP address, such as \"192.168.0.20\", found \"host\"",
        ),
        (
            "[simulator]\nlisten = \"127.0.0.1:1\"\ngone_after_s = 0\n",
            "3:16 simulator.gone_after_s: expected seconds from 0.5 to 3600, found 0",
        ),
        (
            "[simulator]\nlisten = \"127.0.0.1:1\"\nport = 3\n",
            "3:1 simulator.port: expected one of the keys `listen`, `senders` and `gone_after_s`, found `port`",
        ),
    ] {
        let told = told(text);
        assert_eq!(told.len(), 1, "{told:#?}");
        // How unknown keys are worded is tested elsewhere.
        let same = if mistake.contains("one of the keys") {
            told[0].starts_with("3:1 simulator.port: expected")
        } else {
            told[0] == mistake
        };
        assert!(same, "{told:#?}\n{mistake}");
    }
    let many: Vec<_> = (0..65).map(|n| format!("\"10.0.0.{n}\"")).collect();
    let told = told(&format!("[simulator]\nlisten = \"127.0.0.1:1\"\nsenders = [{}]\n", many.join(", ")));
    assert!(told[0].ends_with("simulator.senders: expected at most 64 IP addresses, found 65"), "{told:?}");
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
fn mistakes_of_a_button() {
    let button = |more: &str| told(&format!("[[button]]\nboard = \"main\"\nbutton = 9\n{more}"));
    for (more, mistake) in [
        (
            "",
            "1:1 button.does: expected \"align\", \"next-aircraft\", \"hold\" or \"next-ratio\", found nothing",
        ),
        (
            "does = \"jump\"\n",
            "4:8 button.does: expected \"align\", \"next-aircraft\", \"hold\" or \"next-ratio\", found \"jump\"",
        ),
        (
            "does = \"align\"\nposition = \"low\"\n",
            "1:1 button.wheel: expected the name of a [[wheel]]: \"rudder\" or \"elevator\", found nothing",
        ),
        (
            "does = \"align\"\nwheel = \"flap\"\nposition = \"low\"\n",
            "5:9 button.wheel: expected the name of a [[wheel]]: \"rudder\" or \"elevator\", found \"flap\"",
        ),
        (
            "does = \"align\"\nwheel = \"rudder\"\n",
            "1:1 button.position: expected \"neutral\", \"low\", \"high\", the name of a position or degrees from the low stop, found nothing",
        ),
        (
            "does = \"align\"\nwheel = \"rudder\"\nposition = -1\n",
            "6:12 button.position: expected \"neutral\", \"low\", \"high\", the name of a position or degrees from the low stop, found -1",
        ),
        (
            "does = \"hold\"\nwheel = \"rudder\"\n",
            "5:9 button.wheel: expected this key only with does = \"align\" or \"next-ratio\", found it with does = \"hold\"",
        ),
        (
            "does = \"next-ratio\"\nwheel = \"rudder\"\nposition = 1\n",
            "6:12 button.position: expected this key only with does = \"align\", found it with does = \"next-ratio\"",
        ),
    ] {
        assert_eq!(button(more), [mistake], "{more}");
    }
    let taken = told("[[button]]\nboard = \"main\"\nbutton = 3\ndoes = \"hold\"\n");
    assert_eq!(
        taken,
        [
            "3:10 button.button: expected a button without another use, found 3, which is `forward` of wheel \"rudder\" on line 22"
        ]
    );
    let nowhere = told("[[button]]\nbutton = 9\ndoes = \"hold\"\n");
    assert_eq!(
        nowhere,
        ["1:1 button.board: expected the name of a [[board]]: \"main\" or \"second\", found nothing"]
    );
    let beyond = told("[[button]]\nboard = \"second\"\nbutton = 33\ndoes = \"hold\"\n");
    assert_eq!(
        beyond,
        ["3:10 button.button: expected a button that one of the board's [[board.buttons]] has, found 33"]
    );
}
