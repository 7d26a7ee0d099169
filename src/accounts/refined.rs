//! What a refining took in and gave back, for whoever follows metal through it.

use super::exact;
use super::mixture::Mixture;
use super::shares::{Brought, Shares};
use crate::domain::{Book, LotId, Refining, RefiningId};
use crate::metal::{FineMass, fine_mass};
use num_rational::BigRational;
use num_traits::Zero as _;

/// One refining.
pub(super) struct Refined<'a> {
    /// Its row.
    pub(super) row: &'a Refining,
    /// By lot, what was sent; none where that were sweepings alone.
    pub(super) sent: Option<Mixture<LotId>>,
    /// By source, what was accounted for: outturn and settled metal alike.
    pub(super) brought: Brought,
    /// Outturn and settled metal, steps of mass.
    pub(super) back: i64,
    /// The fine metal that was sent, as declared, picograms.
    pub(super) fine_sent: BigRational,
    /// The fine metal of the outturn, by the refiner's assay, picograms.
    pub(super) fine_outturn: BigRational,
    /// The fine metal that was settled, by the refiner's assay, picograms.
    pub(super) fine_settled: BigRational,
}

impl<'a> Refined<'a> {
    pub(super) fn of(book: &'a Book, shares: &Shares, refining: RefiningId) -> Option<Self> {
        let row = book.refining(refining)?;
        let outturn = row.outturn.and_then(|lot| book.lot(lot));
        let weight = outturn.map_or(0, |lot| lot.mass.mass().units());
        let settled = row.settled.as_ref();
        let sent = shares.sent(book, row);
        let fine = sent
            .as_ref()
            .map(|sent| shares.fine(book, row.metal, sent, row.mass.units()));
        let picograms = |fine: Option<FineMass>| exact::whole(fine.map_or(0, FineMass::picograms));
        let fine_outturn = picograms(outturn.map(|lot| fine_mass(lot.mass.mass(), lot.fineness)));
        let fine_settled = picograms(settled.map(|settled| fine_mass(settled.mass, settled.fineness)));
        let accounted = &fine_outturn + &fine_settled;
        Some(Self {
            row,
            brought: shares.brought(book, row, sent.as_ref(), &accounted),
            sent,
            back: weight.saturating_add(settled.map_or(0, |settled| settled.mass.units())),
            fine_sent: fine.unwrap_or_else(BigRational::zero),
            fine_outturn,
            fine_settled,
        })
    }

    /// The fine metal that the refiner accounted for, picograms.
    pub(super) fn fine_back(&self) -> BigRational {
        &self.fine_outturn + &self.fine_settled
    }
}
