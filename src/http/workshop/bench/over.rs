//! What one sees after a check of a scale, and of a melt once it is charged or weighed out.

use super::{App, Seen, Visit, of_now, scale_words};
use crate::accounts::{Remedy, SuspectReading};
use crate::domain::{Melt, MeltId, MeltState, SessionId, SessionState, Stage};
use crate::http::problem::Problem;
use crate::http::readings;
use crate::metal::Mass;
use crate::pages::workshop::bench::{self, Balance, Doubtful, SessionOver};
use crate::pages::workshop::stands;
use rust_decimal::Decimal;

/// `GET /bench/sessions/{session}`.
///
/// # Errors
/// 404 for a session that is not there.
pub fn session(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let id = SessionId(visit.asked.id("session")?);
    let found = of_now(app, |reckoning| {
        let row = reckoning.book().session(id).cloned();
        let scale = row
            .as_ref()
            .and_then(|row| reckoning.book().scale(row.scale).cloned());
        let suspicion = readings::suspicion(app, reckoning, id)?;
        Ok::<_, Problem>((row, scale, suspicion))
    })??;
    let (Some(row), Some(scale), Some(suspicion)) = found else {
        return Err(Problem::not_found(format!("there is no session {id}")));
    };
    let page = SessionOver {
        scale: scale_words(app, visit, &scale)?,
        readings: row.readings,
        open: row.state == SessionState::Open,
        failed: suspicion
            .check
            .as_ref()
            .map(|check| (check.nominal.to_string(), check.reading.to_string())),
        suspect: suspicion.readings.iter().map(doubtful).collect(),
        decisions: suspicion
            .decisions
            .iter()
            .map(|decision| {
                let what = format!("{} of {}", decision.kind.replace('_', " "), decision.name);
                (what, with_unit(&decision.recorded), with_unit(&decision.offset))
            })
            .collect(),
    };
    Ok(bench::session(&page).into())
}

/// A figure of a decision is in grams; a grade is a word.
fn with_unit(told: &str) -> String {
    match told.parse::<Decimal>() {
        Ok(_) => format!("{told} g"),
        Err(_) => told.replace('_', " "),
    }
}

/// A reading in doubt, and what is to be done about it.
fn doubtful(reading: &SuspectReading) -> Doubtful {
    let (again, remedy) = match &reading.remedy {
        Remedy::WeighAgain => (true, "weigh again".to_owned()),
        Remedy::WeighedAgain { again } => (false, format!("weighed again in entry {again}")),
        Remedy::Gone { state: Some(state) } => (false, format!("not as it was weighed: {}", stands(*state))),
        Remedy::Gone { state: None } => (false, "not as it was weighed any more".to_owned()),
    };
    Doubtful {
        what: reading.name.clone(),
        mass: reading.mass.to_string(),
        again,
        remedy,
    }
}

/// `GET /bench/melts/{melt}`.
///
/// # Errors
/// 404 for a melt that is not there.
pub fn melt(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let id = MeltId(visit.asked.id("melt")?);
    let found = of_now(app, |reckoning| {
        let book = reckoning.book();
        let melt = book.melt(id)?.clone();
        let masses = melt.pieces.iter().filter_map(|piece| {
            let readings = &book.piece(*piece)?.readings;
            readings.iter().rfind(|reading| reading.stage == Stage::FromMould)
        });
        let poured = Mass::checked_sum(masses.map(|reading| reading.mass.mass()));
        Some((melt, poured.unwrap_or_default()))
    })?;
    let (melt, poured) = found.ok_or_else(|| Problem::not_found(format!("there is no melt {id}")))?;
    Ok(bench::melt(&balance(&melt, poured)).into())
}

/// An uncertainty as it is read at the bench: to 0.01 g, rounded up.
fn hundredths_up(mass: Mass) -> Option<Mass> {
    let units = u64::try_from(mass.units()).ok()?;
    let up = units.div_ceil(1_000).checked_mul(1_000)?;
    Mass::from_units(i64::try_from(up).ok()?)
}

fn balance(melt: &Melt, poured: Mass) -> Balance {
    let closed = melt.state == MeltState::Closed;
    let mut lines = vec![
        ("Charged".to_owned(), format!("{} g", melt.charge)),
        (
            "Fineness as declared".to_owned(),
            format!("{} {}", melt.metal, melt.fineness),
        ),
        (
            format!("{} pieces from the mould", melt.pieces.len()),
            format!("{poured} g"),
        ),
    ];
    lines.extend(melt.heel.map(|heel| ("Heel".to_owned(), format!("{heel} g"))));
    lines.extend(
        melt.prills
            .map(|prills| ("Prills".to_owned(), format!("{prills} g"))),
    );
    lines.extend(
        melt.loss
            .map(|loss| ("Melt loss".to_owned(), format!("{loss} g"))),
    );
    let says = match melt.uncertainty.and_then(hundredths_up) {
        Some(uncertainty) if melt.is_loss_flagged() => format!(
            "More came out than went in, by more than the readings explain (±{uncertainty} g at k = 2): look for a slip."
        ),
        Some(uncertainty) => format!("The loss is known to ±{uncertainty} g (k = 2)."),
        None => String::new(),
    };
    let mut next = match closed {
        true => Vec::new(),
        false => vec![
            (format!("/bench/melts/{}/pours", melt.melt), "Pour".to_owned()),
            (
                format!("/bench/tray?melt={}", melt.melt),
                "Weigh the tray".to_owned(),
            ),
        ],
    };
    next.push(("/bench".to_owned(), "To the bench".to_owned()));
    Balance {
        number: melt.number,
        closed,
        lines,
        says,
        next,
    }
}
