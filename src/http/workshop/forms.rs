//! The forms, each a row of data: which command it gives, its fields, what the book offers in it, and where it leads.

pub mod lots;
pub mod steps;

use super::{App, Visit};
use crate::writer::Recorded;

/// Leads to the page that everybody comes to.
#[must_use]
pub fn to_home(_: &App, _: &Visit, _: &Recorded) -> String {
    super::HOME.to_owned()
}
