"""A book in a folder: founded, served on a free port of the loopback, stopped, copied. Commands go through the model's wire."""

import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "model"))
from wire import Wire  # noqa: E402

SETTINGS = "\n[limits]\npublic_per_minute = 0\n"


class Book:
    """One folder; at most one server on it."""

    def __init__(self, program, folder, origin="book.example/log"):
        self.program, self.folder, self.server = str(program), Path(folder), None
        self.origin = origin

    def run(self, *words):
        """Runs the program once; what it printed."""
        return subprocess.run([self.program, *words], check=True, capture_output=True, text=True).stdout

    def found(self):
        """Makes the book, with a token for the office."""
        self.run("init", str(self.folder), "--origin", self.origin, "--currency", "GBP")
        self.token = self.run("token", "add", str(self.folder), "--role", "office", "--name", "tester").split()[0]
        settings = self.folder / "pourbook.toml"
        text = settings.read_text()
        if "[limits]" not in text:
            settings.write_text(text + SETTINGS)
        return self

    def serve(self):
        """Serves it; the address as host and port."""
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.log = open(self.folder.parent / f"{self.folder.name}.server.log", "a+")
        words = [self.program, "serve", str(self.folder), "--listen", f"127.0.0.1:{self.port}"]
        self.server = subprocess.Popen(words, stdout=self.log, stderr=self.log)
        for _ in range(800):
            if self.server.poll() is not None:
                break
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
                return self
            except OSError:
                time.sleep(0.05)
        self.log.seek(0)
        raise SystemExit(f"the book is not served:\n{self.log.read()}")

    def stop(self):
        """Stops the server, if it runs."""
        if self.server is not None:
            self.server.terminate()
            try:
                self.server.wait(20)
            except subprocess.TimeoutExpired:
                self.server.kill()
            self.log.close()
            self.server = None

    def copy(self, folder):
        """The same book in another folder, as a thief of a backup would have it. The server must be stopped."""
        assert self.server is None, "a book is copied while nobody serves it"
        shutil.copytree(self.folder, folder)
        other = Book(self.program, folder, self.origin)
        other.token = self.token
        return other

    def wire(self):
        """A connection for commands."""
        return Wire(("127.0.0.1", self.port), self.token)

    @property
    def url(self):
        """Where it is served."""
        return f"http://127.0.0.1:{self.port}"

    def thumbprint(self):
        """The thumbprint of the root key, as certificates print it."""
        for line in (self.folder / "policy").read_text().splitlines():
            if line.startswith("# root "):
                return line.split()[2]
        raise SystemExit("the policy names no root")
