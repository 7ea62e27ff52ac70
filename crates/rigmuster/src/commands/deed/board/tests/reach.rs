//! Key `o`. Clients speak by real loopback sockets; the device and the time between are the venue's.

use std::net::SocketAddr;

use ledger::Standing;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

use super::*;

const NAVE: &str = "Nave";

/// The doors of a device on another subnet, all told; the loopback address of its page.
async fn opened(desk: &mut Desk) -> SocketAddr {
    desk.beside = true;
    desk.until_device(NAVE, Standing::WrongSubnet).await;
    desk.select(NAVE).await;
    desk.key('o');
    desk.until("o comes back here").await;
    page(desk)
}

fn page(desk: &Desk) -> SocketAddr {
    let screen = desk.see();
    let (_, after) = screen.split_once("http://").unwrap_or_else(|| panic!("{screen}"));
    after.split('/').next().unwrap().parse().unwrap()
}

/// The screen without what differs at each run: the loopback ports, which door was told first, and the figures.
fn steady(desk: &Desk) -> String {
    let screen = desk.see();
    let mut lines: Vec<&str> = screen.lines().collect();
    let is_door = |line: &&str| line.starts_with("   ") && !line.trim().is_empty();
    if let Some(first) = lines.iter().position(is_door) {
        let end = lines[first..].iter().position(|line| !is_door(line)).unwrap();
        lines[first..first + end].sort_unstable();
    }
    let mut out = String::new();
    for line in lines {
        if line.contains(" in all; ") {
            out += " (figures)\n";
            continue;
        }
        let mut rest = line;
        while let Some((before, after)) = rest.split_once("127.0.0.1:") {
            out += before;
            out += "127.0.0.1:PORT";
            rest = after.trim_start_matches(|c: char| c.is_ascii_digit());
        }
        out += rest;
        out.push('\n');
    }
    out
}

/// What a client gets, while the board goes on.
async fn with_client<T: Send + 'static>(
    desk: &mut Desk,
    client: impl Future<Output = T> + Send + 'static,
) -> T {
    let client = tokio::spawn(client);
    let end = desk.run.source.now() + LONGEST;
    while !client.is_finished() {
        assert!(desk.run.source.now() < end, "the client waits for ever");
        desk.turn().await;
    }
    client.await.unwrap()
}

async fn get(at: SocketAddr) -> std::io::Result<String> {
    let mut stream = TcpStream::connect(at).await?;
    let request = format!("GET / HTTP/1.1\r\nHost: {at}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).await?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await?;
    Ok(answer)
}

#[test]
fn a_device_on_another_subnet_is_opened_and_esc_closes_every_door() {
    for (columns, rows) in SIZES {
        play("tangled", (columns, rows), async |desk| {
            let at = opened(desk).await;
            desk.until("0 open").await;
            insta::assert_snapshot!(format!("reach_stands_{columns}x{rows}"), steady(desk));
            let answer = with_client(desk, get(at)).await.unwrap();
            assert!(answer.starts_with("HTTP/1."), "{answer}");
            desk.until(" from it, ").await;
            // One that stays open is cut, and whoever comes later is refused at once.
            let held = with_client(desk, TcpStream::connect(at)).await.unwrap();
            desk.until("1 open").await;
            desk.press(KeyCode::Tab);
            assert!(!desk.see().contains("http://"), "the board goes on");
            desk.key('o');
            assert_eq!(page(desk), at);
            desk.press(KeyCode::Esc);
            desk.until("Ended, as you wanted").await;
            assert!(desk.see().contains("All doors are closed"), "{}", desk.see());
            let end = with_client(desk, async move {
                let mut held = held;
                held.read(&mut [0; 64]).await
            });
            assert!(!matches!(end.await, Ok(1..)), "cut");
            let later = with_client(desk, TcpStream::connect(at)).await;
            assert_eq!(later.unwrap_err().kind(), std::io::ErrorKind::ConnectionRefused);
            drop(TcpListener::bind(at).await.unwrap());
            let [began, ended] = &desk.done[..] else {
                panic!("{:?}", desk.done)
            };
            assert!(began.began && began.basis.contains("by way of 127.0.0.1"));
            assert!(
                !ended.began && ended.text.contains("given back; "),
                "{}",
                ended.text
            );
            // Nothing is left of the way: the same can be opened again.
            desk.press(KeyCode::Esc);
            opened(desk).await;
        });
    }
}

#[test]
fn the_show_lock_closes_the_doors_and_nothing_leaves_any_more() {
    play("tangled", (80, 24), async |desk| {
        let at = opened(desk).await;
        desk.run.source.set_level(Level::Silent);
        desk.hands.take_level(Level::Silent, &mut desk.run);
        desk.until("Ended by the show lock").await;
        let later = with_client(desk, get(at)).await;
        assert_eq!(later.unwrap_err().kind(), std::io::ErrorKind::ConnectionRefused);
        assert!(desk.done[1].text.contains("ended (by the show lock)"));
    });
}

#[test]
fn a_link_that_comes_and_goes_is_told_and_the_doors_stay() {
    play("tangled", (80, 24), async |desk| {
        let at = opened(desk).await;
        let now = desk.run.source.now();
        desk.venue().plan(now, venue::Deed::UnplugUs);
        desk.venue()
            .plan(now + Duration::from_secs(5), venue::Deed::PlugUs);
        desk.until("another address is sought").await;
        desk.until("0 open").await;
        let answer = with_client(desk, get(at)).await.unwrap();
        assert!(answer.starts_with("HTTP/1."), "{answer}");
    });
}

#[test]
fn one_deed_at_a_time_and_the_first_is_shown() {
    play("tangled", (80, 24), async |desk| {
        opened(desk).await;
        desk.press(KeyCode::Tab);
        desk.key('w');
        let screen = desk.see();
        assert!(
            screen.contains("First this: reach Nave goes on. Esc ends it."),
            "{screen}"
        );
        assert!(screen.contains("http://127.0.0.1:"), "{screen}");
    });
}
