//! From events to movements: which heading each gram leaves, and which it enters.
//!
//! What one event takes and another one of the same entry gives, such as filings between the piece and their jar, is in
//! hand meanwhile: a heading that is empty after every entry.

use super::jar::Jar;
use super::piece::Piece;
use super::{Heading, Postings, Subject, fine};
use crate::domain::{
    Event, JarEmptied, JarId, LotCounted, LotId, MeltCharged, MeltClosed, MeltCounted, MeltId, MeltInput,
    PieceId, PieceState, RefiningId, RefiningReturned, RefiningSent, Residue, SessionId,
};
use crate::metal::{Fineness, Mass, Metal, Reading};
use std::collections::HashMap;

/// What the events have told of so far, as far as movements need it.
#[derive(Clone, Debug, Default)]
pub(super) struct Known {
    lots: HashMap<LotId, (Metal, Fineness)>,
    pub(super) melts: HashMap<MeltId, Melt>,
    pub(super) jars: HashMap<JarId, Jar>,
    pieces: HashMap<PieceId, Piece>,
    refinings: HashMap<RefiningId, Refining>,
}

#[derive(Clone, Copy, Debug)]
pub(super) struct Melt {
    metal: Metal,
    pub(super) fineness: Fineness,
    is_open: bool,
}

/// What is at the refiner, or was.
#[derive(Clone, Debug)]
struct Refining {
    metal: Metal,
    session: SessionId,
    units: i64,
    picograms: i128,
    /// The jars emptied for it, and what each weighed.
    jars: HashMap<JarId, Mass>,
}

impl Postings {
    /// Follows an event, the `event`th of the entry at `index`.
    pub fn take(&mut self, index: u64, event: u16, told: &Event) {
        self.at = (index, event);
        // What names something that was never told of posts nothing.
        let _ = self.follow(told);
    }

    fn follow(&mut self, told: &Event) -> Option<()> {
        match told {
            Event::LotReceived(e) => self.lot(e.lot, (e.metal, e.fineness), Heading::Received, &e.mass),
            Event::LotOutturned(e) => self.lot(e.lot, (e.metal, e.fineness), Heading::RefiningLoss, &e.mass),
            Event::LotFound(e) => self.lot(e.lot, (e.metal, e.fineness), Heading::StocktakeVariance, &e.mass),
            Event::LotCounted(e) => self.count_lot(e)?,
            Event::MeltCounted(e) => self.count_heel(e)?,
            Event::JarCounted(e) => self.count_jar(e)?,
            Event::JarOpened(e) => {
                self.known.jars.insert(e.jar, Jar::opened(e));
            }
            Event::JarFilled(e) => self.fill(e)?,
            Event::MeltCharged(e) => self.charge(e),
            Event::MeltClosed(e) => self.weigh_out(e)?,
            Event::RefiningSent(e) => self.send(e),
            Event::JarEmptied(e) => self.empty_for_refiner(e)?,
            Event::RefiningReturned(e) => self.account_for(e)?,
            Event::PiecePoured(e) => {
                self.known.pieces.insert(e.piece, Piece::poured(e.melt));
            }
            other => self.piece(other.piece()?, other)?,
        }
        Some(())
    }

    /// A lot is there: received, back from the refiner, or found.
    fn lot(&mut self, lot: LotId, (metal, fineness): (Metal, Fineness), from: Heading, mass: &Reading) {
        self.known.lots.insert(lot, (metal, fineness));
        let (way, units) = ((from, Heading::Unmelted), mass.mass().units());
        self.shift(metal, way, units, fineness, Subject::Lot(lot));
    }

    fn count_lot(&mut self, e: &LotCounted) -> Option<()> {
        let (metal, fineness) = *self.known.lots.get(&e.lot)?;
        let way = (Heading::Unmelted, Heading::StocktakeVariance);
        self.shift(metal, way, e.variance.units(), fineness, Subject::Lot(e.lot));
        Some(())
    }

    fn count_heel(&mut self, e: &MeltCounted) -> Option<()> {
        let melt = *self.known.melts.get(&e.melt)?;
        let way = (Heading::Heels, Heading::StocktakeVariance);
        self.shift(
            melt.metal,
            way,
            e.variance.units(),
            melt.fineness,
            Subject::Melt(e.melt),
        );
        Some(())
    }

    /// Every input at what it was declared to be; the blend is rounded down, which is a revaluation.
    fn charge(&mut self, e: &MeltCharged) {
        let mut whole = 0_i128;
        for input in &e.inputs {
            let at = self.give(e, input).unwrap_or(Fineness::ZERO);
            whole = whole.saturating_add(fine(input.mass().units(), at));
        }
        let kept = fine(e.charge.units(), e.fineness);
        self.revalue(
            e.metal,
            Heading::Crucible,
            whole.saturating_sub(kept),
            Subject::Melt(e.melt),
        );
        let melt = Melt {
            metal: e.metal,
            fineness: e.fineness,
            is_open: true,
        };
        self.known.melts.insert(e.melt, melt);
    }

    /// An input goes into the crucible; at which fineness it went in.
    fn give(&mut self, e: &MeltCharged, input: &MeltInput) -> Option<Fineness> {
        let metal = e.metal;
        let units = input.mass().units();
        match input {
            MeltInput::Lot { lot, .. } => {
                let subject = Subject::Lot(*lot);
                let (of, fineness) = *self.known.lots.get(lot)?;
                if of == metal {
                    self.shift(
                        metal,
                        (Heading::Unmelted, Heading::Crucible),
                        units,
                        fineness,
                        subject,
                    );
                    return Some(fineness);
                }
                self.shift(
                    of,
                    (Heading::Unmelted, Heading::AlloyedOut),
                    units,
                    fineness,
                    subject,
                );
                let way = (Heading::AlloyedIn, Heading::Crucible);
                self.shift(metal, way, units, Fineness::ZERO, subject);
                Some(Fineness::ZERO)
            }
            MeltInput::Heel { melt, .. } => {
                let at = self.known.melts.get(melt)?.fineness;
                let subject = Subject::Melt(*melt);
                self.shift(metal, (Heading::Heels, Heading::Crucible), units, at, subject);
                Some(at)
            }
            MeltInput::Jar { jar, mass, .. } => {
                let at = self.known.jars.get(jar)?.fineness;
                self.empty(*jar, e.session, mass.mass(), Heading::Crucible)?;
                Some(at)
            }
            MeltInput::Piece { piece, melt, .. } => {
                let at = self.known.melts.get(melt)?.fineness;
                let subject = Subject::Piece(*piece);
                self.shift(metal, (Heading::InHand, Heading::Crucible), units, at, subject);
                Some(at)
            }
        }
    }

    fn weigh_out(&mut self, e: &MeltClosed) -> Option<()> {
        let melt = self.known.melts.get_mut(&e.melt)?;
        melt.is_open = false;
        let (metal, at, subject) = (melt.metal, melt.fineness, Subject::Melt(e.melt));
        let mut out = |to, units| self.shift(metal, (Heading::Crucible, to), units, at, subject);
        out(Heading::Heels, e.heel.mass().units());
        if let Some(prills) = &e.prills {
            out(Heading::InHand, prills.mass.mass().units());
        }
        out(Heading::MeltLoss, e.loss.units());
        self.read_into(e.prills.as_ref()?.jar);
        Some(())
    }

    fn send(&mut self, e: &RefiningSent) {
        let way = (Heading::InHand, Heading::AtRefiner);
        let mut sent = Refining {
            metal: e.metal,
            session: e.session,
            units: 0,
            picograms: 0,
            jars: HashMap::new(),
        };
        let mut parts = Vec::new();
        for given in &e.jars {
            let jar = self.known.jars.get(&given.jar);
            if let Some(jar) = jar.filter(|jar| jar.residue != Residue::Sweeps) {
                sent.jars.insert(given.jar, given.mass.mass());
                parts.push((given.mass.mass().units(), jar.fineness));
            }
        }
        for given in &e.pieces {
            if let Some(at) = self.fineness_of(given.piece) {
                parts.push((given.mass.units(), at));
            }
        }
        for (units, at) in parts {
            sent.units = sent.units.saturating_add(units);
            sent.picograms = sent.picograms.saturating_add(fine(units, at));
            self.shift(e.metal, way, units, at, Subject::Refining(e.refining));
        }
        self.known.refinings.insert(e.refining, sent);
    }

    fn empty_for_refiner(&mut self, e: &JarEmptied) -> Option<()> {
        let refining = self.known.refinings.get(&e.refining)?;
        let (session, weighed) = (refining.session, *refining.jars.get(&e.jar)?);
        self.empty(e.jar, session, weighed, Heading::InHand)
    }

    /// What was sent is accounted for: what neither comes back as a lot nor was paid for is lost.
    fn account_for(&mut self, e: &RefiningReturned) -> Option<()> {
        let sent = self.known.refinings.get(&e.refining)?;
        let (metal, whole) = (sent.metal, (sent.units, sent.picograms));
        let subject = Subject::Refining(e.refining);
        self.post(metal, (Heading::AtRefiner, Heading::RefiningLoss), whole, subject);
        if let Some(settled) = &e.settled {
            let way = (Heading::RefiningLoss, Heading::Settled);
            self.shift(metal, way, settled.mass.units(), settled.fineness, subject);
        }
        Some(())
    }

    fn fineness_of(&self, piece: PieceId) -> Option<Fineness> {
        let melt = self.known.pieces.get(&piece)?.melt;
        Some(self.known.melts.get(&melt)?.fineness)
    }

    /// An event about a piece: it is weighed, filed, or goes from one state to another.
    fn piece(&mut self, id: PieceId, event: &Event) -> Option<()> {
        if let Event::PieceFinished(e) = event
            && !e.filed.is_zero()
        {
            self.read_into(e.jar);
        }
        let mut piece = self.known.pieces.get(&id)?.clone();
        let melt = *self.known.melts.get(&piece.melt)?;
        let subject = Subject::Piece(id);
        let mut shift = |from, to, units| self.shift(melt.metal, (from, to), units, melt.fineness, subject);
        let from = Heading::Pieces(piece.state);
        match event {
            Event::PieceRemelted(_) | Event::PieceRefined(_) => {
                piece.state = match event {
                    Event::PieceRemelted(_) => PieceState::Remelted,
                    _ => PieceState::Refined,
                };
                shift(from, Heading::InHand, piece.units);
            }
            Event::PieceFinished(e) => {
                shift(from, Heading::InHand, e.filed.units());
                piece.units = piece.units.saturating_sub(e.filed.units());
            }
            // Fresh from the mould it comes out of the crucible, weighed as often as may be; its grading follows.
            Event::PieceWeighed(e) if melt.is_open => {
                let shown = e.mass.mass().units();
                piece.state = PieceState::Graded;
                shift(
                    Heading::Crucible,
                    Heading::Pieces(piece.state),
                    shown.saturating_sub(piece.units),
                );
                piece.units = shown;
            }
            Event::PieceWeighed(e) => {
                let at_office = std::mem::take(&mut piece.back_from_office);
                let to = if at_office {
                    Heading::AssayLoss
                } else {
                    Heading::WeighingVariance
                };
                shift(from, to, piece.weighed(e.mass.mass()));
            }
            other => {
                let to = Heading::Pieces(piece.moved_by(other)?);
                shift(from, to, piece.units);
                if let Event::PieceBoughtBack(e) = other {
                    shift(to, Heading::WeighingVariance, piece.weighed(e.mass.mass()));
                }
            }
        }
        self.known.pieces.insert(id, piece);
        Some(())
    }
}
