//! Sales, and what becomes of sold pieces on their way.

use super::words::NOTE;
use crate::domain::{Event, Piece, PieceState as S, Sale, SaleId};
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::offered::{self, of_now};
use crate::http::workshop::{App, Form, Visit};
use crate::pages::workshop::{Field, FormSheet, Offer, Row, Rows, Taken, html};
use crate::writer::Recorded;
use serde_json::{Map, Value};

/// Where the money of a sale is spoken of.
const CAUTIONS: &[&str] = &[
    "VAT treatment, the rules of investment gold, distance-selling rights and cash limits depend on the day and the buyer. The book \
     keeps the price and decides none of that.",
];
const PIECES: Field = Field::ticked("pieces", "Pieces", "");
const ITEMS: Rows = Rows {
    id: Some("piece"),
    versioned: false,
    taken: Taken::Ticked,
    fields: &[Field::money("price", "Price", "Private.").optional()],
};

/// Pieces are sold to one buyer.
pub const SELL_PIECES: Form = Form {
    recording: &recordings::SELL_PIECES,
    sheet: FormSheet {
        title: "Sell",
        lead: "Certified pieces to one buyer, under an order or without one. A piece has one sale that stands, at most.",
        cautions: CAUTIONS,
        fields: &[
            Field::rows("items", "Pieces", "", ITEMS),
            Field::chosen(
                "order",
                "Under the order",
                "Leave it empty for a sale without one.",
            )
            .optional(),
            Field::text(
                "buyer",
                "To whom",
                "Private: shown to office and admin, and erasable.",
            )
            .optional(),
            Field::text("document", "Number of the invoice", "Private.").optional(),
            NOTE,
            Field::done_at(),
        ],
        submit: "Record the sale",
    },
    offer: for_sale,
    ask: None,
    then: to_recorded,
};

/// Pieces are not sold after all.
pub const CANCEL_SALE: Form = Form {
    recording: &recordings::CANCEL_SALE,
    sheet: FormSheet {
        title: "Not sold after all",
        lead: "Of pieces that the buyer never had. The sale stays in the book; these pieces are out of it, and for sale again.",
        cautions: &[],
        fields: &[PIECES, NOTE],
        submit: "Take them out of the sale",
    },
    offer: cancellable,
    ask: Some(sure_of_cancelling),
    then: to_sale,
};

/// Sold pieces are handed over.
pub const HAND_OVER_PIECES: Form = Form {
    recording: &recordings::HAND_OVER_PIECES,
    sheet: FormSheet {
        title: "Hand over",
        lead: "Into the buyer's hands.",
        cautions: &[],
        fields: &[PIECES, NOTE, Field::done_at()],
        submit: "Record it",
    },
    offer: sold,
    ask: None,
    then: to_sale,
};

/// Sold pieces are sent.
pub const DISPATCH_PIECES: Form = Form {
    recording: &recordings::DISPATCH_PIECES,
    sheet: FormSheet {
        title: "Send a parcel",
        lead: "What goes in one parcel. What it weighed sealed is your proof of what was in it.",
        cautions: &[],
        fields: &[
            PIECES,
            Field::text(
                "weight",
                "What the sealed parcel weighs",
                "Private. With its unit, like 412 g.",
            )
            .optional(),
            Field::text("seal", "Number of the seal", "Private.").optional(),
            Field::money(
                "insured",
                "Insured for",
                "Private. Is that enough at today's price?",
            )
            .optional(),
            Field::text("carrier", "Who carries it", "Private.").optional(),
            Field::text("tracking", "Number of the parcel", "Private.").optional(),
            NOTE,
            Field::done_at(),
        ],
        submit: "Record the parcel",
    },
    offer: sold,
    ask: None,
    then: to_sale,
};

/// Sent pieces arrived.
pub const DELIVER_PIECES: Form = Form {
    recording: &recordings::DELIVER_PIECES,
    sheet: FormSheet {
        title: "Arrived",
        lead: "The carrier says that they are with the buyer.",
        cautions: &[],
        fields: &[PIECES, NOTE, Field::done_at()],
        submit: "Record it",
    },
    offer: under_way,
    ask: None,
    then: to_sale,
};

/// Sent pieces are given up as lost.
pub const LOSE_PIECES: Form = Form {
    recording: &recordings::LOSE_PIECES,
    sheet: FormSheet {
        title: "Lost on the way",
        lead: "Given up as lost. Their pages warn whoever is offered one, and their numbers are burned.",
        cautions: &[],
        fields: &[PIECES, NOTE],
        submit: "Record them as lost",
    },
    offer: under_way,
    ask: Some(sure_of_loss),
    then: to_sale,
};

/// Sent pieces came back undelivered.
pub const SEND_BACK_PIECES: Form = Form {
    recording: &recordings::SEND_BACK_PIECES,
    sheet: FormSheet {
        title: "Came back undelivered",
        lead: "The parcel is here again; the sale stands.",
        cautions: &[],
        fields: &[PIECES, NOTE],
        submit: "Record it",
    },
    offer: under_way,
    ask: None,
    then: to_sale,
};

fn for_sale(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let order = visit.asked.parameters()?.take("order");
    let ready = |_: &_, piece: &Piece| matches!(piece.state, S::Certified | S::Reserved);
    let mut offer = offered::pieces(app, visit, "items", ready)?;
    offer
        .choices
        .push(("order", super::orders::open_orders(app, visit, None)?));
    offer
        .filled
        .extend(order.map(|order| ("order".to_owned(), order)));
    Ok(offer)
}

fn of_sale(app: &App, visit: &Visit, states: &[S], ticked: bool) -> Result<Offer, Problem> {
    let id = SaleId(visit.asked.id("sale")?);
    let one: Option<uuid::Uuid> = visit.asked.parameters()?.parse("piece", "an id")?;
    let found: Option<(Sale, Vec<Row>)> = of_now(app, |book| {
        let sale = book.sale(id)?.clone();
        let live = sale.pieces.iter().filter_map(|piece| book.piece(*piece));
        let there = live.filter(|piece| piece.sale == Some(id) && states.contains(&piece.state));
        let rows = there.map(|piece| offered::line(book, piece)).collect();
        Some((sale, rows))
    })?;
    let (sale, rows) = found.ok_or_else(|| Problem::not_found("there is no sale with that id"))?;
    let buyer = offered::said(app, visit, id.0, "buyer")?;
    let wanted = rows.iter().filter(|row| match one {
        Some(one) => one.to_string() == row.id,
        None => ticked,
    });
    Ok(Offer {
        about: Some(html! {
            p .about { strong { "Sale " (sale.number) } @if let Some(buyer) = buyer { " to " (buyer) } }
        }),
        filled: wanted.map(|row| ("pieces".to_owned(), row.id.clone())).collect(),
        rows: vec![("pieces", rows)],
        ..Offer::default()
    })
}

fn sold(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    of_sale(app, visit, &[S::Sold], true)
}

fn under_way(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    of_sale(app, visit, &[S::Dispatched], false)
}

fn cancellable(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    of_sale(app, visit, &[S::Sold, S::Lost, S::Stolen, S::Destroyed], false)
}

fn named_in(body: &Map<String, Value>) -> usize {
    body.get("pieces").and_then(Value::as_array).map_or(0, Vec::len)
}

fn sure_of_cancelling(_: &App, _: &Visit, body: &Map<String, Value>) -> Result<Option<String>, Problem> {
    let count = named_in(body);
    let words = crate::pages::workshop::office::counted(count, "piece");
    Ok((count > 0)
        .then(|| format!("{words} will be out of this sale for good. Has the buyer never had them?")))
}

fn sure_of_loss(_: &App, _: &Visit, body: &Map<String, Value>) -> Result<Option<String>, Problem> {
    let count = named_in(body);
    let words = crate::pages::workshop::office::counted(count, "piece");
    Ok((count > 0)
        .then(|| format!("{words} will be shown to everybody as lost. Has the carrier given them up?")))
}

fn to_recorded(_: &App, _: &Visit, recorded: &Recorded) -> String {
    let sale = recorded.events.iter().find_map(|event| match event {
        Event::SaleMade(e) => Some(e.sale),
        _ => None,
    });
    sale.map_or_else(|| "/office/stock".to_owned(), |sale| format!("/sales/{sale}"))
}

fn to_sale(_: &App, visit: &Visit, _: &Recorded) -> String {
    format!("/sales/{}", visit.asked.member("sale"))
}
