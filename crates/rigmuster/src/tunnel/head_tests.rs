//! Tests of the heads by themselves.

use std::net::Ipv4Addr;

use proptest::prelude::*;

use super::*;

const DOOR: Door = Door {
    local: 40_080,
    port: 80,
};

fn names() -> Names {
    let mut names = Names::new(Ipv4Addr::new(192, 168, 0, 20));
    names.add(80, 40_080);
    names.add(8_080, 41_080);
    names
}

fn ask(text: &str) -> Result<Option<Request>, Refusal> {
    request(text.replace('\n', "\r\n").as_bytes(), &names(), DOOR)
}

fn passed(text: &str) -> Request {
    ask(text).unwrap().unwrap()
}

fn told(text: &str) -> Answer {
    answer(text.replace('\n', "\r\n").as_bytes(), &names(), false)
        .unwrap()
        .unwrap()
}

fn lines(head: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(head);
    text.trim_end().split("\r\n").map(str::to_owned).collect()
}

#[test]
fn a_request_names_the_device_and_is_else_as_it_was() {
    let request = passed(
        "POST /set?a=b HTTP/1.1\nHost: 127.0.0.1:40080\nOrigin: http://127.0.0.1:40080\n\
         Referer: http://localhost:40080/page\nCookie: a=http://127.0.0.1:40080\nContent-Length: 3\n\nabc",
    );
    assert_eq!(
        lines(&request.head),
        [
            "POST /set?a=b HTTP/1.1",
            "Host: 192.168.0.20",
            "Origin: http://192.168.0.20",
            "Referer: http://192.168.0.20/page",
            "Cookie: a=http://127.0.0.1:40080",
            "Content-Length: 3",
        ]
    );
    assert_eq!(request.body, Framing::Length(3));
    assert!(!request.last && !request.is_head);
    let door = Door {
        local: 41_080,
        port: 8_080,
    };
    let text = b"HEAD / HTTP/1.1\r\nHost: localhost:41080\r\nConnection: Close\r\n\r\n";
    let request = super::request(text, &names(), door).unwrap().unwrap();
    assert_eq!(lines(&request.head)[1], "Host: 192.168.0.20:8080");
    assert!(request.last && request.is_head && request.length == text.len());
}

#[test]
fn what_is_for_another_host_does_not_pass() {
    for host in [
        "evil.example",
        "evil.example:40080",
        "192.168.0.20",
        "127.0.0.1:41080",
        "127.0.0.1",
        "",
    ] {
        let refused = ask(&format!("GET / HTTP/1.1\nHost: {host}\n\n"));
        assert_eq!(refused, Err(Refusal::Misdirected), "{host}");
    }
    for (text, why) in [
        ("GET / HTTP/1.1\n\n", Refusal::Malformed),
        (
            "GET / HTTP/1.1\nHost: 127.0.0.1:40080\nHost: 127.0.0.1:40080\n\n",
            Refusal::Malformed,
        ),
        (
            "GET http://evil.example/ HTTP/1.1\nHost: 127.0.0.1:40080\n\n",
            Refusal::Misdirected,
        ),
        (
            "CONNECT evil.example:443 HTTP/1.1\nHost: 127.0.0.1:40080\n\n",
            Refusal::Misdirected,
        ),
        ("GET / HTTP/1.1\nHost : 127.0.0.1:40080\n\n", Refusal::Malformed),
    ] {
        assert_eq!(ask(text), Err(why), "{text}");
    }
    assert!(
        ask("GET / HTTP/1.0\n\n").unwrap().is_some(),
        "HTTP/1.0 may leave it out"
    );
    let absolute = passed("GET http://127.0.0.1:40080/x HTTP/1.1\nHost: 127.0.0.1:40080\n\n");
    assert_eq!(lines(&absolute.head)[0], "GET http://192.168.0.20/x HTTP/1.1");
}

#[test]
fn what_a_page_from_elsewhere_sends_does_not_pass() {
    for header in [
        "Origin: http://evil.example",
        "Origin: null",
        "Origin: http://127.0.0.1:9",
        "Sec-Fetch-Site: cross-site",
    ] {
        let refused = ask(&format!(
            "GET /left HTTP/1.1\nHost: 127.0.0.1:40080\n{header}\n\n"
        ));
        assert_eq!(refused, Err(Refusal::Foreign), "{header}");
    }
    for header in [
        "Sec-Fetch-Site: none",
        "Sec-Fetch-Site: same-origin",
        "Origin: http://127.0.0.1:41080",
    ] {
        assert!(
            ask(&format!("GET / HTTP/1.1\nHost: 127.0.0.1:40080\n{header}\n\n")).is_ok(),
            "{header}"
        );
    }
}

#[test]
fn a_request_that_says_two_things_about_its_end_does_not_pass() {
    for (fields, why) in [
        (
            "Transfer-Encoding: chunked\nContent-Length: 3",
            Refusal::Malformed,
        ),
        ("Content-Length: 3\nContent-Length: 4", Refusal::Malformed),
        ("Content-Length: +3", Refusal::Malformed),
        ("Content-Length: 3, 4", Refusal::Malformed),
        ("Transfer-Encoding: gzip, chunked", Refusal::Unknown),
        ("Transfer-Encoding: xchunked", Refusal::Unknown),
    ] {
        let refused = ask(&format!("POST / HTTP/1.1\nHost: 127.0.0.1:40080\n{fields}\n\n"));
        assert_eq!(refused, Err(why), "{fields}");
    }
    let chunked = passed("POST / HTTP/1.1\nHost: 127.0.0.1:40080\nTransfer-Encoding: Chunked\n\n");
    assert_eq!(chunked.body, Framing::CHUNKED);
    let twice = passed("POST / HTTP/1.1\nHost: 127.0.0.1:40080\nContent-Length: 3, 3\n\n");
    assert_eq!(twice.body, Framing::Length(3));
}

#[test]
fn where_an_answer_leads_is_a_door() {
    let answer = told(
        "HTTP/1.1 302 Found\nLocation: http://192.168.0.20:8080/login\nLink: <http://192.168.0.20/>\n\
         Content-Length: 0\n\n",
    );
    assert_eq!(
        lines(&answer.head),
        [
            "HTTP/1.1 302 Found",
            "Location: http://127.0.0.1:41080/login",
            "Link: <http://192.168.0.20/>",
            "Content-Length: 0",
        ]
    );
    let elsewhere = told("HTTP/1.1 302 Found\nLocation: http://192.168.0.21/\n\n");
    assert_eq!(lines(&elsewhere.head)[1], "Location: http://192.168.0.21/");
}

#[test]
fn where_an_answer_ends_follows_rfc_9112() {
    for (text, body, last) in [
        (
            "HTTP/1.1 200 OK\nContent-Length: 5\n\n",
            Framing::Length(5),
            false,
        ),
        (
            "HTTP/1.1 200 OK\nContent-Length: 5\nTransfer-Encoding: chunked\n\n",
            Framing::CHUNKED,
            false,
        ),
        ("HTTP/1.1 200 OK\n\n", Framing::Close, true),
        ("HTTP/1.1 200 OK\nContent-Length: x\n\n", Framing::Close, true),
        ("HTTP/1.1 204 No Content\n\n", Framing::NONE, false),
        (
            "HTTP/1.1 304 Not Modified\nContent-Length: 5\n\n",
            Framing::NONE,
            false,
        ),
        ("HTTP/1.0 200 OK\nContent-Length: 5\n\n", Framing::Length(5), true),
        (
            "HTTP/1.0 200 OK\nContent-Length: 5\nConnection: keep-alive\n\n",
            Framing::Length(5),
            false,
        ),
    ] {
        let answer = told(text);
        assert_eq!((answer.body, answer.last), (body, last), "{text}");
    }
    assert!(told("HTTP/1.1 100 Continue\n\n").interim);
    let switch = told("HTTP/1.1 101 Switching Protocols\nUpgrade: websocket\nConnection: Upgrade\n\n");
    assert!(switch.switches && !switch.interim);
    let head = answer(b"HTTP/1.1 200 OK\r\nContent-Length: 5\r\n\r\n", &names(), true);
    assert_eq!(head.unwrap().unwrap().body, Framing::NONE);
}

#[test]
fn a_folded_value_cannot_make_a_header_of_its_own() {
    let answer = told("HTTP/1.1 200 OK\nServer: a\n  Location: http://evil.example/\n\n");
    assert_eq!(lines(&answer.head).len(), 2, "{:?}", lines(&answer.head));
}

#[test]
fn a_head_has_a_bound() {
    let long = format!(
        "GET / HTTP/1.1\r\nHost: 127.0.0.1:40080\r\nX: {}",
        "x".repeat(LONGEST)
    );
    assert_eq!(request(long.as_bytes(), &names(), DOOR), Err(Refusal::TooLong));
    let many = format!("GET / HTTP/1.1\r\n{}\r\n", "X: x\r\n".repeat(MOST + 1));
    assert_eq!(request(many.as_bytes(), &names(), DOOR), Err(Refusal::TooLong));
    let long = format!("HTTP/1.1 200 OK\r\nX: {}", "x".repeat(LONGEST));
    assert_eq!(answer(long.as_bytes(), &names(), false), Err(Refusal::Malformed));
}

#[test]
fn every_refusal_is_a_whole_answer() {
    for why in [
        Refusal::Malformed,
        Refusal::TooLong,
        Refusal::Misdirected,
        Refusal::Foreign,
        Refusal::Unknown,
        Refusal::NoDevice,
    ] {
        let bytes = why.answer();
        let answer = answer(&bytes, &names(), false).unwrap().unwrap();
        assert_eq!(answer.body, Framing::Length((bytes.len() - answer.length) as u64));
        assert!(answer.last);
    }
}

proptest! {
    /// Any bytes are taken, and what passes names the device alone and is read the same again.
    #[test]
    fn any_bytes_are_taken(bytes in prop::collection::vec(any::<u8>(), 0..300),
                           fields in prop::collection::vec("[A-Za-z-]{1,12}: [ -~]{0,30}", 0..6)) {
        let _ = (request(&bytes, &names(), DOOR), answer(&bytes, &names(), false));
        let text = format!("GET / HTTP/1.1\r\nHost: 127.0.0.1:40080\r\n{}\r\n\r\n", fields.join("\r\n"));
        if let Ok(Some(passed)) = request(text.as_bytes(), &names(), DOOR) {
            let mut headers = [httparse::EMPTY_HEADER; MOST];
            let mut again = httparse::Request::new(&mut headers);
            let whole = Status::Complete(passed.head.len());
            prop_assert_eq!(again.parse(&passed.head).unwrap(), whole);
            let hosts: Vec<_> = again.headers.iter().filter(|h| h.name.eq_ignore_ascii_case("host")).collect();
            prop_assert_eq!(hosts.len(), 1);
            prop_assert_eq!(hosts[0].value, b"192.168.0.20");
        }
        let text = format!("HTTP/1.1 200 OK\r\n{}\r\n\r\n", fields.join("\r\n"));
        if let Ok(Some(told)) = answer(text.as_bytes(), &names(), false) {
            let again = answer(&told.head, &names(), false).unwrap().unwrap();
            prop_assert_eq!((again.body, again.last, &again.head), (told.body, told.last, &told.head));
        }
    }
}
