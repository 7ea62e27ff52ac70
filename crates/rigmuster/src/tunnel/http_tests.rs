//! Whole connections over pipes in memory.

use std::net::Ipv4Addr;

use proptest::prelude::*;
use tokio::io::{AsyncReadExt, DuplexStream, duplex};

use super::*;

const DOOR: Door = Door {
    local: 40_080,
    port: 80,
};
const HOST: &str = "Host: 127.0.0.1:40080\r\n";

fn names() -> Names {
    let mut names = Names::new(Ipv4Addr::new(192, 168, 0, 20));
    names.add(80, 40_080);
    names
}

/// Carries between a client and a device that `talk` plays.
fn carried<T, F: Future<Output = T>>(
    talk: impl FnOnce(DuplexStream, DuplexStream) -> F,
) -> (io::Result<()>, T) {
    let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
    runtime.block_on(async {
        let ((near, client), (far, device)) = (duplex(200), duplex(200));
        tokio::join!(carry(client, device, names, DOOR), talk(near, far))
    })
}

/// Reads until what was read ends so.
async fn until(from: &mut DuplexStream, end: &str) -> String {
    let mut all = Vec::new();
    while !all.ends_with(end.as_bytes()) {
        all.push(from.read_u8().await.unwrap());
    }
    String::from_utf8(all).unwrap()
}

async fn rest(from: &mut DuplexStream) -> String {
    let mut all = Vec::new();
    let _ = from.read_to_end(&mut all).await;
    String::from_utf8_lossy(&all).into_owned()
}

#[test]
fn each_request_on_a_connection_is_checked_by_itself() {
    let (ended, (heard, back)) = carried(|mut near, mut far| async move {
        near.write_all(format!("GET /1 HTTP/1.1\r\n{HOST}\r\n").as_bytes())
            .await
            .unwrap();
        let first = until(&mut far, "\r\n\r\n").await;
        assert_eq!(first, "GET /1 HTTP/1.1\r\nHost: 192.168.0.20\r\n\r\n");
        far.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nok")
            .await
            .unwrap();
        until(&mut near, "ok").await;
        // The next is for somebody else: it never arrives.
        near.write_all(b"GET /2 HTTP/1.1\r\nHost: evil.example\r\n\r\n")
            .await
            .unwrap();
        (rest(&mut far).await, rest(&mut near).await)
    });
    ended.unwrap();
    assert_eq!(heard, "");
    assert!(back.starts_with("HTTP/1.1 421 "), "{back}");
}

#[test]
fn a_request_hidden_in_a_body_stays_one() {
    let hidden = "GET /hidden HTTP/1.1\r\nHost: evil.example\r\n\r\n";
    let (ended, heard) = carried(|mut near, mut far| async move {
        let head = format!(
            "POST /1 HTTP/1.1\r\n{HOST}Content-Length: {}\r\n\r\n",
            hidden.len()
        );
        near.write_all((head + hidden).as_bytes()).await.unwrap();
        let heard = until(&mut far, "evil.example\r\n\r\n").await;
        far.write_all(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n")
            .await
            .unwrap();
        assert!(rest(&mut near).await.starts_with("HTTP/1.1 204 "));
        heard
    });
    ended.unwrap();
    assert!(heard.ends_with(hidden), "{heard}");
}

#[test]
fn requests_that_come_at_once_are_answered_in_turn() {
    let (ended, back) = carried(|mut near, mut far| async move {
        let all = [1, 2, 3]
            .map(|n| format!("GET /{n} HTTP/1.1\r\n{HOST}\r\n"))
            .concat();
        near.write_all(all.as_bytes()).await.unwrap();
        for n in 1..=3 {
            let heard = until(&mut far, "\r\n\r\n").await;
            assert!(heard.starts_with(&format!("GET /{n} ")), "{heard}");
            let answer =
                format!("HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n1\r\n{n}\r\n0\r\n\r\n");
            far.write_all(answer.as_bytes()).await.unwrap();
        }
        let mut back = until(&mut near, "1\r\n0\r\n\r\n").await;
        back += &until(&mut near, "3\r\n0\r\n\r\n").await;
        drop(near);
        assert_eq!(rest(&mut far).await, "");
        back
    });
    ended.unwrap();
    assert_eq!(back.matches("HTTP/1.1 200 OK").count(), 3);
}

#[test]
fn a_device_may_answer_early_ask_to_go_on_and_speak_another_protocol() {
    // Before the body has come, and it reads no more.
    let (ended, back) = carried(|mut near, mut far| async move {
        let head = format!("POST /1 HTTP/1.1\r\n{HOST}Content-Length: 100000\r\n\r\n");
        near.write_all(head.as_bytes()).await.unwrap();
        until(&mut far, "\r\n\r\n").await;
        far.write_all(b"HTTP/1.1 413 Too Large\r\nContent-Length: 0\r\n\r\n")
            .await
            .unwrap();
        drop(far);
        let _ = near.write_all(&[b'x'; 1_000]).await;
        rest(&mut near).await
    });
    ended.unwrap();
    assert!(back.starts_with("HTTP/1.1 413 "), "{back}");

    let (ended, ()) = carried(|mut near, mut far| async move {
        let head = format!("POST /1 HTTP/1.1\r\n{HOST}Expect: 100-continue\r\nContent-Length: 2\r\n\r\n");
        near.write_all(head.as_bytes()).await.unwrap();
        until(&mut far, "\r\n\r\n").await;
        far.write_all(b"HTTP/1.1 100 Continue\r\n\r\n").await.unwrap();
        until(&mut near, "100 Continue\r\n\r\n").await;
        near.write_all(b"hi").await.unwrap();
        until(&mut far, "hi").await;
        far.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n")
            .await
            .unwrap();
        until(&mut near, "Content-Length: 0\r\n\r\n").await;
    });
    ended.unwrap();

    let (ended, ()) = carried(|mut near, mut far| async move {
        let head = format!("GET /ws HTTP/1.1\r\n{HOST}Upgrade: websocket\r\nConnection: Upgrade\r\n\r\n");
        near.write_all(head.as_bytes()).await.unwrap();
        until(&mut far, "\r\n\r\n").await;
        far.write_all(b"HTTP/1.1 101 Switching Protocols\r\nUpgrade: websocket\r\n\r\n\x81\x02hi")
            .await
            .unwrap();
        until(&mut near, "\r\n\r\n").await;
        let mut frame = [0; 4];
        near.read_exact(&mut frame).await.unwrap();
        assert_eq!(&frame, b"\x81\x02hi");
        near.write_all(b"\x81\x80\0\0\0\0").await.unwrap();
        let mut frame = [0; 6];
        far.read_exact(&mut frame).await.unwrap();
        near.shutdown().await.unwrap();
        assert_eq!(rest(&mut far).await, "");
        drop(far);
        assert_eq!(rest(&mut near).await, "");
    });
    ended.unwrap();
}

/// A device that answers what nobody asked does not get past the check of what the client says next.
#[test]
fn what_is_answered_before_it_was_asked_ends_the_connection() {
    let next = format!("GET /next HTTP/1.1\r\n{HOST}\r\n");
    for (ask, early, answer) in [
        // It has heard no byte of the request.
        (
            "GET /1 HTTP/1.1\r\n",
            true,
            "HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n",
        ),
        (
            "GET /1 HTTP/1.1\r\nUpgrade: x\r\nConnection: upgrade\r\n",
            true,
            "HTTP/1.1 101 Yes\r\n\r\n",
        ),
        // Nobody offered another protocol.
        (
            "GET /1 HTTP/1.1\r\n",
            false,
            "HTTP/1.1 101 Yes\r\nUpgrade: x\r\n\r\n",
        ),
        (
            "GET /1 HTTP/1.1\r\nUpgrade: x\r\n",
            false,
            "HTTP/1.1 101 Yes\r\nUpgrade: x\r\n\r\n",
        ),
    ] {
        let (ended, heard) = carried(|mut near, mut far| {
            let said = format!("{ask}{HOST}\r\n{next}");
            async move {
                if early {
                    far.write_all(answer.as_bytes()).await.unwrap();
                }
                near.write_all(said.as_bytes()).await.unwrap();
                near.shutdown().await.unwrap();
                if early {
                    return rest(&mut far).await;
                }
                let mut heard = until(&mut far, "\r\n\r\n").await;
                far.write_all(answer.as_bytes()).await.unwrap();
                heard += &rest(&mut far).await;
                heard
            }
        });
        let _ = ended;
        assert!(!heard.contains("/next"), "{answer:?} let {heard:?} through");
    }
}

#[test]
fn a_connection_that_the_device_ends_is_ended() {
    let (ended, back) = carried(|mut near, far| async move {
        drop(far);
        rest(&mut near).await
    });
    ended.unwrap();
    assert_eq!(back, "");
    // What is no answer goes through as it is, and nothing follows it.
    let (ended, back) = carried(|mut near, mut far| async move {
        near.write_all(format!("GET / HTTP/1.1\r\n{HOST}\r\n").as_bytes())
            .await
            .unwrap();
        until(&mut far, "\r\n\r\n").await;
        far.write_all(b"<html>as in the year 1991</html>").await.unwrap();
        drop(far);
        rest(&mut near).await
    });
    ended.unwrap();
    assert_eq!(back, "<html>as in the year 1991</html>");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever a client and a device say, it ends when they do; and no request reaches the device that
    /// names another host.
    #[test]
    fn any_bytes_end_with_their_senders(from_client in prop::collection::vec(any::<u8>(), 0..200),
                                        from_device in prop::collection::vec(any::<u8>(), 0..200),
                                        begins in any::<bool>()) {
        let words = if begins { format!("GET / HTTP/1.1\r\n{HOST}\r\n") } else { String::new() };
        let words = [words.as_bytes(), &from_client].concat();
        let (_, heard) = carried(|near, far| async move {
            let (mut near_in, mut near_out) = tokio::io::split(near);
            let (mut far_in, mut far_out) = tokio::io::split(far);
            let (mut back, mut heard) = (Vec::new(), Vec::new());
            let _ = tokio::join!(
                async { let _ = near_out.write_all(&words).await; near_out.shutdown().await },
                async { let _ = far_out.write_all(&from_device).await; far_out.shutdown().await },
                near_in.read_to_end(&mut back),
                far_in.read_to_end(&mut heard),
            );
            heard
        });
        if !heard.is_empty() {
            let first = String::from_utf8_lossy(&heard).into_owned();
            prop_assert!(first.contains("Host: 192.168.0.20\r\n"), "{}", first);
        }
    }
}
