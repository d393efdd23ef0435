use super::encoder::{Encoder, Stamp};
use crate::float::single;
use crate::{ConfigProblem, TrimReading};
use rosc::{OscBundle, OscMessage, OscPacket, OscTime, OscType};
use tallywheel_profile::{Scale, Template};

/// Bytes of a float32 argument.
const FLOAT: usize = 4;
/// `#bundle` with its zero, and the time tag.
const BUNDLE_HEAD: usize = 16;
/// The size before each element of a bundle.
const ELEMENT_SIZE: usize = 4;
/// "Immediately" (OSC 1.0, section "Temporal Semantics and OSC Time Tags").
const IMMEDIATELY: OscTime = OscTime { seconds: 0, fractional: 1 };

/// [`Template::Osc`](crate::Template::Osc). The packet is encoded once; only its floats are put in place for each
/// datagram, so nothing is allocated then.
#[derive(Debug)]
pub(super) struct Osc {
    packet: Vec<u8>,
    /// Where in the packet each trim's float begins.
    floats: Vec<usize>,
    scale: Scale,
}

impl Osc {
    pub(super) fn new<'a>(
        prefix: &str,
        names: impl Iterator<Item = &'a str>,
        scale: Scale,
    ) -> Result<Self, ConfigProblem> {
        let messages = names.map(|name| {
            if Template::is_osc_part(name) {
                Ok(OscMessage { addr: format!("{prefix}/{name}"), args: vec![OscType::Float(0.0)] })
            } else {
                Err(ConfigProblem::NameInOsc(name.to_owned()))
            }
        });
        let mut messages = messages.collect::<Result<Vec<_>, _>>()?;
        // The float is the last that a message holds.
        let lengths: Vec<_> =
            messages.iter().map(|message| encoded(&OscPacket::Message(message.clone())).len()).collect();
        let only = if messages.len() == 1 { messages.pop() } else { None };
        let (packet, mut end, size) = match only {
            Some(message) => (encoded(&OscPacket::Message(message)), 0, 0),
            None => {
                let content = messages.into_iter().map(OscPacket::Message).collect();
                let bundle = OscPacket::Bundle(OscBundle { timetag: IMMEDIATELY, content });
                (encoded(&bundle), BUNDLE_HEAD, ELEMENT_SIZE)
            }
        };
        let floats = lengths.iter().map(|length| {
            end += size + length;
            end - FLOAT
        });
        Ok(Self { floats: floats.collect(), packet, scale })
    }

    fn value(&self, reading: &TrimReading) -> f32 {
        single(self.scale.apply(reading.normalized))
    }
}

/// The bytes of a packet. Encoding into memory does not fail.
fn encoded(packet: &OscPacket) -> Vec<u8> {
    rosc::encoder::encode(packet).unwrap_or_default()
}

impl Encoder for Osc {
    fn largest(&self) -> usize {
        self.packet.len()
    }

    fn differs(&mut self, _place: usize, before: &TrimReading, after: &TrimReading) -> bool {
        self.value(before) != self.value(after)
    }

    fn encode(&self, _stamp: Stamp, readings: &[TrimReading], into: &mut Vec<u8>) {
        let start = into.len();
        into.extend_from_slice(&self.packet);
        for (&float, reading) in self.floats.iter().zip(readings) {
            let place = start + float..start + float + FLOAT;
            if let Some(place) = into.get_mut(place) {
                place.copy_from_slice(&self.value(reading).to_be_bytes());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::samples::{any_reading, any_scale};
    use proptest::prelude::*;
    use tallywheel_units::Normalized;

    const STAMP: Stamp = Stamp { sequence: 0, time_us: 0 };

    fn at(position: f64) -> TrimReading {
        TrimReading { normalized: Normalized::clamped(position), ..TrimReading::NEUTRAL }
    }

    fn encode(osc: &Osc, readings: &[TrimReading]) -> Vec<u8> {
        let mut bytes = Vec::new();
        osc.encode(STAMP, readings, &mut bytes);
        assert_eq!(bytes.len(), osc.largest());
        bytes
    }

    /// The first example of "OpenSound Control Specification 1.0, OSC Message Examples"
    /// (opensoundcontrol.stanford.edu/spec-1_0-examples.html), 32 bytes.
    #[test]
    fn a_message_is_the_specification_s_worked_example() {
        let scale = Scale::new(-440.0, 440.0).unwrap();
        let osc = Osc::new("/oscillator/4", ["frequency"].into_iter(), scale).unwrap();
        let expected = [
            0x2f, 0x6f, 0x73, 0x63, 0x69, 0x6c, 0x6c, 0x61, 0x74, 0x6f, 0x72, 0x2f, 0x34, 0x2f, 0x66, 0x72,
            0x65, 0x71, 0x75, 0x65, 0x6e, 0x63, 0x79, 0x00, 0x2c, 0x66, 0x00, 0x00, 0x43, 0xdc, 0x00, 0x00,
        ];
        assert_eq!(encode(&osc, &[at(1.0)]), expected);
    }

    /// The second example there, which holds every type of OSC 1.0 but the blob: the library that we encode with
    /// writes it as printed.
    #[test]
    fn the_library_writes_the_second_example() {
        let args = vec![
            OscType::Int(1000),
            OscType::Int(-1),
            OscType::String("hello".into()),
            OscType::Float(1.234),
            OscType::Float(5.678),
        ];
        let expected = [
            0x2f, 0x66, 0x6f, 0x6f, 0x00, 0x00, 0x00, 0x00, 0x2c, 0x69, 0x69, 0x73, 0x66, 0x66, 0x00, 0x00,
            0x00, 0x00, 0x03, 0xe8, 0xff, 0xff, 0xff, 0xff, 0x68, 0x65, 0x6c, 0x6c, 0x6f, 0x00, 0x00, 0x00,
            0x3f, 0x9d, 0xf3, 0xb6, 0x40, 0xb5, 0xb2, 0x2d,
        ];
        assert_eq!(encoded(&OscPacket::Message(OscMessage { addr: "/foo".into(), args })), expected);
    }

    #[test]
    fn what_has_a_meaning_in_addresses_is_refused() {
        let new = |prefix, name| Osc::new(prefix, [name].into_iter(), Scale::UNIT).map(|_| ());
        for bad in ["", "nose up", "a/b", "#1", "a*", "a,b", "why?", "[a]", "{a}", "höhe", "nul\0"] {
            assert_eq!(new("/t", bad), Err(ConfigProblem::NameInOsc(bad.to_owned())));
        }
        assert_eq!(new("/sim/1", "rudder-trim_2"), Ok(()));
    }

    proptest! {
        /// rosc's decoder reads names and positions back, whatever the lengths of the names.
        #[test]
        fn every_datagram_reads_back(
            names in proptest::collection::btree_set("[a-z0-9]{1,9}", 1..6),
            readings in proptest::collection::vec(any_reading(), 6),
            scale in any_scale(),
        ) {
            let osc = Osc::new("/tallywheel", names.iter().map(String::as_str), scale).unwrap();
            let bytes = encode(&osc, &readings);
            let (rest, packet) = rosc::decoder::decode_udp(&bytes).unwrap();
            prop_assert!(rest.is_empty());
            let messages = match packet {
                OscPacket::Message(message) => vec![message],
                OscPacket::Bundle(bundle) => {
                    prop_assert_eq!(bundle.timetag, IMMEDIATELY);
                    bundle.content.into_iter().map(|one| match one {
                        OscPacket::Message(message) => message,
                        OscPacket::Bundle(_) => panic!("a bundle in a bundle"),
                    }).collect()
                }
            };
            prop_assert_eq!(messages.len(), names.len());
            for ((message, name), reading) in messages.iter().zip(&names).zip(&readings) {
                prop_assert_eq!(&message.addr, &format!("/tallywheel/{name}"));
                prop_assert_eq!(&message.args, &vec![OscType::Float(osc.value(reading))]);
            }
        }
    }
}
