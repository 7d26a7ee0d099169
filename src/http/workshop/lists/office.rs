//! Lists of the office: series, consignments, orders, sales, certificates.

use super::metal::is_series;
use super::{Column, Filter, Listing, Of, Seen, Visit, show};
use crate::domain::{
    Certificate, Consignment, ConsignmentState, Order, OrderState, Sale, Series, SeriesKind, SeriesState,
};
use crate::http::App;
use crate::http::problem::Problem;
use crate::http::workshop::named;
use crate::pages::workshop::Cell;
use crate::views::Table;

const SERIES: Listing<Series> = Listing {
    title: "Series",
    path: "/series",
    columns: &[
        Column::text("Code", |_, row| {
            Ok(Cell::linked(
                row.code.to_string(),
                named::page_of(Table::Series, row.series.0),
            ))
        }),
        Column::text("Title", |names, row| {
            Ok(Cell::text(
                names.text_of(row.series.0, "title")?.unwrap_or_default(),
            ))
        }),
        Column::text("Kind", |_, row| Ok(Cell::text(row.kind_of.word()))),
        Column::text("State", |_, row| Ok(Cell::text(row.state.word()))),
        Column::text("Metal", |_, row| Ok(Cell::text(row.metal.word()))),
        Column::figure("Fineness, ‰", |_, row| Ok(Cell::text(row.fineness.to_string()))),
        Column::text("Shapes", |_, row| {
            let shapes = row.shapes.iter();
            let shapes: Vec<String> = shapes
                .map(|size| format!("{} × {}", size.size, size.shape))
                .collect();
            Ok(Cell::text(shapes.join(", ").replace('_', " ")))
        }),
        Column::text("Limits, g", |_, row| {
            let limits = row.limits.as_ref();
            Ok(Cell::text(limits.map_or_else(String::new, |limits| {
                format!("{} to {}", limits.lower, limits.upper)
            })))
        }),
        Column::figure("Serials given", |_, row| {
            Ok(Cell::linked(
                row.serials.to_string(),
                Some(format!("/pieces?series={}", row.code)),
            ))
        }),
    ],
    filters: &[
        Filter {
            name: "state",
            label: "State",
            of: Of::Words(SeriesState::WORDS),
            fits: |_, row, word| Ok(row.state.word() == word),
        },
        Filter {
            name: "kind_of",
            label: "Kind",
            of: Of::Words(SeriesKind::WORDS),
            fits: |_, row, word| Ok(row.kind_of.word() == word),
        },
    ],
};

const CONSIGNMENTS: Listing<Consignment> = Listing {
    title: "Consignments",
    path: "/consignments",
    columns: &[
        Column::text("Consignment", |_, row| {
            let page = named::page_of(Table::Consignment, row.consignment.0);
            Ok(Cell::linked(row.number.to_string(), page))
        }),
        Column::text("State", |_, row| {
            Ok(Cell::text(row.state.word().replace('_', " ")))
        }),
        Column::text("Sent", |names, row| {
            Ok(Cell::text(names.app.settings.workshop.zone.in_words(row.at)))
        }),
        Column::figure("Pieces", |_, row| Ok(Cell::text(row.pieces.len().to_string()))),
        Column::figure("Mass, g", |_, row| Ok(Cell::text(row.mass.to_string()))),
        Column::figure("Claimed, ‰", |_, row| Ok(Cell::text(row.fineness.to_string()))),
        Column::private("Office", |names, row| {
            Ok(Cell::text(
                names.text_of(row.consignment.0, "office")?.unwrap_or_default(),
            ))
        }),
        Column::private("Seal", |names, row| {
            Ok(Cell::text(
                names.text_of(row.consignment.0, "seal")?.unwrap_or_default(),
            ))
        }),
    ],
    filters: &[Filter {
        name: "state",
        label: "State",
        of: Of::Words(ConsignmentState::WORDS),
        fits: |_, row, word| Ok(row.state.word() == word),
    }],
};

const ORDERS: Listing<Order> = Listing {
    title: "Orders",
    path: "/orders",
    columns: &[
        Column::text("Order", |_, row| {
            Ok(Cell::linked(
                row.number.to_string(),
                named::page_of(Table::Order, row.order.0),
            ))
        }),
        Column::text("State", |_, row| Ok(Cell::text(row.state.word()))),
        Column::text("Series", |names, row| {
            Ok(Cell::linked(
                names.series(row.series)?,
                named::page_of(Table::Series, row.series.0),
            ))
        }),
        Column::text("Promised", |_, row| {
            let shapes = row.shapes.iter();
            let shapes: Vec<String> = shapes
                .map(|each| format!("{} × {}", each.count, each.shape))
                .collect();
            Ok(Cell::text(shapes.join(", ").replace('_', " ")))
        }),
        Column::figure("Kept for it", |_, row| Ok(Cell::text(sum(&row.reserved)))),
        Column::figure("Sold under it", |_, row| Ok(Cell::text(sum(&row.sold)))),
        Column::text("Recorded", |names, row| {
            Ok(Cell::text(names.app.settings.workshop.zone.in_words(row.at)))
        }),
        Column::private("Buyer", |names, row| {
            Ok(Cell::text(
                names.text_of(row.order.0, "buyer")?.unwrap_or_default(),
            ))
        }),
    ],
    filters: &[
        Filter {
            name: "state",
            label: "State",
            of: Of::Words(OrderState::WORDS),
            fits: |_, row, word| Ok(row.state.word() == word),
        },
        Filter {
            name: "series",
            label: "Series",
            of: Of::Series,
            fits: |names, row, code| Ok(is_series(names, row.series, code)),
        },
    ],
};

fn sum(counts: &[u32]) -> String {
    let all = counts.iter().copied().fold(0_u32, u32::saturating_add);
    all.to_string()
}

const SALES: Listing<Sale> = Listing {
    title: "Sales",
    path: "/sales",
    columns: &[
        Column::text("Sale", |_, row| {
            Ok(Cell::linked(
                row.number.to_string(),
                named::page_of(Table::Sale, row.sale.0),
            ))
        }),
        Column::text("Made", |names, row| {
            Ok(Cell::text(names.app.settings.workshop.zone.in_words(row.at)))
        }),
        Column::text("Pieces", |names, row| {
            let named = row
                .pieces
                .iter()
                .map(|piece| named::of(names.app, piece.0).unwrap_or_default());
            Ok(Cell::text(named.collect::<Vec<_>>().join(", ")))
        }),
        Column::figure("Undone", |_, row| Ok(Cell::text(row.undone.len().to_string()))),
        Column::text("Order", |names, row| {
            let order = row.order.map(|order| order.0);
            let number = order.and_then(|order| named::of(names.app, order));
            let page = order.and_then(|order| named::page_of(Table::Order, order));
            Ok(Cell::linked(number.unwrap_or_default(), page))
        }),
        Column::private("Buyer", |names, row| {
            Ok(Cell::text(
                names.text_of(row.sale.0, "buyer")?.unwrap_or_default(),
            ))
        }),
        Column::private("Document", |names, row| {
            Ok(Cell::text(
                names.text_of(row.sale.0, "document")?.unwrap_or_default(),
            ))
        }),
    ],
    filters: &[Filter {
        name: "undone",
        label: "Undone",
        of: Of::Words(&["none", "some"]),
        fits: |_, row, word| Ok(row.undone.is_empty() == (word == "none")),
    }],
};

const CERTIFICATES: Listing<Certificate> = Listing {
    title: "Certificates",
    path: "/certificates",
    columns: &[
        Column::text("Serial", |_, row| {
            Ok(Cell::linked(
                row.serial.to_string(),
                Some(format!("/pieces/{}", row.piece)),
            ))
        }),
        Column::figure("Issue", |_, row| Ok(Cell::text(row.issue.to_string()))),
        Column::text("Issued", |names, row| {
            Ok(Cell::text(names.app.settings.workshop.zone.in_words(row.at)))
        }),
        Column::text("Stands", |_, row| {
            Ok(Cell::text(if row.superseded.is_some() {
                "superseded"
            } else {
                "stands"
            }))
        }),
        Column::figure("Times printed", |_, row| {
            Ok(Cell::text(row.prints.len().to_string()))
        }),
    ],
    filters: &[
        Filter {
            name: "stands",
            label: "Stands",
            of: Of::Words(&["stands", "superseded"]),
            fits: |_, row, word| Ok(row.superseded.is_some() == (word == "superseded")),
        },
        Filter {
            name: "printed",
            label: "Printed",
            of: Of::Words(&["yes", "no"]),
            fits: |_, row, word| Ok(row.prints.is_empty() == (word == "no")),
        },
    ],
};

/// `GET /series` and `/series.csv`.
///
/// # Errors
/// 400 for a filter that is not known, or not of its form.
pub fn series(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&SERIES, app, visit)
}

/// `GET /consignments` and `/consignments.csv`.
///
/// # Errors
/// As [`series`].
pub fn consignments(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&CONSIGNMENTS, app, visit)
}

/// `GET /orders` and `/orders.csv`.
///
/// # Errors
/// As [`series`].
pub fn orders(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&ORDERS, app, visit)
}

/// `GET /sales` and `/sales.csv`.
///
/// # Errors
/// As [`series`].
pub fn sales(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&SALES, app, visit)
}

/// `GET /certificates` and `/certificates.csv`.
///
/// # Errors
/// As [`series`].
pub fn certificates(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&CERTIFICATES, app, visit)
}
