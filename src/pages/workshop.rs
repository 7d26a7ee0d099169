//! The workshop's own pages: what its people see once they are signed in. Data in, HTML out.
//!
//! # How a page is added
//! In `http/workshop/…` a function `fn(&App, &Visit) -> Result<Leaf, Problem>` gives a [`Leaf`]: a title and the main part from
//! the heading on, made by a function here. One row in `ROUTES` names it: `sheet("/office", OFFICE, office::board)`. Frame,
//! sign-in, roles, headers, faults and what is told after something was recorded come by themselves; the navigation has a link
//! once a row of its table (`http/workshop/visit.rs`) leads to a route that the role may read.
//!
//! # How a form is added
//! A form is data. In `http/workshop/forms/…`:
//! ```text
//! pub const REGISTER_DIE: Form = Form {
//!     recording: &recordings::REGISTER_DIE,       // the command of `/v1`: the same reading, the same decision
//!     sheet: FormSheet {
//!         title: "A new die", lead: "A stamp …", cautions: &[], submit: "Record the die",
//!         fields: &[
//!             Field::choice("owner", "Whose is it?", OWNERS),
//!             Field::chosen("series", "For which series", "Leave empty for …").optional(),
//!             Field::text("label", "What you call it", "It stands on no page for buyers.").optional(),
//!         ],
//!     },
//!     offer: offered,                             // fn(&App, &Visit) -> Result<Offer, Problem>: choices and rows of now
//!     ask: None,                                  // or a question that is asked once: fn(&App, &Visit, &Map) -> Option<String>
//!     then: to_home,                              // where one sees what was recorded
//! };
//! ```
//! and two rows in `ROUTES`, with the roles of the command: `form("/dies/new", OFFICE, &dies::REGISTER_DIE)` and
//! `sent("/dies/new", OFFICE, &dies::REGISTER_DIE)`. Where the command is about one thing, its id stands in the path under the
//! command's own name (`/consignments/{consignment}/return`), and its version travels in the form.
//!
//! A field's name is the member of the command that it fills, `limits/nominal` for one within another. Kinds of fields stand in
//! [`Kind`]; `Rows` are lines of a table, each a thing that is offered (with its version, for a tray) or a blank one, with
//! fields of their own. Refusals come to the field that the JSON pointer of the problem names, all that was typed is kept, the
//! key of the request was minted when the form was made, so a double tap records once, and who is late is told so (412).
//!
//! Deliberately absent: HTTP, the clock, decisions.

pub mod bench;
mod drawn;
mod form;
mod frame;
mod home;
mod list;
pub mod office;
mod piece;
mod sign_in;

pub use drawn::{FormSeen, Question, form};
pub use form::{Choice, Field, FormSheet, Kind, Offer, Row, Rows, Taken, Typed};
pub use frame::{Frame, Link};
pub use home::{HomeSeen, Need, home};
pub use list::{Cell, FilterSeen, Head, ListSeen, csv, list};
pub use piece::{
    IssueSeen, Next, PictureSeen, PieceSeen, ReadingSeen, ShareSeen, StepSeen, StorySeen, piece,
};
pub use sign_in::{SignIn, sign_in};

pub use super::story::events::{issued, of_piece as line_of};
pub use super::words::{corrected, marks, photograph_stage, reckoned, side, stage, stands};

pub use maud::{Markup, html};

/// A page of the workshop without its frame.
pub struct Leaf {
    /// What stands in the tab.
    pub title: String,
    /// The main part, from the heading on.
    pub main: Markup,
    /// Whether it is shown anew by itself when the book has changed. Never a page with something typed on it.
    pub live: bool,
}

impl Leaf {
    /// A page.
    #[must_use]
    pub fn new(title: impl Into<String>, main: Markup) -> Self {
        Self {
            title: title.into(),
            main,
            live: false,
        }
    }

    /// The same page, which is shown anew by itself when the book has changed.
    #[must_use]
    pub const fn live(mut self) -> Self {
        self.live = true;
        self
    }
}
