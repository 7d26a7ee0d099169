//! What there is to do at the bench now.

use super::{App, Seen, Visit, of_now, scale_words};
use crate::domain::{
    Book, DieState, Grade, JarId, MeltId, MeltState, PieceState as S, Residue, Scale, Session,
};
use crate::http::problem::Problem;
use crate::http::workshop::office::{by_series, waits_for_final};
use crate::metal::{Fineness, Metal};
use crate::pages::workshop::bench::{self, Board, MeltSeen, ScaleSeen, Work};
use crate::pages::workshop::office::counted;
use std::cmp::Reverse;

/// How many melts the board names whose pieces may be filed, the newest first.
const FILINGS_MOST: usize = 12;

/// What the book says of the bench.
struct Found {
    scales: Vec<(Scale, Option<Session>)>,
    melts: Vec<MeltSeen>,
    filings: Vec<(MeltId, u32, usize, usize, Option<JarId>)>,
    /// Of each series its id, its code, and how many wait.
    finals: Vec<(String, String, usize)>,
    dies: usize,
    sweeps: Vec<(JarId, Metal)>,
}

/// `GET /bench`.
///
/// # Errors
/// When the log or the views cannot be read.
pub fn board(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let found = of_now(app, |reckoning| find(reckoning.book()))?;
    let zone = app.settings.workshop.zone;
    let scales = found.scales.iter().map(|(scale, session)| {
        let session = session.as_ref();
        Ok(ScaleSeen {
            scale: scale.scale,
            name: scale_words(app, visit, scale)?,
            session: session.map(|row| (row.session, zone.in_words(row.at), row.readings)),
        })
    });
    let scales: Result<Vec<ScaleSeen>, Problem> = scales.collect();
    let page = Board {
        scales: scales?,
        work: work(&found),
        melts: found.melts,
    };
    Ok(bench::board(&page).into())
}

fn work(found: &Found) -> Vec<Work> {
    let filings = found
        .filings
        .iter()
        .take(FILINGS_MOST)
        .map(|(melt, number, count, over, jar)| match jar {
            Some(jar) => Work {
                path: format!("/bench/tray?melt={melt}&jar={jar}"),
                words: format!(
                    "File and polish melt {number}: {}, {over} over their limit",
                    counted(*count, "piece")
                ),
            },
            None => Work {
                path: "/bench/jars/new".to_owned(),
                words: format!("File and polish melt {number}: open a jar for its lemel first"),
            },
        });
    let finals = found.finals.iter().map(|(id, code, count)| Work {
        path: format!("/bench/tray?series={id}"),
        words: format!("Final weighing of {code}: {}", counted(*count, "piece")),
    });
    let strikes = (found.dies > 0).then(|| Work {
        path: "/bench/strike".to_owned(),
        words: "Strike".to_owned(),
    });
    let sweeps = found.sweeps.iter().map(|(jar, metal)| Work {
        path: format!("/bench/jars/{jar}/sweepings"),
        words: format!("Sweepings of {metal}"),
    });
    let older = found.filings.len().saturating_sub(FILINGS_MOST);
    let older = (older > 0).then(|| Work {
        path: "/pieces?state=graded&grade=accepted,over".to_owned(),
        words: format!("{older} older melts with pieces to file and polish"),
    });
    filings
        .chain(older)
        .chain(finals)
        .chain(strikes)
        .chain(sweeps)
        .collect()
}

fn find(book: &Book) -> Found {
    let session = |scale: &Scale| scale.session.and_then(|id| book.session(id).cloned());
    let mut scales: Vec<_> = book
        .scales()
        .map(|scale| (scale.clone(), session(scale)))
        .collect();
    scales.sort_by_key(|(scale, _)| scale.since);
    let open = book.melts().filter(|melt| melt.state == MeltState::Open);
    let mut melts: Vec<MeltSeen> = open
        .map(|melt| {
            let pieces = melt.pieces.iter().filter_map(|id| book.piece(*id));
            MeltSeen {
                melt: melt.melt,
                number: melt.number,
                says: format!("{} g of {} {}", melt.charge, melt.metal, melt.fineness),
                poured: melt.pieces.len(),
                weighed: pieces.filter(|piece| !piece.readings.is_empty()).count(),
            }
        })
        .collect();
    melts.sort_by_key(|melt| melt.number);
    Found {
        scales,
        melts,
        filings: filings(book),
        finals: by_series(book, |piece| waits_for_final(book, piece)),
        dies: book.dies().filter(|die| die.state == DieState::InUse).count(),
        sweeps: sweeps(book),
    }
}

/// Melts whose pieces may be filed: how many, how many of them over, and the newest jar that takes their lemel.
fn filings(book: &Book) -> Vec<(MeltId, u32, usize, usize, Option<JarId>)> {
    let mut found = Vec::new();
    for melt in book.melts().filter(|melt| melt.state == MeltState::Closed) {
        let pieces = melt.pieces.iter().filter_map(|id| book.piece(*id));
        let pieces: Vec<_> = pieces
            .filter(|piece| piece.state == S::Graded && piece.serial.is_none())
            .collect();
        let grade = |grade: Grade| {
            let of = pieces.iter().filter_map(|piece| piece.grading.as_ref());
            of.filter(|grading| grading.grade == grade).count()
        };
        let wanted = grade(Grade::Accepted).saturating_add(grade(Grade::Over));
        if wanted > 0 {
            let jar = jar_for(book, melt.metal, melt.reckoned_fineness());
            found.push((melt.melt, melt.number, wanted, grade(Grade::Over), jar));
        }
    }
    found.sort_by_key(|(_, number, ..)| Reverse(*number));
    found
}

/// The jars of sweeps, oldest first.
fn sweeps(book: &Book) -> Vec<(JarId, Metal)> {
    let mut jars: Vec<_> = book.jars().filter(|jar| jar.residue == Residue::Sweeps).collect();
    jars.sort_by_key(|jar| jar.since);
    jars.into_iter().map(|jar| (jar.jar, jar.metal)).collect()
}

fn jar_for(book: &Book, metal: Metal, fineness: Fineness) -> Option<JarId> {
    let jars = book.jars().filter(|jar| jar.residue == Residue::Lemel);
    let fits = jars.filter(|jar| jar.metal == metal && jar.fineness <= fineness);
    fits.max_by_key(|jar| (jar.fineness, jar.since))
        .map(|jar| jar.jar)
}
