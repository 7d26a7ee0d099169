//! What the entries of a proof file claim, held against each other.
//!
//! Here are the claims and the looks into the file that all of them take. Each claim stands in a file of its own: the
//! life of the piece, the melts behind it, its weight, the assay office, its edition, its certificates.

mod certificate;
mod edition;
mod life;
mod melts;
mod office;
mod states;
mod weight;

pub(super) use certificate::certificate;
pub(super) use edition::{close_of, edition};
pub(super) use life::{Life, Told, follow};
pub(super) use melts::metal;
pub(super) use office::{office, say_hallmark};
pub(super) use states::place;
pub(super) use weight::weight;

use super::ancestry::{Lineage, closing, series_index};
use super::evidence::Evidence;
use super::proof_file::ProofFile;
use crate::domain::{
    CertificateIssued, Event, FinenessBasis, LotId, MeltClosed, MeltId, PieceNumbered, PiecePoured,
    ScaleRegistered, SeriesId, SeriesOpened, SessionId,
};
use crate::metal::{Fineness, Metal};
use std::collections::BTreeMap;

/// The file, its entries, and which of them stand behind the piece.
pub(super) struct Claims<'a> {
    pub file: &'a ProofFile,
    pub evidence: &'a Evidence,
    pub lineage: &'a Lineage,
}

/// A check weighing of a session.
struct Check {
    index: u64,
    held: bool,
    closing: bool,
}

/// A lot, received or come back from the refiner.
pub(super) struct LotTold {
    pub number: u32,
    pub metal: Metal,
    pub fineness: Fineness,
    pub basis: FinenessBasis,
    /// It came back from a refiner; what went there is not followed.
    pub outturn: bool,
}

impl Claims<'_> {
    /// The events of the piece, in the order of the log, with the indexes of their entries.
    pub(super) fn own(&self) -> impl Iterator<Item = (u64, &Event)> {
        let piece = self.file.piece;
        self.evidence
            .events()
            .filter(move |(_, event)| event.piece() == Some(piece))
    }

    /// The events of one entry.
    fn beside(&self, index: u64) -> impl Iterator<Item = &Event> {
        self.evidence
            .events()
            .filter(move |(at, _)| *at == index)
            .map(|(_, event)| event)
    }

    fn series(&self, id: SeriesId) -> Result<&SeriesOpened, String> {
        let index = series_index(self.evidence, id);
        self.evidence
            .events()
            .find_map(|(at, event)| match event {
                Event::SeriesOpened(opened) if opened.series == id && Some(at) == index => Some(opened),
                _ => None,
            })
            .ok_or_else(|| format!("series {id} is missing"))
    }

    /// The code of a series whose opening the file holds.
    pub(super) fn series_code(&self, id: SeriesId) -> Option<String> {
        Some(self.series(id).ok()?.code.as_str().to_owned())
    }

    pub(super) fn lot(&self, id: LotId) -> Option<LotTold> {
        self.evidence.events().find_map(|(_, event)| match event {
            Event::LotReceived(lot) if lot.lot == id => Some(LotTold {
                number: lot.number,
                metal: lot.metal,
                fineness: lot.fineness,
                basis: lot.basis,
                outturn: false,
            }),
            Event::LotOutturned(lot) if lot.lot == id => Some(LotTold {
                number: lot.number,
                metal: lot.metal,
                fineness: lot.fineness,
                basis: FinenessBasis::Assayed,
                outturn: true,
            }),
            Event::LotFound(lot) if lot.lot == id => Some(LotTold {
                number: lot.number,
                metal: lot.metal,
                fineness: lot.fineness,
                basis: FinenessBasis::Declared,
                outturn: false,
            }),
            _ => None,
        })
    }

    fn scale_of(&self, id: SessionId) -> Option<&ScaleRegistered> {
        let scale = self.evidence.events().find_map(|(_, event)| match event {
            Event::SessionOpened(opened) if opened.session == id => Some(opened.scale),
            _ => None,
        })?;
        self.evidence.events().find_map(|(_, event)| match event {
            Event::ScaleRegistered(registered) if registered.scale == scale => Some(registered),
            _ => None,
        })
    }

    /// Checks of a session, in order.
    fn checks_of(&self, id: SessionId) -> Vec<Check> {
        let checks = self.evidence.events().filter_map(|(index, event)| {
            let (held, closing) = match event {
                Event::SessionOpened(e) if e.session == id => (true, false),
                Event::SessionChecked(e) if e.session == id => (e.held, false),
                Event::SessionClosed(e) if e.session == id => (e.held, true),
                _ => return None,
            };
            Some(Check { index, held, closing })
        });
        checks.collect()
    }

    /// Whether a check that held came after a reading of the entry at `index`.
    fn is_bracketed(&self, session: SessionId, index: u64) -> bool {
        let checks = self.checks_of(session);
        checks.iter().any(|check| check.held && check.index > index)
    }

    /// Whether a check failed after a reading of the entry at `index`, and none held in between, as far as the file
    /// holds the session.
    pub(super) fn is_suspect(&self, session: SessionId, index: u64) -> bool {
        let failed = self.checks_of(session).iter().any(|check| !check.held);
        failed && !self.is_bracketed(session, index)
    }

    fn melts(&self) -> BTreeMap<MeltId, MeltClosed> {
        let ids = self.lineage.melts.values();
        ids.filter_map(|id| Some((*id, closing(self.evidence, *id)?.1)))
            .collect()
    }

    fn poured(&self) -> Result<&PiecePoured, String> {
        let poured = self.own().find_map(|(_, event)| match event {
            Event::PiecePoured(poured) => Some(poured),
            _ => None,
        });
        poured.ok_or_else(|| "the entry that poured the piece is missing".to_owned())
    }

    /// The certificates of the piece, oldest first, with the indexes of their entries.
    pub(super) fn issued(&self) -> Vec<(u64, &CertificateIssued)> {
        let piece = self.file.piece;
        let issued = self.evidence.events().filter_map(|(index, event)| match event {
            Event::CertificateIssued(e) if e.piece == piece => Some((index, e)),
            _ => None,
        });
        issued.collect()
    }
}

/// The serial of the file is the one that the piece was given, in the series that it then was in; its number is one of
/// that edition.
pub(super) fn serial(claims: &Claims<'_>) -> Result<String, String> {
    let given: Vec<_> = claims
        .own()
        .filter_map(|(_, event)| match event {
            Event::PieceSerialled(given) => Some(given),
            _ => None,
        })
        .collect();
    let [given] = given.as_slice() else {
        return Err(format!("the piece was given {} serials", given.len()));
    };
    if given.serial != claims.file.serial {
        return Err(format!(
            "the piece was given {}, the file says {}",
            given.serial, claims.file.serial
        ));
    }
    let series = claims.series(given.series)?;
    if given.serial.code() != &series.code || given.serial.number().len() != usize::from(series.digits) {
        return Err(format!(
            "{} is no serial of series {}",
            given.serial,
            series.code.as_str()
        ));
    }
    for (index, event) in claims.own() {
        if let Event::PieceNumbered(numbered) = event {
            number_exists(claims, numbered).map_err(|why| format!("entry {index}: {why}"))?;
        }
    }
    Ok(format!("{}, check digits hold", given.serial))
}

fn number_exists(claims: &Claims<'_>, numbered: &PieceNumbered) -> Result<(), String> {
    let series = claims.series(numbered.series)?;
    let mut shapes = series.shapes.iter();
    let size = shapes.find(|s| s.shape == numbered.shape).map(|s| s.size);
    let within = numbered.number != 0 && numbered.number <= numbered.of;
    if size == Some(numbered.of) && within {
        Ok(())
    } else {
        Err(format!("gives number {} of {}", numbered.number, numbered.of))
    }
}
