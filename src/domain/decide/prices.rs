//! Deciding about prices: a quotation keeps all that it was made from.

use super::{Decision, short};
use crate::domain::command::*;
use crate::domain::{
    ChargeId, ChargeRecorded, Date, PieceId, Private, QuoteId, QuoteMade, Refusal, Refused, Spot, SpotId,
    SpotRecorded, Timestamp,
};
use crate::metal::price::{PriceInputs, TO_THE_PENNY};
use crate::metal::vat::{self, VAT_ROWS};
use crate::metal::{Fineness, Mass};
use serde::{Deserialize, Serialize};

/// All that a quotation was made from. It is kept as one private member, and from it alone the price recomputes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct QuoteInputs {
    /// Entry of the reading, if it is for a piece.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reading: Option<u64>,
    /// When the spot price was the price.
    pub priced_at: Timestamp,
    /// The rest.
    pub price: PriceInputs,
}

/// The metal that is priced.
struct Weighed {
    reading: Option<u64>,
    mass: Mass,
    fineness: Option<Fineness>,
}

impl Decision<'_> {
    pub(super) fn record_spot(&mut self, c: &RecordSpot) -> Result<(), Refused> {
        short(&[("source", &c.source), ("note", &c.note)])?;
        let event = SpotRecorded {
            spot: SpotId(self.fresh()),
            metal: c.metal,
            price: c.price,
            priced_at: c.priced_at,
        };
        let private = Private::none()
            .text("source", c.source.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private).map_err(|refusal| match refusal {
            Refusal::SpotToCome => refusal.at("/priced_at"),
            Refusal::NotPrecious { .. } => refusal.at("/metal"),
            other => other.at("/price"),
        })
    }

    pub(super) fn record_charge(&mut self, c: &RecordCharge) -> Result<(), Refused> {
        short(&[("document", &c.document), ("note", &c.note)])?;
        if c.amount.amount().is_sign_negative() {
            let why = "nothing is charged below zero";
            return Err(Refusal::ChargeImpossible { why }.at("/amount"));
        }
        let event = ChargeRecorded {
            charge: ChargeId(self.fresh()),
            consignment: c.consignment,
            die: c.die,
            sale: c.sale,
        };
        let private = Private::none()
            .money("amount", Some(&c.amount))
            .text("document", c.document.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private).map_err(|refusal| match refusal {
            Refusal::UnknownConsignment { .. } => refusal.at("/consignment"),
            Refusal::UnknownDie { .. } => refusal.at("/die"),
            Refusal::UnknownSale { .. } => refusal.at("/sale"),
            other => other.into(),
        })
    }

    pub(super) fn make_quote(&mut self, c: &MakeQuote) -> Result<(), Refused> {
        short(&[("buyer", &c.buyer), ("note", &c.note)])?;
        let spot = self.book.known_spot(c.spot);
        let spot = spot.map_err(|refusal| refusal.at("/spot"))?.clone();
        let inputs = self.inputs_of(c, &spot)?;
        let impossible = |why: String| Refusal::PriceImpossible { why };
        let price = inputs.price.price().map_err(|error| {
            let pointer = match error.pointer() {
                about @ ("/mass" | "/fineness") => format!("/of{about}"),
                other => other.to_owned(),
            };
            impossible(error.to_string()).at(pointer)
        })?;
        let kept = serde_json::to_string(&inputs).map_err(|error| impossible(error.to_string()))?;
        let event = QuoteMade {
            quote: QuoteId(self.fresh()),
            number: self.book.next_quote_number()?,
            metal: spot.metal,
            spot: c.spot,
            piece: c.of.piece,
        };
        let private = Private::none()
            .text("inputs", Some(&kept))
            .money("net", Some(&price.net))
            .money("vat", Some(&price.vat))
            .money("gross", Some(&price.gross))
            .text("buyer", c.buyer.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private)
            .map_err(|refusal| refusal.at("/of/piece"))
    }

    fn inputs_of(&self, c: &MakeQuote, spot: &Spot) -> Result<QuoteInputs, Refused> {
        let weighed = match (c.of.piece, c.of.mass) {
            (Some(piece), None) if c.of.fineness.is_none() => self.reading_of(piece)?,
            (None, Some(mass)) => Weighed {
                reading: None,
                mass,
                fineness: c.of.fineness,
            },
            _ => {
                let why = "it is for a piece, or for so many grams with or without a fineness".to_owned();
                return Err(Refusal::PriceImpossible { why }.at("/of"));
            }
        };
        let day = Date::of(self.stamp.at).map_or_else(|| vat::NEWEST.to_owned(), |day| day.to_string());
        let vat = vat::rate(&VAT_ROWS, c.vat, spot.metal, weighed.fineness, &day).map_err(|error| {
            let why = error.to_string();
            Refusal::PriceImpossible { why }.at("/vat")
        })?;
        Ok(QuoteInputs {
            reading: weighed.reading,
            priced_at: spot.priced_at,
            price: PriceInputs {
                metal: spot.metal,
                mass: weighed.mass,
                fineness: weighed.fineness,
                by_fine_weight: c.by_fine_weight,
                spot: spot.price,
                premium_percent: c.premium_percent,
                fees: c.fees,
                weight: c.weight,
                vat,
                rounding: c.rounding.unwrap_or(TO_THE_PENNY),
            },
        })
    }

    /// The last reading of a piece, and the fineness that its series states.
    fn reading_of(&self, id: PieceId) -> Result<Weighed, Refused> {
        let at = |refusal: Refusal| refusal.at("/of/piece");
        let piece = self.book.known_piece(id).map_err(at)?;
        let reading = piece.reading().ok_or(Refusal::NotWeighed).map_err(at)?;
        let series = self.book.known_series(piece.series).map_err(at)?;
        Ok(Weighed {
            reading: Some(reading.index),
            mass: reading.mass.mass(),
            fineness: Some(series.fineness),
        })
    }
}
