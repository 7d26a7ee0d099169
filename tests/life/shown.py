"""Prints a sequence for people: short, and only what has to do with where it went wrong."""


def names_in(value):
    """The names of things that stand in it."""
    if isinstance(value, str):
        return {value} if ":" in value else set()
    if isinstance(value, dict):
        return set().union(*(names_in(v) for v in value.values())) if value else set()
    if isinstance(value, (list, tuple)):
        return set().union(*(names_in(v) for v in value)) if value else set()
    return set()


def short(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k} {short(v)}" for k, v in value.items() if v is not None) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(short(v) for v in value) + "]"
    return str(value)


def shown(sequence, what, whole=False):
    """The commands that name what the last one names, or what makes it, oldest first."""
    last = sequence.said[-1]
    near = names_in(last[1]) | {w.rstrip(":,;") for w in what.split() if ":" in w and w[0].isalpha()}
    near = {n for n in near if n.partition(":")[2].split(".")[0].isdigit()}
    near |= {s for n in list(near) if n in sequence.book.pieces for s in sequence.book.pieces[n].__dict__.values()
             if isinstance(s, str) and ":" in s}
    made = {int(n.split(":")[1].split(".")[0]) for n in near}
    lines = []
    for n, cmd, refused, status, reply in sequence.said:
        pieces = {x for x in near if x.startswith("piece:")}
        touches = names_in(cmd) & pieces if pieces else names_in(cmd) & near
        if whole or (n in made or touches or cmd["command"] == "correct_entries" or n == last[0]) and (status == 201 or n == last[0]):
            lines.append(f"   {n} {cmd['command']} {short({k: v for k, v in cmd.items() if k != 'command'})} -> {status} {reply.get('detail', '') if whole else ''}".rstrip())
    return "\n".join(lines)
