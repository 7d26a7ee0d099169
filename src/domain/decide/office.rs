//! Deciding what the office asks: series, certificates, erasures, the clock.

use super::{Decision, listed, short};
use crate::domain::command::*;
use crate::domain::{
    CertificateId, CertificatePrinted, CertificateSuperseded, ClockSet, FieldErased, OperatorRevoked,
    PieceCertified, PieceId, Private, Refusal, Refused, SeriesId, SeriesOpened, certificate_code,
};

impl Decision<'_> {
    pub(super) fn open_series(&mut self, c: &OpenSeries) -> Result<(), Refused> {
        short(&[
            ("title", &c.title),
            ("commissioner", &c.commissioner),
            ("decided", &c.decided),
            ("note", &c.note),
        ])?;
        let event = SeriesOpened {
            series: SeriesId(self.fresh()),
            code: c.code.clone(),
            kind_of: c.kind_of,
            metal: c.metal,
            fineness: c.fineness,
            unit: c.unit,
            shapes: c.shapes.clone(),
            limits: c.limits.clone(),
            digits: c.digits,
            marking: c.marking,
            ground: c.ground,
            exempt_below: c.exempt_below,
            exempt_from: c.exempt_from,
            unnumbered: c.unnumbered,
            number_on_metal: c.number_on_metal,
            struck: c.struck,
            spares_sold: c.spares_sold,
        };
        let private = Private::none()
            .text("title", c.title.as_deref())
            .text("commissioner", c.commissioner.as_deref())
            .text("decided", c.decided.as_deref())
            .text("note", c.note.as_deref());
        self.add_with(event, private).map_err(|refusal| match refusal {
            Refusal::SeriesCodeTaken { .. } => refusal.at("/code"),
            Refusal::NotPrecious { .. } => refusal.at("/metal"),
            Refusal::FinenessImpossible => refusal.at("/fineness"),
            other => other.into(),
        })
    }

    pub(super) fn issue_certificates(&mut self, c: &IssueCertificates) -> Result<(), Refused> {
        self.each(&c.pieces, |decision, piece| {
            let row = decision.book.known_piece(piece)?;
            if let Some(certificate) = row.certificate {
                let issue = decision.book.known_certificate(certificate)?.issue;
                return Err(Refusal::HasCertificate { issue });
            }
            let (certificate, issue) = decision.issue(piece)?;
            decision.add(PieceCertified {
                piece,
                certificate,
                issue,
            })
        })
    }

    pub(in crate::domain) fn supersede_certificate(
        &mut self,
        c: &SupersedeCertificate,
    ) -> Result<(), Refused> {
        short(&[("note", &c.note)])?;
        let at = |refusal: Refusal| refusal.at("/piece");
        let older = self.book.known_piece(c.piece).map_err(at)?.certificate;
        let older = older.ok_or_else(|| at(Refusal::NoCertificate))?;
        let (by, issue) = self.issue(c.piece).map_err(at)?;
        let superseded = CertificateSuperseded {
            certificate: older,
            by,
            reason: c.reason,
        };
        let private = Private::none().text("note", c.note.as_deref());
        self.add_with(superseded, private)
            .map_err(|refusal| refusal.at("/reason"))?;
        self.add(PieceCertified {
            piece: c.piece,
            certificate: by,
            issue,
        })
        .map_err(at)
    }

    /// One issue, with a code of its own that only the certificate shows.
    fn issue(&mut self, piece: PieceId) -> Result<(CertificateId, u32), Refusal> {
        let certificate = CertificateId(self.fresh());
        let event = self.book.reckon_issue(piece, certificate)?;
        let issue = event.issue;
        let code = certificate_code(&mut self.moment.draw);
        self.add_with(event, Private::none().text("code", Some(&code)))?;
        Ok((certificate, issue))
    }

    /// One event for each certificate; all of them were made into one PDF, so its digest is theirs.
    pub(super) fn print_certificates(&mut self, c: &PrintCertificates) -> Result<(), Refused> {
        let list = if c.series.is_some() {
            "/series"
        } else {
            "/certificates"
        };
        let made = c.made.as_ref().ok_or_else(|| Refusal::NotMade.at(list))?;
        listed(
            made.certificates.iter().map(|(certificate, _)| certificate.0),
            list,
            "",
        )?;
        short(&[("inputs", &Some(made.inputs.clone()))])?;
        for (place, (certificate, piece)) in made.certificates.iter().enumerate() {
            let event = CertificatePrinted {
                certificate: *certificate,
                piece: *piece,
                size: made.size,
                paper: c.paper,
                template: made.template,
            };
            let private = Private::none()
                .text("digest", Some(&made.digest))
                .text("inputs", Some(&made.inputs));
            self.add_with(event, private).map_err(|refusal| match c.series {
                Some(_) => refusal.at(list),
                None => refusal.at(format!("{list}/{place}")),
            })?;
        }
        Ok(())
    }

    pub(super) fn erase_field(&mut self, c: &EraseField) -> Result<(), Refused> {
        let event = FieldErased {
            index: c.index,
            entry: c.entry.clone(),
            event: c.event,
            member: c.member.clone(),
            reason: c.reason,
        };
        self.add(event).map_err(|refusal| refusal.at("/member"))
    }

    /// Who was revoked, the floors above follow: the book does not know by whom its events are.
    pub(super) fn revoke_operator(&mut self, c: &RevokeOperator) -> Result<(), Refused> {
        let operator = c.operator;
        if operator.0.is_nil() {
            return Err(Refusal::Nobody.at("/operator"));
        }
        Ok(self.add(OperatorRevoked { operator })?)
    }

    /// The book's clock goes on from what the writer's clock shows.
    pub(super) fn set_clock(&mut self, _: &SetClock) -> Result<(), Refused> {
        let to = self.moment.now;
        Ok(self.add(ClockSet { to })?)
    }
}
