//! The pages about metal over HTTP: each asks the reckoning as of the day or position in its address.

use super::visit::may_open;
use super::{App, Seen, Visit, named};
use crate::accounts::stock::Stock;
use crate::accounts::{AsOf, Emptied, Heading, Losses, Reckoning, Subject};
use crate::domain::{
    CountedThing, JarId, LotId, Melt, MeltId, MeltInput, MeltState, SeriesCode, Stage, Stocktake,
};
use crate::http::figures::{as_of, asked_of};
use crate::http::metal_statement::metal_of;
use crate::http::problem::Problem;
use crate::http::query::Parameters;
use crate::http::{failed, private, traced};
use crate::metal::{MassDifference, Metal, Percent};
use crate::pages::metal::{self, Look, MeltSeen, Opened, SeriesSeen, Share, Standing, StatementSeen};
use crate::pages::workshop::Leaf;
use crate::views::Table;
use uuid::Uuid;

/// Where a spot price is noted.
const SPOT: &str = "/spots/new";

/// Answers from the reckoning as of what `at` in the address names, with what else stands in its query.
fn told(
    app: &App,
    visit: &Visit,
    page: impl FnOnce(&Reckoning, Standing, &mut Parameters) -> Result<Leaf, Problem>,
) -> Result<Seen, Problem> {
    let mut query = visit.asked.parameters()?;
    let asked: AsOf = as_of(&mut query)?;
    let leaf = asked_of(app, asked, |reckoning| {
        let standing = Standing::of(reckoning, asked, app.settings.workshop.zone);
        page(reckoning, standing, &mut query)
    })?;
    query.finish()?;
    Ok(leaf.into())
}

/// `/metal`: every metal and every series.
///
/// # Errors
/// 400 or 422 for an `at` that is none.
pub fn overview(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    told(app, visit, |reckoning, standing, _| {
        let metals = reckoning.metals();
        let statements: Vec<Result<_, Metal>> = metals
            .into_iter()
            .map(|metal| reckoning.statement(metal).map_err(|_| metal))
            .collect();
        let mut series = Vec::new();
        for row in reckoning.book().all_series() {
            series.push((row.code.to_string(), title_of(app, row.series.0)?));
        }
        series.sort();
        let money = super::visit::may_read(visit.role(), "/metal/stock");
        Ok(metal::overview(&statements, &series, money, standing))
    })
}

/// The public title of a series; none once it is erased.
fn title_of(app: &App, series: Uuid) -> Result<Option<String>, Problem> {
    let public = private::of_subject(app, series, None)?;
    Ok(public
        .get("title")
        .and_then(|title| title.as_str())
        .map(str::to_owned))
}

/// `/metal/{metal}`: where every gram of it is.
///
/// # Errors
/// 404 for a metal that there is not; as [`overview`].
pub fn statement(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let metal = metal_of(&visit.asked)?;
    told(app, visit, |reckoning, standing, _| {
        let statement = match reckoning.statement(metal) {
            Ok(statement) => statement,
            Err(why) => return Ok(metal::untold(metal, why, &standing)),
        };
        let received = reckoning
            .book()
            .lots()
            .filter(|lot| lot.metal == metal && lot.outturn_of.is_none() && lot.found_in.is_none());
        let mut lots: Vec<(u32, i64)> = received
            .map(|lot| (lot.number, lot.mass.mass().units()))
            .collect();
        lots.sort_unstable();
        let looks = looks_of(reckoning, &reckoning.losses(metal));
        Ok(metal::statement(&StatementSeen {
            statement: &statement,
            lots: &lots,
            looks: &looks,
            standing,
        }))
    })
}

fn looks_of(reckoning: &Reckoning, losses: &Losses) -> Vec<Look> {
    let book = reckoning.book();
    let mut counts: Vec<&Stocktake> = book.stocktakes().collect();
    counts.sort_by_key(|count| count.number);
    let counted = |what: CountedThing, id: Uuid| match what {
        CountedThing::Lot | CountedThing::Found => book
            .lot(LotId(id))
            .map(|lot| (lot.metal, format!("lot {}", lot.number))),
        CountedThing::Heel => book
            .melt(MeltId(id))
            .map(|melt| (melt.metal, format!("heel of melt {}", melt.number))),
        CountedThing::Jar => book
            .jar(JarId(id))
            .map(|jar| (jar.metal, reckoning.named(Subject::Jar(jar.jar)))),
    };
    metal::looks(losses, &jars_of(reckoning, losses.metal), &counts, counted)
}

/// The emptied jars of a metal with their names.
fn jars_of(reckoning: &Reckoning, metal: Metal) -> Vec<(Emptied, String)> {
    let named = |emptied: Emptied| {
        let jar = reckoning
            .book()
            .jar(emptied.jar)
            .filter(|jar| jar.metal == metal)?;
        Some((emptied, format!("{} jar, {}", jar.residue, jar.fineness)))
    };
    reckoning.emptyings(None).into_iter().filter_map(named).collect()
}

/// `/metal/{metal}/under/{heading}`: the movements behind a figure.
///
/// # Errors
/// 404 for a metal or heading that there is not; as [`overview`].
pub fn opened(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let metal = metal_of(&visit.asked)?;
    let heading: Heading = visit
        .asked
        .member("heading")
        .parse()
        .map_err(|()| Problem::not_found("a statement has no heading of that name"))?;
    told(app, visit, |reckoning, standing, query| {
        let from = query
            .index("from", "how many movements to pass over")?
            .unwrap_or(0);
        let from = usize::try_from(from).map_err(failed)?;
        let amount = reckoning.postings().amount(metal, heading);
        let movements = reckoning.opened(metal, heading, from).take(metal::PART);
        let movements = movements.map(|movement| {
            let (what, address) = (
                reckoning.named(movement.subject),
                address_of(reckoning, movement.subject),
            );
            (movement, what, address)
        });
        let movements: Vec<_> = movements.collect();
        Ok(metal::opened(&Opened {
            metal,
            heading,
            amount: amount.ok_or_else(|| failed("a sum beyond what can be written"))?,
            count: reckoning.postings().count(metal, heading),
            from,
            movements: &movements,
            standing,
        }))
    })
}

/// Where what moved is shown; none where it has no page.
fn address_of(reckoning: &Reckoning, subject: Subject) -> Option<String> {
    let (table, id) = match subject {
        Subject::Piece(piece) => return Some(piece_address(piece.0)),
        Subject::Melt(melt) => return Some(melt_address(reckoning.book().melt(melt)?)),
        Subject::Lot(lot) => (Table::Lot, lot.0),
        Subject::Jar(jar) => (Table::Jar, jar.0),
        Subject::Refining(refining) => (Table::Refining, refining.0),
    };
    named::page_of(table, id)
}

fn piece_address(piece: Uuid) -> String {
    format!("/pieces/{piece}")
}

fn melt_address(melt: &Melt) -> String {
    format!("/metal/melts/{}", melt.number)
}

/// `/metal/{metal}/losses`: what its melts lost and its jars were short of.
///
/// # Errors
/// As [`statement`].
pub fn losses(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let metal = metal_of(&visit.asked)?;
    told(app, visit, |reckoning, standing, _| {
        Ok(metal::losses(
            &reckoning.losses(metal),
            &jars_of(reckoning, metal),
            standing,
        ))
    })
}

/// `/metal/melts/{melt}`: what went into one and what came out, by its number or its id.
///
/// # Errors
/// 404 for a melt that is not known; as [`overview`].
pub fn melt(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let number: Option<u32> = visit.asked.member("melt").parse().ok();
    let id = visit.asked.id("melt").ok().map(MeltId);
    told(app, visit, |reckoning, standing, _| {
        let row = reckoning
            .book()
            .melts()
            .find(|melt| Some(melt.number) == number || Some(melt.melt) == id);
        let row = row.ok_or_else(|| Problem::not_found("there is no melt with that number"))?;
        let losses = reckoning.losses(row.metal);
        let (inputs, outputs) = (inputs_of(reckoning, row), outputs_of(reckoning, row));
        let sum = |shares: &[Share]| {
            shares
                .iter()
                .fold(0_i64, |sum, share| sum.saturating_add(share.units))
        };
        let rest = MassDifference::from_units(sum(&inputs).saturating_sub(sum(&outputs)));
        Ok(metal::melt(&MeltSeen {
            number: row.number,
            metal: row.metal,
            fineness: row.fineness,
            state: row.state,
            at: row.at,
            inputs: &inputs,
            outputs: &outputs,
            rest: row
                .loss
                .or(rest)
                .ok_or_else(|| failed("a sum beyond what can be written"))?,
            loss: losses.items.iter().find(|loss| loss.melt == row.melt),
            standing,
        }))
    })
}

fn inputs_of(reckoning: &Reckoning, melt: &Melt) -> Vec<Share> {
    let book = reckoning.book();
    let named = |input: &MeltInput| {
        let subject = match input {
            MeltInput::Lot { lot, .. } => Subject::Lot(*lot),
            MeltInput::Heel { melt, .. } => Subject::Melt(*melt),
            MeltInput::Jar { jar, .. } => Subject::Jar(*jar),
            MeltInput::Piece { piece, .. } => Subject::Piece(*piece),
        };
        let name = match input {
            MeltInput::Heel { melt, .. } => book
                .melt(*melt)
                .map(|melt| format!("Heel of melt {}", melt.number)),
            MeltInput::Piece { piece, .. } => book
                .piece(*piece)
                .map(|piece| format!("Condemned pour {}", piece.pour)),
            MeltInput::Lot { lot, .. } => book.lot(*lot).map(|lot| format!("Lot {}", lot.number)),
            MeltInput::Jar { jar, .. } => book.jar(*jar).map(|jar| format!("{} jar, emptied", jar.residue)),
        };
        Share {
            name: name.unwrap_or_else(|| reckoning.named(subject)),
            units: input.mass().units(),
            address: address_of(reckoning, subject),
        }
    };
    melt.inputs.iter().map(named).collect()
}

/// Pieces as they came from the mould, heel and prills, as the closing weighed them.
fn outputs_of(reckoning: &Reckoning, melt: &Melt) -> Vec<Share> {
    let pieces = melt.pieces.iter().filter_map(|id| {
        let piece = reckoning.book().piece(*id)?;
        let reading = piece
            .readings
            .iter()
            .rfind(|reading| reading.stage == Stage::FromMould)?;
        Some(Share {
            name: format!("Pour {}, {}", piece.pour, piece.shape),
            units: reading.mass.mass().units(),
            address: Some(piece_address(id.0)),
        })
    });
    let rests = [("Heel", melt.heel), ("Prills", melt.prills)];
    let rests = rests
        .into_iter()
        .filter(|_| melt.state == MeltState::Closed)
        .filter_map(|(name, mass)| {
            let units = mass?.units();
            (units != 0).then(|| Share {
                name: name.to_owned(),
                units,
                address: None,
            })
        });
    pieces.chain(rests).collect()
}

/// `/metal/series/{code}`: how its pieces weigh, and what became of them.
///
/// # Errors
/// 404 for a series that is not known; as [`overview`].
pub fn series(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    let code = SeriesCode::parse(visit.asked.member("code")).ok();
    told(app, visit, |reckoning, standing, _| {
        let row = reckoning
            .book()
            .all_series()
            .find(|series| Some(&series.code) == code.as_ref());
        let row = row.ok_or_else(|| Problem::not_found("there is no series with that code"))?;
        let title = title_of(app, row.series.0)?;
        Ok(metal::series(&SeriesSeen {
            code: &row.code.to_string(),
            title: title.as_deref(),
            weights: &reckoning.weights(row.series).unwrap_or_default(),
            yields: &reckoning.yields(row.series).unwrap_or_default(),
            standing,
        }))
    })
}

/// `/metal/stock`: what the stock is worth.
///
/// # Errors
/// As [`overview`]; 500 when the vault cannot be read.
pub fn stock(app: &App, visit: &Visit) -> Result<Seen, Problem> {
    told(app, visit, |reckoning, standing, _| {
        let prices = |lots: &[LotId]| traced::prices(app, lots, Some(visit.role()));
        let stock = Stock::of(reckoning, Percent::ZERO, prices)?;
        let notes = may_open(visit.role(), SPOT).then_some(SPOT);
        Ok(metal::stock(&stock, standing, notes))
    })
}
