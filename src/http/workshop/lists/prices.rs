//! Lists of prices and counts: spot prices, quotations, bills, stock-takes.

use super::{Column, Filter, Listing, Of, Seen, Visit, show};
use crate::domain::{Charge, Quote, Spot, Stocktake};
use crate::http::App;
use crate::http::problem::Problem;
use crate::http::workshop::named;
use crate::pages::workshop::Cell;
use crate::views::Table;

const METALS: &[&str] = &["silver", "gold", "platinum", "palladium"];

const SPOTS: Listing<Spot> = Listing {
    title: "Spot prices",
    path: "/spots",
    columns: &[
        Column::text("Price of", |names, row| {
            Ok(Cell::text(
                names.app.settings.workshop.zone.in_words(row.priced_at),
            ))
        }),
        Column::text("Metal", |_, row| Ok(Cell::text(row.metal.word()))),
        Column::figure("A troy ounce", |_, row| Ok(Cell::text(row.price.to_string()))),
        Column::private("Read where", |names, row| {
            Ok(Cell::text(
                names.text_of(row.spot.0, "source")?.unwrap_or_default(),
            ))
        }),
    ],
    filters: &[Filter {
        name: "metal",
        label: "Metal",
        of: Of::Words(METALS),
        fits: |_, row, word| Ok(row.metal.word() == word),
    }],
};

const QUOTES: Listing<Quote> = Listing {
    title: "Quotations",
    path: "/quotes",
    columns: &[
        Column::text("Quotation", |_, row| {
            let page = named::page_of(Table::Quote, row.quote.0);
            Ok(Cell::linked(row.number.to_string(), page))
        }),
        Column::text("Made", |names, row| {
            Ok(Cell::text(names.app.settings.workshop.zone.in_words(row.at)))
        }),
        Column::text("For", |names, row| {
            let piece = row.piece.map(|piece| piece.0);
            let name = piece.and_then(|piece| named::of(names.app, piece));
            let page = piece.map(|piece| format!("/pieces/{piece}"));
            Ok(Cell::linked(name.unwrap_or_else(|| row.metal.to_string()), page))
        }),
        Column::private("Together", |names, row| {
            Ok(Cell::text(
                names.money_of(row.quote.0, "gross")?.unwrap_or_default(),
            ))
        }),
        Column::private("For whom", |names, row| {
            Ok(Cell::text(
                names.text_of(row.quote.0, "buyer")?.unwrap_or_default(),
            ))
        }),
    ],
    filters: &[Filter {
        name: "metal",
        label: "Metal",
        of: Of::Words(METALS),
        fits: |_, row, word| Ok(row.metal.word() == word),
    }],
};

const CHARGES: Listing<Charge> = Listing {
    title: "Bills",
    path: "/charges",
    columns: &[
        Column::text("Recorded", |names, row| {
            let page = format!("/entries/{}", row.since);
            let when = names.app.settings.workshop.zone.in_words(row.at);
            Ok(Cell::linked(when, Some(page)))
        }),
        Column::text("For", |names, row| {
            let number = |id| named::of(names.app, id).unwrap_or_default();
            Ok(match (row.consignment, row.sale) {
                (Some(id), _) => Cell::linked(
                    format!("Consignment {}", number(id.0)),
                    named::page_of(Table::Consignment, id.0),
                ),
                (_, Some(id)) => Cell::linked(
                    format!("Sale {}", number(id.0)),
                    named::page_of(Table::Sale, id.0),
                ),
                _ => Cell::text("A die"),
            })
        }),
        Column::private("Amount", |names, row| {
            Ok(Cell::text(
                names.money_of(row.charge.0, "amount")?.unwrap_or_default(),
            ))
        }),
        Column::private("Document", |names, row| {
            Ok(Cell::text(
                names.text_of(row.charge.0, "document")?.unwrap_or_default(),
            ))
        }),
    ],
    filters: &[Filter {
        name: "for",
        label: "For",
        of: Of::Words(&["consignment", "die", "sale"]),
        fits: |_, row, word| {
            Ok(match word {
                "consignment" => row.consignment.is_some(),
                "die" => row.die.is_some(),
                _ => row.sale.is_some(),
            })
        },
    }],
};

const STOCKTAKES: Listing<Stocktake> = Listing {
    title: "Stock-takes",
    path: "/stocktakes",
    columns: &[
        Column::text("Stock-take", |_, row| {
            Ok(Cell::linked(
                row.number.to_string(),
                Some(format!("/entries/{}", row.since)),
            ))
        }),
        Column::text("Recorded", |names, row| {
            Ok(Cell::text(names.app.settings.workshop.zone.in_words(row.at)))
        }),
        Column::figure("Weighed", |_, row| Ok(Cell::text(row.lines.len().to_string()))),
        Column::figure("Beyond the readings", |_, row| {
            let beyond = row.lines.iter().filter(|line| !line.explained);
            Ok(Cell::text(beyond.count().to_string()))
        }),
        Column::figure("Pieces seen", |_, row| {
            let seen = row.pieces.as_ref().map(|pieces| pieces.seen.len().to_string());
            Ok(Cell::text(seen.unwrap_or_default()))
        }),
        Column::figure("Not seen", |_, row| {
            let unseen = row.pieces.as_ref().map(|pieces| pieces.unseen.len().to_string());
            Ok(Cell::text(unseen.unwrap_or_default()))
        }),
    ],
    filters: &[],
};

/// `GET /spots` and `/spots.csv`.
///
/// # Errors
/// 400 for a filter that is not known, or not of its form.
pub fn spots(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&SPOTS, app, visit)
}

/// `GET /quotes` and `/quotes.csv`.
///
/// # Errors
/// As [`spots`].
pub fn quotes(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&QUOTES, app, visit)
}

/// `GET /charges` and `/charges.csv`.
///
/// # Errors
/// As [`spots`].
pub fn charges(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&CHARGES, app, visit)
}

/// `GET /stocktakes` and `/stocktakes.csv`.
///
/// # Errors
/// As [`spots`].
pub fn stocktakes(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    show(&STOCKTAKES, app, visit)
}

#[cfg(test)]
mod tests {
    use super::METALS;
    use crate::metal::Metal;

    #[test]
    fn the_filter_knows_every_metal_that_has_a_spot_price() {
        let precious = Metal::ALL.into_iter().filter(|metal| metal.is_precious());
        assert_eq!(METALS, precious.map(Metal::word).collect::<Vec<_>>());
    }
}
