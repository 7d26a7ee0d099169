//! Orders and what is kept for them.

use super::words::NOTE;
use crate::domain::{Event, Order, OrderId, OrderState, PieceId, ShapeCount};
use crate::http::problem::Problem;
use crate::http::routes::recordings;
use crate::http::workshop::offered::{self, of_now};
use crate::http::workshop::{App, Form, Visit, named};
use crate::pages::workshop::{Choice, Field, FormSheet, Offer, Rows, Taken, html};
use crate::writer::Recorded;
use serde_json::{Map, Value};
use std::collections::BTreeSet;

const COUNTS: Rows = Rows {
    id: None,
    versioned: false,
    taken: Taken::Blank(4),
    fields: &[
        Field::chosen("shape", "Shape", "").optional(),
        Field::whole("count", "How many", "").optional(),
    ],
};

/// Pieces of an edition are promised.
pub const RECORD_ORDER: Form = Form {
    recording: &recordings::RECORD_ORDER,
    sheet: FormSheet {
        title: "An order",
        lead: "So many of each shape are promised to somebody, ahead of their pour if need be. No more is promised than can be had, and \
               who came first is served first. A deposit is no sale.",
        cautions: &[],
        fields: &[
            Field::chosen("series", "Edition", ""),
            Field::rows("shapes", "What is promised", "", COUNTS),
            Field::text(
                "buyer",
                "To whom",
                "Private: shown to office and admin, and erasable.",
            )
            .optional(),
            NOTE,
            Field::done_at(),
        ],
        submit: "Record the order",
    },
    offer: editions,
    ask: None,
    then: to_recorded,
};

/// An order is given up.
pub const CANCEL_ORDER: Form = Form {
    recording: &recordings::CANCEL_ORDER,
    sheet: FormSheet {
        title: "An order is given up",
        lead: "As far as it is not supplied: what was kept for it is free again.",
        cautions: &[],
        fields: &[NOTE],
        submit: "Give the order up",
    },
    offer: one,
    ask: Some(sure),
    then: to_order,
};

/// A certified piece is kept for somebody.
pub const RESERVE_PIECE: Form = Form {
    recording: &recordings::RESERVE_PIECE,
    sheet: FormSheet {
        title: "Keep a piece for somebody",
        lead: "For an order in its turn, or for somebody without one.",
        cautions: &[],
        fields: &[
            Field::chosen(
                "order",
                "For the order",
                "Leave it empty for somebody without one.",
            )
            .optional(),
            Field::text("buyer", "For whom", "Private.").optional(),
            NOTE,
        ],
        submit: "Keep it",
    },
    offer: keeping,
    ask: None,
    then: super::to_piece,
};

/// A reservation is given up.
pub const RELEASE_PIECE: Form = Form {
    recording: &recordings::RELEASE_PIECE,
    sheet: FormSheet {
        title: "Keep it no longer",
        lead: "The piece is for sale again.",
        cautions: &[],
        fields: &[NOTE],
        submit: "Set it free",
    },
    offer: super::of_piece,
    ask: None,
    then: super::to_piece,
};

fn editions(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let wanted = visit.asked.parameters()?.take("series");
    let shapes = of_now(app, |book| {
        let running = book
            .all_series()
            .filter(|series| offered::is_running_edition(series));
        let of_one = running.filter(|series| {
            wanted
                .as_ref()
                .is_none_or(|wanted| *wanted == series.series.to_string())
        });
        let names = of_one.flat_map(|series| series.shapes.iter().map(|size| size.shape.to_string()));
        names.collect::<BTreeSet<String>>()
    })?;
    let shape = |value: String| Choice {
        words: value.replace('_', " "),
        value,
    };
    Ok(Offer {
        choices: vec![
            ("series", offered::series(app, offered::is_running_edition)?),
            ("shape", shapes.into_iter().map(shape).collect()),
        ],
        filled: wanted
            .map(|series| ("series".to_owned(), series))
            .into_iter()
            .collect(),
        ..Offer::default()
    })
}

/// The page of the order that was just recorded.
fn to_recorded(_: &App, _: &Visit, recorded: &Recorded) -> String {
    let order = recorded.events.iter().find_map(|event| match event {
        Event::OrderRecorded(e) => Some(e.order),
        _ => None,
    });
    order.map_or_else(|| "/office/orders".to_owned(), |order| format!("/orders/{order}"))
}

/// The page of the order that the path names.
fn to_order(_: &App, visit: &Visit, _: &Recorded) -> String {
    format!("/orders/{}", visit.asked.member("order"))
}

/// Counts of shapes in words.
#[must_use]
pub fn counted(shapes: &[ShapeCount]) -> String {
    let counts = shapes
        .iter()
        .map(|shape| format!("{} {}", shape.count, shape.shape.as_str().replace('_', " ")));
    counts.collect::<Vec<String>>().join(", ")
}

fn order(app: &App, visit: &Visit) -> Result<Order, Problem> {
    let id = OrderId(visit.asked.id("order")?);
    let row = of_now(app, |book| book.order(id).cloned())?;
    row.ok_or_else(|| Problem::not_found("there is no order with that id"))
}

fn one(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let row = order(app, visit)?;
    Ok(Offer {
        about: Some(html! { p .about { strong { "Order " (row.number) ": " (counted(&row.shapes)) } } }),
        ..Offer::default()
    })
}

fn sure(app: &App, visit: &Visit, _: &Map<String, Value>) -> Result<Option<String>, Problem> {
    let row = order(app, visit)?;
    Ok(Some(format!(
        "Order {} loses its turn and all that is kept for it. Give it up?",
        row.number
    )))
}

/// Open orders that may get a piece.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn open_orders(app: &App, visit: &Visit, piece: Option<PieceId>) -> Result<Vec<Choice>, Problem> {
    let mut open: Vec<Order> = of_now(app, |book| {
        let piece = piece.and_then(|id| book.piece(id));
        let fits = |order: &&Order| {
            piece.is_none_or(|piece| piece.series == order.series && order.lacks(&piece.shape) > 0)
        };
        let open = book.orders().filter(|order| order.state == OrderState::Open);
        open.filter(fits).cloned().collect()
    })?;
    open.sort_by_key(|order| order.number);
    let choice = |order: &Order| {
        let buyer = offered::said(app, visit, order.order.0, "buyer")?;
        let buyer = buyer.map(|buyer| format!(", {buyer}")).unwrap_or_default();
        let code = named::of(app, order.series.0).unwrap_or_default();
        Ok(Choice {
            value: order.order.to_string(),
            words: format!(
                "Order {}{buyer}: {} of {code}",
                order.number,
                counted(&order.shapes)
            ),
        })
    };
    open.iter().map(choice).collect()
}

fn keeping(app: &App, visit: &Visit) -> Result<Offer, Problem> {
    let piece = PieceId(visit.asked.id("piece")?);
    Ok(Offer {
        choices: vec![("order", open_orders(app, visit, Some(piece))?)],
        ..super::of_piece(app, visit)?
    })
}
