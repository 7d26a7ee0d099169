//! What the events of one entry still owe each other.
//!
//! A weighing is followed by its grading, a charge by the remelting of its pieces, filings by the jar that took them.
//! The later event is only taken if the earlier one owes it, and an entry that ends with something owed is refused by
//! the next event: so a log cannot leave a half of a fact out, nor add one.

use super::Book;
use crate::domain::{
    AssayOutcome, CertificateId, ConsignmentId, Event, JarId, LotId, MeltId, OrderId, PieceId, RefiningId,
    Refusal, SaleId, Stamp,
};
use crate::metal::Mass;
use std::collections::HashMap;
use std::fmt;

/// An event that must follow in the same entry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::domain) enum Owed {
    /// A finished piece is weighed; what was filed off it goes to the jar.
    Weighing { piece: PieceId, jar: JarId, filed: Mass },
    /// A piece that was weighed or moved is graded.
    Grading { piece: PieceId },
    /// A jar takes what came off pieces, or the prills of a melt; `readings` differences of readings made it.
    Filling {
        jar: JarId,
        melt: MeltId,
        mass: Mass,
        readings: u32,
    },
    /// A condemned piece that was charged ends.
    Remelting { piece: PieceId, melt: MeltId },
    /// A jar went to the refiner.
    Emptying { jar: JarId, refining: RefiningId },
    /// A condemned piece that went to the refiner ends.
    Refining { piece: PieceId, refining: RefiningId },
    /// What came back from the refiner is a lot.
    Outturn {
        lot: LotId,
        refining: RefiningId,
        mass: Mass,
    },
    /// A piece is certified.
    Certifying {
        piece: PieceId,
        certificate: CertificateId,
        issue: u32,
    },
    /// An older certificate is superseded.
    Superseding {
        older: CertificateId,
        newer: CertificateId,
    },
    /// A piece goes with its consignment.
    Consigning {
        piece: PieceId,
        consignment: ConsignmentId,
    },
    /// A consignment comes back: its lines so far, and whether the piece of each was found below the claim.
    Return {
        consignment: ConsignmentId,
        lines: Vec<(PieceId, AssayOutcome, bool)>,
    },
    /// A piece that was kept for a cancelled order is kept no longer.
    Releasing { piece: PieceId, order: OrderId },
    /// A piece of a sale is sold.
    Selling { piece: PieceId, sale: SaleId },
    /// A piece in a parcel is on its way.
    Dispatching { piece: PieceId, sale: SaleId },
}

impl Owed {
    const fn piece(&self) -> Option<PieceId> {
        match self {
            Self::Weighing { piece, .. }
            | Self::Grading { piece }
            | Self::Remelting { piece, .. }
            | Self::Refining { piece, .. }
            | Self::Certifying { piece, .. }
            | Self::Consigning { piece, .. }
            | Self::Releasing { piece, .. }
            | Self::Selling { piece, .. }
            | Self::Dispatching { piece, .. } => Some(*piece),
            Self::Filling { .. }
            | Self::Emptying { .. }
            | Self::Outturn { .. }
            | Self::Superseding { .. }
            | Self::Return { .. } => None,
        }
    }

    const fn kind(&self) -> &'static str {
        match self {
            Self::Weighing { .. } => "piece.weighed",
            Self::Grading { .. } => "piece.graded",
            Self::Filling { .. } => "jar.filled",
            Self::Remelting { .. } => "piece.remelted",
            Self::Emptying { .. } => "jar.emptied",
            Self::Refining { .. } => "piece.refined",
            Self::Outturn { .. } => "lot.outturned",
            Self::Certifying { .. } => "piece.certified",
            Self::Superseding { .. } => "certificate.superseded",
            Self::Consigning { .. } => "piece.consigned",
            Self::Return { .. } => "consignment.returned",
            Self::Releasing { .. } => "piece.released",
            Self::Selling { .. } => "piece.sold",
            Self::Dispatching { .. } => "piece.dispatched",
        }
    }
}

impl fmt::Display for Owed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Filling { jar, melt, mass, .. } => {
                write!(f, "jar.filled of {jar} with {mass} g of melt {melt}")
            }
            Self::Emptying { jar, .. } => write!(f, "jar.emptied of {jar}"),
            Self::Outturn { lot, mass, .. } => write!(f, "lot.outturned of {lot} with {mass} g"),
            Self::Superseding { older, .. } => write!(f, "certificate.superseded of {older}"),
            Self::Return { consignment, .. } => write!(f, "consignment.returned of {consignment}"),
            other => match other.piece() {
                Some(piece) => write!(f, "{} of piece {piece}", other.kind()),
                None => f.write_str(other.kind()),
            },
        }
    }
}

/// The newest entry, and what its events still owe.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(in crate::domain) struct Due {
    pub(super) index: u64,
    pub(super) owed: Vec<Owed>,
}

impl Book {
    /// Whether the newest entry is whole: nothing that its events owe is missing.
    ///
    /// # Errors
    /// [`Refusal::Contradicts`] naming the first event that is missing.
    pub fn settled(&self) -> Result<(), Refusal> {
        match self
            .due
            .find(&())
            .and_then(|due| due.owed.first().map(|owed| (due.index, owed)))
        {
            Some((index, owed)) => Err(Refusal::Contradicts {
                says: format!("nothing more in entry {index}"),
                reckons: owed.to_string(),
            }),
            None => Ok(()),
        }
    }

    /// Notes which entry an event stands in, and that it does not come between what one event owes and another pays.
    pub(super) fn follow(&mut self, stamp: &Stamp, event: &Event) -> Result<(), Refusal> {
        let newest = self.due.find(&()).map(|due| due.index);
        if newest != Some(stamp.index) {
            self.settled()?;
            if newest.is_some_and(|newest| stamp.index < newest) {
                return Err(contradiction(stamp.index, newest.unwrap_or_default()));
            }
            self.due.put(
                (),
                Due {
                    index: stamp.index,
                    owed: Vec::new(),
                },
            );
            return Ok(());
        }
        let about = match event {
            Event::CertificateIssued(e) => Some(e.piece),
            other => other.piece(),
        };
        let between =
            |owed: &&Owed| owed.piece().is_some() && owed.piece() == about && owed.kind() != event.kind();
        match self.due.find(&()).and_then(|due| due.owed.iter().find(between)) {
            Some(owed) => Err(Refusal::Contradicts {
                says: event.kind().to_owned(),
                reckons: owed.to_string(),
            }),
            None => Ok(()),
        }
    }

    /// What is owed now.
    pub(in crate::domain) fn owed(&self) -> &[Owed] {
        self.due.find(&()).map_or(&[], |due| due.owed.as_slice())
    }

    /// An event owes another one.
    pub(super) fn owe(&mut self, owed: Owed) -> Result<(), Refusal> {
        if let Some(piece) = owed.piece()
            && let Some(earlier) = self.owed().iter().find(|other| other.piece() == Some(piece))
        {
            return Err(Refusal::Contradicts {
                says: owed.to_string(),
                reckons: earlier.to_string(),
            });
        }
        let mut due = self.due.find(&()).cloned().unwrap_or_default();
        due.owed.push(owed);
        self.due.put((), due);
        Ok(())
    }

    /// An event owes one event of each of many pieces.
    pub(super) fn owe_each(&mut self, owed: impl Iterator<Item = Owed>) -> Result<(), Refusal> {
        let mut due = self.due.find(&()).cloned().unwrap_or_default();
        let mut pieces: HashMap<PieceId, String> = due
            .owed
            .iter()
            .filter_map(|owed| Some((owed.piece()?, owed.to_string())))
            .collect();
        for owed in owed {
            if let Some(piece) = owed.piece()
                && let Some(earlier) = pieces.insert(piece, owed.to_string())
            {
                return Err(Refusal::Contradicts {
                    says: owed.to_string(),
                    reckons: earlier,
                });
            }
            due.owed.push(owed);
        }
        self.due.put((), due);
        Ok(())
    }

    /// Residue is owed to a jar: added to what is owed to it of the same melt.
    pub(super) fn owe_filling(&mut self, jar: JarId, melt: MeltId, mass: Mass) -> Result<(), Refusal> {
        let same =
            |owed: &Owed| matches!(owed, Owed::Filling { jar: j, melt: m, .. } if *j == jar && *m == melt);
        let mut due = self.due.find(&()).cloned().unwrap_or_default();
        let (mut whole, mut count) = (mass, 1_u32);
        if let Some(place) = due.owed.iter().position(same)
            && let Owed::Filling { mass, readings, .. } = due.owed.remove(place)
        {
            whole = super::sum([whole, mass])?;
            count = readings.saturating_add(1);
        }
        due.owed.push(Owed::Filling {
            jar,
            melt,
            mass: whole,
            readings: count,
        });
        self.due.put((), due);
        Ok(())
    }

    /// Takes what is owed off the list; refused when it is not owed.
    pub(super) fn pay(&mut self, says: &str, is: impl Fn(&Owed) -> bool) -> Result<Owed, Refusal> {
        let mut due = self.due.find(&()).cloned().unwrap_or_default();
        let Some(place) = due.owed.iter().position(is) else {
            return Err(Refusal::Contradicts {
                says: says.to_owned(),
                reckons: "no event before it in its entry that asks for it".to_owned(),
            });
        };
        let owed = due.owed.remove(place);
        self.due.put((), due);
        Ok(owed)
    }
}

fn contradiction(says: u64, newest: u64) -> Refusal {
    Refusal::Contradicts {
        says: format!("entry {says}"),
        reckons: format!("an entry after {newest}"),
    }
}
