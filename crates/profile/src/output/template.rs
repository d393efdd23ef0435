use super::LayoutField;

/// How a datagram is written.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Template {
    /// One JSON object per datagram (RFC 8259), without a newline:
    ///
    /// ```json
    /// {"tallywheel":1,"sequence":12,"time_us":1795574403400150,"trims":{"rudder":{"position":-0.25,
    /// "axis":-8192,"degrees":240,"counts":-21,"margin":[0,0]}}}
    /// ```
    /// (on one line). `tallywheel` is the version of this layout; keys may be added without changing it, so
    /// receivers ignore what they do not know. `sequence` counts the datagrams of this output, so that missing
    /// ones can be told; it begins at 0 whenever the output is opened. `time_us` is in microseconds since
    /// 1970-01-01 UTC and grows with every datagram, also when Tallywheel is restarted, so that late ones can be
    /// told. For each trim: `position` -1 at the low stop, 0 at neutral, 1 at the high stop, exactly these
    /// numbers there and nowhere else, or what the output's range makes of it; `axis` the position as
    /// -32767..=32767, whatever the range; `degrees` of wheel rotation from the low stop; `counts` the tally of
    /// applied counts; `margin` how many counts the tally may be off, below and above, or `null` where there is
    /// no limit. Numbers are the shortest that read back as the same 64-bit float.
    #[default]
    Json,
    /// One text line per datagram, for receivers that read text with a separator: each trim's name and its
    /// position, everything separated by one space, ended by one newline:
    ///
    /// ```text
    /// rudder -0.25 elevator 1
    /// ```
    /// The position is in the output's range, as in [`Template::Json`], rounded to nine digits after the point,
    /// without trailing zeros and never with an exponent.
    Line,
    /// Open Sound Control 1.0. For each trim a message with its position as one float32, in the output's range,
    /// to the address pattern `PREFIX/NAME`; several trims come together as a bundle whose time tag says
    /// "immediately".
    Osc {
        /// Begins with a slash and does not end with one: `/tallywheel`.
        prefix: String,
    },
    /// Binary, everything little-endian and without gaps:
    ///
    /// | byte | type | what |
    /// |---|---|---|
    /// | 0 | 4 bytes | `TWHL` |
    /// | 4 | u16 | version of this layout, 1 |
    /// | 6 | u16 | number of trims |
    /// | 8 | u64 | `sequence` as in [`Template::Json`] |
    /// | 16 | u64 | `time_us` as in [`Template::Json`] |
    /// | 24 + 40 n | f64 | position of trim n, in the output's range |
    /// | 32 + 40 n | f64 | degrees of wheel rotation from the low stop |
    /// | 40 + 40 n | i64 | tally of applied counts |
    /// | 48 + 40 n | i32 | axis, -32767..=32767 |
    /// | 52 + 40 n | u32 | margin below, in counts; 4294967295 for that many, more, or no limit |
    /// | 56 + 40 n | u32 | margin above, the same |
    /// | 60 + 40 n | u32 | 0, reserved |
    ///
    /// A later version may append to this, never change it.
    Packed,
    /// These fields, one after the other without anything between them.
    Layout(Vec<LayoutField>),
}

impl Template {
    /// The OSC prefix where the aircraft file gives none.
    pub const OSC_PREFIX: &'static str = "/tallywheel";

    /// Whether `text` can be [`Self::Osc`]'s prefix: parts that [`Self::is_osc_part`], each after a slash.
    #[must_use]
    pub fn is_osc_prefix(text: &str) -> bool {
        text.strip_prefix('/').is_some_and(|parts| parts.split('/').all(Self::is_osc_part))
    }

    /// Whether `text` can stand between two slashes of an OSC address: printable ASCII without those that have a
    /// meaning in addresses and patterns (OSC 1.0, section "OSC Address Spaces").
    #[must_use]
    pub fn is_osc_part(text: &str) -> bool {
        !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_graphic() && !b"#*,/?[]{}".contains(&byte))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// OSC 1.0, section "OSC Address Spaces", has the characters that names must not have.
    #[test]
    fn an_osc_prefix_is_the_beginning_of_an_address() {
        for bad in ["", "t", "/", "/t/", "//t", "/a b", "/a*"] {
            assert!(!Template::is_osc_prefix(bad), "{bad}");
        }
        for good in [Template::OSC_PREFIX, "/sim/1", "/a-b_c.d"] {
            assert!(Template::is_osc_prefix(good), "{good}");
        }
    }
}
