//! Which entries a proof file holds, and how much of the metal they follow.
//!
//! The builder and the checker call the same function on what they have, so the file must hold just these entries.
//! Of a melt only the entry that weighed it out is read: it restates every input, and an input piece's own history is
//! not walked. Melts are taken newest first; since metal only flows from earlier melts into later ones, each is
//! reached once, with its whole share. What comes from a refiner is a lot: what went there is not walked. A heel that went
//! on with another weight than it was weighed out with was counted in between, so its stock-takes are read too.

use super::corrected::{AsCorrected, corrections_in};
use crate::domain::{Event, LotId, MeltClosed, MeltId, MeltInput, PieceId, ScaleId, SeriesId, SessionId};
use crate::metal::Mass;
use crate::record::Entry;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

/// After so many melts the walk stops and says what is left.
pub const MELTS_MAX: usize = 64;
/// Shares are counted in parts of this.
const WHOLE: u128 = 1_000_000_000_000;
/// Below this share (0.1 %) the rest need not be followed.
const ENOUGH: u128 = WHOLE / 1000;

/// Where entries are looked up: the server's views, or the file itself.
pub trait Ancestry {
    /// Indexes of the entries in a chain that are at hand, in log order.
    fn history(&self, subject: Uuid) -> Vec<u64>;
    /// An entry.
    fn entry(&self, index: u64) -> Option<Arc<Entry>>;
    /// Indexes of the key entries that are at hand, in log order.
    fn key_entries(&self) -> Vec<u64>;
}

/// Why entries cannot be gathered.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Untraceable {
    /// An entry that others refer to is not at hand.
    #[error("{what} is referred to, but its entry is missing")]
    Missing {
        /// What.
        what: String,
    },
    /// A melt takes metal from one that was weighed out after it.
    #[error("melt {melt} takes metal from a later melt")]
    Backwards {
        /// The melt.
        melt: MeltId,
    },
    /// Masses that cannot be.
    #[error("melt {melt} states masses that cannot be")]
    Masses {
        /// The melt.
        melt: MeltId,
    },
}

/// The entries behind a piece, and what they say.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Lineage {
    /// Entry indexes, in log order.
    pub indexes: BTreeSet<u64>,
    /// The piece's own entries, in order.
    pub own: Vec<u64>,
    /// Melts that were followed, by the index of the entry that weighed them out.
    pub melts: BTreeMap<u64, MeltId>,
    /// Share of the piece by lot, in parts of 10^12, rounded down.
    pub lots: BTreeMap<LotId, u128>,
    /// Followed fraction, as the file states it.
    pub traced: String,
    /// Lots, melts, series, sessions and scales that were read.
    pub read: BTreeSet<Uuid>,
}

/// Gathers the entries behind a piece, as corrected: also every correction in the chain of the piece, or of something
/// behind it that is read. What a correction says may lead to other things, so it is looked again until none is new.
///
/// # Errors
/// [`Untraceable`] if an entry is missing or masses cannot be.
pub fn lineage(piece: PieceId, source: &dyn Ancestry) -> Result<Lineage, Untraceable> {
    let mut corrections = corrections_in(source, [piece.0])?;
    loop {
        let mut lineage = trace(piece, &AsCorrected::new(source, &corrections)?)?;
        let known = corrections.len();
        corrections.extend(corrections_in(source, lineage.read.iter().copied())?);
        if corrections.len() == known {
            lineage.indexes.extend(corrections);
            return Ok(lineage);
        }
    }
}

fn trace(piece: PieceId, source: &dyn Ancestry) -> Result<Lineage, Untraceable> {
    let mut lineage = Lineage {
        own: source.history(piece.0),
        ..Lineage::default()
    };
    lineage.indexes.extend(source.key_entries());
    lineage.indexes.extend(&lineage.own);
    let mut melt = None;
    let mut session = None;
    let mut certified = None;
    let (mut bought_back, mut immersed) = (None, None);
    let mut series = BTreeSet::new();
    let mut now = None;
    for index in &lineage.own {
        let entry = find(source, *index)?;
        for event in entry.events() {
            match event {
                Event::PiecePoured(e) if e.piece == piece => {
                    melt = Some(e.melt);
                    series.insert(e.series);
                    now = Some(e.series);
                }
                Event::PieceMoved(e) if e.piece == piece => {
                    series.insert(e.to);
                    now = Some(e.to);
                }
                Event::PieceWeighed(e) if e.piece == piece => session = Some(e.session),
                Event::PieceGravity(e) if e.piece == piece => immersed = Some(e.session),
                Event::PieceBoughtBack(e) if e.piece == piece => bought_back = Some(e.session),
                Event::CertificateIssued(e) if e.piece == piece => certified = Some(e.session),
                _ => {}
            }
        }
    }
    for id in series {
        lineage.read.insert(id.0);
        lineage
            .indexes
            .insert(first(source, id.0, || format!("series {id}"))?);
    }
    if let Some(id) = now {
        lineage.indexes.extend(close_of(source, id)?);
    }
    for id in bought_back.into_iter().chain(immersed) {
        add_session(source, id, false, &mut lineage)?;
    }
    // Without a certificate nothing rests on the closing check, and its absence could not be told from a truncation.
    if let Some(id) = certified {
        add_session(source, id, true, &mut lineage)?;
    } else if let Some(id) = session {
        add_session(source, id, false, &mut lineage)?;
    }
    if let Some(melt) = melt {
        follow(source, melt, &mut lineage)?;
    } else {
        "0".clone_into(&mut lineage.traced);
    }
    Ok(lineage)
}

/// The entry that closed a series, if it is at hand. That it is left out cannot be told from a series that is open.
fn close_of(source: &dyn Ancestry, series: SeriesId) -> Result<Option<u64>, Untraceable> {
    for index in source.history(series.0) {
        let closes = |event: &Event| matches!(event, Event::SeriesClosed(e) if e.series == series);
        if find(source, index)?.events().any(closes) {
            return Ok(Some(index));
        }
    }
    Ok(None)
}

fn find(source: &dyn Ancestry, index: u64) -> Result<Arc<Entry>, Untraceable> {
    source.entry(index).ok_or_else(|| Untraceable::Missing {
        what: format!("entry {index}"),
    })
}

fn first(source: &dyn Ancestry, subject: Uuid, what: impl Fn() -> String) -> Result<u64, Untraceable> {
    source
        .history(subject)
        .first()
        .copied()
        .ok_or_else(|| Untraceable::Missing { what: what() })
}

fn add_session(
    source: &dyn Ancestry,
    session: SessionId,
    whole: bool,
    lineage: &mut Lineage,
) -> Result<(), Untraceable> {
    let opened = first(source, session.0, || format!("session {session}"))?;
    lineage.read.insert(session.0);
    lineage.indexes.insert(opened);
    if whole {
        lineage.indexes.extend(source.history(session.0));
    }
    if let Some(scale) = scale_of(&*find(source, opened)?, session) {
        lineage.read.insert(scale.0);
        lineage
            .indexes
            .insert(first(source, scale.0, || format!("scale {scale}"))?);
    }
    Ok(())
}

fn scale_of(entry: &Entry, session: SessionId) -> Option<ScaleId> {
    entry.events().find_map(|event| match event {
        Event::SessionOpened(e) if e.session == session => Some(e.scale),
        _ => None,
    })
}

/// The event that weighed a melt out, and its index.
pub(super) fn closing(source: &dyn Ancestry, melt: MeltId) -> Option<(u64, MeltClosed)> {
    source.history(melt.0).into_iter().find_map(|index| {
        let entry = source.entry(index)?;
        let closed = entry.events().find_map(|event| match event {
            Event::MeltClosed(closed) if closed.melt == melt => Some(closed.clone()),
            _ => None,
        })?;
        Some((index, closed))
    })
}

/// The stock-takes of a heel that did not go on as it was weighed out: then a count says what it weighed.
fn counts_of_heel(source: &dyn Ancestry, melt: MeltId, taken: Mass) -> Vec<u64> {
    if closing(source, melt).is_none_or(|(_, closed)| closed.heel.mass() == taken) {
        return Vec::new();
    }
    let counts = |event: &Event| matches!(event, Event::MeltCounted(e) if e.melt == melt);
    let history = source.history(melt.0).into_iter();
    history
        .filter(|index| {
            source
                .entry(*index)
                .is_some_and(|entry| entry.events().any(counts))
        })
        .collect()
}

/// The entry that opened a series.
pub(super) fn series_index(source: &dyn Ancestry, series: SeriesId) -> Option<u64> {
    source.history(series.0).first().copied()
}

fn follow(source: &dyn Ancestry, start: MeltId, lineage: &mut Lineage) -> Result<(), Untraceable> {
    let mut waiting: BTreeMap<u64, (MeltClosed, u128)> = BTreeMap::new();
    // Shares of melts that are not weighed out yet: they cannot be followed.
    let mut lost: u128 = 0;
    match closing(source, start) {
        Some((index, closed)) => {
            waiting.insert(index, (closed, WHOLE));
        }
        None => lost = WHOLE,
    }
    while let Some((index, (closed, share))) = waiting.pop_last() {
        let rest = left(&waiting, lost);
        if lineage.melts.len() >= MELTS_MAX
            || (!lineage.melts.is_empty() && rest.saturating_add(share) < ENOUGH)
        {
            waiting.insert(index, (closed, share));
            break;
        }
        lineage.indexes.insert(index);
        lineage.melts.insert(index, closed.melt);
        lineage.read.insert(closed.melt.0);
        for input in &closed.inputs {
            if let MeltInput::Heel { melt, mass } = input {
                lineage.indexes.extend(counts_of_heel(source, *melt, *mass));
            }
        }
        for (from, part) in parts(&closed, share)? {
            match from {
                From::Lot(lot) => {
                    lineage.read.insert(lot.0);
                    lineage
                        .indexes
                        .insert(first(source, lot.0, || format!("lot {lot}"))?);
                    let held = lineage.lots.entry(lot).or_default();
                    *held = held.saturating_add(part);
                }
                From::Melt(melt) => match closing(source, melt) {
                    Some((earlier, _)) if earlier >= index => {
                        return Err(Untraceable::Backwards { melt: closed.melt });
                    }
                    Some((earlier, closed)) => {
                        let slot = waiting.entry(earlier).or_insert((closed, 0));
                        slot.1 = slot.1.saturating_add(part);
                    }
                    None => lost = lost.saturating_add(part),
                },
            }
        }
    }
    lineage.traced = fraction(left(&waiting, lost));
    Ok(())
}

/// What is not followed yet. Whoever signs lies can state shares that grow beyond counting.
fn left(waiting: &BTreeMap<u64, (MeltClosed, u128)>, lost: u128) -> u128 {
    let shares = waiting.values().map(|(_, share)| *share);
    shares.fold(lost, u128::saturating_add)
}

enum From {
    Lot(LotId),
    Melt(MeltId),
}

/// Splits a melt's share over its inputs, by mass.
fn parts(closed: &MeltClosed, share: u128) -> Result<Vec<(From, u128)>, Untraceable> {
    let wrong = || Untraceable::Masses { melt: closed.melt };
    let mut split = Vec::new();
    for input in &closed.inputs {
        let part = portion(share, input.mass(), closed.charge).ok_or_else(wrong)?;
        match input {
            MeltInput::Lot { lot, .. } => split.push((From::Lot(*lot), part)),
            MeltInput::Heel { melt, .. } | MeltInput::Piece { melt, .. } => {
                split.push((From::Melt(*melt), part))
            }
            MeltInput::Jar { holds, .. } => {
                let whole = Mass::checked_sum(holds.iter().map(|hold| hold.mass)).ok_or_else(wrong)?;
                for hold in holds {
                    split.push((
                        From::Melt(hold.melt),
                        portion(part, hold.mass, whole).ok_or_else(wrong)?,
                    ));
                }
            }
        }
    }
    Ok(split)
}

fn portion(share: u128, mass: Mass, of: Mass) -> Option<u128> {
    let (mass, of) = (
        u128::try_from(mass.units()).ok()?,
        u128::try_from(of.units()).ok()?,
    );
    if mass > of {
        return None;
    }
    share.checked_mul(mass)?.checked_div(of)
}

/// What is followed, given what is not: rounded down to four decimals, `1` only when nothing is left.
fn fraction(rest: u128) -> String {
    if rest == 0 {
        return "1".to_owned();
    }
    let followed = WHOLE.saturating_sub(rest).saturating_mul(10_000) / WHOLE;
    if followed == 0 {
        "0".to_owned()
    } else {
        format!("0.{followed:04}")
    }
}
