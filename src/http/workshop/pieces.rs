//! What the page of a piece tells, gathered: its row, its entries, the metal in it, and what may be done next.

use super::names::Names;
use super::offered::of_now;
use super::{App, Seen, Visit, named, trials};
use crate::accounts::{AsOf, AskError, GravityTold};
use crate::domain::{Certificate, Event, Piece, PieceId, Serial, Series};
use crate::http::conditions::hyphenated;
use crate::http::problem::Problem;
use crate::http::{beside, failed, prints};
use crate::metal::Mass;
use crate::pages::workshop::{
    self as page, IssueSeen, PictureSeen, PieceSeen, ReadingSeen, ShareSeen, StepSeen, StorySeen,
};
use crate::record::Entry;
use crate::views::Table;

/// How many entries of a piece are told; of a longer story the middle is left out, and said so.
const STORY_MAX: usize = 500;
/// How many of them from its beginning.
const FROM_BEGINNING: usize = 100;

/// The page of the piece that the address names: by id, serial or pour number.
///
/// # Errors
/// 404 when no piece is called so.
pub fn piece(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let called = visit.asked.member("piece");
    let row = find(app, called)?;
    let row = row.ok_or_else(|| Problem::not_found(format!("no piece is called {called:?}")))?;
    let names = Names::new(app, visit);
    let (shares, gravities) = reckoned(app, row.piece)?;
    let seen = PieceSeen {
        name: named::piece(&row),
        stands: page::stands(row.state).to_owned(),
        facts: facts(&names, &row)?,
        readings: readings(&names, &row)?,
        grade: graded(&row),
        gravities,
        shares,
        pictures: pictures(&row),
        issues: issues(&names, &row)?,
        serial: row.serial.as_ref().map(ToString::to_string),
        next: trials::of_piece(app, visit, &row)?,
        story: story(&names, &row)?,
    };
    Ok(page::piece(&seen).into())
}

fn find(app: &App, called: &str) -> Result<Option<Piece>, Problem> {
    let by_serial = |serial: &Serial| app.views.piece_by_serial(serial).map_err(failed);
    let id = match (hyphenated(called), called.parse::<Serial>()) {
        (Some(id), _) => Some(PieceId(id)),
        (None, Ok(serial)) => by_serial(&serial)?,
        (None, Err(_)) => app.views.piece_by_pour(called).map_err(failed)?,
    };
    id.map_or(Ok(None), |id| app.views.piece(id).map_err(failed))
}

/// A PDF that was printed, made again.
///
/// # Errors
/// As the API's own.
pub fn print(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let found = prints::print(app, &visit.asked)?;
    let name = format!("certificates-{}.pdf", visit.asked.member("index"));
    Ok(Seen::File(found, name))
}

type Facts = Vec<(&'static str, String, Option<String>)>;

fn facts(names: &Names<'_>, row: &Piece) -> Result<Facts, Problem> {
    let mut facts: Facts = Vec::new();
    let series: Option<Series> = names.app.views.row(row.series.0).map_err(failed)?;
    let page = |table, id| named::page_of(table, id);
    facts.push((
        "Series",
        names.series(row.series)?,
        page(Table::Series, row.series.0),
    ));
    if let Some(first) = row.poured_for {
        facts.push(("Poured for", names.series(first)?, page(Table::Series, first.0)));
    }
    facts.push(("Shape", row.shape.as_str().replace('_', " "), None));
    facts.push(("Pour number", row.pour.clone(), None));
    if let Some(serial) = &row.serial {
        facts.push(("Serial", serial.to_string(), None));
    }
    if let Some(number) = row.number {
        let size = series.as_ref().and_then(|series| {
            let mut shapes = series.shapes.iter();
            shapes.find(|size| size.shape == row.shape).map(|size| size.size)
        });
        let of = size.map_or_else(|| number.to_string(), |size| format!("{number} of {size}"));
        facts.push(("Number", of, None));
    }
    let melt = names.numbered("Melt", row.melt.0);
    facts.push(("Melt", melt, page(Table::Melt, row.melt.0)));
    if row.filed != Mass::ZERO {
        facts.push(("Filed off", format!("{} g", row.filed), None));
    }
    if let Some(hallmark) = &row.hallmark {
        facts.push(("Hallmark", page::marks(hallmark), None));
    }
    if let Some(assay) = row.assay {
        facts.push(("Found by the office", format!("{assay} ‰"), None));
    }
    if let Some(id) = row.consignment {
        facts.push((
            "Consignment",
            names.numbered("Consignment", id.0),
            page(Table::Consignment, id.0),
        ));
    }
    if let Some(id) = row.order {
        facts.push(("Order", names.numbered("Order", id.0), page(Table::Order, id.0)));
    }
    if let Some(id) = row.sale {
        facts.push(("Sale", names.numbered("Sale", id.0), page(Table::Sale, id.0)));
    }
    if let Some(before) = row.before {
        facts.push(("Before that", before.word().replace('_', " "), None));
    }
    Ok(facts)
}

/// The grade with its reason.
fn graded(row: &Piece) -> Option<String> {
    let grading = row.grading.as_ref()?;
    let limits = match (grading.lower, grading.upper) {
        (Some(lower), Some(upper)) => format!(" by the limits of {lower} g to {upper} g"),
        (Some(lower), None) => format!(" by the limit of {lower} g"),
        _ => String::new(),
    };
    let guard = grading
        .guard
        .map_or_else(String::new, |guard| format!(", with a guard band of {guard} g"));
    Some(format!("Graded {}{limits}{guard}.", grading.grade.word()))
}

fn readings(names: &Names<'_>, row: &Piece) -> Result<Vec<ReadingSeen>, Problem> {
    let each = row.readings.iter().map(|reading| {
        let entry = names.app.entry(reading.index)?;
        let (when, who) = names.recorded(&entry);
        Ok(ReadingSeen {
            when,
            who,
            stage: page::stage(reading.stage).to_owned(),
            mass: reading.mass.text().to_owned(),
            scale: names.scale_of(reading.session)?,
            suspect: beside::is_suspect(names.app, reading.session, reading.index)?,
            index: reading.index,
        })
    });
    each.collect()
}

/// What is reckoned of a piece: the metal in it, and its densities.
fn reckoned(app: &App, piece: PieceId) -> Result<(Vec<ShareSeen>, Vec<String>), Problem> {
    let asked = app.accounts.ask(AsOf::Newest, |reckoning| {
        let Some(row) = reckoning.book().piece(piece) else {
            return (Vec::new(), Vec::new());
        };
        let told = reckoning.shares_of_piece(row);
        let lots = told.map_or_else(Vec::new, |told| told.shares.lots);
        let shares = lots.into_iter().map(|share| ShareSeen {
            lot: format!("Lot {}", share.number),
            link: named::page_of(Table::Lot, share.lot.0),
            fineness: share.fineness.to_string(),
            grams: page::reckoned(&share.mass.grams).to_owned(),
        });
        let gravities = row.gravities.iter().filter_map(|gravity| {
            let told = GravityTold::of(reckoning.book(), gravity)?;
            Some(density(&told))
        });
        (shares.collect(), gravities.collect())
    });
    asked.map_err(|error| match error {
        AskError::Beyond { .. } => Problem::internal("the newest position is beyond the log"),
        AskError::Reckon(error) => failed(error),
    })
}

fn density(told: &GravityTold) -> String {
    let value = serde_json::to_value(told).unwrap_or_default();
    let text = |name: &str| {
        value
            .get(name)
            .and_then(serde_json::Value::as_str)
            .unwrap_or_default()
            .to_owned()
    };
    let (density, uncertainty) = (text("density"), text("uncertainty"));
    format!("Weighed in water: density {density} g/cm³, ± {uncertainty} at k = 2.")
}

fn pictures(row: &Piece) -> Vec<PictureSeen> {
    let each = row.photographs.iter().map(|photograph| PictureSeen {
        words: format!(
            "{}, {}",
            page::side(photograph.side),
            page::photograph_stage(photograph.stage)
        ),
        whole: format!("/photographs/{}", photograph.photograph),
        small: format!("/photographs/{}", photograph.thumbnail),
        width: photograph.width,
        height: photograph.height,
    });
    each.collect()
}

fn issues(names: &Names<'_>, row: &Piece) -> Result<Vec<IssueSeen>, Problem> {
    let app = names.app;
    let mut issues = Vec::new();
    for id in app.views.certificates_of(row.piece).map_err(failed)? {
        let Some(certificate) = app.views.row::<Certificate>(id.0).map_err(failed)? else {
            continue;
        };
        let prints = certificate.prints.iter().map(|index| {
            let address = format!("/prints/{index}");
            (format!("printed, entry {index}"), address)
        });
        let readable = super::visit::may_read(names.visit.role(), "/prints/{index}");
        issues.push(IssueSeen {
            issue: certificate.issue,
            when: app.settings.workshop.zone.in_words(certificate.at),
            superseded: certificate.superseded.is_some(),
            prints: prints.filter(|_| readable).collect(),
        });
    }
    Ok(issues)
}

/// The entries about the piece, each as it is said now, and as it was said first.
fn story(names: &Names<'_>, row: &Piece) -> Result<StorySeen, Problem> {
    let mut indexes = names.app.views.history(row.piece.0).map_err(failed)?;
    let left_out = indexes.len().saturating_sub(STORY_MAX);
    let end = indexes.split_off(indexes.len().min(FROM_BEGINNING));
    Ok(StorySeen {
        begin: steps(names, row, &indexes)?,
        left_out,
        end: steps(names, row, end.get(left_out..).unwrap_or_default())?,
    })
}

fn steps(names: &Names<'_>, row: &Piece, indexes: &[u64]) -> Result<Vec<StepSeen>, Problem> {
    let app = names.app;
    let entries: Result<Vec<_>, Problem> = indexes.iter().map(|index| app.entry(*index)).collect();
    let entries = entries?;
    let told = || indexes.iter().copied().zip(&entries);
    // A correction may stand among the entries that are left out.
    let said = of_now(app, |book| {
        let now = told().map(|(index, entry)| book.said(index, entry.events()));
        now.collect::<Vec<Vec<Event>>>()
    })?;
    let title = |id| names.series(id).unwrap_or_default();
    let mut steps = Vec::new();
    for ((index, entry), now) in told().zip(&said) {
        let recorded: Vec<Event> = entry.events().cloned().collect();
        let first = lines(row.piece, &title, entry, &recorded);
        let lines = lines(row.piece, &title, entry, now);
        let was = Some(first).filter(|first| *first != lines);
        if lines.is_empty() && was.is_none() {
            continue;
        }
        let (when, who) = names.recorded(entry);
        steps.push(StepSeen {
            when,
            who,
            index,
            lines,
            was,
        });
    }
    Ok(steps)
}

fn lines(
    piece: PieceId,
    title: &dyn Fn(crate::domain::SeriesId) -> String,
    entry: &Entry,
    events: &[Event],
) -> Vec<String> {
    let line = |event: &Event| match event {
        Event::CertificateIssued(issued) if issued.piece == piece => Some(page::issued(issued)),
        Event::EntryCorrected(e) => Some(format!(
            "Earlier entries were corrected: {}.",
            page::corrected(e.reason)
        )),
        Event::FieldErased(_) => Some("A private detail of an earlier entry was erased.".to_owned()),
        Event::CertificatePrinted(printed) if printed.piece == piece => {
            Some("Its certificate was printed.".to_owned())
        }
        event if event.piece() == Some(piece) => page::line_of(piece, title, entry, event),
        _ => None,
    };
    events.iter().filter_map(line).collect()
}
