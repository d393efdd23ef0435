//! What the outputs of good aircraft files say.
#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests may stop at the first surprise")]

mod common;

use common::good_aircraft;
use std::time::Duration;
use tallywheel_profile::{
    ByteOrder, DatagramConfig, Destination, LayoutField, NumberForm, NumberKind, NumberSource, OutputConfig,
    Scale, Template, TextForm, TrimValue,
};
use tallywheel_units::TrimIndex;

const RUDDER: TrimIndex = TrimIndex::new(0);
const ELEVATOR: TrimIndex = TrimIndex::new(1);

/// The only output of an aircraft with two trims.
fn output(keys: &str) -> OutputConfig {
    let trims = "[[trim]]\nname = \"rudder\"\ntravel_degrees = 90\n[[trim]]\nname = \"elevator\"\ntravel_degrees = 1\n";
    let mut outputs = good_aircraft(&format!("name = \"T\"\n{trims}[[output]]\n{keys}")).outputs;
    assert_eq!(outputs.len(), 1);
    outputs.remove(0)
}

fn datagram(keys: &str) -> OutputConfig {
    output(&format!("kind = \"datagram\"\nto = \"127.0.0.1:9\"\n{keys}"))
}

fn layout(fields: &str) -> Vec<LayoutField> {
    match datagram(&format!("range = [0, 10]\ntemplate = \"layout\"\nlayout = [{fields}]\n")) {
        OutputConfig::Datagram(DatagramConfig { template: Template::Layout(fields), .. }) => fields,
        other => panic!("{other:?}"),
    }
}

fn position(low: f64, high: f64) -> TrimValue {
    TrimValue::Position(Scale::new(low, high).unwrap())
}

#[test]
fn ranges_and_times() {
    let said = datagram(
        "range = [0, 1.5]\nreversed = true\nmin_interval_ms = 20\nkeep_alive_ms = 1000\ntrims = [\"elevator\"]\n",
    );
    let expected = DatagramConfig {
        to: Destination::parse("127.0.0.1:9").unwrap(),
        template: Template::Json,
        trims: vec![(ELEVATOR, "elevator".to_owned())],
        scale: Scale::new(1.5, 0.0).unwrap(),
        min_interval: Duration::from_millis(20),
        keep_alive: Some(Duration::from_secs(1)),
    };
    assert_eq!(said, OutputConfig::Datagram(expected));
    let OutputConfig::Axis { scale, .. } = output("kind = \"axis\"\nreversed = true\n") else { panic!() };
    assert_eq!(scale, Scale::UNIT.reversed());
    let OutputConfig::Axis { scale, .. } = output("kind = \"axis\"\nrange = [-0.5, 1]\nreversed = false\n")
    else {
        panic!()
    };
    assert_eq!(scale, Scale::new(-0.5, 1.0).unwrap());
}

#[test]
fn a_receiver_may_have_a_name() {
    let said = output("kind = \"datagram\"\nto = \"simpc.local:49000\"\n");
    let OutputConfig::Datagram(config) = said else { panic!() };
    assert_eq!(config.to, Destination::Host { name: "simpc.local".to_owned(), port: 49_000 });
}

#[test]
fn templates() {
    let template = |keys: &str| match datagram(keys) {
        OutputConfig::Datagram(config) => {
            assert_eq!(config.sent(), [RUDDER, ELEVATOR]);
            config.template
        }
        other => panic!("{other:?}"),
    };
    let osc = |prefix: &str| Template::Osc { prefix: prefix.to_owned() };
    assert_eq!(template("template = \"packed\"\n"), Template::Packed);
    assert_eq!(template("template = \"osc\"\n"), osc("/tallywheel"));
    assert_eq!(template("template = \"osc\"\nprefix = \"/sim/1\"\n"), osc("/sim/1"));
}

#[test]
fn the_trims_of_a_layout_are_those_that_it_names() {
    let fields = "{ trim = \"elevator\" }, { text = \" \" }, { trim = \"rudder\" }, { trim = \"elevator\", value = \"axis\" }";
    let layout = datagram(&format!("template = \"layout\"\nlayout = [{fields}]\n"));
    assert_eq!(layout.trims(), [ELEVATOR, RUDDER]);
}

#[test]
fn fields_of_every_kind() {
    let text = |source, form| LayoutField::Number { source, form: NumberForm::Text(form) };
    let binary = |source, kind, order| LayoutField::Number { source, form: NumberForm::Binary(kind, order) };
    let plain = TextForm::default();
    let said = layout(
        r#"
        { text = "DREF\u0000" },
        { trim = "rudder" },
        { trim = "rudder", reversed = true },
        { trim = "rudder", range = [-100, 100], type = "i8" },
        { trim = "rudder", range = [-1, 1], reversed = true, type = "f32", byte_order = "big" },
        { trim = "elevator", value = "degrees", digits = 2, width = 8, leading_zeros = true, plus_sign = true },
        { trim = "elevator", value = "counts", width = 6 },
        { trim = "elevator", value = "axis", type = "i16", byte_order = "little" },
        { value = "sequence", type = "u32" },
        { value = "time_s", digits = 3 },
        { value = "time_us" },
        { number = -1.5, type = "f64" },
        { pad_to = 509, pad_with = 32 },
        { pad_to = 600 },
        "#,
    );
    let rudder = |value| NumberSource::Trim(RUDDER, value);
    let elevator = |value| NumberSource::Trim(ELEVATOR, value);
    let (little, big) = (ByteOrder::Little, ByteOrder::Big);
    let degrees = TextForm { digits: Some(2), width: 8, leading_zeros: true, plus_sign: true };
    let expected = [
        LayoutField::Bytes(b"DREF\0".to_vec()),
        text(rudder(position(0.0, 10.0)), plain),
        // The output's range, turned round.
        text(rudder(position(10.0, 0.0)), plain),
        binary(rudder(position(-100.0, 100.0)), NumberKind::I8, little),
        binary(rudder(position(1.0, -1.0)), NumberKind::F32, big),
        text(elevator(TrimValue::Degrees), degrees),
        text(elevator(TrimValue::Counts), TextForm { width: 6, ..plain }),
        binary(elevator(TrimValue::Axis), NumberKind::I16, little),
        binary(NumberSource::Sequence, NumberKind::U32, little),
        text(NumberSource::TimeSeconds, TextForm { digits: Some(3), ..plain }),
        text(NumberSource::TimeMicros, plain),
        binary(NumberSource::Constant(-1.5), NumberKind::F64, little),
        LayoutField::Pad { to: 509, with: 32 },
        LayoutField::Pad { to: 600, with: 0 },
    ];
    assert_eq!(said.len(), expected.len());
    for (said, expected) in said.iter().zip(&expected) {
        assert_eq!(said, expected);
    }
}

#[test]
fn fields_may_be_tables_in_brackets_too() {
    let tables =
        "template = \"layout\"\n[[output.layout]]\ntext = \"a\"\n[[output.layout]]\ntrim = \"rudder\"\n";
    let list = "template = \"layout\"\nlayout = [{ text = \"a\" }, { trim = \"rudder\" }]\n";
    assert_eq!(datagram(tables), datagram(list));
}
