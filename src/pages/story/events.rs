//! Each event of a piece as a sentence.

use crate::domain::{
    CertificateIssued, Event, Grade, HallmarkStatement, MeltClosed, PieceGraded, PieceId, PieceWeighed,
    SeriesId,
};
use crate::metal::Mass;
use crate::pages::told::Told;
use crate::pages::words;
use crate::record::Entry;

/// What an entry says of the piece, sentence by sentence; nothing where it is only read for what stands behind the piece.
pub fn lines(told: &Told<'_>, index: u64, entry: &Entry) -> Vec<String> {
    let piece = told.about.accepted.piece;
    let mut lines: Vec<String> = Vec::new();
    for event in entry.events() {
        let line = if event.piece() == Some(piece) {
            of_piece(piece, &|series| told.title(series), entry, event)
        } else {
            beside(told, index, event)
        };
        lines.extend(line);
    }
    lines
}

/// What an event says of the piece that it is about; `title` names a series. Nothing where it is told beside it.
pub fn of_piece(
    piece: PieceId,
    title: &dyn Fn(SeriesId) -> String,
    entry: &Entry,
    event: &Event,
) -> Option<String> {
    Some(match event {
        Event::PiecePoured(e) => format!(
            "Poured as {} {} for {}: pour {}.",
            article(e.shape.as_str()),
            words::shape(&e.shape),
            title(e.series),
            e.pour
        ),
        Event::PieceWeighed(e) => weighed(e),
        Event::PieceGraded(e) => graded(e),
        Event::PieceGravity(e) => format!(
            "Weighed in air, {} g, and in water, {} g at {} °C, for its density.",
            e.in_air, e.in_water, e.water
        ),
        Event::PieceFaulted(e) => format!("A fault was seen: {}.", e.fault.word().replace('_', " ")),
        Event::PieceFinished(e) if e.filed == Mass::ZERO => {
            "Finished; the scale showed no less after it.".to_owned()
        }
        Event::PieceFinished(e) => format!("Filed and polished: {} g came off.", e.filed),
        Event::PieceMoved(e) => format!("Moved from {} to {}.", title(e.from), title(e.to)),
        Event::PieceCondemned(e) => format!("Given up: {}.", words::condemned(e.reason)),
        Event::PieceRemelted(_) => "Melted again. This was the end of the piece.".to_owned(),
        Event::PieceRefined(_) => "Sent to a refiner. This was the end of the piece.".to_owned(),
        Event::PieceSerialled(e) => format!("Given the serial {}, for ever.", e.serial),
        Event::PieceNumbered(e) => format!("Given number {} of {}.", e.number, e.of),
        Event::PieceStruck(e) => format!("Struck with a die: {}.", words::strike(e.outcome)),
        Event::PieceArchived(_) => "Put into the workshop’s archive, never for sale.".to_owned(),
        // The certificate itself stands beside it.
        Event::PieceCertified(_) => return None,
        Event::PieceSpared(_) => "Set aside as a spare.".to_owned(),
        Event::PieceConsigned(_) => sent_to_office(entry, piece),
        Event::PieceHallmarked(e) => format!(
            "Back from the assay office with a hallmark, {}.",
            words::marks(&e.hallmark)
        ),
        Event::PieceUnmarked(e) => {
            let found = e
                .assay
                .map_or_else(String::new, |found| format!(" The office found {found}."));
            format!(
                "Back from the assay office without a mark: {}.{found}",
                words::unmarked(e.reason)
            )
        }
        Event::PieceKept(e) => {
            let found = e
                .assay
                .map_or_else(String::new, |found| format!(" It found {found}."));
            format!(
                "The assay office did not send it back; it was {}.{found}",
                e.how.word()
            )
        }
        Event::PiecePhotographed(e) => format!(
            "Photographed: {}, {}.",
            words::side(e.side).to_lowercase(),
            words::photograph_stage(e.stage)
        ),
        Event::PieceMissing(_) => "It was not among what came back from the assay office.".to_owned(),
        other => return sold(other),
    })
}

/// What happened with buyers.
fn sold(event: &Event) -> Option<String> {
    let plain = match event {
        Event::PieceReserved(_) => "Kept for a buyer.",
        Event::PieceReleased(_) => "No longer kept for a buyer.",
        Event::PieceSold(_) => "Sold.",
        Event::PieceUnsold(_) => "The sale was called off.",
        Event::PieceDispatched(_) => "Sent to its buyer.",
        Event::PieceHandedOver(_) => "Handed to its buyer.",
        Event::PieceDelivered(_) => "Arrived at its buyer.",
        Event::PieceLost(_) => "Lost on its way.",
        Event::PieceFound(_) => "It turned up again.",
        Event::PieceSentBack(_) => "It came back undelivered.",
        Event::PieceReturned(_) => "Given back by its buyer.",
        Event::PieceRestocked(_) => "For sale again.",
        Event::PieceBoughtBack(e) => {
            let fits = if e.explained {
                "which agrees with the last reading before"
            } else {
                "which does not agree with the last reading before"
            };
            return Some(format!(
                "Bought back by the workshop and weighed: {} g, {fits}, {} g.",
                e.mass, e.before
            ));
        }
        Event::PieceStolen(_) => "Stolen.",
        Event::PieceRecovered(_) => "Recovered: it is back.",
        Event::PieceDestroyed(_) => "Destroyed before a witness. This was the end of the piece.",
        _ => return None,
    };
    Some(plain.to_owned())
}

/// What an entry says beside the piece's own events, where a reader wants to know.
fn beside(told: &Told<'_>, index: u64, event: &Event) -> Option<String> {
    let accepted = told.about.accepted;
    match event {
        Event::MeltClosed(e) if e.melt == told.poured.melt => Some(melt_closed(e)),
        Event::CertificateIssued(e) if e.piece == accepted.piece => Some(issued(e)),
        Event::CertificateSuperseded(e) => {
            let older = told
                .issues
                .iter()
                .find(|issue| issue.stated.certificate == e.certificate)?;
            let (issue, why) = (older.stated.issue, words::superseded(e.reason));
            Some(format!("It takes the place of issue {issue}: {why}."))
        }
        Event::SeriesClosed(e) if e.series == told.series.series => {
            let tally = e.shapes.iter().find(|tally| tally.shape == told.poured.shape)?;
            let gone = match tally.burned.len() {
                0 => "and all of these pieces are left".to_owned(),
                1 => "and one of these pieces is gone".to_owned(),
                gone => format!("and {gone} of these pieces are gone"),
            };
            Some(format!(
                "The edition was closed: {} of {} numbers were given in this shape, {gone}.",
                tally.given, tally.size
            ))
        }
        Event::EntryCorrected(e) if accepted.lineage.own.contains(&index) => Some(format!(
            "Earlier entries were corrected: {}. What they said first is shown beside them.",
            words::corrected(e.reason)
        )),
        Event::FieldErased(_) if accepted.lineage.own.contains(&index) => {
            Some("A private detail of an earlier entry was erased. Nothing public changed.".to_owned())
        }
        _ => None,
    }
}

/// What a certificate states.
pub fn issued(e: &CertificateIssued) -> String {
    let marks = match e.hallmark {
        HallmarkStatement::Hallmarked => "with its hallmark",
        HallmarkStatement::NotHallmarked => "not hallmarked",
    };
    format!(
        "Certificate issued, issue {}: {} g ± {} g, at least {} g, fineness {}, {marks}.",
        e.issue, e.mass, e.uncertainty, e.at_least, e.fineness
    )
}

fn weighed(e: &PieceWeighed) -> String {
    format!("{}: {} g.", words::stage(e.stage), e.mass)
}

fn graded(e: &PieceGraded) -> String {
    let limits = match (e.lower, e.upper) {
        (Some(lower), Some(upper)) => format!(" ({lower} g to {upper} g)"),
        (Some(lower), None) => format!(" (from {lower} g)"),
        _ => {
            return match e.grade {
                Grade::Accepted => "Accepted; its series has no limits of weight.".to_owned(),
                Grade::Faulty => "Not fit to be seen, whatever it weighs.".to_owned(),
                _ => "The scale supports no grading.".to_owned(),
            };
        }
    };
    match e.grade {
        Grade::Accepted => {
            format!("Within the limits of its series{limits}, the scale’s uncertainty allowed for.")
        }
        Grade::Under => format!("Below the limits of its series{limits}."),
        Grade::Over => format!("Above the limits of its series{limits}."),
        Grade::Borderline => format!("Too near a limit of its series{limits} for this scale to tell."),
        Grade::Faulty => "Not fit to be seen, whatever it weighs.".to_owned(),
    }
}

fn sent_to_office(entry: &Entry, piece: PieceId) -> String {
    let sent = entry.events().find_map(|event| match event {
        Event::ConsignmentSent(e) if e.pieces.iter().any(|sent| sent.piece == piece) => Some(e),
        _ => None,
    });
    match sent {
        Some(sent) => format!(
            "Sent to an assay office as one of {}, claimed to be {}.",
            sent.pieces.len(),
            sent.fineness
        ),
        None => "Sent to an assay office.".to_owned(),
    }
}

fn melt_closed(e: &MeltClosed) -> String {
    let lost = if e.loss.is_negative() {
        format!("{} g more than went in", e.loss.magnitude())
    } else {
        format!("{} g were lost in the fire", e.loss.magnitude())
    };
    let pieces = match e.pieces.len() {
        1 => "one piece was".to_owned(),
        count => format!("{count} pieces were"),
    };
    format!(
        "Its melt was weighed out: {} g went in; {pieces} poured of it, {} g stayed in the crucible, {lost}.",
        e.charge, e.heel
    )
}

fn article(word: &str) -> &'static str {
    if word.starts_with(['a', 'e', 'i', 'o', 'u']) {
        "an"
    } else {
        "a"
    }
}
