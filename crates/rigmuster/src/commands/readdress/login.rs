//! The login that the rig file names, from the environment.

use rig::Device;
use wire::onvif::{Login, Secret};

use crate::readdress::Given;

/// What the environment holds for the device; where that is nothing, somebody is asked.
pub(in super::super) fn given(device: Option<&Device>) -> Given {
    let Some(login) = device.and_then(|d| d.login.as_ref()) else {
        return Given::Ask;
    };
    let variable = login.variable();
    match std::env::var(variable) {
        Err(_) => Given::AskSince(format!(
            "The variable {variable}, which the rig file names for the login, is not set."
        )),
        Ok(text) => read(text).map_or_else(
            || {
                Given::AskSince(format!(
                    "The variable {variable}, which the rig file names for the login, does not hold user:password."
                ))
            },
            Given::Login,
        ),
    }
}

/// `user:password`; a password may hold colons, a user's name none.
fn read(mut text: String) -> Option<Login> {
    let password = text.split_off(text.find(':')? + 1);
    // What is left is wiped with the user's name.
    text.pop();
    Login::new(text, Secret::new(password))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_login_is_a_user_and_a_password_and_never_printed() {
        for good in ["stage:left-turn-7", "stage:", "stage:a:b"] {
            let login = read(good.to_owned()).unwrap();
            assert_eq!(format!("{login:?}"), "Login");
        }
        for bad in ["", "stage", ":left-turn-7"] {
            assert!(read(bad.to_owned()).is_none(), "{bad}");
        }
    }
}
