#!/usr/bin/env python3
"""Reads requests and answers of control ports with the servers and clients of Python's own library.

A JSON object of name and hexadecimal on standard input, one of name and findings on standard
output. Names: `hello` (a TLS client hello, given to OpenSSL as a server), `get` and `post` (HTTP
requests, given to http.server), `page` and `soap` (HTTP answers, given to http.client), `name_post` and
`name_soap` (the question for a device's name and its answer); what is
SOAP goes through an XML reader too. All in memory: nothing is opened but a throw-away certificate.
"""

import http.client
import http.server
import io
import json
import os
import ssl
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree


def hello(raw):
    with tempfile.TemporaryDirectory() as folder:
        key, cert = os.path.join(folder, "key"), os.path.join(folder, "cert")
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
             "-nodes", "-subj", "/CN=device", "-days", "1", "-keyout", key, "-out", cert],
            check=True, capture_output=True, timeout=60,
        )
        answers = {}
        for name in ("TLSv1_2", "TLSv1_3"):
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(cert, key)
            context.minimum_version = context.maximum_version = ssl.TLSVersion[name]
            heard, said = ssl.MemoryBIO(), ssl.MemoryBIO()
            server = context.wrap_bio(heard, said, server_side=True)
            heard.write(raw)
            try:
                server.do_handshake()
            except ssl.SSLWantReadError:
                pass  # It waits for the client's next flight: the hello was accepted.
            except ssl.SSLError as why:
                answers[name] = {"refused": str(why), "bytes": said.read().hex()}
                continue
            answers[name] = {"bytes": said.read().hex()}
        return answers


def request(raw):
    class Handler(http.server.BaseHTTPRequestHandler):
        def __init__(self):
            self.rfile, self.wfile = io.BytesIO(raw), io.BytesIO()
            self.raw_requestline = self.rfile.readline()
            self.good = self.parse_request()

    handler = Handler()
    body = handler.rfile.read()
    return handler.good and {
        "line": [handler.command, handler.path, handler.request_version],
        "host": handler.headers["Host"],
        "length": int(handler.headers.get("Content-Length", "0")) == len(body),
        "xml": xml(body),
    }


def answer(raw):
    class Connection:
        def makefile(self, _mode):
            return io.BytesIO(raw)

    response = http.client.HTTPResponse(Connection())
    response.begin()
    body = response.read()
    return {"status": response.status, "server": response.headers["Server"], "xml": xml(body)}


def name(raw):
    """The same, and the name in it (ONVIF's GetHostnameResponse)."""
    found = answer(raw)
    body = raw.split(b"\r\n\r\n", 1)[1]
    tag = "{http://www.onvif.org/ver10/schema}Name"
    return dict(found, name=ElementTree.fromstring(body).find(f".//{tag}").text)


def xml(body):
    """The names of the envelope, of what is in it, and of what is in that."""
    if not body.startswith(b"<?xml"):
        return None
    envelope = ElementTree.fromstring(body)
    return [envelope.tag, envelope[0].tag, envelope[0][0].tag]


READERS = {"hello": hello, "get": request, "post": request, "page": answer, "soap": answer, "name_post": request,
           "name_soap": name}

if __name__ == "__main__":
    asked = json.load(sys.stdin)
    json.dump({name: READERS[name](bytes.fromhex(raw)) for name, raw in asked.items()}, sys.stdout)
