//! The issues of the certificate: what an older one stated, and what changed since.

use super::dates;
use super::sentence::ounces;
use super::told::{Issue, Told};
use super::words;
use crate::domain::CertificateIssued;
use maud::{Markup, html};

/// The issue that the reader holds, if it is not the newest.
pub fn older_issue<'t, 'a>(told: &'t Told<'a>) -> Option<&'t Issue<'a>> {
    let asked = told.about.issue?;
    let newest = told.certificate()?;
    let issue = told.issues.iter().find(|issue| issue.stated.issue == asked)?;
    (issue.stated.issue != newest.stated.issue).then_some(issue)
}

/// What a certificate states, line by line.
fn lines(told: &Told<'_>, stated: &CertificateIssued) -> Vec<(&'static str, String)> {
    let number = match stated.number.zip(stated.of) {
        Some((number, of)) => format!("{number} of {of}"),
        None => "none".to_owned(),
    };
    let marks = stated.marks.as_ref();
    vec![
        ("Series", told.title(stated.series)),
        ("Number", number),
        ("Metal", stated.metal.word().to_owned()),
        (
            "Weight",
            format!(
                "{} g ± {} g ({} ozt)",
                stated.mass,
                stated.uncertainty,
                ounces(stated.mass.mass())
            ),
        ),
        ("At least", format!("{} g", stated.at_least)),
        (
            "Fineness",
            format!("{}, {}", stated.fineness, words::basis(stated.basis, marks)),
        ),
        (
            "Marks",
            marks.map_or_else(|| "no hallmark".to_owned(), words::marks),
        ),
    ]
}

/// What the issue that the reader holds stated, beside what the newest states. Nothing where they hold the newest.
pub fn changed(told: &Told<'_>) -> Markup {
    let (Some(older), Some(newest)) = (older_issue(told), told.certificate()) else {
        return html! {};
    };
    let (was, is) = (lines(told, older.stated), lines(told, newest.stated));
    let rows = was.into_iter().zip(is);
    html! {
        section .issues aria-labelledby="issues" {
            h2 #issues { "What changed since issue " (older.stated.issue) }
            div .wide {
                table {
                    thead {
                        tr {
                            th scope="col" { "Stated" }
                            th scope="col" { "Issue " (older.stated.issue) ", " (dates::day(older.at)) }
                            th scope="col" { "Issue " (newest.stated.issue) ", " (dates::day(newest.at)) }
                        }
                    }
                    tbody {
                        @for ((name, was), (_, is)) in rows {
                            tr {
                                th scope="row" { (name) }
                                @if was == is {
                                    td { (was) }
                                    td .same { "the same" }
                                } @else {
                                    td { s { (was) } }
                                    td { strong { (is) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
