//! What is just not a mistake: the limits themselves, and what only looks like one.

mod common;

use common::{AIRCRAFT, RIG, good_aircraft, good_rig, spoiled};

#[test]
fn the_limits_themselves() {
    for (from, to) in [
        ("first_bit = 8", "first_bit = 131040"),
        ("first_button = 1\ncount = 32", "first_button = 1\ncount = 128"),
        ("report_interval_ms = 4", "report_interval_ms = 0.125"),
        ("report_interval_ms = 4", "report_interval_ms = 1000"),
        ("report_id = 1", "report_id = 255"),
        ("counts_per_turn = 96", "counts_per_turn = 1_000_000"),
        ("name = \"bench\"", &format!("name = \"{}\"", "\u{e9}".repeat(64))),
    ] {
        good_rig(&spoiled(RIG, from, to));
    }
    // The figure that a message gives is enough.
    let slow = "name = \"x\"\n[[trim]]\nname = \"rudder\"\ntravel_degrees = 600\nratios = [0.016667]\n";
    good_aircraft(slow);
}

#[test]
fn what_tells_boards_and_buttons_apart() {
    let twin = "\n[[board]]\nname = \"twin\"\nusb = \"1209:7A11\"\nserial = \"B\"\n";
    good_rig(&format!("{RIG}{twin}"));
    // The same number on another board is another button.
    let third = "[[wheel]]\nname = \"third\"\nboard = \"second\"\nwiring = \"pulses\"\nforward = 5\nbackward = 4\n\
                 counts_per_turn = 24\n";
    good_rig(&format!("{RIG}{third}"));
}

#[test]
fn runs_of_buttons_side_by_side() {
    let run = |rest: &str| format!("count = 32\n[[board.buttons]]\n{rest}");
    let above = run("report_id = 1\nfirst_bit = 40\nfirst_button = 33\ncount = 8");
    good_rig(&spoiled(RIG, "count = 32", &above));
    let below = run("report_id = 1\nfirst_bit = 8\nfirst_button = 1\ncount = 8");
    let moved = spoiled(RIG, "first_bit = 8\nfirst_button = 1\n", "first_bit = 16\nfirst_button = 9\n");
    good_rig(&spoiled(&spoiled(&moved, "count = 32", &below), "a = 1", "a = 40"));
    // The same bits of another report are other bits.
    let other = run("report_id = 2\nfirst_bit = 8\nfirst_button = 33\ncount = 8");
    good_rig(&spoiled(RIG, "count = 32", &other));
}

#[test]
fn hiding() {
    assert!(!good_rig(RIG).boards[0].hide);
    let hidden = good_rig(&spoiled(RIG, "report_interval_ms = 4", "hide = true"));
    assert_eq!((hidden.boards[0].hide, hidden.boards[1].hide), (true, false));
    good_rig(&spoiled(RIG, "path = \"/dev/hidraw3\"", "hide = false"));
}

#[test]
fn joysticks_beside_each_other() {
    good_aircraft(&format!("{AIRCRAFT}\n[[output]]\nkind = \"axis\"\n"));
    let steps = "[[output]]\nkind = \"steps\"\npresses = 9\n";
    // Unnamed, an axis and its steps are called differently.
    good_aircraft(&format!("{AIRCRAFT}\n{steps}[[output]]\nkind = \"axis\"\n"));
    let trims = |count| -> String {
        (0..count).map(|i| format!("[[trim]]\nname = \"t{i}\"\ntravel_degrees = 360\n")).collect()
    };
    good_aircraft(&format!("name = \"Many\"\n{}[[output]]\nkind = \"axis\"\n", trims(8)));
    let chosen = "[[output]]\nkind = \"axis\"\naxes = { t8 = \"x\" }\n";
    good_aircraft(&format!("name = \"Many\"\n{}{chosen}", trims(9)));
}
