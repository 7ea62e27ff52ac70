#!/usr/bin/env python3
"""A device whose every word about itself is made to spoil screens, files and spreadsheets.

    bad_words.py ADDRESS WAY...

  page       HTTP at 80: the name of the server, and the title of its page
  streams    RTSP at 554: the name of the server
  service    ONVIF at 2000: the host name that GetHostname tells
  discovery  WS-Discovery: a Hello every second, whose scopes give a name, hardware and a location

Each word begins with its way and goes on with escape sequences (ECMA-48), turned and hidden writing (UAX #9), markup, and more
characters than anybody keeps. Prints `ready` when all are bound, and `asked WAY` for each question. Ends when standard input does.

HTTP as RFC 9112, RTSP as RFC 2326, ONVIF Core (GetHostname, scopes), WS-Discovery of April 2005.
"""

import os
import re
import socket
import sys
import threading
import time

SOAP = "http://www.w3.org/2003/05/soap-envelope"
DEVICE = "http://www.onvif.org/ver10/device/wsdl"
GROUP = ("239.255.255.250", 3702)


def bad(way):
    return f"{way}\x1b[2J\x1b]0;owned\x07\u202e\u2066\u200b\x9b31m\x90q=1+1<script>`*_[x](y)|" + "W" * 1500


def markup(text):
    return text.replace("&", "&amp;").replace("<", "&lt;")


def answer(way, asked):
    """What goes back to a whole request."""
    if way == "page":
        page = f"<html><head><title>{markup(bad('title'))}</title></head></html>".encode()
        head = f"HTTP/1.1 200 OK\r\nServer: {bad('server')}\r\nContent-Type: text/html\r\nContent-Length: {len(page)}\r\n\r\n"
        return head.encode() + page
    if way == "streams":
        number = re.search(rb"(?i)cseq: *(\d+)", asked)
        number = number[1].decode() if number else "1"
        return f"RTSP/1.0 200 OK\r\nCSeq: {number}\r\nServer: {bad('streams')}\r\n\r\n".encode()
    told = (
        f'<d:GetHostnameResponse><d:HostnameInformation><t:Name>{markup(bad("service"))}</t:Name></d:HostnameInformation>'
        "</d:GetHostnameResponse>"
        if b"GetHostname" in asked
        else "<d:GetSystemDateAndTimeResponse/>"
    )
    body = (
        f'<s:Envelope xmlns:s="{SOAP}" xmlns:d="{DEVICE}" xmlns:t="http://www.onvif.org/ver10/schema"><s:Body>{told}</s:Body>'
        "</s:Envelope>"
    ).encode()
    head = f"HTTP/1.1 200 OK\r\nServer: {bad('server')}\r\nContent-Type: application/soap+xml\r\nContent-Length: {len(body)}\r\n\r\n"
    return head.encode() + body


def converse(way, peer):
    try:
        asked = b""
        while b"\r\n\r\n" not in asked:
            piece = peer.recv(65536)
            if not piece:
                return
            asked += piece
        # The body of a question comes in the same piece, or right after it.
        length = re.search(rb"(?i)content-length: *(\d+)", asked)
        while length and len(asked.split(b"\r\n\r\n", 1)[1]) < int(length[1]):
            asked += peer.recv(65536)
        print(f"asked {way}", flush=True)
        peer.sendall(answer(way, asked))
    except OSError:
        pass
    finally:
        peer.close()


def serve(way, address, port):
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind((address, port))
    listener.listen(16)

    def accept():
        while True:
            peer, _ = listener.accept()
            threading.Thread(target=converse, args=(way, peer), daemon=True).start()

    threading.Thread(target=accept, daemon=True).start()


def hello(address, number):
    def scope(kind):
        return f"onvif://www.onvif.org/{kind}/" + "".join(f"%{b:02x}" for b in bad(kind)[:44].encode())

    body = (
        f"<s:Envelope xmlns:s='{SOAP}' xmlns:a='http://schemas.xmlsoap.org/ws/2004/08/addressing' "
        "xmlns:d='http://schemas.xmlsoap.org/ws/2005/04/discovery' xmlns:n='http://www.onvif.org/ver10/network/wsdl'><s:Header>"
        "<a:Action>http://schemas.xmlsoap.org/ws/2005/04/discovery/Hello</a:Action>"
        f"<a:MessageID>urn:uuid:00000000-0000-4000-8000-{number:012x}</a:MessageID></s:Header><s:Body><d:Hello>"
        f"<d:Types>n:NetworkVideoTransmitter</d:Types><d:Scopes>{scope('name')} {scope('hardware')} {scope('location')}</d:Scopes>"
        f"<d:XAddrs>http://{address}:2000/onvif/device_service</d:XAddrs></d:Hello></s:Body></s:Envelope>"
    )
    return body.encode()


def say(address):
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.bind((address, 0))
    number = int.from_bytes(socket.inet_aton(address), "big")
    while True:
        number += 1 << 32
        try:
            sock.sendto(hello(address, number), GROUP)
        except OSError:
            pass  # no carrier for a moment
        time.sleep(1)


address = sys.argv[1]
for way in sys.argv[2:]:
    if way == "discovery":
        threading.Thread(target=say, args=(address,), daemon=True).start()
    else:
        serve(way, address, {"page": 80, "streams": 554, "service": 2000}[way])
print("ready", flush=True)
while os.read(0, 4096):
    pass
os._exit(0)
