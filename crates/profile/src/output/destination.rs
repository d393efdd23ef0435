use crate::read::Setting;
use std::fmt;
use std::net::SocketAddr;

/// Where datagrams go: one receiver's address, or its name.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Destination {
    /// An IP address and a port.
    Address(SocketAddr),
    /// The name of a machine, to be looked up, and a port.
    Host {
        /// Letters, digits, hyphens, underscores and dots.
        name: String,
        /// The port, not 0.
        port: u16,
    },
}

impl Destination {
    /// Reads `127.0.0.1:47811`, `[::1]:47811` or `simpc.local:47811`. `None` for anything else, for port 0, and
    /// for what looks like an IP address and is none.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        if let Ok(address) = text.parse::<SocketAddr>() {
            return (address.port() != 0).then_some(Self::Address(address));
        }
        let (name, digits) = text.rsplit_once(':')?;
        let plain = digits.bytes().all(|byte| byte.is_ascii_digit());
        let port = digits.parse().ok().filter(|port| plain && *port != 0)?;
        is_host_name(name).then(|| Self::Host { name: name.to_owned(), port })
    }
}

/// A name as RFC 1123, section 2.1, has them: labels of at most 63 letters, digits and hyphens, 255 characters
/// in all, and a last label that is no number, so that it is no mistyped address. Underscores are taken too,
/// since there are machines called so.
fn is_host_name(name: &str) -> bool {
    let label = |label: &str| {
        let inside = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_');
        (1..=63).contains(&label.len())
            && label.chars().all(inside)
            && !label.starts_with('-')
            && !label.ends_with('-')
    };
    let rooted = name.strip_suffix('.').unwrap_or(name);
    let last_is_number =
        rooted.rsplit('.').next().is_some_and(|last| last.bytes().all(|byte| byte.is_ascii_digit()));
    name.len() <= 255 && rooted.split('.').all(label) && !last_is_number
}

impl From<SocketAddr> for Destination {
    fn from(address: SocketAddr) -> Self {
        Self::Address(address)
    }
}

impl fmt::Display for Destination {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Address(address) => address.fmt(f),
            Self::Host { name, port } => write!(f, "{name}:{port}"),
        }
    }
}

impl Setting for Destination {
    fn expected() -> String {
        "an IP address or a host name and a port, such as \"127.0.0.1:47811\" or \"simpc.local:47811\""
            .to_owned()
    }

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "string", "minLength": 3 })
    }

    fn from_text(text: &str) -> Option<Self> {
        Self::parse(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_and_names_are_read_and_written_alike() {
        for text in
            ["127.0.0.1:47811", "[::1]:9", "simpc.local:49000", "localhost:1", "sim_1:65535", "a-b.c.:7"]
        {
            let destination = Destination::parse(text).unwrap_or_else(|| panic!("{text}"));
            assert_eq!(destination.to_string(), text);
            let is_name = matches!(destination, Destination::Host { .. });
            assert_eq!(is_name, text.contains(char::is_alphabetic), "{text}");
        }
    }

    #[test]
    fn what_is_neither_is_refused() {
        let long = format!("{}:9", "a.".repeat(128));
        let label = format!("{}:9", "a".repeat(64));
        for text in [
            "",
            ":",
            "simpc",
            "simpc:",
            "simpc:0",
            "simpc:65536",
            "simpc:+9",
            "127.0.0.1",
            "127.0.0.1:0",
            "127.0.0.256:9",
            "1.2.3:9",
            ":9",
            ".:9",
            "a..b:9",
            "-a:9",
            "a-:9",
            "sim pc:9",
            "höhe:9",
            "::1:9",
            "a/b:9",
            "42:9",
            &long,
            &label,
        ] {
            assert_eq!(Destination::parse(text), None, "{text}");
        }
    }
}
