//! The code of a certificate: the form in which it is typed, and the answer.

use super::dates;
use super::document::Document;
use crate::domain::{Serial, Timestamp};
use maud::{Markup, html};

/// The section of a piece's page.
pub fn section(serial: &str) -> Markup {
    html! {
        section #code aria-labelledby="code-heading" {
            h2 #code-heading { "Does this certificate belong to this record?" }
            p {
                "A certificate of this workshop carries a code that stands nowhere else. Type it here to see whether the paper \
                 belongs to this record, and whether a newer issue took its place."
            }
            (form(serial, None))
        }
    }
}

fn form(serial: &str, fault: Option<&str>) -> Markup {
    html! {
        form .ask method="post" action=(format!("/p/{serial}/code")) {
            label for="certificate-code" { "The code on the certificate" }
            div .line {
                input #certificate-code name="code" type="text" required maxlength="40" autocomplete="off"
                    autocapitalize="characters" spellcheck="false" aria-invalid=[fault.map(|_| "true")]
                    aria-describedby="code-hint";
                button type="submit" { "Ask" }
            }
            p #code-hint .fine {
                @if let Some(why) = fault { span .fault { (why) } " " }
                "11 letters and digits. Small letters, spaces and hyphens do not matter. It is sent to this server and not kept."
            }
        }
    }
}

/// What only the holder of a certificate is shown.
pub struct Shown {
    /// What it is.
    pub member: String,
    /// Its value.
    pub value: String,
}

/// What the page of an answer tells.
pub struct CodeAnswer<'a> {
    /// The serial.
    pub serial: &'a Serial,
    /// Whether the code belongs to a certificate of the piece; none where it was no code.
    pub belongs: Option<bool>,
    /// The answer in words, or what is wrong with what was typed.
    pub words: &'a str,
    /// The issue that it is of.
    pub issue: Option<u32>,
    /// When that was made.
    pub issued: Option<Timestamp>,
    /// Whether a newer issue took its place.
    pub superseded: bool,
    /// What only the holder is shown.
    pub holder: &'a [Shown],
    /// The name of the log.
    pub origin: &'a str,
}

/// The page of an answer.
#[must_use]
pub fn code(answer: &CodeAnswer<'_>) -> String {
    let serial = answer.serial.to_string();
    let title = match (answer.belongs, answer.superseded) {
        (None, _) => "This cannot be read as a code",
        (Some(false), _) => "It does not belong",
        (Some(true), true) => "It belongs, and is superseded",
        (Some(true), false) => "It belongs to this record",
    };
    let main = html! {
        header .plate {
            h1 { span .name { (title) } }
            p .serial { (serial) }
            p .sentence { (answer.words) }
        }
        @if let (Some(issue), Some(issued)) = (answer.issue, answer.issued) {
            section aria-labelledby="issue-heading" {
                h2 #issue-heading { "The certificate" }
                dl .label {
                    div { dt { "Issue" } dd { (issue) " of " (dates::day(issued)) } }
                    @for shown in answer.holder { div { dt { (named(&shown.member)) } dd { (shown.value) } } }
                }
                p { a href=(format!("/p/{serial}?issue={issue}")) { "The record, as the holder of issue " (issue) " reads it" } }
            }
        }
        section aria-labelledby="again-heading" {
            h2 #again-heading { "Type a code again" }
            (form(&serial, answer.belongs.is_none().then_some(answer.words)))
            p { a href=(format!("/p/{serial}")) { "Back to the record of " (serial) } }
        }
    };
    let document = Document {
        title: &format!("{title} · {serial}"),
        kicker: "The code of a certificate",
        origin: answer.origin,
        module: None,
        main,
    };
    document.to_html()
}

fn named(member: &str) -> String {
    let mut letters = member.replace('_', " ");
    if let Some(first) = letters.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    letters
}
