//! Correcting: the past is decided anew, as if the entries in question had said something else.
//!
//! The caller hands in every entry of the log in order, and gets one event that says of each entry whose events differ
//! what it says from now on: those that were asked for, and those that follow from them - a melt's balance, a weight at
//! the assay office, a certificate. What can then not have been is refused and named. A certificate that would state
//! something else is superseded in the same entry; the old one stays to be read.
//!
//! Deliberately absent: reading the log, and private members (they are erased, not corrected).

mod restating;

use super::book::Book;
use super::command::{Command, CorrectEntries, PhotographPiece, SupersedeCertificate};
use super::decide::{Decision, Draft};
use super::draw::{Draw, Moment, Stamp};
use super::event::{EntryCorrected, Event, Restated, Told};
use super::id::PieceId;
use super::private::Private;
use super::refusal::{Refusal, Refused};
use super::words::{CorrectionReason, PieceState, SupersedeReason};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// An entry of the log, as it was recorded.
#[derive(Clone, Debug)]
pub struct PastEntry {
    /// Its index, date and operator.
    pub stamp: Stamp,
    /// Its leaf hash, base64url.
    pub leaf: String,
    /// Its events.
    pub events: Vec<Event>,
}

/// A correction under way.
pub struct Correcting {
    book: Book,
    wanted: BTreeMap<u64, (usize, Option<Command>)>,
    entries: Vec<Restated>,
    subjects: BTreeSet<Uuid>,
    /// Whether the newest certificate of a piece would state something else.
    certificates: BTreeMap<PieceId, bool>,
    reason: CorrectionReason,
    note: Option<String>,
}

/// A correction that can be recorded.
pub struct Corrected {
    /// The book as it is with it.
    pub book: Book,
    /// The events of its entry.
    pub drafts: Vec<Draft>,
    /// The chains that it moves: those of what was said and of what is said now.
    pub subjects: Vec<Uuid>,
}

impl Correcting {
    /// Begins with an empty book.
    ///
    /// # Errors
    /// Of a list that is empty or names an entry twice.
    pub fn new(book: &Book, command: &CorrectEntries) -> Result<Self, Refused> {
        super::decide::short(&[("note", &command.note)])?;
        super::decide::counted(command.corrections.len(), "/corrections")?;
        let mut wanted = BTreeMap::new();
        for (place, correction) in command.corrections.iter().enumerate() {
            let instead = correction.instead.as_deref().cloned();
            if wanted.insert(correction.index, (place, instead)).is_some() {
                let index = correction.index;
                return Err(Refusal::CorrectedTwice { index }.at(format!("/corrections/{place}/index")));
            }
        }
        Ok(Self {
            book: book.anew(&EntryCorrected {
                entries: Vec::new(),
                reason: command.reason,
            }),
            wanted,
            entries: Vec::new(),
            subjects: BTreeSet::new(),
            certificates: BTreeMap::new(),
            reason: command.reason,
            note: command.note.clone(),
        })
    }

    /// Takes the next entry of the log.
    ///
    /// # Errors
    /// What forbids the correction; it is then over.
    pub fn take(&mut self, past: &PastEntry) -> Result<(), Refused> {
        let said = self.book.said(past.stamp.index, past.events.iter());
        let asked = self.wanted.remove(&past.stamp.index);
        let now = match &asked {
            Some((place, instead)) => self.decide_anew(past, &said, *place, instead.as_ref())?,
            None => self
                .follow(past, &said)
                .map_err(|refusal| refusal.at("/corrections"))?,
        };
        self.book.keep();
        if now == said {
            return Ok(());
        }
        let moved = past.events.iter().chain(&said).chain(&now);
        self.subjects.extend(moved.flat_map(Event::subjects));
        let restated = Restated {
            index: past.stamp.index,
            entry: past.leaf.clone(),
            asked: asked.is_some(),
            events: now.into_iter().map(Told).collect(),
        };
        self.book.restate(&restated);
        self.entries.push(restated);
        Ok(())
    }

    /// What an entry says instead: what its command would have made, under the ids that it made.
    fn decide_anew(
        &mut self,
        past: &PastEntry,
        said: &[Event],
        place: usize,
        instead: Option<&Command>,
    ) -> Result<Vec<Event>, Refused> {
        let index = past.stamp.index;
        if let Some(event) = said
            .iter()
            .chain(&past.events)
            .find(|event| !is_correctable(event))
        {
            let kind = event.kind();
            return Err(Refusal::NotCorrectable { index, kind }.at(format!("/corrections/{place}/index")));
        }
        let Some(command) = instead else {
            return Ok(Vec::new());
        };
        if let Command::PhotographPiece(command) = command
            && !past.events.iter().any(|event| shows(event, command))
        {
            return Err(
                Refusal::OtherPhotograph { index }.at(format!("/corrections/{place}/instead/photograph"))
            );
        }
        let mut moment = Moment {
            now: past.stamp.at,
            by: past.stamp.by,
            draw: Draw::again(past.events.iter().filter_map(Event::makes), seed_of(&past.leaf)),
        };
        self.book.number_again(&past.events);
        let drafts = self
            .book
            .decide(index, command, &mut moment)
            .map_err(|refused| Refused {
                pointer: Some(format!(
                    "/corrections/{place}/instead{}",
                    refused.pointer.unwrap_or_default()
                )),
                ..refused
            })?;
        let at = |refusal: Refusal| refusal.at(format!("/corrections/{place}/instead"));
        if let Some(draft) = drafts.iter().find(|draft| !is_correctable(&draft.event)) {
            let kind = draft.event.kind();
            return Err(at(Refusal::NotCorrectable { index, kind }));
        }
        if drafts.iter().any(|draft| !draft.private.is_empty()) {
            return Err(at(Refusal::CorrectionWithPrivate { index }));
        }
        Ok(drafts.into_iter().map(|draft| draft.event).collect())
    }

    /// An entry that nobody asked to correct: what it reckoned is reckoned anew.
    fn follow(&mut self, past: &PastEntry, said: &[Event]) -> Result<Vec<Event>, Refusal> {
        let index = past.stamp.index;
        let mut now = Vec::with_capacity(said.len());
        for (place, event) in said.iter().enumerate() {
            // A jar takes what it is owed: nothing, where nothing is filed off any more.
            if matches!(event, Event::JarFilled(e) if self.book.owed_filling(e.jar, e.melt).is_none()) {
                continue;
            }
            let later = |refusal: Refusal| Refusal::LaterFact {
                index,
                kind: event.kind(),
                refusal: Box::new(refusal),
            };
            let following = said.get(place.saturating_add(1)..).unwrap_or_default();
            let restated = self.book.restated(event, following).map_err(later)?;
            self.book.take(&past.stamp, &restated).map_err(later)?;
            if let Event::CertificateIssued(issued) = &restated {
                self.certificates.insert(issued.piece, restated != *event);
            }
            now.push(restated);
        }
        let fillings: Vec<_> = self.book.owed_fillings().collect();
        for filling in fillings {
            let event = Event::from(filling);
            let kind = event.kind();
            self.book
                .take(&past.stamp, &event)
                .map_err(|refusal| Refusal::LaterFact {
                    index,
                    kind,
                    refusal: Box::new(refusal),
                })?;
            now.push(event);
        }
        if let (Err(refusal), Some(last)) = (self.book.settled(), said.last()) {
            let (kind, refusal) = (last.kind(), Box::new(refusal));
            return Err(Refusal::LaterFact { index, kind, refusal });
        }
        Ok(now)
    }

    /// The entry that records the correction, at `index`: what is said instead, and the certificates that it supersedes.
    ///
    /// # Errors
    /// An entry that is not there, a correction that changes nothing, a certificate that could not be issued again.
    pub fn finish(self, index: u64, moment: &mut Moment) -> Result<Corrected, Refused> {
        if let Some((index, (place, _))) = self.wanted.first_key_value() {
            let index = *index;
            return Err(Refusal::NoSuchEntry { index }.at(format!("/corrections/{place}/index")));
        }
        if self.entries.is_empty() {
            return Err(Refusal::CorrectsNothing.at("/corrections"));
        }
        let mut book = self.book;
        let mut decision = Decision::at(&mut book, index, moment);
        let corrected = EntryCorrected {
            entries: self.entries,
            reason: self.reason,
        };
        let note = Private::none().text("note", self.note.as_deref());
        decision
            .add_with(corrected, note)
            .map_err(|refusal| refusal.at("/corrections"))?;
        for (piece, changed) in self.certificates {
            if changed && decision.may_reissue(piece) {
                let supersede = SupersedeCertificate {
                    piece,
                    reason: SupersedeReason::Corrected,
                    note: None,
                };
                decision
                    .supersede_certificate(&supersede)
                    .map_err(|refused| refused.refusal.at("/corrections"))?;
            }
        }
        let drafts = decision.drafts();
        book.keep();
        let mut subjects = self.subjects;
        subjects.extend(drafts.iter().flat_map(|draft| draft.event.subjects()));
        Ok(Corrected {
            book,
            drafts,
            subjects: subjects.into_iter().collect(),
        })
    }
}

/// Keys, operators, the clock, erasures and corrections stand for themselves; a serial and an edition number are given once, and a
/// certificate is superseded; what was printed is on paper.
#[must_use]
pub const fn is_correctable(event: &Event) -> bool {
    !matches!(
        event,
        Event::KeyAdded(_)
            | Event::KeyRevoked(_)
            | Event::KeySuspect(_)
            | Event::ClockSet(_)
            | Event::OperatorRevoked(_)
            | Event::FieldErased(_)
            | Event::EntryCorrected(_)
            | Event::PieceSerialled(_)
            | Event::PieceNumbered(_)
            | Event::CertificateIssued(_)
            | Event::CertificateSuperseded(_)
            | Event::CertificatePrinted(_)
    )
}

/// Whether an event holds the photograph that a command names: its file was kept for that event, and for no other.
fn shows(event: &Event, command: &PhotographPiece) -> bool {
    matches!(event, Event::PiecePhotographed(e) if (e.photograph, e.thumbnail, e.width, e.height)
        == (command.photograph, command.thumbnail, command.width, command.height))
}

/// More ids than an entry made come from its own hash: the same for everybody who decides it anew.
fn seed_of(leaf: &str) -> [u8; 32] {
    use sha2::{Digest, Sha256};
    Sha256::new()
        .chain_update(b"pourbook correction\n")
        .chain_update(leaf.as_bytes())
        .finalize()
        .into()
}

impl Decision<'_> {
    /// A piece at its end keeps the certificate that it had. So does one whose last weighing is not final, as after it was
    /// bought back: it gets a new issue once it is finally weighed. What the certificate stated is restated in any case.
    fn may_reissue(&self, piece: PieceId) -> bool {
        let at_its_end = |state| {
            matches!(
                state,
                PieceState::Condemned | PieceState::Remelted | PieceState::Refined | PieceState::Destroyed
            )
        };
        self.book()
            .piece(piece)
            .is_some_and(|piece| !at_its_end(piece.state) && self.book().finally_weighed(piece).is_ok())
    }
}
