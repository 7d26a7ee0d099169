//! What a piece should weigh, before it is weighed.

use crate::domain::{Book, MeltId, Mould, Piece, SeriesId, Shape, Stage};
use crate::metal::likely::{Likely, SlipRule};
use crate::metal::spread::Spread;
use std::collections::BTreeMap;

/// What of a pour its weight depends on.
type Cast = (SeriesId, Shape, Option<Mould>);

/// What the moulds gave so far, for the pieces of one tray.
pub struct Moulds {
    spreads: BTreeMap<Cast, Spread>,
}

fn cast(piece: &Piece) -> Cast {
    let series = piece.poured_for.unwrap_or(piece.series);
    (series, piece.shape.clone(), piece.mould.clone())
}

impl Moulds {
    /// The spread of every mould that a tray has a piece of: by all pieces that were weighed as they came from it, and were
    /// not found in doubt since.
    #[must_use]
    pub fn of(book: &Book, tray: &[Piece]) -> Self {
        let mut spreads: BTreeMap<Cast, Spread> = tray
            .iter()
            .map(|piece| (cast(piece), Spread::default()))
            .collect();
        for piece in book.pieces() {
            let first = piece.readings.first();
            let first =
                first.filter(|reading| reading.stage == Stage::FromMould && !book.is_suspect(reading));
            if let (Some(reading), Some(spread)) = (first, spreads.get_mut(&cast(piece))) {
                spread.take(reading.mass.mass());
            }
        }
        Self { spreads }
    }

    /// What a piece should weigh at a stage.
    #[must_use]
    pub fn likely(&self, rule: &SlipRule, book: &Book, piece: &Piece, stage: Stage) -> Option<Likely> {
        if stage != Stage::FromMould {
            return Likely::of_last(rule, piece.mass()?);
        }
        let by_mould = self.spreads.get(&cast(piece));
        by_mould
            .and_then(|spread| Likely::of_mould(rule, spread))
            .or_else(|| {
                let limits = book.series(piece.series)?.limits.as_ref()?;
                Likely::of_limits(rule, limits.lower, limits.upper)
            })
    }
}

/// The pieces of a melt, in the order of the pour.
#[must_use]
pub fn of_melt(book: &Book, melt: MeltId) -> Vec<Piece> {
    let pieces = book.melt(melt).into_iter().flat_map(|melt| &melt.pieces);
    pieces.filter_map(|id| book.piece(*id).cloned()).collect()
}
