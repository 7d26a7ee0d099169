//! What may be done next with a piece: each command is decided by the writer and thrown away, so what is offered is what the
//! book would take now, and what is not comes with the fact that forbids. Nothing is told twice in rules of another place.
//!
//! A command needs more than the piece: a session, a die, an order. Where the book has several, each is tried; where it has
//! none, that is the reason. Only the commands of the caller's role are tried. Deliberately absent: a weighing in water, whose
//! figures nobody can guess, and what concerns no piece.

use super::visit::may_call;
use super::{App, Visit, named};
use crate::domain::{
    ArchivePiece, BuyBackPiece, CancelSale, Command, CondemnPiece, CondemnReason, DeliverPieces,
    DestroyPiece, Die, DieState, DispatchPieces, Fault, FaultPiece, FindPiece, FinishPieces, GiveSerials,
    HandOverPieces, IssueCertificates, Jar, LosePieces, MarkKind, MovePiece, NumberPieces, Order, OrderState,
    PhotographHash, PhotographPiece, PhotographSide, PhotographStage, Piece, PieceState, RecoverPiece,
    Refused, ReleasePiece, ReservePiece, Residue, RestockPiece, ReturnPiece, SaleId, SaleItem, SellPieces,
    SendBackPieces, SendConsignment, Series, SeriesKind, SeriesState, Session, SessionState, SparePieces,
    Stage, StealPiece, Strike, StrikeOutcome, StrikePieces, SupersedeCertificate, SupersedeReason,
    WeighPieces, Weighing,
};
use crate::http::problem::Problem;
use crate::http::{commands, failed};
use crate::metal::Reading;
use crate::pages::workshop::Next;
use crate::views::Tabled;
use std::sync::mpsc;
use std::time::Duration;

/// How long a page waits for the writer.
const PATIENCE: Duration = Duration::from_secs(5);
/// How many dies, jars, orders or series are tried.
const TRIED_MAX: usize = 20;
/// What a piece that was never weighed is tried with: only whether it may be weighed counts.
const ANY_MASS: &str = "10";

/// One thing that may be done.
struct Deed {
    /// What it is.
    words: &'static str,
    /// The command, as code spells it.
    command: &'static str,
    /// The commands that are tried; one that is taken is enough.
    tries: Vec<Command>,
    /// What it needs first, where there is nothing to try it with.
    needs: &'static str,
}

fn deed(words: &'static str, command: &'static str, tries: Vec<Command>, needs: &'static str) -> Deed {
    Deed {
        words,
        command,
        tries,
        needs,
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
    deeds.extend(of_sale(piece));
    deeds.retain(|deed| may_call(visit.role(), deed.command));
    let commands: Vec<Command> = deeds.iter().flat_map(|deed| deed.tries.clone()).collect();
    let mut outcomes = decided(app, visit, commands)?.into_iter();
    let next = deeds.iter().map(|deed| {
        let each: Vec<Result<(), Refused>> = outcomes.by_ref().take(deed.tries.len()).collect();
        let why = (!each.iter().any(Result::is_ok)).then(|| why(app, deed, &each));
        Next {
            words: deed.words,
            link: named::form_of(visit.role(), deed.command, piece),
            why,
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
fn again(piece: &Piece) -> Option<Reading> {
    let last = piece.reading().map(|reading| reading.mass.clone());
    last.or_else(|| Reading::parse(ANY_MASS).ok())
}

fn at_the_bench(app: &App, piece: &Piece) -> Result<Vec<Deed>, Problem> {
    let id = piece.piece;
    let sessions: Vec<Session> = rows(app, &|row: &Session| row.state == SessionState::Open)?;
    let jars: Vec<Jar> = rows(app, &|row: &Jar| row.residue == Residue::Lemel)?;
    let dies: Vec<Die> = rows(app, &|row: &Die| row.state == DieState::InUse)?;
    let item = || {
        again(piece)
            .map(|mass| vec![Weighing { piece: id, mass }])
            .unwrap_or_default()
    };
    let stages: &[Stage] = match piece.state {
        PieceState::Poured => &[Stage::FromMould],
        PieceState::Returned | PieceState::BoughtBack => &[Stage::Returned],
        _ => &[Stage::Final, Stage::Finished, Stage::FromMould],
    };
    let mut weighings = Vec::new();
    let mut finishings = Vec::new();
    for session in sessions.iter().map(|session| session.session) {
        weighings.extend(stages.iter().map(|stage| {
            let (stage, items) = (*stage, item());
            Command::from(WeighPieces {
                session,
                stage,
                items,
            })
        }));
        finishings.extend(jars.iter().map(|jar| {
            let (jar, items) = (jar.jar, item());
            Command::from(FinishPieces { session, jar, items })
        }));
    }
    let strikes = dies.iter().map(|die| {
        let outcome = StrikeOutcome::Good;
        let items = vec![Strike { piece: id, outcome }];
        Command::from(StrikePieces {
            die: die.die,
            items,
            note: None,
        })
    });
    let faults = Fault::ALL.iter().take(1);
    let faults = faults.map(|fault| {
        Command::from(FaultPiece {
            piece: id,
            fault: *fault,
            note: None,
        })
    });
    let reasons = CondemnReason::ALL.iter();
    let given_up = reasons.map(|reason| {
        Command::from(CondemnPiece {
            piece: id,
            reason: *reason,
            note: None,
        })
    });
    let archived = vec![Command::from(ArchivePiece {
        piece: id,
        note: None,
    })];
    const SESSION: &str = "no session is open: a scale is checked first";
    Ok(vec![
        deed("Weigh it", "WeighPieces", weighings, SESSION),
        deed(
            "File or polish it, and weigh it",
            "FinishPieces",
            finishings,
            "no session is open, or no jar of lemel",
        ),
        deed("Strike it", "StrikePieces", strikes.collect(), "no die is in use"),
        deed("Photograph it", "PhotographPiece", photographs(piece), ""),
        deed("Say that it is faulty", "FaultPiece", faults.collect(), ""),
        deed("Give it up", "CondemnPiece", given_up.collect(), ""),
        deed("Put it into the archive", "ArchivePiece", archived, ""),
    ])
}

fn photographs(piece: &Piece) -> Vec<Command> {
    let stages = PhotographStage::ALL.iter();
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
    stages.map(command).collect()
}

fn on_the_way(app: &App, piece: &Piece) -> Result<Vec<Deed>, Problem> {
    let id = piece.piece;
    let open = |row: &Series| row.kind_of == SeriesKind::Open && row.state == SeriesState::Open;
    let open: Vec<Series> = rows(app, &open)?;
    let own = app.views.row::<Series>(piece.series.0).map_err(failed)?;
    let moves = open.iter().filter(|series| series.series != piece.series);
    let moves = moves.map(|series| {
        Command::from(MovePiece {
            piece: id,
            to: series.series,
            note: None,
        })
    });
    let consigned = own.iter().map(|series| {
        Command::from(SendConsignment {
            pieces: vec![id],
            fineness: series.fineness,
            marks: vec![MarkKind::Sponsor, MarkKind::Fineness, MarkKind::Office],
            office: None,
            seal: None,
            note: None,
        })
    });
    let superseded = SupersedeCertificate {
        piece: id,
        reason: SupersedeReason::Damaged,
        note: None,
    };
    Ok(vec![
        deed(
            "Move it to an open series",
            "MovePiece",
            moves.collect(),
            "there is no other open series",
        ),
        deed(
            "Give it its serial",
            "GiveSerials",
            vec![GiveSerials { pieces: vec![id] }.into()],
            "",
        ),
        deed(
            "Send it to the assay office",
            "SendConsignment",
            consigned.collect(),
            "",
        ),
        deed(
            "Set it aside as a spare",
            "SparePieces",
            vec![SparePieces { pieces: vec![id] }.into()],
            "",
        ),
        deed(
            "Give it its number",
            "NumberPieces",
            vec![NumberPieces { pieces: vec![id] }.into()],
            "",
        ),
        deed(
            "Issue its certificate",
            "IssueCertificates",
            vec![IssueCertificates { pieces: vec![id] }.into()],
            "",
        ),
        deed(
            "Issue its certificate anew",
            "SupersedeCertificate",
            vec![superseded.into()],
            "",
        ),
    ])
}

fn with_buyers(app: &App, piece: &Piece) -> Result<Vec<Deed>, Problem> {
    let id = piece.piece;
    let open = |row: &Order| row.series == piece.series && row.state == OrderState::Open;
    let orders: Vec<Order> = rows(app, &open)?;
    let each = orders.iter().map(|order| Some(order.order)).chain([None]);
    let reserved = each.map(|order| {
        Command::from(ReservePiece {
            piece: id,
            order,
            buyer: None,
            note: None,
        })
    });
    let each = orders.iter().map(|order| Some(order.order)).chain([None]);
    let sold = each.map(|order| {
        let items = vec![SaleItem {
            piece: id,
            price: None,
        }];
        Command::from(SellPieces {
            items,
            order,
            buyer: None,
            document: None,
            note: None,
        })
    });
    let sessions: Vec<Session> = rows(app, &|row: &Session| row.state == SessionState::Open)?;
    let bought = sessions.iter().filter_map(|session| {
        let (session, mass) = (session.session, again(piece)?);
        Some(Command::from(BuyBackPiece {
            piece: id,
            session,
            mass,
            seller: None,
            price: None,
            note: None,
        }))
    });
    let destroyed = DestroyPiece {
        piece: id,
        witness: "a witness".to_owned(),
        note: None,
    };
    let stolen = StealPiece {
        piece: id,
        reference: None,
        note: None,
    };
    Ok(vec![
        deed("Keep it for a buyer", "ReservePiece", reserved.collect(), ""),
        deed(
            "No longer keep it",
            "ReleasePiece",
            vec![
                ReleasePiece {
                    piece: id,
                    note: None,
                }
                .into(),
            ],
            "",
        ),
        deed("Sell it", "SellPieces", sold.collect(), ""),
        deed(
            "Take it back",
            "ReturnPiece",
            vec![
                ReturnPiece {
                    piece: id,
                    note: None,
                }
                .into(),
            ],
            "",
        ),
        deed(
            "Put it back into stock",
            "RestockPiece",
            vec![
                RestockPiece {
                    piece: id,
                    note: None,
                }
                .into(),
            ],
            "",
        ),
        deed(
            "Buy it back",
            "BuyBackPiece",
            bought.collect(),
            "no session is open to weigh it in",
        ),
        deed(
            "Say that it turned up again",
            "FindPiece",
            vec![
                FindPiece {
                    piece: id,
                    note: None,
                }
                .into(),
            ],
            "",
        ),
        deed("Say that it is stolen", "StealPiece", vec![stolen.into()], ""),
        deed(
            "Say that it is back",
            "RecoverPiece",
            vec![
                RecoverPiece {
                    piece: id,
                    note: None,
                }
                .into(),
            ],
            "",
        ),
        deed(
            "Destroy it before a witness",
            "DestroyPiece",
            vec![destroyed.into()],
            "",
        ),
    ])
}

fn of_sale(piece: &Piece) -> Vec<Deed> {
    const NOT_SOLD: &str = "it is in no sale";
    let with = |make: &dyn Fn(SaleId) -> Command| piece.sale.map(make).into_iter().collect::<Vec<_>>();
    let pieces = || vec![piece.piece];
    let note = None::<String>;
    vec![
        deed(
            "Hand it over",
            "HandOverPieces",
            with(&|sale| {
                HandOverPieces {
                    sale,
                    pieces: pieces(),
                    note: note.clone(),
                }
                .into()
            }),
            NOT_SOLD,
        ),
        deed(
            "Send it to its buyer",
            "DispatchPieces",
            with(&|sale| {
                let (weight, seal, insured, carrier, tracking) = (None, None, None, None, None);
                let (pieces, note) = (pieces(), note.clone());
                DispatchPieces {
                    sale,
                    pieces,
                    weight,
                    seal,
                    insured,
                    carrier,
                    tracking,
                    note,
                }
                .into()
            }),
            NOT_SOLD,
        ),
        deed(
            "Say that it arrived",
            "DeliverPieces",
            with(&|sale| {
                DeliverPieces {
                    sale,
                    pieces: pieces(),
                    note: note.clone(),
                }
                .into()
            }),
            NOT_SOLD,
        ),
        deed(
            "Say that it was lost on its way",
            "LosePieces",
            with(&|sale| {
                LosePieces {
                    sale,
                    pieces: pieces(),
                    note: note.clone(),
                }
                .into()
            }),
            NOT_SOLD,
        ),
        deed(
            "Say that it came back undelivered",
            "SendBackPieces",
            with(&|sale| {
                SendBackPieces {
                    sale,
                    pieces: pieces(),
                    note: note.clone(),
                }
                .into()
            }),
            NOT_SOLD,
        ),
        deed(
            "Call its sale off",
            "CancelSale",
            with(&|sale| {
                CancelSale {
                    sale,
                    pieces: pieces(),
                    note: note.clone(),
                }
                .into()
            }),
            NOT_SOLD,
        ),
    ]
}
