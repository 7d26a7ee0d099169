//! Pages for what is not there or cannot be shown: each says what is wrong and what to do next.

use super::document::Document;
use super::start::look_up;
use super::words::capital;
use maud::html;

/// What a page of a fault says.
pub struct Fault<'a> {
    /// The fixed name of its kind.
    pub code: &'a str,
    /// The fixed title of its kind, for kinds that have no words here.
    pub title: &'a str,
    /// What is wrong here and now.
    pub detail: &'a str,
    /// What was typed as a serial, if anything was.
    pub typed: Option<&'a str>,
    /// The name of the log.
    pub origin: &'a str,
}

/// How much of what was typed is shown again.
const TYPED_MAX: usize = 40;

/// Title and words of a kind of fault.
fn words<'a>(fault: &Fault<'a>) -> (&'a str, String) {
    match fault.code {
        "serial-unknown" => (
            "This serial was never given",
            "The serial has the right form, and this workshop has given it to no piece. If it stands on a piece, the piece \
             is not in this record. If you typed it without its last two digits, it may also be a slip: nobody can tell."
                .to_owned(),
        ),
        "serial-slip" => (
            "There is a slip in this serial",
            "The last two digits of a serial follow from the rest, and these do not fit: one character is wrong, or two are \
             swapped. Read it again from the piece or the certificate. Which one is wrong cannot be told, and no guess is made."
                .to_owned(),
        ),
        "serial-form" => (
            "This is not a serial",
            "A serial is two to four letters, a number of four to six digits and two check digits, like TW-0007-65. Small \
             letters, spaces and hyphens do not matter; letters that only look alike do."
                .to_owned(),
        ),
        "issue-unknown" => (
            "This issue was never made",
            format!("The record knows the serial, but {}.", fault.detail),
        ),
        "not-released" => (
            "Its proof is not ready yet",
            "Something was recorded of this piece a moment ago, and the log has not been signed since. That happens about \
             once a second: load the page again."
                .to_owned(),
        ),
        "too-often" | "too-many-codes" => (
            "Too many questions at once",
            format!("{}. Wait a little, then try again.", capital(fault.detail)),
        ),
        "does-not-hold" => (
            "The record does not hold",
            format!(
                "This server checked the record before showing it, and a step failed: {}. Nothing of it should be relied on. \
                 Tell the workshop.",
                fault.detail
            ),
        ),
        "internal" => (
            "The server failed",
            "The server could not answer; its own log says more. Try again later.".to_owned(),
        ),
        _ => (fault.title, format!("{}.", capital(fault.detail.trim_end_matches('.')))),
    }
}

/// The page.
#[must_use]
pub fn fault(fault: &Fault<'_>) -> String {
    let (title, text) = words(fault);
    let typed = fault
        .typed
        .map(|typed| typed.chars().take(TYPED_MAX).collect::<String>());
    let main = html! {
        header .plate {
            h1 { span .name { (title) } }
            @if let Some(typed) = typed.as_deref().filter(|typed| !typed.is_empty()) {
                p .typed { "You asked for " q { (typed) } }
            }
            p .sentence { (text) }
        }
        section aria-labelledby="again" {
            h2 #again { "Look it up again" }
            (look_up())
        }
    };
    let document = Document {
        title,
        kicker: "Record of poured pieces",
        origin: fault.origin,
        module: None,
        main,
    };
    document.to_html()
}
