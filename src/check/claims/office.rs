//! The assay office: what went there is what came back, and the marks are those that were claimed.

use super::Claims;
use crate::domain::{
    ConsignmentId, ConsignmentReturned, ConsignmentSent, Event, Hallmark, MarkKind, PieceId,
};
use crate::metal::Mass;

/// What every hallmark has.
const NEEDED: [MarkKind; 3] = [MarkKind::Sponsor, MarkKind::Fineness, MarkKind::Office];

/// Every consignment that the piece was in adds up: pieces, weights, and marked + unmarked + kept + missing = sent.
pub(in crate::check) fn office(claims: &Claims<'_>) -> Result<String, String> {
    let mut sent = 0_u32;
    let mut hallmark = None;
    let mut reading = None;
    for (index, event) in claims.own() {
        let at = |why: String| format!("entry {index}: {why}");
        match event {
            Event::PieceWeighed(e) => reading = Some(e.mass.mass()),
            Event::PieceConsigned(e) => {
                let stated = sent_in(claims, index, e.consignment).map_err(at)?;
                went(claims, index, stated, reading).map_err(at)?;
                sent = sent.saturating_add(1);
            }
            Event::PieceHallmarked(e) => {
                came_back(claims, index, e.consignment).map_err(at)?;
                bears(&e.hallmark).map_err(at)?;
                hallmark = Some(&e.hallmark);
            }
            Event::PieceUnmarked(e) => came_back(claims, index, e.consignment).map_err(at)?,
            Event::PieceKept(e) => came_back(claims, index, e.consignment).map_err(at)?,
            Event::PieceMissing(e) => came_back(claims, index, e.consignment).map_err(at)?,
            _ => {}
        }
    }
    Ok(match (sent, hallmark) {
        (0, _) => "it was never sent there".to_owned(),
        (times, None) => format!("sent {times} times, not hallmarked"),
        (times, Some(hallmark)) => format!("sent {times} times, hallmarked {}", say_hallmark(hallmark)),
    })
}

/// A hallmark in words: its fineness and its marks.
pub(in crate::check) fn say_hallmark(hallmark: &Hallmark) -> String {
    let marks = hallmark.marks.iter().map(|seen| match seen.legible {
        true => seen.mark.word().to_owned(),
        false => format!("{} (not legible)", seen.mark),
    });
    let marks: Vec<String> = marks.collect();
    format!("{} ({})", hallmark.fineness, marks.join(", "))
}

/// The event of a consignment in the entry that sent the piece.
pub(super) fn sent_in<'a>(
    claims: &'a Claims<'_>,
    index: u64,
    id: ConsignmentId,
) -> Result<&'a ConsignmentSent, String> {
    let sent = claims.beside(index).find_map(|event| match event {
        Event::ConsignmentSent(sent) if sent.consignment == id => Some(sent),
        _ => None,
    });
    sent.ok_or_else(|| format!("consignment {id} is not in its entry"))
}

/// The list of a consignment is the pieces that its entry sends; the piece stands on it with its last reading.
fn went(
    claims: &Claims<'_>,
    index: u64,
    stated: &ConsignmentSent,
    reading: Option<Mass>,
) -> Result<(), String> {
    let consigned = claims.beside(index).filter_map(|event| match event {
        Event::PieceConsigned(e) if e.consignment == stated.consignment => Some(e.piece),
        _ => None,
    });
    let listed = stated.pieces.iter().map(|sent| sent.piece);
    if sorted(consigned) != sorted(listed) {
        return Err("the consignment lists other pieces than are sent".to_owned());
    }
    let own = stated.pieces.iter().find(|sent| sent.piece == claims.file.piece);
    if own.map(|own| own.mass) != reading {
        return Err("the consignment declares another weight than the last reading of the piece".to_owned());
    }
    if Mass::checked_sum(stated.pieces.iter().map(|sent| sent.mass)) != Some(stated.mass) {
        return Err(format!(
            "the weights of the consignment do not sum to {} g",
            stated.mass
        ));
    }
    whole(&stated.marks)
}

/// Every piece that was sent is on a line of the return, and the counts are those of the lines.
fn came_back(claims: &Claims<'_>, index: u64, id: ConsignmentId) -> Result<(), String> {
    let returned = claims.beside(index).find_map(|event| match event {
        Event::ConsignmentReturned(returned) if returned.consignment == id => Some(returned),
        _ => None,
    });
    let returned = returned.ok_or_else(|| format!("the return of consignment {id} is not in its entry"))?;
    let sent = claims.evidence.events().find_map(|(_, event)| match event {
        Event::ConsignmentSent(sent) if sent.consignment == id => Some(sent),
        _ => None,
    });
    let sent = sent.ok_or_else(|| format!("consignment {id} is missing"))?;
    let (mut pieces, mut counted) = (Vec::new(), [0_u32; 4]);
    for event in claims.beside(index) {
        let (piece, count) = match (event, &mut counted) {
            (Event::PieceHallmarked(e), [marked, ..]) if e.consignment == id => (e.piece, marked),
            (Event::PieceUnmarked(e), [_, unmarked, ..]) if e.consignment == id => (e.piece, unmarked),
            (Event::PieceKept(e), [_, _, kept, _]) if e.consignment == id => (e.piece, kept),
            (Event::PieceMissing(e), [.., missing]) if e.consignment == id => (e.piece, missing),
            _ => continue,
        };
        pieces.push(piece);
        *count = count.saturating_add(1);
    }
    adds_up(returned, counted)?;
    let same = sorted(pieces.into_iter()) == sorted(sent.pieces.iter().map(|sent| sent.piece));
    if same && u32::try_from(sent.pieces.len()) == Ok(returned.sent) {
        Ok(())
    } else {
        Err("the pieces on the lines of the return are not those that were sent".to_owned())
    }
}

fn adds_up(returned: &ConsignmentReturned, counted: [u32; 4]) -> Result<(), String> {
    let stated = [
        returned.marked,
        returned.unmarked,
        returned.kept,
        returned.missing,
    ];
    let sum = stated.iter().map(|count| u64::from(*count)).sum::<u64>();
    if stated == counted && sum == u64::from(returned.sent) {
        return Ok(());
    }
    let [marked, unmarked, kept, missing] = counted;
    Err(format!(
        "{} were sent; the lines say {marked} marked, {unmarked} unmarked, {kept} kept, {missing} missing",
        returned.sent
    ))
}

fn sorted(pieces: impl Iterator<Item = PieceId>) -> Vec<PieceId> {
    let mut pieces: Vec<PieceId> = pieces.collect();
    pieces.sort_unstable();
    pieces
}

/// A hallmark has each of its marks once, and three of them always.
fn bears(hallmark: &Hallmark) -> Result<(), String> {
    let marks: Vec<MarkKind> = hallmark.marks.iter().map(|seen| seen.mark).collect();
    whole(&marks)
}

fn whole(marks: &[MarkKind]) -> Result<(), String> {
    let twice = marks
        .iter()
        .enumerate()
        .any(|(place, mark)| marks.iter().take(place).any(|other| other == mark));
    if !twice && NEEDED.iter().all(|needed| marks.contains(needed)) {
        Ok(())
    } else {
        Err("the marks do not make a hallmark".to_owned())
    }
}
