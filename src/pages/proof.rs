//! What the page can and cannot tell, and the proof that goes with it.

use super::dates;
use super::told::Told;
use maud::{Markup, html};

/// What can be told from a record, and what not.
pub fn limits() -> Markup {
    html! {
        section #limits aria-labelledby="limits-heading" {
            h2 #limits-heading { "What this page can and cannot tell" }
            div .two {
                div {
                    h3 { "It can" }
                    ul {
                        li { "say what the workshop recorded of this piece and when, and that none of it was altered in the log since;" }
                        li { "say what the workshop states of it, and whose assay that rests on;" }
                        li { "agree or disagree with what you measure." }
                    }
                }
                div {
                    h3 { "It cannot" }
                    ul {
                        li { "say that the object in your hand is this piece: a copy can carry a real number;" }
                        li { "say who owns it now, or what happened after the workshop’s last entry;" }
                        li { "say that the workshop recorded the truth, or replace an assay." }
                    }
                }
            }
        }
    }
}

/// Where the reader's own browser checks; `api/check/panel.mjs` says what it puts there.
pub fn by_browser(told: &Told<'_>) -> Markup {
    let about = told.about;
    html! {
        section #check data-check data-serial=(about.report.facts.serial) data-root=(about.root) aria-labelledby="check-heading" {
            h2 #check-heading { "Checked by your own browser" }
            p data-without-script {
                "Your browser runs no script here, so it checks nothing itself. The file below can be checked without this server."
            }
        }
    }
}

/// The proof: the file, what it stands on, how to check it without this server.
pub fn proof(told: &Told<'_>) -> Markup {
    let about = told.about;
    let (accepted, serial) = (about.accepted, &about.report.facts.serial);
    let file = format!("{serial}.proof.json");
    html! {
        section #proof aria-labelledby="proof-heading" {
            h2 #proof-heading { "The proof" }
            p .asof {
                "As of checkpoint " strong { (accepted.checkpoint.size) } ", read on "
                time datetime=(dates::machine(about.at)) { (dates::moment(about.at)) }
                ". This server checked all " (accepted.entries.len()) " entries behind the piece before it showed this page. \
                 You need not take its word for it."
            }
            p {
                a .button href=(format!("/v1/serials/{serial}/proof")) download=(file) { "Download the proof file" }
                span .fine { " about " (about.proof_bytes.div_ceil(1024)) " KiB" }
            }
            h3 { "Check it without this server" }
            p {
                "Compare the root thumbprint below with the one on the certificate. A server that lies about the record could \
                 also state another thumbprint and send a lying script: only what you bring yourself shows that. Then run one of:"
            }
            pre tabindex="0" { code {
                "pourbook-verify " (file) " \\\n  --root " (about.root) "\n\n"
                "node cli.mjs " (file) " \\\n  --root " (about.root)
            } }
            p .fine { "Both are published with the program that keeps such records. Get them from there and not from this server." }
            dl .hashes {
                div { dt { "Root thumbprint" } dd { (grouped(about.root)) } }
                @if let Some((index, entry)) = accepted.newest() {
                    div {
                        dt { "Newest entry of the piece" }
                        dd { "number " (index) ", leaf hash " (grouped(&entry.leaf.to_base64url())) }
                    }
                }
                div {
                    dt { "Checkpoint" }
                    dd { "size " (accepted.checkpoint.size) ", root hash " (grouped(&accepted.checkpoint.root.to_base64())) }
                }
                div { dt { "State, in the log’s word" } dd { span data-stated="state" { (told.state) } } }
                div { dt { "Log" } dd { (about.origin) } }
            }
        }
    }
}

/// A hash in groups of six, so that an eye can compare it.
pub fn grouped(text: &str) -> Markup {
    let letters: Vec<char> = text.chars().collect();
    html! {
        code .hash {
            @for group in letters.chunks(6) { span { (group.iter().collect::<String>()) } }
        }
    }
}
