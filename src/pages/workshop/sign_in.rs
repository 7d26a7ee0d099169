//! The page on which somebody signs in with a token.

use super::form::Typed;
use super::{Leaf, Markup, html};

/// What the page says.
#[derive(Default)]
pub struct SignIn<'a> {
    /// Where one goes afterwards: a path of ours.
    pub next: Option<&'a str>,
    /// What went wrong, if something did.
    pub fault: Option<&'a str>,
    /// What was typed into a form that was sent when nobody was signed in any more: it is kept on the page.
    pub kept: Option<&'a Typed>,
    /// Who is signed in already.
    pub who: Option<(&'a str, &'a str)>,
}

/// The page.
#[must_use]
pub fn sign_in(page: &SignIn<'_>) -> Leaf {
    let main = html! {
        header .plate {
            h1 { span .name { "Sign in" } }
            @match (page.kept.is_some(), page.who) {
                (true, _) => p .sentence role="alert" {
                    "You were signed out before this was sent, so it is " strong { "not yet in the book" }
                    ". Nothing is lost: sign in, and what you typed is there again."
                },
                (false, Some((name, role))) => p .sentence {
                    "You are signed in as " strong { (name) ", " (role) } ". "
                    a href=(page.next.unwrap_or("/home")) { "Go on" } ", or sign in as somebody else."
                },
                (false, None) => p .sentence { "This is the workshop's own side of the book." },
            }
        }
        (fields(page))
        @if page.who.is_none() {
            // What the bench kept of its pages on this device goes with whoever was signed in.
            script type="module" src="/bench/modules/leave.mjs" data-signed-out {}
        }
    };
    Leaf::new("Sign in", main)
}

fn fields(page: &SignIn<'_>) -> Markup {
    html! {
        form .entry method="post" action="/sign-in" {
            @if let Some(next) = page.next {
                input type="hidden" name="next" value=(next);
            }
            @if let Some(kept) = page.kept {
                @for (name, value) in kept.pairs() {
                    input type="hidden" name=(format!("kept.{name}")) value=(value);
                }
            }
            div .field {
                label for="token" { "Your token" }
                input #token name="token" type="password" required autocomplete="current-password" maxlength="200"
                    autocapitalize="none" spellcheck="false" aria-describedby="token-help token-fault"
                    aria-invalid=[page.fault.map(|_| "true")];
                p #token-help .help {
                    "It begins with pb_. Whoever looks after the book makes one with " code { "pourbook token add" } "; it is shown once."
                }
                p #token-fault .fault role=[page.fault.map(|_| "alert")] {
                    @if let Some(fault) = page.fault { (fault) }
                }
            }
            button type="submit" { "Sign in" }
        }
        p .fine {
            "Signing in sets one cookie, which lasts until you sign out or have done nothing for some hours. Pages for buyers set none."
        }
    }
}
