//! Authentication: this user's own programs may use the API, and no web page may.
//!
//! | request | answer |
//! |---|---|
//! | `Host` is not this server by address or as `localhost` (a page whose name was bent to 127.0.0.1) | 421 |
//! | `Origin` is not this server (a script of a page from elsewhere, a local file, a frame without origin) | 403 |
//! | `Sec-Fetch-Site` says that another site asks (an image, a form, a link in a page from elsewhere) | 403 |
//! | no token, or not the one in the user's file | 401 |
//! | any other | the route's own |
//!
//! Nothing is answered across origins: there are no `Access-Control-` headers, so a browser refuses by itself
//! what needs asking for. `Host`, `Origin` and the token's header are those of RFC 9110, RFC 6454 and RFC 6750;
//! `Sec-Fetch-Site` is the W3C's Fetch Metadata.

use axum::http::header::{AUTHORIZATION, HOST, HeaderName, HeaderValue, ORIGIN};
use axum::http::{HeaderMap, StatusCode};
use std::fmt::Write;
use std::net::SocketAddr;

const SEC_FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");
const TOKEN_BYTES: usize = 32;

/// A random secret of 256 bits, written as 64 hexadecimal digits.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

impl Token {
    /// Makes a new random token.
    ///
    /// # Errors
    /// The system's, where it has no random numbers to give.
    pub fn new() -> std::io::Result<Self> {
        let mut bytes = [0_u8; TOKEN_BYTES];
        getrandom::fill(&mut bytes).map_err(|error| std::io::Error::other(error.to_string()))?;
        let mut text = String::with_capacity(2 * TOKEN_BYTES);
        for byte in bytes {
            // Writing to a string cannot fail.
            let _ = write!(text, "{byte:02x}");
        }
        Ok(Self(text))
    }

    /// Reads a token; `None` where `text` is not 64 hexadecimal digits.
    #[must_use]
    pub fn from_text(text: &str) -> Option<Self> {
        let is_valid = text.len() == 2 * TOKEN_BYTES && text.bytes().all(|byte| byte.is_ascii_hexdigit());
        is_valid.then(|| Self(text.to_owned()))
    }

    /// Returns the 64 hexadecimal digits.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Compares in a time that tells nothing of where the first difference is.
    fn is(&self, given: &[u8]) -> bool {
        let differences = self.0.bytes().zip(given).fold(0, |all, (one, other)| all | (one ^ other));
        given.len() == self.0.len() && differences == 0
    }
}

/// Shows nothing of the secret, which must not get into a log.
impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Token(..)")
    }
}

/// Checks the headers of requests to one server.
#[derive(Debug)]
pub struct Authentication {
    token: Token,
    hosts: [String; 2],
    origins: [String; 2],
}

/// Why a request was denied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Denied {
    /// The request names another host.
    Host,
    /// The request comes from a web page of another origin.
    Origin,
    /// The request does not bear the token.
    Token,
}

impl Denied {
    /// The HTTP status code of the answer.
    #[must_use]
    pub const fn status(self) -> StatusCode {
        match self {
            Self::Host => StatusCode::MISDIRECTED_REQUEST,
            Self::Origin => StatusCode::FORBIDDEN,
            Self::Token => StatusCode::UNAUTHORIZED,
        }
    }

    /// Says why, in one clause for people.
    #[must_use]
    pub const fn detail(self) -> &'static str {
        match self {
            Self::Host => "the header Host must be this address and port",
            Self::Origin => "nothing here is for web pages from elsewhere",
            Self::Token => {
                "the header Authorization must be `Bearer` and the token from the user's runtime folder"
            }
        }
    }
}

impl Authentication {
    /// Makes the check for a server at `address`, whose clients know `token`.
    #[must_use]
    pub fn new(address: SocketAddr, token: Token) -> Self {
        let hosts = [address.to_string(), format!("localhost:{}", address.port())];
        let origins = hosts.clone().map(|host| format!("http://{host}"));
        Self { token, hosts, origins }
    }

    /// Checks the headers of a request.
    ///
    /// # Errors
    /// [`Denied`], by the table above.
    pub fn check(&self, headers: &HeaderMap) -> Result<(), Denied> {
        let one_of = |value: &HeaderValue, known: &[String]| {
            known.iter().any(|known| value.as_bytes().eq_ignore_ascii_case(known.as_bytes()))
        };
        if !only(headers, &HOST).is_some_and(|host| one_of(host, &self.hosts)) {
            return Err(Denied::Host);
        }
        if headers.get_all(ORIGIN).iter().any(|origin| !one_of(origin, &self.origins)) {
            return Err(Denied::Origin);
        }
        let own = |site: &HeaderValue| matches!(site.as_bytes(), b"same-origin" | b"none");
        if !headers.get_all(SEC_FETCH_SITE).iter().all(own) {
            return Err(Denied::Origin);
        }
        let token = only(headers, &AUTHORIZATION).and_then(|given| bearer(given.as_bytes()));
        if token.is_some_and(|given| self.token.is(given)) { Ok(()) } else { Err(Denied::Token) }
    }
}

/// The value of a header that comes once; several would be understood differently by different readers.
fn only<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a HeaderValue> {
    let mut values = headers.get_all(name).iter();
    let first = values.next()?;
    values.next().is_none().then_some(first)
}

fn bearer(given: &[u8]) -> Option<&[u8]> {
    let (scheme, token) = given.split_at_checked(b"Bearer ".len())?;
    scheme.eq_ignore_ascii_case(b"Bearer ").then_some(token)
}

/// The headers of every answer: a browser that got hold of one shows, runs, keeps and passes on nothing of it.
pub const HEADERS: [(&str, &str); 6] = [
    (
        "content-security-policy",
        "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("referrer-policy", "no-referrer"),
    ("cache-control", "no-store"),
];

#[cfg(test)]
mod tests {
    use super::*;

    const TOKEN: &str = "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff";

    fn authentication() -> Authentication {
        Authentication::new("127.0.0.1:4711".parse().unwrap(), Token::from_text(TOKEN).unwrap())
    }

    fn checked(headers: &[(&str, &str)]) -> Result<(), Denied> {
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.append(HeaderName::from_bytes(name.as_bytes()).unwrap(), value.parse().unwrap());
        }
        authentication().check(&map)
    }

    #[test]
    fn every_way_in_and_every_way_to_be_denied() {
        let bearer = format!("Bearer {TOKEN}");
        let host = ("host", "127.0.0.1:4711");
        let token = ("authorization", bearer.as_str());
        let with = |more: &[(&str, &str)]| checked(&[&[host, token], more].concat());
        assert_eq!(with(&[]), Ok(()));
        assert_eq!(checked(&[("host", "LocalHost:4711"), token]), Ok(()));
        assert_eq!(with(&[("origin", "http://127.0.0.1:4711")]), Ok(()));
        assert_eq!(with(&[("origin", "http://localhost:4711"), ("sec-fetch-site", "same-origin")]), Ok(()));
        assert_eq!(with(&[("sec-fetch-site", "none")]), Ok(()));

        assert_eq!(checked(&[token]), Err(Denied::Host));
        let elsewhere = ["127.0.0.1", "127.0.0.1:80", "rebound.example:4711", "localhost", "[::1]:4711", ""];
        for other in elsewhere {
            assert_eq!(checked(&[("host", other), token]), Err(Denied::Host), "{other}");
        }
        assert_eq!(checked(&[host, host, token]), Err(Denied::Host));

        let origins = [
            "null",
            "http://127.0.0.1",
            "https://127.0.0.1:4711",
            "http://127.0.0.1:4712",
            "http://evil.example",
            "http://127.0.0.1:4711.evil.example",
            "file://",
            "",
        ];
        for other in origins {
            assert_eq!(with(&[("origin", other)]), Err(Denied::Origin), "{other}");
        }
        let both = [("origin", "http://localhost:4711"), ("origin", "http://evil.example")];
        assert_eq!(with(&both), Err(Denied::Origin));
        for site in ["cross-site", "same-site", "other", ""] {
            assert_eq!(with(&[("sec-fetch-site", site)]), Err(Denied::Origin), "{site}");
        }

        let longer = format!("Bearer {TOKEN}0");
        let shorter = format!("Bearer {}", &TOKEN[..63]);
        let other = format!("Bearer {}0", &TOKEN[..63]);
        let basic = format!("Basic {TOKEN}");
        for given in ["", "Bearer", "Bearer ", TOKEN, &longer, &shorter, &other, &basic] {
            assert_eq!(checked(&[host, ("authorization", given)]), Err(Denied::Token), "{given}");
        }
        assert_eq!(checked(&[host]), Err(Denied::Token));
        assert_eq!(checked(&[host, token, token]), Err(Denied::Token));
    }

    #[test]
    fn tokens_are_long_never_alike_and_never_shown() {
        let (one, other) = (Token::new().unwrap(), Token::new().unwrap());
        assert_ne!(one, other);
        assert_eq!(one.as_str().len(), 64);
        assert_eq!(Token::from_text(one.as_str()), Some(one.clone()));
        assert_eq!(format!("{one:?}"), "Token(..)");
        assert_eq!(Token::from_text("0123"), None);
    }
}
