//! Orders and sales: what is promised to whom, what is sold and has to go out, what is on its way.

use super::super::forms::orders::counted as shapes;
use super::super::names::money_words;
use super::super::offered::{self, of_now, said};
use super::super::{App, Seen, Visit, named};
use super::{days_ago, fact, prices, shown};
use crate::domain::{Book, Event, Order, OrderId, OrderState, Piece, PieceState as S, Sale, SaleId};
use crate::http::private;
use crate::http::problem::Problem;
use crate::pages::workshop::html;
use crate::pages::workshop::office::{Line, Office, Section, Way, counted};
use serde_json::Value;
use std::collections::BTreeMap;

/// A sale with the states of its pieces that are still in it.
type Live = (Sale, Vec<S>);

/// `GET /office/orders`.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn orders(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let (open, sales) = of_now(app, |book| (open_orders(book), live_sales(book)))?;
    let (open, unshown_orders) = shown(open);
    let orders = open
        .iter()
        .map(|order| order_line(app, visit, order))
        .collect::<Result<Vec<Line>, Problem>>()?;
    let with = |state: S| sales.iter().filter(move |(_, states)| states.contains(&state));
    let lines = |sales: Vec<&Live>| {
        let (sales, unshown) = shown(sales);
        let lines = sales.into_iter().map(|live| sale_line(app, visit, live));
        Ok::<_, Problem>((lines.collect::<Result<Vec<Line>, Problem>>()?, unshown))
    };
    let (waiting, unshown_waiting) = lines(with(S::Sold).collect())?;
    let (sent, unshown_sent) = lines(with(S::Dispatched).collect())?;
    let (done, unshown_done) = lines(with(S::Delivered).rev().collect())?;
    let page = Office {
        title: "Orders and sales".to_owned(),
        ways: vec![
            Way::new("Record an order", "/orders/new"),
            Way::new("Sell", "/sales/new"),
            Way::new("Quote a price", "/quotes/new"),
        ],
        sections: vec![
            Section {
                title: "Promised".to_owned(),
                help: "Who came first is served first.",
                lines: orders,
                unshown: unshown_orders,
                none: "Nothing is promised.",
                ..Section::default()
            },
            Section {
                title: "Sold, and still here".to_owned(),
                lines: waiting,
                unshown: unshown_waiting,
                none: "Nothing waits to go out.",
                ..Section::default()
            },
            Section {
                title: "On their way".to_owned(),
                lines: sent,
                unshown: unshown_sent,
                none: "Nothing is on its way.",
                ..Section::default()
            },
            Section {
                title: "With their buyers".to_owned(),
                lines: done,
                unshown: unshown_done,
                ..Section::default()
            },
        ],
        ..Office::default()
    };
    Ok(super::page(visit, page, "/office/orders").into())
}

fn open_orders(book: &Book) -> Vec<Order> {
    let open = book.orders().filter(|order| order.state == OrderState::Open);
    let mut open: Vec<Order> = open.cloned().collect();
    open.sort_by_key(|order| order.number);
    open
}

fn live_sales(book: &Book) -> Vec<Live> {
    let mut states: BTreeMap<SaleId, Vec<S>> = BTreeMap::new();
    for piece in book.pieces() {
        if let Some(sale) = piece.sale {
            states.entry(sale).or_default().push(piece.state);
        }
    }
    let live = states
        .into_iter()
        .filter_map(|(id, states)| Some((book.sale(id)?.clone(), states)));
    let mut live: Vec<Live> = live.collect();
    live.sort_by_key(|(sale, _)| sale.number);
    live
}

fn order_line(app: &App, visit: &Visit, order: &Order) -> Result<Line, Problem> {
    let id = order.order;
    let buyer = said(app, visit, id.0, "buyer")?
        .map(|buyer| format!(" for {buyer}"))
        .unwrap_or_default();
    let code = named::of(app, order.series.0).unwrap_or_default();
    Ok(Line {
        words: format!("Order {}{buyer}", order.number),
        path: Some(format!("/orders/{id}")),
        more: format!("{} of {code}; {}", shapes(&order.shapes), supplied(order)),
        ways: vec![
            Way::new(
                "Sell under it",
                format!("/sales/new?order={id}&series={}", order.series),
            ),
            Way::new("Give it up", format!("/orders/{id}/cancellation")),
        ],
    })
}

fn supplied(order: &Order) -> String {
    let sum = |counts: &[u32]| counts.iter().copied().fold(0_u32, u32::saturating_add);
    format!("{} kept for it, {} sold", sum(&order.reserved), sum(&order.sold))
}

fn sale_line(app: &App, visit: &Visit, (sale, states): &Live) -> Result<Line, Problem> {
    let id = sale.sale;
    let buyer = said(app, visit, id.0, "buyer")?
        .map(|buyer| format!(" to {buyer}"))
        .unwrap_or_default();
    let has = |state: S| states.contains(&state);
    let mut ways = Vec::new();
    if has(S::Sold) {
        ways.push(Way::new("Hand over", format!("/sales/{id}/handovers")));
        ways.push(Way::new("Send", format!("/sales/{id}/dispatches")));
    }
    if has(S::Dispatched) {
        ways.push(Way::new("Arrived", format!("/sales/{id}/deliveries")));
    }
    Ok(Line {
        words: format!("Sale {}{buyer}", sale.number),
        path: Some(format!("/sales/{id}")),
        more: format!(
            "{}, made {}",
            counted(states.len(), "piece"),
            days_ago(app, sale.at)
        ),
        ways,
    })
}

/// `GET /orders/{order}`.
///
/// # Errors
/// 404 for an order that is not there.
pub fn order(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let id = OrderId(visit.asked.id("order")?);
    let found = of_now(app, |book| {
        let row = book.order(id)?.clone();
        let pieces = offered::sorted(book, book.pieces().filter(|piece| piece.order == Some(id)));
        let lines: Vec<Line> = pieces.into_iter().map(|piece| piece_line(book, piece)).collect();
        Some((row, lines))
    })?;
    let (row, lines) = found.ok_or_else(|| Problem::not_found("there is no order with that id"))?;
    let code = named::of(app, row.series.0).unwrap_or_default();
    let mut facts = vec![
        ("Promised", html! { (shapes(&row.shapes)) " of " (code) }),
        ("Supplied", html! { (supplied(&row)) ", " (row.state.word()) }),
        (
            "Recorded",
            html! { (app.settings.workshop.zone.in_words(row.at)) ", entry " a href=(format!("/entries/{}", row.since)) { (row.since) } },
        ),
    ];
    for (member, word) in [("buyer", "To whom"), ("note", "Note")] {
        facts.extend(fact(app, visit, id.0, member, word)?);
    }
    let mut ways = Vec::new();
    if row.state == OrderState::Open {
        ways.push(Way::new(
            "Sell under it",
            format!("/sales/new?order={id}&series={}", row.series),
        ));
        ways.push(Way::new("Give it up", format!("/orders/{id}/cancellation")));
    }
    let page = Office {
        title: format!("Order {}", row.number),
        facts,
        ways,
        sections: vec![Section {
            title: "Kept for it or sold under it".to_owned(),
            lines,
            none: "None yet.",
            ..Section::default()
        }],
        ..Office::default()
    };
    Ok(super::page(visit, page, "").into())
}

fn piece_line(book: &Book, piece: &Piece) -> Line {
    Line {
        words: named::piece(piece),
        path: Some(format!("/pieces/{}", piece.piece)),
        more: format!(
            "{}, {}",
            offered::more_of(book, piece),
            piece.state.word().replace('_', " ")
        ),
        ways: Vec::new(),
    }
}

/// `GET /sales/{sale}`.
///
/// # Errors
/// 404 for a sale that is not there.
pub fn sale(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let id = SaleId(visit.asked.id("sale")?);
    let found = of_now(app, |book| {
        let row = book.sale(id)?.clone();
        let pieces: Vec<Piece> = row
            .pieces
            .iter()
            .filter_map(|piece| book.piece(*piece))
            .cloned()
            .collect();
        let lines: Vec<Line> = pieces.iter().map(|piece| sold_line(book, id, piece)).collect();
        let live: Vec<S> = pieces
            .iter()
            .filter(|piece| piece.sale == Some(id))
            .map(|piece| piece.state)
            .collect();
        Some((row, lines, live))
    })?;
    let (row, lines, live) = found.ok_or_else(|| Problem::not_found("there is no sale with that id"))?;
    let mut facts = vec![(
        "Made",
        html! { (app.settings.workshop.zone.in_words(row.at)) ", entry " a href=(format!("/entries/{}", row.since)) { (row.since) } },
    )];
    if let Some(order) = row.order {
        let name = named::of(app, order.0).unwrap_or_default();
        facts.push((
            "Under the order",
            html! { a href=(format!("/orders/{order}")) { "Order " (name) } },
        ));
    }
    let private = private::of_subject(app, id.0, Some(visit.role()))?;
    for (member, word) in FACTS {
        facts.extend(told(private.get(*member)).map(|text| (*word, html! { (text) })));
    }
    let priced = with_prices(app, visit, row.since, lines)?;
    let page = Office {
        title: format!("Sale {}", row.number),
        facts,
        ways: sale_ways(id, &live),
        sections: vec![
            Section {
                title: "Pieces".to_owned(),
                lines: priced,
                ..Section::default()
            },
            prices::charged(app, visit, ("sale", id.0))?,
        ],
        ..Office::default()
    };
    Ok(super::page(visit, page, "").into())
}

/// What each piece was sold for, as the entry of the sale has it for who may see money.
fn with_prices(app: &App, visit: &Visit, index: u64, mut lines: Vec<Line>) -> Result<Vec<Line>, Problem> {
    let entry = app.entry(index)?;
    for (place, event) in entry.events().enumerate() {
        let Event::PieceSold(sold) = event else { continue };
        let shown = private::of_event(app, index, place, &entry, Some(visit.role()))?;
        let path = format!("/pieces/{}", sold.piece);
        let line = lines.iter_mut().find(|line| line.path.as_ref() == Some(&path));
        if let (Some(line), Some(price)) = (line, shown.get("price").and_then(money_words)) {
            line.more.push_str(&format!(", for {price}"));
        }
    }
    Ok(lines)
}

/// What is private of a sale and of its newest parcel.
const FACTS: &[(&str, &str)] = &[
    ("buyer", "To whom"),
    ("document", "Invoice"),
    ("weight", "Sealed parcel weighed"),
    ("seal", "Seal"),
    ("insured", "Insured for"),
    ("carrier", "Carrier"),
    ("tracking", "Parcel"),
    ("note", "Note"),
];

/// A private value in words.
fn told(value: Option<&Value>) -> Option<String> {
    match value? {
        Value::String(text) => Some(text.clone()),
        Value::Null => Some("erased".to_owned()),
        money => money_words(money),
    }
}

fn sold_line(book: &Book, sale: SaleId, piece: &Piece) -> Line {
    let mut line = piece_line(book, piece);
    if piece.sale == Some(sale) && piece.state == S::Delivered {
        line.ways
            .push(Way::new("Given back", format!("/pieces/{}/return", piece.piece)));
        line.ways
            .push(Way::new("Buy back", format!("/pieces/{}/buyback", piece.piece)));
    }
    if piece.sale != Some(sale) {
        line.more.push_str(", out of this sale");
    }
    line
}

fn sale_ways(id: SaleId, live: &[S]) -> Vec<Way> {
    let mut ways = Vec::new();
    let mut way = |states: &[S], words: &str, place: &str| {
        if live.iter().any(|state| states.contains(state)) {
            ways.push(Way::new(words, format!("/sales/{id}/{place}")));
        }
    };
    way(&[S::Sold], "Hand over", "handovers");
    way(&[S::Sold], "Send a parcel", "dispatches");
    way(&[S::Dispatched], "Arrived", "deliveries");
    way(&[S::Dispatched], "Came back undelivered", "returns-to-sender");
    way(&[S::Dispatched], "Lost on the way", "losses");
    way(
        &[S::Sold, S::Lost, S::Stolen, S::Destroyed],
        "Not sold after all",
        "cancellation",
    );
    ways
}
