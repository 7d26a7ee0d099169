//! The invented workshop at work: a clock that moves, hands that are not quite steady, and a desk that records.

use super::ledger::Ledger;
use super::pictures::{Shown, kept};
use crate::cli::Failure;
use crate::domain::{
    Command, Draw, Event, OperatorId, PhotographPiece, PhotographSide, PhotographStage, PieceId, Timestamp,
};
use crate::log::PhotographFiles;
use crate::metal::{Mass, Reading};
use crate::writer::{Ask, Desk, Recorded, Submission};
use uuid::Uuid;

/// One milligram in steps of 10 micrograms.
pub const MILLIGRAM: i64 = 100;
/// One gram in steps of 10 micrograms.
pub const GRAM: i64 = 100_000;

/// What requests about pictures are drawn from.
const PICTURES: [u8; 32] = *b"what the telephone saw of it all";

/// The workshop.
pub struct Workshop {
    desk: Desk,
    pub(super) now: Timestamp,
    draw: Draw,
    chance: u64,
    maker: OperatorId,
    photographs: PhotographFiles,
    /// Another stream than that of the story, which therefore goes on as if nobody took pictures.
    pictures: Draw,
    /// What really happened.
    pub ledger: Ledger,
}

impl Workshop {
    /// A workshop that begins at `now`; the same seed makes the same book.
    #[must_use]
    pub fn new(desk: Desk, now: Timestamp, seed: [u8; 32], photographs: PhotographFiles) -> Self {
        let mut draw = Draw::new(seed);
        let maker = OperatorId(draw.uuid());
        Self {
            desk,
            now,
            draw,
            chance: 1_234_567,
            maker,
            photographs,
            pictures: Draw::new(PICTURES),
            ledger: Ledger::default(),
        }
    }

    /// The book as it stands.
    #[must_use]
    pub const fn book(&self) -> &crate::domain::Book {
        self.desk.book()
    }

    /// Lets time pass, in minutes.
    pub fn wait(&mut self, minutes: i64) {
        self.now = Timestamp(self.now.0.saturating_add(minutes.saturating_mul(60)));
    }

    /// Lets days pass, until the workshop opens again.
    pub fn days(&mut self, days: i64) {
        let morning = self.now.0.saturating_sub(self.now.0.rem_euclid(86_400)) + 8 * 3_600;
        self.now = Timestamp(
            morning
                .saturating_add(days.saturating_mul(86_400))
                .max(self.now.0),
        );
    }

    /// Records a command; the story makes none that the book should refuse.
    ///
    /// # Errors
    /// [`Failure`] with the refusal.
    pub fn record(&mut self, command: impl Into<Command>) -> Result<Recorded, Failure> {
        let (request, seed) = (self.draw.uuid(), self.draw.bytes());
        let recorded = self.submit(request, seed, command.into());
        self.wait(2);
        recorded
    }

    /// Somebody takes a picture, which is kept and recorded.
    ///
    /// # Errors
    /// [`Failure`] with the refusal, or if the disk fails.
    pub(super) fn photograph(
        &mut self,
        piece: PieceId,
        (shown, grain): (Shown, i64),
        stage: PhotographStage,
        side: PhotographSide,
    ) -> Result<(), Failure> {
        let developed = kept(shown, grain)?;
        let keep = |bytes: &[u8]| self.photographs.keep(bytes).map_err(Failure::unusable);
        let command = PhotographPiece {
            piece,
            photograph: keep(&developed.photograph)?,
            thumbnail: keep(&developed.thumbnail)?,
            width: developed.width,
            height: developed.height,
            stage,
            side,
        };
        let (request, seed) = (self.pictures.uuid(), self.pictures.bytes());
        self.submit(request, seed, command.into()).map(|_| ())
    }

    fn submit(&mut self, request: Uuid, seed: [u8; 32], command: Command) -> Result<Recorded, Failure> {
        let name = command.name();
        let submission = Submission {
            request,
            by: self.maker,
            at: None,
            expected: Vec::new(),
            ask: Ask::Command(command),
        };
        let outcomes = self
            .desk
            .turn(self.now, seed, vec![submission])
            .map_err(Failure::unusable)?;
        self.ledger.entries = self.ledger.entries.saturating_add(1);
        let outcome = outcomes
            .into_iter()
            .next()
            .ok_or_else(|| Failure::unusable("the desk gave no answer"))?;
        outcome.map_err(|error| Failure::unusable(format!("{name}: {error}")))
    }

    /// The first event of a kind that a command made.
    ///
    /// # Errors
    /// [`Failure`] if there is none: a bug of the story.
    pub fn event<T>(recorded: &Recorded, pick: impl Fn(&Event) -> Option<T>) -> Result<T, Failure> {
        recorded
            .events
            .iter()
            .find_map(pick)
            .ok_or_else(|| Failure::unusable("the event that the story needs is missing"))
    }

    /// Releases the last checkpoint and gives the ledger.
    ///
    /// # Errors
    /// [`Failure`] if the disk fails.
    pub fn close(mut self) -> Result<Ledger, Failure> {
        self.desk.release().map_err(Failure::unusable)?;
        Ok(self.ledger)
    }

    /// The next number below `below`, by splitmix64.
    pub fn below(&mut self, below: u64) -> u64 {
        self.chance = self.chance.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.chance;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)).checked_rem(below).unwrap_or(0)
    }

    /// A hand that is not quite steady: about normal around `mean` with deviation `spread`, both in 10 micrograms.
    pub fn around(&mut self, mean: i64, spread: i64) -> i64 {
        let sum: u64 = (0..12).map(|_| self.below(1_000)).sum();
        let deviation = i64::try_from(sum).unwrap_or(6_000).saturating_sub(5_994);
        mean.saturating_add(deviation.saturating_mul(spread) / 1_000)
    }

    /// What a scale with this step (10 micrograms) shows for a true mass.
    ///
    /// # Errors
    /// [`Failure`] if the mass is negative: a bug of the story.
    pub fn reads(truth: i64, step: i64, decimals: u32) -> Result<Reading, Failure> {
        let steps = truth.saturating_add(step / 2).checked_div(step).unwrap_or(0);
        let mass = Mass::from_units(steps.saturating_mul(step))
            .ok_or_else(|| Failure::unusable("a negative mass"))?;
        Reading::parse(&mass.to_text(decimals)).map_err(Failure::unusable)
    }
}
