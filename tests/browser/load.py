"""A load of durable commands on a served book: lots that are received, over connections that stay open, as fast as they are answered."""

import json
import multiprocessing
import os
import selectors
import socket
import uuid


def drive(port, token, body, connections, stop, sent):
    """One process of the load; counts what was answered with 201. It yields to the browser, which elsewhere has processors of its own."""
    os.nice(10)
    waiting = selectors.DefaultSelector()
    data = json.dumps(body).encode()

    def request(one):
        head = (f"POST /v1/lots HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nAuthorization: Bearer {token}\r\n"
                f"Content-Type: application/json\r\nIdempotency-Key: {uuid.uuid4()}\r\nContent-Length: {len(data)}\r\n\r\n")
        one.sendall(head.encode() + data)

    for _ in range(connections):
        one = socket.create_connection(("127.0.0.1", port))
        waiting.register(one, selectors.EVENT_READ)
        request(one)
    while not stop.is_set():
        for key, _ in waiting.select(0.2):
            if key.fileobj.recv(65536).startswith(b"HTTP/1.1 201"):
                with sent.get_lock():
                    sent.value += 1
                request(key.fileobj)


class Load:
    """The load while it is on."""

    def __init__(self, port, token, body, processes=2, connections=32):
        self.stop, self.sent = multiprocessing.Event(), multiprocessing.Value("L", 0)
        args = (port, token, body, connections, self.stop, self.sent)
        self.running = [multiprocessing.Process(target=drive, args=args, daemon=True) for _ in range(processes)]

    def __enter__(self):
        for one in self.running:
            one.start()
        return self

    def __exit__(self, *_):
        self.stop.set()
        for one in self.running:
            one.join(10)
