//! Deciding about residues, the refiner and customers' metal.

use super::{Decision, counted_together, pointed, short};
use crate::domain::book::Owners;
use crate::domain::command::*;
use crate::domain::{
    JarEmptied, JarSent, JarSwept, LotId, LotOutturned, OwnerAgreed, OwnerId, OwnerRegistered, PieceMass,
    PieceRefined, Private, RefiningId, RefiningReturned, RefiningSent, Refusal, Refused, SettledMetal,
};
use crate::metal::{Mass, MassDifference};
use std::collections::HashSet;

impl Decision<'_> {
    pub(super) fn register_owner(&mut self, c: &RegisterOwner) -> Result<(), Refused> {
        short(&[("name", &c.name), ("note", &c.note)])?;
        let event = OwnerRegistered {
            owner: OwnerId(self.fresh()),
        };
        let private = Private::none()
            .text("name", c.name.as_deref())
            .text("note", c.note.as_deref());
        Ok(self.add_with(event, private)?)
    }

    pub(super) fn agree_mixing(&mut self, c: &AgreeMixing) -> Result<(), Refused> {
        short(&[("document", &c.document), ("note", &c.note)])?;
        let private = Private::none()
            .text("document", c.document.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(OwnerAgreed { owner: c.owner }, private)
            .map_err(|refusal| refusal.at("/owner"))
    }

    pub(super) fn gather_sweeps(&mut self, c: &GatherSweeps) -> Result<(), Refused> {
        let event = JarSwept {
            jar: c.jar,
            session: c.session,
            mass: c.mass.clone(),
        };
        self.add(event)
            .map_err(|refusal| pointed(refusal, "/jar", "/mass", "/session"))
    }

    pub(super) fn send_to_refiner(&mut self, c: &SendToRefiner) -> Result<(), Refused> {
        short(&[
            ("refiner", &c.refiner),
            ("seal", &c.seal),
            ("document", &c.document),
            ("note", &c.note),
        ])?;
        let (jars, pieces) = self.bundled(c)?;
        let bundle = self
            .book
            .reckon_bundle(c.session, c.metal, &jars, &pieces)
            .map_err(|refusal| pointed(refusal, "/metal", "/jars", "/session"))?;
        let refining = RefiningId(self.fresh());
        let event = RefiningSent {
            refining,
            number: self.book.next_refining_number()?,
            metal: c.metal,
            session: c.session,
            jars,
            pieces,
            mass: bundle.mass,
        };
        let private = Private::none()
            .text("refiner", c.refiner.as_deref())
            .text("seal", c.seal.as_deref())
            .text("document", c.document.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private)?;
        for draw in &c.jars {
            self.add(JarEmptied {
                jar: draw.jar,
                refining,
            })?;
        }
        for piece in &c.pieces {
            self.add(PieceRefined {
                piece: *piece,
                refining,
            })?;
        }
        Ok(())
    }

    /// The jars and pieces of a sending, each checked where it stands in the command.
    fn bundled(&self, c: &SendToRefiner) -> Result<(Vec<JarSent>, Vec<PieceMass>), Refused> {
        counted_together(c.jars.len().saturating_add(c.pieces.len()))?;
        if !c.metal.is_precious() {
            return Err(Refusal::NotPrecious { metal: c.metal }.at("/metal"));
        }
        let mut seen = HashSet::new();
        let mut owners = Owners::new();
        let mut jars = Vec::with_capacity(c.jars.len());
        for (i, draw) in c.jars.iter().enumerate() {
            let (thing, reading) = (format!("/jars/{i}/jar"), format!("/jars/{i}/mass"));
            if !seen.insert(draw.jar.0) {
                return Err(Refusal::NamedTwice { id: draw.jar.0 }.at(thing));
            }
            let sent = self.book.known_jar(draw.jar).map(|jar| JarSent {
                jar: draw.jar,
                mass: draw.mass.clone(),
                holds: jar.holds.clone(),
            });
            let sent = sent.map_err(|refusal| refusal.at(thing.clone()))?;
            self.book
                .may_send_jar(c.session, c.metal, &sent)
                .and_then(|_| {
                    owners.extend(self.book.owners_of_sent_jar(&sent)?);
                    self.book.may_meet(&owners)
                })
                .map_err(|refusal| pointed(refusal, &thing, &reading, "/session"))?;
            jars.push(sent);
        }
        let mut pieces = Vec::with_capacity(c.pieces.len());
        for (i, piece) in c.pieces.iter().enumerate() {
            let at = |refusal: Refusal| refusal.at(format!("/pieces/{i}"));
            if !seen.insert(piece.0) {
                return Err(at(Refusal::NamedTwice { id: piece.0 }));
            }
            let row = self.book.known_piece(*piece).map_err(at)?;
            let sent = PieceMass {
                piece: *piece,
                mass: row.mass().unwrap_or(Mass::ZERO),
            };
            self.book.may_send_piece(c.metal, &sent).map_err(at)?;
            owners.extend(self.book.owners_of_piece(*piece).map_err(at)?);
            self.book.may_meet(&owners).map_err(at)?;
            pieces.push(sent);
        }
        Ok((jars, pieces))
    }

    pub(super) fn return_refining(&mut self, c: &ReturnRefining) -> Result<(), Refused> {
        short(&[("document", &c.document), ("note", &c.note)])?;
        let at = |refusal: Refusal| match refusal {
            Refusal::UnknownRefining { .. } | Refusal::RefiningIsReturned => refusal.at("/refining"),
            Refusal::NothingNamed => refusal.into(),
            Refusal::FinenessImpossible => refusal.at("/settled/fineness"),
            other => other.at("/settled/mass"),
        };
        let row = self.book.known_refining(c.refining).map_err(at)?;
        let (sent, metal) = (row.mass, row.metal);
        let outturn = match &c.outturn {
            Some(outturn) => {
                // A lot of no metal is refused before the sum is made.
                self.book
                    .weighed(outturn.session, &outturn.mass)
                    .map_err(|refusal| pointed(refusal, "/outturn", "/outturn/mass", "/outturn/session"))?;
                Some((LotId(self.fresh()), outturn))
            }
            None => None,
        };
        let mut event = RefiningReturned {
            refining: c.refining,
            sent,
            outturn: outturn.map(|(lot, _)| lot),
            returned: outturn.map_or(Mass::ZERO, |(_, outturn)| outturn.mass.mass()),
            settled: c.settled.as_ref().map(|settled| SettledMetal {
                mass: settled.mass,
                fineness: settled.fineness,
            }),
            loss: MassDifference::ZERO,
        };
        event.loss = self.book.reckon_refining_loss(&event).map_err(at)?;
        let private = Private::none()
            .money("price", c.price.as_ref())
            .money("charge", c.charge.as_ref())
            .text("document", c.document.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private).map_err(at)?;
        let Some((lot, outturn)) = outturn else {
            return Ok(());
        };
        let event = LotOutturned {
            lot,
            number: self.book.next_lot_number()?,
            refining: c.refining,
            metal,
            fineness: outturn.fineness,
            session: outturn.session,
            mass: outturn.mass.clone(),
        };
        self.add(event).map_err(|refusal| match refusal {
            Refusal::FinenessImpossible => refusal.at("/outturn/fineness"),
            other => pointed(other, "/outturn/mass", "/outturn/mass", "/outturn/session"),
        })
    }
}
