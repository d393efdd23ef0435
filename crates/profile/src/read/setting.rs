/// The value of one key: what it may be, in words and in code. A value that is none of what `from_...` takes is
/// a mistake, told with `EXPECTED`.
pub(crate) trait Setting: Sized {
    /// What belongs there, one clause without a full stop.
    const EXPECTED: &'static str;

    /// From text in quotes.
    fn from_text(_text: &str) -> Option<Self> {
        None
    }

    /// From a whole number.
    fn from_whole(_number: i64) -> Option<Self> {
        None
    }

    /// From any number, whole ones included; it may be infinite or not a number.
    fn from_number(_number: f64) -> Option<Self> {
        None
    }

    /// From `true` or `false`.
    fn from_flag(_flag: bool) -> Option<Self> {
        None
    }

    /// The JSON Schema of what it takes; `EXPECTED` in the words of a machine.
    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({})
    }
}

impl Setting for bool {
    const EXPECTED: &'static str = "true or false";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "boolean" })
    }

    fn from_flag(flag: bool) -> Option<Self> {
        Some(flag)
    }
}

impl Setting for tallywheel_units::ButtonNumber {
    const EXPECTED: &'static str = "a button number from 1 to 128";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": 1, "maximum": 128 })
    }

    fn from_whole(number: i64) -> Option<Self> {
        Self::new(u8::try_from(number).ok()?)
    }
}

impl Setting for tallywheel_units::CountsPerTurn {
    const EXPECTED: &'static str = "a whole number from 1 to 1000000";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "integer", "minimum": 1, "maximum": 1000000 })
    }

    fn from_whole(number: i64) -> Option<Self> {
        Self::new(u32::try_from(number).ok()?)
    }
}

impl Setting for tallywheel_units::CountsPerCycle {
    const EXPECTED: &'static str = "1, 2 or 4";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "enum": [1, 2, 4] })
    }

    fn from_whole(number: i64) -> Option<Self> {
        match number {
            1 => Some(Self::X1),
            2 => Some(Self::X2),
            4 => Some(Self::X4),
            _ => None,
        }
    }
}

impl Setting for tallywheel_units::StopStyle {
    const EXPECTED: &'static str = "\"slip\" or \"remember\"";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "enum": ["slip", "remember"] })
    }

    fn from_text(text: &str) -> Option<Self> {
        match text {
            "slip" => Some(Self::Slip),
            "remember" => Some(Self::Remember),
            _ => None,
        }
    }
}

impl Setting for std::net::SocketAddr {
    const EXPECTED: &'static str = "an IP address and a port, such as \"127.0.0.1:47820\"";

    #[cfg(test)]
    fn schema() -> serde_json::Value {
        serde_json::json!({ "type": "string" })
    }

    fn from_text(text: &str) -> Option<Self> {
        text.parse().ok().filter(|to: &Self| to.port() != 0)
    }
}
