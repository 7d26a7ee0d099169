//! The page on which a serial is typed, and the one on which a proof file is checked.

use super::document::Document;
use maud::{Markup, html};

/// The form that looks a serial up.
pub fn look_up() -> Markup {
    html! {
        form .ask method="get" action="/p" {
            label for="serial" { "The serial, as it stands on the piece or its certificate" }
            div .line {
                input #serial name="serial" type="text" required maxlength="40" autocomplete="off" autocapitalize="characters"
                    spellcheck="false" aria-describedby="serial-hint";
                button type="submit" { "Show the record" }
            }
            p #serial-hint .fine { "Like TW-0007-65. Small letters, spaces and hyphens do not matter." }
        }
    }
}

/// The page on which a serial is typed.
#[must_use]
pub fn start(origin: &str) -> String {
    let main = html! {
        header .plate {
            h1 { span .name { "Look a piece up" } }
            p .sentence {
                "Every piece of this workshop has a serial. Its record says what was weighed, when it was poured, whose assay its \
                 fineness rests on, and what became of it."
            }
        }
        section aria-labelledby="ask" {
            h2 #ask { "Which piece do you hold?" }
            (look_up())
        }
    };
    let document = Document {
        title: "Look a piece up",
        kicker: "Record of poured pieces",
        origin,
        module: None,
        main,
    };
    document.to_html()
}

/// The page on which a proof file is checked.
#[must_use]
pub fn check(origin: &str) -> String {
    let main = html! {
        header .plate {
            h1 { span .name { "Check a proof file" } }
            p .sentence {
                "A proof file carries all the entries behind one piece. Anybody can check it, without this server and without the \
                 workshop: all that is needed beside it is the root thumbprint that stands on the certificate."
            }
        }
        section data-drop aria-labelledby="drop" {
            h2 #drop { "In this browser" }
            p {
                "The file stays on your machine: once this page is loaded, the check works with the network off."
            }
            p data-without-script { "Your browser runs no script here, so it cannot check for itself." }
        }
        section aria-labelledby="offline" {
            h2 #offline { "On your own machine" }
            pre tabindex="0" { code { "pourbook-verify FILE --root THUMBPRINT\n\nnode cli.mjs FILE --root THUMBPRINT" } }
            p .fine { "Both are published with the program that keeps such records. Get them from there and not from this server." }
            p { "Both end with 0 when the record holds, 1 when it does not, and 2 when the file cannot be read." }
        }
    };
    let document = Document {
        title: "Check a proof file",
        kicker: "Record of poured pieces",
        origin,
        module: Some("drop.mjs"),
        main,
    };
    document.to_html()
}
