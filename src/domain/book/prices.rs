//! Spot prices that were noted, and quotations that rest on them.
//!
//! A quotation is what was said to somebody on a day: it is never reckoned anew, whatever is corrected or noted later.
//! Deliberately absent: what was asked and for how much metal (one private member), and which spot price is the newest,
//! which is a question of the day that is asked for.

use super::{Book, Charge, Counted, Quote, Spot};
use crate::domain::{ChargeRecorded, PieceState, QuoteMade, Refusal, SpotRecorded, Stamp};

/// A piece that is no piece any more.
const GONE: [PieceState; 3] = [PieceState::Remelted, PieceState::Refined, PieceState::Destroyed];

impl Book {
    pub(super) fn take_spot(&mut self, stamp: &Stamp, e: &SpotRecorded) -> Result<(), Refusal> {
        self.free(e.spot.0)?;
        if !e.metal.is_precious() {
            return Err(Refusal::NotPrecious { metal: e.metal });
        }
        if e.price.amount().is_sign_negative() || e.price.amount().is_zero() {
            return Err(Refusal::SpotNotPositive { price: e.price });
        }
        if e.priced_at > stamp.at {
            return Err(Refusal::SpotToCome);
        }
        let spot = Spot {
            spot: e.spot,
            metal: e.metal,
            price: e.price,
            priced_at: e.priced_at,
            since: stamp.index,
            at: stamp.at,
        };
        self.spots.put(e.spot, spot);
        Ok(())
    }

    pub(super) fn take_quote(&mut self, stamp: &Stamp, e: &QuoteMade) -> Result<(), Refusal> {
        self.free(e.quote.0)?;
        self.count(Counted::Quote, e.number)?;
        let found = self.known_spot(e.spot)?.metal;
        super::agree(&e.metal, &found)?;
        if let Some(piece) = e.piece {
            let piece = self.known_piece(piece)?;
            let wanted = self.known_series(piece.series)?.metal;
            if wanted != found {
                return Err(Refusal::WrongMetal { found, wanted });
            }
            if GONE.contains(&piece.state) {
                let (state, verb) = (piece.state, "quoted for");
                return Err(Refusal::WrongState { state, verb });
            }
            piece.reading().ok_or(Refusal::NotWeighed)?;
        }
        let quote = Quote {
            quote: e.quote,
            number: e.number,
            metal: e.metal,
            spot: e.spot,
            piece: e.piece,
            since: stamp.index,
            at: stamp.at,
        };
        self.quotes.put(e.quote, quote);
        Ok(())
    }

    pub(super) fn take_charged(&mut self, stamp: &Stamp, e: &ChargeRecorded) -> Result<(), Refusal> {
        self.free(e.charge.0)?;
        match (e.consignment, e.die, e.sale) {
            (Some(consignment), None, None) => self.known_consignment(consignment).map(|_| ())?,
            (None, Some(die), None) => self.known_die(die).map(|_| ())?,
            (None, None, Some(sale)) => self.known_sale(sale).map(|_| ())?,
            _ => {
                let why = "it is for a consignment, a die or a sale: one of them";
                return Err(Refusal::ChargeImpossible { why });
            }
        }
        let charge = Charge {
            charge: e.charge,
            consignment: e.consignment,
            die: e.die,
            sale: e.sale,
            since: stamp.index,
            at: stamp.at,
        };
        self.charges.put(e.charge, charge);
        Ok(())
    }

    /// The number that the next quotation gets.
    pub(in crate::domain) fn next_quote_number(&self) -> Result<u32, Refusal> {
        self.next(Counted::Quote)
    }
}
