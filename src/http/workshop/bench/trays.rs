//! Trays: from the mould, after filing, and for the certificate.

use super::expected::{Moulds, of_melt};
use super::{App, Seen, Visit, of_now, open_sessions, rule, scale_words, seat, with_versions};
use crate::domain::{
    Book, Event, JarId, Marking, MeltId, MeltState, Piece, PieceId, PieceReading, PieceState as S, Residue,
    Scale, Series, SeriesId, Session, SessionId, Stage,
};
use crate::http::problem::Problem;
use crate::http::workshop::named;
use crate::metal::likely::Likely;
use crate::metal::{Mass, typed};
use crate::pages::workshop::bench::{self, Read, Tray, TrayPiece};
use crate::pages::workshop::{Leaf, Row, html};
use serde_json::{Map, Value};
use uuid::Uuid;

/// What an address asks for.
struct Wanted {
    melt: Option<MeltId>,
    series: Option<SeriesId>,
    jar: Option<JarId>,
    session: Option<SessionId>,
}

impl Wanted {
    fn of(visit: &Visit) -> Result<Self, Problem> {
        let mut query = visit.asked.parameters()?;
        let mut id = |name: &str| query.parse::<Uuid>(name, "an id");
        Ok(Self {
            melt: id("melt")?.map(MeltId),
            series: id("series")?.map(SeriesId),
            jar: id("jar")?.map(JarId),
            session: id("session")?.map(SessionId),
        })
    }

    const fn stage(&self) -> Stage {
        match (self.series, self.jar) {
            (Some(_), _) => Stage::Final,
            (None, Some(_)) => Stage::Finished,
            (None, None) => Stage::FromMould,
        }
    }
}

/// The pieces of a tray, with what each should weigh.
struct Found {
    title: String,
    /// The melt that they were poured of, while it is open.
    open: Option<MeltId>,
    pieces: Vec<(Piece, Option<Likely>)>,
    sessions: Vec<(Session, Scale)>,
}

/// `GET /bench/tray`.
///
/// # Errors
/// 404 for a melt, a jar or a series that is not there.
pub fn tray(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let wanted = Wanted::of(visit)?;
    let rule = rule()?;
    let (found, versions) = with_versions(
        app,
        |reckoning| find(reckoning.book(), &wanted),
        |found| found.pieces.iter().map(|(piece, _)| piece.piece).collect(),
    )?;
    let session = match wanted.session {
        Some(wanted) => found
            .sessions
            .iter()
            .find(|(session, _)| session.session == wanted),
        None if found.sessions.len() > 1 => return choose(app, visit, &found),
        None => found.sessions.first(),
    };
    let Some((session, scale)) = session else {
        return Ok(none_open(&found.title, wanted.stage()).into());
    };
    let stage = wanted.stage();
    let pieces = found.pieces.iter().map(|(piece, likely)| {
        let read = read_at(app, piece, stage)?;
        Ok(TrayPiece {
            piece: piece.piece,
            version: versions.get(&piece.piece).copied().unwrap_or(0),
            pour: named::piece(piece),
            shape: piece.shape.as_str().replace('_', " "),
            likely: *likely,
            read,
        })
    });
    let pieces: Result<Vec<TrayPiece>, Problem> = pieces.collect();
    let page = Tray {
        seat: seat(visit),
        title: found.title.clone(),
        stage,
        session: session.session,
        jar: wanted.jar,
        scale: scale_words(app, visit, scale)?,
        round_tare_grams: rule.round_tare_grams,
        pieces: pieces?,
        next: next(found.open, session.session),
        plain: found.open.map(|melt| format!("/bench/melts/{melt}/weighing")),
    };
    Ok(bench::tray(&page).into())
}

fn next(open: Option<MeltId>, session: SessionId) -> Vec<(String, String)> {
    let mut next = Vec::new();
    if let Some(melt) = open {
        next.push((
            format!("/bench/melts/{melt}/closing"),
            "Close the melt".to_owned(),
        ));
    }
    next.push((
        format!("/bench/sessions/{session}/closing"),
        "Closing check".to_owned(),
    ));
    next.push(("/bench".to_owned(), "The bench".to_owned()));
    next
}

fn find(book: &Book, wanted: &Wanted) -> Result<Found, Problem> {
    let rule = rule()?;
    let stage = wanted.stage();
    let (title, pieces) = match (wanted.melt, wanted.series) {
        (Some(melt), _) => of_one_melt(book, melt, wanted.jar)?,
        (None, Some(series)) => {
            let row = book
                .series(series)
                .ok_or_else(|| Problem::not_found("there is no such series"))?;
            (
                format!("Final weighing of {}", row.code),
                for_certificates(book, row),
            )
        }
        (None, None) => return Err(Problem::not_found("say which melt or which series is weighed")),
    };
    let moulds = Moulds::of(book, &pieces);
    let expected = |piece: Piece| {
        let likely = moulds.likely(rule, book, &piece, stage);
        (piece, likely)
    };
    let mut sessions = open_sessions(book);
    sessions.retain(|(_, scale)| stage != Stage::Final || scale.verified);
    let open = wanted.melt.and_then(|id| book.melt(id));
    let open = open.filter(|melt| melt.state == MeltState::Open);
    Ok(Found {
        title,
        open: open.map(|melt| melt.melt),
        pieces: pieces.into_iter().map(expected).collect(),
        sessions,
    })
}

fn of_one_melt(book: &Book, id: MeltId, jar: Option<JarId>) -> Result<(String, Vec<Piece>), Problem> {
    let melt = book
        .melt(id)
        .ok_or_else(|| Problem::not_found("there is no such melt"))?;
    let mut pieces = of_melt(book, id);
    let Some(jar) = jar else {
        pieces.retain(|piece| matches!(piece.state, S::Poured | S::Graded));
        return Ok((format!("Weigh melt {}", melt.number), pieces));
    };
    let jar = book.jar(jar).filter(|jar| jar.residue == Residue::Lemel);
    jar.ok_or_else(|| Problem::not_found("there is no such jar of lemel"))?;
    if melt.state != MeltState::Closed {
        return Err(Problem::not_found(
            "a melt is weighed out before its pieces are filed",
        ));
    }
    pieces.retain(|piece| piece.state == S::Graded && piece.serial.is_none());
    Ok((format!("Melt {}, filed and polished", melt.number), pieces))
}

/// The pieces of a series whose next weighing is that of record.
pub fn for_certificates(book: &Book, series: &Series) -> Vec<Piece> {
    let ready = |piece: &&Piece| {
        let held = matches!(
            piece.state,
            S::Serialled | S::Struck | S::Hallmarked | S::Spare | S::Numbered
        );
        let marked = piece.hallmark.is_some() || series.marking == Marking::Exempt;
        let struck = !series.struck || piece.is_struck();
        piece.series == series.series && piece.serial.is_some() && held && marked && struck
    };
    let mut pieces: Vec<Piece> = book.pieces().filter(ready).cloned().collect();
    pieces.sort_by_key(|piece| piece.serial.as_ref().map(ToString::to_string));
    pieces
}

/// The reading of this stage that holds: the last one, unless something touched the metal since.
fn reading_at(piece: &Piece, stage: Stage) -> Option<&PieceReading> {
    let last = piece.reading().filter(|reading| reading.stage == stage)?;
    let touched = piece.numbered_at.is_some_and(|at| at > last.index) || piece.back_unweighed;
    (stage != Stage::Final || !touched).then_some(last)
}

fn read_at(app: &App, piece: &Piece, stage: Stage) -> Result<Option<Read>, Problem> {
    let Some(reading) = reading_at(piece, stage) else {
        return Ok(None);
    };
    let entry = app.entry(reading.index)?;
    let weighed = entry
        .events()
        .filter(|event| matches!(event, Event::PieceWeighed(_)));
    let jar = entry.events().find_map(|event| match event {
        Event::PieceFinished(finished) if finished.piece == piece.piece => Some(finished.jar),
        _ => None,
    });
    Ok(Some(Read {
        mass: reading.mass.clone(),
        entry: reading.index,
        alone: weighed.count() == 1,
        session: reading.session,
        stage: reading.stage,
        jar,
        grading: piece.grading.clone(),
    }))
}

/// Several scales are in session: which one is it?
fn choose(app: &App, visit: &Visit, found: &Found) -> Result<Seen, Problem> {
    let mut links = Vec::new();
    for (session, scale) in &found.sessions {
        let address = format!("{}&session={}", visit.asked.address(), session.session);
        links.push((address, scale_words(app, visit, scale)?));
    }
    let main = html! {
        section .bench {
            h1 { (found.title) }
            h2 { "Which scale?" }
            ul .tasks { @for (path, words) in &links { li { a .button href=(path) { (words) } } } }
        }
    };
    Ok(Leaf::new(found.title.clone(), main).into())
}

fn none_open(title: &str, stage: Stage) -> Leaf {
    let main = html! {
        section .bench {
            h1 { (title) }
            p {
                @if stage == Stage::Final { "A weight of record needs a verified scale that is in session: open one first." }
                @else { "No scale is in session: open one first, with its check weighing." }
            }
            nav .next aria-label="Next step" { a .button href="/bench/sessions/new" { "Open a session" } }
        }
    };
    Leaf::new(title, main)
}

/// The piece of a melt for the form that weighs one without scripts: the one that the address names, else the next that has no
/// reading.
///
/// # Errors
/// 400 for a query that cannot be read; 404 for a melt that is not there.
pub fn weighed_of_melt(app: &App, visit: &Visit) -> Result<Vec<Row>, Problem> {
    let melt = MeltId(visit.asked.id("melt")?);
    let wanted: Option<Uuid> = visit.asked.parameters()?.parse("piece", "an id")?;
    let is_next = |piece: &Piece| match wanted {
        Some(wanted) => piece.piece.0 == wanted,
        None => piece.state == S::Poured,
    };
    let (next, versions) = with_versions(
        app,
        |reckoning| Ok(of_melt(reckoning.book(), melt).into_iter().find(is_next)),
        |next| next.iter().map(|piece| piece.piece).collect(),
    )?;
    let row = |piece: Piece| Row {
        id: piece.piece.to_string(),
        words: piece.pour.clone(),
        more: piece.shape.as_str().replace('_', " "),
        version: versions.get(&piece.piece).copied().unwrap_or(0),
    };
    Ok(next.into_iter().map(row).collect())
}

/// What is asked once about a reading of a form without scripts: whether it is a slip.
///
/// # Errors
/// When the log cannot be read.
pub fn slip(app: &App, _: &Visit, body: &Map<String, Value>) -> Result<Option<String>, Problem> {
    let rule = rule()?;
    let items = body.get("items").and_then(Value::as_array);
    let item = items.and_then(|items| items.first());
    let text = |name: &str| item.and_then(|item| item.get(name)?.as_str());
    let piece = text("piece").and_then(|id| Uuid::try_parse(id).ok()).map(PieceId);
    let digits = text("mass").and_then(|mass| typed::digits(mass).ok());
    let mass = digits.and_then(|digits| Mass::parse(&digits).ok());
    let (Some(piece), Some(mass)) = (piece, mass) else {
        return Ok(None);
    };
    of_now(app, |reckoning| {
        let book = reckoning.book();
        let piece = book.piece(piece)?;
        let likely =
            Moulds::of(book, std::slice::from_ref(piece)).likely(rule, book, piece, Stage::FromMould)?;
        let doubt = likely.doubt(rule, mass)?;
        Some(bench::question(rule, &likely, doubt, mass))
    })
}
