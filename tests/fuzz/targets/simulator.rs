//! Any datagrams of any senders at any time: what is taken for news is within its limits, and a number is news once.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::time::Duration;
use tallywheel_engine::inbound::{EchoSuppression, LONGEST_BYTES, SimulatorSession, Message, Verdict};
use tallywheel_profile::OnReport;
use tallywheel_units::{Counts, Timestamp};

fuzz_target!(|data: &[u8]| {
    let mut link = SimulatorSession::new(Duration::from_secs(5));
    let mut follower = EchoSuppression::new(OnReport::Adopt, false);
    let mut at = Timestamp::START;
    let mut heard: BTreeMap<String, u64> = BTreeMap::new();
    // Two bytes of time and sender before each datagram, which ends at the next newline.
    for datagram in data.split(|byte| *byte == b'\n') {
        let [ms, port, bytes @ ..] = datagram else { continue };
        at = at.after(Duration::from_millis(u64::from(*ms) * 20));
        if link.gone(at) {
            heard.clear();
        }
        let Ok(message) = Message::parse(bytes) else { continue };
        assert!(bytes.len() <= LONGEST_BYTES && message.trims.len() <= 64);
        assert!(message.title.as_ref().is_none_or(|title| title.chars().count() <= 256));
        let from = SocketAddr::from(([127, 0, 0, 1], u16::from(*port)));
        let who = message.session.clone().unwrap_or_else(|| format!("\n{from}"));
        if let Verdict::Fresh { .. } = link.take(at, from, &message) {
            // Only the last eight before it are remembered.
            let news = heard.len() > 8 || heard.get(&who).is_none_or(|before| *before < message.sequence);
            assert!(news, "{who} {}", message.sequence);
            heard.insert(who, message.sequence);
            for (_, value) in &message.trims {
                assert!((-1.0..=1.0).contains(&value.get()));
                follower.see(at, *value, Counts::ZERO);
                let _ = follower.report(at, *value);
            }
        }
        assert!(link.deadline().is_none_or(|deadline| deadline > at));
    }
});
