//! Whose metal it is.
//!
//! A lot belongs to the workshop or to one customer, and whatever is made of it goes on belonging to them: a melt has the
//! owners of everything that went into it, a heel, a jar's content and a piece those of their melts. Metal of different
//! owners meets only if every customer among them has agreed; the workshop counts as one owner, and copper that is
//! alloyed in as its owner's metal. Sweepings come from everybody's work and count as the workshop's.
//! Deliberately absent: whose share of a mixture is how large (it is reckoned from the charges), and names.

use super::owed::Owed;
use super::{Book, Owner};
use crate::domain::{
    JarId, JarShare, MeltId, MeltInput, OwnerAgreed, OwnerId, OwnerRegistered, PieceId, Refusal, Stamp,
};
use std::collections::BTreeSet;

/// The owners of some metal; `None` is the workshop.
pub(in crate::domain) type Owners = BTreeSet<Option<OwnerId>>;

impl Book {
    pub(super) fn take_owner(&mut self, stamp: &Stamp, e: &OwnerRegistered) -> Result<(), Refusal> {
        self.free(e.owner.0)?;
        let owner = Owner {
            owner: e.owner,
            agreed: false,
            since: stamp.index,
        };
        self.owners.put(e.owner, owner);
        Ok(())
    }

    /// An agreement may be recorded again, with another document; it is never taken back, since mixed metal cannot be.
    pub(super) fn take_agreement(&mut self, e: &OwnerAgreed) -> Result<(), Refusal> {
        let owner = Owner {
            agreed: true,
            ..self.known_owner(e.owner)?.clone()
        };
        self.owners.put(e.owner, owner);
        Ok(())
    }

    /// Refuses metal of several owners, unless every customer among them has agreed.
    pub(in crate::domain) fn may_meet(&self, owners: &Owners) -> Result<(), Refusal> {
        if owners.len() < 2 {
            return Ok(());
        }
        for owner in owners.iter().flatten() {
            if !self.known_owner(*owner)?.agreed {
                return Err(Refusal::OwnersMixed { owner: *owner });
            }
        }
        Ok(())
    }

    /// Whose metal goes in with an input of a melt.
    pub(in crate::domain) fn owners_of_input(&self, input: &MeltInput) -> Result<Owners, Refusal> {
        match input {
            MeltInput::Lot { lot, .. } => Ok(Owners::from([self.known_lot(*lot)?.owner])),
            MeltInput::Heel { melt, .. } | MeltInput::Piece { melt, .. } => self.owners_of_melt(*melt),
            MeltInput::Jar { holds, .. } => self.owners_of_shares(holds),
        }
    }

    /// Whose metal a piece is.
    pub(in crate::domain) fn owners_of_piece(&self, piece: PieceId) -> Result<Owners, Refusal> {
        self.owners_of_melt(self.known_piece(piece)?.melt)
    }

    /// Whose metal is in what a jar holds: nobody's if it holds none.
    pub(in crate::domain) fn owners_of_shares(&self, holds: &[JarShare]) -> Result<Owners, Refusal> {
        let mut owners = Owners::new();
        for share in holds {
            owners.extend(self.owners_of_melt(share.melt)?);
        }
        Ok(owners)
    }

    /// Whose metal a jar holds, or is about to hold by what stands before in the same entry.
    pub(super) fn owners_in_jar(&self, jar: JarId) -> Result<Owners, Refusal> {
        let mut owners = self.owners_of_shares(&self.known_jar(jar)?.holds)?;
        for owed in self.owed() {
            match owed {
                Owed::Filling { jar: into, melt, .. } if *into == jar => {
                    owners.extend(self.owners_of_melt(*melt)?);
                }
                Owed::Weighing { jar: into, piece, .. } if *into == jar => {
                    owners.extend(self.owners_of_piece(*piece)?)
                }
                _ => {}
            }
        }
        Ok(owners)
    }

    fn owners_of_melt(&self, melt: MeltId) -> Result<Owners, Refusal> {
        Ok(self.known_melt(melt)?.owners.iter().copied().collect())
    }
}
