//! What an event would have reckoned, had the book been as it is now. What somebody typed stays as it was typed.

use crate::domain::book::{Book, Owed};
use crate::domain::{
    ConsignmentSent, DieDisposed, Event, JarFilled, JarId, JarSent, MeltCharged, MeltId, MeltInput,
    PieceFinished, PieceMass, PieceMoved, RefiningReturned, RefiningSent, Refusal, SessionChecked,
    SessionClosed,
};
use crate::metal::Mass;

impl Book {
    /// The event as it would have been recorded. `following` is what stands behind it in its entry.
    pub(super) fn restated(&self, event: &Event, following: &[Event]) -> Result<Event, Refusal> {
        Ok(match event {
            Event::SessionChecked(e) => {
                let held = self.reckon_check(e.session, e.nominal, &e.reading)?;
                SessionChecked { held, ..e.clone() }.into()
            }
            Event::SessionClosed(e) => {
                let held = self.reckon_check(e.session, e.nominal, &e.reading)?;
                SessionClosed { held, ..e.clone() }.into()
            }
            Event::MeltCharged(e) => self.charged_again(e)?.into(),
            Event::MeltClosed(e) => self
                .reckon_balance(e.melt, e.session, &e.heel, e.prills.as_ref())?
                .into(),
            Event::JarFilled(e) => self
                .owed_filling(e.jar, e.melt)
                .unwrap_or_else(|| e.clone())
                .into(),
            Event::PieceGraded(e) => self.reckon_grading(e.piece, e.rule)?.into(),
            Event::PieceFinished(e) => self.finished_again(e, following)?.into(),
            Event::PieceMoved(e) => PieceMoved {
                from: self.known_piece(e.piece)?.series,
                ..e.clone()
            }
            .into(),
            Event::CertificateIssued(e) => self.reckon_issue(e.piece, e.certificate)?.into(),
            Event::DieDisposed(e) => DieDisposed {
                strikes: self.known_die(e.die)?.strikes,
                ..e.clone()
            }
            .into(),
            Event::SeriesClosed(e) => self.reckon_close(e.series)?.into(),
            Event::ConsignmentSent(e) => self.consigned_again(e)?.into(),
            Event::PieceBoughtBack(e) => self.reckon_buy_back(e.piece, e.session, &e.mass)?.into(),
            Event::RefiningSent(e) => self.sent_again(e)?.into(),
            Event::StocktakeTaken(_)
            | Event::LotCounted(_)
            | Event::MeltCounted(_)
            | Event::JarCounted(_) => self.counted_again(event)?,
            Event::RefiningReturned(e) => {
                let sent = self.known_refining(e.refining)?.mass;
                let loss = self.reckon_refining_loss(e)?;
                RefiningReturned {
                    sent,
                    loss,
                    ..e.clone()
                }
                .into()
            }
            other => other.clone(),
        })
    }

    fn charged_again(&self, e: &MeltCharged) -> Result<MeltCharged, Refusal> {
        let again = |input: &MeltInput| match input {
            MeltInput::Lot { .. } => Ok(input.clone()),
            MeltInput::Heel { melt, .. } => self.heel_input(*melt),
            MeltInput::Jar { jar, mass, .. } => self.jar_input(*jar, mass),
            MeltInput::Piece { piece, .. } => self.piece_input(*piece),
        };
        let inputs = e.inputs.iter().map(again).collect::<Result<Vec<_>, Refusal>>()?;
        let blend = self.reckon_blend(e.session, e.metal, &inputs)?;
        Ok(MeltCharged {
            inputs,
            charge: blend.charge,
            fineness: blend.fineness,
            ..e.clone()
        })
    }

    /// What the jars are owed of residue, in the order in which it came about.
    pub(super) fn owed_fillings(&self) -> impl Iterator<Item = JarFilled> {
        self.owed().iter().filter_map(|owed| match owed {
            Owed::Filling { jar, melt, mass, .. } => Some(JarFilled {
                jar: *jar,
                melt: *melt,
                mass: *mass,
            }),
            _ => None,
        })
    }

    /// What a jar is owed of a melt's metal.
    pub(super) fn owed_filling(&self, jar: JarId, melt: MeltId) -> Option<JarFilled> {
        self.owed_fillings()
            .find(|filling| filling.jar == jar && filling.melt == melt)
    }

    fn finished_again(&self, e: &PieceFinished, following: &[Event]) -> Result<PieceFinished, Refusal> {
        let before = self.known_piece(e.piece)?.mass().ok_or(Refusal::NotWeighed)?;
        let after = following.iter().find_map(|event| match event {
            Event::PieceWeighed(weighed) if weighed.piece == e.piece => Some(weighed.mass.mass()),
            _ => None,
        });
        let filed = after.and_then(|after| before.checked_sub(after));
        Ok(PieceFinished {
            filed: filed.unwrap_or(Mass::ZERO),
            ..e.clone()
        })
    }

    /// What was counted stays; what the book said then is said anew.
    fn counted_again(&self, event: &Event) -> Result<Event, Refusal> {
        let session = |id| {
            self.known_stocktake(id)?
                .session
                .ok_or(Refusal::UnknownStocktake { stocktake: id })
        };
        Ok(match event.clone() {
            Event::StocktakeTaken(mut e) => {
                if let Some(pieces) = &mut e.pieces {
                    *pieces = self.reckon_seen(pieces.series, &pieces.seen)?;
                }
                e.into()
            }
            Event::LotCounted(mut e) => {
                let it = self.reckon_lot_count(e.lot, session(e.stocktake)?, &e.mass)?;
                (e.expected, e.variance, e.uncertainty, e.explained) = it.stated();
                e.into()
            }
            Event::MeltCounted(mut e) => {
                let it = self.reckon_heel_count(e.melt, session(e.stocktake)?, &e.mass)?;
                (e.expected, e.variance, e.uncertainty, e.explained) = it.stated();
                e.into()
            }
            Event::JarCounted(mut e) => {
                let it = self.reckon_jar_count(e.jar, session(e.stocktake)?, &e.mass)?;
                (e.expected, e.variance, e.uncertainty, e.explained) = it.stated();
                e.into()
            }
            other => other,
        })
    }

    fn consigned_again(&self, e: &ConsignmentSent) -> Result<ConsignmentSent, Refusal> {
        let pieces: Vec<_> = e.pieces.iter().map(|sent| sent.piece).collect();
        let sent = self.reckon_consignment(e.consignment, &pieces, e.fineness, &e.marks)?;
        Ok(ConsignmentSent {
            number: e.number,
            ..sent
        })
    }

    fn sent_again(&self, e: &RefiningSent) -> Result<RefiningSent, Refusal> {
        let jar = |sent: &JarSent| {
            Ok(JarSent {
                holds: self.known_jar(sent.jar)?.holds.clone(),
                ..sent.clone()
            })
        };
        let piece = |sent: &PieceMass| {
            Ok(PieceMass {
                piece: sent.piece,
                mass: self.known_piece(sent.piece)?.mass().ok_or(Refusal::NotWeighed)?,
            })
        };
        let jars = e.jars.iter().map(jar).collect::<Result<Vec<_>, Refusal>>()?;
        let pieces = e.pieces.iter().map(piece).collect::<Result<Vec<_>, Refusal>>()?;
        let mass = self.reckon_bundle(e.session, e.metal, &jars, &pieces)?.mass;
        Ok(RefiningSent {
            jars,
            pieces,
            mass,
            ..e.clone()
        })
    }
}
