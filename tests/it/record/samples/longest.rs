//! The longest entry that a command can bring, for every kind of event: every optional member there, every number as
//! long as it goes, as many subjects as a command may name - or as many as fit, where fewer do.
//!
//! To add a kind: write one function that gives the drafts of an entry of `n` subjects, and append a row to [`ROWS`].
//! The row also makes the plain golden entry of a new kind. Then write the files and commit them:
//! `cargo test --test it record::golden::write -- --ignored`

use super::{CERTIFICATE, JAR, LOT, MELT, PIECE, SCALE, SERIES, SESSION, draft, id};
use pourbook::domain::Draft;
use serde_json::{Value, json};

/// How one kind's longest entry is made.
pub struct Row {
    pub kind: &'static str,
    /// How many subjects a command of the API may name here: 64 in a list, else 1.
    pub together: usize,
    /// The drafts of an entry with this many of them.
    pub entry: fn(usize) -> Vec<Draft>,
}

pub(super) const fn row(kind: &'static str, together: usize, entry: fn(usize) -> Vec<Draft>) -> Row {
    Row {
        kind,
        together,
        entry,
    }
}

/// Sealed one after the other behind all entries of before. Rows are only appended: an entry's place is in its bytes.
pub const ROWS: &[Row] = &[
    row("lot.received", 1, lot_received),
    row("scale.registered", 1, scale_registered),
    row("session.opened", 1, session_opened),
    row("session.checked", 1, |_| {
        vec![draft("session.checked", checked())]
    }),
    row("session.closed", 1, |_| vec![draft("session.closed", checked())]),
    row("jar.opened", 1, jar_opened),
    row("series.opened", 1, series_opened),
    row("piece.remelted", 64, charged_with_pieces),
    row("jar.filled", 1, melt_closed),
    row("piece.finished", 64, finished),
    row("piece.faulted", 1, |_| {
        vec![draft(
            "piece.faulted",
            json!({"piece": id(PIECE, 1), "fault": "cold_shut"}),
        )]
    }),
    row("piece.moved", 1, piece_moved),
    row("piece.condemned", 1, piece_condemned),
    row("piece.serialled", 64, |n| tray(n, serialled)),
    row("piece.numbered", 64, |n| tray(n, numbered)),
    row("piece.certified", 64, |n| tray_of_both(n, issued, certified)),
    row("certificate.superseded", 1, superseded),
    row("clock.set", 1, |_| {
        vec![draft("clock.set", json!({"to": 253_402_300_799_u64}))]
    }),
    row("field.erased", 1, field_erased),
];

/// The greatest mass that can be written, grams.
pub(super) const MASS: &str = "99999999.99999";
pub(super) const FINENESS: &str = "999.9999";
pub(super) const MANY: u32 = u32::MAX;

type Each = fn(usize) -> Draft;

pub(super) fn tray(count: usize, each: Each) -> Vec<Draft> {
    (1..=count).map(each).collect()
}

fn tray_of_both(count: usize, first: Each, second: Each) -> Vec<Draft> {
    (1..=count).flat_map(|n| [first(n), second(n)]).collect()
}

fn lot_received(_: usize) -> Vec<Draft> {
    let members = json!({"lot": id(LOT, 9), "number": MANY, "metal": "palladium", "fineness": FINENESS,
        "basis": "hallmarked", "session": id(SESSION, 1), "mass": MASS, "invoiced": MASS});
    vec![draft("lot.received", members)]
}

fn scale_registered(_: usize) -> Vec<Draft> {
    let members = json!({"scale": id(SCALE, 9), "class": "III", "e": MASS, "d": MASS, "max": MASS,
        "verified": false, "repeatability": MASS});
    vec![draft("scale.registered", members)]
}

fn session_opened(_: usize) -> Vec<Draft> {
    let members = json!({"session": id(SESSION, 9), "scale": id(SCALE, 9), "nominal": MASS, "reading": MASS});
    vec![draft("session.opened", members)]
}

fn checked() -> Value {
    json!({"session": id(SESSION, 9), "nominal": MASS, "reading": MASS, "held": false})
}

fn jar_opened(_: usize) -> Vec<Draft> {
    let members = json!({"jar": id(JAR, 9), "metal": "palladium", "fineness": FINENESS, "residue": "prills"});
    vec![draft("jar.opened", members)]
}

/// An edition of 64 shapes.
fn series_opened(_: usize) -> Vec<Draft> {
    let shapes: Vec<Value> = (1..=64)
        .map(|n| json!({"shape": format!("a_long_shape__{n:02}"), "size": MANY}))
        .collect();
    let members = json!({"series": id(SERIES, 9), "code": "WWWW", "kind_of": "edition", "metal": "palladium",
        "fineness": FINENESS, "unit": "ozt", "shapes": shapes,
        "limits": {"nominal": MASS, "lower": MASS, "upper": MASS}, "digits": 6, "marking": "required",
        "ground": "below_weight"});
    vec![draft("series.opened", members)]
}

fn pieces_put_in(count: usize) -> Vec<Value> {
    (1..=count)
        .map(|n| json!({"from": "piece", "piece": id(PIECE, n), "melt": id(MELT, n), "mass": MASS}))
        .collect()
}

/// A charge of nothing but condemned pieces, each of which ends in it.
fn charged_with_pieces(count: usize) -> Vec<Draft> {
    let charged = json!({"melt": id(MELT, 9), "number": MANY, "metal": "palladium", "session": id(SESSION, 9),
        "inputs": pieces_put_in(count), "charge": MASS, "fineness": FINENESS});
    let remelted = |n| {
        draft(
            "piece.remelted",
            json!({"piece": id(PIECE, n), "melt": id(MELT, 9)}),
        )
    };
    let mut drafts = vec![draft("melt.charged", charged)];
    drafts.extend((1..=count).map(remelted));
    drafts
}

/// A melt of 64 inputs and 99 pieces, the most of both: it has no smaller form, so it must fit.
fn melt_closed(_: usize) -> Vec<Draft> {
    let pieces: Vec<Value> = (1..=99)
        .map(|n| json!({"piece": id(PIECE, 100 + n), "mass": MASS}))
        .collect();
    let members = json!({"melt": id(MELT, 9), "metal": "palladium", "session": id(SESSION, 9),
        "inputs": pieces_put_in(64), "charge": MASS, "fineness": FINENESS, "pieces": pieces, "heel": MASS,
        "prills": {"jar": id(JAR, 9), "mass": MASS}, "loss": format!("-{MASS}")});
    let filled = json!({"jar": id(JAR, 9), "melt": id(MELT, 9), "mass": MASS});
    vec![draft("melt.closed", members), draft("jar.filled", filled)]
}

/// Filed, weighed and graded again, each out of another melt, whose lemel the jar takes.
fn finished(count: usize) -> Vec<Draft> {
    let of_piece = |n| {
        [
            draft(
                "piece.finished",
                json!({"piece": id(PIECE, n), "jar": id(JAR, 9), "filed": MASS}),
            ),
            draft(
                "piece.weighed",
                json!({"piece": id(PIECE, n), "session": id(SESSION, 9), "stage": "from_mould", "mass": MASS}),
            ),
            draft(
                "piece.graded",
                json!({"piece": id(PIECE, n), "rule": "guarded-1", "grade": "borderline", "lower": MASS,
                    "upper": MASS, "guard": MASS}),
            ),
        ]
    };
    let filled = |n| {
        draft(
            "jar.filled",
            json!({"jar": id(JAR, 9), "melt": id(MELT, n), "mass": MASS}),
        )
    };
    (1..=count)
        .flat_map(of_piece)
        .chain((1..=count).map(filled))
        .collect()
}

fn piece_moved(_: usize) -> Vec<Draft> {
    let members = json!({"piece": id(PIECE, 1), "from": id(SERIES, 1), "to": id(SERIES, 2)});
    vec![draft("piece.moved", members)]
}

fn piece_condemned(_: usize) -> Vec<Draft> {
    let members = json!({"piece": id(PIECE, 1), "reason": "borderline"});
    vec![draft("piece.condemned", members)]
}

fn serialled(n: usize) -> Draft {
    let members = json!({"piece": id(PIECE, n), "series": id(SERIES, 9), "serial": "WWWW-999999-33"});
    draft("piece.serialled", members)
}

fn numbered(n: usize) -> Draft {
    let members = json!({"piece": id(PIECE, n), "series": id(SERIES, 9), "shape": "a_long_shape__01",
        "number": MANY, "of": MANY});
    draft("piece.numbered", members)
}

fn issued(n: usize) -> Draft {
    let members = json!({"certificate": id(CERTIFICATE, n), "piece": id(PIECE, n), "issue": MANY,
        "serial": "WWWW-999999-33", "series": id(SERIES, 9), "number": MANY, "of": MANY, "metal": "palladium",
        "fineness": FINENESS, "basis": "hallmarked", "hallmark": "not_hallmarked", "session": id(SESSION, 9),
        "mass": MASS, "uncertainty": MASS, "at_least": MASS});
    draft("certificate.issued", members)
}

fn certified(n: usize) -> Draft {
    let members = json!({"piece": id(PIECE, n), "certificate": id(CERTIFICATE, n), "issue": MANY});
    draft("piece.certified", members)
}

/// A certificate spoilt, and the next issue with it.
fn superseded(_: usize) -> Vec<Draft> {
    let members = json!({"certificate": id(CERTIFICATE, 1), "by": id(CERTIFICATE, 2), "reason": "reweighed"});
    vec![issued(2), draft("certificate.superseded", members), certified(2)]
}

fn field_erased(_: usize) -> Vec<Draft> {
    let members = json!({"index": 9_007_199_254_740_991_u64, "entry": "A".repeat(43), "event": u16::MAX,
        "member": "commissioner", "reason": "request"});
    vec![draft("field.erased", members)]
}
