#!/usr/bin/env python3
"""What a device of the rig offers on the network, spoken by a system's own sockets.

    services.py WORD[:PORT]...

One WORD a service: http, http-401, http-page (a page with a title), http-away (sends to a page of 10.40.8.99), http-links (a page
that names others), rtsp, rtsp-away (sends to 10.40.8.99), onvif-away (answers with others' addresses), visca-udp,
visca-udp-error, visca-udp-standby, visca-raw-udp, visca-tcp, visca-tcp-standby, onvif, https, tcp:PORT, and
garbage-tcp:PORT (another protocol). Those of VISCA are on but where they say otherwise. With `silent-` in front a service is bound but never answers.
Prints `ready` when all are bound, then one line for each question it understood. A question that
does not fit its protocol is told as `odd WORD HEX` and left unanswered. Ends when standard input
does, so that no service outlives the test that wanted it.

VISCA over IP as in a camera maker's published technical manual (version inquiry 81 09 00 02 FF, reply 90 50 ... FF in an
eight-byte header; power inquiry 81 09 04 00 FF, reply 90 50 02 FF on, 03 standby); ONVIF Core (GetHostname); RTSP status lines as RFC 2326, HTTP as RFC 9110.
"""

import os
import socket
import ssl
import struct
import sys
import threading
import xml.etree.ElementTree as ET

PORTS = {
    "http": 80,
    "http-401": 80,
    "http-page": 80,
    "http-away": 80,
    "http-links": 80,
    "rtsp-away": 554,
    "onvif-away": 80,
    "rtsp": 554,
    "visca-udp": 52381,
    "visca-udp-error": 52381,
    "visca-udp-standby": 52381,
    "visca-tcp-standby": 5678,
    "visca-raw-udp": 1259,
    "visca-tcp": 5678,
    "onvif": 80,
    "https": 443,
}
INQUIRY = bytes.fromhex("81090002ff")
VERSION = bytes.fromhex("9050" "0001" "0513" "0100" "02" "ff")
POWER = bytes.fromhex("81090400ff")
ON, STANDBY = bytes.fromhex("905002ff"), bytes.fromhex("905003ff")
SYNTAX_ERROR = bytes.fromhex("906002ff")
SOAP = "{http://www.w3.org/2003/05/soap-envelope}"
DEVICE = "{http://www.onvif.org/ver10/device/wsdl}"
LOCK = threading.Lock()


def say(line):
    with LOCK:
        sys.stdout.write(line + "\n")
        sys.stdout.flush()


def visca(packet, power):
    """The reply to one inquiry, or None if it is none."""
    return {INQUIRY: VERSION, POWER: power}.get(packet)


def visca_udp(data, error, power=ON):
    """The reply to one datagram, or None if it is no inquiry."""
    if len(data) < 8:
        return None
    kind, length, sequence = struct.unpack(">HHI", data[:8])
    payload = visca(data[8:], power)
    if kind != 0x0110 or length != len(data) - 8 or payload is None:
        return None
    if error:
        payload = SYNTAX_ERROR
    return struct.pack(">HHI", 0x0111, len(payload), sequence) + payload


def first_line(data):
    """The first line of a request whose head is whole, else None."""
    if b"\r\n\r\n" not in data:
        return None
    return data.split(b"\r\n", 1)[0].decode("ascii", "replace").split(" ")


def http(data, status, fields="", page=""):
    line = first_line(data)
    if line is None or len(line) != 3 or not line[2].startswith("HTTP/1."):
        return None
    lower = data.lower()
    if b"\r\nhost:" not in lower:  # RFC 9112, 3.2: a request of HTTP/1.1 must name its host
        return None
    return (
        f"HTTP/1.1 {status}\r\nServer: hall\r\n{fields}Content-Length: {len(page)}\r\nConnection: close\r\n\r\n{page}"
    ).encode()


def rtsp(data, status="401 Unauthorized", fields=b""):
    line = first_line(data)
    if line is None or len(line) != 3 or line[2] != "RTSP/1.0" or b"\r\ncseq:" not in data.lower():
        return None
    number = [row for row in data.split(b"\r\n") if row.lower().startswith(b"cseq:")][0][5:].strip()
    return f"RTSP/1.0 {status}\r\n".encode() + b"CSeq: " + number + b"\r\n" + fields + b"Server: streams/1\r\n\r\n"


def onvif(data, head=""):
    line = first_line(data)
    if line is None or line[0] != "POST":
        return None
    heads, body = data.split(b"\r\n\r\n", 1)
    length = [int(row[15:]) for row in heads.lower().split(b"\r\n") if row.startswith(b"content-length:")]
    if not length or len(body) < length[0]:
        return None
    asked = ET.fromstring(body[: length[0]]).find(f"{SOAP}Body")[0].tag
    answers = {
        f"{DEVICE}GetSystemDateAndTime": '<d:GetSystemDateAndTimeResponse xmlns:d="http://www.onvif.org/ver10/device/wsdl"/>',
        f"{DEVICE}GetHostname": '<d:GetHostnameResponse xmlns:d="http://www.onvif.org/ver10/device/wsdl" '
        'xmlns:t="http://www.onvif.org/ver10/schema"><d:HostnameInformation><t:FromDHCP>false</t:FromDHCP>'
        "<t:Name>organ-loft-2</t:Name></d:HostnameInformation></d:GetHostnameResponse>",
    }
    if asked not in answers:
        return None
    answer = (
        '<?xml version="1.0" encoding="UTF-8"?><s:Envelope xmlns:s="http://www.w3.org/2003/05/soap-envelope">'
        f"{head}<s:Body>{answers[asked]}</s:Body></s:Envelope>"
    ).encode()
    return (
        b"HTTP/1.1 200 OK\r\nContent-Type: application/soap+xml\r\nContent-Length: "
        + str(len(answer)).encode()
        + b"\r\n\r\n"
        + answer
    )


TITLE = "<html><head><title>Organ loft &amp; nave</title></head></html>"
OTHERS = ("http://10.40.8.99/", "http://172.31.7.7/")
LINKS = "<html><head><title>Hall</title><meta http-equiv=refresh content='0; url={0}'><base href='{1}'></head>" \
        "<body><img src='{0}'><iframe src='{1}'></iframe><a href='{1}'>more</a></body></html>".format(*OTHERS)
# Where answers and faults are to go, as WS-Addressing has it.
SENT_ON = '<s:Header xmlns:a="http://www.w3.org/2005/08/addressing"><a:ReplyTo><a:Address>http://172.31.7.7:2000/' \
          "</a:Address></a:ReplyTo><a:To>http://10.40.8.99:2000/onvif/device_service</a:To></s:Header>"
STREAMS = {
    "http": lambda data: http(data, "200 OK"),
    "http-401": lambda data: http(data, "401 Unauthorized"),
    "http-page": lambda data: http(data, "200 OK", "Content-Type: text/html\r\n", TITLE),
    "http-away": lambda data: http(data, "302 Found", "Location: http://10.40.8.99/\r\n"),
    "http-links": lambda data: http(data, "200 OK", f"Content-Type: text/html\r\nLink: <{OTHERS[1]}>\r\n", LINKS),
    "rtsp": rtsp,
    "rtsp-away": lambda data: rtsp(data, "302 Moved", b"Location: rtsp://10.40.8.99/\r\nContent-Base: rtsp://172.31.7.7/\r\n"),
    "onvif-away": lambda data: onvif(data, SENT_ON),
    "onvif": onvif,
    "visca-tcp": lambda data: visca(data, ON),
    "visca-tcp-standby": lambda data: visca(data, STANDBY),
}
DATAGRAMS = {
    "visca-udp": lambda data: visca_udp(data, False),
    "visca-udp-error": lambda data: visca_udp(data, True),
    "visca-udp-standby": lambda data: visca_udp(data, False, STANDBY),
    "visca-raw-udp": lambda data: visca(data, ON),
}


def converse(word, silent, peer):
    """One connection: whole requests are answered, everything else is told."""
    data = b""
    try:
        if word == "garbage-tcp":
            peer.sendall(b"\x00\xff220 nothing you know\r\n")
        if word == "https" and not silent:
            # Without a certificate the handshake fails, in a proper TLS alert.
            try:
                ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).wrap_socket(peer, server_side=True)
            except ssl.SSLError as failed:
                say("asked https" if failed.reason == "NO_SHARED_CIPHER" else f"odd https {failed.reason}")
            return
        while True:
            more = peer.recv(65536)
            if not more:
                break
            data += more
            if silent or word not in STREAMS:
                continue
            reply = STREAMS[word](data)
            if reply is not None:
                say(f"asked {word}")
                peer.sendall(reply)
                data = b""
    except (OSError, ET.ParseError):
        pass
    finally:
        if data and not silent:
            say(f"odd {word} {data.hex()}")
        peer.close()


def stream(word, silent, listener):
    while True:
        peer, _ = listener.accept()
        threading.Thread(target=converse, args=(word, silent, peer), daemon=True).start()


def datagrams(word, silent, sock):
    while True:
        data, peer = sock.recvfrom(65536)
        if silent:
            continue
        reply = DATAGRAMS[word](data)
        if reply is None:
            say(f"odd {word} {data.hex()}")
        else:
            say(f"asked {word}")
            sock.sendto(reply, peer)


def open_service(text):
    word, _, port = text.partition(":")
    silent = word.startswith("silent-")
    word = word.removeprefix("silent-")
    port = int(port) if port else PORTS[word]
    udp = word in DATAGRAMS
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM if udp else socket.SOCK_STREAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    sock.bind(("0.0.0.0", port))
    if not udp:
        sock.listen(16)
    serve = datagrams if udp else stream
    threading.Thread(target=serve, args=(word, silent, sock), daemon=True).start()


for wanted in sys.argv[1:]:
    open_service(wanted)
say("ready")
while os.read(0, 4096):
    pass
os._exit(0)
