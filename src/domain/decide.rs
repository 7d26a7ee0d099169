//! Decisions: from a command to the events of one entry, or to the refusal that names the fact that forbids.
//!
//! A decision only derives values - ids, numbers, losses, grades - and hands each event to [`Book::take`] as it is made,
//! so that the rules stand in one place and every event is decided on what the one before it left.
//! Deliberately absent: entries, signatures, and remembering requests.

mod after;
mod assay;
mod metal;
mod office;
mod orders;
mod pieces;
mod prices;
mod refining;
mod sales;
mod stocktake;
mod strikes;

use super::book::Book;
use super::command::{Command, CorrectEntries};
use super::draw::{Moment, Stamp};
use super::event::Event;
use super::private::Private;
use super::refusal::{Refusal, Refused};
use uuid::Uuid;

pub use prices::QuoteInputs;

/// The most things that one command may name.
pub const ITEMS_MAX: usize = 64;
/// The most characters of a private text.
pub const TEXT_CHARACTERS_MAX: usize = 2_000;

/// An event that was decided, and the values of its private members.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// The event.
    pub event: Event,
    /// Its private members.
    pub private: Private,
}

/// One decision under way: the book, where its entry will stand, and what it has made so far.
pub(in crate::domain) struct Decision<'a> {
    book: &'a mut Book,
    stamp: Stamp,
    moment: &'a mut Moment,
    drafts: Vec<Draft>,
}

impl Book {
    /// Decides a command for the entry that will stand at `stamp_index`: derives its events and takes each of them.
    /// The journal is left open: the caller keeps the changes once they are durable, or undoes them.
    ///
    /// # Errors
    /// The fact that forbids, and which member of the command it is about; then this command has changed nothing.
    ///
    /// # Panics
    /// When a decision leaves out an event that its own events ask for: only a bug of this module can.
    pub fn decide(
        &mut self,
        stamp_index: u64,
        command: &Command,
        moment: &mut Moment,
    ) -> Result<Vec<Draft>, Refused> {
        let mark = self.mark();
        let mut decision = Decision::at(self, stamp_index, moment);
        match decision.make(command) {
            Ok(()) => {
                let Decision { book, drafts, .. } = decision;
                assert!(
                    book.owed().is_empty(),
                    "a decision makes every event that its events ask for"
                );
                Ok(drafts)
            }
            Err(refused) => {
                self.rewind(&mark);
                Err(refused)
            }
        }
    }

    /// What deciding a command would come to: it is decided and undone, and the book is as it was before.
    ///
    /// # Errors
    /// As [`Book::decide`].
    pub fn would(&mut self, stamp_index: u64, command: &Command, moment: &mut Moment) -> Result<(), Refused> {
        let mark = self.mark();
        let decided = self.decide(stamp_index, command, moment);
        self.rewind(&mark);
        decided.map(|_| ())
    }
}

impl<'a> Decision<'a> {
    /// A decision for the entry that will stand at `index`.
    pub(in crate::domain) const fn at(book: &'a mut Book, index: u64, moment: &'a mut Moment) -> Self {
        let stamp = Stamp {
            index,
            at: moment.now,
            by: moment.by,
        };
        Self {
            book,
            stamp,
            moment,
            drafts: Vec::new(),
        }
    }

    /// The book as it is by now.
    pub(in crate::domain) const fn book(&self) -> &Book {
        self.book
    }

    /// The events that were made.
    pub(in crate::domain) fn drafts(self) -> Vec<Draft> {
        self.drafts
    }
}

macro_rules! makes {
    ($($command:ident $make:ident,)*) => {
        impl Decision<'_> {
            /// Decides a command by its own function.
            fn make(&mut self, command: &Command) -> Result<(), Refused> {
                match command {
                    $(Command::$command(c) => self.$make(c),)*
                }
            }
        }
    };
}

// Which function decides which command. The table has every one, or it does not compile.
makes! {
    ReceiveLot receive_lot,
    RegisterScale register_scale,
    OpenSession open_session,
    CheckSession check_session,
    CloseSession close_session,
    OpenJar open_jar,
    OpenSeries open_series,
    ChargeMelt charge_melt,
    PourPieces pour_pieces,
    WeighPieces weigh_pieces,
    MeasureGravity measure_gravity,
    PhotographPiece photograph_piece,
    FaultPiece fault_piece,
    FinishPieces finish_pieces,
    CloseMelt close_melt,
    MovePiece move_piece,
    CondemnPiece condemn_piece,
    GiveSerials give_serials,
    NumberPieces number_pieces,
    IssueCertificates issue_certificates,
    SupersedeCertificate supersede_certificate,
    PrintCertificates print_certificates,
    EraseField erase_field,
    SetClock set_clock,
    RevokeOperator revoke_operator,
    CorrectEntries correct_entries,
    RegisterDie register_die,
    DisposeDie dispose_die,
    StrikePieces strike_pieces,
    ArchivePiece archive_piece,
    CloseSeries close_series,
    SendConsignment send_consignment,
    ReturnConsignment return_consignment,
    SparePieces spare_pieces,
    RecordOrder record_order,
    CancelOrder cancel_order,
    ReservePiece reserve_piece,
    ReleasePiece release_piece,
    SellPieces sell_pieces,
    CancelSale cancel_sale,
    HandOverPieces hand_over_pieces,
    DispatchPieces dispatch_pieces,
    DeliverPieces deliver_pieces,
    LosePieces lose_pieces,
    FindPiece find_piece,
    SendBackPieces send_back_pieces,
    ReturnPiece return_piece,
    RestockPiece restock_piece,
    BuyBackPiece buy_back_piece,
    StealPiece steal_piece,
    RecoverPiece recover_piece,
    DestroyPiece destroy_piece,
    RegisterOwner register_owner,
    AgreeMixing agree_mixing,
    GatherSweeps gather_sweeps,
    SendToRefiner send_to_refiner,
    ReturnRefining return_refining,
    TakeStock take_stock,
    RecordSpot record_spot,
    MakeQuote make_quote,
    RecordCharge record_charge,
}

impl Decision<'_> {
    /// A correction is decided on the past, which the book does not hold: see `Correcting`.
    fn correct_entries(&mut self, _: &CorrectEntries) -> Result<(), Refused> {
        Err(Refusal::CorrectsNothing.into())
    }

    /// Takes an event without private members; a refusal has no pointer yet.
    fn add(&mut self, event: impl Into<Event>) -> Result<(), Refusal> {
        self.add_with(event, Private::none())
    }

    /// Takes an event with its private members.
    pub(in crate::domain) fn add_with(
        &mut self,
        event: impl Into<Event>,
        private: Private,
    ) -> Result<(), Refusal> {
        let event = event.into();
        self.book.take(&self.stamp, &event)?;
        self.drafts.push(Draft { event, private });
        Ok(())
    }

    fn fresh(&mut self) -> Uuid {
        self.moment.draw.uuid()
    }
}

/// Points a refusal at the member of the command that it is about: what a reading shows at the reading, a session that
/// is not there or not open at the session, everything else at the thing.
fn pointed(refusal: Refusal, thing: &str, reading: &str, session: &str) -> Refused {
    let pointer = match &refusal {
        Refusal::ZeroMass
        | Refusal::TooFineForScale { .. }
        | Refusal::AboveScale { .. }
        | Refusal::CheckNotHeld { .. }
        | Refusal::LotOverdrawn { .. }
        | Refusal::HeavierThanBefore { .. } => reading,
        Refusal::UnknownSession { .. } | Refusal::SessionNotOpen { .. } | Refusal::ScaleNoBetter { .. } => {
            session
        }
        _ => thing,
    };
    refusal.at(pointer)
}

/// Refuses an empty list, one that is too long, and one in which something stands twice.
fn listed(ids: impl ExactSizeIterator<Item = Uuid>, list: &str, member: &str) -> Result<(), Refused> {
    counted(ids.len(), list)?;
    let mut seen = std::collections::HashSet::new();
    for (place, id) in ids.enumerate() {
        if !seen.insert(id) {
            return Err(Refusal::NamedTwice { id }.at(format!("{list}/{place}{member}")));
        }
    }
    Ok(())
}

/// Refuses a list that is empty or too long.
pub(in crate::domain) fn counted(count: usize, list: &str) -> Result<(), Refused> {
    match count {
        0 => Err(Refusal::NothingNamed.at(list)),
        1..=ITEMS_MAX => Ok(()),
        _ => Err(Refusal::TooMany {
            count,
            most: ITEMS_MAX,
        }
        .at(list)),
    }
}

/// Refuses several lists that are all empty, or too long together.
fn counted_together(count: usize) -> Result<(), Refused> {
    counted(count, "").map_err(|refused| refused.refusal.into())
}

/// Refuses a text that is too long; names the member.
pub(in crate::domain) fn short(texts: &[(&str, &Option<String>)]) -> Result<(), Refused> {
    for (member, text) in texts {
        let long = |text: &String| text.chars().nth(TEXT_CHARACTERS_MAX).is_some();
        if text.as_ref().is_some_and(long) {
            let characters_max = TEXT_CHARACTERS_MAX;
            return Err(Refusal::TextTooLong { characters_max }.at(format!("/{member}")));
        }
    }
    Ok(())
}
