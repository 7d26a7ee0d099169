//! Random histories in which stock is taken: whatever the count says, every gram stays in the statement.

use super::*;
use std::collections::BTreeSet;

/// The kind of step that is one of these, in a workshop that has taken stock before.
pub(super) const KIND: u8 = 137;

/// Stock was taken once, so that it is taken again.
pub(super) const SHOP: &[&str] = &["count C0 in D lot A 800.00 seen"];

impl Shop {
    pub(super) fn stocktake(&self, a: u32, b: u32, c: u32) -> Command {
        let mut lots: Vec<Lot> = self.bench.book.lots().cloned().collect();
        lots.sort_by_key(|lot| lot.number);
        let lots = one(&lots, a)
            .into_iter()
            .filter(|_| !b.is_multiple_of(3))
            .map(|lot| LotWeighed {
                lot: lot.lot,
                mass: Self::around(lot.left, c),
            });
        let heels = self.melts(|melt| melt.state == MeltState::Closed && melt.heel_taken.is_none());
        let heel = |melt: MeltId| {
            let heel = self.bench.book.melt(melt)?.heel?;
            let mass = Self::around(heel, c / 3);
            Some(HeelWeighed { melt, mass })
        };
        let heels = one(&heels, b).and_then(heel);
        let jars = [self.jar(Residue::Prills), self.jar(Residue::Lemel)];
        let jars = jars
            .into_iter()
            .filter(|jar| !jar.mass.is_zero() && !a.is_multiple_of(4));
        let there = self.pieces(|piece| {
            !matches!(
                piece.state,
                PieceState::Remelted | PieceState::Delivered | PieceState::AtOffice
            )
        });
        let found = MetalFound {
            metal: Metal::Silver,
            fineness: pourbook::metal::Fineness::parse("900").unwrap(),
            mass: grams(i64::from(c % 30) * 10_000),
            note: None,
        };
        TakeStock {
            session: Some(self.session()),
            lots: lots.collect(),
            heels: heels.into_iter().collect(),
            jars: jars
                .map(|jar| JarDraw {
                    jar: jar.jar,
                    mass: Self::around(jar.mass, b),
                })
                .collect(),
            found: (c.is_multiple_of(5)).then_some(found).into_iter().collect(),
            pieces: (b.is_multiple_of(4)).then(|| PiecesSeen {
                series: None,
                seen: there.into_iter().skip(a as usize % 3).collect(),
            }),
            note: None,
        }
        .into()
    }

    /// What a jar holds of each melt is all that it holds, and what a stock-take says of itself adds up.
    fn counts_hold(&self) {
        for jar in self.bench.book.jars() {
            let holds = Mass::checked_sum(jar.holds.iter().map(|share| share.mass)).unwrap();
            assert_eq!(holds, jar.mass, "a jar holds what its shares come to");
            assert!(jar.holds.iter().all(|share| !share.mass.is_zero()));
        }
        for line in self
            .bench
            .book
            .stocktakes()
            .flat_map(|stocktake| &stocktake.lines)
        {
            assert_eq!(line.expected.minus(line.mass.mass()), line.variance);
            assert_eq!(line.explained, line.variance.magnitude() <= line.uncertainty);
        }
    }
}

/// A history in which every fourth step takes stock.
#[test]
fn whatever_is_counted_every_gram_stays_in_the_statement() {
    let mut reached = BTreeSet::new();
    let mut draw = Draw::new([14; 32]);
    for _ in 0..24 {
        let steps = steps_often(&mut draw, 250, KIND, 4);
        let (shop, _, _) = run_in(&[WORKSHOP, marking::SHOP, SHOP], &steps);
        shop.bench.replays();
        shop.counts_hold();
        let events = shop.bench.entries.iter().flat_map(|entry| &entry.drafts);
        for draft in events {
            reached.insert(draft.event.kind());
            match &draft.event {
                Event::JarCounted(e) if !e.variance.is_negative() && !e.explained => {
                    reached.insert("a jar that is lighter");
                }
                Event::JarCounted(e) if e.variance.is_negative() => {
                    reached.insert("a jar that is heavier");
                }
                Event::StocktakeTaken(e)
                    if e.pieces.as_ref().is_some_and(|pieces| !pieces.unseen.is_empty()) =>
                {
                    reached.insert("a piece that was not seen");
                }
                Event::MeltCharged(e) => {
                    let book = &shop.bench.book;
                    let from = |input: &MeltInput| match input {
                        MeltInput::Heel { melt, .. } => book
                            .melt(*melt)
                            .is_some_and(|melt| !melt.variance.mass.magnitude().is_zero()),
                        MeltInput::Lot { lot, .. } => {
                            book.lot(*lot).is_some_and(|lot| lot.found_in.is_some())
                        }
                        _ => false,
                    };
                    if e.inputs.iter().any(from) {
                        reached.insert("counted metal in a melt");
                    }
                }
                _ => {}
            }
        }
    }
    for what in [
        "stocktake.taken",
        "lot.counted",
        "melt.counted",
        "jar.counted",
        "lot.found",
        "a jar that is lighter",
        "a jar that is heavier",
        "a piece that was not seen",
        "counted metal in a melt",
    ] {
        assert!(reached.contains(what), "{what} was never reached: {reached:?}");
    }
}
