//! An entry of every kind of a piece's life after it is graded, for the golden files. It is about form, as all samples.

use super::{JAR, LOT, MELT, PIECE, SERIES, SESSION, Workshop, draft, id};
use pourbook::domain::Draft;
use serde_json::json;

const DIE: u8 = 0xd1;
const CONSIGNMENT: u8 = 0xc0;
const ORDER: u8 = 0x0d;
const SALE: u8 = 0x5a;
const OWNER: u8 = 0x0a;
const REFINING: u8 = 0xf1;

pub(super) fn life(w: &mut Workshop) {
    w.one(
        "die.registered",
        json!({"die": id(DIE, 1), "owner": "commissioner", "series": id(SERIES, 1)}),
    );
    w.one(
        "piece.struck",
        json!({"piece": id(PIECE, 1), "die": id(DIE, 1), "outcome": "good"}),
    );
    w.one("piece.archived", json!({"piece": id(PIECE, 4)}));
    w.one(
        "die.disposed",
        json!({"die": id(DIE, 1), "how": "returned", "strikes": 25}),
    );
    w.one("series.closed", json!({"series": id(SERIES, 1), "shapes": [{"shape": "oval", "size": 12, "given": 12, "burned": [3]}, {"shape": "slab", "size": 12, "given": 11, "burned": []}], "dies": [id(DIE, 1)]}));
    w.one("consignment.sent", json!({"consignment": id(CONSIGNMENT, 1), "number": 1, "fineness": "999.0", "marks": ["sponsor", "fineness", "office", "date_letter"], "pieces": [{"piece": id(PIECE, 1), "mass": "50.42"}, {"piece": id(PIECE, 2), "mass": "50.61"}], "mass": "101.03"}));
    w.one(
        "piece.consigned",
        json!({"piece": id(PIECE, 1), "consignment": id(CONSIGNMENT, 1)}),
    );
    w.one("consignment.returned", json!({"consignment": id(CONSIGNMENT, 1), "sent": 4, "marked": 1, "unmarked": 1, "kept": 1, "missing": 1}));
    w.one("piece.hallmarked", json!({"piece": id(PIECE, 1), "consignment": id(CONSIGNMENT, 1), "hallmark": {"fineness": "999.0", "marks": [{"mark": "sponsor", "legible": true}, {"mark": "fineness", "legible": true}, {"mark": "office", "legible": false}]}}));
    w.one("piece.unmarked", json!({"piece": id(PIECE, 2), "consignment": id(CONSIGNMENT, 1), "reason": "below_standard", "assay": "996.0"}));
    w.one(
        "piece.kept",
        json!({"piece": id(PIECE, 3), "consignment": id(CONSIGNMENT, 1), "how": "cut", "assay": "999.2"}),
    );
    w.one(
        "piece.missing",
        json!({"piece": id(PIECE, 5), "consignment": id(CONSIGNMENT, 1)}),
    );
    w.one("piece.spared", json!({"piece": id(PIECE, 6)}));
    w.one("order.recorded", json!({"order": id(ORDER, 1), "number": 1, "series": id(SERIES, 1), "shapes": [{"shape": "oval", "count": 2}]}));
    w.one("order.cancelled", json!({"order": id(ORDER, 1)}));
    w.one(
        "piece.reserved",
        json!({"piece": id(PIECE, 1), "order": id(ORDER, 1)}),
    );
    w.one("piece.released", json!({"piece": id(PIECE, 1)}));
    w.one("sale.made", json!({"sale": id(SALE, 1), "number": 1, "pieces": [id(PIECE, 1), id(PIECE, 6)], "order": id(ORDER, 1)}));
    w.one("piece.sold", json!({"piece": id(PIECE, 1), "sale": id(SALE, 1)}));
    w.one(
        "piece.unsold",
        json!({"piece": id(PIECE, 6), "sale": id(SALE, 1)}),
    );
    w.one(
        "sale.dispatched",
        json!({"sale": id(SALE, 1), "pieces": [id(PIECE, 1)]}),
    );
    w.one(
        "piece.dispatched",
        json!({"piece": id(PIECE, 1), "sale": id(SALE, 1)}),
    );
    w.one(
        "piece.handed_over",
        json!({"piece": id(PIECE, 7), "sale": id(SALE, 2)}),
    );
    w.one(
        "piece.delivered",
        json!({"piece": id(PIECE, 1), "sale": id(SALE, 1)}),
    );
    w.one("piece.lost", json!({"piece": id(PIECE, 8), "sale": id(SALE, 1)}));
    w.one("piece.found", json!({"piece": id(PIECE, 8)}));
    w.one(
        "piece.sent_back",
        json!({"piece": id(PIECE, 8), "sale": id(SALE, 1)}),
    );
    w.one(
        "piece.returned",
        json!({"piece": id(PIECE, 1), "sale": id(SALE, 1)}),
    );
    w.one("piece.restocked", json!({"piece": id(PIECE, 1)}));
    w.one("piece.bought_back", json!({"piece": id(PIECE, 7), "session": id(SESSION, 1), "mass": "50.40", "before": "50.42", "difference": "0.02", "explained": true}));
    w.one("piece.stolen", json!({"piece": id(PIECE, 7)}));
    w.one("piece.recovered", json!({"piece": id(PIECE, 7)}));
    w.one("piece.destroyed", json!({"piece": id(PIECE, 7)}));
    w.one("owner.registered", json!({"owner": id(OWNER, 1)}));
    w.one("owner.agreed", json!({"owner": id(OWNER, 1)}));
    w.one(
        "jar.swept",
        json!({"jar": id(JAR, 2), "session": id(SESSION, 1), "mass": "240.5"}),
    );
    w.one("refining.sent", json!({"refining": id(REFINING, 1), "number": 1, "metal": "silver", "session": id(SESSION, 1), "jars": [{"jar": id(JAR, 1), "mass": "12.30", "holds": [{"melt": id(MELT, 1), "mass": "12.35"}]}], "pieces": [{"piece": id(PIECE, 9), "mass": "49.10"}], "mass": "61.40"}));
    w.one(
        "jar.emptied",
        json!({"jar": id(JAR, 1), "refining": id(REFINING, 1)}),
    );
    w.one(
        "piece.refined",
        json!({"piece": id(PIECE, 9), "refining": id(REFINING, 1)}),
    );
    w.one("refining.returned", json!({"refining": id(REFINING, 1), "sent": "61.40", "outturn": id(LOT, 70), "returned": "50.10", "settled": {"mass": "11.00", "fineness": "999.0"}, "loss": "0.30"}));
    w.one("lot.outturned", json!({"lot": id(LOT, 70), "number": 5, "refining": id(REFINING, 1), "metal": "silver", "fineness": "999.9", "session": id(SESSION, 1), "mass": "50.10"}));
    longest(w);
}

/// The kinds of command that name many pieces, each with as many as fit.
fn longest(w: &mut Workshop) {
    w.longest("piece.struck", |n| {
        many(n, |n| {
            draft(
                "piece.struck",
                json!({"piece": id(PIECE, n), "die": id(DIE, 1), "outcome": "off_centre"}),
            )
        })
    });
    w.longest("consignment.sent", |n| {
        let pieces: Vec<_> = (1..n)
            .map(|n| json!({"piece": id(PIECE, n), "mass": "50.42"}))
            .collect();
        let marks = [
            "sponsor",
            "fineness",
            "office",
            "date_letter",
            "commemorative",
            "other",
        ];
        let sent = draft(
            "consignment.sent",
            json!({"consignment": id(CONSIGNMENT, 2), "number": 2, "fineness": "999.0",
            "marks": marks, "pieces": pieces, "mass": "3176.46"}),
        );
        let consigned = |n| {
            draft(
                "piece.consigned",
                json!({"piece": id(PIECE, n), "consignment": id(CONSIGNMENT, 2)}),
            )
        };
        std::iter::once(sent).chain((1..n).map(consigned)).collect()
    });
    w.longest("consignment.returned", |n| {
        let returned = draft(
            "consignment.returned",
            json!({"consignment": id(CONSIGNMENT, 2), "sent": n, "marked": n,
            "unmarked": 0, "kept": 0, "missing": 0}),
        );
        let seen = |mark: &str| json!({"mark": mark, "legible": false});
        let marks = [
            "sponsor",
            "fineness",
            "office",
            "date_letter",
            "commemorative",
            "other",
        ]
        .map(seen);
        let marked = |n| {
            draft(
                "piece.hallmarked",
                json!({"piece": id(PIECE, n), "consignment": id(CONSIGNMENT, 2),
            "hallmark": {"fineness": "999.0", "marks": marks}}),
            )
        };
        std::iter::once(returned).chain((1..n).map(marked)).collect()
    });
    w.longest("sale.made", |n| {
        let pieces: Vec<_> = (1..n).map(|n| id(PIECE, n)).collect();
        let made = draft(
            "sale.made",
            json!({"sale": id(SALE, 3), "number": 3, "pieces": pieces}),
        );
        let sold = |n| draft("piece.sold", json!({"piece": id(PIECE, n), "sale": id(SALE, 3)}));
        std::iter::once(made).chain((1..n).map(sold)).collect()
    });
}

fn many(count: usize, make: impl Fn(usize) -> Draft) -> Vec<Draft> {
    (1..=count).map(make).collect()
}
