//! A figure of the statement opened: the movements behind it, each with the entry that tells of it.

use super::postings::Subject;
use super::{Heading, Leg, Reckoning};
use crate::domain::{Amount, OperatorId, Timestamp};
use crate::metal::Metal;
use serde::Serialize;

/// A movement as it stands under a heading.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Movement {
    /// Index of the entry.
    pub index: u64,
    /// Which event of the entry, counted from 0, of those that it says now.
    pub event: u16,
    /// When it was recorded.
    pub recorded: Timestamp,
    /// Who recorded it.
    pub by: Option<OperatorId>,
    /// What moved.
    pub subject: Subject,
    /// The heading that it came from or went to.
    pub other: Heading,
    /// What it adds to the figure.
    #[serde(flatten)]
    pub amount: Amount,
}

impl Reckoning {
    /// What a subject is called in the workshop: lot 3, melt 12, pour 12-03, the lemel jar of silver 925.0.
    #[must_use]
    pub fn named(&self, subject: Subject) -> String {
        let book = self.book();
        let named = match subject {
            Subject::Lot(id) => book.lot(id).map(|lot| format!("lot {}", lot.number)),
            Subject::Melt(id) => book.melt(id).map(|melt| format!("melt {}", melt.number)),
            Subject::Piece(id) => book.piece(id).map(|piece| format!("pour {}", piece.pour)),
            Subject::Refining(id) => book
                .refining(id)
                .map(|refining| format!("refining {}", refining.number)),
            Subject::Jar(id) => book
                .jar(id)
                .map(|jar| format!("{} jar, {} {}", jar.residue, jar.metal, jar.fineness)),
        };
        named.unwrap_or_else(|| subject.id().to_string())
    }

    /// The movements under a heading from a place on, oldest first.
    pub fn opened(&self, metal: Metal, heading: Heading, from: usize) -> impl Iterator<Item = Movement> {
        let legs = self.postings().under(metal, heading, from);
        legs.map(move |Leg { posting, amount }| Movement {
            index: posting.index,
            event: posting.event,
            recorded: self.recorded_at(posting.index),
            by: self.stamp(posting.index).map(|stamp| stamp.by),
            subject: posting.subject,
            other: if posting.to == heading {
                posting.from
            } else {
                posting.to
            },
            amount,
        })
    }
}
