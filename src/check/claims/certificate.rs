//! The certificates: each states what the record supported when it was issued, and no more.

use super::{Check, Claims, Life, Told, say_hallmark};
use crate::check::measures;
use crate::domain::{CertificateIssued, Event, FinenessBasis, HallmarkStatement, Marking, SeriesOpened};
use crate::metal::at_least;

/// Each certificate states what the record supports, and the newest rests on a confirmed weighing.
pub(in crate::check) fn certificate(claims: &Claims<'_>, told: &Told) -> Result<String, String> {
    let issued = claims.issued();
    if issued.len() != told.issues.len() {
        return Err(format!(
            "{} certificates were issued, the piece was certified {} times",
            issued.len(),
            told.issues.len()
        ));
    }
    let (Some((_, newest)), Some((_, life))) = (issued.last(), told.issues.last()) else {
        return Ok("none issued yet".to_owned());
    };
    let mut older: Option<&CertificateIssued> = None;
    for ((index, stated), (id, life)) in issued.iter().zip(&told.issues) {
        let at = |why: String| format!("issue {}: {why}", stated.issue);
        if stated.certificate != *id {
            return Err(at("the piece was certified by another certificate".to_owned()));
        }
        takes_the_place(claims, *index, older, stated)?;
        states_the_record(claims, stated, life).map_err(at)?;
        older = Some(stated);
    }
    rests_on(claims, newest, life)?;
    let hallmark = match &newest.marks {
        Some(hallmark) => format!("hallmarked {}", say_hallmark(hallmark)),
        None => "not hallmarked".to_owned(),
    };
    Ok(format!(
        "issue {}: {} g, +-{} g at k = 2; at least {} g; {hallmark}",
        newest.issue, newest.mass, newest.uncertainty, newest.at_least
    ))
}

/// Issues are numbered in order, and each after the first supersedes the one before, in the same entry.
fn takes_the_place(
    claims: &Claims<'_>,
    index: u64,
    older: Option<&CertificateIssued>,
    stated: &CertificateIssued,
) -> Result<(), String> {
    let wanted = older.map_or(Some(1), |older| older.issue.checked_add(1));
    if wanted != Some(stated.issue) {
        return Err(format!("issue {} stands where another belongs", stated.issue));
    }
    let Some(older) = older else { return Ok(()) };
    let supersedes = |event: &Event| matches!(event, Event::CertificateSuperseded(e) if e.certificate == older.certificate && e.by == stated.certificate);
    if claims.beside(index).any(supersedes) {
        Ok(())
    } else {
        Err(format!(
            "issue {} does not supersede the one before it",
            stated.issue
        ))
    }
}

/// The scale of the weight of record supports what is stated; its session is over, and a check that held came after it.
fn rests_on(claims: &Claims<'_>, newest: &CertificateIssued, life: &Life) -> Result<(), String> {
    let scale = claims
        .scale_of(newest.session)
        .ok_or("the scale of the weight of record is missing")?;
    let uncertainty =
        measures::uncertainty(scale, newest.mass.mass()).ok_or("the scale supports no claim")?;
    if uncertainty != newest.uncertainty || at_least(newest.mass.mass(), uncertainty) != newest.at_least {
        return Err(format!(
            "the scale supports +-{uncertainty} g, stated is +-{} g",
            newest.uncertainty
        ));
    }
    let over = |last: &Check| last.closing || !last.held;
    if !claims.checks_of(newest.session).last().is_some_and(over) {
        return Err("the session of the weight of record has no closing check".to_owned());
    }
    let weighed = life.of_record.as_ref().map_or(u64::MAX, |told| told.index);
    if !claims.is_bracketed(newest.session, weighed) {
        return Err("no check of the scale held after the weight of record".to_owned());
    }
    Ok(())
}

/// What is stated is what the piece then was.
fn states_the_record(claims: &Claims<'_>, stated: &CertificateIssued, life: &Life) -> Result<(), String> {
    if stated.serial != claims.file.serial {
        return Err(format!("it states serial {}", stated.serial));
    }
    if stated.series != life.series {
        return Err("it states another series than the piece was in".to_owned());
    }
    let series = claims.series(stated.series)?;
    if stated.fineness != series.fineness || stated.metal != series.metal {
        return Err("it states another metal or fineness than its series".to_owned());
    }
    if life.number != stated.number.zip(stated.of) || stated.number.is_some() != stated.of.is_some() {
        return Err("it states another number than the piece was given".to_owned());
    }
    let of_record = life.of_record.as_ref();
    if of_record.is_none_or(|told| told.session != stated.session || told.mass != stated.mass) {
        return Err(format!(
            "it states {} g, which is not the final reading after the last thing that touched the metal",
            stated.mass
        ));
    }
    hallmark_stated(stated, life, series)?;
    fineness_supported(claims, stated, life)
}

/// The marks are those of the piece's own last hallmark, and "not hallmarked" stands only where there is none.
fn hallmark_stated(stated: &CertificateIssued, life: &Life, series: &SeriesOpened) -> Result<(), String> {
    let statement = match life.hallmark {
        Some(_) => HallmarkStatement::Hallmarked,
        None => HallmarkStatement::NotHallmarked,
    };
    if stated.hallmark != statement || stated.marks != life.hallmark {
        return Err("it states another hallmark than the piece bears".to_owned());
    }
    if series.marking == Marking::Required && life.hallmark.is_none() {
        return Err("its series asks for a hallmark, and it has none".to_owned());
    }
    Ok(())
}

/// The fineness is not above what was melted, what is marked, and what an assay office found in the piece; and it says no
/// more than it rests on.
fn fineness_supported(claims: &Claims<'_>, stated: &CertificateIssued, life: &Life) -> Result<(), String> {
    let melts = claims.melts();
    let melt = melts
        .get(&claims.poured()?.melt)
        .ok_or("the melt of the piece is not weighed out")?;
    let found = [
        (Some(melt.fineness), "the metal is, as declared,"),
        (life.hallmark.as_ref().map(|marks| marks.fineness), "it is marked"),
        (life.assay, "an assay office found"),
    ];
    for (found, whose) in found {
        if let Some(found) = found.filter(|found| stated.fineness > *found) {
            return Err(format!("it states {}, {whose} {found}", stated.fineness));
        }
    }
    if let Some(refused) = life.refused_at.filter(|refused| stated.fineness >= *refused) {
        return Err(format!(
            "it states {}, an assay office refused it at {refused}",
            stated.fineness
        ));
    }
    let weakest = claims.lineage.lots.keys().filter_map(|lot| claims.lot(*lot));
    let weakest = weakest
        .filter(|lot| lot.metal == stated.metal)
        .map(|lot| lot.basis)
        .min();
    let (basis, known) = match life.hallmark {
        Some(_) => (FinenessBasis::Hallmarked, true),
        None => (
            weakest.unwrap_or(FinenessBasis::Declared),
            claims.lineage.traced == "1",
        ),
    };
    if known && basis != stated.basis {
        return Err(format!(
            "it says its fineness is {}, it rests on what is {basis}",
            stated.basis
        ));
    }
    Ok(())
}
