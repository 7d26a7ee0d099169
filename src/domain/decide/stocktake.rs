//! Deciding about stock-takes: each thing counted is held against the book, and the book follows.

use super::{Decision, pieces::note, pointed, short};
use crate::domain::book::{LINES_MAX, SEEN_MAX};
use crate::domain::command::*;
use crate::domain::{
    JarCounted, LotCounted, LotFound, LotId, MeltCounted, PiecesCounted, Refusal, Refused, SessionId,
    StocktakeId, StocktakeTaken,
};
use std::collections::HashSet;
use uuid::Uuid;

impl Decision<'_> {
    pub(super) fn take_stock(&mut self, c: &TakeStock) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        Self::lines_named_once(c)?;
        let pieces = c
            .pieces
            .as_ref()
            .map(|pieces| self.pieces_counted(pieces))
            .transpose()?;
        let stocktake = StocktakeId(self.fresh());
        let event = StocktakeTaken {
            stocktake,
            number: self.book.next_stocktake_number()?,
            session: c.session,
            pieces,
        };
        self.add_with(event, note(c.note.as_ref()))
            .map_err(|refusal| refusal.at("/session"))?;
        match c.session {
            Some(session) => self.count_metal(c, stocktake, session),
            None => Ok(()),
        }
    }

    /// Refuses a stock-take of nothing, one that is too long, a thing that is named twice, and weights without a session.
    fn lines_named_once(c: &TakeStock) -> Result<(), Refused> {
        let lines = c
            .lots
            .len()
            .saturating_add(c.heels.len())
            .saturating_add(c.jars.len())
            .saturating_add(c.found.len());
        if lines > LINES_MAX {
            return Err(Refusal::TooMany {
                count: lines,
                most: LINES_MAX,
            }
            .into());
        }
        if lines == 0 && c.pieces.is_none() {
            return Err(Refusal::NothingNamed.into());
        }
        if lines > 0 && c.session.is_none() {
            let why = "what is weighed in a stock-take is weighed in a session";
            return Err(Refusal::LineImpossible { why }.at("/session"));
        }
        let mut seen = HashSet::new();
        let lots = c.lots.iter().map(|line| ("lots", "lot", line.lot.0)).enumerate();
        let heels = c
            .heels
            .iter()
            .map(|line| ("heels", "melt", line.melt.0))
            .enumerate();
        let jars = c.jars.iter().map(|line| ("jars", "jar", line.jar.0)).enumerate();
        for (i, (list, member, id)) in lots.chain(heels).chain(jars) {
            if !seen.insert(id) {
                return Err(Refusal::NamedTwice { id }.at(format!("/{list}/{i}/{member}")));
            }
        }
        Ok(())
    }

    fn pieces_counted(&self, c: &PiecesSeen) -> Result<PiecesCounted, Refused> {
        if c.seen.len() > SEEN_MAX {
            return Err(Refusal::TooMany {
                count: c.seen.len(),
                most: SEEN_MAX,
            }
            .at("/pieces/seen"));
        }
        let mut seen: HashSet<Uuid> = HashSet::new();
        for (i, piece) in c.seen.iter().enumerate() {
            let at = |refusal: Refusal| refusal.at(format!("/pieces/seen/{i}"));
            if !seen.insert(piece.0) {
                return Err(at(Refusal::NamedTwice { id: piece.0 }));
            }
            self.book.known_piece(*piece).map_err(at)?;
        }
        self.book
            .reckon_seen(c.series, &c.seen)
            .map_err(|refusal| refusal.at("/pieces/series"))
    }

    fn count_metal(
        &mut self,
        c: &TakeStock,
        stocktake: StocktakeId,
        session: SessionId,
    ) -> Result<(), Refused> {
        macro_rules! count {
            ($list:ident, $member:ident, $reckon:ident, $event:ident) => {
                for (i, line) in c.$list.iter().enumerate() {
                    let ($member, mass) = (line.$member, line.mass.clone());
                    let at = format!("/{}/{i}", stringify!($list));
                    self.line(&at, stringify!($member), |decision| {
                        let it = decision.book.$reckon($member, session, &mass)?;
                        let (expected, variance, uncertainty, explained) = it.stated();
                        decision.add($event {
                            $member,
                            stocktake,
                            mass,
                            expected,
                            variance,
                            uncertainty,
                            explained,
                        })
                    })?;
                }
            };
        }
        count!(lots, lot, reckon_lot_count, LotCounted);
        count!(heels, melt, reckon_heel_count, MeltCounted);
        count!(jars, jar, reckon_jar_count, JarCounted);
        for (i, line) in c.found.iter().enumerate() {
            self.found(line, i, stocktake)?;
        }
        Ok(())
    }

    /// One thing that was weighed, its refusal pointed at where it stands.
    fn line(
        &mut self,
        at: &str,
        member: &str,
        make: impl FnOnce(&mut Self) -> Result<(), Refusal>,
    ) -> Result<(), Refused> {
        make(self).map_err(|refusal| {
            pointed(
                refusal,
                &format!("{at}/{member}"),
                &format!("{at}/mass"),
                "/session",
            )
        })
    }

    fn found(&mut self, line: &MetalFound, i: usize, stocktake: StocktakeId) -> Result<(), Refused> {
        let at = format!("/found/{i}");
        short(&[("note", &line.note)]).map_err(|refused| refused.refusal.at(format!("{at}/note")))?;
        let event = LotFound {
            lot: LotId(self.fresh()),
            number: self.book.next_lot_number()?,
            stocktake,
            metal: line.metal,
            fineness: line.fineness,
            mass: line.mass.clone(),
        };
        self.add_with(event, note(line.note.as_ref())).map_err(|refusal| {
            pointed(
                refusal,
                &format!("{at}/fineness"),
                &format!("{at}/mass"),
                "/session",
            )
        })
    }
}
