"""Runs sequences of commands against a served book and prints every disagreement with its seed.

    python3 tests/model/run.py PROGRAM [--count N] [--books N] [--first SEED] [--stop N]

SEED=n in the environment runs that one sequence and prints it whole.
"""

import argparse
import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

from sequence import Disagreement, Sequence
from served import Served


def batch(program, first, count, stop):
    """Sequences of consecutive seeds in one book; what was counted, and what disagreed."""
    counts, reached, bad, requests = Counter(), Counter(), [], 0
    served = Served(program)
    with served as wire:
        for name, seed in enumerate(range(first, first + count)):
            sequence = Sequence(seed, name, wire)
            try:
                sequence.run()
            except Disagreement as found:
                bad.append((seed, str(found), sequence.told))
            except Exception as fault:
                bad.append((seed, f"broken off: {type(fault).__name__}: {fault}", sequence.told))
            if os.environ.get("SEED"):
                tell(sequence.told)
            counts += sequence.counts
            reached += sequence.reached
            if len(bad) >= stop:
                break
        requests = wire.requests
        if not bad:
            shown = served.pieces_by_state()
            if shown != dict(reached):
                bad.append((first, f"pieces by state: model {dict(reached)}, book {shown}", []))
            bad += [(first, line, []) for line in served.statement_differs()]
    return counts, reached, bad, requests


def tell(told):
    """Prints a sequence, command by command."""
    print("\n".join(f"{n:4}  {line}" for n, line in enumerate(told, 1)), flush=True)


def report(counts, reached, requests, seconds, sequences):
    """What was asked, what was refused, and how deep it went."""
    taken = sum(n for (_, good), n in counts.items() if good)
    refused = sum(n for (_, good), n in counts.items() if not good)
    share = 100 * refused // max(1, taken + refused)
    print(f"{sequences} sequences, {taken + refused} random commands, {share} % refused, {requests} requests, {seconds:.0f} s")
    print("commands taken/refused: " + ", ".join(
        f"{do} {counts[(do, True)]}/{counts[(do, False)]}" for do in sorted({do for do, _ in counts})))
    print("pieces left as: " + ", ".join(f"{state} {n}" for state, n in reached.most_common()))


def main():
    """Reads the arguments, runs, reports; the exit code is 1 if anything disagreed."""
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--books", type=int, default=2)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--stop", type=int, default=20)
    asked = parser.parse_args()
    if os.environ.get("SEED"):
        asked.first, asked.count, asked.books = int(os.environ["SEED"]), 1, 1
    begun = time.monotonic()
    share = -(-asked.count // asked.books)
    parts = [(asked.first + at, min(share, asked.count - at)) for at in range(0, asked.count, share)]
    counts, reached, bad, requests = Counter(), Counter(), [], 0
    with ProcessPoolExecutor(max_workers=min(len(parts), 4)) as pool:
        for part in pool.map(batch, *zip(*[(asked.program, first, count, asked.stop) for first, count in parts])):
            counts, reached, bad, requests = counts + part[0], reached + part[1], bad + part[2], requests + part[3]
    for seed, what, told in bad:
        print(f"SEED={seed} {what}")
    if bad and not os.environ.get("SEED"):
        seed, what, told = bad[0]
        print(f"\nthe first of them, whole (again: SEED={seed} scripts/model):")
        tell(told)
        print(f"      {what}")
    report(counts, reached, requests, time.monotonic() - begun, asked.count)
    print(f"{len(bad)} disagreements" if bad else "model and book agree")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
