//! The frame of every page of the workshop: where one can go, who is signed in, what was just recorded, the zone of all times.

use super::Leaf;
use crate::domain::Zone;
use crate::pages::assets;
use maud::{DOCTYPE, html};

/// A link of the navigation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Link {
    /// What it is called.
    pub word: &'static str,
    /// Where it leads.
    pub path: &'static str,
}

/// What surrounds a page.
pub struct Frame<'a> {
    /// The name of the log.
    pub origin: &'a str,
    /// Where one can go, as far as the role reaches; empty for who is not signed in.
    pub links: &'a [Link],
    /// The path of this page.
    pub path: &'a str,
    /// Who is signed in: name and role.
    pub who: Option<(&'a str, &'a str)>,
    /// What proves that a form is of this page.
    pub form_token: &'a str,
    /// The zone in which times are told.
    pub zone: Zone,
    /// The index of the entry that was just recorded.
    pub recorded: Option<u64>,
    /// How many entries the book has on this page.
    pub position: u64,
}

impl Frame<'_> {
    /// Whether a link leads to this page or to one above it.
    fn is_here(&self, link: &Link) -> bool {
        let below = self.path.strip_prefix(link.path);
        below.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    }

    /// The page as text.
    #[must_use]
    pub fn around(&self, leaf: &Leaf) -> String {
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    meta name="robots" content="noindex";
                    title { (leaf.title) " · " (self.origin) }
                    link rel="stylesheet" href=(assets::style_address());
                    link rel="stylesheet" href=(assets::workshop_style_address());
                    @if self.who.is_some() { script type="module" src=(assets::changed_address()) {} }
                    link rel="icon" href=(assets::mark_address()) type="image/svg+xml";
                }
                body .workshop data-position=(self.position) data-form-token=[self.who.map(|_| self.form_token)]
                    data-live=[leaf.live.then_some("")] {
                    a .skip href="#main" { "To the page itself" }
                    header .masthead {
                        p .origin { (self.origin) }
                        @if let Some((name, role)) = self.who {
                            form .leave method="post" action="/sign-out" {
                                input type="hidden" name="form_token" value=(self.form_token);
                                span { (name) ", " (role) " " }
                                button .quiet type="submit" { "Sign out" }
                            }
                        }
                        @if !self.links.is_empty() {
                            nav aria-label="Pages" {
                                @for link in self.links {
                                    a href=(link.path) aria-current=[self.is_here(link).then_some("page")] { (link.word) }
                                }
                            }
                        }
                    }
                    @if self.who.is_some() {
                        div role="status" {
                            p #changed .changed hidden {
                                span { "The book has changed since this page was made." } " "
                                a href="" { "Show it anew" }
                            }
                        }
                    }
                    main #main tabindex="-1" {
                        @if let Some(index) = self.recorded {
                            p .done role="status" { strong { "Recorded." } " It stands in the book as " a href=(format!("/entries/{index}")) { "entry " (index) } "." }
                        }
                        (leaf.main)
                    }
                    footer .colophon {
                        p { "All times are " (self.zone) ". Masses are in grams, finenesses in parts per thousand." }
                    }
                }
            }
        }
        .into_string()
    }
}
