//! The table of what is asked so that every operation shows its own statuses: one small workshop, told in order.
//!
//! What every operation refuses alike (no token, no key, a body that is too large ...) is asked by
//! [`super::coverage`] without a row here. A new command needs a row that is recorded (201) and, where the book can refuse
//! it, one that is refused (409); a new read whose path names something needs that name kept by a row.

/// One request and the status that it must get.
pub struct Step {
    /// The method and the address; `$name` stands for what an earlier step kept.
    pub to: &'static str,
    /// The body of a command; the version of an item of a tray is put in.
    pub body: &'static str,
    pub status: u16,
    /// What is kept of the reply, in the order of its events: `piece#2` is the second value that a member `piece` has.
    pub keeps: &'static [&'static str],
}

/// A command.
const fn post(to: &'static str, status: u16, body: &'static str) -> Step {
    Step {
        to,
        body,
        status,
        keeps: &[],
    }
}

impl Step {
    const fn keeps(mut self, names: &'static [&'static str]) -> Self {
        self.keeps = names;
        self
    }
}

/// Stands for a picture, whose bytes are no text.
pub const PICTURE: &str = "\"a picture\"";

pub const STEPS: &[Step] = &[
    post(
        "POST /v1/scales",
        201,
        r#"{"class": "II", "e": "0.01", "d": "0.01", "max": "600", "verified": true, "repeatability": "0.003"}"#,
    )
    .keeps(&["scale"]),
    post(
        "POST /v1/sessions",
        201,
        r#"{"scale": "$scale", "nominal": "50.00", "reading": "50.00"}"#,
    )
    .keeps(&["session"]),
    post(
        "POST /v1/sessions",
        409,
        r#"{"scale": "$scale", "nominal": "50.00", "reading": "50.00"}"#,
    ),
    post(
        "POST /v1/sessions/$session/checks",
        201,
        r#"{"nominal": "50.00", "reading": "50.00"}"#,
    ),
    post(
        "POST /v1/lots",
        201,
        r#"{"metal": "silver", "fineness": "999.9", "basis": "declared", "session": "$session", "mass": "500.00",
            "seller": "Pellworth Metals Counter", "at": "2026-03-14T09:26:53Z"}"#,
    )
    .keeps(&["lot"]),
    post(
        "POST /v1/lots",
        409,
        r#"{"metal": "silver", "fineness": "999.9", "basis": "declared", "session": "$session", "mass": "10.005"}"#,
    ),
    post(
        "POST /v1/series",
        201,
        r#"{"code": "TW", "kind_of": "edition", "metal": "silver", "fineness": "999", "unit": "g",
            "shapes": [{"shape": "oval", "size": 4}], "limits": {"nominal": "50.00", "lower": "50.00", "upper": "51.20"},
            "digits": 4, "marking": "exempt", "ground": "bullion", "title": "Tidewheel"}"#,
    )
    .keeps(&["series"]),
    post(
        "POST /v1/series",
        409,
        r#"{"code": "TW", "kind_of": "open", "metal": "silver", "fineness": "999", "unit": "ozt", "digits": 4,
            "marking": "exempt", "ground": "bullion"}"#,
    ),
    post(
        "POST /v1/series",
        201,
        r#"{"code": "DW", "kind_of": "open", "metal": "silver", "fineness": "999", "unit": "ozt", "digits": 4,
            "marking": "exempt", "ground": "bullion", "title": "Driftweight"}"#,
    )
    .keeps(&["series_open=series"]),
    post(
        "POST /v1/jars",
        201,
        r#"{"metal": "silver", "fineness": "999", "residue": "lemel"}"#,
    )
    .keeps(&["jar"]),
    post(
        "POST /v1/jars",
        409,
        r#"{"metal": "copper", "fineness": "1000", "residue": "lemel"}"#,
    ),
    post(
        "POST /v1/melts",
        409,
        r#"{"metal": "silver", "session": "$session", "lots": [{"lot": "$lot", "mass": "500.01"}]}"#,
    ),
    post(
        "POST /v1/melts",
        201,
        r#"{"metal": "silver", "session": "$session", "lots": [{"lot": "$lot", "mass": "250.00"}]}"#,
    )
    .keeps(&["melt"]),
    post(
        "POST /v1/melts/$melt/pours",
        201,
        r#"{"pours": [{"series": "$series", "shape": "oval"}, {"series": "$series", "shape": "oval"},
            {"series": "$series", "shape": "oval"}, {"series": "$series", "shape": "oval"}]}"#,
    )
    .keeps(&["piece", "piece#2", "piece#3", "piece#4"]),
    post(
        "POST /v1/weighings",
        201,
        r#"{"session": "$session", "stage": "from_mould", "items": [{"piece": "$piece", "mass": "50.42"},
            {"piece": "$piece#2", "mass": "51.90"}, {"piece": "$piece#3", "mass": "50.60"},
            {"piece": "$piece#4", "mass": "51.80"}]}"#,
    ),
    post(
        "POST /v1/weighings",
        409,
        r#"{"session": "$session", "stage": "finished", "items": [{"piece": "$piece", "mass": "50.425"}]}"#,
    ),
    // 250.00 = 50.42 + 51.90 + 50.60 + 51.80 + 44.78 + a loss of 0.50.
    post(
        "POST /v1/melts/$melt/closing",
        201,
        r#"{"session": "$session", "heel": "44.78"}"#,
    ),
    post(
        "POST /v1/melts/$melt/closing",
        409,
        r#"{"session": "$session", "heel": "44.78"}"#,
    ),
    post(
        "POST /v1/melts/$melt/pours",
        409,
        r#"{"pours": [{"series": "$series", "shape": "oval"}]}"#,
    ),
    post(
        "POST /v1/finishings",
        409,
        r#"{"session": "$session", "jar": "$jar", "items": [{"piece": "$piece#2", "mass": "51.95"}]}"#,
    ),
    post(
        "POST /v1/finishings",
        201,
        r#"{"session": "$session", "jar": "$jar", "items": [{"piece": "$piece#2", "mass": "50.90"}]}"#,
    ),
    // Silver of 50.42 g displaces 4.81 g: 481 steps of this scale. Gaining 0.48 g it would be 48, and too coarse.
    post(
        "POST /v1/pieces/$piece/gravity",
        201,
        r#"{"session": "$session", "method": "cup", "in_air": "50.42", "in_water": "4.81", "water": "20.50"}"#,
    ),
    post(
        "POST /v1/pieces/$piece/gravity",
        409,
        r#"{"session": "$session", "method": "cup", "in_air": "50.42", "in_water": "0.48", "water": "20"}"#,
    ),
    post(
        "POST /v1/pieces/$piece/photographs?stage=from_mould&side=face",
        201,
        PICTURE,
    )
    .keeps(&["photograph"]),
    post(
        "POST /v1/pieces/$piece/photographs?stage=from_mould&side=face",
        409,
        PICTURE,
    ),
    post("POST /v1/pieces/$piece#3/fault", 201, r#"{"fault": "porosity"}"#),
    post(
        "POST /v1/pieces/$piece#3/condemnation",
        201,
        r#"{"reason": "faulty"}"#,
    ),
    post(
        "POST /v1/pieces/$piece#3/condemnation",
        409,
        r#"{"reason": "faulty"}"#,
    ),
    post("POST /v1/pieces/$piece#3/fault", 409, r#"{"fault": "porosity"}"#),
    post(
        "POST /v1/pieces/$piece#4/series",
        201,
        r#"{"to": "$series_open"}"#,
    ),
    post(
        "POST /v1/pieces/$piece#4/series",
        409,
        r#"{"to": "$series_open"}"#,
    ),
    post("POST /v1/serials", 201, r#"{"pieces": ["$piece"]}"#).keeps(&["serial"]),
    post("POST /v1/serials", 409, r#"{"pieces": ["$piece"]}"#),
    post(
        "POST /v1/weighings",
        201,
        r#"{"session": "$session", "stage": "final", "items": [{"piece": "$piece", "mass": "50.42"}]}"#,
    ),
    post("POST /v1/numbers", 201, r#"{"pieces": ["$piece"]}"#),
    post("POST /v1/numbers", 409, r#"{"pieces": ["$piece"]}"#),
    post(
        "POST /v1/sessions/$session/closing",
        201,
        r#"{"nominal": "50.00", "reading": "50.00"}"#,
    ),
    post(
        "POST /v1/sessions/$session/closing",
        409,
        r#"{"nominal": "50.00", "reading": "50.00"}"#,
    ),
    post(
        "POST /v1/sessions/$session/checks",
        409,
        r#"{"nominal": "50.00", "reading": "50.00"}"#,
    ),
    post(
        "POST /v1/pieces/$piece/supersession",
        409,
        r#"{"reason": "damaged"}"#,
    ),
    post("POST /v1/certificates", 201, r#"{"pieces": ["$piece"]}"#).keeps(&["certificate"]),
    post("POST /v1/certificates", 409, r#"{"pieces": ["$piece"]}"#),
    post("POST /v1/prints", 201, r#"{"certificates": ["$certificate"], "paper": "a6"}"#).keeps(&["index"]),
    post("POST /v1/prints", 201, r#"{"series": "$series", "paper": "a5"}"#).keeps(&["index_gone=index"]),
    post("POST /v1/prints", 409, r#"{"certificates": ["$series"], "paper": "a6"}"#),
    post(
        "POST /v1/erasures",
        201,
        r#"{"index": $index_gone, "event": 0, "member": "digest", "reason": "mistake"}"#,
    ),
    post(
        "POST /v1/pieces/$piece/supersession",
        201,
        r#"{"reason": "damaged"}"#,
    ),
    // Entry 6 is the lot: three keys, the scale, the session and its check stand before it.
    post(
        "POST /v1/erasures",
        201,
        r#"{"index": 6, "event": 0, "member": "seller", "reason": "request"}"#,
    ),
    post(
        "POST /v1/erasures",
        409,
        r#"{"index": 6, "event": 0, "member": "seller", "reason": "request"}"#,
    ),
    post(
        "POST /v1/corrections",
        201,
        r#"{"corrections": [{"index": 6, "instead": {"command": "receive_lot", "metal": "silver", "fineness": "999.9",
            "basis": "declared", "session": "$session", "mass": "500.00", "invoiced": "500.10"}}], "reason": "mistyped"}"#,
    ),
    post(
        "POST /v1/corrections",
        409,
        r#"{"corrections": [{"index": 0}], "reason": "did_not_happen"}"#,
    ),
    post("POST /v1/clock", 201, "{}"),
    post(
        "POST /v1/revocations",
        201,
        r#"{"operator": "47cb7ba0-ba75-4345-bc89-225410296a2b"}"#,
    ),
    post(
        "POST /v1/revocations",
        409,
        r#"{"operator": "47cb7ba0-ba75-4345-bc89-225410296a2b"}"#,
    ),
];

/// What comes after the main line: struck, hallmarked, promised, sold, given back, refined.
pub const AFTER: &[Step] = &[
    post(
        "POST /v1/sessions",
        201,
        r#"{"scale": "$scale", "nominal": "50.00", "reading": "50.00"}"#,
    ).keeps(&["session2=session"]),
    post(
        "POST /v1/series",
        201,
        r#"{"code": "SR", "kind_of": "edition", "metal": "silver", "fineness": "999", "unit": "g",
            "shapes": [{"shape": "oval", "size": 4}], "limits": {"nominal": "50.00", "lower": "50.00", "upper": "51.20"},
            "digits": 4, "marking": "required", "struck": true, "spares_sold": true}"#,
    ).keeps(&["series_marked=series"]),
    post(
        "POST /v1/owners",
        201,
        r#"{"name": "a neighbour with a box of spoons"}"#,
    ).keeps(&["owner"]),
    post(
        "POST /v1/owners/$owner/agreement",
        201,
        r#"{"document": "letter of 3 May"}"#,
    ),
    post(
        "POST /v1/dies",
        201,
        r#"{"owner": "workshop", "label": "the wheel"}"#,
    ).keeps(&["die"]),
    post(
        "POST /v1/dies",
        201,
        r#"{"owner": "workshop"}"#,
    ).keeps(&["die_gone=die"]),
    post(
        "POST /v1/dies",
        409,
        r#"{"owner": "workshop", "series": "11111111-1111-4111-8111-111111111111"}"#,
    ),
    post(
        "POST /v1/dies/$die_gone/disposal",
        201,
        r#"{"how": "destroyed"}"#,
    ),
    post(
        "POST /v1/dies/$die_gone/disposal",
        409,
        r#"{"how": "destroyed"}"#,
    ),
    post(
        "POST /v1/melts",
        201,
        r#"{"metal": "silver", "session": "$session2", "lots": [{"lot": "$lot", "mass": "240.00"}]}"#,
    ).keeps(&["melt2=melt"]),
    post(
        "POST /v1/melts/$melt2/pours",
        201,
        r#"{"pours": [{"series": "$series_marked", "shape": "oval"}, {"series": "$series_marked", "shape": "oval"},
            {"series": "$series_marked", "shape": "oval"}, {"series": "$series_marked", "shape": "oval"}]}"#,
    ).keeps(&["marked=piece", "marked#2=piece#2", "marked#3=piece#3", "marked#4=piece#4"]),
    post(
        "POST /v1/weighings",
        201,
        r#"{"session": "$session2", "stage": "from_mould", "items": [{"piece": "$marked", "mass": "50.40"},
            {"piece": "$marked#2", "mass": "50.50"}, {"piece": "$marked#3", "mass": "50.60"},
            {"piece": "$marked#4", "mass": "50.45"}]}"#,
    ),
    // 240.00 = 50.40 + 50.50 + 50.60 + 50.45 + 37.55 + a loss of 0.50.
    post(
        "POST /v1/melts/$melt2/closing",
        201,
        r#"{"session": "$session2", "heel": "37.55"}"#,
    ),
    post(
        "POST /v1/strikes",
        409,
        r#"{"die": "$die_gone", "items": [{"piece": "$marked", "outcome": "good"}]}"#,
    ),
    post(
        "POST /v1/strikes",
        201,
        r#"{"die": "$die", "items": [{"piece": "$marked", "outcome": "good"}, {"piece": "$marked#2", "outcome": "good"},
            {"piece": "$marked#3", "outcome": "good"}, {"piece": "$marked#4", "outcome": "off_centre"}]}"#,
    ),
    post(
        "POST /v1/pieces/$marked#4/archive",
        201,
        r#"{"note": "for the sample drawer"}"#,
    ),
    post(
        "POST /v1/pieces/$marked#4/archive",
        409,
        r#"{}"#,
    ),
    post(
        "POST /v1/serials",
        201,
        r#"{"pieces": ["$marked", "$marked#2", "$marked#3"]}"#,
    ),
    post(
        "POST /v1/consignments",
        201,
        r#"{"pieces": ["$marked", "$marked#2"], "fineness": "999", "marks": ["sponsor", "fineness", "office"],
            "office": "Eastmarch Assay Hall", "seal": "S-88"}"#,
    ).keeps(&["consignment"]),
    post(
        "POST /v1/consignments",
        409,
        r#"{"pieces": ["$marked"], "fineness": "999", "marks": ["sponsor", "fineness", "office"]}"#,
    ),
    // A seal for which there is no type.
    post(
        "POST /v1/consignments",
        201,
        r#"{"pieces": ["$marked#3"], "fineness": "999", "marks": ["sponsor", "fineness", "office"], "seal": "\u6f6e"}"#,
    ).keeps(&["consignment_odd=consignment"]),
    post(
        "POST /v1/consignments/$consignment/return",
        409,
        r#"{"lines": [{"piece": "$marked", "outcome": "marked", "hallmark": {"fineness": "999", "marks": [{"mark": "sponsor", "legible": true},
            {"mark": "fineness", "legible": true}, {"mark": "office", "legible": false}]}}]}"#,
    ),
    post(
        "POST /v1/consignments/$consignment/return",
        201,
        r#"{"lines": [{"piece": "$marked", "outcome": "marked", "hallmark": {"fineness": "999", "marks": [{"mark": "sponsor", "legible": true},
            {"mark": "fineness", "legible": true}, {"mark": "office", "legible": false}]}},
            {"piece": "$marked#2", "outcome": "marked", "hallmark": {"fineness": "999", "marks": [{"mark": "sponsor", "legible": true},
            {"mark": "fineness", "legible": true}, {"mark": "office", "legible": false}]}}]}"#,
    ),
    post(
        "POST /v1/weighings",
        201,
        r#"{"session": "$session2", "stage": "final", "items": [{"piece": "$marked", "mass": "50.39"},
            {"piece": "$marked#2", "mass": "50.49"}]}"#,
    ),
    post(
        "POST /v1/spares",
        201,
        r#"{"pieces": ["$marked#2"]}"#,
    ),
    post(
        "POST /v1/spares",
        409,
        r#"{"pieces": ["$marked#2"]}"#,
    ),
    post(
        "POST /v1/numbers",
        201,
        r#"{"pieces": ["$marked"]}"#,
    ),
    post(
        "POST /v1/sessions/$session2/closing",
        201,
        r#"{"nominal": "50.00", "reading": "50.00"}"#,
    ),
    post(
        "POST /v1/certificates",
        201,
        r#"{"pieces": ["$marked", "$marked#2"]}"#,
    ),
    post(
        "POST /v1/orders",
        201,
        r#"{"series": "$series_marked", "shapes": [{"shape": "oval", "count": 1}], "buyer": "a reader of the letter"}"#,
    ).keeps(&["order"]),
    post(
        "POST /v1/orders",
        409,
        r#"{"series": "$series_marked", "shapes": [{"shape": "oval", "count": 10}]}"#,
    ),
    post(
        "POST /v1/pieces/$marked/reservation",
        201,
        r#"{"order": "$order"}"#,
    ),
    post(
        "POST /v1/pieces/$marked/reservation",
        409,
        r#"{"order": "$order"}"#,
    ),
    post(
        "POST /v1/pieces/$marked/release",
        201,
        r#"{}"#,
    ),
    post(
        "POST /v1/pieces/$marked/release",
        409,
        r#"{}"#,
    ),
    post(
        "POST /v1/orders/$order/cancellation",
        201,
        r#"{"note": "they changed their mind"}"#,
    ),
    post(
        "POST /v1/orders/$order/cancellation",
        409,
        r#"{}"#,
    ),
    post(
        "POST /v1/sales",
        201,
        r#"{"items": [{"piece": "$marked", "price": {"amount": "95.00", "currency": "GBP"}}, {"piece": "$marked#2"},
            {"piece": "$piece"}], "buyer": "a reader of the letter", "document": "B-2031"}"#,
    ).keeps(&["sale"]),
    post(
        "POST /v1/sales",
        409,
        r#"{"items": [{"piece": "$marked"}]}"#,
    ),
    post(
        "POST /v1/sales/$sale/cancellation",
        201,
        r#"{"pieces": ["$piece"]}"#,
    ),
    post(
        "POST /v1/sales/$sale/cancellation",
        409,
        r#"{"pieces": ["$piece"]}"#,
    ),
    post(
        "POST /v1/sales/$sale/handovers",
        201,
        r#"{"pieces": ["$marked#2"]}"#,
    ),
    post(
        "POST /v1/sales/$sale/handovers",
        409,
        r#"{"pieces": ["$marked#2"]}"#,
    ),
    post(
        "POST /v1/sales/$sale/dispatches",
        201,
        r#"{"pieces": ["$marked"], "weight": "212 g", "seal": "T-14"}"#,
    ),
    post(
        "POST /v1/sales/$sale/dispatches",
        409,
        r#"{"pieces": ["$marked"], "weight": "212 g", "seal": "T-14"}"#,
    ),
    post(
        "POST /v1/sales/$sale/losses",
        201,
        r#"{"pieces": ["$marked"]}"#,
    ),
    post(
        "POST /v1/sales/$sale/losses",
        409,
        r#"{"pieces": ["$marked"]}"#,
    ),
    post(
        "POST /v1/pieces/$marked/finding",
        201,
        r#"{}"#,
    ),
    post(
        "POST /v1/pieces/$marked/finding",
        409,
        r#"{}"#,
    ),
    post(
        "POST /v1/sales/$sale/returns-to-sender",
        201,
        r#"{"pieces": ["$marked"]}"#,
    ),
    post(
        "POST /v1/sales/$sale/returns-to-sender",
        409,
        r#"{"pieces": ["$marked"]}"#,
    ),
    post(
        "POST /v1/sales/$sale/dispatches",
        201,
        r#"{"pieces": ["$marked"]}"#,
    ),
    post(
        "POST /v1/sales/$sale/deliveries",
        201,
        r#"{"pieces": ["$marked"]}"#,
    ),
    post(
        "POST /v1/sales/$sale/deliveries",
        409,
        r#"{"pieces": ["$marked"]}"#,
    ),
    post(
        "POST /v1/pieces/$marked/return",
        201,
        r#"{}"#,
    ),
    post(
        "POST /v1/pieces/$marked/return",
        409,
        r#"{}"#,
    ),
    post(
        "POST /v1/pieces/$marked/restocking",
        201,
        r#"{}"#,
    ),
    post(
        "POST /v1/pieces/$marked/restocking",
        409,
        r#"{}"#,
    ),
    post(
        "POST /v1/sessions",
        201,
        r#"{"scale": "$scale", "nominal": "50.00", "reading": "50.00"}"#,
    ).keeps(&["session3=session"]),
    post(
        "POST /v1/pieces/$marked#2/buyback",
        201,
        r#"{"session": "$session3", "mass": "50.47", "price": {"amount": "60.00", "currency": "GBP"}}"#,
    ),
    post(
        "POST /v1/pieces/$marked#2/buyback",
        409,
        r#"{"session": "$session3", "mass": "50.47", "price": {"amount": "60.00", "currency": "GBP"}}"#,
    ),
    post(
        "POST /v1/pieces/$piece/theft",
        201,
        r#"{"reference": "CR 42"}"#,
    ),
    post(
        "POST /v1/pieces/$piece/theft",
        409,
        r#"{"reference": "CR 42"}"#,
    ),
    post(
        "POST /v1/pieces/$piece/recovery",
        201,
        r#"{}"#,
    ),
    post(
        "POST /v1/pieces/$piece/recovery",
        409,
        r#"{}"#,
    ),
    post(
        "POST /v1/pieces/$marked#2/destruction",
        201,
        r#"{"witness": "the neighbour from the forge"}"#,
    ),
    post(
        "POST /v1/pieces/$marked#2/destruction",
        409,
        r#"{"witness": "the neighbour from the forge"}"#,
    ),
    post(
        "POST /v1/jars",
        201,
        r#"{"metal": "silver", "fineness": "999", "residue": "sweeps"}"#,
    ).keeps(&["jar_sweeps=jar"]),
    post(
        "POST /v1/jars/$jar_sweeps/sweepings",
        201,
        r#"{"session": "$session3", "mass": "212.50"}"#,
    ),
    post(
        "POST /v1/jars/$jar/sweepings",
        409,
        r#"{"session": "$session3", "mass": "212.50"}"#,
    ),
    post(
        "POST /v1/refinings",
        201,
        r#"{"metal": "silver", "session": "$session3", "jars": [{"jar": "$jar", "mass": "1.00"}]}"#,
    ).keeps(&["refining"]),
    post(
        "POST /v1/refinings",
        409,
        r#"{"metal": "silver", "session": "$session3", "jars": [{"jar": "$jar", "mass": "1.00"}]}"#,
    ),
    post(
        "POST /v1/refinings/$refining/return",
        201,
        r#"{"outturn": {"session": "$session3", "mass": "0.90", "fineness": "999.9"},
            "charge": {"amount": "25.00", "currency": "GBP"}}"#,
    ),
    post(
        "POST /v1/refinings/$refining/return",
        409,
        r#"{"outturn": {"session": "$session3", "mass": "0.90", "fineness": "999.9"},
            "charge": {"amount": "25.00", "currency": "GBP"}}"#,
    ),
    post(
        "POST /v1/stocktakes",
        201,
        r#"{"session": "$session3", "lots": [{"lot": "$lot", "mass": "100.00"}], "pieces": {"seen": ["$piece"]},
            "found": [{"metal": "silver", "fineness": "900", "mass": "0.40", "note": "under the bench"}]}"#,
    ).keeps(&["stocktake"]),
    post(
        "POST /v1/stocktakes",
        409,
        r#"{"session": "$session", "lots": [{"lot": "$lot", "mass": "100.00"}]}"#,
    ),
    post(
        "POST /v1/spots",
        201,
        r#"{"metal": "silver", "price": {"amount": "24.51", "currency": "GBP"}, "priced_at": "2026-03-14T09:00:00Z",
            "source": "the trade letter"}"#,
    ).keeps(&["spot"]),
    post(
        "POST /v1/spots",
        409,
        r#"{"metal": "silver", "price": {"amount": "24.51", "currency": "GBP"}, "priced_at": "2126-03-14T09:00:00Z"}"#,
    ),
    post(
        "POST /v1/quotes",
        201,
        r#"{"spot": "$spot", "of": {"piece": "$piece"}, "premium_percent": "28", "weight": "ozt-0.001", "vat": "standard"}"#,
    ).keeps(&["quote"]),
    post(
        "POST /v1/quotes",
        409,
        r#"{"spot": "$spot", "of": {"piece": "$marked#2"}, "premium_percent": "28", "weight": "ozt-0.001", "vat": "standard"}"#,
    ),
    post(
        "POST /v1/charges",
        201,
        r#"{"consignment": "$consignment", "amount": {"amount": "6.20", "currency": "GBP"}, "document": "H-88"}"#,
    ).keeps(&["charge"]),
    post(
        "POST /v1/charges",
        409,
        r#"{"die": "11111111-1111-4111-8111-111111111111", "amount": {"amount": "6.20", "currency": "GBP"}}"#,
    ),
    post(
        "POST /v1/series/$series_marked/closing",
        409,
        r#"{}"#,
    ),
    post(
        "POST /v1/series",
        201,
        r#"{"code": "KN", "kind_of": "edition", "metal": "silver", "fineness": "999", "unit": "g",
            "shapes": [{"shape": "oval", "size": 1}], "limits": {"nominal": "50.00", "lower": "50.00", "upper": "51.20"},
            "digits": 4, "marking": "exempt", "ground": "bullion"}"#,
    ).keeps(&["series_done=series"]),
    post(
        "POST /v1/series/$series_done/closing",
        201,
        r#"{}"#,
    ),
    post(
        "POST /v1/series/$series_done/closing",
        409,
        r#"{}"#,
    ),
];
