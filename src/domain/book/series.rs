//! Series: editions and open series, the serials that they give and the numbers of an edition.
//!
//! Whether a series is exempt from marking is the workshop's decision, after asking an assay office: the book keeps the
//! ground and holds the series to it, and does not judge it.

use super::pieces::no_serial;
use super::{Book, Piece, Series, agree};
use crate::domain::{
    ExemptGround, Limits, Marking, PieceId, PieceNumbered, PieceSerialled, PieceState, Refusal, Serial,
    SeriesId, SeriesKind, SeriesOpened, SeriesState, Shape, Stamp,
};
use crate::metal::{Fineness, Mass};

/// Ready for a number, as far as their state goes.
const UNNUMBERED: &[PieceState] = &[
    PieceState::Serialled,
    PieceState::Struck,
    PieceState::Hallmarked,
    PieceState::Spare,
];
/// The most shapes of an edition.
const SHAPES_MAX: usize = 64;

impl Book {
    pub(super) fn take_series(&mut self, stamp: &Stamp, e: &SeriesOpened) -> Result<(), Refusal> {
        self.free(e.series.0)?;
        if self.codes.find(&e.code).is_some() {
            return Err(Refusal::SeriesCodeTaken {
                code: e.code.to_string(),
            });
        }
        if !e.metal.is_precious() {
            return Err(Refusal::NotPrecious { metal: e.metal });
        }
        if e.fineness == Fineness::ZERO {
            return Err(Refusal::FinenessImpossible);
        }
        if let Some(why) = impossible(e) {
            return Err(Refusal::SeriesImpossible { why });
        }
        self.codes.put(e.code.clone(), e.series);
        let series = Series {
            series: e.series,
            code: e.code.clone(),
            kind_of: e.kind_of,
            metal: e.metal,
            fineness: e.fineness,
            unit: e.unit,
            shapes: e.shapes.clone(),
            limits: e.limits.clone(),
            digits: e.digits,
            marking: e.marking,
            ground: e.ground,
            exempt_below: e.exempt_below,
            exempt_from: e.exempt_from,
            unnumbered: e.unnumbered,
            number_on_metal: e.number_on_metal,
            struck: e.struck,
            spares_sold: e.spares_sold,
            state: SeriesState::Open,
            serials: 0,
            numbers: e.shapes.iter().map(|_| 0).collect(),
            promised: e.shapes.iter().map(|_| 0).collect(),
            closed: None,
            since: stamp.index,
        };
        self.series.put(e.series, series);
        Ok(())
    }

    pub(super) fn take_serial(&mut self, e: &PieceSerialled) -> Result<(), Refusal> {
        agree(e, &self.reckon_serial(e.piece)?)?;
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.serial = Some(e.serial.clone());
        if piece.state == PieceState::Graded {
            piece.state = PieceState::Serialled;
        }
        self.pieces.put(e.piece, piece);
        let mut series = self.known_series(e.series)?.clone();
        series.serials = series.serials.saturating_add(1);
        self.series.put(e.series, series);
        Ok(())
    }

    /// The serial that a piece would get now: the next of its series, if the piece is accepted on a reading that stands
    /// and its melt is weighed out.
    pub(in crate::domain) fn reckon_serial(&self, id: PieceId) -> Result<PieceSerialled, Refusal> {
        let piece = self.known_piece(id)?;
        no_serial(piece)?;
        piece.is_in(&[PieceState::Graded, PieceState::Struck], "given a serial")?;
        self.open_series(piece.series)?;
        self.closed_melt(piece.melt)?;
        self.accepted(piece, "given a serial")?;
        let series = self.known_series(piece.series)?;
        let used_up = Refusal::SerialsUsedUp {
            digits: series.digits,
        };
        let serial = series
            .serials
            .checked_add(1)
            .and_then(|next| Serial::new(series.code.clone(), next, series.digits))
            .ok_or(used_up)?;
        Ok(PieceSerialled {
            piece: id,
            series: piece.series,
            serial,
        })
    }

    pub(super) fn take_number(&mut self, stamp: &Stamp, e: &PieceNumbered) -> Result<(), Refusal> {
        agree(e, &self.reckon_number(e.piece)?)?;
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.number = Some(e.number);
        piece.numbered_at = Some(stamp.index);
        piece.state = PieceState::Numbered;
        self.pieces.put(e.piece, piece);
        self.take_place(e.series, &e.shape, e.number)
    }

    /// The next place of a shape is taken: by a number or, where pieces get none, by a certificate.
    pub(super) fn take_place(&mut self, id: SeriesId, shape: &Shape, place: u32) -> Result<(), Refusal> {
        let mut series = self.known_series(id)?.clone();
        let taken = series.shapes.iter().zip(series.numbers.iter_mut());
        for (_, taken) in taken.filter(|(size, _)| size.shape == *shape) {
            *taken = place;
        }
        self.series.put(id, series);
        Ok(())
    }

    /// The edition number that a piece would get now: the next of its shape, if its final weighing stands and accepts it.
    pub(in crate::domain) fn reckon_number(&self, id: PieceId) -> Result<PieceNumbered, Refusal> {
        let piece = self.known_piece(id)?;
        if let Some(number) = piece.number {
            return Err(Refusal::HasNumber { number });
        }
        let series = self.known_series(piece.series)?;
        self.edition(piece.series)?;
        if series.unnumbered {
            return Err(Refusal::SeriesUnnumbered);
        }
        self.open_series(piece.series)?;
        if piece.state == PieceState::MisStruck || piece.serial.is_some() {
            piece.is_in(UNNUMBERED, "numbered")?;
        } else {
            return Err(Refusal::NoSerial);
        }
        self.marked(piece)?;
        self.finally_weighed(piece)?;
        self.accepted(piece, "numbered")?;
        let (number, of) = self.next_place(piece)?;
        Ok(PieceNumbered {
            piece: id,
            series: piece.series,
            shape: piece.shape.clone(),
            number,
            of,
        })
    }

    /// The next place of a piece's shape in its edition, and how many there are.
    pub(super) fn next_place(&self, piece: &Piece) -> Result<(u32, u32), Refusal> {
        let series = self.known_series(piece.series)?;
        let (size, taken) = series
            .shapes
            .iter()
            .zip(series.numbers.iter())
            .find(|(size, _)| size.shape == piece.shape)
            .ok_or_else(|| Refusal::NotAShapeOfSeries {
                shape: piece.shape.to_string(),
            })?;
        let next = taken.checked_add(1).filter(|next| *next <= size.size);
        next.map(|next| (next, size.size))
            .ok_or_else(|| Refusal::EditionFull {
                shape: piece.shape.to_string(),
                size: size.size,
            })
    }

    /// Refuses a piece that is not accepted, or is so only by a reading that is suspect.
    pub(super) fn accepted(&self, piece: &Piece, verb: &'static str) -> Result<(), Refusal> {
        piece.is_accepted(verb)?;
        match piece.reading() {
            Some(reading) if self.is_suspect(reading) => Err(Refusal::ReadingSuspect {
                session: reading.session,
            }),
            Some(_) => Ok(()),
            None => Err(Refusal::NotWeighed),
        }
    }

    /// The series that has a code.
    #[must_use]
    pub fn series_by_code(&self, code: &crate::domain::SeriesCode) -> Option<SeriesId> {
        self.codes.find(code).copied()
    }
}

/// Why a series cannot be so.
fn impossible(e: &SeriesOpened) -> Option<&'static str> {
    let wrong_limits = |limits: &Limits| {
        limits.lower.is_zero() || limits.lower > limits.nominal || limits.nominal > limits.upper
    };
    let too_heavy = |exempt: Mass| e.limits.as_ref().is_none_or(|limits| limits.upper >= exempt);
    let shapes: std::collections::BTreeSet<_> = e.shapes.iter().map(|size| &size.shape).collect();
    let sizes: u64 = e.shapes.iter().map(|size| u64::from(size.size)).sum();
    if !(4..=6).contains(&e.digits) {
        Some("its serials have 4 to 6 digits")
    } else if e.shapes.len() > SHAPES_MAX {
        Some("an edition has at most 64 shapes")
    } else if shapes.len() < e.shapes.len() {
        Some("a shape is named twice")
    } else if e.shapes.iter().any(|size| size.size == 0) {
        Some("a shape has a size of zero")
    } else if sizes >= 10_u64.pow(u32::from(e.digits)) {
        Some("it is larger than its serials can count")
    } else if e.kind_of == SeriesKind::Edition && (e.shapes.is_empty() || e.limits.is_none()) {
        Some("an edition has shapes with their sizes, a nominal weight and its limits")
    } else if e.kind_of == SeriesKind::Open && !e.shapes.is_empty() {
        Some("an open series has no sizes")
    } else if e.limits.as_ref().is_some_and(wrong_limits) {
        Some("its limits do not enclose its nominal weight")
    } else if (e.marking == Marking::Exempt) != e.ground.is_some() {
        Some("it is exempt from marking on a named ground, or it is not exempt")
    } else if e.exempt_below.is_some() != (e.ground == Some(ExemptGround::BelowWeight)) {
        Some(
            "an exemption weight goes with the ground below_weight, and that ground with an exemption weight",
        )
    } else if e.exempt_below.is_some() != e.exempt_from.is_some() {
        Some("a row of the table of exemption weights has a weight and a day")
    } else if e.exempt_below.is_some_and(too_heavy) {
        Some("its pieces would not be below the exemption weight: it needs an upper limit that is")
    } else if e.kind_of == SeriesKind::Open && (e.unnumbered || e.number_on_metal || e.spares_sold) {
        Some("an open series has no edition numbers and no spares")
    } else if e.unnumbered && e.number_on_metal {
        Some("its pieces get no numbers, so none is put on the metal")
    } else {
        None
    }
}
