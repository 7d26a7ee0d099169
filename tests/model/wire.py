"""How the model's commands are said to a served book, and how its rows are read: paths, bodies, keys and versions."""

import http.client
import json
from random import Random
from uuid import UUID

from metal import grams

PIECE_PATHS = {
    "fault": "fault", "condemn": "condemnation", "move": "series", "archive": "archive", "reserve": "reservation",
    "release": "release", "find": "finding", "give_back": "return", "restock": "restocking", "buy_back": "buyback",
    "steal": "theft", "recover": "recovery", "destroy": "destruction",
}
SALE_PATHS = {
    "cancel_sale": "cancellation", "hand_over": "handovers", "dispatch": "dispatches", "deliver": "deliveries",
    "lose": "losses", "send_back": "returns-to-sender",
}
TRAY_PATHS = {"serial": "/v1/serials", "number": "/v1/numbers", "spare": "/v1/spares", "certify": "/v1/certificates"}
MADE = {
    "lot": "lots", "session": "sessions", "melt": "melts", "piece": "pieces", "consignment": "consignments", "order": "orders",
    "sale": "sales", "refining": "refinings",
}


class Wire:
    """One connection to one book, and what the things of one sequence are called there."""

    def __init__(self, address, token):
        self.connection = http.client.HTTPConnection(*address, timeout=60)
        self.token = token
        self.requests = 0
        self.begin(0)

    def begin(self, seed):
        """Forgets the sequence before."""
        self.chance = Random(seed ^ 0x1D)
        self.ids = {}
        self.versions = {}
        self.shop = None

    def send(self, method, path, body=None, headers=None):
        """One request; the status and the JSON of the answer."""
        self.requests += 1
        sent = {"Authorization": f"Bearer {self.token}", "Accept": "application/json"} | (headers or {})
        data = None
        if body is not None:
            data = json.dumps(body)
            sent["Content-Type"] = "application/json"
        self.connection.request(method, path, data, sent)
        answer = self.connection.getresponse()
        raw = answer.read()
        return answer.status, json.loads(raw) if raw else None

    def post(self, path, body, subject=None):
        """A command with its key, and the version of what the path names."""
        self.headers = {"Idempotency-Key": str(UUID(int=self.chance.getrandbits(128)))}
        if subject is not None:
            self.headers["If-Match"] = f'"{self.versions[subject]}"'
        status, answer = self.send("POST", path, body, self.headers)
        if status == 201:
            for moved in answer["subjects"]:
                self.versions[moved["id"]] = moved["version"]
                known = self.ids.setdefault(MADE.get(moved.get("kind"), "others"), [])
                if moved["id"] not in known:
                    known.append(moved["id"])
        return status, answer

    def again(self, path, body):
        """The last command once more, with the same key."""
        return self.send("POST", path, body, self.headers)

    def stale(self, path, body, subject):
        """A command that knows an older version of what it is about; the status."""
        headers = {"Idempotency-Key": str(UUID(int=self.chance.getrandbits(128))),
                   "If-Match": f'"{self.versions[subject] - 1}"'}
        return self.send("POST", path, body, headers)[0]

    def make(self, plural, path, body):
        """Something that a sequence begins with."""
        status, answer = self.post(path, body)
        assert status == 201, f"{path} {json.dumps(body)}: {status} {json.dumps(answer)}"
        kind = {"balances": "scale", "owners": "owner", "jars": "jar", "series": "series", "dies": "die"}[plural]
        self.ids.setdefault(plural, []).append(next(m["id"] for m in answer["subjects"] if m.get("kind") == kind))

    def row(self, plural, key):
        """A row as the book shows it."""
        status, answer = self.send("GET", f"/v1/{plural}/{self.ids[plural][key]}")
        assert status == 200, f"{plural} {key}: {status} {answer}"
        return answer

    def command(self, command):
        """Path, body and subject of a command."""
        do = command["do"]
        if do in PIECE_PATHS:
            piece = self.ids["pieces"][command["piece"]]
            return f"/v1/pieces/{piece}/{PIECE_PATHS[do]}", self.piece_body(command), piece
        if do in SALE_PATHS:
            sale = self.ids["sales"][command["sale"]]
            return f"/v1/sales/{sale}/{SALE_PATHS[do]}", {"pieces": self.pieces(command)}, sale
        if do in TRAY_PATHS:
            return TRAY_PATHS[do], {"pieces": self.pieces(command)}, None
        return getattr(self, do)(command)

    def pieces(self, command):
        """The ids of a command's pieces."""
        return [self.ids["pieces"][key] for key in command["pieces"]]

    def shown(self, session, mass):
        """A mass as the balance of a session writes it."""
        return grams(mass, self.shop.balances[self.shop.sessions[session]["balance"]].digits)

    def tray(self, command, member, value):
        """Items with the version of their piece."""
        rows = []
        for key, what in command["items"]:
            piece = self.ids["pieces"][key]
            rows.append({"piece": piece, member: value(what), "version": self.versions[piece]})
        return rows

    def piece_body(self, command):
        """What is said of one piece."""
        do = command["do"]
        if do == "fault":
            return {"fault": "misrun"}
        if do == "condemn":
            return {"reason": command["reason"]}
        if do == "move":
            return {"to": self.ids["series"][command["to"]]}
        if do == "reserve" and command["order"] is not None:
            return {"order": self.ids["orders"][command["order"]]}
        if do == "reserve":
            return {"buyer": "a reader"}
        if do == "buy_back":
            session = command["session"]
            return {"session": self.ids["sessions"][session], "mass": self.shown(session, command["mass"])}
        if do == "destroy":
            return {"witness": command["witness"]}
        return {}

    def open_session(self, command):
        balance = command["balance"]
        digits = self.shop.balances[balance].digits
        reading = {"nominal": "100.00", "reading": grams(command["reading"], digits)}
        return "/v1/sessions", {"scale": self.ids["balances"][balance]} | reading, None

    def close_session(self, command):
        session = self.ids["sessions"][command["session"]]
        shown = self.shown(command["session"], command["reading"])
        return f"/v1/sessions/{session}/closing", {"nominal": "100.00", "reading": shown}, session

    def receive_lot(self, command):
        body = {
            "metal": "silver", "fineness": fineness(command["fineness"]), "basis": "declared",
            "session": self.ids["sessions"][command["session"]], "mass": self.shown(command["session"], command["mass"]),
        }
        if command.get("owner") is not None:
            body["owner"] = self.ids["owners"][command["owner"]]
        return "/v1/lots", body, None

    def agree_mixing(self, command):
        owner = self.ids["owners"][command["owner"]]
        return f"/v1/owners/{owner}/agreement", {}, owner

    def charge_melt(self, command):
        session = command["session"]
        body = {"metal": "silver", "session": self.ids["sessions"][session]}
        lots = [{"lot": self.ids["lots"][lot], "mass": self.shown(session, mass)} for lot, mass in command["lots"]]
        for name, value in (("lots", lots), ("pieces", self.pieces(command)),
                            ("heels", [self.ids["melts"][key] for key in command["heels"]])):
            if value:
                body[name] = value
        return "/v1/melts", body, None

    def pour(self, command):
        melt = self.ids["melts"][command["melt"]]
        pours = [{"series": self.ids["series"][series], "shape": shape} for series, shape in command["pours"]]
        return f"/v1/melts/{melt}/pours", {"pours": pours}, melt

    def close_melt(self, command):
        melt, session = self.ids["melts"][command["melt"]], command["session"]
        body = {"session": self.ids["sessions"][session], "heel": self.shown(session, command["heel"])}
        return f"/v1/melts/{melt}/closing", body, melt

    def weigh(self, command, stage):
        session = command["session"]
        items = self.tray(command, "mass", lambda mass: self.shown(session, mass))
        return "/v1/weighings", {"session": self.ids["sessions"][session], "stage": stage, "items": items}, None

    def weigh_mould(self, command):
        return self.weigh(command, "from_mould")

    def weigh_final(self, command):
        return self.weigh(command, "final")

    def finish(self, command):
        session = command["session"]
        items = self.tray(command, "mass", lambda mass: self.shown(session, mass))
        jar = self.ids["jars"][command["jar"]]
        return "/v1/finishings", {"session": self.ids["sessions"][session], "jar": jar, "items": items}, None

    def strike(self, command):
        items = self.tray(command, "outcome", str)
        return "/v1/strikes", {"die": self.ids["dies"][command["die"]], "items": items}, None

    def dispose_die(self, command):
        die = self.ids["dies"][command["die"]]
        return f"/v1/dies/{die}/disposal", {"how": command["how"]}, die

    def consign(self, command):
        body = {"pieces": self.pieces(command), "fineness": fineness(command["fineness"]),
                "marks": ["sponsor", "fineness", "office"]}
        return "/v1/consignments", body, None

    def receive_back(self, command):
        consignment = self.ids["consignments"][command["consignment"]]
        claim = fineness(self.shop.consignments[command["consignment"]]["fineness"])
        lines = []
        for key, outcome, reason, assay in command["lines"]:
            line = {"piece": self.ids["pieces"][key], "outcome": outcome}
            if outcome == "marked":
                marks = [{"mark": mark, "legible": True} for mark in ("sponsor", "fineness", "office")]
                line["hallmark"] = {"fineness": claim, "marks": marks}
            if reason is not None:
                line["reason"] = reason
            if assay is not None:
                line["assay"] = fineness(assay)
            lines.append(line)
        return f"/v1/consignments/{consignment}/return", {"lines": lines}, consignment

    def close_series(self, command):
        series = self.ids["series"][command["series"]]
        return f"/v1/series/{series}/closing", {}, series

    def record_order(self, command):
        shapes = [{"shape": shape, "count": count} for shape, count in command["counts"].items()]
        return "/v1/orders", {"series": self.ids["series"][command["series"]], "shapes": shapes}, None

    def cancel_order(self, command):
        order = self.ids["orders"][command["order"]]
        return f"/v1/orders/{order}/cancellation", {}, order

    def sell(self, command):
        body = {"items": [{"piece": piece} for piece in self.pieces(command)]}
        if command["order"] is not None:
            body["order"] = self.ids["orders"][command["order"]]
        return "/v1/sales", body, None

    def refine(self, command):
        session = command["session"]
        body = {"metal": "silver", "session": self.ids["sessions"][session]}
        if command["jars"]:
            body["jars"] = [{"jar": self.ids["jars"][key], "mass": self.shown(session, m)} for key, m in command["jars"]]
        if command["pieces"]:
            body["pieces"] = self.pieces(command)
        return "/v1/refinings", body, None

    def return_refining(self, command):
        refining = self.ids["refinings"][command["refining"]]
        body = {}
        if command["outturn"] is not None:
            session, mass = command["outturn"]
            body["outturn"] = {"session": self.ids["sessions"][session], "mass": self.shown(session, mass), "fineness": "999.0"}
        if command["settled"] is not None:
            body["settled"] = {"mass": grams(command["settled"]), "fineness": "999.0"}
        return f"/v1/refinings/{refining}/return", body, refining


def fineness(tenths):
    """Tenths of a part per thousand as decimal text."""
    return f"{tenths // 10}.{tenths % 10}"
