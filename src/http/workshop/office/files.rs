//! Files to print: packing lists and labels.

use super::super::{App, Seen, Visit, named};
use crate::http::problem::Problem;
use crate::http::{labels as sheets, packing_lists};

/// `GET /consignments/{consignment}/packing-list`.
///
/// # Errors
/// 404 without such a consignment.
pub fn packing_list(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let found = packing_lists::packing_list(app, &visit.asked)?;
    let name = named::of(app, visit.asked.id("consignment")?).unwrap_or_default();
    Ok(Seen::File(found, format!("packing-list-{name}.pdf")))
}

/// `GET /series/{series}/labels`.
///
/// # Errors
/// 404 without such a series or pieces of it, 409 while the book has no address.
pub fn labels(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let found = sheets::labels(app, &visit.asked)?;
    let code = named::of(app, visit.asked.id("series")?).unwrap_or_default();
    Ok(Seen::File(found, format!("labels-{code}.pdf")))
}
