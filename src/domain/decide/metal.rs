//! Deciding about metal before it is a piece: lots, scales, sessions, jars, melts.

use super::{Decision, counted, counted_together, pointed, short};
use crate::domain::book::{Owed, Owners};
use crate::domain::command::*;
use crate::domain::{
    JarFilled, JarId, JarOpened, LotId, LotReceived, MeltCharged, MeltId, MeltInput, PieceRemelted,
    PrillsGathered, Private, Refusal, Refused, ScaleId, ScaleRegistered, SessionChecked, SessionClosed,
    SessionId, SessionOpened,
};
use std::collections::HashSet;

impl Decision<'_> {
    pub(super) fn receive_lot(&mut self, c: &ReceiveLot) -> Result<(), Refused> {
        short(&[
            ("seller", &c.seller),
            ("document", &c.document),
            ("note", &c.note),
        ])?;
        let event = LotReceived {
            lot: LotId(self.fresh()),
            number: self.book.next_lot_number()?,
            metal: c.metal,
            fineness: c.fineness,
            basis: c.basis,
            session: c.session,
            mass: c.mass.clone(),
            invoiced: c.invoiced,
            owner: c.owner,
        };
        let private = Private::none()
            .text("seller", c.seller.as_deref())
            .text("document", c.document.as_deref())
            .money("price", c.price.as_ref())
            .text("note", c.note.as_deref());
        self.add_with(event, private).map_err(|refusal| match refusal {
            Refusal::UnknownOwner { .. } => refusal.at("/owner"),
            other => pointed(other, "/fineness", "/mass", "/session"),
        })
    }

    pub(super) fn register_scale(&mut self, c: &RegisterScale) -> Result<(), Refused> {
        short(&[("label", &c.label), ("note", &c.note)])?;
        let event = ScaleRegistered {
            scale: ScaleId(self.fresh()),
            class: c.class,
            e: c.e,
            d: c.d,
            max: c.max,
            verified: c.verified,
            repeatability: c.repeatability,
        };
        let private = Private::none()
            .text("label", c.label.as_deref())
            .text("note", c.note.as_deref());
        Ok(self.add_with(event, private)?)
    }

    pub(super) fn open_session(&mut self, c: &OpenSession) -> Result<(), Refused> {
        let session = SessionId(self.fresh());
        let event = SessionOpened {
            session,
            scale: c.scale,
            nominal: c.nominal,
            reading: c.reading.clone(),
        };
        self.add(event).map_err(|refusal| match refusal {
            Refusal::ZeroMass => refusal.at("/nominal"),
            other => pointed(other, "/scale", "/reading", "/scale"),
        })
    }

    pub(super) fn check_session(&mut self, c: &CheckSession) -> Result<(), Refused> {
        let held = self.held(c.session, c.nominal, &c.reading)?;
        let event = SessionChecked {
            session: c.session,
            nominal: c.nominal,
            reading: c.reading.clone(),
            held,
        };
        Ok(self.add(event)?)
    }

    pub(super) fn close_session(&mut self, c: &CloseSession) -> Result<(), Refused> {
        let held = self.held(c.session, c.nominal, &c.reading)?;
        let event = SessionClosed {
            session: c.session,
            nominal: c.nominal,
            reading: c.reading.clone(),
            held,
        };
        Ok(self.add(event)?)
    }

    fn held(
        &self,
        session: SessionId,
        nominal: crate::metal::Mass,
        reading: &crate::metal::Reading,
    ) -> Result<bool, Refused> {
        self.book
            .reckon_check(session, nominal, reading)
            .map_err(|refusal| match refusal {
                Refusal::ZeroMass => refusal.at("/nominal"),
                other => pointed(other, "/session", "/reading", "/session"),
            })
    }

    pub(super) fn open_jar(&mut self, c: &OpenJar) -> Result<(), Refused> {
        short(&[("label", &c.label)])?;
        let event = JarOpened {
            jar: JarId(self.fresh()),
            metal: c.metal,
            fineness: c.fineness,
            residue: c.residue,
        };
        self.add_with(event, Private::none().text("label", c.label.as_deref()))
            .map_err(|refusal| match refusal {
                Refusal::NotPrecious { .. } => refusal.at("/metal"),
                other => other.at("/fineness"),
            })
    }

    pub(super) fn charge_melt(&mut self, c: &ChargeMelt) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        let inputs = self.inputs(c)?;
        let blend = self
            .book
            .reckon_blend(c.session, c.metal, &inputs)
            .map_err(|refusal| pointed(refusal, "/metal", "/lots", "/session"))?;
        let melt = MeltId(self.fresh());
        let pieces: Vec<_> = c.pieces.clone();
        let event = MeltCharged {
            melt,
            number: self.book.next_melt_number()?,
            metal: c.metal,
            session: c.session,
            inputs,
            charge: blend.charge,
            fineness: blend.fineness,
        };
        self.add_with(event, Private::none().text("note", c.note.as_deref()))?;
        for (place, piece) in pieces.into_iter().enumerate() {
            self.add(PieceRemelted { piece, melt })
                .map_err(|refusal| refusal.at(format!("/pieces/{place}")))?;
        }
        Ok(())
    }

    /// The inputs of a charge, each checked where it stands in the command.
    fn inputs(&self, c: &ChargeMelt) -> Result<Vec<MeltInput>, Refused> {
        let count = c.lots.len() + c.heels.len() + c.jars.len() + c.pieces.len();
        counted_together(count)?;
        let mut inputs = Vec::with_capacity(count);
        let (mut seen, mut owners) = (HashSet::new(), Owners::new());
        let mut add = |input: Result<MeltInput, Refusal>, thing: String, reading: String| {
            let input = input.map_err(|refusal| refusal.at(thing.clone()))?;
            if !seen.insert(input.subject()) {
                return Err(Refusal::NamedTwice { id: input.subject() }.at(thing));
            }
            self.book
                .may_charge(c.session, c.metal, &input)
                .and_then(|()| {
                    owners.extend(self.book.owners_of_input(&input)?);
                    self.book.may_meet(&owners)
                })
                .map_err(|refusal| pointed(refusal, &thing, &reading, "/session"))?;
            inputs.push(input);
            Ok(())
        };
        for (i, draw) in c.lots.iter().enumerate() {
            let (lot, mass) = (draw.lot, draw.mass.clone());
            let at = format!("/lots/{i}");
            add(
                Ok(MeltInput::Lot { lot, mass }),
                format!("{at}/lot"),
                format!("{at}/mass"),
            )?;
        }
        for (i, melt) in c.heels.iter().enumerate() {
            let at = format!("/heels/{i}");
            add(self.book.heel_input(*melt), at.clone(), at)?;
        }
        for (i, draw) in c.jars.iter().enumerate() {
            let at = format!("/jars/{i}");
            let input = self.book.jar_input(draw.jar, &draw.mass);
            add(input, format!("{at}/jar"), format!("{at}/mass"))?;
        }
        for (i, piece) in c.pieces.iter().enumerate() {
            let at = format!("/pieces/{i}");
            add(self.book.piece_input(*piece), at.clone(), at)?;
        }
        Ok(inputs)
    }

    pub(super) fn close_melt(&mut self, c: &CloseMelt) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        let prills = c.prills.as_ref().map(|draw| PrillsGathered {
            jar: draw.jar,
            mass: draw.mass.clone(),
        });
        self.book
            .shown(c.session, &c.heel)
            .map_err(|refusal| pointed(refusal, "/session", "/heel", "/session"))?;
        let event = self
            .book
            .reckon_balance(c.melt, c.session, &c.heel, prills.as_ref())
            .map_err(|refusal| match refusal {
                Refusal::UnknownJar { .. }
                | Refusal::WrongResidue { .. }
                | Refusal::WrongMetal { .. }
                | Refusal::OwnersMixed { .. }
                | Refusal::BelowJarFineness { .. } => refusal.at("/prills/jar"),
                other => pointed(other, "/melt", "/prills/mass", "/session"),
            })?;
        self.add_with(event, Private::none().text("note", c.note.as_deref()))?;
        Ok(self.fill_jars()?)
    }

    /// The jars take what the events before owe them.
    pub(super) fn fill_jars(&mut self) -> Result<(), Refusal> {
        let fillings: Vec<JarFilled> = self
            .book
            .owed()
            .iter()
            .filter_map(|owed| match owed {
                Owed::Filling { jar, melt, mass, .. } => Some(JarFilled {
                    jar: *jar,
                    melt: *melt,
                    mass: *mass,
                }),
                _ => None,
            })
            .collect();
        fillings.into_iter().try_for_each(|filling| self.add(filling))
    }

    /// As many as fit into one command, and at least one.
    pub(super) fn some(count: usize, list: &str) -> Result<(), Refused> {
        counted(count, list)
    }
}
