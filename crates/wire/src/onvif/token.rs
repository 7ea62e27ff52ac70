//! The login inside a message: Web Services Security `UsernameToken` Profile 1.1, section 3.1, with a
//! digest of the password, as ONVIF Core Specification wants it.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha1::{Digest, Sha1};

use super::clock::DeviceTime;
use super::secret::{Draw, Login};
use super::text;

/// Namespaces and types of the profile.
const SECURITY: &str = "http://docs.oasis-open.org/wss/2004/01/oasis-200401-wss-wssecurity-secext-1.0.xsd";
const UTILITY: &str = "http://docs.oasis-open.org/wss/2004/01/oasis-200401-wss-wssecurity-utility-1.0.xsd";
const PASSWORD_DIGEST: &str =
    "http://docs.oasis-open.org/wss/2004/01/oasis-200401-wss-username-token-profile-1.0#PasswordDigest";
const BASE64: &str =
    "http://docs.oasis-open.org/wss/2004/01/oasis-200401-wss-soap-message-security-1.0#Base64Binary";

/// The header of a message in which `login` is given at the device's time `at`.
pub(super) fn header(login: &Login, at: DeviceTime, draw: &Draw) -> String {
    let created = at.stamp();
    format!(
        "<s:Header><wsse:Security xmlns:wsse=\"{SECURITY}\" xmlns:wsu=\"{UTILITY}\" s:mustUnderstand=\"1\">\
         <wsse:UsernameToken>{}\
         <wsse:Password Type=\"{PASSWORD_DIGEST}\">{}</wsse:Password>\
         <wsse:Nonce EncodingType=\"{BASE64}\">{}</wsse:Nonce>{}\
         </wsse:UsernameToken></wsse:Security></s:Header>",
        text("wsse:Username", login.user()),
        digest(draw.bytes(), &created, login.password()),
        STANDARD.encode(draw.bytes()),
        text("wsu:Created", &created),
    )
}

/// `Base64(SHA-1(nonce + created + password))`.
pub(super) fn digest(nonce: &[u8], created: &str, password: &[u8]) -> String {
    let mut hash = Sha1::new();
    hash.update(nonce);
    hash.update(created.as_bytes());
    hash.update(password);
    STANDARD.encode(hash.finalize())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of the ONVIF Application Programmer's Guide, section 6.1.1.3 (from memory).
    #[test]
    fn the_guides_example_comes_out() {
        let nonce = STANDARD.decode("LKqI6G/AikKCQrN0zqZFlg==").unwrap();
        assert_eq!(
            digest(&nonce, "2010-09-16T07:50:45Z", b"userpassword"),
            "tuOSpGlFlIXsozq4HFNeeGeFLEI="
        );
    }
}
