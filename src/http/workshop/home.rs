//! The page that everybody comes to once they are signed in.

use super::visit::may_read;
use super::{App, Seen, Sheet, Visit};
use crate::http::problem::Problem;
use crate::http::routes::{Deed, ROUTES};
use crate::pages::workshop::{Leaf, html};

/// Home.
///
/// # Errors
/// When the views cannot be read.
pub fn home(_: &App, visit: &Visit) -> Result<Seen, Problem> {
    let forms = ROUTES.iter().filter_map(|route| match route.deed {
        Deed::Sheet(Sheet::Form(form)) if may_read(visit.role(), route.path) && !route.path.contains('{') => {
            Some((route.path, form.sheet.title))
        }
        _ => None,
    });
    let forms: Vec<(&str, &str)> = forms.collect();
    let main = html! {
        header .plate { h1 { span .name { "Home" } } }
        @if !forms.is_empty() {
            section aria-labelledby="record" {
                h2 #record { "Record something" }
                ul .links { @for (path, title) in forms { li { a href=(path) { (title) } } } }
            }
        }
    };
    Ok(Leaf::new("Home", main).into())
}
