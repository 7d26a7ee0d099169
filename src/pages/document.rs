//! The frame of every page: head, main part, foot.

use super::assets;
use maud::{DOCTYPE, Markup, html};

/// A page.
pub struct Document<'a> {
    /// Its title in the tab.
    pub title: &'a str,
    /// What stands above its heading, small.
    pub kicker: &'a str,
    /// The log that it is of.
    pub origin: &'a str,
    /// Whether it loads the module that checks in the browser.
    pub module: Option<&'a str>,
    /// Its main part, from the heading on.
    pub main: Markup,
}

impl Document<'_> {
    /// The page as text.
    pub fn to_html(&self) -> String {
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    meta name="robots" content="noindex";
                    title { (self.title) }
                    link rel="stylesheet" href=(assets::style_address());
                    link rel="icon" href=(assets::mark_address()) type="image/svg+xml";
                    @if let Some(module) = self.module {
                        script type="module" src=(format!("/check/{module}")) {}
                    }
                }
                body {
                    a .skip href="#main" { "To the record" }
                    header .masthead {
                        p { (self.kicker) }
                        p .origin { (self.origin) }
                    }
                    main #main tabindex="-1" { (self.main) }
                    footer .colophon {
                        p {
                            a href="/p" { "Look up another serial" }
                            " · "
                            a href="/check" { "Check a proof file" }
                            " · "
                            a href="/v1/policy" { "Keys of this log" }
                        }
                        p { "No cookies, no tracking, nothing loaded from elsewhere." }
                    }
                }
            }
        }
        .into_string()
    }
}
