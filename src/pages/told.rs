//! What a check accepted of a piece, taken apart for the page: its series, its issues, who recorded what.

use super::beside::Beside;
use crate::check::{Accepted, AcceptedEntry, Report};
use crate::domain::{
    CertificateIssued, CertificateSuperseded, Event, OperatorId, PiecePoured, PieceState, SeriesId,
    SeriesOpened, Timestamp,
};
use std::collections::BTreeMap;

/// What a page of a piece is made from.
pub struct About<'a> {
    /// The outcome of the check.
    pub report: &'a Report,
    /// What it accepted.
    pub accepted: &'a Accepted,
    /// What the server says beside the file.
    pub beside: &'a Beside,
    /// The titles of series that are not erased; the vault's word.
    pub titles: &'a BTreeMap<SeriesId, String>,
    /// The name of the log.
    pub origin: &'a str,
    /// The root thumbprint that this server states.
    pub root: &'a str,
    /// When the checkpoint was read.
    pub at: Timestamp,
    /// How long the proof file is, bytes.
    pub proof_bytes: usize,
    /// Whether the serial was typed with its check digits.
    pub slip_checked: bool,
    /// The issue of a certificate that the reader holds, if the address names one.
    pub issue: Option<u32>,
}

/// What every accepted file holds is not in this one: a bug of the check, since it accepted it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the checked file does not hold the {0} of the piece")]
pub struct Untold(pub &'static str);

/// One issue of the certificate.
pub struct Issue<'a> {
    /// When it was issued.
    pub at: Timestamp,
    /// What it states.
    pub stated: &'a CertificateIssued,
    /// What took its place, and when.
    pub superseded: Option<(Timestamp, &'a CertificateSuperseded)>,
}

/// A piece, as its entries tell it.
pub struct Told<'a> {
    pub about: &'a About<'a>,
    pub state: PieceState,
    pub before: Option<PieceState>,
    pub poured: &'a PiecePoured,
    /// The series that it is in now.
    pub series: &'a SeriesOpened,
    /// Its certificates, oldest first.
    pub issues: Vec<Issue<'a>>,
    /// Those who recorded the entries that the page tells, in the order in which they appear.
    people: Vec<OperatorId>,
}

impl<'a> Told<'a> {
    pub fn of(about: &'a About<'a>) -> Result<Self, Untold> {
        let accepted = about.accepted;
        let facts = &about.report.facts;
        let state = facts.state.and_then(state_of).ok_or(Untold("state"))?;
        let mut poured = None;
        let mut series = None;
        for (_, event) in accepted.events() {
            match event {
                Event::PiecePoured(e) if e.piece == accepted.piece => {
                    poured = Some(e);
                    series = Some(e.series);
                }
                Event::PieceMoved(e) if e.piece == accepted.piece => series = Some(e.to),
                _ => {}
            }
        }
        let poured = poured.ok_or(Untold("pour"))?;
        let series = series
            .and_then(|id| series_of(accepted, id))
            .ok_or(Untold("series"))?;
        let mut people = Vec::new();
        for entry in accepted
            .entries
            .values()
            .filter(|entry| !entry.recorded.is_key_entry())
        {
            if !people.contains(&entry.recorded.payload.by) {
                people.push(entry.recorded.payload.by);
            }
        }
        Ok(Self {
            about,
            state,
            before: facts.before.and_then(state_of),
            poured,
            series,
            issues: issues(accepted),
            people,
        })
    }

    /// The newest issue of the certificate.
    pub fn certificate(&self) -> Option<&Issue<'a>> {
        self.issues.last()
    }

    /// The edition number and the size of the edition.
    pub fn number(&self) -> Option<(u32, u32)> {
        let piece = self.about.accepted.piece;
        let numbered = self.about.accepted.events().filter_map(|(_, event)| match event {
            Event::PieceNumbered(e) if e.piece == piece => Some((e.number, e.of)),
            _ => None,
        });
        numbered.last()
    }

    /// The name of a series: its title, or its code where the title was erased or never given.
    pub fn title(&self, id: SeriesId) -> String {
        let code = || series_of(self.about.accepted, id).map(|series| format!("series {}", series.code));
        let title = self.about.titles.get(&id).cloned();
        title.or_else(code).unwrap_or_else(|| "another series".to_owned())
    }

    /// The letter that stands for whoever recorded an entry.
    pub fn person(&self, entry: &AcceptedEntry) -> String {
        let by = entry.recorded.payload.by;
        let place = self.people.iter().position(|known| *known == by);
        place.map_or_else(|| "?".to_owned(), letters)
    }

    /// The people of the page, each with its letter.
    pub fn people(&self) -> impl Iterator<Item = (String, OperatorId)> {
        self.people
            .iter()
            .enumerate()
            .map(|(place, by)| (letters(place), *by))
    }
}

/// A, B … Z, then A1, B1 …
fn letters(place: usize) -> String {
    let letter = u8::try_from(place % 26).map_or('?', |letter| char::from(b'A'.saturating_add(letter)));
    match place / 26 {
        0 => letter.to_string(),
        round => format!("{letter}{round}"),
    }
}

fn state_of(word: &str) -> Option<PieceState> {
    PieceState::ALL.iter().copied().find(|state| state.word() == word)
}

/// The series with an id, as it was opened.
pub fn series_of(accepted: &Accepted, id: SeriesId) -> Option<&SeriesOpened> {
    accepted.events().find_map(|(_, event)| match event {
        Event::SeriesOpened(opened) if opened.series == id => Some(opened),
        _ => None,
    })
}

fn issues(accepted: &Accepted) -> Vec<Issue<'_>> {
    let at = |index: u64| {
        accepted
            .entries
            .get(&index)
            .map_or(Timestamp(0), AcceptedEntry::at)
    };
    let mut issues: Vec<Issue<'_>> = Vec::new();
    for (index, event) in accepted.events() {
        match event {
            Event::CertificateIssued(stated) if stated.piece == accepted.piece => issues.push(Issue {
                at: at(index),
                stated,
                superseded: None,
            }),
            _ => {}
        }
    }
    for (index, event) in accepted.events() {
        if let Event::CertificateSuperseded(over) = event
            && let Some(issue) = issues
                .iter_mut()
                .find(|issue| issue.stated.certificate == over.certificate)
        {
            issue.superseded = Some((at(index), over));
        }
    }
    issues
}
