#!/usr/bin/env python3
"""A device's web server by Python's own http.server, to be opened through the tunnel.

    page.py ADDRESS PORT [OTHER]

Serves on PORT: / and /page, the words of its requests; /bytes/N, N bytes of a known pattern; /away, a redirect to its own
absolute URL (on OTHER if that is given); /echo, what was posted; /chunks, a chunked answer; /slow, an answer that never ends. OTHER,
a second port, serves the same. Prints `ready`, then one line for each request: METHOD PATH HOST. Ends when standard input does.
"""

import http.server
import sys
import threading

ADDRESS, PORT = sys.argv[1], int(sys.argv[2])
OTHER = int(sys.argv[3]) if len(sys.argv) > 3 else None
PATTERN = bytes(range(251)) * 261
LOCK = threading.Lock()


def say(line):
    with LOCK:
        sys.stdout.write(line + "\n")
        sys.stdout.flush()


class Page(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def answer(self, body, status=200, fields=()):
        self.send_response(status)
        for name, value in fields:
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)

    def do_GET(self):
        say(f"{self.command} {self.path} {self.headers.get('Host')}")
        if self.path.startswith("/bytes/"):
            left = int(self.path[7:])
            self.send_response(200)
            self.send_header("Content-Length", str(left))
            self.end_headers()
            while left > 0:
                piece = PATTERN[: min(left, len(PATTERN))]
                self.wfile.write(piece)
                left -= len(piece)
        elif self.path == "/away":
            port = "" if OTHER is None else f":{OTHER}"
            self.answer(b"", 302, [("Location", f"http://{ADDRESS}{port}/page")])
        elif self.path == "/chunks":
            self.send_response(200)
            self.send_header("Transfer-Encoding", "chunked")
            self.end_headers()
            self.wfile.write(b"5\r\nin pi\r\n4\r\neces\r\n0\r\n\r\n")
        elif self.path == "/slow":
            self.send_response(200)
            self.send_header("Content-Length", "1000000")
            self.end_headers()
            self.wfile.write(b"begun")
            self.wfile.flush()
            threading.Event().wait()
        else:
            self.answer(f"the page of {ADDRESS}, asked as {self.headers.get('Host')}\n".encode())

    do_HEAD = do_GET

    def do_POST(self):
        say(f"POST {self.path} {self.headers.get('Host')}")
        self.answer(self.rfile.read(int(self.headers["Content-Length"])))

    def log_message(self, *args):
        pass


class Server(http.server.ThreadingHTTPServer):
    daemon_threads = True
    request_queue_size = 64


for port in [PORT] + ([OTHER] if OTHER else []):
    server = Server(("", port), Page)
    threading.Thread(target=server.serve_forever, daemon=True).start()
say("ready")
sys.stdin.read()
