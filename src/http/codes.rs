//! Whether the code on a certificate belongs to the record of a piece.
//!
//! The code stands on the paper only, so it comes in a body, never in an address. A slip is told by its check character before
//! anything is counted or looked up; a code of the right form is counted, for its address and for the serial, and then held
//! against every issue of the piece, one after the other to the last.

use super::asked::Asked;
use super::found::Found;
use super::problem::Problem;
use super::public_record::{piece_of, serial_of};
use super::{App, commands, failed, located, private};
use crate::domain::{CodeError, Piece, Serial, Timestamp, read_certificate_code};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::net::IpAddr;

/// The body of the question.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Question {
    code: String,
}

/// `POST /v1/serials/{serial}/code`.
///
/// # Errors
/// As [`told`]; 422 for a member that does not fit.
pub fn answer(app: &App, asked: &Asked, peer: Option<IpAddr>, body: &Value) -> Result<Found, Problem> {
    let question: Question = located::read(body).map_err(commands::misfit)?;
    let told = serde_json::to_value(told(app, asked, peer, &question.code)?).map_err(failed)?;
    Ok(Found::json(&told, "no-store").posted())
}

/// What a code turned out to be.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CodeTold {
    /// The serial.
    pub serial: Serial,
    /// Whether the code belongs to a certificate of this piece.
    pub belongs: bool,
    /// Which issue it is of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub issue: Option<u32>,
    /// When that issue was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub issued: Option<Timestamp>,
    /// The newest issue, if the code is of an older one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub superseded_by: Option<u32>,
    /// Issues whose codes were erased, so that nothing can be compared with them.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub erased: Vec<u32>,
    /// What only the holder of a certificate is shown.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub holder: Vec<Value>,
    /// The same in words.
    pub words: String,
}

/// Reads a code, counts it, and holds it against the certificates of the piece.
///
/// # Errors
/// As [`serial_of`] and [`piece_of`]; 422 for a code of another form or with a slip in it, 429 once too many were tried.
pub fn told(app: &App, asked: &Asked, peer: Option<IpAddr>, typed: &str) -> Result<CodeTold, Problem> {
    let (serial, _) = serial_of(asked)?;
    let piece = piece_of(app, &serial)?;
    let code = read_certificate_code(typed).map_err(|error| match error {
        CodeError::Form => Problem::code_form(error.to_string()).at("/code"),
        CodeError::Slip => Problem::code_slip(error.to_string()).at("/code"),
    })?;
    app.limits.code(peer, piece.piece)?;
    held_against(app, &piece, serial, &code)
}

fn held_against(app: &App, piece: &Piece, serial: Serial, code: &str) -> Result<CodeTold, Problem> {
    let mut fitting = None;
    let (mut newest, mut erased) = (0, Vec::new());
    for id in app.views.certificates_of(piece.piece).map_err(failed)? {
        let certificate = app.views.certificate(id).map_err(failed)?;
        let certificate =
            certificate.ok_or_else(|| Problem::internal("a certificate is not in the views"))?;
        newest = certificate.issue.max(newest);
        match private::is_code_of(app, &certificate, code)? {
            None => erased.push(certificate.issue),
            Some(true) => fitting = Some(certificate),
            Some(false) => {}
        }
    }
    let Some(certificate) = fitting else {
        let words = match erased.len() {
            0 => {
                "This code belongs to no certificate of this piece. The paper is of another piece, or it is not the workshop’s."
            }
            _ => {
                "This code belongs to no certificate of this piece whose code is still kept; some were erased."
            }
        };
        return Ok(CodeTold {
            serial,
            belongs: false,
            issue: None,
            issued: None,
            superseded_by: None,
            erased,
            holder: Vec::new(),
            words: words.to_owned(),
        });
    };
    let superseded_by = (certificate.issue != newest).then_some(newest);
    let words = match superseded_by {
        None => format!("This code belongs to issue {newest}, the newest certificate of this piece."),
        Some(by) => format!(
            "This code belongs to issue {} of this piece’s certificate, which issue {by} superseded.",
            certificate.issue
        ),
    };
    let mut holder = private::for_holder(app, piece.series.0)?;
    holder.extend(private::for_holder(app, piece.piece.0)?);
    Ok(CodeTold {
        serial,
        belongs: true,
        issue: Some(certificate.issue),
        issued: Some(certificate.at),
        superseded_by,
        erased,
        holder,
        words: format!(
            "{words} A code can be copied with its certificate: it speaks of the paper, not of the piece."
        ),
    })
}
