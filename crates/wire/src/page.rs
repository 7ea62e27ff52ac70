//! The title of a page: what a device's own web page says of it (HTML Living Standard, section
//! on the title element; the rest of a page is not looked at).

use vocab::Text;

use crate::head::Head;
use crate::http::{self, Sought};

/// Characters of a title, and of a server's name beside it, that are kept: both fit one text.
const KEPT: usize = 46;

/// Whether the body of a response is worth waiting for: a page that was found.
pub fn is_page(head: &Head<'_>) -> bool {
    (200..300).contains(&head.status)
        && head
            .field("content-type")
            .is_some_and(|v| v.to_ascii_lowercase().starts_with(b"text/html"))
}

/// The title in as much of a page as has come.
pub fn title(head: &Head<'_>) -> Sought {
    let (body, all) = http::body(head);
    Sought::of(find(&body), all)
}

/// What a server and its page say, in our words; nothing if they say nothing. Nothing of theirs ends our quotes, so
/// that a server's name is never read as a page's title.
pub fn words(server: Option<&Text>, title: Option<&Text>) -> Option<Text> {
    let plain = |c| if c == '"' { '\'' } else { c };
    let said = |text: &Text| text.as_str().chars().take(KEPT).map(plain).collect::<String>();
    let server = server.map(|s| format!("server \"{}\"", said(s)));
    let title = title.map(|t| format!("its page says \"{}\"", said(t)));
    let all: Vec<String> = [server, title].into_iter().flatten().collect();
    (!all.is_empty()).then(|| Text::clean(&all.join("; ")))
}

/// The text between the first start tag `title` and the next end tag of that name.
fn find(body: &[u8]) -> Option<Text> {
    let from = tag(body, b"<title", 0)?;
    let open = from + body.get(from..)?.iter().position(|b| *b == b'>')? + 1;
    let end = tag(body, b"</title", open)?;
    let raw = String::from_utf8_lossy(body.get(open..end)?);
    Some(match quick_xml::escape::unescape(&raw) {
        Ok(plain) => Text::clean(&plain),
        // A page is no XML: an entity of its own, or a lone ampersand, is left as it is.
        Err(_) => Text::clean(&raw),
    })
}

/// Where `name` stands at or after `from`, in any case, and is the whole name of its tag.
fn tag(body: &[u8], name: &[u8], from: usize) -> Option<usize> {
    let rest = body.get(from..)?;
    rest.windows(name.len() + 1)
        .position(|w| {
            let (head, after) = w.split_at(name.len());
            head.eq_ignore_ascii_case(name) && matches!(after, [b'>' | b'/' | b' ' | b'\t' | b'\r' | b'\n'])
        })
        .map(|at| from + at)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(fields: &str, page: &str) -> Sought {
        let text = format!("HTTP/1.1 200 OK\r\nContent-Type: text/html; charset=utf-8\r\n{fields}\r\n{page}");
        let head = http::parse(text.as_bytes()).unwrap();
        assert!(is_page(&head));
        title(&head)
    }

    #[test]
    fn a_servers_name_is_never_a_pages_title() {
        let server = Text::clean("x\"; its page says \"Organ loft");
        let said = words(Some(&server), None).unwrap();
        assert_eq!(said.as_str(), "server \"x'; its page says 'Organ loft\"");
    }

    #[test]
    fn titles_are_found_cleaned_and_bounded() {
        let some = |t: &str| Sought::Found(Text::clean(t));
        assert_eq!(
            of("", "<html><TITLE lang=en>\n Organ  loft </Title>"),
            some("Organ loft")
        );
        assert_eq!(of("", "<title>A &amp; B &#x43;</title>"), some("A & B C"));
        assert_eq!(of("", "<title>A & B &nbsp;</title>"), some("A & B &nbsp;"));
        assert_eq!(of("", "<title>\u{1b}[2J\u{202e}x</title>"), some("[2Jx"));
        assert_eq!(of("", "<titles>no</titles>"), Sought::NotYet, "it may still come");
        assert_eq!(
            of("Content-Length: 19\r\n", "<titles>no</titles>"),
            Sought::Nowhere
        );
        assert_eq!(of("Content-Length: 15\r\n", "<title></title>"), Sought::Nowhere);
        assert_eq!(of("", "<title>half"), Sought::NotYet);
        let Sought::Found(long) = of("", &format!("<title>{}</title>", "x".repeat(5_000))) else {
            panic!("it is there");
        };
        assert_eq!(long.as_str().len(), Text::MAX_CHARS);
    }

    #[test]
    fn only_pages_that_were_found_are_waited_for() {
        for (text, wanted) in [
            ("200 OK\r\nContent-Type: TEXT/HTML", true),
            ("200 OK\r\nContent-Type: text/plain", false),
            ("200 OK\r\nX: y", false),
            ("301 Moved\r\nContent-Type: text/html", false),
            ("401 No\r\nContent-Type: text/html", false),
        ] {
            let text = format!("HTTP/1.1 {text}\r\n\r\n");
            assert_eq!(is_page(&http::parse(text.as_bytes()).unwrap()), wanted, "{text}");
        }
    }

    #[test]
    fn each_is_said_with_its_source() {
        let text = Text::clean;
        assert_eq!(words(None, None), None);
        assert_eq!(
            words(Some(&text("stage unit 3")), Some(&text("Organ loft"))),
            Some(text("server \"stage unit 3\"; its page says \"Organ loft\""))
        );
        let long = text(&"x".repeat(500));
        assert!(
            words(Some(&long), Some(&long)).unwrap().as_str().ends_with('"'),
            "both fit"
        );
    }
}
