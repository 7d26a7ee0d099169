//! The piece away from the bench: at the assay office, promised, sold, gone and back.

use super::{Life, must};
use crate::check::claims::{Claims, office, say_hallmark};
use crate::domain::{
    ConsignmentId, Event, Grade, Marking, PieceState as S, PieceUnmarked, SaleId, UnmarkedReason,
};
use crate::metal::Fineness;

/// At the assay office.
impl Life {
    pub(super) fn go_to_office(
        &mut self,
        claims: &Claims<'_>,
        index: u64,
        event: &Event,
    ) -> Result<(), String> {
        match event {
            Event::PieceConsigned(e) => {
                must(self.serialled, "it had no serial")?;
                self.accepted()?;
                let series = claims.series(self.series)?;
                must(
                    series.marking == Marking::Required,
                    "its series is exempt from marking",
                )?;
                must(
                    !series.struck || self.struck_well == Some(true),
                    "its series asks for a good strike",
                )?;
                let sent = office::sent_in(claims, index, e.consignment)?;
                must(
                    sent.fineness == series.fineness,
                    "another fineness is claimed than its series states",
                )?;
                self.consignment = Some((e.consignment, sent.fineness));
                self.turn(S::AtOffice)
            }
            Event::PieceHallmarked(e) => {
                let claimed = self.back(e.consignment)?;
                let marked = &e.hallmark;
                must(
                    marked.fineness == claimed,
                    &format!("{claimed} was claimed, marked is {}", say_hallmark(marked)),
                )?;
                self.hallmark = Some(marked.clone());
                self.of_record = None;
                self.turn(S::Hallmarked)
            }
            Event::PieceUnmarked(e) => self.come_unmarked(e),
            Event::PieceKept(e) => {
                self.back(e.consignment)?;
                self.found(e.assay);
                self.turn(S::Kept)
            }
            Event::PieceMissing(e) => {
                self.back(e.consignment)?;
                match self.state {
                    S::Destroyed => Ok(()),
                    _ => self.turn(S::Missing),
                }
            }
            _ => Ok(()),
        }
    }

    /// Back from the consignment that it is in; what was claimed there.
    fn back(&mut self, consignment: ConsignmentId) -> Result<Fineness, String> {
        match self.consignment.take() {
            Some((id, claimed)) if id == consignment => Ok(claimed),
            _ => Err("it was not in that consignment".to_owned()),
        }
    }

    fn come_unmarked(&mut self, e: &PieceUnmarked) -> Result<(), String> {
        let claimed = self.back(e.consignment)?;
        if e.reason == UnmarkedReason::BelowStandard {
            must(
                e.assay.is_none_or(|found| found < claimed),
                "it was refused for its fineness, and found to be as fine as was claimed",
            )?;
            self.refused_at = Some(claimed);
        }
        self.found(e.assay);
        self.of_record = None;
        self.turn(S::Unmarked)
    }

    fn found(&mut self, assay: Option<Fineness>) {
        self.assay = self.assay.into_iter().chain(assay).min();
    }
}

/// Promised, sold, and what comes after.
impl Life {
    pub(super) fn change_hands(
        &mut self,
        claims: &Claims<'_>,
        index: u64,
        event: &Event,
    ) -> Result<(), String> {
        match event {
            Event::PieceReserved(_) => self.turn(S::Reserved),
            Event::PieceReleased(_) => self.give_back(S::Reserved),
            Event::PieceSold(e) => {
                let beside = claims.beside(index).any(
                    |event| matches!(event, Event::SaleMade(made) if made.sale == e.sale && made.pieces.contains(&e.piece)),
                );
                must(beside, "no sale of it is in its entry")?;
                self.sale = Some(e.sale);
                self.turn(S::Sold)
            }
            Event::PieceUnsold(e) => {
                self.of_sale(e.sale)?;
                self.sale = None;
                match self.state {
                    S::Lost | S::Destroyed => Ok(()),
                    _ => self.give_back(S::Sold),
                }
            }
            Event::PieceDispatched(e) => self.of_sale(e.sale).and_then(|()| self.turn(S::Dispatched)),
            Event::PieceHandedOver(e) => self.of_sale(e.sale).and_then(|()| self.turn(S::Delivered)),
            Event::PieceDelivered(e) => self.of_sale(e.sale).and_then(|()| self.turn(S::Delivered)),
            Event::PieceLost(e) => self.of_sale(e.sale).and_then(|()| self.turn(S::Lost)),
            Event::PieceSentBack(e) => self.of_sale(e.sale).and_then(|()| self.turn(S::Sold)),
            Event::PieceFound(_) => {
                let sold = self.sale.is_some();
                self.turn(if sold { S::Dispatched } else { S::Returned })
            }
            Event::PieceReturned(e) => {
                self.of_sale(e.sale)?;
                self.sale = None;
                self.turn(S::Returned)
            }
            Event::PieceBoughtBack(_) => {
                self.sale = None;
                self.of_record = None;
                self.ungraded = Some(index);
                self.turn(S::BoughtBack)
            }
            Event::PieceRestocked(_) => {
                must(self.grade != Some(Grade::Faulty), "it was graded faulty")?;
                self.turn(S::Certified)
            }
            Event::PieceStolen(_) => {
                self.before = Some(self.state);
                self.turn(S::Stolen)
            }
            Event::PieceRecovered(_) => {
                let before = self.before.take().ok_or("nothing is known of it before")?;
                self.turn(before)
            }
            Event::PieceDestroyed(_) => {
                self.before = self.before.or(Some(self.state));
                self.turn(S::Destroyed)
            }
            _ => Err("no event of a piece's life".to_owned()),
        }
    }

    fn of_sale(&self, sale: SaleId) -> Result<(), String> {
        must(self.sale == Some(sale), "that is not the sale that stands")
    }

    /// A reservation or a sale is over: the piece is in stock again, or would be if it were not gone.
    fn give_back(&mut self, from: S) -> Result<(), String> {
        if self.state == from {
            return self.turn(S::Certified);
        }
        must(
            self.before == Some(from),
            &format!("the piece was {}, and before not {from}", self.state),
        )?;
        self.before = Some(S::Certified);
        Ok(())
    }
}
