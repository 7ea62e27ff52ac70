//! The login beside a message: HTTP Digest, RFC 7616 (RFC 2617 for servers that give no `qop`), and the
//! form of challenges, RFC 9110 section 11.6.1. MD5 and SHA-256, `qop=auth`; Basic is never answered.

use md5::Md5;
use sha2::{Digest, Sha256};
use zeroize::Zeroizing;

use super::secret::{Draw, Login};

/// A challenge is answered once, so its count is always the first.
const COUNT: &str = "00000001";
/// The longest value that is kept of a challenge, in bytes.
const MAX_VALUE: usize = 1024;

/// The hash that a server asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Hash {
    Md5,
    Sha256,
}

impl Hash {
    /// The hash of `parts` with a colon between each two, in hexadecimal digits.
    fn of(self, parts: &[&[u8]]) -> Zeroizing<String> {
        fn hash<D: Digest>(parts: &[&[u8]]) -> Zeroizing<String> {
            let mut hash = D::new();
            for (n, part) in parts.iter().enumerate() {
                if n > 0 {
                    hash.update(b":");
                }
                hash.update(part);
            }
            Zeroizing::new(hex(&hash.finalize()))
        }
        match self {
            Self::Md5 => hash::<Md5>(parts),
            Self::Sha256 => hash::<Sha256>(parts),
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    use core::fmt::Write;
    bytes.iter().fold(String::new(), |mut out, byte| {
        let _ = write!(out, "{byte:02x}");
        out
    })
}

/// What a server wants answered before it does what it was asked. It is used up by one answer: for the next
/// request the device is asked anew.
#[derive(Debug, PartialEq, Eq)]
pub struct Challenge {
    realm: String,
    nonce: String,
    opaque: Option<String>,
    /// As the server spells it; nothing stands for MD5.
    algorithm: Option<String>,
    hash: Hash,
    /// The hash of the login takes in this session's nonces.
    session: bool,
    /// Whether `qop=auth` is offered; a server that offers nothing follows RFC 2069.
    auth: bool,
    stale: bool,
}

impl Challenge {
    /// The first challenge of these header fields that can be answered.
    pub(super) fn choose(fields: &[String]) -> Option<Self> {
        let mut all = fields.iter().flat_map(|field| schemes(field));
        all.find_map(|scheme| Self::read(&scheme))
    }

    fn read(scheme: &Scheme) -> Option<Self> {
        if !scheme.name.eq_ignore_ascii_case("Digest") {
            return None;
        }
        let all = &scheme.values;
        if all
            .iter()
            .any(|(_, v)| v.len() > MAX_VALUE || v.chars().any(char::is_control))
        {
            return None;
        }
        let value = |name: &str| scheme.value(name).map(str::to_owned);
        let algorithm = value("algorithm");
        let (hash, session) = match algorithm.as_deref().map(str::to_ascii_lowercase).as_deref() {
            None | Some("md5") => (Hash::Md5, false),
            Some("md5-sess") => (Hash::Md5, true),
            Some("sha-256") => (Hash::Sha256, false),
            Some("sha-256-sess") => (Hash::Sha256, true),
            Some(_) => return None,
        };
        let qop = value("qop");
        let offers = |list: &String| list.split(',').any(|q| q.trim().eq_ignore_ascii_case("auth"));
        if qop.as_ref().is_some_and(|list| !offers(list)) {
            return None;
        }
        Some(Self {
            realm: value("realm")?,
            nonce: value("nonce")?,
            opaque: value("opaque"),
            algorithm,
            hash,
            session,
            auth: qop.is_some(),
            stale: value("stale").is_some_and(|v| v.eq_ignore_ascii_case("true")),
        })
    }

    /// Whether the server says that only the nonce of the last answer was too old, and the login right.
    pub const fn stale(&self) -> bool {
        self.stale
    }

    /// The `Authorization` field that answers it for a POST to `uri`.
    pub(super) fn answer(&self, login: &Login, uri: &str, draw: &Draw) -> String {
        let cnonce = hex(draw.bytes());
        let response = self.response(login.user().as_bytes(), login.password(), ("POST", uri), &cnonce);
        let mut out = vec![
            format!("username=\"{}\"", quoted(login.user())),
            format!("realm=\"{}\"", quoted(&self.realm)),
            format!("nonce=\"{}\"", quoted(&self.nonce)),
            format!("uri=\"{}\"", quoted(uri)),
            format!("response=\"{}\"", response.as_str()),
        ];
        // One of those that were understood, so a token.
        out.extend(self.algorithm.iter().map(|a| format!("algorithm={a}")));
        if self.auth {
            out.push(format!("qop=auth, nc={COUNT}"));
        }
        if self.auth || self.session {
            out.push(format!("cnonce=\"{cnonce}\""));
        }
        let opaque = self.opaque.iter();
        out.extend(opaque.map(|o| format!("opaque=\"{}\"", quoted(o))));
        format!("Digest {}", out.join(", "))
    }

    /// RFC 7616 section 3.4.1.
    pub(super) fn response(
        &self,
        user: &[u8],
        password: &[u8],
        (method, uri): (&str, &str),
        cnonce: &str,
    ) -> Zeroizing<String> {
        let h = |parts: &[&[u8]]| self.hash.of(parts);
        let nonce = self.nonce.as_bytes();
        let mut who = h(&[user, self.realm.as_bytes(), password]);
        if self.session {
            who = h(&[who.as_bytes(), nonce, cnonce.as_bytes()]);
        }
        let what = h(&[method.as_bytes(), uri.as_bytes()]);
        let (who, what) = (who.as_bytes(), what.as_bytes());
        if self.auth {
            h(&[who, nonce, COUNT.as_bytes(), cnonce.as_bytes(), b"auth", what])
        } else {
            h(&[who, nonce, what])
        }
    }
}

/// The inside of a quoted string (RFC 9110 section 5.6.4).
fn quoted(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"")
}

/// One way to log in that a server offers.
#[derive(Debug, Default)]
pub(super) struct Scheme {
    pub(super) name: String,
    values: Vec<(String, String)>,
}

impl Scheme {
    /// The first value of that name.
    pub(super) fn value(&self, name: &str) -> Option<&str> {
        let mut found = self
            .values
            .iter()
            .filter(|(key, _)| key.eq_ignore_ascii_case(name));
        found.next().map(|(_, value)| value.as_str())
    }
}

/// The schemes in one field: each a word, then its values, all with commas between.
pub(super) fn schemes(field: &str) -> Vec<Scheme> {
    let mut all: Vec<Scheme> = Vec::new();
    let mut rest = field;
    loop {
        rest = rest.trim_start_matches([' ', '\t', ',', '=']);
        let end = rest.find([' ', '\t', ',', '=']).unwrap_or(rest.len());
        let (word, after) = rest.split_at_checked(end).unwrap_or((rest, ""));
        if word.is_empty() {
            return all;
        }
        rest = after;
        let Some(value) = after.trim_start_matches([' ', '\t']).strip_prefix('=') else {
            all.push(Scheme {
                name: word.to_owned(),
                values: Vec::new(),
            });
            continue;
        };
        let (value, after) = value_of(value.trim_start_matches([' ', '\t']));
        rest = after;
        if let Some(scheme) = all.last_mut() {
            scheme.values.push((word.to_owned(), value));
        }
    }
}

/// A value at the beginning of `text`, with or without quotes, and what follows it.
fn value_of(text: &str) -> (String, &str) {
    let Some(inside) = text.strip_prefix('"') else {
        let end = text.find([' ', '\t', ',']).unwrap_or(text.len());
        let (value, after) = text.split_at_checked(end).unwrap_or((text, ""));
        return (value.to_owned(), after);
    };
    let mut value = String::new();
    let mut chars = inside.char_indices();
    while let Some((at, c)) = chars.next() {
        match c {
            '"' => return (value, inside.get(at + 1..).unwrap_or_default()),
            '\\' => value.extend(chars.next().map(|(_, c)| c)),
            c => value.push(c),
        }
    }
    (value, "")
}

#[cfg(test)]
#[path = "digest_tests.rs"]
mod tests;
