//! Stock-takes: what was counted without the book at hand becomes what the book says, and the difference is a variance.
//!
//! Every variance is posted, with its sign; one that the readings do not explain (k = 2) is flagged by `explained`. In fine
//! metal it is reckoned as what it was counted against: a jar's at the jar's fineness, as when it is emptied. What a jar
//! holds of each melt is scaled to what it weighs: a share becomes share x weighed / book, rounded down to 10
//! micrograms, and what the roundings leave goes to the last one; a share that comes to nothing is left out. Metal that
//! the book did not know of becomes a lot with the fineness that its finder gives it, and stands against a variance below
//! zero: it is no receipt, and it cannot raise what the workshop has, since that fineness is at most the lowest that
//! the book has of the metal.
//!
//! A piece that was not seen keeps its state until somebody says what became of it. Deliberately absent: what the pieces
//! weigh (they are weighed by themselves), sweepings (no metal in the book), and open crucibles.

mod jar;
mod seen;

pub(in crate::domain) use seen::SEEN_MAX;

use jar::{missing, scaled};

use super::balances::root;
use super::{Amount, Book, Counted, Lot, LotCount, Melt, Stocktake, StocktakeLine, agree};
use crate::domain::{
    CountedThing, FinenessBasis, JarCounted, JarId, LotCounted, LotFound, LotId, MeltCounted, MeltId,
    MeltInput, Refusal, Residue, SessionId, Stamp, StocktakeId, StocktakeTaken,
};
use crate::metal::{Fineness, Mass, MassDifference, Metal, Reading, fine_mass};

/// The most lines of a stock-take: each moves a chain, as the stock-take does, and an entry moves 64.
pub(in crate::domain) const LINES_MAX: usize = 63;

/// What a line comes to.
pub(in crate::domain) struct Difference {
    expected: Mass,
    variance: MassDifference,
    uncertainty: Mass,
    explained: bool,
}

impl Book {
    pub(super) fn take_stock(&mut self, stamp: &Stamp, e: &StocktakeTaken) -> Result<(), Refusal> {
        self.free(e.stocktake.0)?;
        self.count(Counted::Stocktake, e.number)?;
        if let Some(session) = e.session {
            self.scale_in_session(session)?;
        }
        if let Some(pieces) = &e.pieces {
            agree(pieces, &self.reckon_seen(pieces.series, &pieces.seen)?)?;
        }
        let row = Stocktake {
            stocktake: e.stocktake,
            number: e.number,
            session: e.session,
            pieces: e.pieces.clone(),
            lines: Vec::new(),
            since: stamp.index,
            at: stamp.at,
        };
        self.stocktakes.put(e.stocktake, row);
        Ok(())
    }

    /// The number of the next stock-take.
    pub(in crate::domain) fn next_stocktake_number(&self) -> Result<u32, Refusal> {
        self.next(Counted::Stocktake)
    }

    pub(super) fn take_lot_count(&mut self, stamp: &Stamp, e: &LotCounted) -> Result<(), Refusal> {
        let session = self.session_of_stocktake(stamp, e.stocktake)?;
        let difference = self.reckon_lot_count(e.lot, session, &e.mass)?;
        agree(
            &(e.expected, e.variance, e.uncertainty, e.explained),
            &difference.stated(),
        )?;
        let mut lot = self.known_lot(e.lot)?.clone();
        lot.left = e.mass.mass();
        lot.variance = more(lot.variance, e.variance, lot.fineness)?;
        lot.counted = Some(LotCount {
            stocktake: e.stocktake,
            session,
            mass: e.mass.clone(),
            index: stamp.index,
        });
        self.lots.put(e.lot, lot);
        self.add_line(
            e.stocktake,
            session,
            difference.line(CountedThing::Lot, e.lot.0, &e.mass),
        )
    }

    /// A lot's last weighing, every draw since, and this reading.
    pub(in crate::domain) fn reckon_lot_count(
        &self,
        lot: LotId,
        session: SessionId,
        mass: &Reading,
    ) -> Result<Difference, Refusal> {
        let row = self.known_lot(lot)?;
        self.shown(session, mass)?;
        let (weighed_in, weighed, since) = match &row.counted {
            Some(count) => (count.session, &count.mass, count.index),
            None => (row.session, &row.mass, row.since),
        };
        let mut squares = self.squares(weighed_in, weighed.mass())?;
        for melt in self.melts().filter(|melt| melt.since > since) {
            for input in &melt.inputs {
                if let MeltInput::Lot { lot: drawn, mass } = input
                    && *drawn == lot
                {
                    squares = squares.saturating_add(self.squares(melt.session, mass.mass())?);
                }
            }
        }
        squares = squares.saturating_add(self.squares(session, mass.mass())?);
        Ok(Difference::of(row.left, mass.mass(), squares))
    }

    pub(super) fn take_heel_count(&mut self, stamp: &Stamp, e: &MeltCounted) -> Result<(), Refusal> {
        let session = self.session_of_stocktake(stamp, e.stocktake)?;
        let difference = self.reckon_heel_count(e.melt, session, &e.mass)?;
        agree(
            &(e.expected, e.variance, e.uncertainty, e.explained),
            &difference.stated(),
        )?;
        let mut melt = self.known_melt(e.melt)?.clone();
        melt.heel = Some(e.mass.mass());
        melt.variance = more(melt.variance, e.variance, melt.fineness)?;
        self.melts.put(e.melt, melt);
        self.add_line(
            e.stocktake,
            session,
            difference.line(CountedThing::Heel, e.melt.0, &e.mass),
        )
    }

    /// A heel as it was weighed before, reckoned by the scale of this session, and this reading.
    pub(in crate::domain) fn reckon_heel_count(
        &self,
        melt: MeltId,
        session: SessionId,
        mass: &Reading,
    ) -> Result<Difference, Refusal> {
        let row = self.closed_melt(melt)?;
        self.shown(session, mass)?;
        let (Some(heel), None) = (row.heel, row.heel_taken) else {
            return Err(Refusal::NoHeel { melt });
        };
        let squares = self
            .squares(session, heel)?
            .saturating_add(self.squares(session, mass.mass())?);
        Ok(Difference::of(heel, mass.mass(), squares))
    }

    pub(super) fn take_jar_count(&mut self, stamp: &Stamp, e: &JarCounted) -> Result<(), Refusal> {
        let session = self.session_of_stocktake(stamp, e.stocktake)?;
        let difference = self.reckon_jar_count(e.jar, session, &e.mass)?;
        agree(
            &(e.expected, e.variance, e.uncertainty, e.explained),
            &difference.stated(),
        )?;
        let mut jar = self.known_jar(e.jar)?.clone();
        let holds = scaled(&jar.holds, jar.mass, e.mass.mass())?;
        jar.missing = missing(jar.missing, &jar.holds, &holds)?;
        jar.holds = holds;
        jar.mass = e.mass.mass();
        jar.readings = 1;
        jar.variance = more(jar.variance, e.variance, jar.fineness)?;
        self.jars.put(e.jar, jar);
        self.add_line(
            e.stocktake,
            session,
            difference.line(CountedThing::Jar, e.jar.0, &e.mass),
        )
    }

    pub(in crate::domain) fn reckon_jar_count(
        &self,
        jar: JarId,
        session: SessionId,
        mass: &Reading,
    ) -> Result<Difference, Refusal> {
        let row = self.known_jar(jar)?;
        if row.residue == Residue::Sweeps {
            return Err(Refusal::SweepsNotCounted);
        }
        self.shown(session, mass)?;
        if row.mass.is_zero() && !mass.mass().is_zero() {
            return Err(Refusal::JarEmpty { jar });
        }
        let uncertainty = self.uncertainty_of_jar(row, session, mass.mass());
        let uncertainty = uncertainty.ok_or(Refusal::UnknownSession { session })?;
        Ok(Difference::within(row.mass, mass.mass(), uncertainty))
    }

    /// Found metal is the workshop's own, and its fineness is who found it's word.
    pub(super) fn take_found_lot(&mut self, stamp: &Stamp, e: &LotFound) -> Result<(), Refusal> {
        let session = self.session_of_stocktake(stamp, e.stocktake)?;
        self.free(e.lot.0)?;
        self.may_be_found(session, e.metal, e.fineness, &e.mass)?;
        self.count(Counted::Lot, e.number)?;
        let nothing = Amount::default();
        let gained = Mass::ZERO.minus(e.mass.mass());
        let lot = Lot {
            lot: e.lot,
            number: e.number,
            metal: e.metal,
            fineness: e.fineness,
            basis: FinenessBasis::Declared,
            mass: e.mass.clone(),
            invoiced: None,
            left: e.mass.mass(),
            owner: None,
            outturn_of: None,
            found_in: Some(e.stocktake),
            counted: None,
            variance: more(nothing, gained, e.fineness)?,
            session,
            since: stamp.index,
            at: stamp.at,
        };
        self.lots.put(e.lot, lot);
        let squares = self.squares(session, e.mass.mass())?;
        let difference = Difference::of(Mass::ZERO, e.mass.mass(), squares);
        self.add_line(
            e.stocktake,
            session,
            difference.line(CountedThing::Found, e.lot.0, &e.mass),
        )
    }

    /// Refuses metal of a fineness that nothing in the book bears out.
    pub(in crate::domain) fn may_be_found(
        &self,
        session: SessionId,
        metal: Metal,
        fineness: Fineness,
        mass: &Reading,
    ) -> Result<(), Refusal> {
        self.weighed(session, mass)?;
        if fineness == Fineness::ZERO {
            return Err(Refusal::FinenessImpossible);
        }
        if !metal.is_precious() && fineness != Fineness::PURE {
            return Err(Refusal::AlloyFineness);
        }
        let lots = self
            .lots()
            .filter(|lot| lot.metal == metal)
            .map(|lot| lot.fineness);
        let jars = self
            .jars()
            .filter(|jar| jar.metal == metal)
            .map(|jar| jar.fineness);
        let melts = self.melts().filter(|melt| melt.metal == metal);
        let melts = melts.map(Melt::reckoned_fineness);
        match lots.chain(jars).chain(melts).min() {
            Some(most) if fineness > most => Err(Refusal::FoundTooFine { metal, most }),
            _ => Ok(()),
        }
    }

    /// The square of the uncertainty (k = 2) of a reading of a session.
    fn squares(&self, session: SessionId, load: Mass) -> Result<u128, Refusal> {
        let scale = self.known_scale(self.known_session(session)?.scale)?;
        Ok(Self::wobble_squared(scale, load))
    }

    /// The session of a stock-take that stands in the same entry: nothing is counted outside one.
    fn session_of_stocktake(&self, stamp: &Stamp, id: StocktakeId) -> Result<SessionId, Refusal> {
        let row = self.known_stocktake(id)?;
        if row.since != stamp.index {
            return Err(Refusal::Contradicts {
                says: format!("something is counted in entry {}", stamp.index),
                reckons: format!("the stock-take of entry {}", row.since),
            });
        }
        row.session.ok_or(Refusal::LineImpossible {
            why: "what is weighed in a stock-take is weighed in a session",
        })
    }

    fn add_line(&mut self, id: StocktakeId, session: SessionId, line: StocktakeLine) -> Result<(), Refusal> {
        let mut row = self.known_stocktake(id)?.clone();
        if row.lines.iter().any(|other| other.id == line.id) {
            return Err(Refusal::NamedTwice { id: line.id });
        }
        row.lines.push(line);
        self.stocktakes.put(id, row);
        self.count_readings(session, 1)
    }
}

/// What was expected, the variance, its uncertainty, and whether that explains it: as an event states them.
type Stated = (Mass, MassDifference, Mass, bool);

impl Difference {
    fn of(expected: Mass, weighed: Mass, squares: u128) -> Self {
        Self::within(expected, weighed, root(squares))
    }

    fn within(expected: Mass, weighed: Mass, uncertainty: Mass) -> Self {
        let variance = expected.minus(weighed);
        Self {
            expected,
            variance,
            uncertainty,
            explained: variance.magnitude() <= uncertainty,
        }
    }

    pub(in crate::domain) const fn stated(&self) -> Stated {
        (self.expected, self.variance, self.uncertainty, self.explained)
    }

    fn line(&self, what: CountedThing, id: uuid::Uuid, mass: &Reading) -> StocktakeLine {
        StocktakeLine {
            what,
            id,
            mass: mass.clone(),
            expected: self.expected,
            variance: self.variance,
            uncertainty: self.uncertainty,
            explained: self.explained,
        }
    }
}

/// A variance added to those of before.
fn more(before: Amount, variance: MassDifference, fineness: Fineness) -> Result<Amount, Refusal> {
    let fine = fine_mass(variance.magnitude(), fineness);
    let fine = match variance.is_negative() {
        true => before.fine.checked_sub(fine),
        false => before.fine.checked_add(fine),
    };
    Ok(Amount {
        mass: super::sum_differences(before.mass, variance)?,
        fine: fine.ok_or_else(too_much)?,
    })
}

fn too_much() -> Refusal {
    Refusal::Contradicts {
        says: "a sum of variances".to_owned(),
        reckons: format!("at most {} g", Mass::MAX),
    }
}
