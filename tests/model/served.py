"""A book of its own for a run: founded in a new folder, given a token, served on a free port of the loopback."""

import json
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from wire import Wire


class Served:
    """A served book; leaving it stops the server and takes the folder away."""

    def __init__(self, program):
        self.program = program

    def __enter__(self):
        self.folder = tempfile.TemporaryDirectory(prefix="pourbook-model-")
        book = self.book = Path(self.folder.name) / "book"
        self.run("init", str(book), "--origin", "model.example/log", "--currency", "GBP")
        token = self.run("token", "add", str(book), "--role", "office", "--name", "model").split()[0]
        settings = book / "pourbook.toml"
        if "[limits]" not in settings.read_text():
            settings.write_text(settings.read_text() + "\n[limits]\npublic_per_minute = 0\n")
        self.log = open(Path(self.folder.name) / "server.log", "w+")
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.server = subprocess.Popen([self.program, "serve", str(book), "--listen", f"127.0.0.1:{port}"], stdout=self.log,
                                       stderr=self.log)
        self.wait(port)
        return Wire(("127.0.0.1", port), token)

    def run(self, *words):
        """Runs the program once."""
        return subprocess.run([self.program, *words], check=True, capture_output=True, text=True).stdout

    def statement_differs(self):
        """Where the metal statement of the book is not what its log comes to, reckoned anew."""
        check = Path(__file__).resolve().parents[1] / "statement" / "run.py"
        words = [sys.executable, "-B", str(check), self.program, str(self.book)]
        told = subprocess.run(words, capture_output=True, text=True)
        return [] if told.returncode == 0 else (told.stdout + told.stderr).splitlines()

    def wait(self, port):
        """Until the server answers, or 20 seconds."""
        for _ in range(400):
            if self.server.poll() is not None:
                break
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
                return
            except OSError:
                time.sleep(0.05)
        self.log.seek(0)
        raise SystemExit(f"the book is not served:\n{self.log.read()}")

    def __exit__(self, *_):
        self.stop()
        self.log.close()
        self.folder.cleanup()

    def pieces_by_state(self):
        """How many pieces the closed book says stand in each state."""
        self.stop()
        return json.loads(self.run("show", str(self.book), "--json"))["pieces"]

    def stop(self):
        """Stops the server, if it runs."""
        self.server.terminate()
        try:
            self.server.wait(20)
        except subprocess.TimeoutExpired:
            self.server.kill()
