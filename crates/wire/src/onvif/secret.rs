//! A login, kept so that nothing can show it by mistake.

use core::fmt;

use zeroize::Zeroizing;

/// The longest user name and password, in bytes: ONVIF Core lets a device bound them, and none is
/// known to take more (common practice, no source).
const MAX_LOGIN: usize = 255;

/// A text that is never shown: there is no way to print it, and its memory is wiped when it is dropped.
pub struct Secret(Zeroizing<String>);

impl Secret {
    /// Keeps `text`. Copies of it made earlier are the caller's to wipe.
    pub fn new(text: String) -> Self {
        Self(Zeroizing::new(text))
    }

    pub(super) fn bytes(&self) -> &[u8] {
        self.0.as_bytes()
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret")
    }
}

/// Who logs in to a device, and with what.
pub struct Login {
    user: Zeroizing<String>,
    password: Secret,
}

impl Login {
    /// `None` if the user's name is empty, one of the two is longer than 255 bytes, or the name holds a
    /// control character, which no message can carry.
    pub fn new(user: String, password: Secret) -> Option<Self> {
        let user = Zeroizing::new(user);
        let fits = !user.is_empty()
            && user.len() <= MAX_LOGIN
            && password.bytes().len() <= MAX_LOGIN
            && !user.chars().any(char::is_control);
        fits.then_some(Self { user, password })
    }

    pub(super) fn user(&self) -> &str {
        &self.user
    }

    pub(super) fn password(&self) -> &[u8] {
        self.password.bytes()
    }
}

impl fmt::Debug for Login {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Login")
    }
}

/// Sixteen bytes that nobody can foresee, for one request. The caller draws them from the system.
pub struct Draw([u8; 16]);

impl Draw {
    /// From bytes of the system's source of chance.
    pub const fn new(bytes: [u8; 16]) -> Self {
        Self(bytes)
    }

    pub(super) const fn bytes(&self) -> &[u8; 16] {
        &self.0
    }
}

impl fmt::Debug for Draw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Draw")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_prints_a_login() {
        let login = Login::new("stage".to_owned(), Secret::new("left-turn-7".to_owned())).unwrap();
        assert_eq!(format!("{login:?} {:?}", login.password), "Login Secret");
        assert_eq!(format!("{:?}", Draw::new([7; 16])), "Draw");
    }

    #[test]
    fn what_no_message_can_carry_is_no_login() {
        let login = |user: &str, password: &str| {
            Login::new(user.to_owned(), Secret::new(password.to_owned())).is_some()
        };
        assert!(login("stage", ""));
        assert!(login("bühne", "ö<&\"'"));
        for (user, password) in [("", "x"), ("a\r\nX: y", "x"), ("a\u{0}", "x")] {
            assert!(!login(user, password), "{user:?}");
        }
        assert!(!login(&"a".repeat(256), "x"));
        assert!(!login("a", &"x".repeat(256)));
    }
}
