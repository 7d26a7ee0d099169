"""Commands of the model as requests of the service, and the service's ids as names of the model."""

from decimal import Decimal

from amounts import text

# command -> (path, the member that stands in the path)
PATHS = {
    "receive_lot": ("/v1/lots", None), "register_scale": ("/v1/scales", None), "open_session": ("/v1/sessions", None),
    "check_session": ("/v1/sessions/{}/checks", "session"), "close_session": ("/v1/sessions/{}/closing", "session"),
    "open_jar": ("/v1/jars", None), "open_series": ("/v1/series", None), "charge_melt": ("/v1/melts", None),
    "pour_pieces": ("/v1/melts/{}/pours", "melt"), "close_melt": ("/v1/melts/{}/closing", "melt"),
    "weigh_pieces": ("/v1/weighings", None), "finish_pieces": ("/v1/finishings", None),
    "fault_piece": ("/v1/pieces/{}/fault", "piece"), "move_piece": ("/v1/pieces/{}/series", "piece"),
    "condemn_piece": ("/v1/pieces/{}/condemnation", "piece"), "give_serials": ("/v1/serials", None),
    "number_pieces": ("/v1/numbers", None), "issue_certificates": ("/v1/certificates", None),
    "supersede_certificate": ("/v1/pieces/{}/supersession", "piece"), "close_series": ("/v1/series/{}/closing", "series"),
    "register_die": ("/v1/dies", None), "dispose_die": ("/v1/dies/{}/disposal", "die"), "strike_pieces": ("/v1/strikes", None),
    "archive_piece": ("/v1/pieces/{}/archive", "piece"), "send_consignment": ("/v1/consignments", None),
    "return_consignment": ("/v1/consignments/{}/return", "consignment"), "spare_pieces": ("/v1/spares", None),
    "record_order": ("/v1/orders", None), "cancel_order": ("/v1/orders/{}/cancellation", "order"),
    "reserve_piece": ("/v1/pieces/{}/reservation", "piece"), "release_piece": ("/v1/pieces/{}/release", "piece"),
    "sell_pieces": ("/v1/sales", None), "cancel_sale": ("/v1/sales/{}/cancellation", "sale"),
    "hand_over_pieces": ("/v1/sales/{}/handovers", "sale"), "dispatch_pieces": ("/v1/sales/{}/dispatches", "sale"),
    "deliver_pieces": ("/v1/sales/{}/deliveries", "sale"), "lose_pieces": ("/v1/sales/{}/losses", "sale"),
    "send_back_pieces": ("/v1/sales/{}/returns-to-sender", "sale"), "find_piece": ("/v1/pieces/{}/finding", "piece"),
    "return_piece": ("/v1/pieces/{}/return", "piece"), "restock_piece": ("/v1/pieces/{}/restocking", "piece"),
    "buy_back_piece": ("/v1/pieces/{}/buyback", "piece"), "steal_piece": ("/v1/pieces/{}/theft", "piece"),
    "recover_piece": ("/v1/pieces/{}/recovery", "piece"), "destroy_piece": ("/v1/pieces/{}/destruction", "piece"),
    "register_owner": ("/v1/owners", None), "agree_mixing": ("/v1/owners/{}/agreement", "owner"),
    "gather_sweeps": ("/v1/jars/{}/sweepings", "jar"), "send_to_refiner": ("/v1/refinings", None),
    "return_refining": ("/v1/refinings/{}/return", "refining"), "correct_entries": ("/v1/corrections", None),
}

# what is made by a command -> (its kind in the model, the member that holds its id)
MADE = {
    "lot.received": "lot", "lot.outturned": "lot", "scale.registered": "scale", "session.opened": "session",
    "jar.opened": "jar", "series.opened": "series", "melt.charged": "melt", "piece.poured": "piece",
    "die.registered": "die", "consignment.sent": "consignment", "order.recorded": "order", "sale.made": "sale",
    "refining.sent": "refining", "owner.registered": "owner",
}

NOWHERE = "00000000-0000-4000-8000-000000000000"
MARKS = ("sponsor", "fineness", "office")
CHECKS = {True: {"nominal": "100.00", "reading": "100.00"}, False: {"nominal": "100.00", "reading": "101.00"}}


class Names:
    """Which id the service gave to what the model calls by a name, and at which version it is."""

    def __init__(self):
        self.ids, self.names, self.versions, self.indexes = {}, {}, {}, {}

    def id(self, name):
        return self.ids.get(name, NOWHERE)

    def learn(self, n, reply):
        """Takes up what a reply says."""
        self.indexes[n] = reply["index"]
        k = 0
        for event in reply["events"]:
            kind = MADE.get(event["kind"])
            if kind:
                name = f"piece:{n}.{k}" if kind == "piece" else f"{kind}:{n}"
                k += kind == "piece"
                self.ids[name], self.names[event[kind]] = event[kind], name
        for subject in reply["subjects"]:
            self.versions[subject["id"]] = subject["version"]

    def plain(self, value):
        """Members that need no more than ids for names and text for amounts."""
        if isinstance(value, Decimal):
            return text(value)
        if isinstance(value, str) and ":" in value:
            return self.id(value)
        if isinstance(value, dict):
            return {k: self.plain(v) for k, v in value.items() if v is not None}
        if isinstance(value, (list, tuple)):
            return [self.plain(v) for v in value]
        return value

    def body(self, cmd, versions):
        """The members of a command as the service takes them; with versions only where it is given, not in a correction."""
        command = cmd["command"]
        if command == "correct_entries":
            return {"corrections": [self.correction(c) for c in cmd["corrections"]], "reason": cmd["reason"]}
        body = self.plain({k: v for k, v in cmd.items() if k != "command"})
        if "good" in body:
            body.update(CHECKS[body.pop("good")])
        if command == "open_series":
            series_body(body)
        if command == "sell_pieces":
            body["items"] = [{"piece": p} for p in body.pop("pieces")]
        if command == "return_consignment":
            for line in body["lines"]:
                if "hallmark" in line:
                    marks = [{"mark": m, "legible": True} for m in MARKS]
                    line["hallmark"] = {"fineness": line["hallmark"], "marks": marks}
        if command == "send_consignment":
            body["marks"] = list(MARKS)
        if versions and command in ("weigh_pieces", "finish_pieces", "strike_pieces"):
            for item in body["items"]:
                item["version"] = self.versions.get(item["piece"], 1)
        return body

    def correction(self, c):
        """One entry and what should have been said instead; a correction has no versions and nothing private."""
        told = {"index": self.indexes.get(c["entry"], 10**9)}
        if c.get("instead"):
            told["instead"] = {"command": c["instead"]["command"], **self.body(c["instead"], False)}
            told["instead"].pop("witness", None)
        return told

    def request(self, cmd):
        """Path, body and the version that the path's thing is believed to have."""
        path, member = PATHS[cmd["command"]]
        body = self.body(cmd, True)
        if member is None:
            return path, body, None
        named = body.pop(member)
        return path.format(named), body, self.versions.get(named, 1)


def series_body(body):
    """An edition has sizes and limits; the table row of an exemption by weight goes with it."""
    body["kind_of"] = body.pop("kind")
    if "sizes" in body:
        body["shapes"] = [{"shape": s, "size": n} for s, n in body.pop("sizes").items()]
    if "limits" in body:
        lower, upper = body["limits"]
        body["limits"] = {"nominal": lower, "lower": lower, "upper": upper}
    if body.get("ground") == "below_weight":
        body.update(exempt_below="1000.00", exempt_from="2020-01-01")
    body.update(unit="g", digits=4)
