//! The page by which a tablet of the workshop comes to trust the book's own certificate.

use super::document::Document;
use maud::html;

/// The root that a server made itself.
pub struct Rooted<'a> {
    /// SHA-256 of its certificate, pairs of hexadecimal digits with colons between.
    pub fingerprint: &'a str,
    /// Names and addresses for which it can vouch.
    pub names: &'a [String],
    /// The day on which it ends.
    pub ends: &'a str,
}

/// The page. Steps are told by what devices call the thing, not by whose devices they are.
#[must_use]
pub fn trust(origin: &str, root: &Rooted<'_>) -> String {
    let main = html! {
        header .plate {
            h1 { span .name { "Trust this book on a tablet" } }
            p {
                "The line between this server and a tablet is encrypted with a certificate that the workshop made itself. A \
                 device believes it once you have told it to, one time for each device."
            }
        }
        section aria-labelledby="compare" {
            h2 #compare { "1. Compare" }
            p {
                "At the workshop's computer, run " code { "pourbook tls DIR" } ". The fingerprint that it shows must be this \
                 one, pair for pair. If one differs, somebody stands in between: stop, and install nothing."
            }
            p .fingerprint { code { (root.fingerprint) } }
            p .fine { "SHA-256 of the certificate. It ends on " (root.ends) "." }
        }
        section aria-labelledby="fetch" {
            h2 #fetch { "2. Fetch it" }
            p { a href="/trust/root.crt" download="workshop-root.crt" { "Save the workshop's root certificate" } }
            p {
                "It vouches for these names and addresses, and for nothing else: "
                @for (place, name) in root.names.iter().enumerate() {
                    @if place > 0 { ", " }
                    code { (name) }
                }
                "."
            }
        }
        section aria-labelledby="install" {
            h2 #install { "3. Tell the device" }
            ul {
                li {
                    "Tablet or phone: open the saved file. Some devices ask at once; on others it is under the settings for \
                     security, credentials or certificates, as a “CA certificate”. Where the device shows an installed \
                     profile, it must then be switched on in the list of trusted certificates too."
                }
                li {
                    "Computer: import the file into the list of authorities (roots) of the system, or of the browser if it \
                     keeps a list of its own, for web sites only."
                }
                li { "Close the browser, open the book again: the warning is gone." }
            }
            p {
                "When a tablet is sold or lost, nothing needs to be done here: it holds no key. When the workshop's computer \
                 is stolen, remove the certificate from every device."
            }
        }
    };
    let document = Document {
        title: "Trust this book on a tablet",
        kicker: "For the workshop",
        origin,
        module: None,
        main,
    };
    document.to_html()
}
