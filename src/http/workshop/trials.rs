//! What may be done next with a piece: each command is decided by the writer and thrown away, so what is offered is what the
//! book would take now, and what is not comes with the fact that forbids. Nothing is told twice in rules of another place.
//!
//! A command needs more than the piece: a session, a die, an order. Where the book has several, each is tried; where it has
//! none, that is the reason. They are read as `/v1` reads them. Only the commands of the caller's role are tried.
//! Deliberately absent: a weighing in water, whose figures nobody can guess, and what concerns no piece.

use super::visit::may_call;
use super::{App, Visit, named};
use crate::domain::{
    Command, CondemnReason, Die, DieState, Jar, Order, OrderState, PhotographHash, PhotographPiece,
    PhotographSide, PhotographStage, Piece, PieceState, Refused, Residue, Series, SeriesKind, SeriesState,
    Session, SessionState, Spot,
};
use crate::http::access::Role;
use crate::http::problem::Problem;
use crate::http::routes::{Recording, recordings as of};
use crate::http::{commands, failed};
use crate::pages::workshop::Next;
use crate::views::Tabled;
use serde_json::{Value, json};
use std::sync::mpsc;
use std::time::Duration;

/// How long a page waits for the writer.
const PATIENCE: Duration = Duration::from_secs(5);
/// How many dies, jars, orders or series are tried.
const TRIED_MAX: usize = 20;
/// What a piece that was never weighed is tried with: only whether it may be weighed counts.
const ANY_MASS: &str = "10";
const SESSION: &str = "no session is open: a scale is checked first";
const NOT_SOLD: &str = "it is in no sale";

/// One thing that may be done.
struct Deed {
    /// What it is.
    words: &'static str,
    /// The command, as code spells it.
    command: &'static str,
    /// The commands that are tried; one that is taken is enough.
    tries: Vec<Command>,
    /// The page where each of them is given, where that depends on which is taken; else it is the form of the command.
    pages: Option<Vec<Option<String>>>,
    /// What it needs first, where there is nothing to try it with.
    needs: &'static str,
}

/// A deed that is tried with these bodies.
fn deed(
    words: &'static str,
    recording: &Recording,
    bodies: Vec<Value>,
    needs: &'static str,
) -> Result<Deed, Problem> {
    let read = |body: &Value| (recording.read)(body).map_err(|misfit| Problem::internal(misfit.to_string()));
    Ok(Deed {
        words,
        command: recording.name,
        tries: bodies.iter().map(read).collect::<Result<_, Problem>>()?,
        pages: None,
        needs,
    })
}

impl Deed {
    /// Each try is given on a page of its own, or on none.
    fn on(mut self, pages: Vec<Option<String>>) -> Self {
        self.pages = Some(pages);
        self
    }

    /// Where somebody of this role does it, by the try that is taken.
    fn link(&self, role: Role, piece: &Piece, taken: Option<usize>) -> Option<String> {
        match &self.pages {
            None => named::form_of(role, self.command, piece),
            Some(pages) => pages.get(taken?)?.clone(),
        }
    }
}

/// What may be done with a piece, and what not.
///
/// # Errors
/// 503 when the writer does not answer in time.
pub fn of_piece(app: &App, visit: &Visit, piece: &Piece) -> Result<Vec<Next>, Problem> {
    let mut deeds = at_the_bench(app, piece)?;
    deeds.extend(on_the_way(app, piece)?);
    deeds.extend(with_buyers(app, piece)?);
    deeds.extend(of_sale(piece)?);
    deeds.retain(|deed| may_call(visit.role(), deed.command));
    let commands: Vec<Command> = deeds.iter().flat_map(|deed| deed.tries.clone()).collect();
    let mut outcomes = decided(app, visit, commands)?.into_iter();
    let next = deeds.iter().map(|deed| {
        let each: Vec<Result<(), Refused>> = outcomes.by_ref().take(deed.tries.len()).collect();
        let taken = each.iter().position(Result::is_ok);
        Next {
            words: deed.words,
            link: deed.link(visit.role(), piece, taken),
            why: taken.is_none().then(|| why(app, deed, &each)),
        }
    });
    Ok(next.collect())
}

/// The fact that forbids: where the state of the piece does, that; else what the first try met.
fn why(app: &App, deed: &Deed, each: &[Result<(), Refused>]) -> String {
    let refusals = || each.iter().filter_map(|outcome| outcome.as_ref().err());
    let of_state = refusals().find(|refused| refused.refusal.code() == "wrong-state");
    let told = of_state.or_else(|| refusals().next());
    told.map_or_else(
        || deed.needs.to_owned(),
        |refused| named::in_words(app, &refused.refusal.to_string()),
    )
}

fn decided(app: &App, visit: &Visit, commands: Vec<Command>) -> Result<Vec<Result<(), Refused>>, Problem> {
    let (tell, told) = mpsc::sync_channel(1);
    let answer = Box::new(move |outcomes| {
        let _ = tell.send(outcomes);
    });
    let slow = || commands::busy("the book takes too long to say what may be done");
    let asked = app
        .writer
        .would(visit.signed_in.caller.operator, commands, answer);
    asked.map_err(|_| slow())?;
    told.recv_timeout(PATIENCE).map_err(|_| slow())
}

fn rows<T: Tabled>(app: &App, fits: &dyn Fn(&T) -> bool) -> Result<Vec<T>, Problem> {
    Ok(app.views.list(fits, None, TRIED_MAX).map_err(failed)?.rows)
}

/// What the scale would show, if it showed the same again.
fn again(piece: &Piece) -> String {
    let last = piece.reading().map(|reading| reading.mass.text().to_owned());
    last.unwrap_or_else(|| ANY_MASS.to_owned())
}

fn open_sessions(app: &App) -> Result<Vec<Session>, Problem> {
    rows(app, &|row: &Session| row.state == SessionState::Open)
}

fn at_the_bench(app: &App, piece: &Piece) -> Result<Vec<Deed>, Problem> {
    let id = piece.piece;
    let jars: Vec<Jar> = rows(app, &|row: &Jar| row.residue == Residue::Lemel)?;
    let dies: Vec<Die> = rows(app, &|row: &Die| row.state == DieState::InUse)?;
    let items = json!([{"piece": id, "mass": again(piece)}]);
    let stages: &[&str] = match piece.state {
        PieceState::Poured => &["from_mould"],
        PieceState::Returned | PieceState::BoughtBack => &["returned"],
        _ => &["final", "finished", "from_mould"],
    };
    let (mut weighings, mut finishings) = (Vec::new(), Vec::new());
    let (mut weighed, mut finished) = (Vec::new(), Vec::new());
    for session in open_sessions(app)?.iter().map(|session| session.session) {
        let weighing = |stage| json!({"session": session, "stage": stage, "items": items});
        weighings.extend(stages.iter().map(weighing));
        weighed.extend(stages.iter().map(|stage| weighed_at(piece, stage)));
        let finishing = |jar: &Jar| json!({"session": session, "jar": jar.jar, "items": items});
        finishings.extend(jars.iter().map(finishing));
        finished.extend(jars.iter().map(|jar| finished_at(piece, jar)));
    }
    let strike = |die: &Die| json!({"die": die.die, "items": [{"piece": id, "outcome": "good"}]});
    let strikes = dies.iter().map(strike).collect();
    let reasons = CondemnReason::WORDS.iter();
    let given_up = reasons
        .map(|reason| json!({"piece": id, "reason": reason}))
        .collect();
    let fault = json!({"piece": id, "fault": "other"});
    let no_jar = "no session is open, or there is no jar of lemel";
    Ok(vec![
        deed("Weigh it", &of::WEIGH_PIECES, weighings, SESSION)?.on(weighed),
        deed(
            "File or polish it, and weigh it",
            &of::FINISH_PIECES,
            finishings,
            no_jar,
        )?
        .on(finished),
        deed("Strike it", &of::STRIKE_PIECES, strikes, "no die is in use")?,
        photograph(piece),
        deed("Say that it is faulty", &of::FAULT_PIECE, vec![fault], "")?,
        deed("Give it up", &of::CONDEMN_PIECE, given_up, "")?,
        deed(
            "Put it into the archive",
            &of::ARCHIVE_PIECE,
            vec![json!({"piece": id})],
            "",
        )?,
    ])
}

/// Where a piece is weighed at a stage: from the mould by itself, finally on the tray of its series.
fn weighed_at(piece: &Piece, stage: &str) -> Option<String> {
    let on_a_tray = !matches!(piece.state, PieceState::Certified | PieceState::Reserved);
    match stage {
        "from_mould" => Some(format!(
            "/bench/melts/{}/weighing?piece={}",
            piece.melt, piece.piece
        )),
        "final" if on_a_tray => Some(format!("/bench/tray?series={}", piece.series)),
        _ => None,
    }
}

/// Where a piece is weighed once it is filed: on the tray of its melt, beside the jar.
fn finished_at(piece: &Piece, jar: &Jar) -> Option<String> {
    let on_a_tray = piece.state == PieceState::Graded;
    on_a_tray.then(|| format!("/bench/tray?melt={}&jar={}", piece.melt, jar.jar))
}

/// A photograph has no body as JSON: its pixels are sent.
fn photograph(piece: &Piece) -> Deed {
    let command = |stage: &PhotographStage| {
        Command::from(PhotographPiece {
            piece: piece.piece,
            photograph: PhotographHash::of(b"a photograph that is tried"),
            thumbnail: PhotographHash::of(b"its thumbnail"),
            width: 480,
            height: 480,
            stage: *stage,
            side: PhotographSide::Face,
        })
    };
    Deed {
        words: "Photograph it",
        command: "PhotographPiece",
        tries: PhotographStage::ALL.iter().map(command).collect(),
        pages: None,
        needs: "",
    }
}

fn on_the_way(app: &App, piece: &Piece) -> Result<Vec<Deed>, Problem> {
    let id = piece.piece;
    let open = |row: &Series| row.kind_of == SeriesKind::Open && row.state == SeriesState::Open;
    let open: Vec<Series> = rows(app, &open)?;
    let own = app.views.row::<Series>(piece.series.0).map_err(failed)?;
    let others = open.iter().filter(|series| series.series != piece.series);
    let moves = others
        .map(|series| json!({"piece": id, "to": series.series}))
        .collect();
    let marks = ["sponsor", "fineness", "office"];
    let sent = |series: Series| json!({"pieces": [id], "fineness": series.fineness, "marks": marks});
    let anew = json!({"piece": id, "reason": "damaged"});
    let pieces = || vec![json!({"pieces": [id]})];
    Ok(vec![
        deed(
            "Move it to an open series",
            &of::MOVE_PIECE,
            moves,
            "there is no other open series",
        )?,
        deed("Give it its serial", &of::GIVE_SERIALS, pieces(), "")?,
        deed(
            "Send it to the assay office",
            &of::SEND_CONSIGNMENT,
            own.map(sent).into_iter().collect(),
            "",
        )?,
        deed("Set it aside as a spare", &of::SPARE_PIECES, pieces(), "")?,
        deed("Give it its number", &of::NUMBER_PIECES, pieces(), "")?,
        deed("Issue its certificate", &of::ISSUE_CERTIFICATES, pieces(), "")?,
        deed("Issue its certificate anew", &of::SUPERSEDE, vec![anew], "")?,
    ])
}

fn with_buyers(app: &App, piece: &Piece) -> Result<Vec<Deed>, Problem> {
    let id = piece.piece;
    let open = |row: &Order| row.series == piece.series && row.state == OrderState::Open;
    let orders: Vec<Order> = rows(app, &open)?;
    let under = |body: Value| {
        let each = orders.iter().map(|order| {
            let mut body = body.clone();
            if let Value::Object(members) = &mut body {
                members.insert("order".to_owned(), json!(order.order));
            }
            body
        });
        each.chain([body.clone()]).collect::<Vec<_>>()
    };
    let own = || vec![json!({"piece": id})];
    let spots: Vec<Spot> = rows(app, &|_: &Spot| true)?;
    let quotes = spots.iter().map(|spot| {
        json!({"spot": spot.spot, "of": {"piece": id}, "premium_percent": "0", "weight": "gram", "vat": "not_registered"})
    });
    let bought = open_sessions(app)?;
    let bought = bought.iter().map(|session| {
        let session = session.session;
        json!({"piece": id, "session": session, "mass": again(piece)})
    });
    let destroyed = json!({"piece": id, "witness": "a witness"});
    Ok(vec![
        deed(
            "Quote a price",
            &of::MAKE_QUOTE,
            quotes.collect(),
            "no spot price was noted",
        )?,
        deed(
            "Keep it for a buyer",
            &of::RESERVE_PIECE,
            under(json!({"piece": id})),
            "",
        )?,
        deed("No longer keep it", &of::RELEASE_PIECE, own(), "")?,
        deed(
            "Sell it",
            &of::SELL_PIECES,
            under(json!({"items": [{"piece": id}]})),
            "",
        )?,
        deed("Take it back", &of::RETURN_PIECE, own(), "")?,
        deed("Put it back into stock", &of::RESTOCK_PIECE, own(), "")?,
        deed("Buy it back", &of::BUY_BACK_PIECE, bought.collect(), SESSION)?,
        deed("Say that it turned up again", &of::FIND_PIECE, own(), "")?,
        deed("Say that it is stolen", &of::STEAL_PIECE, own(), "")?,
        deed("Say that it is back", &of::RECOVER_PIECE, own(), "")?,
        deed(
            "Destroy it before a witness",
            &of::DESTROY_PIECE,
            vec![destroyed],
            "",
        )?,
    ])
}

fn of_sale(piece: &Piece) -> Result<Vec<Deed>, Problem> {
    let deeds: [(&'static str, &Recording); 6] = [
        ("Hand it over", &of::HAND_OVER_PIECES),
        ("Send it to its buyer", &of::DISPATCH_PIECES),
        ("Say that it arrived", &of::DELIVER_PIECES),
        ("Say that it was lost on its way", &of::LOSE_PIECES),
        ("Say that it came back undelivered", &of::SEND_BACK_PIECES),
        ("Call its sale off", &of::CANCEL_SALE),
    ];
    let body = |sale| json!({"sale": sale, "pieces": [piece.piece]});
    let bodies: Vec<Value> = piece.sale.map(body).into_iter().collect();
    let each = deeds.into_iter();
    each.map(|(words, recording)| deed(words, recording, bodies.clone(), NOT_SOLD))
        .collect()
}
