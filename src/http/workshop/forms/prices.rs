//! Prices: a spot price that was read, a quotation that rests on it, and what others charged for work.

use super::words::{NOTE, PRECIOUS};
use crate::domain::{Charge, Event, Piece, PieceId, PieceState as S, Spot, SpotId};
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::offered::{self, of_now};
use crate::http::workshop::{App, Form, Visit, named};
use crate::metal::Metal;
use crate::pages::workshop::{Choice, Field, FormSheet, Offer};
use crate::writer::Recorded;
use std::cmp::Reverse;
use uuid::Uuid;

/// How many spot prices, pieces, consignments or sales a form offers, the newest first.
const OFFERED_MOST: usize = 60;
const WEIGHTS: &[(&str, &str)] = &[
    ("ozt-0.001", "By the troy ounce, down to 0.001 (silver)"),
    ("ozt-0.0001", "By the troy ounce, down to 0.0001"),
    ("gram", "By the gram, as weighed"),
];
const TREATMENTS: &[(&str, &str)] = &[
    ("standard", "Standard rate"),
    ("investment_gold", "Investment gold, exempt"),
    ("not_registered", "The workshop is not registered"),
];
/// Where tax is spoken of.
const CAUTIONS: &[&str] = &[
    "Which VAT treatment a supply has is a question of law: decide it with licensed advice. The book carries the rate of the day and \
     decides nothing.",
];

/// A spot price is noted.
pub const RECORD_SPOT: Form = Form {
    recording: &recordings::RECORD_SPOT,
    sheet: FormSheet::plain(
        "A spot price",
        "Of a troy ounce, as you read it somewhere. Stock is valued at the newest, and quotations rest on one.",
        &[
            Field::choice("metal", "Metal", "", PRECIOUS),
            Field::money("price", "Price of a troy ounce", "Not of a gram."),
            Field::moment("priced_at", "When it was the price", ""),
            Field::text("source", "Where you read it", "Private.").optional(),
            NOTE,
        ],
        "Note the price",
    ),
    offer: now,
    ask: None,
    then: to_stock_value,
};

/// A price is quoted.
pub const MAKE_QUOTE: Form = Form {
    recording: &recordings::MAKE_QUOTE,
    sheet: FormSheet {
        title: "A quotation",
        lead: "For a piece by its last weighing, or for so much metal. All that the price is made from is kept with it, so that it can \
               be reckoned again.",
        cautions: CAUTIONS,
        fields: &[
            Field::chosen("spot", "Spot price", "If none stands here, note one first."),
            Field::chosen(
                "of/piece",
                "For the piece",
                "Leave it empty to quote for metal by weight.",
            )
            .optional(),
            Field::mass("of/mass", "Else: how much metal", "").optional(),
            Field::decimal("of/fineness", "Else: of which fineness", "‰", "").optional(),
            Field::tick(
                "by_fine_weight",
                "Only the fine metal is priced",
                "Not ticked: the whole weight is.",
            ),
            Field::decimal(
                "premium_percent",
                "On top of spot",
                "%",
                "Private. Below zero for metal that you buy.",
            ),
            Field::money("fees", "Fees on top", "Private.").optional(),
            Field::choice("weight", "How the weight is priced", "Private.", WEIGHTS),
            Field::choice("vat", "VAT treatment", "Private.", TREATMENTS),
            Field::text(
                "buyer",
                "For whom",
                "Private: shown to office and admin, and erasable.",
            )
            .optional(),
            NOTE,
        ],
        submit: "Record the quotation",
    },
    offer: quotable,
    ask: None,
    then: to_quote,
};

/// Somebody charged for work.
pub const RECORD_CHARGE: Form = Form {
    recording: &recordings::RECORD_CHARGE,
    sheet: FormSheet::plain(
        "A bill",
        "What the assay office charged for a consignment, the cutter for a die, the carrier for a sale: for one of them. What a piece \
         really cost is known once each was recorded.",
        &[
            Field::chosen("consignment", "For the consignment", "").optional(),
            Field::chosen("die", "Or for the die", "").optional(),
            Field::chosen("sale", "Or for the sale", "").optional(),
            Field::money(
                "amount",
                "What was charged",
                "Private. Without tax that you can claim back; 0 for what was free.",
            ),
            Field::text("document", "Number of the bill", "Private.").optional(),
            NOTE,
        ],
        "Record the bill",
    ),
    offer: charged,
    ask: None,
    then: to_charged,
};

fn now(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let metal = visit.asked.parameters()?.take("metal");
    let moment = app.settings.workshop.zone.typed((app.clock)());
    let mut filled = vec![("priced_at".to_owned(), moment)];
    filled.extend(metal.map(|metal| ("metal".to_owned(), metal)));
    Ok(Offer {
        filled,
        ..Offer::default()
    })
}

fn quotable(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let one: Option<Uuid> = visit.asked.parameters()?.parse("piece", "an id")?;
    let (spots, pieces, metal) = of_now(app, |book| {
        let mut spots: Vec<Spot> = book.spots().cloned().collect();
        spots.sort_by_key(|spot| Reverse((spot.priced_at, spot.since)));
        let named = one.map(PieceId);
        let wanted = |piece: &&Piece| {
            named == Some(piece.piece) || matches!(piece.state, S::Certified | S::Reserved | S::Spare)
        };
        let mut pieces = offered::sorted(book, book.pieces().filter(wanted));
        pieces.sort_by_key(|piece| named != Some(piece.piece));
        let choice = |piece: &&Piece| Choice {
            value: piece.piece.to_string(),
            words: format!("{}, {}", named::piece(piece), offered::more_of(book, piece)),
        };
        let metal = named.and_then(|id| book.series(book.piece(id)?.series));
        let metal = metal.map(|series| series.metal);
        let pieces: Vec<Choice> = pieces.iter().take(OFFERED_MOST).map(choice).collect();
        (spots, pieces, metal)
    })?;
    let zone = app.settings.workshop.zone;
    let choice = |spot: &Spot| Choice {
        value: spot.spot.to_string(),
        words: format!(
            "{}, {}, {}",
            spot.metal,
            spot.price,
            zone.in_words(spot.priced_at)
        ),
    };
    let fits = |spot: &&Spot| metal.is_none_or(|metal: Metal| spot.metal == metal);
    let mut filled: Vec<(String, String)> = one
        .map(|piece| ("of/piece".to_owned(), piece.to_string()))
        .into_iter()
        .collect();
    let newest: Option<SpotId> = spots.iter().find(fits).map(|spot| spot.spot);
    filled.extend(newest.map(|spot| ("spot".to_owned(), spot.to_string())));
    Ok(Offer {
        choices: vec![
            (
                "spot",
                spots.iter().filter(fits).take(OFFERED_MOST).map(choice).collect(),
            ),
            ("of/piece", pieces),
        ],
        filled,
        ..Offer::default()
    })
}

fn charged(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let mut query = visit.asked.parameters()?;
    let members = ["consignment", "die", "sale"];
    let filled = members.iter().filter_map(|member| {
        let asked = query.take(member)?;
        Some(((*member).to_owned(), asked))
    });
    let filled = filled.collect();
    let (consignments, sales, dies) = of_now(app, |book| {
        let consignments = book.consignments().map(|row| (row.number, row.consignment.0));
        let sales = book.sales().map(|row| (row.number, row.sale.0));
        let mut dies: Vec<_> = book.dies().cloned().collect();
        dies.sort_by_key(|die| Reverse(die.since));
        (newest(consignments), newest(sales), dies)
    })?;
    let numbered = |what: &str, rows: Vec<(u32, Uuid)>| -> Vec<Choice> {
        let choice = |(number, id): (u32, Uuid)| Choice {
            value: id.to_string(),
            words: format!("{what} {number}"),
        };
        rows.into_iter().map(choice).collect()
    };
    let mut of_dies = Vec::new();
    for die in &dies {
        of_dies.push(Choice {
            value: die.die.to_string(),
            words: offered::die(app, visit, die)?,
        });
    }
    Ok(Offer {
        choices: vec![
            ("consignment", numbered("Consignment", consignments)),
            ("die", of_dies),
            ("sale", numbered("Sale", sales)),
        ],
        filled,
        ..Offer::default()
    })
}

/// The newest of what is numbered.
fn newest(rows: impl Iterator<Item = (u32, Uuid)>) -> Vec<(u32, Uuid)> {
    let mut rows: Vec<(u32, Uuid)> = rows.collect();
    rows.sort_unstable_by_key(|row| Reverse(*row));
    rows.truncate(OFFERED_MOST);
    rows
}

fn to_stock_value(_: &App, _: &Visit, _: &Recorded) -> String {
    "/metal/stock".to_owned()
}

fn to_quote(_: &App, _: &Visit, recorded: &Recorded) -> String {
    let quote = recorded.events.iter().find_map(|event| match event {
        Event::QuoteMade(e) => Some(e.quote),
        _ => None,
    });
    quote.map_or_else(|| "/quotes".to_owned(), |quote| format!("/quotes/{quote}"))
}

/// The page of what was charged for.
fn to_charged(_: &App, _: &Visit, recorded: &Recorded) -> String {
    let place = recorded.events.iter().find_map(|event| match event {
        Event::ChargeRecorded(e) => [
            e.consignment.map(|id| format!("/consignments/{id}")),
            e.sale.map(|id| format!("/sales/{id}")),
        ]
        .into_iter()
        .flatten()
        .next(),
        _ => None,
    });
    place.unwrap_or_else(|| "/office/setup".to_owned())
}

/// Whether a charge is for a thing.
#[must_use]
pub fn is_for(charge: &Charge, id: Uuid) -> bool {
    let things = [
        charge.consignment.map(|id| id.0),
        charge.die.map(|id| id.0),
        charge.sale.map(|id| id.0),
    ];
    things.contains(&Some(id))
}
