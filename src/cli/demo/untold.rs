//! What nobody tells the book: metal that leaves a jar unseen, and a piece that is poured and never written down. And the
//! count that finds some of it out.
//!
//! The ledger knows it, since it keeps what really happened; the book can only show that something is missing, and where.

use super::crucible::{Crucible, fineness, shown};
use super::equipment::Bench;
use super::ledger::{Fate, Holder};
use super::workshop::{GRAM, MILLIGRAM, Workshop};
use crate::cli::Failure;
use crate::domain::{Event, HeelWeighed, JarDraw, JarId, LotWeighed, MetalFound, PiecesSeen, TakeStock};
use crate::metal::Metal;

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

    /// Stock is taken without the book at hand: a jar, a heel, a lot and the shelf of one series. Behind the bench lies a
    /// bead that a melt had lost.
    pub(super) fn take_stock(&mut self, bench: &Bench, missing: i64) -> Result<(), Failure> {
        let session = self.open(bench.scale, "100", "100.00")?;
        let lots = bench
            .lots
            .iter()
            .filter(|lot| self.ledger.left(**lot) <= 500 * GRAM);
        let lots = lots.map(|lot| {
            Ok(LotWeighed {
                lot: *lot,
                mass: shown(self.ledger.left(*lot))?,
            })
        });
        let heels = bench
            .heel
            .iter()
            .filter_map(|melt| Some((melt, self.ledger.heels.get(melt)?)));
        let heels = heels.map(|(melt, held)| {
            Ok(HeelWeighed {
                melt: *melt,
                mass: shown(held.mass)?,
            })
        });
        let shelf = |fate: &Fate| fate.series == bench.driftweight && fate.holder == Holder::Workshop;
        let seen = self.ledger.pieces.iter().filter(|(_, fate)| shelf(fate));
        let bead = 3 * GRAM + 200 * MILLIGRAM;
        let recorded = self.record(TakeStock {
            session: Some(session),
            lots: lots.collect::<Result<_, Failure>>()?,
            heels: heels.collect::<Result<_, Failure>>()?,
            jars: vec![JarDraw {
                jar: bench.prills,
                mass: shown(self.ledger.in_jar(bench.prills))?,
            }],
            found: vec![MetalFound {
                metal: Metal::Silver,
                fineness: fineness("990")?,
                mass: shown(bead)?,
                note: Some("behind the bench".to_owned()),
            }],
            pieces: Some(PiecesSeen {
                series: Some(bench.driftweight),
                seen: seen.map(|(piece, _)| *piece).collect(),
            }),
            note: None,
        })?;
        let found = Self::event(&recorded, |event| match event {
            Event::LotFound(e) => Some(e.lot),
            _ => None,
        })?;
        self.ledger.count(Metal::Silver, missing, (found, bead));
        self.close_session(session, "100", "100.00")
    }
}
