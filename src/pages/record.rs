//! The page of a piece.

use super::document::Document;
use super::notices::notices;
use super::proof::{by_browser, limits, proof};
use super::sentence::{heading, label, sentence};
use super::story::story;
use super::told::{About, Told, Untold};
use super::{certificate, code, matching, photographs};
use maud::html;

/// Why there is no page.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoIssue {
    /// The address names an issue of the certificate that was never made.
    #[error("issue {0} of this certificate was never made")]
    NeverMade(u32),
    /// The checked file lacks something: a bug of the check.
    #[error(transparent)]
    Untold(#[from] Untold),
}

/// The page of a piece, whole.
///
/// # Errors
/// [`NoIssue`].
pub fn record(about: &About<'_>) -> Result<String, NoIssue> {
    let told = Told::of(about)?;
    if let Some(issue) = about.issue
        && !told.issues.iter().any(|known| known.stated.issue == issue)
    {
        return Err(NoIssue::NeverMade(issue));
    }
    let facts = &about.report.facts;
    let title = format!("{} · {}", facts.serial, told.title(told.series.series));
    let main = html! {
        article {
            header .plate {
                (heading(&told))
                (sentence(&told))
                p .asof-short { "As of checkpoint " (about.accepted.checkpoint.size) ", " (super::dates::moment(about.at)) }
            }
            (notices(&told))
            (certificate::changed(&told))
            (photographs::section(&told))
            section #facts aria-labelledby="facts-heading" {
                h2 #facts-heading { "What the maker states" }
                (label(&told))
            }
            (matching::section(&facts.serial))
            (story(&told))
            (limits())
            @if told.certificate().is_some() { (code::section(&facts.serial)) }
            (by_browser(&told))
            (proof(&told))
        }
    };
    let document = Document {
        title: &title,
        kicker: "Record of a poured piece",
        origin: about.origin,
        module: Some("panel.mjs"),
        main,
    };
    Ok(document.to_html())
}
