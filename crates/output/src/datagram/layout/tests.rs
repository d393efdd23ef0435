use super::*;
use crate::frame::samples::{any_reading, any_scale};
use proptest::prelude::*;
use sha2::{Digest, Sha256};
use tallywheel_profile::{ByteOrder, NumberKind, Scale, TextForm};
use tallywheel_units::{Counts, Normalized, TrimIndex};

const RUDDER: TrimIndex = TrimIndex::new(1);
const ELEVATOR: TrimIndex = TrimIndex::new(0);
const POSITION: TrimValue = TrimValue::Position(Scale::UNIT);

fn at(position: f64) -> TrimReading {
    TrimReading { normalized: Normalized::clamped(position), ..TrimReading::NEUTRAL }
}

fn as_text(source: NumberSource, form: TextForm) -> LayoutField {
    LayoutField::Number { source, form: NumberForm::Text(form) }
}

fn as_binary(source: NumberSource, kind: NumberKind, order: ByteOrder) -> LayoutField {
    LayoutField::Number { source, form: NumberForm::Binary(kind, order) }
}

fn bytes(text: &str) -> LayoutField {
    LayoutField::Bytes(text.as_bytes().to_vec())
}

fn encode(fields: &[LayoutField], stamp: Stamp, readings: &[TrimReading]) -> Vec<u8> {
    let layout = Layout::new(fields).unwrap();
    let mut bytes = Vec::new();
    layout.encode(stamp, readings, &mut bytes);
    assert!(bytes.len() <= layout.largest(), "{} > {}", bytes.len(), layout.largest());
    bytes
}

const STAMP: Stamp = Stamp { sequence: 258, time_us: 1_795_574_403_400_150 };

fn one_text(value: Value, form: TextForm) -> String {
    let mut bytes = b"before ".to_vec();
    text::write(value, form, &mut bytes);
    String::from_utf8(bytes).unwrap().strip_prefix("before ").unwrap().to_owned()
}

#[test]
fn numbers_as_text() {
    let plain = TextForm::default();
    let three = TextForm { digits: Some(3), ..plain };
    let wide = TextForm { width: 8, ..three };
    let zeros = TextForm { leading_zeros: true, ..wide };
    let plus = TextForm { plus_sign: true, ..zeros };
    let cases = [
        (Value::Real(0.25), plain, "0.25"),
        (Value::Real(-1.0), plain, "-1"),
        (Value::Real(-0.0), plain, "0"),
        (Value::Real(100.0), plain, "100"),
        (Value::Real(0.25), three, "0.250"),
        (Value::Real(-0.0004), three, "0.000"),
        (Value::Real(0.25), wide, "   0.250"),
        (Value::Real(-0.25), wide, "  -0.250"),
        (Value::Real(-0.25), zeros, "-000.250"),
        (Value::Real(0.25), zeros, "0000.250"),
        (Value::Real(0.25), plus, "+000.250"),
        (Value::Real(-0.0), plus, "+000.000"),
        (Value::Real(123_456.5), wide, "123456.500"),
        (Value::Whole(-42), three, "-42"),
        (Value::Whole(42), plus, "+0000042"),
        (Value::Counter(u64::MAX), wide, "18446744073709551615"),
        (Value::Micros(1_795_574_403_400_150), plain, "1795574403.400150"),
        (Value::Micros(1_795_574_403_999_999), three, "1795574403.999"),
        (Value::Micros(5), TextForm { digits: Some(0), ..plain }, "0"),
        (Value::Micros(5), TextForm { digits: Some(9), ..plain }, "0.000005000"),
        (Value::Micros(10_000_000), TextForm { digits: Some(1), width: 6, ..plain }, "  10.0"),
    ];
    for (value, form, expected) in cases {
        assert_eq!(one_text(value, form), expected, "{value:?} {form:?}");
    }
}

#[test]
fn numbers_as_bytes() {
    use ByteOrder::{Big, Little};
    use NumberKind::{F32, F64, I8, I16, I32, I64, U8, U16, U32, U64};
    let cases: [(Value, NumberKind, ByteOrder, &[u8]); 17] = [
        (Value::Real(1.0), F32, Little, &[0x00, 0x00, 0x80, 0x3F]),
        (Value::Real(440.0), F32, Big, &[0x43, 0xDC, 0x00, 0x00]),
        (Value::Real(-0.25), F64, Big, &[0xBF, 0xD0, 0, 0, 0, 0, 0, 0]),
        (Value::Real(-0.0), F32, Big, &[0, 0, 0, 0]),
        (Value::Real(-1.5), I16, Little, &[0xFE, 0xFF]),
        (Value::Real(2.5), U8, Little, &[3]),
        (Value::Real(-3.0), U8, Little, &[0]),
        (Value::Real(1e9), I16, Big, &[0x7F, 0xFF]),
        (Value::Whole(-32_767), I16, Big, &[0x80, 0x01]),
        (Value::Whole(-32_767), I32, Little, &[0x01, 0x80, 0xFF, 0xFF]),
        (Value::Whole(i64::MIN), I64, Big, &[0x80, 0, 0, 0, 0, 0, 0, 0]),
        (Value::Whole(-200), I8, Little, &[0x80]),
        (Value::Counter(0x1_0203), U8, Little, &[3]),
        (Value::Counter(0x1_0203), U16, Big, &[2, 3]),
        (Value::Counter(u64::MAX), U64, Little, &[0xFF; 8]),
        (Value::Counter(0x1_0000_0001), U32, Big, &[0, 0, 0, 1]),
        (Value::Micros(1_500_000), F64, Big, &[0x3F, 0xF8, 0, 0, 0, 0, 0, 0]),
    ];
    for (value, kind, order, expected) in cases {
        let mut bytes = Vec::new();
        binary::write(value, kind, order, &mut bytes);
        assert_eq!(bytes, expected, "{value:?} {kind:?} {order:?}");
    }
}

#[test]
fn fields_follow_each_other_and_are_filled_up() {
    let fields = [
        as_text(NumberSource::TimeSeconds, TextForm::default()),
        bytes(","),
        as_text(NumberSource::Trim(RUDDER, POSITION), TextForm { digits: Some(2), ..TextForm::default() }),
        LayoutField::Pad { to: 30, with: b'.' },
        as_binary(NumberSource::Sequence, NumberKind::U16, ByteOrder::Big),
        as_text(NumberSource::Constant(7.5), TextForm::default()),
        as_text(NumberSource::Trim(ELEVATOR, TrimValue::Axis), TextForm::default()),
    ];
    assert_eq!(LayoutField::trims(&fields), [RUDDER, ELEVATOR]);
    let expected = b"1795574403.400150,-0.50.......\x01\x027.50";
    assert_eq!(encode(&fields, STAMP, &[at(-0.5), at(0.1)]), expected);
}

#[test]
fn padding_that_is_too_short_for_the_longest_numbers_is_refused() {
    let rudder = as_text(NumberSource::Trim(RUDDER, POSITION), TextForm::default());
    // "-0.123456789"
    assert!(Layout::new(&[rudder.clone(), LayoutField::Pad { to: 12, with: 0 }]).is_ok());
    let problem = Layout::new(&[rudder, LayoutField::Pad { to: 11, with: 0 }]).map(|_| ()).unwrap_err();
    assert_eq!(problem, ConfigProblem::PadTooShort { to: 11, bytes: 12 });
}

#[test]
fn what_is_written_alike_is_no_change() {
    let i8 = as_binary(
        NumberSource::Trim(RUDDER, TrimValue::Position(Scale::new(-100.0, 100.0).unwrap())),
        NumberKind::I8,
        ByteOrder::Little,
    );
    let mut layout = Layout::new(&[bytes("x"), i8]).unwrap();
    assert!(!layout.differs(0, &at(0.25), &at(0.251)));
    assert!(layout.differs(0, &at(0.25), &at(0.26)));
    let counted = TrimReading { counts: Counts::ONE, ..at(0.25) };
    assert!(!layout.differs(0, &at(0.25), &counted), "the counts are not sent");
    assert!(!layout.differs(1, &at(0.25), &at(1.0)), "another trim");
}

/// "Exchanging Data with X-Plane" (Laminar Research, as stored; facts are in the test's own words): `DREF`, a zero,
/// the value as float32, the name with a zero, blanks up to 509 bytes. The digests are of datagrams that a Python
/// builder made from that text, not this program.
#[test]
fn the_published_509_byte_datagram() {
    let dataref = |name: &str| {
        [
            bytes("DREF\0"),
            as_binary(NumberSource::Trim(RUDDER, POSITION), NumberKind::F32, ByteOrder::Little),
            bytes(name),
            bytes("\0"),
            LayoutField::Pad { to: 509, with: b' ' },
        ]
    };
    let cases = [
        (
            "sim/cockpit/switches/anti_ice_surf_heat_left",
            1.0,
            "f9b8c362a2a0ab4cb08dffd03caa94d68ef59cc58cbaad26c146e05afb1548ce",
        ),
        (
            "sim/flightmodel/controls/rud_trim",
            0.25,
            "bbc1b70513575fbcfbf9bff78a2b98190ac22aa5a43713f4b6a10638b425301a",
        ),
        (
            "sim/flightmodel/controls/elv_trim",
            -1.0,
            "0e938749c5c945c40bd256fb816d3317e70e6af118013fc18c7a1cdf7dadbfa6",
        ),
    ];
    for (name, position, digest) in cases {
        let datagram = encode(&dataref(name), STAMP, &[at(position)]);
        assert_eq!(datagram.len(), 509);
        assert_eq!(hex(&Sha256::digest(&datagram)), digest, "{name}");
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn any_form() -> impl Strategy<Value = TextForm> {
    (proptest::option::of(0..=15_u8), 0..=64_u8, any::<bool>(), any::<bool>()).prop_map(
        |(digits, width, leading_zeros, plus_sign)| TextForm { digits, width, leading_zeros, plus_sign },
    )
}

fn any_source() -> impl Strategy<Value = NumberSource> {
    let trim = prop_oneof![Just(RUDDER), Just(ELEVATOR)];
    let value = prop_oneof![
        any_scale().prop_map(TrimValue::Position),
        Just(TrimValue::Axis),
        Just(TrimValue::Degrees),
        Just(TrimValue::Counts),
    ];
    prop_oneof![
        (trim, value).prop_map(|(trim, value)| NumberSource::Trim(trim, value)),
        Just(NumberSource::Sequence),
        Just(NumberSource::TimeMicros),
        Just(NumberSource::TimeSeconds),
        (-1e9..1e9).prop_map(NumberSource::Constant),
    ]
}

fn any_field() -> impl Strategy<Value = LayoutField> {
    let kind = prop::sample::select(NumberKind::ALL.to_vec());
    let order = prop_oneof![Just(ByteOrder::Little), Just(ByteOrder::Big)];
    let form = prop_oneof![
        any_form().prop_map(NumberForm::Text),
        (kind, order).prop_map(|(kind, order)| NumberForm::Binary(kind, order)),
    ];
    prop_oneof![
        3 => (any_source(), form).prop_map(|(source, form)| LayoutField::Number { source, form }),
        1 => proptest::collection::vec(any::<u8>(), 0..9).prop_map(LayoutField::Bytes),
        1 => (0..400_usize, any::<u8>()).prop_map(|(to, with)| LayoutField::Pad { to, with }),
    ]
}

proptest! {
    #[test]
    fn no_reading_makes_it_larger_than_the_largest(
        fields in proptest::collection::vec(any_field(), 0..8),
        readings in proptest::collection::vec(any_reading(), 2),
        sequence in any::<u64>(),
        time_us in any::<u64>(),
    ) {
        let Ok(layout) = Layout::new(&fields) else { return Ok(()) };
        let mut bytes = Vec::with_capacity(layout.largest());
        layout.encode(Stamp { sequence, time_us }, &readings, &mut bytes);
        prop_assert!(bytes.len() <= layout.largest());
    }

    /// A datagram differs exactly when a receiver sees other bytes.
    #[test]
    fn differs_is_what_the_bytes_say(
        fields in proptest::collection::vec(any_field(), 1..5), before in any_reading(), after in any_reading(),
    ) {
        let Ok(mut layout) = Layout::new(&fields) else { return Ok(()) };
        let written = |readings: &[TrimReading], layout: &Layout| {
            let mut bytes = Vec::new();
            layout.encode(STAMP, readings, &mut bytes);
            bytes
        };
        let (first, second) = (written(&[before; 2], &layout), written(&[after; 2], &layout));
        let differs = layout.differs(0, &before, &after) || layout.differs(1, &before, &after);
        prop_assert_eq!(differs, first != second);
    }

    #[test]
    fn text_reads_back(value in -1e9..1e9, form in any_form()) {
        let text = one_text(Value::Real(value), form);
        let read: f64 = text.trim_start().parse().unwrap();
        let digits = i32::from(form.digits.unwrap_or(number::USUAL_DIGITS));
        prop_assert!((read - value).abs() <= 0.5 * 10_f64.powi(-digits) + value.abs() * f64::EPSILON, "{}", text);
        prop_assert!(text.len() >= usize::from(form.width));
    }
}
