//! Certificates: what the maker states of a piece, and the newer issue that takes an older one's place.
//!
//! A certificate states the last reading with its uncertainty and what that supports, never more; it stands on a session
//! that is over, with a check that held after it. Its code is a private member. Of what was printed the book knows that it
//! was; deliberately absent: the sheet itself, which holds the code.

use super::owed::Owed;
use super::{Book, Certificate, Piece, Series, agree};
use crate::domain::PieceReading;
use crate::domain::{
    CertificateId, CertificateIssued, CertificatePrinted, CertificateSuperseded, FinenessBasis,
    HallmarkStatement, PieceCertified, PieceId, PieceState, Refusal, SeriesKind, SessionState, Stamp,
    SupersedeReason,
};
use crate::metal::{at_least, expanded_uncertainty, mpe_in_service};

impl Book {
    pub(super) fn take_issue(&mut self, stamp: &Stamp, e: &CertificateIssued) -> Result<(), Refusal> {
        self.free(e.certificate.0)?;
        agree(e, &self.reckon_issue(e.piece, e.certificate)?)?;
        let certificate = Certificate {
            certificate: e.certificate,
            piece: e.piece,
            issue: e.issue,
            serial: e.serial.clone(),
            superseded: None,
            prints: Vec::new(),
            since: stamp.index,
            at: stamp.at,
        };
        self.certificates.put(e.certificate, certificate);
        if let Some(older) = self.known_piece(e.piece)?.certificate {
            self.supersede_owed(older, e.certificate)?;
        }
        self.owe(Owed::Certifying {
            piece: e.piece,
            certificate: e.certificate,
            issue: e.issue,
        })
    }

    fn supersede_owed(&mut self, older: CertificateId, newer: CertificateId) -> Result<(), Refusal> {
        self.owe(Owed::Superseding { older, newer })
    }

    /// What a certificate of a piece states if it is issued now. A first issue is for an accepted piece; a later one
    /// states what is, since it must be able to say that the piece has become lighter.
    pub(in crate::domain) fn reckon_issue(
        &self,
        id: PieceId,
        certificate: CertificateId,
    ) -> Result<CertificateIssued, Refusal> {
        let piece = self.known_piece(id)?;
        let series = self.known_series(piece.series)?;
        self.marked(piece)?;
        let serial = piece.serial.clone().ok_or(Refusal::NoSerial)?;
        let issue = match piece.certificate {
            Some(older) => self.known_certificate(older)?.issue.saturating_add(1),
            None => 1,
        };
        let reading = self.weight_of_record(piece)?;
        if issue == 1 {
            self.may_certify(piece, series)?;
        } else {
            not_at_its_end(piece, "certified")?;
        }
        self.not_above_assay(piece, series.fineness)?;
        let melt = self.closed_melt(piece.melt)?;
        let scale = self.scale_of(reading)?;
        let mass = reading.mass.mass();
        let uncertainty = mpe_in_service(scale.class, scale.e, mass)
            .and_then(|mpe| expanded_uncertainty(mpe, scale.repeatability, scale.d))
            .ok_or(Refusal::ScaleUnverified)?;
        let of = series
            .shapes
            .iter()
            .find(|size| size.shape == piece.shape)
            .map(|size| size.size);
        Ok(CertificateIssued {
            certificate,
            piece: id,
            issue,
            serial,
            series: piece.series,
            number: piece.number,
            of: piece.number.and(of),
            metal: series.metal,
            fineness: series.fineness,
            basis: match piece.hallmark {
                Some(_) => FinenessBasis::Hallmarked,
                None => melt.basis,
            },
            hallmark: match piece.hallmark {
                Some(_) => HallmarkStatement::Hallmarked,
                None => HallmarkStatement::NotHallmarked,
            },
            marks: piece.hallmark.clone(),
            session: reading.session,
            mass: reading.mass.clone(),
            uncertainty,
            at_least: at_least(mass, uncertainty),
        })
    }

    /// Refuses a first certificate to a piece that is not accepted, or lacks the number that its edition gives.
    fn may_certify(&self, piece: &Piece, series: &Series) -> Result<(), Refusal> {
        self.open_series(piece.series)?;
        piece.is_in(UNCERTIFIED, "certified")?;
        if series.kind_of == SeriesKind::Edition {
            match (series.unnumbered, piece.number) {
                (true, _) => self.next_place(piece).map(|_| ())?,
                (false, Some(_)) => {}
                (false, None) if piece.state != PieceState::Spare => return Err(Refusal::NoNumber),
                (false, None) if series.spares_sold => {}
                (false, None) => return Err(Refusal::SparesNotSold),
            }
        }
        self.accepted(piece, "certified")
    }

    /// The last reading of a piece, if a certificate may rest on it.
    fn weight_of_record<'a>(&self, piece: &'a Piece) -> Result<&'a PieceReading, Refusal> {
        self.finally_weighed(piece)?;
        let reading = piece.reading().ok_or(Refusal::NotFinallyWeighed)?;
        let session = reading.session;
        match self.known_session(session)?.state {
            SessionState::Open => return Err(Refusal::SessionUnconfirmed { session }),
            SessionState::Failed if self.is_suspect(reading) => {
                return Err(Refusal::ReadingSuspect { session });
            }
            // A check that held after the reading brackets it, whatever became of the scale later.
            SessionState::Failed | SessionState::Confirmed => {}
        }
        if self.scale_of(reading)?.verified {
            Ok(reading)
        } else {
            Err(Refusal::ScaleUnverified)
        }
    }

    /// A certificate gives way only to the newer issue in the same entry. "Weighed again" is a reason only if it was.
    pub(super) fn take_superseding(&mut self, e: &CertificateSuperseded) -> Result<(), Refusal> {
        self.known_certificate(e.certificate)?;
        self.pay("certificate.superseded", |owed| {
            matches!(owed, Owed::Superseding { older, newer } if *older == e.certificate && *newer == e.by)
        })?;
        let mut older = self.known_certificate(e.certificate)?.clone();
        if e.reason == SupersedeReason::Reweighed {
            let reading = self.known_piece(older.piece)?.reading();
            if reading.is_none_or(|reading| reading.index <= older.since) {
                return Err(Refusal::NotFinallyWeighed);
            }
        }
        older.superseded = Some(e.by);
        self.certificates.put(e.certificate, older);
        Ok(())
    }

    /// What is printed is the newest issue of a piece that is still one, as of a log that holds it.
    pub(super) fn take_print(&mut self, stamp: &Stamp, e: &CertificatePrinted) -> Result<(), Refusal> {
        let mut certificate = self.known_certificate(e.certificate)?.clone();
        agree(&e.piece, &certificate.piece)?;
        if let Some(by) = certificate.superseded {
            return Err(Refusal::CertificateGaveWay { by });
        }
        not_at_its_end(self.known_piece(e.piece)?, "printed")?;
        if e.size <= certificate.since || e.size > stamp.index {
            let (size, since) = (e.size, certificate.since);
            return Err(Refusal::PrintNotCovered { size, since });
        }
        if certificate.prints.len() >= PRINTS_MAX {
            return Err(Refusal::PrintedTooOften { most: PRINTS_MAX });
        }
        certificate.prints.push(stamp.index);
        self.certificates.put(e.certificate, certificate);
        Ok(())
    }

    pub(super) fn take_certifying(&mut self, e: &PieceCertified) -> Result<(), Refusal> {
        self.known_piece(e.piece)?;
        let owed = self.pay("piece.certified", |owed| {
            matches!(owed, Owed::Certifying { piece, certificate, .. }
                if *piece == e.piece && *certificate == e.certificate)
        })?;
        if let Owed::Certifying { issue, .. } = owed {
            agree(&e.issue, &issue)?;
        }
        let mut piece = self.known_piece(e.piece)?.clone();
        piece.certificate = Some(e.certificate);
        let (series, shape) = (piece.series, piece.shape.clone());
        let place = match e.issue == 1 && self.known_series(series)?.unnumbered {
            true => Some(self.next_place(&piece)?.0),
            false => None,
        };
        if e.issue == 1 {
            piece.state = PieceState::Certified;
        }
        self.pieces.put(e.piece, piece);
        place.map_or(Ok(()), |place| self.take_place(series, &shape, place))
    }
}

/// How often one issue is printed at most: beyond that the printer is the trouble, and a new issue is the way.
const PRINTS_MAX: usize = 64;

/// Ready for a first certificate, as far as their state goes.
const UNCERTIFIED: &[PieceState] = &[
    PieceState::Serialled,
    PieceState::Struck,
    PieceState::Hallmarked,
    PieceState::Spare,
    PieceState::Numbered,
];

/// A newer issue may say that the piece has become lighter, not that it is still there when it is not.
fn not_at_its_end(piece: &Piece, verb: &'static str) -> Result<(), Refusal> {
    match piece.state {
        PieceState::Condemned | PieceState::Remelted | PieceState::Refined | PieceState::Destroyed => {
            Err(Refusal::WrongState {
                state: piece.state,
                verb,
            })
        }
        _ => Ok(()),
    }
}
