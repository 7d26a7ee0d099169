//! What a piece cost, part by part, and what is left of its price.
//!
//! The parts: its metal by the shares of its lots; its part, by mass, of what its own melt lost; its part of what was charged for
//! each consignment that it was in (by the pieces sent), for each of the workshop's dies that struck it (by the strikes so far) and
//! for its sale (by the pieces that are still in it). What is private is brought by whoever may read it. A part of which a figure is
//! missing is *not known*, and so is the whole, never zero: where something was free, a charge of zero is recorded.
//! Rounded so that the parts add up to their printed sum (largest remainders).
//!
//! Deliberately absent: work and fuel; losses further back than its own melt; whether the price has tax in it, which is as it was
//! typed; rates of exchange.

use super::Reckoning;
use super::costs::{Carried, Carrying, Cost, Prices};
use super::exact;
use super::stock::{Exact, Value, printed};
use crate::domain::{Book, Charge, ChargeId, DieOwner, LotId, Piece, PieceId, PieceState};
use crate::metal::Money;
use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::Zero as _;
use serde::Serialize;
use std::collections::BTreeMap;

/// What is private, brought by whoever may read it.
pub struct Private<'a, E> {
    /// What lots cost.
    pub prices: &'a dyn Fn(&[LotId]) -> Result<Prices, E>,
    /// What was charged.
    pub charge: &'a dyn Fn(ChargeId) -> Result<Option<Money>, E>,
    /// What a piece was sold for.
    pub sold: &'a dyn Fn(&Piece) -> Result<Option<Money>, E>,
}

/// What a piece cost and what is left.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Margin {
    /// The piece.
    pub piece: PieceId,
    /// Its metal.
    pub metal: Value,
    /// Its part of what its melt lost.
    pub melt_loss: Value,
    /// Its part of the charges of its consignments.
    pub hallmark: Value,
    /// Its part of the charges of the dies that struck it.
    pub dies: Value,
    /// Its part of the charges of its sale.
    pub postage: Value,
    /// All of that.
    pub cost: Value,
    /// What it was sold for, if it is sold and that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub price: Option<Money>,
    /// The price less the cost, if both are known in one currency.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<Money>,
}

impl Margin {
    /// Of a piece.
    ///
    /// # Errors
    /// What `private` fails with.
    pub fn of<E>(reckoning: &Reckoning, piece: &Piece, private: &Private<'_, E>) -> Result<Self, E> {
        let book = reckoning.book();
        let (metal, melt_loss) = metal(reckoning, piece, private)?;
        let parts = [
            metal,
            melt_loss,
            hallmark(book, piece, private)?,
            dies(book, piece, private)?,
            postage(book, piece, private)?,
        ];
        let (cost, told) = printed(&parts, |part| part);
        let sold = match piece.sale {
            Some(_) => (private.sold)(piece)?,
            None => None,
        };
        let margin = match (cost.known, cost.amounts.as_slice(), sold) {
            (true, [], Some(price)) => Some(price),
            (true, [cost], Some(price)) => price.checked_sub(*cost),
            _ => None,
        };
        let [metal, melt_loss, hallmark, dies, postage] = told.try_into().unwrap_or_else(|_| {
            let unknown = || Value {
                known: false,
                amounts: Vec::new(),
            };
            [unknown(), unknown(), unknown(), unknown(), unknown()]
        });
        Ok(Self {
            piece: piece.piece,
            metal,
            melt_loss,
            hallmark,
            dies,
            postage,
            cost,
            price: sold,
            margin,
        })
    }
}

fn nothing() -> Exact {
    Exact {
        known: true,
        sums: BTreeMap::new(),
    }
}

/// Adds a part of an amount.
fn add(sum: &mut Exact, of: Option<Money>, part: &BigRational) {
    match of {
        None => sum.known = false,
        Some(of) => {
            let known = sum.sums.entry(of.currency()).or_insert_with(BigRational::zero);
            *known += exact::amount(of) * part;
        }
    }
}

fn one_over(count: usize) -> BigRational {
    let whole = exact::whole(BigInt::from(count));
    exact::over(&exact::whole(BigInt::from(1_u8)), &whole).unwrap_or_default()
}

/// Its metal, and its part of what its melt lost: not known before it is weighed, and before the melt is weighed out.
fn metal<E>(reckoning: &Reckoning, piece: &Piece, private: &Private<'_, E>) -> Result<(Exact, Exact), E> {
    let (book, shares) = (reckoning.book(), reckoning.shares());
    let (Some(mixture), Some(mass), Some(melt)) =
        (shares.melt(piece.melt), piece.mass(), book.melt(piece.melt))
    else {
        return Ok((Exact::default(), Exact::default()));
    };
    let carrying = Carrying::of(book, &shares);
    let of_piece = carrying.mixture(mixture, mass.units());
    let lots: Vec<LotId> = of_piece.lots.keys().copied().collect();
    let prices = (private.prices)(&lots)?;
    let costs = |carried: &Carried| Exact::from(Cost::of(book, carried, &prices));
    let metal = costs(&of_piece);
    let (Some(loss), Some(poured)) = (melt.loss, piece.readings.first()) else {
        return Ok((metal, Exact::default()));
    };
    let mut lost = costs(&carrying.mixture(mixture, loss.units()));
    let came_out = melt.charge.units().saturating_sub(loss.units());
    let part = exact::over(
        &exact::whole(BigInt::from(poured.mass.mass().units())),
        &exact::whole(BigInt::from(came_out.max(1))),
    );
    let part = part.unwrap_or_default();
    for sum in lost.sums.values_mut() {
        *sum = &*sum * &part;
    }
    Ok((metal, lost))
}

fn charges<'a>(book: &'a Book, of: impl Fn(&Charge) -> bool + 'a) -> Vec<&'a Charge> {
    book.charges().filter(|charge| of(charge)).collect()
}

/// Adds what was charged for one thing; nothing charged is not known.
fn add_charges<E>(
    sum: &mut Exact,
    charges: &[&Charge],
    part: &BigRational,
    private: &Private<'_, E>,
) -> Result<(), E> {
    sum.known &= !charges.is_empty();
    for charge in charges {
        add(sum, (private.charge)(charge.charge)?, part);
    }
    Ok(())
}

fn hallmark<E>(book: &Book, piece: &Piece, private: &Private<'_, E>) -> Result<Exact, E> {
    let mut sum = nothing();
    let with = |sent: &&crate::domain::Consignment| sent.pieces.iter().any(|line| line.piece == piece.piece);
    for sent in book.consignments().filter(with) {
        let charged = charges(book, |charge| charge.consignment == Some(sent.consignment));
        add_charges(&mut sum, &charged, &one_over(sent.pieces.len()), private)?;
    }
    Ok(sum)
}

fn dies<E>(book: &Book, piece: &Piece, private: &Private<'_, E>) -> Result<Exact, E> {
    let mut sum = nothing();
    for strike in &piece.strikes {
        let Some(die) = book.die(strike.die).filter(|die| die.owner == DieOwner::Workshop) else {
            // A commissioner's die cost the workshop nothing.
            continue;
        };
        let charged = charges(book, |charge| charge.die == Some(die.die));
        let strikes = usize::try_from(die.strikes).unwrap_or(usize::MAX);
        add_charges(&mut sum, &charged, &one_over(strikes.max(1)), private)?;
    }
    Ok(sum)
}

fn postage<E>(book: &Book, piece: &Piece, private: &Private<'_, E>) -> Result<Exact, E> {
    let mut sum = nothing();
    let Some(sale) = piece.sale.and_then(|sale| book.sale(sale)) else {
        return Ok(sum);
    };
    let charged = charges(book, |charge| charge.sale == Some(sale.sale));
    if charged.is_empty() && piece.state == PieceState::Sold {
        // Not sent yet.
        return Ok(sum);
    }
    let left = sale.pieces.len().saturating_sub(sale.undone.len());
    add_charges(&mut sum, &charged, &one_over(left.max(1)), private)?;
    Ok(sum)
}
