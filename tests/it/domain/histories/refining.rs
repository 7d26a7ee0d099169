//! Random steps with customers' metal, sweepings and the refiner, and what must hold of them.

use super::*;
use pourbook::metal::{Fineness, MassDifference};
use std::collections::{BTreeMap, BTreeSet};

/// The kind of step that is one of these.
pub(super) const KIND: u8 = 143;

/// Two customers, and condemned pieces of the first one's silver.
pub(super) const SHOP: &[&str] = &[
    "jar SW silver 925 sweeps",
    "owner O",
    "owner Q",
    "lot CO silver 999.0 declared 300.00 in D owner O",
    "melt CM in D silver lot CO 200.00",
    "pour CM DW bar C1 C2",
    "weigh from_mould in D C1 49.00 C2 49.10",
    "balance CM in D heel 101.80",
    "condemn C1 unwanted",
    "condemn C2 unwanted",
];

type Owners = BTreeSet<Option<OwnerId>>;

impl Shop {
    pub(super) fn refining(&self, a: u32, b: u32, c: u32) -> Option<Command> {
        let owner = OwnerId(self.bench.id(["O", "Q"][a as usize % 2]));
        Some(match c % 10 {
            0 if !b.is_multiple_of(3) => AgreeMixing {
                owner,
                document: None,
                note: None,
            }
            .into(),
            0 => ReceiveLot {
                metal: Metal::Silver,
                fineness: Fineness::parse("999.0").unwrap(),
                basis: FinenessBasis::Declared,
                session: self.session(),
                mass: grams(i64::from(b % 300) * 100_000),
                invoiced: None,
                owner: Some(owner),
                seller: None,
                document: None,
                price: None,
                note: None,
            }
            .into(),
            1 | 2 => GatherSweeps {
                jar: self
                    .jar(if b.is_multiple_of(9) {
                        Residue::Lemel
                    } else {
                        Residue::Sweeps
                    })
                    .jar,
                session: self.session(),
                mass: grams(i64::from(b % 90) * 100_000),
            }
            .into(),
            3..=5 => self.send(a, b, c),
            6 => self.charge_outturn(a)?,
            _ => self.account(a, b, c)?,
        })
    }

    fn send(&self, a: u32, b: u32, c: u32) -> Command {
        let jars = [Residue::Prills, Residue::Lemel, Residue::Sweeps]
            .into_iter()
            .zip(0..)
            .map(|(residue, i)| (self.jar(residue), i))
            .filter(|(jar, i)| a >> i & 1 == 1 && !(jar.mass.is_zero() && jar.swept.is_zero()))
            .map(|(jar, _)| JarDraw {
                jar: jar.jar,
                mass: Self::around(if jar.swept.is_zero() { jar.mass } else { jar.swept }, c),
            })
            .collect();
        let condemned = self.pieces(|piece| piece.state == PieceState::Condemned);
        let mut pieces: Vec<PieceId> = one(&condemned, a).into_iter().chain(one(&condemned, b)).collect();
        // Now and then one is named twice, or is not condemned at all.
        if !c.is_multiple_of(11) {
            pieces.dedup();
        }
        if b.is_multiple_of(13) {
            pieces.extend(one(&self.pieces(|_| true), c));
        }
        SendToRefiner {
            metal: Metal::Silver,
            session: self.session(),
            jars,
            pieces,
            refiner: None,
            seal: None,
            document: None,
            note: None,
        }
        .into()
    }

    fn charge_outturn(&self, a: u32) -> Option<Command> {
        let mut lots: Vec<Lot> = self
            .bench
            .book
            .lots()
            .filter(|lot| lot.outturn_of.is_some() && !lot.left.is_zero())
            .cloned()
            .collect();
        lots.sort_by_key(|lot| lot.number);
        let lot = one(&lots, a)?;
        let lots = vec![LotDraw {
            lot: lot.lot,
            mass: reading(&lot.left.to_text(2)),
        }];
        Some(
            ChargeMelt {
                metal: Metal::Silver,
                session: self.session(),
                lots,
                heels: vec![],
                jars: vec![],
                pieces: vec![],
                note: None,
            }
            .into(),
        )
    }

    fn account(&self, a: u32, b: u32, c: u32) -> Option<Command> {
        let mut sent: Vec<Refining> = self
            .bench
            .book
            .refinings()
            .filter(|refining| refining.state == RefiningState::AtRefiner || b.is_multiple_of(12))
            .cloned()
            .collect();
        sent.sort_by_key(|refining| refining.number);
        let refining = one(&sent, a)?;
        let found = refining.mass.units() + i64::from(b % 4) * 100_000;
        let fineness = Fineness::parse(["999.9", "999.0", "925"][c as usize % 3]).unwrap();
        // All of it in one way, a part in each, or nothing said.
        let (outturn, settled) = [(found, 0), (0, found), (found / 2, found / 2), (0, 0)][b as usize % 4];
        Some(
            ReturnRefining {
                refining: refining.refining,
                outturn: (outturn > 0).then(|| Outturn {
                    session: self.session(),
                    mass: Self::around(Mass::from_units(outturn).unwrap(), c),
                    fineness,
                }),
                settled: (settled > 0).then(|| Settled {
                    mass: Mass::from_units(settled).unwrap(),
                    fineness,
                }),
                price: None,
                charge: None,
                document: None,
                note: None,
            }
            .into(),
        )
    }

    /// What was sent is there, came back, was settled or is lost; a piece ended in one refining.
    pub(super) fn refinings_hold(&self) {
        let book = &self.bench.book;
        let whole = |masses: Vec<MassDifference>| masses.iter().map(|mass| mass.units()).sum::<i64>();
        let sent: i64 = book.refinings().map(|refining| refining.mass.units()).sum();
        let outturns: i64 = book
            .lots()
            .filter(|lot| lot.outturn_of.is_some())
            .map(|lot| lot.mass.mass().units())
            .sum();
        let silver = book.masses(Metal::Silver).unwrap();
        let elsewhere = whole(vec![
            silver.at_refiner.mass,
            silver.settled.mass,
            silver.refining_loss.mass,
        ]);
        assert_eq!(sent, outturns + elsewhere);
        let mut ended = BTreeSet::new();
        for refining in book.refinings() {
            for sent in &refining.pieces {
                assert!(ended.insert(sent.piece), "a piece was refined twice");
                assert_eq!(book.piece(sent.piece).unwrap().refined, Some(refining.refining));
            }
            if refining.state == RefiningState::Returned {
                let returned = refining
                    .outturn
                    .map_or(0, |lot| book.lot(lot).unwrap().mass.mass().units());
                let settled = refining
                    .settled
                    .as_ref()
                    .map_or(0, |settled| settled.mass.units());
                let loss = refining.loss.unwrap().units();
                assert_eq!(refining.mass.units(), returned + settled + loss);
            }
        }
        for piece in book.pieces() {
            let refined = piece.state == PieceState::Refined;
            assert_eq!(refined, piece.refined.is_some());
            assert_eq!(refined, ended.contains(&piece.piece));
        }
        assert!(
            book.jars()
                .all(|jar| jar.residue != Residue::Sweeps || jar.mass.is_zero())
        );
    }

    /// Whose metal it is, followed once more from the events alone; nothing met without agreement at that time.
    pub(super) fn owners_hold(&self) {
        let mut lots = BTreeMap::<LotId, Option<OwnerId>>::new();
        let mut melts = BTreeMap::<MeltId, Owners>::new();
        let mut jars = BTreeMap::<JarId, Owners>::new();
        let mut pieces = BTreeMap::<PieceId, MeltId>::new();
        let mut refinings = BTreeMap::<RefiningId, Owners>::new();
        let mut agreed = BTreeSet::<OwnerId>::new();
        for draft in self.bench.entries.iter().flat_map(|entry| &entry.drafts) {
            let mut met = Owners::new();
            match &draft.event {
                Event::OwnerAgreed(e) => drop(agreed.insert(e.owner)),
                Event::LotReceived(e) => drop(lots.insert(e.lot, e.owner)),
                Event::PiecePoured(e) => drop(pieces.insert(e.piece, e.melt)),
                Event::JarSwept(e) => drop(jars.entry(e.jar).or_default().insert(None)),
                Event::JarFilled(e) => {
                    let jar = jars.entry(e.jar).or_default();
                    jar.extend(&melts[&e.melt]);
                    met.extend(jar.iter());
                }
                Event::MeltCharged(e) => {
                    for input in &e.inputs {
                        match input {
                            MeltInput::Lot { lot, .. } => drop(met.insert(lots[lot])),
                            MeltInput::Heel { melt, .. } => met.extend(&melts[melt]),
                            MeltInput::Piece { piece, .. } => met.extend(&melts[&pieces[piece]]),
                            MeltInput::Jar { jar, .. } => met.extend(jars.remove(jar).unwrap()),
                        }
                    }
                    melts.insert(e.melt, met.clone());
                }
                Event::RefiningSent(e) => {
                    for sent in &e.jars {
                        met.extend(jars.remove(&sent.jar).unwrap());
                    }
                    for sent in &e.pieces {
                        met.extend(&melts[&pieces[&sent.piece]]);
                    }
                    refinings.insert(e.refining, met.clone());
                }
                Event::LotOutturned(e) => {
                    let owners = &refinings[&e.refining];
                    let only = if owners.len() == 1 {
                        *owners.first().unwrap()
                    } else {
                        None
                    };
                    lots.insert(e.lot, only);
                }
                _ => {}
            }
            assert!(
                met.len() < 2 || met.iter().flatten().all(|owner| agreed.contains(owner)),
                "metal met without agreement: {:?}",
                draft.event
            );
        }
        let book = &self.bench.book;
        assert!(book.lots().all(|lot| lots[&lot.lot] == lot.owner));
        assert!(book.melts().all(|melt| melt.owners == sorted(&melts[&melt.melt])));
        assert!(
            book.refinings()
                .all(|refining| refining.owners == sorted(&refinings[&refining.refining]))
        );
    }
}

fn sorted(owners: &Owners) -> Vec<Option<OwnerId>> {
    owners.iter().copied().collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, max_shrink_iters: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_goes_to_the_refiner_what_must_hold_does(steps in prop::collection::vec(any::<Choice>(), 60..160)) {
        let steps: Vec<Choice> = steps
            .into_iter()
            .zip(0..)
            .map(|((kind, a, b, c), i): (Choice, u32)| (if i % 3 == 0 { KIND } else { kind }, a, b, c))
            .collect();
        let (shop, _, _) = run_in(&[WORKSHOP, marking::SHOP, SHOP], &steps);
        shop.bench.replays();
        shop.owners_hold();
    }
}

/// A history in which every third step is about residues, the refiner or an owner.
#[test]
fn random_histories_reach_the_refiner_and_metal_of_several_owners() {
    let mut reached = BTreeSet::new();
    let mut draw = Draw::new([9; 32]);
    for _ in 0..40 {
        let steps = steps_often(&mut draw, 400, KIND, 3);
        let (shop, _, _) = run_in(&[WORKSHOP, marking::SHOP, SHOP], &steps);
        shop.owners_hold();
        let events = shop.bench.entries.iter().flat_map(|entry| &entry.drafts);
        reached.extend(events.map(|draft| draft.event.kind()));
        reached.extend(self::reached(&shop.bench.book));
    }
    for what in [
        "jar.swept",
        "jar.emptied",
        "piece.refined",
        "refining.sent",
        "refining.returned",
        "lot.outturned",
        "owner.agreed",
        "a melt of several owners",
        "a refining of several owners",
        "an outturn of a customer",
        "sweepings that brought something",
        "an outturn in a melt",
    ] {
        assert!(reached.contains(what), "{what} was never reached: {reached:?}");
    }
}

/// What a history came to, besides kinds of events.
pub(super) fn reached(book: &Book) -> Vec<&'static str> {
    let outturns: Vec<LotId> = book.refinings().filter_map(|refining| refining.outturn).collect();
    let drawn = |melt: &Melt| {
        melt.inputs
            .iter()
            .any(|input| matches!(input, MeltInput::Lot { lot, .. } if outturns.contains(lot)))
    };
    let brought = |refining: &Refining| {
        let loss = refining.loss.is_some_and(MassDifference::is_negative);
        loss && refining.pieces.is_empty()
    };
    [
        (
            "a melt of several owners",
            book.melts().any(|melt| melt.owners.len() > 1),
        ),
        (
            "a refining of several owners",
            book.refinings().any(|refining| refining.owners.len() > 1),
        ),
        (
            "an outturn of a customer",
            book.lots()
                .any(|lot| lot.owner.is_some() && lot.outturn_of.is_some()),
        ),
        ("sweepings that brought something", book.refinings().any(brought)),
        ("an outturn in a melt", book.melts().any(drawn)),
    ]
    .into_iter()
    .filter_map(|(what, is)| is.then_some(what))
    .collect()
}
