//! The terminal: taken whole, given back whole.

mod canvas;
mod input;
mod pictures;
mod quiet;
mod terminal;

use board::{ColourUse, Look};

pub(crate) use input::Input;
pub(crate) use pictures::Pictures;
pub(crate) use terminal::Screen;

/// How to draw on this terminal, by the usual variables of the environment: `NO_COLOR`, `TERM`,
/// and the locale for characters beyond ASCII.
pub(crate) fn look(ascii: bool) -> Look {
    let set = |name: &str| std::env::var(name).ok().filter(|v| !v.is_empty());
    let dumb = set("TERM").is_some_and(|t| t == "dumb");
    let no_colour = dumb || set("NO_COLOR").is_some();
    Look {
        colour: if no_colour {
            ColourUse::None
        } else {
            ColourUse::Full16
        },
        unicode: !ascii && !dumb && utf8(set),
    }
}

/// The locale's character set; the first of the three variables that is set decides (POSIX).
/// Windows consoles take UTF-8 through the terminal library.
fn utf8(set: impl Fn(&str) -> Option<String>) -> bool {
    if cfg!(windows) {
        return true;
    }
    ["LC_ALL", "LC_CTYPE", "LANG"]
        .into_iter()
        .find_map(set)
        .is_some_and(|locale| {
            let locale = locale.to_ascii_lowercase();
            locale.contains("utf-8") || locale.contains("utf8")
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_locale_variable_that_is_set_decides() {
        let env = |pairs: &'static [(&str, &str)]| {
            move |name: &str| {
                pairs
                    .iter()
                    .find(|(n, _)| *n == name)
                    .map(|(_, v)| (*v).to_owned())
            }
        };
        assert!(utf8(env(&[("LANG", "en_GB.UTF-8")])));
        assert!(!utf8(env(&[("LC_ALL", "C"), ("LANG", "en_GB.UTF-8")])) || cfg!(windows));
        assert!(!utf8(env(&[])) || cfg!(windows));
    }
}
