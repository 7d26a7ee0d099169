//! The book: the state that decisions need, and the rules by which events are taken.
//!
//! Every rule stands here, once. A decision only derives values and hands its events to [`Book::take`]; recovery and
//! audit hand it events that somebody else wrote. So a rule never trusts an event: what can be reckoned is reckoned
//! again and compared. A rule writes nothing before it has checked everything it checks, and an event that is refused
//! leaves no trace.
//!
//! Deliberately absent: names, notes and money (private members), keys (the floor above follows them), and the clock.

mod after;
mod assay;
mod balances;
mod certificates;
mod corrections;
mod dies;
mod grading;
mod gravities;
mod lots;
mod masses;
mod melts;
mod office;
mod orders;
mod owed;
mod owners;
mod photographs;
mod pieces;
mod prices;
mod refining;
mod rows;
mod sales;
mod scales;
mod second_look;
mod series;
mod standing;
mod stock;
mod stocktakes;
mod table;
mod taking;

pub use balances::is_flagged;
pub use masses::{Amount, MassStatement, StateMass};
pub use rows::*;
pub use stock::Availability;
pub(in crate::domain) use stocktakes::{LINES_MAX, SEEN_MAX};

use super::{
    CertificateId, ChargeId, ConsignmentId, DieId, Event, JarId, LotId, MeltId, OrderId, OwnerId, PieceId,
    QuoteId, RefiningId, Refusal, SaleId, ScaleId, SeriesCode, SeriesId, SessionId, Shape, SpotId, Stamp,
    StocktakeId, Told,
};
use crate::metal::{Mass, MassDifference};
use owed::Due;
pub(in crate::domain) use owed::Owed;
pub(in crate::domain) use owners::Owners;
use serde::Serialize;
use stock::Stock;
use table::Table;
use uuid::Uuid;

macro_rules! tables {
    ($($table:ident: $id:ident => $row:ident, $one:ident, $all:ident, $known:ident, $unknown:ident;)*) => {
        /// The book of one workshop, as far as its events have told.
        #[derive(Clone, Debug, Default, PartialEq)]
        pub struct Book {
            $($table: Table<$id, $row>,)*
            /// Which series has a code.
            codes: Table<SeriesCode, SeriesId>,
            /// Private members that were erased: entry, event, member.
            erased: Table<(u64, u16, String), u64>,
            /// What the newest entry still owes.
            due: Table<(), Due>,
            /// What can be had of each shape of an edition.
            stock: Table<(SeriesId, Shape), Stock>,
            /// What corrected entries say from now on, by index.
            restated: Table<u64, Vec<Told>>,
            /// The last number of things that are counted.
            numbers: Table<Counted, u32>,
        }

        /// Where every journal stood.
        pub(in crate::domain) struct Mark {
            $($table: usize,)*
            codes: usize,
            erased: usize,
            due: usize,
            stock: usize,
            restated: usize,
            numbers: usize,
        }

        impl Book {
            $(
                /// The row of an id.
                #[must_use]
                pub fn $one(&self, id: $id) -> Option<&$row> {
                    self.$table.find(&id)
                }

                /// Every row, in no particular order.
                pub fn $all(&self) -> impl Iterator<Item = &$row> {
                    self.$table.rows()
                }

                /// The row of an id that must be there.
                #[allow(dead_code, reason = "no rule looks up a quotation or a charge: nothing rests on one")]
                pub(in crate::domain) fn $known(&self, $one: $id) -> Result<&$row, Refusal> {
                    self.$table.find(&$one).ok_or(Refusal::$unknown { $one })
                }
            )*

            /// Whether an id is not yet anything's: chains are told apart by id alone.
            fn is_free(&self, id: Uuid) -> bool {
                true $(&& self.$table.find(&$id(id)).is_none())*
            }

            /// Where the journals stand.
            pub(in crate::domain) fn mark(&self) -> Mark {
                Mark {
                    $($table: self.$table.mark(),)*
                    codes: self.codes.mark(),
                    erased: self.erased.mark(),
                    due: self.due.mark(),
                    stock: self.stock.mark(),
                    restated: self.restated.mark(),
                    numbers: self.numbers.mark(),
                }
            }

            /// Undoes what was done since `mark`.
            pub(in crate::domain) fn rewind(&mut self, mark: &Mark) {
                $(self.$table.rewind(mark.$table);)*
                self.codes.rewind(mark.codes);
                self.erased.rewind(mark.erased);
                self.due.rewind(mark.due);
                self.stock.rewind(mark.stock);
                self.restated.rewind(mark.restated);
                self.numbers.rewind(mark.numbers);
            }

            /// Closes the journal: what was taken since the last time stays. Which rows changed, each once.
            pub fn keep(&mut self) -> Vec<Touched> {
                self.codes.keep();
                self.erased.keep();
                self.due.keep();
                self.stock.keep();
                self.restated.keep();
                self.numbers.keep();
                let mut touched = Vec::new();
                $(touched.extend(self.$table.keep().into_iter().map(Touched::$row));)*
                touched
            }

            /// Which rows another book has otherwise or not yet, and which it has that are not here.
            #[must_use]
            pub fn differences(&self, before: &Self) -> (Vec<Touched>, Vec<Touched>) {
                let mut touched = Vec::new();
                let mut gone = Vec::new();
                $(
                    let changed = self.$table.entries().filter(|(id, row)| before.$table.find(id) != Some(*row));
                    touched.extend(changed.map(|(id, _)| Touched::$row(*id)));
                    let lost = before.$table.entries().filter(|(id, _)| self.$table.find(id).is_none());
                    gone.extend(lost.map(|(id, _)| Touched::$row(*id)));
                )*
                touched.sort_unstable();
                gone.sort_unstable();
                (touched, gone)
            }

            /// Undoes everything that was taken since the last [`Book::keep`].
            pub fn undo(&mut self) {
                $(self.$table.rewind(0);)*
                self.codes.rewind(0);
                self.erased.rewind(0);
                self.due.rewind(0);
                self.stock.rewind(0);
                self.restated.rewind(0);
                self.numbers.rewind(0);
            }
        }
    };
}

tables! {
    lots: LotId => Lot, lot, lots, known_lot, UnknownLot;
    scales: ScaleId => Scale, scale, scales, known_scale, UnknownScale;
    sessions: SessionId => Session, session, sessions, known_session, UnknownSession;
    jars: JarId => Jar, jar, jars, known_jar, UnknownJar;
    series: SeriesId => Series, series, all_series, known_series, UnknownSeries;
    melts: MeltId => Melt, melt, melts, known_melt, UnknownMelt;
    pieces: PieceId => Piece, piece, pieces, known_piece, UnknownPiece;
    certificates: CertificateId => Certificate, certificate, certificates, known_certificate, UnknownCertificate;
    dies: DieId => Die, die, dies, known_die, UnknownDie;
    consignments: ConsignmentId => Consignment, consignment, consignments, known_consignment, UnknownConsignment;
    orders: OrderId => Order, order, orders, known_order, UnknownOrder;
    sales: SaleId => Sale, sale, sales, known_sale, UnknownSale;
    refinings: RefiningId => Refining, refining, refinings, known_refining, UnknownRefining;
    owners: OwnerId => Owner, owner, owners, known_owner, UnknownOwner;
    stocktakes: StocktakeId => Stocktake, stocktake, stocktakes, known_stocktake, UnknownStocktake;
    spots: SpotId => Spot, spot, spots, known_spot, UnknownSpot;
    quotes: QuoteId => Quote, quote, quotes, known_quote, UnknownQuote;
    charges: ChargeId => Charge, charge, charges, known_charge, UnknownCharge;
}

impl Book {
    /// Takes one event that stands in the log, in the order of the log, by the same rules by which it was decided.
    ///
    /// # Errors
    /// The fact that forbids it; [`Refusal::Contradicts`] when the event says what the book reckons otherwise. Then the
    /// book is as it was before.
    pub fn take(&mut self, stamp: &Stamp, event: &Event) -> Result<(), Refusal> {
        let mark = self.mark();
        let taken = self.follow(stamp, event).and_then(|()| self.apply(stamp, event));
        match taken {
            Ok(()) => self.recount(&mark),
            Err(_) => self.rewind(&mark),
        }
        taken
    }

    /// Refuses an id that something already has.
    fn free(&self, id: Uuid) -> Result<(), Refusal> {
        if self.is_free(id) {
            Ok(())
        } else {
            Err(Refusal::IdTaken { id })
        }
    }
}

/// Refuses an event that says what the book reckons otherwise.
fn agree<T: PartialEq + Serialize>(says: &T, reckons: &T) -> Result<(), Refusal> {
    if says == reckons {
        return Ok(());
    }
    let text = |value: &T| serde_json::to_string(value).unwrap_or_default();
    Err(Refusal::Contradicts {
        says: text(says),
        reckons: text(reckons),
    })
}

/// Things that are counted from 1, each kind for itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Counted {
    Lot,
    Melt,
    Consignment,
    Order,
    Sale,
    Refining,
    Stocktake,
    Quote,
}

impl Book {
    /// The next number of its kind.
    fn next(&self, counted: Counted) -> Result<u32, Refusal> {
        let last = self.numbers.find(&counted).copied().unwrap_or(0);
        last.checked_add(1).ok_or(Refusal::TooMany {
            count: usize::MAX,
            most: 4_294_967_295,
        })
    }

    /// Before an entry is decided anew: the numbers that it gave are the next ones, also where what stood before them was withdrawn.
    pub(in crate::domain) fn number_again(&mut self, events: &[Event]) {
        let mut first = std::collections::HashSet::new();
        for (counted, number) in events.iter().filter_map(number_given) {
            let before = number.saturating_sub(1);
            let last = self.numbers.find(&counted).copied().unwrap_or(0);
            if first.insert(counted) && last < before {
                self.numbers.put(counted, before);
            }
        }
    }

    /// A thing has its number: the next one. Only where a correction withdrew things may there be a gap, since what came
    /// after them keeps its numbers.
    fn count(&mut self, counted: Counted, number: u32) -> Result<(), Refusal> {
        let next = self.next(counted)?;
        if number < next || !self.has_corrections() {
            agree(&number, &next)?;
        }
        self.numbers.put(counted, number);
        Ok(())
    }
}

/// The number that an event gives to what it makes.
fn number_given(event: &Event) -> Option<(Counted, u32)> {
    Some(match event {
        Event::LotReceived(e) => (Counted::Lot, e.number),
        Event::LotFound(e) => (Counted::Lot, e.number),
        Event::LotOutturned(e) => (Counted::Lot, e.number),
        Event::MeltCharged(e) => (Counted::Melt, e.number),
        Event::ConsignmentSent(e) => (Counted::Consignment, e.number),
        Event::OrderRecorded(e) => (Counted::Order, e.number),
        Event::SaleMade(e) => (Counted::Sale, e.number),
        Event::RefiningSent(e) => (Counted::Refining, e.number),
        Event::StocktakeTaken(e) => (Counted::Stocktake, e.number),
        Event::QuoteMade(e) => (Counted::Quote, e.number),
        _ => return None,
    })
}

/// The sum of masses; refused beyond what a mass can hold.
fn sum(masses: impl IntoIterator<Item = Mass>) -> Result<Mass, Refusal> {
    Mass::checked_sum(masses).ok_or_else(|| Refusal::Contradicts {
        says: "a sum of masses".to_owned(),
        reckons: format!("at most {} g", Mass::MAX),
    })
}

/// The sum of two differences; refused beyond what one can hold.
fn sum_differences(a: MassDifference, b: MassDifference) -> Result<MassDifference, Refusal> {
    a.units()
        .checked_add(b.units())
        .and_then(MassDifference::from_units)
        .ok_or_else(|| Refusal::Contradicts {
            says: "a sum of differences".to_owned(),
            reckons: format!("at most {} g", Mass::MAX),
        })
}

/// Refuses a list in which something stands twice.
fn once(ids: impl IntoIterator<Item = Uuid>) -> Result<(), Refusal> {
    let mut seen = std::collections::HashSet::new();
    match ids.into_iter().find(|id| !seen.insert(*id)) {
        Some(id) => Err(Refusal::NamedTwice { id }),
        None => Ok(()),
    }
}
