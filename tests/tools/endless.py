#!/usr/bin/env python3
"""Ports of a host that means no good, or has gone mad.

    endless.py WORD:PORT...

  http-endless   a status line, and a field that never ends
  http-bomb      a page of 50 MB that says that it is compressed
  rtsp-endless   an answer that never gets to its end of line
  visca-endless  packets whose end never comes (no byte FF)
  tls-endless    records without end that are none of a handshake
  drip-WORD      what WORD says, one byte a second
  mute           takes a connection and never says a word
  reset          takes it and resets it at once
  page           a page, its server and its title with every kind of bad name
  streams        the same of RTSP

Prints `ready` when all are bound, then `taken WORD` for each connection, `compressed` if anybody asks for that, and
`wrote WORD BYTES` when one is over. At most 64 MB go out on each. Ends when standard input does.
"""

import os
import socket
import struct
import sys
import threading
import time

MOST = 64 << 20
EVIL = "\x1b[2J\x1b]0;owned\x07\u202e\u200b<b>\u0e49\u0e49\u0e49\u0e49\u0e49 loft"
HEAD = b"HTTP/1.1 200 OK\r\n"
PAGE = f"<html><head><title>=1+1{EVIL}</title></head></html>".encode()


def say(text):
    print(text, flush=True)


def answer(word):
    """What is said first, and what is said again and again after it."""
    return {
        "http-endless": (HEAD + b"X-Field: ", b"a" * 4096),
        "http-bomb": (HEAD + b"Content-Type: text/html\r\nContent-Encoding: gzip\r\n\r\n\x1f\x8b\x08\0", b"\0" * 4096),
        "rtsp-endless": (b"RTSP/1.0", b" " * 4096),
        "visca-endless": (b"\x90", b"\x50" * 4096),
        "tls-endless": (b"", b"\x99\x03\x03\xff\xff" + b"a" * 4091),
        "page": (HEAD + b"Server: " + EVIL.encode() + b"\r\nContent-Length: " + str(len(PAGE)).encode() + b"\r\n\r\n" + PAGE, b""),
        "streams": (b"RTSP/1.0 401 Unauthorized\r\nCSeq: 1\r\nServer: " + EVIL.encode() + b"\r\n\r\n", b""),
    }[word]


def converse(word, peer):
    wrote = 0
    try:
        if word == "reset":
            peer.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            return
        asked = b"" if word in ("mute", "tls-endless") else peer.recv(65536)
        if b"accept-encoding" in asked.lower():
            say("compressed")
        if word == "mute":
            peer.recv(65536)
            time.sleep(60)
            return
        drips = word.startswith("drip-")
        first, more = answer(word.removeprefix("drip-"))
        if drips:
            for byte in (first + more)[:120]:
                wrote += peer.send(bytes([byte]))
                time.sleep(1)
            return
        peer.sendall(first)
        wrote += len(first)
        while more and wrote < MOST:
            wrote += peer.send(more)
    except OSError:
        pass
    finally:
        peer.close()
        say(f"wrote {word} {wrote}")


def stream(word, listener):
    while True:
        peer, _ = listener.accept()
        say(f"taken {word}")
        threading.Thread(target=converse, args=(word, peer), daemon=True).start()


for wanted in sys.argv[1:]:
    name, _, port = wanted.partition(":")
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    sock.bind(("0.0.0.0", int(port)))
    sock.listen(64)
    threading.Thread(target=stream, args=(name, sock), daemon=True).start()
say("ready")
while os.read(0, 4096):
    pass
os._exit(0)
