//! What nobody tells the book: metal that leaves a jar unseen, and a piece that is poured and never written down.
//!
//! The ledger knows it, since it keeps what really happened; the book can only show that something is missing, and where.

use super::crucible::Crucible;
use super::workshop::Workshop;
use crate::domain::JarId;

impl Workshop {
    /// Somebody helps themselves from a jar. The book notices when the jar is weighed next.
    pub(super) fn help_oneself(&mut self, jar: JarId, mass: i64) {
        let Some((_, held)) = self.ledger.jars.get_mut(&jar) else {
            return;
        };
        held.mass -= mass;
        let metal = held.metal;
        self.ledger.flow(metal).taken_from_jars += mass;
    }

    /// A cavity is filled that no book hears of. What is missing looks like a loss of the melt.
    pub(super) fn pour_untold(&mut self, crucible: &mut Crucible, mass: i64) {
        crucible.left -= mass;
        self.ledger.flow(crucible.metal).untold += mass;
        *self.ledger.untold.entry(crucible.melt).or_default() += mass;
    }
}
