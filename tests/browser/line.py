"""The line between a tablet and the book: a relay on the loopback that can be cut, so that workers have no way around it."""

import socket
import threading
import time


class Line:
    """Passes on what is sent to a port, until it is cut."""

    def __init__(self, port):
        self.to, self.open, self.pairs = port, True, []
        # Answers that must not arrive: how many more replies are swallowed after the book has had the request.
        self.swallow = 0
        # How long an answer is under way, seconds.
        self.delay = 0
        # How many commands passed.
        self.posts = 0
        self.server = socket.socket()
        self.server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self.server.bind(("127.0.0.1", 0))
        self.server.listen(64)
        self.port = self.server.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def url(self):
        """Where the book is reached by this line."""
        return f"http://127.0.0.1:{self.port}"

    def cut(self):
        """From now on nothing passes."""
        self.open = False
        for one in self.pairs:
            self._close(one)
        self.pairs = []

    def mend(self):
        """It passes again."""
        self.open = True

    def _accept(self):
        while True:
            here, _ = self.server.accept()
            if not self.open:
                self._close(here)
                continue
            try:
                there = socket.create_connection(("127.0.0.1", self.to), 2)
            except OSError:
                self._close(here)
                continue
            self.pairs += [here, there]
            threading.Thread(target=self._pass, args=(here, there, False), daemon=True).start()
            threading.Thread(target=self._pass, args=(there, here, True), daemon=True).start()

    def _pass(self, source, sink, back):
        try:
            while data := source.recv(65536):
                self.posts += not back and data.startswith(b"POST /v1/")
                if back and self.swallow and data.startswith(b"HTTP/1.1 201"):
                    self.swallow -= 1
                    break
                if back and self.delay:
                    time.sleep(self.delay)
                sink.sendall(data)
        except OSError:
            pass
        self._close(source)
        self._close(sink)

    @staticmethod
    def _close(one):
        try:
            one.shutdown(socket.SHUT_RDWR)
        except OSError:
            pass
        one.close()
