//! What is reckoned from the log and never recorded: where the metal is, what it is worth, what is still to be poured.
//!
//! Every figure is answered from a [`Reckoning`], a log replayed to one position, so it can be asked as of any position
//! or day. [`Accounts`] keeps the newest one. Deliberately absent: rows on disk (the log is replayed when the first
//! question comes), private values (only the vault has them), and HTTP.

mod as_of;
mod compared;
pub mod costs;
pub mod exact;
mod gradings;
mod gravities;
mod heading;
pub mod holders;
mod losses;
pub mod margin;
pub mod mixture;
mod opened;
mod past;
mod plan;
mod postings;
pub mod recall;
mod reckoning;
mod refined;
pub mod shares;
mod statement;
pub mod stock;
pub mod suspects;
mod suspicions;
pub mod told;
mod weights;
mod yields;

pub use as_of::{Accounts, AsOf, AskError, NoPosition};
pub use compared::{
    Compared, GravityCompared, GravityObserved, Magnet, Observed, Ring, Seen, Unlikely, WeightObserved,
};
pub use gradings::{Claim, GradingAgain, Permitted, ReadingTold, RuleTold, ScaleTold};
pub use gravities::{Against, GravityTold, HeldAgainst, Possible};
pub use heading::Heading;
pub use losses::{Emptied, Emptying, Losses, MeltLoss};
pub use opened::Movement;
pub use past::Unread;
pub use plan::{MouldSpread, PlanAsked, SeriesPlan, ShapeRecord};
pub use postings::{Leg, Posting, Postings, Subject};
pub use reckoning::{ReckonError, Reckoning};
pub use statement::{Line, Statement, StatementError, by_rows};
pub use suspicions::{Decision, Deviation, FailedCheck, Remedy, SuspectReading, Suspicion};
pub use weights::{Band, ShapeWeights};
pub use yields::{Fate, Reached, ShapeYield, Stay, Step};
