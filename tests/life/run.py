"""Plays random sequences to the model and to a running service, and prints where they disagree.

    python3 run.py --address 127.0.0.1:4747 --token-file office.token --sequences 100 --seed 1
"""

import argparse
import collections
import random
import sys
import threading
import traceback

from book import Book
from client import Client
from compare import differences, public_differences
from generator import Generator
from known import KNOWN, refused_anyway
from rule import Refused
from shown import shown
from translate import Names

LETTERS = "ABCDEFGHJKMNPRSTVWXYZ"


def code_of(number):
    """The code of a series: four letters, other ones for each number."""
    out = ""
    for _ in range(4):
        number, k = divmod(number, len(LETTERS))
        out += LETTERS[k]
    return out


class Disagreement(Exception):
    pass


class Sequence:
    """One sequence, by its seed: a book, the service's names for its things, and what was said so far."""

    def __init__(self, client, seed, codes, without, avoid, length, often=()):
        self.client, self.rng = client, random.Random(seed)
        self.book, self.names, self.said = Book(), Names(), []
        self.generator = Generator(self.rng, codes, without, avoid, often)
        self.length = length
        self.n = self.taken = self.met = 0
        self.kinds, self.states = collections.Counter(), collections.Counter()

    def play(self):
        for cmd in self.generator.beginning():
            self.give(cmd)
        for _ in range(self.rng.randint(self.length // 2, self.length)):
            cmd = self.generator.next(self.n + 1, self.book)
            if cmd:
                self.give(cmd)
        self.hold_all()
        self.hold_public()
        for line in self.book.does_not_add_up():
            raise Disagreement(line)

    def give(self, cmd):
        """Gives one command to both, and compares."""
        self.n += 1
        try:
            self.book.check(self.n, cmd)
            refused = None
        except Refused as why:
            refused = str(why)
        status, reply = self.send(cmd)
        self.said.append((self.n, cmd, refused, status, reply))
        if status == 201 and refused:
            raise Disagreement(f"model refuses ({refused}), service accepts")
        if status != 201 and not refused and refused_anyway(reply.get("detail", ""), self.generator.avoid):
            self.met += 1
            return
        if status != 201 and not refused:
            raise Disagreement(f"model accepts, service refuses: {reply.get('detail')}")
        self.kinds[cmd["command"], status == 201] += 1
        if status != 201:
            return
        self.taken += 1
        self.book.do(self.n, cmd)
        self.names.learn(self.n, reply)
        for piece in self.book.pieces.values():
            self.states[piece.state] += 1
        touched = [self.names.names[s["id"]] for s in reply["subjects"] if s["id"] in self.names.names]
        self.hold(touched)
        if cmd["command"] == "correct_entries":
            self.hold_all()

    def send(self, cmd):
        path, body, version = self.names.request(cmd)
        for _ in range(80):
            status, reply = self.client.send(path, body, version)
            if status != 412:
                break
            self.names.versions[reply["subject"]] = reply["version"]
            path, body, version = self.names.request(cmd)
        if status not in (201, 400, 404, 409, 422):
            raise RuntimeError(f"{status} {reply}")
        if status == 400:
            raise RuntimeError(f"badly asked: {reply} {body}")
        return status, reply

    def hold(self, things):
        found = [d for name in things for d in differences(self.book, self.names, self.client, name)]
        if found:
            raise Disagreement("; ".join(found))

    def hold_public(self):
        """What everybody is told of each piece with a serial."""
        found = [d for piece in self.book.pieces.values() if piece.serial for d in
                 public_differences(self.book, self.names, self.client, piece)]
        if found:
            raise Disagreement("; ".join(found))

    def hold_all(self):
        self.hold(list(self.names.ids))


class Tally:
    """What came of all sequences."""

    def __init__(self, args):
        self.args, self.lock = args, threading.Lock()
        self.seeds = iter(range(args.seed, args.seed + args.sequences))
        self.used = iter(range(21 ** 4))  # codes of series; a fresh service for each run
        self.avoid = list(KNOWN) if args.avoid == "all" else [w for w in args.avoid.split(",") if w]
        self.agreed = self.bad = self.commands = self.taken = self.met = 0
        self.kinds, self.states = collections.Counter(), collections.Counter()

    def work(self, token):
        """Plays one sequence after the other, on a connection of its own."""
        client = Client(self.args.address, token)
        while self.bad < self.args.stop:
            with self.lock:
                seed = next(self.seeds, None)
            if seed is None:
                return
            self.play(client, seed)

    def play(self, client, seed):
        without = [w for w in self.args.without.split(",") if w]
        sequence = Sequence(client, seed, lambda: code_of(next(self.used)), without, self.avoid, self.args.length,
                            self.args.often.split(","))
        found = None
        try:
            sequence.play()
        except Disagreement as what:
            found = str(what)
        except Exception as what:
            found = f"the runner failed: {what!r}"
            traceback.print_exc()
        with self.lock:
            if found:
                self.bad += 1
                print(f"\n== seed {seed}: {found}\n{shown(sequence, found, self.args.whole)}", flush=True)
            else:
                self.agreed += 1
            self.commands += sequence.n
            self.taken += sequence.taken
            self.met += sequence.met
            self.kinds += sequence.kinds
            self.states += sequence.states


def main():
    parse = argparse.ArgumentParser()
    parse.add_argument("--address", default="127.0.0.1:4747")
    parse.add_argument("--token-file", required=True, help="holds the token of an office role")
    parse.add_argument("--sequences", type=int, default=100)
    parse.add_argument("--length", type=int, default=70, help="of a sequence, at most, after its beginning")
    parse.add_argument("--seed", type=int, default=1, help="of the first sequence; the next has the next")
    parse.add_argument("--at-once", type=int, default=4, help="how many sequences are played at the same time")
    parse.add_argument("--without", default="", help="commands that are not to be given, with commas")
    parse.add_argument("--often", default="", help="commands that are to be given six times as often, with commas")
    parse.add_argument("--avoid", default="", help="known findings that are kept away from, with commas; or all")
    parse.add_argument("--stop", type=int, default=10, help="after so many disagreements")
    parse.add_argument("--whole", action="store_true", help="print the whole sequence, not what matters")
    parse.add_argument("--statistics", action="store_true")
    args = parse.parse_args()
    with open(args.token_file) as file:
        token = file.read().strip()
    tally = Tally(args)
    threads = [threading.Thread(target=tally.work, args=(token,)) for _ in range(args.at_once)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    print(f"\n{tally.agreed} sequences agree, {tally.bad} do not; {tally.commands} commands, {tally.taken} of them accepted, "
          f"{tally.met} refused by a known finding")
    if args.statistics:
        for kind in sorted({k for k, _ in tally.kinds}):
            print(f"  {kind:24} accepted {tally.kinds[kind, True]:6} refused {tally.kinds[kind, False]:6}")
        print(" ", dict(tally.states.most_common()))
    sys.exit(tally.bad > 0)


if __name__ == "__main__":
    main()
