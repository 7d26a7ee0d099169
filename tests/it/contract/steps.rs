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
    post("POST /v1/clock", 201, "{}"),
];
