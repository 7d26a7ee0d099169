//! What the entries of a proof file claim, held against each other.

use super::ancestry::{Lineage, certificates, closing, series_index};
use super::evidence::Evidence;
use super::measures;
use super::proof_file::ProofFile;
use crate::domain::{
    CertificateIssued, Event, FinenessBasis, LotId, LotReceived, MeltClosed, MeltId, MeltInput, PieceGraded,
    PieceWeighed, ScaleRegistered, SeriesId, SeriesOpened, SessionId,
};
use crate::metal::{Fineness, Mass, at_least, blend_fineness};
use std::collections::BTreeMap;

/// The file, its entries, and which of them stand behind the piece.
pub(super) struct Claims<'a> {
    pub file: &'a ProofFile,
    pub evidence: &'a Evidence,
    pub lineage: &'a Lineage,
}

impl Claims<'_> {
    pub(super) fn own(&self) -> impl Iterator<Item = (u64, &Event)> {
        let piece = self.file.piece;
        self.evidence
            .events()
            .filter(move |(_, event)| event.piece() == Some(piece))
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

    pub(super) fn lot(&self, id: LotId) -> Option<&LotReceived> {
        self.evidence.events().find_map(|(_, event)| match event {
            Event::LotReceived(lot) if lot.lot == id => Some(lot),
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

    /// Checks of a session, with the index of each: whether it held.
    fn checks_of(&self, id: SessionId) -> Vec<(u64, bool, bool)> {
        let checks = self.evidence.events().filter_map(|(index, event)| match event {
            Event::SessionOpened(e) if e.session == id => Some((index, true, false)),
            Event::SessionChecked(e) if e.session == id => Some((index, e.held, false)),
            Event::SessionClosed(e) if e.session == id => Some((index, e.held, true)),
            _ => None,
        });
        checks.collect()
    }

    fn melts(&self) -> BTreeMap<MeltId, MeltClosed> {
        let ids = self.lineage.melts.values();
        ids.filter_map(|id| Some((*id, closing(self.evidence, *id)?.1)))
            .collect()
    }
}

/// The serial of the file is the one that the piece was given, in its series.
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
            let size = series
                .shapes
                .iter()
                .find(|s| s.shape == numbered.shape)
                .map(|s| s.size);
            if size != Some(numbered.of) || numbered.number == 0 || numbered.number > numbered.of {
                return Err(format!(
                    "entry {index} gives number {} of {}",
                    numbered.number, numbered.of
                ));
            }
        }
    }
    Ok(format!("{}, check digits hold", given.serial))
}

/// Every melt adds up; what one gives, the next takes; the blend is as stated.
pub(super) fn metal(claims: &Claims<'_>) -> Result<String, String> {
    let melts = claims.melts();
    for (id, closed) in &melts {
        balance(closed).map_err(|why| format!("melt {id}: {why}"))?;
        for input in &closed.inputs {
            handed_on(input, &melts).map_err(|why| format!("melt {id}: {why}"))?;
        }
        blend_stated(claims, closed, &melts).map_err(|why| format!("melt {id}: {why}"))?;
    }
    let poured = claims.own().find_map(|(_, event)| match event {
        Event::PiecePoured(poured) => Some(poured),
        _ => None,
    });
    let poured = poured.ok_or("the entry that poured the piece is missing")?;
    if let Some(closed) = melts.get(&poured.melt) {
        let out = closed.pieces.iter().find(|out| out.piece == poured.piece);
        let from_mould = claims.own().filter_map(|(_, event)| match event {
            Event::PieceWeighed(e) if e.stage == crate::domain::Stage::FromMould => Some(e.mass.mass()),
            _ => None,
        });
        if out.map(|out| out.mass) != from_mould.last() {
            return Err(
                "the melt states another mass for the piece than its reading from the mould".to_owned(),
            );
        }
    }
    Ok(format!(
        "{} melts, {} lots",
        melts.len(),
        claims.lineage.lots.len()
    ))
}

fn balance(closed: &MeltClosed) -> Result<(), String> {
    let sum =
        |masses: &mut dyn Iterator<Item = Mass>| Mass::checked_sum(masses).ok_or("masses too great to add");
    let charge = sum(&mut closed.inputs.iter().map(MeltInput::mass))?;
    if charge != closed.charge {
        return Err(format!(
            "the inputs sum to {charge} g, the charge is stated as {} g",
            closed.charge
        ));
    }
    let prills = closed.prills.as_ref().map(|prills| prills.mass.mass());
    let out = closed
        .pieces
        .iter()
        .map(|out| out.mass)
        .chain([closed.heel.mass()])
        .chain(prills);
    let out = sum(&mut out.into_iter())?;
    if charge.minus(out) != closed.loss {
        return Err(format!(
            "{charge} g in, {out} g out, the loss is stated as {} g",
            closed.loss
        ));
    }
    Ok(())
}

fn handed_on(input: &MeltInput, melts: &BTreeMap<MeltId, MeltClosed>) -> Result<(), String> {
    match input {
        MeltInput::Heel { melt, mass } => match melts.get(melt) {
            Some(source) if source.heel.mass() != *mass => Err(format!(
                "takes a heel of {mass} g, melt {melt} left {} g",
                source.heel.mass()
            )),
            _ => Ok(()),
        },
        MeltInput::Piece { piece, melt, .. } => match melts.get(melt) {
            Some(source) if !source.pieces.iter().any(|out| out.piece == *piece) => {
                Err(format!("takes piece {piece}, which melt {melt} did not give"))
            }
            _ => Ok(()),
        },
        MeltInput::Lot { .. } | MeltInput::Jar { .. } => Ok(()),
    }
}

fn blend_stated(
    claims: &Claims<'_>,
    closed: &MeltClosed,
    melts: &BTreeMap<MeltId, MeltClosed>,
) -> Result<(), String> {
    let mut parts = Vec::new();
    for input in &closed.inputs {
        let fineness = match input {
            MeltInput::Lot { lot, .. } => {
                let lot = claims.lot(*lot).ok_or_else(|| format!("lot {lot} is missing"))?;
                if lot.metal == closed.metal {
                    lot.fineness
                } else {
                    Fineness::ZERO
                }
            }
            MeltInput::Heel { melt, .. } | MeltInput::Piece { melt, .. } => match melts.get(melt) {
                Some(source) => source.fineness,
                None => return Ok(()),
            },
            // A jar is reckoned by the fineness it is kept at, which its own entries state.
            MeltInput::Jar { .. } => return Ok(()),
        };
        parts.push((input.mass(), fineness));
    }
    match blend_fineness(&parts, 1) {
        Some(blend) if blend == closed.fineness => Ok(()),
        Some(blend) => Err(format!(
            "the inputs blend to {blend}, stated is {}",
            closed.fineness
        )),
        None => Err("the inputs have no blend".to_owned()),
    }
}

/// Gradings follow from reading, scale and limits, for every reading whose scale the file describes.
pub(super) fn weight(claims: &Claims<'_>) -> Result<String, String> {
    let mut reading: Option<&PieceWeighed> = None;
    let mut faulty = false;
    let mut regraded = 0;
    for (index, event) in claims.own() {
        match event {
            Event::PieceFaulted(_) => faulty = true,
            Event::PieceWeighed(weighed) => reading = Some(weighed),
            Event::PieceGraded(graded) if !faulty => {
                let weighed = reading.ok_or_else(|| format!("entry {index} grades before any weighing"))?;
                regraded += usize::from(
                    regrade(claims, weighed, graded).map_err(|why| format!("entry {index}: {why}"))?,
                );
            }
            _ => {}
        }
    }
    let reading = reading.ok_or("the piece was never weighed")?;
    let suspect = is_suspect(claims, reading.session);
    let word = if suspect {
        "; SUSPECT: a check of the scale failed after it"
    } else {
        ""
    };
    Ok(format!(
        "{} g; {regraded} gradings recomputed{word}",
        reading.mass
    ))
}

fn regrade(claims: &Claims<'_>, weighed: &PieceWeighed, graded: &PieceGraded) -> Result<bool, String> {
    let Some(scale) = claims.scale_of(weighed.session) else {
        return Ok(false);
    };
    if !weighed.mass.mass().is_multiple_of(scale.d) {
        return Err(format!("{} g is finer than the scale shows", weighed.mass));
    }
    let grade = measures::grade(scale, weighed, graded);
    if grade != graded.grade {
        return Err(format!(
            "{} g makes it {grade}, it is graded {}",
            weighed.mass, graded.grade
        ));
    }
    let guard = graded
        .lower
        .and_then(|_| measures::guard(scale, weighed.mass.mass()));
    if graded.lower.is_some() && guard != graded.guard {
        return Err("the guard band is not the scale's".to_owned());
    }
    Ok(true)
}

pub(super) fn is_suspect(claims: &Claims<'_>, session: SessionId) -> bool {
    claims.checks_of(session).iter().any(|(_, held, _)| !held)
}

/// Each certificate states what the record supports, and the newest rests on a confirmed weighing.
pub(super) fn certificate(claims: &Claims<'_>) -> Result<String, String> {
    let issued = certificates(claims.evidence, &claims.lineage.own, claims.file.piece);
    let Some(newest) = issued.last() else {
        return Ok("none issued yet".to_owned());
    };
    for (place, certificate) in issued.iter().enumerate() {
        if u32::try_from(place.saturating_add(1)) != Ok(certificate.issue) {
            return Err(format!(
                "issue {} stands where another belongs",
                certificate.issue
            ));
        }
        states_the_record(claims, certificate)
            .map_err(|why| format!("issue {}: {why}", certificate.issue))?;
    }
    let scale = claims
        .scale_of(newest.session)
        .ok_or("the scale of the weight of record is missing")?;
    let uncertainty =
        measures::uncertainty(scale, newest.mass.mass()).ok_or("the scale supports no claim")?;
    if uncertainty != newest.uncertainty || at_least(newest.mass.mass(), uncertainty) != newest.at_least {
        return Err(format!(
            "the scale supports +-{uncertainty} g, stated is +-{} g",
            newest.uncertainty
        ));
    }
    match claims.checks_of(newest.session).as_slice() {
        [.., (_, true, true)] => {}
        _ => return Err("the session of the weight of record has no closing check that held".to_owned()),
    }
    if is_suspect(claims, newest.session) {
        return Err("a check of the scale failed in the session of the weight of record".to_owned());
    }
    Ok(format!(
        "issue {}: {} g, +-{} g at k = 2; at least {} g; not hallmarked",
        newest.issue, newest.mass, newest.uncertainty, newest.at_least
    ))
}

fn states_the_record(claims: &Claims<'_>, stated: &CertificateIssued) -> Result<(), String> {
    if stated.serial != claims.file.serial {
        return Err(format!("it states serial {}", stated.serial));
    }
    let series = claims.series(stated.series)?;
    if stated.fineness != series.fineness || stated.metal != series.metal {
        return Err("it states another metal or fineness than its series".to_owned());
    }
    let melts = claims.melts();
    let melt = claims.own().find_map(|(_, event)| match event {
        Event::PiecePoured(poured) => melts.get(&poured.melt),
        _ => None,
    });
    let melt = melt.ok_or("the melt of the piece is not weighed out")?;
    if melt.fineness < stated.fineness {
        return Err(format!(
            "it states {}, the metal is {} as declared",
            stated.fineness, melt.fineness
        ));
    }
    let number = claims.own().find_map(|(_, event)| match event {
        Event::PieceNumbered(numbered) => Some((numbered.number, numbered.of)),
        _ => None,
    });
    if number != stated.number.zip(stated.of) {
        return Err("it states another number than the piece was given".to_owned());
    }
    let weighed = claims.own().any(|(_, event)| {
        matches!(event, Event::PieceWeighed(e) if e.session == stated.session && e.mass == stated.mass)
    });
    if !weighed {
        return Err(format!("it states {} g, which no reading shows", stated.mass));
    }
    let weakest = claims.lineage.lots.keys().filter_map(|lot| claims.lot(*lot));
    let weakest = weakest
        .filter(|lot| lot.metal == stated.metal)
        .map(|lot| lot.basis)
        .min();
    if claims.lineage.traced == "1" && weakest.unwrap_or(FinenessBasis::Declared) != stated.basis {
        return Err(format!(
            "it says its fineness is {}, a lot rests on less",
            stated.basis
        ));
    }
    Ok(())
}
