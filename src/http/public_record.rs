//! The public record of a piece: what its serial tells anybody, in the words of its certificate.
//!
//! Deliberately absent: names, money, the certificate's code, where the piece is and who has it. And any guess at what a
//! mistyped serial was meant to be.

use super::asked::Asked;
use super::beside;
use super::found::{ASK_AGAIN, Found};
use super::kept::Bounded;
use super::private;
use super::problem::Problem;
use super::{App, failed};
use crate::accounts::GravityTold;
use crate::domain::{
    Certificate, CertificateIssued, Event, Piece, PieceState, Scale, Serial, SerialError, SeriesClosed,
};
use crate::metal::{Mass, OUNCE_DECIMALS, Rounding, troy_ounces};
use crate::record::Entry;
use crate::writer::Released;
use serde_json::{Map, Value, json};
use std::sync::Arc;

/// How many bytes of records are kept: some ten thousand of a usual size.
const KEPT_BYTES_MAX: usize = 16 * 1024 * 1024;

/// Where views and checkpoint stood when a record was made: as long as they stand there, it would be made the same.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Stand {
    views: u64,
    released: Option<u64>,
}

/// The records that are kept, by serial and whether its check digits were there.
pub struct Records {
    kept: Bounded<(Serial, bool), (Stand, Found)>,
}

impl Default for Records {
    fn default() -> Self {
        Self {
            kept: Bounded::new(KEPT_BYTES_MAX),
        }
    }
}

/// What somebody should know who holds a piece that is said to be in this state.
const fn notice(state: PieceState) -> Option<&'static str> {
    match state {
        PieceState::Stolen => Some("the workshop recorded it as stolen: ask the workshop or the police"),
        PieceState::Lost => Some("the workshop recorded it as lost on its way to a buyer: ask the workshop"),
        PieceState::Missing => Some("it did not come back from the assay office: ask the workshop"),
        PieceState::Destroyed => Some("the workshop recorded that it was destroyed before a witness"),
        PieceState::Remelted | PieceState::Refined => Some("the workshop recorded that it was melted"),
        PieceState::Kept => Some("the assay office kept it or cut it: it did not come back"),
        PieceState::Condemned => Some("the workshop gave it up and means to melt it"),
        PieceState::MisStruck | PieceState::Archived => Some("it is mis-struck and never for sale"),
        _ => None,
    }
}

/// Reads the serial in the path; whether its check digits were there.
///
/// # Errors
/// 422 for a slip or for what is no serial.
pub fn serial_of(asked: &Asked) -> Result<(Serial, bool), Problem> {
    Serial::parse_loose(asked.member("serial")).map_err(|error| match error {
        SerialError::Slip => Problem::serial_slip(error.to_string()),
        SerialError::Form => Problem::serial_form(error.to_string()),
    })
}

/// The piece with a serial.
///
/// # Errors
/// 404 when the book has given it to no piece.
pub fn piece_of(app: &App, serial: &Serial) -> Result<Piece, Problem> {
    let unknown = || Problem::serial_unknown(format!("this book has given the serial {serial} to no piece"));
    let id = app
        .views
        .piece_by_serial(serial)
        .map_err(failed)?
        .ok_or_else(unknown)?;
    app.views.piece(id).map_err(failed)?.ok_or_else(unknown)
}

/// The record.
///
/// # Errors
/// As [`serial_of`] and [`piece_of`].
pub fn record(app: &App, asked: &Asked) -> Result<Found, Problem> {
    asked.parameters()?.finish()?;
    let asked_for = serial_of(asked)?;
    // Read before anything that the record is made from.
    let released = app.writer.published().released();
    let stand = Stand {
        views: app.views.position(),
        released: released.as_ref().map(|released| released.size),
    };
    if let Some((stood, found)) = app.records.kept.find(&asked_for)
        && stood == stand
    {
        return Ok(found);
    }
    let found = make(app, &asked_for, released.as_deref())?;
    let bytes = found.body.len();
    app.records.kept.keep(asked_for, (stand, found.clone()), bytes);
    Ok(found)
}

fn make(
    app: &App,
    (serial, checked): &(Serial, bool),
    released: Option<&Released>,
) -> Result<Found, Problem> {
    let piece = piece_of(app, serial)?;
    let mut body = Map::new();
    body.insert("serial".into(), json!(serial));
    body.insert("slip_checked".into(), json!(checked));
    if !*checked {
        let says = "the check digits were not given, so a slip in typing could not be caught: compare the whole serial";
        body.insert("caution".into(), json!(says));
    }
    body.insert("piece".into(), json!(piece.piece));
    body.insert("state".into(), json!(piece.state));
    body.insert("shape".into(), json!(piece.shape));
    if let Some(number) = piece.number {
        body.insert("number".into(), json!(number));
        body.insert("number_burned".into(), json!(is_burned(app, &piece, number)?));
    }
    body.extend(notice(piece.state).map(|notice| ("notice".to_owned(), json!(notice))));
    body.insert("series".into(), series(app, &piece)?);
    body.insert("poured".into(), poured(app, &piece)?);
    if let Some(id) = piece.certificate
        && let Some(certificate) = app.views.certificate(id).map_err(failed)?
    {
        body.insert("certificate".into(), certified(app, &certificate)?);
    }
    if !piece.photographs.is_empty() {
        body.insert("photographs".into(), json!(piece.photographs));
    }
    body.extend(gravity(app, &piece)?.map(|gravity| ("gravity".to_owned(), gravity)));
    let suspect = piece
        .reading()
        .map(|reading| beside::is_suspect(app, reading.session, reading.index));
    body.insert("suspect".into(), json!(suspect.transpose()?.unwrap_or(false)));
    if let Some(released) = released {
        body.insert(
            "as_of".into(),
            json!({"size": released.size, "root": released.root.to_base64()}),
        );
    }
    body.insert(
        "says".into(),
        json!(
            "The record can agree or disagree with what you measure. It cannot say that an object is genuine: a copy \
             can carry a real number."
        ),
    );
    Ok(Found::json(&Value::Object(body), ASK_AGAIN))
}

fn series(app: &App, piece: &Piece) -> Result<Value, Problem> {
    let Some(series) = app.views.series(piece.series).map_err(failed)? else {
        return Err(Problem::internal("the series of a piece is not in the views"));
    };
    let mut shown = Map::new();
    shown.insert("code".into(), json!(series.code));
    shown.insert("kind_of".into(), json!(series.kind_of));
    shown.insert("marking".into(), json!(series.marking));
    shown.extend(series.ground.map(|ground| ("ground".to_owned(), json!(ground))));
    shown.extend(
        series
            .exempt_below
            .map(|mass| ("exempt_below".to_owned(), json!(mass))),
    );
    shown.extend(
        series
            .exempt_from
            .map(|day| ("exempt_from".to_owned(), json!(day))),
    );
    shown.insert("state".into(), json!(series.state));
    if let Some(index) = series.closed {
        shown.insert("closed".into(), closing(app, index)?);
    }
    let public = private::of_subject(app, series.series.0, None)?;
    if let Some(title) = public.get("title") {
        shown.insert("title".into(), title.clone());
    }
    Ok(Value::Object(shown))
}

/// Whether a number is burned: its piece is gone, or was counted so when its edition was closed, even if it turned up later.
fn is_burned(app: &App, piece: &Piece, number: u32) -> Result<bool, Problem> {
    let series = app.views.series(piece.series).map_err(failed)?;
    let Some(index) = series.and_then(|series| series.closed) else {
        return Ok(piece.state.burns_number(false));
    };
    let (_, closed) = close_of(app, index)?;
    let mut tallies = closed.shapes.iter().filter(|tally| tally.shape == piece.shape);
    Ok(piece.state.burns_number(false) || tallies.any(|tally| tally.burned.contains(&number)))
}

fn close_of(app: &App, index: u64) -> Result<(Arc<Entry>, SeriesClosed), Problem> {
    let entry = app.entry(index)?;
    let closed = entry.events().find_map(|event| match event {
        Event::SeriesClosed(closed) => Some(closed.clone()),
        _ => None,
    });
    let closed = closed.ok_or_else(|| Problem::internal("the entry of a close does not hold it"))?;
    Ok((entry, closed))
}

/// The close of an edition, as its entry has it.
fn closing(app: &App, index: u64) -> Result<Value, Problem> {
    let (entry, closed) = close_of(app, index)?;
    Ok(json!({
        "index": index,
        "at": entry.payload.iat,
        "shapes": closed.shapes,
        "dies": closed.dies.len(),
    }))
}

fn poured(app: &App, piece: &Piece) -> Result<Value, Problem> {
    let Some(melt) = app.views.melt(piece.melt).map_err(failed)? else {
        return Err(Problem::internal("the melt of a piece is not in the views"));
    };
    Ok(json!({
        "pour": piece.pour,
        "at": piece.at,
        "melt": melt.number,
        "metal": melt.metal,
        "fineness": melt.fineness,
        "basis": melt.basis,
    }))
}

fn certified(app: &App, certificate: &Certificate) -> Result<Value, Problem> {
    let entry = app.entry(certificate.since)?;
    let issued = entry.events().find_map(|event| match event {
        Event::CertificateIssued(issued) if issued.certificate == certificate.certificate => {
            Some(issued.clone())
        }
        _ => None,
    });
    let Some(issued) = issued else {
        return Err(Problem::internal("the entry of a certificate does not hold it"));
    };
    let mut shown = stated(&issued);
    shown.insert("issued".into(), json!(certificate.at));
    shown.insert("index".into(), json!(certificate.since));
    Ok(Value::Object(shown))
}

/// What the certificate states: the reading with its uncertainty, and what it supports, never more.
fn stated(issued: &CertificateIssued) -> Map<String, Value> {
    let mut shown = Map::new();
    shown.insert("issue".into(), json!(issued.issue));
    shown.extend(issued.number.map(|number| ("number".to_owned(), json!(number))));
    shown.extend(issued.of.map(|of| ("of".to_owned(), json!(of))));
    shown.insert("metal".into(), json!(issued.metal));
    shown.insert("fineness".into(), json!(issued.fineness));
    shown.insert("basis".into(), json!(issued.basis));
    shown.insert("hallmark".into(), json!(issued.hallmark));
    shown.extend(
        issued
            .marks
            .as_ref()
            .map(|marks| ("marks".to_owned(), json!(marks))),
    );
    // Half up for the reading, never up for what it supports, never down for what is in doubt.
    let ounces = |mass: Mass, rounding| troy_ounces(mass, OUNCE_DECIMALS, rounding);
    shown.insert(
        "weight".into(),
        json!({
            "grams": issued.mass,
            "troy_ounces": ounces(issued.mass.mass(), Rounding::HalfUp),
            "uncertainty_grams": issued.uncertainty,
            "coverage_factor": "2",
            "at_least_grams": issued.at_least,
            "at_least_troy_ounces": ounces(issued.at_least, Rounding::Down),
        }),
    );
    shown
}

/// The newest weighing in water, with the density that follows from it.
fn gravity(app: &App, piece: &Piece) -> Result<Option<Value>, Problem> {
    let Some(gravity) = piece.gravities.last() else {
        return Ok(None);
    };
    let session = app.views.session(gravity.session).map_err(failed)?;
    let session =
        session.ok_or_else(|| Problem::internal("the session of a weighing is not in the views"))?;
    let scale: Option<Scale> = app.views.row(session.scale.0).map_err(failed)?;
    let step = scale.map_or(Mass::ZERO, |scale| scale.d);
    let told = GravityTold::on_scale(gravity, step, session.is_suspect(gravity.index));
    told.map(|told| serde_json::to_value(told).map_err(failed))
        .transpose()
}
