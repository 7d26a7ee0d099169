//! Printing certificates: what is made before the book decides, and the same bytes again afterwards.
//!
//! A PDF holds the code of its certificate, which can be erased, so no PDF is kept. The book remembers that there was one:
//! as of which size of the log, by which version of the template, and - as a private member - the digest of its bytes. It
//! is made again from these and from what the record says at that size, and is answered only if the digest is the same.
//! What it was made from beside the record (the address, the maker's name, the policy) stands in a private member too,
//! since settings change. A title and a code are read where they stand, so that erasing them erases them here.

use super::asked::Asked;
use super::commands::busy;
use super::found::Found;
use super::problem::Problem;
use super::{App, failed, private, proofs};
use crate::check::{self, Trust};
use crate::domain::{
    Certificate, CertificateId, CertificatePrinted, Command, Event, Paper, Piece, PieceId, PieceState,
    PrintCertificates, PrintMade, Refusal, SeriesId,
};
use crate::http::routes::Prepare;
use crate::print::{self, PrintError, TEMPLATE};
use crate::proof::Policy;
use actix_web::http::header;
use actix_web::web::{self, Data};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::time::Duration;

/// The code of the refusal of a command for which nothing was made.
pub const NOT_MADE: &str = "not-made";
/// The most certificates that are printed at once: as many as a command may name.
const PRINT_MAX: usize = 64;
/// The most bytes of proof files that one PDF carries.
const PROOF_BYTES_MAX: usize = 32_000_000;
/// How many certificates are read at a time.
const PAGE: usize = 200;
/// How often a request that waits for a checkpoint looks for it, and how often at most: 1.5 s.
const LOOK_EVERY: Duration = Duration::from_millis(50);
const LOOKS_MAX: u32 = 30;

/// What a print was made from beside the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Inputs {
    address: String,
    maker: String,
    policy: String,
}

/// One printing: everything that its bytes follow from.
struct Printing<'a> {
    certificates: &'a [(CertificateId, PieceId)],
    size: u64,
    paper: Paper,
    template: u32,
    inputs: &'a Inputs,
}

/// A PDF, and whether something that could have stood in it is erased.
struct Made {
    bytes: Vec<u8>,
    title_erased: bool,
}

/// Prepares a command on a thread of its own, and waits a bounded time for the checkpoint that covers it. What it could
/// not make is told beside the command as it came.
pub async fn prepared(app: &Data<App>, prepare: Prepare, command: Command) -> (Command, Option<Problem>) {
    let mut looks = 0;
    loop {
        let (app, asked) = (Data::clone(app), command.clone());
        let made = web::block(move || prepare(&app, asked)).await;
        match made.unwrap_or_else(|_| Err(busy("no thread was free to print"))) {
            Ok(made) => return (made, None),
            Err(problem) if problem.code == "not-released" && looks < LOOKS_MAX => looks += 1,
            Err(problem) => return (command, Some(problem)),
        }
        actix_web::rt::time::sleep(LOOK_EVERY).await;
    }
}

/// Makes what a command asks to be printed, as of the newest released checkpoint.
///
/// # Errors
/// What forbids it; 503 while no checkpoint covers the certificates.
pub fn make(app: &App, command: Command) -> Result<Command, Problem> {
    let Command::PrintCertificates(command) = command else {
        return Err(Problem::internal("only certificates are printed"));
    };
    if app.settings.address.is_empty() {
        return Err(Problem::no_address(
            "the setting `address` of the book is empty, so no code can lead to it",
        ));
    }
    let rows = asked_for(app, &command)?;
    let released = app.writer.published().released();
    let size = released.as_ref().map_or(0, |released| released.size);
    if let Some(row) = rows.iter().find(|row| row.since >= size) {
        let says = format!(
            "entry {} issued a certificate, and no checkpoint covers it yet",
            row.since
        );
        return Err(Problem::not_released(says).with(header::RETRY_AFTER, "1"));
    }
    let certificates: Vec<_> = rows.iter().map(|row| (row.certificate, row.piece)).collect();
    let inputs = Inputs {
        address: app.settings.address.clone(),
        maker: app.settings.maker.clone(),
        policy: app.settings.policy.clone(),
    };
    let printing = Printing {
        certificates: &certificates,
        size,
        paper: command.paper,
        template: TEMPLATE,
        inputs: &inputs,
    };
    let made = printing.make(app).map_err(|problem| match problem.code {
        "print-gone" => Problem::unprintable(problem.detail),
        _ => problem,
    })?;
    let made = PrintMade {
        size,
        template: TEMPLATE,
        digest: digest(&made.bytes),
        inputs: serde_json::to_string(&inputs).map_err(|error| Problem::internal(error.to_string()))?,
        certificates,
    };
    let made = Some(made);
    Ok(PrintCertificates { made, ..command }.into())
}

/// The certificates that a command is about, in the order of their pages.
fn asked_for(app: &App, command: &PrintCertificates) -> Result<Vec<Certificate>, Problem> {
    let refused = |refusal: Refusal, at: &str| Problem::refused(&refusal).at(at.to_owned());
    match (command.certificates.as_slice(), command.series) {
        ([], None) => Err(refused(Refusal::NothingNamed, "/certificates")),
        ([], Some(series)) => {
            app.views
                .series(series)
                .map_err(failed)?
                .ok_or_else(|| refused(Refusal::UnknownSeries { series }, "/series"))?;
            let rows = of_series(app, series)?;
            match rows.len() {
                0 => Err(refused(Refusal::NothingNamed, "/series")),
                1..=PRINT_MAX => Ok(rows),
                count => {
                    let most = PRINT_MAX;
                    Err(refused(Refusal::TooMany { count, most }, "/series"))
                }
            }
        }
        (_, Some(_)) => {
            Err(Problem::invalid("name certificates or a series, not both").at("/series".to_owned()))
        }
        (named, None) if named.len() > PRINT_MAX => {
            let (count, most) = (named.len(), PRINT_MAX);
            Err(refused(Refusal::TooMany { count, most }, "/certificates"))
        }
        (named, None) => {
            let twice =
                |(place, id): &(usize, &CertificateId)| named.iter().take(*place).any(|other| other == *id);
            if let Some((place, id)) = named.iter().enumerate().find(twice) {
                return Err(refused(
                    Refusal::NamedTwice { id: id.0 },
                    &format!("/certificates/{place}"),
                ));
            }
            let row = |(place, certificate): (usize, &CertificateId)| {
                let row = app.views.certificate(*certificate).map_err(failed)?;
                let certificate = *certificate;
                row.ok_or_else(|| {
                    refused(
                        Refusal::UnknownCertificate { certificate },
                        &format!("/certificates/{place}"),
                    )
                })
            };
            named.iter().enumerate().map(row).collect()
        }
    }
}

/// The newest certificates of the pieces that are in a series now and not at their end, by shape, number and serial.
fn of_series(app: &App, series: SeriesId) -> Result<Vec<Certificate>, Problem> {
    let mut found: Vec<(Piece, Certificate)> = Vec::new();
    let mut after = None;
    loop {
        let newest = |row: &Certificate| row.superseded.is_none();
        let page = app
            .views
            .list::<Certificate>(&newest, after, PAGE)
            .map_err(failed)?;
        for row in page.rows {
            let piece = app.views.piece(row.piece).map_err(failed)?;
            let piece = piece.filter(|piece| piece.series == series && !is_at_its_end(piece.state));
            found.extend(piece.map(|piece| (piece, row)));
        }
        after = page.next;
        if after.is_none() {
            break;
        }
    }
    found.sort_by_key(|(piece, row)| (piece.shape.clone(), piece.number, row.serial.to_string()));
    Ok(found.into_iter().map(|(_, row)| row).collect())
}

const fn is_at_its_end(state: PieceState) -> bool {
    matches!(
        state,
        PieceState::Condemned | PieceState::Remelted | PieceState::Refined | PieceState::Destroyed
    )
}

/// What an entry printed, made again.
///
/// # Errors
/// 404 for an entry that printed nothing, 410 when something that it was made from is erased, 500 when its bytes come out
/// otherwise.
pub fn print(app: &App, asked: &Asked) -> Result<Found, Problem> {
    asked.parameters()?.finish()?;
    let nothing = || Problem::not_found("no entry with that index printed anything");
    let index = asked.member("index");
    let digits = index.len() <= 16 && index.bytes().all(|byte| byte.is_ascii_digit());
    let index: u64 = digits.then(|| index.parse().ok()).flatten().ok_or_else(nothing)?;
    if index >= app.views.position() {
        return Err(nothing());
    }
    let entry = app.entry(index)?;
    let printed = |event: &Event| match event {
        Event::CertificatePrinted(printed) => Some(printed.clone()),
        _ => None,
    };
    let printed: Vec<CertificatePrinted> = entry.events().filter_map(printed).collect();
    let first = printed.first().ok_or_else(nothing)?;
    let erased = |what: &str| Problem::gone(format!("{what} was erased, so it cannot be made again"));
    let kept = |member: &str| private::kept(app, index, 0, &entry, member);
    let wanted = kept("digest")?.ok_or_else(|| erased("the digest of what was printed"))?;
    let inputs = kept("inputs")?.ok_or_else(|| erased("what it was printed from"))?;
    let inputs: Inputs =
        serde_json::from_str(&inputs).map_err(|error| Problem::internal(error.to_string()))?;
    let certificates: Vec<_> = printed.iter().map(|one| (one.certificate, one.piece)).collect();
    let printing = Printing {
        certificates: &certificates,
        size: first.size,
        paper: first.paper,
        template: first.template,
        inputs: &inputs,
    };
    let made = printing.make(app)?;
    if digest(&made.bytes) != wanted {
        return Err(match made.title_erased {
            true => erased("the title of its series"),
            false => Problem::internal(format!(
                "what entry {index} printed comes out as other bytes now: template {}, as of {} entries",
                first.template, first.size
            )),
        });
    }
    // It holds the code of a certificate, so no cache keeps it.
    Ok(Found::bytes("application/pdf", made.bytes, "no-store"))
}

/// Why nothing could be printed, as a reply.
pub fn not_set(error: PrintError) -> Problem {
    match error {
        PrintError::NoType { .. } | PrintError::TooLong { .. } | PrintError::AddressTooLong { .. } => {
            Problem::unprintable(error.to_string())
        }
        PrintError::UnknownTemplate { .. } | PrintError::Pdf { .. } => Problem::internal(error.to_string()),
    }
}

fn digest(bytes: &[u8]) -> String {
    URL_SAFE_NO_PAD.encode(Sha256::digest(bytes))
}

impl Printing<'_> {
    fn make(&self, app: &App) -> Result<Made, Problem> {
        let note = app.store.sealed(self.size).map_err(failed)?;
        let note =
            note.ok_or_else(|| Problem::internal(format!("no checkpoint of size {} is kept", self.size)))?;
        let policy = Policy::parse(&self.inputs.policy).map_err(failed)?;
        let root = policy
            .root
            .ok_or_else(|| Problem::internal("the policy names no root"))?;
        let mut all = Vec::with_capacity(self.certificates.len());
        let (mut title_erased, mut carried) = (false, 0_usize);
        for (certificate, piece) in self.certificates {
            let unknown = || Problem::internal("the piece of a certificate is not in the views");
            let piece = app.views.piece(*piece).map_err(failed)?.ok_or_else(unknown)?;
            let at = (self.size, note.as_str());
            let proof = proofs::file(app, &piece, at, &self.inputs.policy, self.size)?.to_bytes();
            carried = carried.saturating_add(proof.len());
            if carried > PROOF_BYTES_MAX {
                let (count, most) = (self.certificates.len(), all.len());
                return Err(Problem::refused(&Refusal::TooMany { count, most }));
            }
            let (one, erased) = self.one(app, *certificate, proof, &root)?;
            title_erased |= erased;
            all.push(one);
        }
        let bytes = print::certificates(self.paper, self.template, &all).map_err(not_set)?;
        Ok(Made { bytes, title_erased })
    }

    /// One certificate, once its proof file holds; and whether its title is erased.
    fn one(
        &self,
        app: &App,
        certificate: CertificateId,
        proof: Vec<u8>,
        root: &str,
    ) -> Result<(print::Certificate, bool), Problem> {
        let trust = Trust {
            root: root.to_owned(),
            policy: None,
        };
        let report = check::check_piece(&proof, &trust);
        if !report.holds() {
            return Err(Problem::internal(format!("the record does not hold: {report}")));
        }
        let stated = check::stated(&proof, certificate).map_err(Problem::internal)?;
        let entry = app.entry(stated.index)?;
        let issued =
            |event: &Event| matches!(event, Event::CertificateIssued(e) if e.certificate == certificate);
        let place = entry.events().position(issued);
        let place = place.ok_or_else(|| Problem::internal("the entry of a certificate does not hold it"))?;
        let code = private::kept(app, stated.index, place, &entry, "code")?;
        let code = code.ok_or_else(|| {
            let serial = &stated.issued.serial;
            Problem::gone(format!(
                "the code of the certificate of {serial} was erased, so it cannot be printed"
            ))
        })?;
        let told = private::of_subject(app, stated.issued.series.0, None)?;
        let title = told.get("title");
        let erased = title.is_some_and(serde_json::Value::is_null);
        let one = print::Certificate {
            title: title.and_then(serde_json::Value::as_str).map(str::to_owned),
            code,
            maker: self.inputs.maker.clone(),
            address: self.inputs.address.clone(),
            origin: app.settings.origin.clone(),
            thumbprint: root.to_owned(),
            size: self.size,
            proof,
            stated,
        };
        Ok((one, erased))
    }
}
