"""Speaks to a running service over HTTP: one connection, JSON in and out."""

import http.client
import json
import socket
import uuid


class Client:
    def __init__(self, address, token):
        host, port = address.split(":")
        self.connection = http.client.HTTPConnection(host, int(port), timeout=60)
        self.token = token

    def _ask(self, method, path, body=None, headers=None):
        headers = {"Authorization": f"Bearer {self.token}", **(headers or {})}
        for attempt in (1, 2, 3):
            try:
                if self.connection.sock is None:
                    self.connection.connect()
                    self.connection.sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self.connection.request(method, path, body, headers)
                reply = self.connection.getresponse()
                return reply.status, json.loads(reply.read() or b"null")
            except (http.client.HTTPException, ConnectionError):
                self.connection.close()  # the same key again: a command is recorded once at most
                if attempt == 3:
                    raise

    def get(self, path):
        """The thing at a path."""
        status, reply = self._ask("GET", path)
        if status != 200:
            raise RuntimeError(f"GET {path}: {status} {reply}")
        return reply

    def send(self, path, body, version=None):
        """Gives a command; returns status and reply."""
        headers = {"Content-Type": "application/json", "Idempotency-Key": str(uuid.uuid4())}
        if version is not None:
            headers["If-Match"] = f'"{version}"'
        return self._ask("POST", path, json.dumps(body).encode(), headers)
