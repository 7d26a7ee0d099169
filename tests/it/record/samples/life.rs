//! Entries of a piece's life after it is graded: the plain one of each kind, and the longest that a command can bring.
//!
//! It is about form, as all samples: no book has decided them.

use super::longest::{FINENESS, MANY, MASS, Row, row, tray};
use super::{JAR, LOT, MELT, PIECE, SERIES, SESSION, draft, event, id};
use pourbook::domain::{CorrectionReason, Draft, EntryCorrected, Event, Private, Restated, Told};
use serde_json::{Value, json};

const DIE: u8 = 0xd1;
const CONSIGNMENT: u8 = 0xc0;
const ORDER: u8 = 0x0d;
const SALE: u8 = 0x5a;
const OWNER: u8 = 0x0a;
const REFINING: u8 = 0xf1;
const STOCKTAKE: u8 = 0x7e;

/// Sealed behind those of before; only appended to, as those are.
pub const ROWS: &[Row] = &[
    row("die.registered", 1, |_| {
        vec![draft("die.registered", die_registered())]
    }),
    row("piece.struck", 64, piece_struck),
    row("piece.archived", 1, |_| {
        vec![draft("piece.archived", piece_archived())]
    }),
    row("die.disposed", 1, |_| vec![draft("die.disposed", die_disposed())]),
    row("series.closed", 1, series_closed),
    row("consignment.sent", 64, consignment_sent),
    row("piece.consigned", 64, piece_consigned),
    row("consignment.returned", 64, consignment_returned),
    row("piece.hallmarked", 64, piece_hallmarked),
    row("piece.unmarked", 64, piece_unmarked),
    row("piece.kept", 64, piece_kept),
    row("piece.missing", 64, piece_missing),
    row("piece.spared", 64, piece_spared),
    row("order.recorded", 1, |_| {
        vec![draft("order.recorded", order_recorded())]
    }),
    row("order.cancelled", 64, order_cancelled),
    row("piece.reserved", 1, |_| {
        vec![draft("piece.reserved", piece_reserved())]
    }),
    row("piece.released", 1, |_| {
        vec![draft("piece.released", piece_released())]
    }),
    row("sale.made", 64, sale_made),
    row("piece.sold", 64, piece_sold),
    row("piece.unsold", 64, piece_unsold),
    row("sale.dispatched", 64, sale_dispatched),
    row("piece.dispatched", 64, piece_dispatched),
    row("piece.handed_over", 64, piece_handed_over),
    row("piece.delivered", 64, piece_delivered),
    row("piece.lost", 64, piece_lost),
    row("piece.found", 1, |_| vec![draft("piece.found", piece_found())]),
    row("piece.sent_back", 64, piece_sent_back),
    row("piece.returned", 1, |_| {
        vec![draft("piece.returned", piece_returned())]
    }),
    row("piece.restocked", 1, |_| {
        vec![draft("piece.restocked", piece_restocked())]
    }),
    row("piece.bought_back", 1, |_| {
        vec![draft("piece.bought_back", piece_bought_back())]
    }),
    row("piece.stolen", 1, |_| vec![draft("piece.stolen", piece_stolen())]),
    row("piece.recovered", 1, |_| {
        vec![draft("piece.recovered", piece_recovered())]
    }),
    row("piece.destroyed", 1, |_| {
        vec![draft("piece.destroyed", piece_destroyed())]
    }),
    row("owner.registered", 1, |_| {
        vec![draft("owner.registered", owner_registered())]
    }),
    row("owner.agreed", 1, |_| vec![draft("owner.agreed", owner_agreed())]),
    row("jar.swept", 1, |_| vec![draft("jar.swept", jar_swept())]),
    row("refining.sent", 64, refining_sent),
    row("jar.emptied", 64, jar_emptied),
    row("piece.refined", 64, piece_refined),
    row("refining.returned", 1, refining_returned),
    row("lot.outturned", 1, |_| {
        vec![draft("lot.outturned", lot_outturned())]
    }),
    row("entry.corrected", 64, entry_corrected),
    row("piece.gravity", 1, piece_gravity),
    row("stocktake.taken", 1, stocktake_taken),
    row("lot.counted", 63, |n| counted(n, "lot.counted", "lot", LOT)),
    row("melt.counted", 63, |n| counted(n, "melt.counted", "melt", MELT)),
    row("jar.counted", 63, |n| counted(n, "jar.counted", "jar", JAR)),
    row("lot.found", 63, lot_found),
    row("piece.poured.mould", 64, poured_in_a_mould),
];

fn pieces(count: usize) -> Vec<String> {
    (1..=count).map(|n| id(PIECE, n)).collect()
}

fn weighed(count: usize) -> Vec<Value> {
    (1..=count)
        .map(|n| json!({"piece": id(PIECE, n), "mass": MASS}))
        .collect()
}

/// One entry about the whole, then one event for each of its pieces.
fn together(kind: &str, whole: Value, count: usize, each: impl Fn(usize) -> Draft) -> Vec<Draft> {
    std::iter::once(draft(kind, whole))
        .chain((1..=count).map(each))
        .collect()
}

fn all_marks() -> [&'static str; 6] {
    [
        "sponsor",
        "fineness",
        "office",
        "date_letter",
        "commemorative",
        "other",
    ]
}

fn die_registered() -> Value {
    json!({"die": id(DIE, 1), "owner": "commissioner", "series": id(SERIES, 1)})
}

fn piece_archived() -> Value {
    json!({"piece": id(PIECE, 4)})
}

fn die_disposed() -> Value {
    json!({"die": id(DIE, 1), "how": "destroyed", "strikes": MANY})
}

fn order_recorded() -> Value {
    json!({"order": id(ORDER, 1), "number": MANY, "series": id(SERIES, 1), "shapes": (1..=64).map(|n| json!({"shape": format!("a_long_shape__{n:02}"), "count": MANY})).collect::<Vec<_>>()})
}

fn piece_reserved() -> Value {
    json!({"piece": id(PIECE, 1), "order": id(ORDER, 1)})
}

fn piece_released() -> Value {
    json!({"piece": id(PIECE, 1)})
}

fn piece_found() -> Value {
    json!({"piece": id(PIECE, 8)})
}

fn piece_returned() -> Value {
    json!({"piece": id(PIECE, 1), "sale": id(SALE, 1)})
}

fn piece_restocked() -> Value {
    json!({"piece": id(PIECE, 1)})
}

fn piece_bought_back() -> Value {
    json!({"piece": id(PIECE, 7), "session": id(SESSION, 1), "mass": MASS, "before": MASS, "difference": format!("-{MASS}"), "explained": false})
}

fn piece_stolen() -> Value {
    json!({"piece": id(PIECE, 7)})
}

fn piece_recovered() -> Value {
    json!({"piece": id(PIECE, 7)})
}

fn piece_destroyed() -> Value {
    json!({"piece": id(PIECE, 7)})
}

fn owner_registered() -> Value {
    json!({"owner": id(OWNER, 1)})
}

fn owner_agreed() -> Value {
    json!({"owner": id(OWNER, 1)})
}

fn jar_swept() -> Value {
    json!({"jar": id(JAR, 2), "session": id(SESSION, 1), "mass": MASS})
}

fn lot_outturned() -> Value {
    json!({"lot": id(LOT, 70), "number": MANY, "refining": id(REFINING, 1), "metal": "palladium", "fineness": FINENESS, "session": id(SESSION, 1), "mass": MASS})
}

fn piece_struck(n: usize) -> Vec<Draft> {
    tray(n, |n| {
        draft(
            "piece.struck",
            json!({"piece": id(PIECE, n), "die": id(DIE, 1), "outcome": "off_centre"}),
        )
    })
}

fn series_closed(_: usize) -> Vec<Draft> {
    let burned: Vec<u32> = (1..=40).collect();
    let shapes: Vec<Value> = (1..=64)
        .map(|n| json!({"shape": format!("a_long_shape__{n:02}"), "size": MANY, "given": MANY, "burned": burned}))
        .collect();
    let dies: Vec<String> = (1..=64).map(|n| id(DIE, n)).collect();
    vec![draft(
        "series.closed",
        json!({"series": id(SERIES, 1), "shapes": shapes, "dies": dies}),
    )]
}

fn consigned(n: usize) -> Draft {
    draft(
        "piece.consigned",
        json!({"piece": id(PIECE, n), "consignment": id(CONSIGNMENT, 1)}),
    )
}

fn consignment_sent(n: usize) -> Vec<Draft> {
    let whole = json!({"consignment": id(CONSIGNMENT, 1), "number": MANY, "fineness": FINENESS, "marks": all_marks(),
        "pieces": weighed(n), "mass": MASS});
    together("consignment.sent", whole, n, consigned)
}

fn piece_consigned(n: usize) -> Vec<Draft> {
    consignment_sent(n)
}

fn back(marked: usize, unmarked: usize, kept: usize, missing: usize) -> Value {
    json!({"consignment": id(CONSIGNMENT, 1), "sent": marked + unmarked + kept + missing, "marked": marked,
        "unmarked": unmarked, "kept": kept, "missing": missing})
}

fn hallmarked(n: usize) -> Draft {
    let marks = all_marks().map(|mark| json!({"mark": mark, "legible": false}));
    draft(
        "piece.hallmarked",
        json!({"piece": id(PIECE, n), "consignment": id(CONSIGNMENT, 1),
        "hallmark": {"fineness": FINENESS, "marks": marks}}),
    )
}

fn consignment_returned(n: usize) -> Vec<Draft> {
    together("consignment.returned", back(n, 0, 0, 0), n, hallmarked)
}

fn piece_hallmarked(n: usize) -> Vec<Draft> {
    consignment_returned(n)
}

fn piece_unmarked(n: usize) -> Vec<Draft> {
    together("consignment.returned", back(0, n, 0, 0), n, |n| {
        draft(
            "piece.unmarked",
            json!({"piece": id(PIECE, n), "consignment": id(CONSIGNMENT, 1), "reason": "below_standard", "assay": FINENESS}),
        )
    })
}

fn piece_kept(n: usize) -> Vec<Draft> {
    together("consignment.returned", back(0, 0, n, 0), n, |n| {
        draft(
            "piece.kept",
            json!({"piece": id(PIECE, n), "consignment": id(CONSIGNMENT, 1), "how": "kept", "assay": FINENESS}),
        )
    })
}

fn piece_missing(n: usize) -> Vec<Draft> {
    together("consignment.returned", back(0, 0, 0, n), n, |n| {
        draft(
            "piece.missing",
            json!({"piece": id(PIECE, n), "consignment": id(CONSIGNMENT, 1)}),
        )
    })
}

fn piece_gravity(_: usize) -> Vec<Draft> {
    let members = json!({"piece": id(PIECE, 1), "session": id(SESSION, 1), "method": "hung", "in_air": MASS,
        "in_water": MASS, "water": "39.99"});
    vec![draft("piece.gravity", members)]
}

fn piece_spared(n: usize) -> Vec<Draft> {
    tray(n, |n| draft("piece.spared", json!({"piece": id(PIECE, n)})))
}

fn order_cancelled(n: usize) -> Vec<Draft> {
    together("order.cancelled", json!({"order": id(ORDER, 1)}), n, |n| {
        draft("piece.released", json!({"piece": id(PIECE, n)}))
    })
}

fn of_sale(kind: &str, n: usize) -> Draft {
    draft(kind, json!({"piece": id(PIECE, n), "sale": id(SALE, 1)}))
}

fn sale_made(n: usize) -> Vec<Draft> {
    let whole = json!({"sale": id(SALE, 1), "number": MANY, "pieces": pieces(n), "order": id(ORDER, 1)});
    together("sale.made", whole, n, |n| of_sale("piece.sold", n))
}

fn piece_sold(n: usize) -> Vec<Draft> {
    sale_made(n)
}

fn sale_dispatched(n: usize) -> Vec<Draft> {
    let whole = json!({"sale": id(SALE, 1), "pieces": pieces(n)});
    together("sale.dispatched", whole, n, |n| of_sale("piece.dispatched", n))
}

fn piece_dispatched(n: usize) -> Vec<Draft> {
    sale_dispatched(n)
}

fn piece_unsold(n: usize) -> Vec<Draft> {
    tray(n, |n| of_sale("piece.unsold", n))
}

fn piece_handed_over(n: usize) -> Vec<Draft> {
    tray(n, |n| of_sale("piece.handed_over", n))
}

fn piece_delivered(n: usize) -> Vec<Draft> {
    tray(n, |n| of_sale("piece.delivered", n))
}

fn piece_lost(n: usize) -> Vec<Draft> {
    tray(n, |n| of_sale("piece.lost", n))
}

fn piece_sent_back(n: usize) -> Vec<Draft> {
    tray(n, |n| of_sale("piece.sent_back", n))
}

/// As many jars as pieces, each jar with the lemel of two melts.
fn refining_sent(n: usize) -> Vec<Draft> {
    let holds = json!([{"melt": id(MELT, 1), "mass": MASS}, {"melt": id(MELT, 2), "mass": MASS}]);
    let jars: Vec<Value> = (1..=n / 2)
        .map(|n| json!({"jar": id(JAR, n), "mass": MASS, "holds": holds}))
        .collect();
    let whole = json!({"refining": id(REFINING, 1), "number": MANY, "metal": "palladium", "session": id(SESSION, 1),
        "jars": jars, "pieces": weighed(n - n / 2), "mass": MASS});
    let emptied = (1..=n / 2).map(|n| {
        draft(
            "jar.emptied",
            json!({"jar": id(JAR, n), "refining": id(REFINING, 1)}),
        )
    });
    let mut drafts = vec![draft("refining.sent", whole)];
    drafts.extend(emptied);
    drafts.extend((1..=n - n / 2).map(|n| {
        draft(
            "piece.refined",
            json!({"piece": id(PIECE, n), "refining": id(REFINING, 1)}),
        )
    }));
    drafts
}

fn jar_emptied(n: usize) -> Vec<Draft> {
    refining_sent(n.max(2))
}

fn piece_refined(n: usize) -> Vec<Draft> {
    refining_sent(n)
}

fn refining_returned(_: usize) -> Vec<Draft> {
    let whole = json!({"refining": id(REFINING, 1), "sent": MASS, "outturn": id(LOT, 70), "returned": MASS,
        "settled": {"mass": MASS, "fineness": FINENESS}, "loss": format!("-{MASS}")});
    vec![
        draft("refining.returned", whole),
        draft("lot.outturned", lot_outturned()),
    ]
}

/// The most pieces that a command may name, and nearly as many others as then fit.
fn stocktake_taken(_: usize) -> Vec<Draft> {
    let pieces = json!({"series": id(SERIES, 9), "seen": pieces(512),
        "unseen": (1..=128).map(|n| id(PIECE, 1_000 + n)).collect::<Vec<_>>(), "unexpected": pieces(32)});
    let members =
        json!({"stocktake": id(STOCKTAKE, 1), "number": MANY, "session": id(SESSION, 9), "pieces": pieces});
    vec![draft("stocktake.taken", members)]
}

fn stocktake() -> Draft {
    let members = json!({"stocktake": id(STOCKTAKE, 2), "number": MANY, "session": id(SESSION, 9)});
    draft("stocktake.taken", members)
}

fn counted(count: usize, kind: &'static str, member: &str, subjects: u8) -> Vec<Draft> {
    let each = |n| {
        let mut members = json!({"stocktake": id(STOCKTAKE, 2), "mass": MASS, "expected": MASS,
            "variance": format!("-{MASS}"), "uncertainty": MASS, "explained": false});
        members[member] = json!(id(subjects, n));
        draft(kind, members)
    };
    std::iter::once(stocktake())
        .chain((1..=count).map(each))
        .collect()
}

fn lot_found(count: usize) -> Vec<Draft> {
    let each = |n| {
        let members = json!({"lot": id(LOT, 100 + n), "number": MANY, "stocktake": id(STOCKTAKE, 2),
            "metal": "palladium", "fineness": FINENESS, "mass": MASS});
        draft("lot.found", members)
    };
    std::iter::once(stocktake())
        .chain((1..=count).map(each))
        .collect()
}

/// Pieces whose mould is named.
fn poured_in_a_mould(n: usize) -> Vec<Draft> {
    let poured = |n: usize| {
        json!({"piece": id(PIECE, n), "melt": id(MELT, 9), "pour": format!("{MANY}-{n:02}"),
            "series": id(SERIES, 9), "shape": "a_long_shape__01", "mould": "a_long_mould__01"})
    };
    (1..=n).map(|n| draft("piece.poured", poured(n))).collect()
}

/// An entry restated with 60 pieces that were poured, as long as any.
fn entry_corrected(n: usize) -> Vec<Draft> {
    let poured = |n: usize| {
        json!({"piece": id(PIECE, n), "melt": id(MELT, 9), "pour": format!("{MANY}-{n:02}"),
            "series": id(SERIES, 9), "shape": "a_long_shape__01"})
    };
    let events: Vec<Event> = (1..=n).map(|n| event("piece.poured", poured(n))).collect();
    let restated = Restated {
        index: 9_007_199_254_740_991,
        entry: "A".repeat(43),
        asked: true,
        events: events.into_iter().map(Told).collect(),
    };
    let corrected = EntryCorrected {
        entries: vec![restated],
        reason: CorrectionReason::RecordedTwice,
    };
    let private = Private::none().text("note", Some("An invented value: Möbius & Söhne, “Bay 3”"));
    vec![Draft {
        event: corrected.into(),
        private,
    }]
}
