//! Home: what needs a hand today, and what may be recorded.

use super::{Leaf, html};

/// Something that needs a hand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Need {
    /// Its kind in two or three words.
    pub what: &'static str,
    /// What it is.
    pub words: String,
    /// Where it is done or seen.
    pub link: Option<String>,
    /// What the link says.
    pub does: &'static str,
}

/// All that the page tells.
pub struct HomeSeen {
    /// What needs a hand.
    pub needs: Vec<Need>,
    /// The forms by the part of the work that they belong to: path and title.
    pub forms: Vec<(&'static str, Vec<(&'static str, &'static str)>)>,
}

/// The page.
#[must_use]
pub fn home(seen: &HomeSeen) -> Leaf {
    let main = html! {
        header .plate {
            h1 { span .name { "Home" } }
            p .sentence {
                @match seen.needs.len() {
                    0 => "Nothing needs a hand today.",
                    1 => "One thing needs a hand.",
                    count => { (count) " things need a hand." },
                }
            }
        }
        @if !seen.needs.is_empty() {
            section aria-labelledby="needs" {
                h2 #needs { "What needs a hand" }
                ul .needs {
                    @for need in &seen.needs {
                        li {
                            strong { (need.what) }
                            p { (need.words) }
                            @if let Some(link) = &need.link { p { a .button href=(link) { (need.does) } } }
                        }
                    }
                }
            }
        }
        @if !seen.forms.is_empty() {
            section aria-labelledby="record" {
                h2 #record { "Record something" }
                @for (part, forms) in &seen.forms {
                    h3 { (part) }
                    ul .links { @for (path, title) in forms { li { a href=(path) { (title) } } } }
                }
            }
        }
    };
    Leaf::new("Home", main).live()
}
