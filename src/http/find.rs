//! One box to look things up by: a serial as somebody types it, a pour number, the number of a lot, melt, consignment,
//! order, sale, refining, stock-take or quote, the code of a series, an id, and for the office the code of a certificate.
//!
//! The code of a certificate is a secret of whoever holds the paper, and addresses end up in histories and in the logs of
//! proxies. So a code is looked up by `POST` only, and `GET` refuses whatever might be one, without telling it back.
//! Everything but a code is one look-up by name in the views. No index of codes is kept: it would be a second copy of what
//! can be erased. Each certificate's salted digest is held against the code instead, read from the vault as it stands.

use super::asked::Asked;
use super::bodies::{self, Sender};
use super::found::{Found, PRIVATE};
use super::problem::Problem;
use super::said::Said;
use super::{App, conditions, failed, located, private};
use crate::domain::{
    Certificate, Charge, Consignment, Die, Jar, Lot, Melt, Order, Owner, Piece, Quote, Refining, Sale, Scale,
    Serial, SerialError, Series, Session, Spot, Stocktake,
};
use crate::views::{Cursor, Table, Tabled};
use actix_web::HttpRequest;
use actix_web::web::Payload;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// How long a question may be, characters.
const QUESTION_MAX: usize = 64;
/// How many letters and digits a certificate code has.
const CODE_SYMBOLS: usize = 11;
/// So many letters and digits that name nothing else might be a code, or most of one.
const CODE_LIKE: usize = 8;
/// How many certificates are read at a time.
const PAGE: usize = 200;
/// What is counted from 1 in the workshop.
const NUMBERED: &[Table] = &[
    Table::Lot,
    Table::Melt,
    Table::Consignment,
    Table::Order,
    Table::Sale,
    Table::Refining,
    Table::Stocktake,
    Table::Quote,
];
const SLIP: &str = "this has the form of a serial, but its check digits do not fit: one character is wrong, or two are swapped";
const UNCHECKED: &str = "the check digits were not given, so a slip in typing could not be caught";

/// The body of a question that is posted.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Question {
    q: String,
}

/// What an answer gathers.
#[derive(Default)]
struct Answer {
    items: Vec<Value>,
    hint: Option<&'static str>,
}

impl Answer {
    fn found(self, cache: &'static str) -> Found {
        let mut body = Map::new();
        body.insert("items".into(), Value::Array(self.items));
        body.extend(self.hint.map(|hint| ("hint".to_owned(), json!(hint))));
        Found::json(&Value::Object(body), cache)
    }
}

/// Answers the question in an address.
///
/// # Errors
/// 400 without a question, for one that is too long, and for what might be the code of a certificate.
pub fn find(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let mut query = asked.parameters()?;
    let text = query
        .take("q")
        .ok_or_else(|| Problem::unreadable("the query parameter \"q\" is needed: what to look for"))?;
    query.finish()?;
    if text.chars().count() > QUESTION_MAX {
        return Err(Problem::unreadable(
            "the query parameter \"q\" may have at most 64 characters",
        ));
    }
    match named(app, &text)? {
        Some(answer) => Ok(answer.found(PRIVATE)),
        None if symbols(&text).len() >= CODE_LIKE => Err(Problem::code_in_address(
            "this might be the code of a certificate, and addresses are kept by others: send it in the body of a POST to \
             /v1/find",
        )),
        None => Ok(Answer::default().found(PRIVATE)),
    }
}

/// Reads a question out of a body.
///
/// # Errors
/// As a command's body.
pub async fn question(app: &App, request: &HttpRequest, payload: Payload) -> Result<String, Problem> {
    let sent = bodies::body(app, request, payload, "application/json", Sender::Caller).await?;
    let value = sent.json().await?;
    let question: Question = located::read(&value).map_err(super::commands::misfit)?;
    if question.q.chars().count() > QUESTION_MAX {
        return Err(Problem::invalid("may have at most 64 characters").at("/q"));
    }
    Ok(question.q)
}

/// Answers a question that was posted: it may be the code of a certificate.
///
/// # Errors
/// 500 when the book cannot be read.
pub fn find_posted(app: &App, text: &str) -> Result<Found, Problem> {
    let mut answer = named(app, text)?.unwrap_or_default();
    if answer.items.is_empty() && symbols(text).len() == CODE_SYMBOLS {
        certified(app, &symbols(text), &mut answer)?;
    }
    Ok(answer.found("no-store").posted())
}

/// The letters and digits of a text, in capitals.
fn symbols(text: &str) -> String {
    let kept = text.chars().filter(char::is_ascii_alphanumeric);
    kept.collect::<String>().to_ascii_uppercase()
}

/// Everything but codes, by the first form that the text has; `None` if it has none of them.
fn named(app: &App, text: &str) -> Result<Option<Answer>, Problem> {
    let text = text.trim();
    let mut answer = Answer::default();
    if let Some(id) = conditions::hyphenated(text) {
        if let Some(table) = app.views.table_of(id).map_err(failed)? {
            item(app, table, id, &mut answer)?;
        }
    } else if let Some(pour) = pour_number(text) {
        if let Some(piece) = app.views.piece_by_pour(&pour).map_err(failed)? {
            item(app, Table::Piece, piece.0, &mut answer)?;
        }
    } else if let Some((tables, number)) = numbered(text) {
        for table in tables {
            if let Some(id) = app.views.by_number(table, number).map_err(failed)? {
                item(app, table, id, &mut answer)?;
            }
        }
    } else {
        let series = app.views.series_by_code(&symbols(text)).map_err(failed)?;
        match (series, Serial::parse_loose(text)) {
            (Some(series), _) => item(app, Table::Series, series.0, &mut answer)?,
            (None, Ok((serial, checked))) => {
                answer.hint = (!checked).then_some(UNCHECKED);
                if let Some(piece) = app.views.piece_by_serial(&serial).map_err(failed)? {
                    item(app, Table::Piece, piece.0, &mut answer)?;
                }
            }
            (None, Err(SerialError::Slip)) => answer.hint = Some(SLIP),
            (None, Err(SerialError::Form)) => return Ok(None),
        }
    }
    Ok(Some(answer))
}

/// A pour number as the book writes it: `3-7` is `3-07`.
fn pour_number(text: &str) -> Option<String> {
    let (melt, pour) = text.split_once('-')?;
    let number = |part: &str| -> Option<u32> {
        let part = part.trim();
        (part.bytes().all(|byte| byte.is_ascii_digit())).then(|| part.parse().ok())?
    };
    Some(format!("{}-{:02}", number(melt)?, number(pour)?))
}

/// A number with the word for what it counts, or without one.
fn numbered(text: &str) -> Option<(Vec<Table>, u32)> {
    let text = text.to_ascii_lowercase();
    let (word, digits) = text.split_at(text.find(|letter: char| letter.is_ascii_digit())?);
    let number = digits.bytes().all(|byte| byte.is_ascii_digit());
    let number: u32 = number.then(|| digits.parse().ok())??;
    let word = word.trim_end_matches([' ', '#', '-']);
    let fits = |table: &&Table| word.is_empty() || word == table.word() || word == table.plural();
    let tables: Vec<Table> = NUMBERED.iter().filter(fits).copied().collect();
    (!tables.is_empty()).then_some((tables, number))
}

/// One thing that was found.
fn item(app: &App, table: Table, id: Uuid, answer: &mut Answer) -> Result<(), Problem> {
    let says = match table {
        Table::Lot => said_of::<Lot>(app, id),
        Table::Scale => said_of::<Scale>(app, id),
        Table::Session => said_of::<Session>(app, id),
        Table::Jar => said_of::<Jar>(app, id),
        Table::Series => said_of::<Series>(app, id),
        Table::Melt => said_of::<Melt>(app, id),
        Table::Piece => said_of::<Piece>(app, id),
        Table::Certificate => said_of::<Certificate>(app, id),
        Table::Die => said_of::<Die>(app, id),
        Table::Consignment => said_of::<Consignment>(app, id),
        Table::Order => said_of::<Order>(app, id),
        Table::Sale => said_of::<Sale>(app, id),
        Table::Refining => said_of::<Refining>(app, id),
        Table::Owner => said_of::<Owner>(app, id),
        Table::Stocktake => said_of::<Stocktake>(app, id),
        Table::Spot => said_of::<Spot>(app, id),
        Table::Quote => said_of::<Quote>(app, id),
        Table::Charge => said_of::<Charge>(app, id),
    }?;
    answer.items.extend(says.map(|says| {
        let link = format!("/v1/{}/{id}", table.plural());
        json!({"kind": table.word(), "id": id, "what": says, "link": link})
    }));
    Ok(())
}

fn said_of<T: Tabled + Said>(app: &App, id: Uuid) -> Result<Option<String>, Problem> {
    let row: Option<T> = app.views.row(id).map_err(failed)?;
    Ok(row.map(|row| row.said()))
}

/// The certificate with a code, and its piece.
fn certified(app: &App, code: &str, answer: &mut Answer) -> Result<(), Problem> {
    let mut after: Option<Cursor> = None;
    loop {
        let page = app
            .views
            .list::<Certificate>(&|_| true, after, PAGE)
            .map_err(failed)?;
        let mut entries: Vec<u64> = page.rows.iter().map(|row| row.since).collect();
        entries.dedup();
        for index in entries {
            if let Some(certificate) = private::certificate_of_code(app, index, code)? {
                item(app, Table::Certificate, certificate.0, answer)?;
                if let Some(row) = app.views.certificate(certificate).map_err(failed)? {
                    item(app, Table::Piece, row.piece.0, answer)?;
                }
                return Ok(());
            }
        }
        after = page.next;
        if after.is_none() {
            return Ok(());
        }
    }
}
