//! `[simulator]`: where the simulator's reports come in.

use crate::read::{Field, Key, List, Mistakes, Setting, bounded, optional, seconds};
use serde::Deserialize;
use std::net::{IpAddr, SocketAddr};
use std::time::Duration;

/// Where the simulator reports its aircraft's title and its trim, as UDP datagrams. Without this table nothing is
/// listened to.
#[derive(Debug, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(deny_unknown_fields)]
pub(crate) struct SimulatorFile {
    /// The IP address and port to listen at, such as `"127.0.0.1:47820"`. With an address that other machines can
    /// reach, `senders` is needed.
    #[cfg_attr(test, schemars(required))]
    pub(crate) listen: Key<SocketAddr>,
    /// The IP addresses that may send; datagrams of all others are dropped. Default: those of this machine.
    pub(crate) senders: List<IpAddr>,
    /// After so many seconds without a report the simulator counts as gone, which is logged. Default 5.
    pub(crate) gone_after_s: Key<Patience>,
}

/// Where the simulator's reports come in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Simulator {
    /// The address and port to listen at; the port is not 0.
    pub listen: SocketAddr,
    /// Who may send; empty for every address of this machine, only where `listen` is one of them.
    pub senders: Vec<IpAddr>,
    /// How long no report may come before the simulator counts as gone, 0.5 s to 1 h.
    pub gone_after: Duration,
}

bounded! {
    /// How long the simulator may be silent before it counts as gone.
    pub(crate) Patience(Duration): f64 = 0.5..=3_600.0, "seconds", seconds;
}

impl Setting for IpAddr {
    fn expected() -> String {
        "an IP address, such as \"192.168.0.20\"".to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "string" })
    }

    fn from_text(text: &str) -> Option<Self> {
        text.parse().ok()
    }
}

/// The most senders; a rig has one simulator.
const MOST: usize = 64;

/// Tells every mistake in the table; `Some(None)` where there is no table.
pub(super) fn check(
    table: &Option<Field<SimulatorFile>>,
    mistakes: &Mistakes<'_>,
) -> Option<Option<Simulator>> {
    let Some(field) = table else { return Some(None) };
    let SimulatorFile { listen, senders, gone_after_s } = field.value.as_ref()?;
    let listen = mistakes.required(listen, field.byte, "simulator.listen").copied();
    let allowed = allowed(senders, mistakes);
    if let (Some(listen), None) = (listen, senders)
        && !listen.ip().is_loopback()
    {
        let expected = "the key `senders`, because other machines can reach this address";
        mistakes.tell(field.byte, "simulator.senders", expected, "nothing");
        return None;
    }
    let gone_after = optional(gone_after_s)?.map_or(Duration::from_secs(5), |patience| patience.get());
    Some(Some(Simulator { listen: listen?, senders: allowed?, gone_after }))
}

fn allowed(senders: &List<IpAddr>, mistakes: &Mistakes<'_>) -> Option<Vec<IpAddr>> {
    const PATH: &str = "simulator.senders";
    let Some(field) = senders else { return Some(Vec::new()) };
    let list = field.value.as_ref()?;
    if list.is_empty() {
        mistakes.tell(field.byte, PATH, "at least one IP address", "an empty list");
        return None;
    }
    if let Some(surplus) = list.get(MOST) {
        mistakes.tell(surplus.byte, PATH, format!("at most {MOST} IP addresses"), list.len().to_string());
        return None;
    }
    list.iter().map(|field| field.setting().copied()).collect()
}
