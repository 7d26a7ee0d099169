//! Names for ids in what the book says: refusals are written for programs and for people, and an id says nothing to a person.

use super::Sheet;
use crate::domain::{
    Certificate, Consignment, Die, Event, Jar, Lot, Melt, Order, Piece, Quote, Refining, Sale, Scale, Series,
    Session, Spot, Stocktake,
};
use crate::http::App;
use crate::http::access::Role;
use crate::http::conditions::hyphenated;
use crate::http::routes::{self, Deed, ROUTES, Who};
use crate::views::{Table, Tabled};
use uuid::Uuid;

/// How many characters an id has.
const LENGTH: usize = 36;

/// The text with what people call each thing in place of its id.
#[must_use]
pub fn in_words(app: &App, text: &str) -> String {
    let mut told = String::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let id = rest.get(..LENGTH).and_then(hyphenated);
        let name = id.and_then(|id| of(app, id));
        let step = name.as_ref().map_or(first.len_utf8(), |_| LENGTH);
        match name {
            Some(name) => told.push_str(&name),
            None => told.push(first),
        }
        rest = rest.get(step..).unwrap_or_default();
    }
    // Kinds of events are spelled for programs too.
    for kind in Event::KINDS.iter().filter(|kind| text.contains(**kind)) {
        told = told.replace(kind, &kind_words(kind));
    }
    told
}

/// The kind of an event in words: `melt charged`.
#[must_use]
pub fn kind_words(kind: &str) -> String {
    kind.replace(['.', '_'], " ")
}

/// What people call a thing, as it stands behind the word for it (`lot 3`, `the session begun …`); none for what has no name, or is
/// not there.
#[must_use]
pub fn of(app: &App, id: Uuid) -> Option<String> {
    let table = app.views.table_of(id).ok().flatten()?;
    match table {
        Table::Piece => row::<Piece>(app, id).map(|row| piece(&row)),
        Table::Series => row::<Series>(app, id).map(|row| row.code.to_string()),
        Table::Lot => row::<Lot>(app, id).map(|row| row.number.to_string()),
        Table::Melt => row::<Melt>(app, id).map(|row| row.number.to_string()),
        Table::Consignment => row::<Consignment>(app, id).map(|row| row.number.to_string()),
        Table::Order => row::<Order>(app, id).map(|row| row.number.to_string()),
        Table::Sale => row::<Sale>(app, id).map(|row| row.number.to_string()),
        Table::Refining => row::<Refining>(app, id).map(|row| row.number.to_string()),
        Table::Stocktake => row::<Stocktake>(app, id).map(|row| row.number.to_string()),
        Table::Quote => row::<Quote>(app, id).map(|row| row.number.to_string()),
        Table::Certificate => {
            row::<Certificate>(app, id).map(|row| format!("issue {} of {}", row.issue, row.serial))
        }
        Table::Session => row::<Session>(app, id).map(|row| {
            let begun = app.settings.workshop.zone.in_words(row.at);
            format!("begun {begun}")
        }),
        Table::Scale => row::<Scale>(app, id).map(|row| format!("to {} g in steps of {} g", row.max, row.d)),
        Table::Jar => {
            row::<Jar>(app, id).map(|row| format!("of {}, {} {}", row.residue, row.metal, row.fineness))
        }
        Table::Die => row::<Die>(app, id).map(|row| format!("of the {}", row.owner)),
        Table::Spot => row::<Spot>(app, id).map(|row| format!("{} at {}", row.metal, row.price)),
        Table::Owner | Table::Charge => None,
    }
}

fn row<T: Tabled>(app: &App, id: Uuid) -> Option<T> {
    app.views.row(id).ok().flatten()
}

/// What people call a piece: its serial once it has one, else its number at the mould.
#[must_use]
pub fn piece(piece: &Piece) -> String {
    let serial = piece.serial.as_ref().map(ToString::to_string);
    serial.unwrap_or_else(|| piece.pour.to_string())
}

/// The page of a thing, where there is one.
#[must_use]
pub fn page_of(table: Table, id: Uuid) -> Option<String> {
    let plural = if table == Table::Jar {
        "residues"
    } else {
        table.plural()
    };
    // What a melt did is told among the pages about metal.
    let paths = [format!("/{plural}/{id}"), format!("/metal/{plural}/{id}")];
    let gap = format!("/{{{}}}", table.word());
    paths.into_iter().find(|path| {
        let found = routes::at("GET", path).map(|(route, _)| route);
        found.is_some_and(|route| matches!(route.deed, Deed::Sheet(_)) && route.path.ends_with(&gap))
    })
}

/// The form by which somebody of this role does something with a piece; none where no page has one.
#[must_use]
pub fn form_of(role: Role, command: &str, piece: &Piece) -> Option<String> {
    let mut forms = ROUTES.iter().filter(|route| {
        let gives = match route.deed {
            Deed::Sheet(Sheet::Form(form)) => form.recording.name == command,
            // The picture is taken at the bench, on a page of its own.
            Deed::Sheet(Sheet::Show(_)) => {
                command == "PhotographPiece" && route.path.ends_with("/photograph")
            }
            _ => false,
        };
        gives && matches!(route.who, Who::Roles(roles) if roles.contains(&role))
    });
    let of_gap = |gap: &str| match gap {
        "{piece}" => Some(piece.piece.0),
        "{melt}" => Some(piece.melt.0),
        "{series}" => Some(piece.series.0),
        "{sale}" => piece.sale.map(|sale| sale.0),
        "{consignment}" => piece.consignment.map(|consignment| consignment.0),
        "{order}" => piece.order.map(|order| order.0),
        _ => None,
    };
    forms.find_map(|route| {
        let address = filled(route.path, &of_gap)?;
        let named = route.path.contains("{piece}");
        Some(if named {
            address
        } else {
            format!("{address}?piece={}", piece.piece)
        })
    })
}

/// The form by which somebody of this role gives a command, with what stands in the gaps of its path.
#[must_use]
pub fn form_at(role: Role, command: &str, of_gap: &dyn Fn(&str) -> Option<Uuid>) -> Option<String> {
    let mut forms = ROUTES.iter().filter(|route| {
        let gives = matches!(route.deed, Deed::Sheet(Sheet::Form(form)) if form.recording.name == command);
        gives && matches!(route.who, Who::Roles(roles) if roles.contains(&role))
    });
    forms.find_map(|route| filled(route.path, of_gap))
}

/// A path with what stands in each gap; none where nothing does.
fn filled(path: &str, of_gap: &dyn Fn(&str) -> Option<Uuid>) -> Option<String> {
    let mut address = String::new();
    for part in path.split('/').skip(1) {
        address.push('/');
        if part.starts_with('{') {
            address.push_str(&of_gap(part)?.to_string());
        } else {
            address.push_str(part);
        }
    }
    Some(address)
}
