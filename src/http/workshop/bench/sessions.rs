//! What the forms of the bench offer: scales, sessions, series, jars, dies.

use super::expected::of_melt;
use super::melts::cavities;
use super::strikes::waiting;
use super::{App, Visit, label, of_now, offered, open_sessions, scale_words, with_versions};
use crate::accounts::Reckoning;
use crate::domain::{Die, DieState, Jar, JarId, MeltId, Piece, Residue, Scale};
use crate::http::problem::Problem;
use crate::http::workshop::named;
use crate::pages::workshop::bench::graded;
use crate::pages::workshop::{Choice, Markup, Row};
use std::collections::BTreeMap;

/// The scales that are not in session.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn free_scales(app: &App, visit: &Visit) -> Result<Vec<Choice>, Problem> {
    let scales = of_now(app, |reckoning| {
        let free = reckoning.book().scales().filter(|scale| scale.session.is_none());
        let mut scales: Vec<Scale> = free.cloned().collect();
        scales.sort_by_key(|scale| scale.since);
        scales
    })?;
    let choice = |scale: &Scale| {
        Ok(Choice {
            value: scale.scale.to_string(),
            words: scale_words(app, visit, scale)?,
        })
    };
    scales.iter().map(choice).collect()
}

/// The sessions that are open.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn session_choices(app: &App, visit: &Visit) -> Result<Vec<Choice>, Problem> {
    let sessions = of_now(app, |reckoning| open_sessions(reckoning.book()))?;
    let zone = app.settings.workshop.zone;
    let choices = sessions.iter().map(|(session, scale)| {
        let name = label(app, visit, scale.scale.0)?;
        let name = name.unwrap_or_else(|| format!("Scale to {} g", scale.max));
        Ok(Choice {
            value: session.session.to_string(),
            words: match sessions.len() {
                1 => name,
                _ => format!("{name}, {}", zone.shortly(session.at)),
            },
        })
    });
    choices.collect()
}

/// The series that a melt may be poured for.
///
/// # Errors
/// When the log cannot be read.
pub fn series_choices(app: &App, melt: MeltId) -> Result<Vec<Choice>, Problem> {
    let cavities = of_now(app, |reckoning| cavities(reckoning.book(), melt))?;
    let by_series: BTreeMap<String, (String, Vec<String>)> =
        cavities.into_iter().fold(BTreeMap::new(), |mut found, cavity| {
            let (_, shapes) = found.entry(cavity.series).or_insert((cavity.code, Vec::new()));
            shapes.push(cavity.shape);
            found
        });
    let choice = |(value, (code, shapes)): (String, (String, Vec<String>))| Choice {
        value,
        words: format!("{code} ({})", shapes.join(", ")),
    };
    Ok(by_series.into_iter().map(choice).collect())
}

/// The jars that take prills.
///
/// # Errors
/// When the log or the vault cannot be read.
pub fn prill_jars(app: &App, visit: &Visit) -> Result<Vec<Choice>, Problem> {
    let jars = of_now(app, |reckoning| {
        let prills = reckoning
            .book()
            .jars()
            .filter(|jar| jar.residue == Residue::Prills);
        let mut jars: Vec<Jar> = prills.cloned().collect();
        jars.sort_by_key(|jar| jar.since);
        jars
    })?;
    let choice = |jar: &Jar| {
        let name = offered::jar(app, visit, jar)?;
        Ok(Choice {
            value: jar.jar.to_string(),
            words: format!("{name}, {} {} and finer", jar.metal, jar.fineness),
        })
    };
    jars.iter().map(choice).collect()
}

/// The jar of sweeps that the path names, in words.
///
/// # Errors
/// 404 for a jar that is not there.
pub fn jar_of_sweeps(app: &App, visit: &Visit) -> Result<String, Problem> {
    let id = JarId(visit.asked.id("jar")?);
    let jar = of_now(app, |reckoning| reckoning.book().jar(id).cloned())?;
    let jar = jar.ok_or_else(|| Problem::not_found("there is no jar with that id"))?;
    let name = offered::jar(app, visit, &jar)?;
    Ok(format!(
        "{name}: {} of {}, {} g swept so far",
        jar.residue, jar.metal, jar.swept
    ))
}

/// Dies in use, and the pieces that wait for one of them.
///
/// # Errors
/// When the log, the views or the vault cannot be read.
pub fn struck_next(app: &App, visit: &Visit) -> Result<(Vec<Choice>, Vec<Row>), Problem> {
    let find = |reckoning: &Reckoning| {
        let book = reckoning.book();
        let in_use = book.dies().filter(|die| die.state == DieState::InUse);
        let mut dies: Vec<Die> = in_use.cloned().collect();
        dies.sort_by_key(|die| die.since);
        let mut pieces: BTreeMap<String, Piece> = BTreeMap::new();
        for piece in dies.iter().flat_map(|die| waiting(book, die)) {
            pieces.insert(named::piece(&piece), piece);
        }
        Ok((dies, pieces))
    };
    let ((dies, pieces), versions) = with_versions(app, find, |(_, pieces)| {
        pieces.values().map(|piece| piece.piece).collect()
    })?;
    let die = |die: &Die| {
        Ok(Choice {
            value: die.die.to_string(),
            words: offered::die(app, visit, die)?,
        })
    };
    let dies: Result<Vec<Choice>, Problem> = dies.iter().map(die).collect();
    let row = |(words, piece): (String, Piece)| Row {
        id: piece.piece.to_string(),
        words,
        more: piece.shape.as_str().replace('_', " "),
        version: versions.get(&piece.piece).copied().unwrap_or(0),
    };
    Ok((dies?, pieces.into_iter().map(row).collect()))
}

/// What the book made of the pieces of a melt so far, for who weighs one after the other without scripts.
///
/// # Errors
/// 404 for a melt that is not there.
pub fn graded_before(app: &App, visit: &Visit) -> Result<Markup, Problem> {
    let melt = MeltId(visit.asked.id("melt")?);
    let pieces = of_now(app, |reckoning| of_melt(reckoning.book(), melt))?;
    Ok(graded(&pieces))
}
