//! Lists, one per kind of thing, in the order in which they were made: which filters each takes, and its pages.

use super::asked::Asked;
use super::found::{Found, PRIVATE};
use super::problem::Problem;
use super::query::Parameters;
use super::reads::row_json;
use super::{App, failed};
use crate::domain::{
    Certificate, Charge, Consignment, ConsignmentState, Die, DieOwner, DieState, Grade, Jar, Lot, Melt,
    MeltState, Order, OrderState, Owner, Piece, PieceState, Quote, Refining, RefiningState, Residue, Sale,
    Scale, Series, SeriesKind, SeriesState, Session, SessionState, Spot, Stocktake,
};
use crate::metal::Metal;
use crate::views::{Filter, Table, Tabled};
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// One page of a list.
///
/// # Errors
/// 400 for a parameter that is not known or not of its form.
pub fn list(app: &App, asked: &Asked, table: Table) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    match table {
        Table::Lot => {
            let metal: Option<Metal> = metal(&mut query)?;
            page::<Lot>(app, asked, query, &|row| fits(&metal, &row.metal))
        }
        Table::Scale => page::<Scale>(app, asked, query, &|_| true),
        Table::Session => {
            let state: Option<SessionState> = query.word("state", SessionState::WORDS)?;
            let scale: Option<Uuid> = query.parse("scale", "an id")?;
            page::<Session>(app, asked, query, &|row| {
                fits(&state, &row.state) && fits(&scale, &row.scale.0)
            })
        }
        Table::Jar => {
            let residue: Option<Residue> = query.word("residue", Residue::WORDS)?;
            page::<Jar>(app, asked, query, &|row| fits(&residue, &row.residue))
        }
        Table::Series => series(app, asked, query),
        Table::Melt => {
            let state: Option<MeltState> = query.word("state", MeltState::WORDS)?;
            page::<Melt>(app, asked, query, &|row| fits(&state, &row.state))
        }
        Table::Piece => pieces(app, asked, query),
        Table::Certificate => {
            let piece: Option<Uuid> = query.parse("piece", "an id")?;
            page::<Certificate>(app, asked, query, &|row| fits(&piece, &row.piece.0))
        }
        Table::Die => dies(app, asked, query),
        Table::Consignment => consignments(app, asked, query),
        Table::Order => orders(app, asked, query),
        Table::Sale => sales(app, asked, query),
        Table::Refining => refinings(app, asked, query),
        Table::Owner => {
            let agreed: Option<bool> = query.parse("agreed", "true or false")?;
            page::<Owner>(app, asked, query, &|row| fits(&agreed, &row.agreed))
        }
        Table::Stocktake => page::<Stocktake>(app, asked, query, &|_| true),
        Table::Spot => {
            let metal: Option<Metal> = metal(&mut query)?;
            page::<Spot>(app, asked, query, &|row| fits(&metal, &row.metal))
        }
        Table::Quote => {
            let piece: Option<Uuid> = query.parse("piece", "an id")?;
            page::<Quote>(app, asked, query, &|row| {
                piece.is_none() || piece == row.piece.map(|piece| piece.0)
            })
        }
        Table::Charge => page::<Charge>(app, asked, query, &|_| true),
    }
}

fn metal(query: &mut Parameters) -> Result<Option<Metal>, Problem> {
    query.word("metal", &Metal::ALL.map(Metal::word))
}

fn series(app: &App, asked: &Asked, mut query: Parameters) -> Result<Found, Problem> {
    let kind: Option<SeriesKind> = query.word("kind_of", SeriesKind::WORDS)?;
    let state: Option<SeriesState> = query.word("state", SeriesState::WORDS)?;
    let code = query.take("code");
    page::<Series>(app, asked, query, &|row| {
        fits(&kind, &row.kind_of)
            && fits(&state, &row.state)
            && code.as_deref().is_none_or(|code| code == row.code.as_str())
    })
}

fn dies(app: &App, asked: &Asked, mut query: Parameters) -> Result<Found, Problem> {
    let state: Option<DieState> = query.word("state", DieState::WORDS)?;
    let owner: Option<DieOwner> = query.word("owner", DieOwner::WORDS)?;
    let series: Option<Uuid> = query.parse("series", "an id")?;
    page::<Die>(app, asked, query, &|row| {
        let of_series = series.is_none() || series == row.series.map(|series| series.0);
        fits(&state, &row.state) && fits(&owner, &row.owner) && of_series
    })
}

fn consignments(app: &App, asked: &Asked, mut query: Parameters) -> Result<Found, Problem> {
    let state: Option<ConsignmentState> = query.word("state", ConsignmentState::WORDS)?;
    let piece: Option<Uuid> = query.parse("piece", "an id")?;
    page::<Consignment>(app, asked, query, &|row| {
        let holds = |piece: Uuid| row.pieces.iter().any(|sent| sent.piece.0 == piece);
        fits(&state, &row.state) && piece.is_none_or(holds)
    })
}

fn orders(app: &App, asked: &Asked, mut query: Parameters) -> Result<Found, Problem> {
    let state: Option<OrderState> = query.word("state", OrderState::WORDS)?;
    let series: Option<Uuid> = query.parse("series", "an id")?;
    page::<Order>(app, asked, query, &|row| {
        fits(&state, &row.state) && fits(&series, &row.series.0)
    })
}

fn sales(app: &App, asked: &Asked, mut query: Parameters) -> Result<Found, Problem> {
    let order: Option<Uuid> = query.parse("order", "an id")?;
    let piece: Option<Uuid> = query.parse("piece", "an id")?;
    page::<Sale>(app, asked, query, &|row| {
        let under = order.is_none() || order == row.order.map(|order| order.0);
        under && piece.is_none_or(|piece| row.pieces.iter().any(|sold| sold.0 == piece))
    })
}

fn refinings(app: &App, asked: &Asked, mut query: Parameters) -> Result<Found, Problem> {
    let state: Option<RefiningState> = query.word("state", RefiningState::WORDS)?;
    let metal: Option<Metal> = metal(&mut query)?;
    page::<Refining>(app, asked, query, &|row| {
        fits(&state, &row.state) && fits(&metal, &row.metal)
    })
}

fn pieces(app: &App, asked: &Asked, mut query: Parameters) -> Result<Found, Problem> {
    let state: Option<PieceState> = query.word("state", PieceState::WORDS)?;
    let grade: Option<Grade> = query.word("grade", Grade::WORDS)?;
    let series: Option<Uuid> = query.parse("series", "an id")?;
    let melt: Option<Uuid> = query.parse("melt", "an id")?;
    let shape = query.take("shape");
    page::<Piece>(app, asked, query, &|row| {
        fits(&state, &row.state)
            && grade.is_none_or(|grade| row.grading.as_ref().is_some_and(|grading| grading.grade == grade))
            && fits(&series, &row.series.0)
            && fits(&melt, &row.melt.0)
            && shape.as_deref().is_none_or(|shape| shape == row.shape.as_str())
    })
}

fn fits<T: PartialEq>(wanted: &Option<T>, found: &T) -> bool {
    wanted.as_ref().is_none_or(|wanted| wanted == found)
}

fn page<T: Tabled>(
    app: &App,
    asked: &Asked,
    mut query: Parameters,
    filter: Filter<'_, T>,
) -> Result<Found, Problem> {
    let limit = query.limit()?;
    let after = query.cursor()?;
    query.finish()?;
    let page = app.views.list(filter, after, limit).map_err(failed)?;
    let items: Result<Vec<Value>, Problem> = page
        .rows
        .iter()
        .map(|row| row_json(app, row).map(Value::Object))
        .collect();
    let mut body = Map::new();
    body.insert("items".into(), Value::Array(items?));
    let mut link = None;
    if let Some(next) = page.next {
        let cursor = next.to_text();
        link = Some(next_link(asked, "after", &cursor));
        body.insert("next".into(), json!(cursor));
    }
    let mut found = Found::json(&Value::Object(body), PRIVATE);
    found.link = link;
    Ok(found)
}

/// The link to the next page (RFC 8288).
#[must_use]
pub fn next_link(asked: &Asked, name: &str, value: &str) -> String {
    format!(
        "<{}?{}>; rel=\"next\"",
        asked.path,
        Parameters::with(&asked.query, name, value)
    )
}
