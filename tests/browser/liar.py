"""A server that lies about the data while its script is honest: it stands before a true one and alters what goes through."""

import http.client
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

HOP = {"connection", "transfer-encoding", "content-length", "keep-alive", "server", "date", "etag"}


class Liar:
    """Serves what `book` serves, through `alter(path, body)`, which answers the body to send; None refuses it."""

    def __init__(self, book, alter):
        liar = self
        self.book, self.alter, self.asked = book, alter, []

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_GET(self):
                liar.answer(self, None)

            def do_POST(self):
                liar.answer(self, self.rfile.read(int(self.headers.get("Content-Length", 0))))

            def log_message(self, *_):
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}"

    def answer(self, handler, body):
        """One request, forwarded and altered."""
        self.asked.append(handler.path)
        true = http.client.HTTPConnection("127.0.0.1", self.book.port, timeout=60)
        keep = {name: value for name, value in handler.headers.items() if name.lower() in ("accept", "content-type")}
        true.request(handler.command, handler.path, body, keep)
        reply = true.getresponse()
        status, headers, body = reply.status, dict(reply.getheaders()), reply.read()
        true.close()
        body = self.alter(handler.path, body)
        if body is None:
            status, body = 401, b""
        handler.send_response(status)
        for name, value in headers.items():
            if name.lower() not in HOP:
                handler.send_header(name, value)
        handler.send_header("Content-Length", str(len(body)))
        handler.end_headers()
        handler.wfile.write(body)

    def __enter__(self):
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        return self

    def __exit__(self, *_):
        self.server.shutdown()
        self.server.server_close()
