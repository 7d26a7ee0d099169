//! A workshop without hands, that keeps a desk busy: what the simulation, the tests of opening and the bench begin with.

use pourbook::domain::*;
use pourbook::log::Store;
use pourbook::metal::{Fineness, Mass, Metal, Reading, ScaleClass};
use pourbook::proof::{NoteSigner, leaf_hash};
use pourbook::record::{KeyEntryDraft, Signer, seal_key_entry};
use pourbook::writer::{Ask, Desk, DeskKeys, Observer, Recorded, Submission};
use std::sync::Arc;

/// Submissions of a full turn, and melts that are worked on together.
pub const TURN: usize = 128;
/// Pieces of one melt.
pub const PIECES: usize = 9;
/// When the shop opens.
pub const NOW: Timestamp = Timestamp(1_767_340_800);

/// The keys of a book of this origin. Root, recorder and log key have the seeds 1, 2 and 3.
pub fn deskkeys(origin: &str, secret: [u8; 32]) -> DeskKeys {
    DeskKeys {
        recorder: Signer::from_seed(&[2; 32]),
        log: NoteSigner::new(origin, &[3; 32]).unwrap(),
        next_log: None,
        secret,
    }
}

/// An entry about keys by the root key, ready to be submitted, and its leaf hash.
pub fn key_entry(
    origin: &str,
    now: Timestamp,
    draw: &mut Draw,
    newest: Option<pourbook::proof::Hash>,
    event: Event,
) -> (Submission, pourbook::proof::Hash) {
    let draft = KeyEntryDraft {
        iss: origin,
        jti: draw.uuid(),
        iat: now,
        by: OperatorId(uuid::Uuid::nil()),
        keys: newest,
        event,
    };
    let entry = seal_key_entry(&draft, &Signer::from_seed(&[1; 32])).unwrap();
    let leaf = leaf_hash(&entry);
    let submission = Submission {
        request: draft.jti,
        by: draft.by,
        at: None,
        expected: Vec::new(),
        ask: Ask::KeyEntry(entry),
    };
    (submission, leaf)
}

/// The three entries that a book begins with.
pub fn founding(origin: &str, now: Timestamp, draw: &mut Draw) -> Vec<Submission> {
    let mut newest = None;
    [(1, KeyRole::Root), (2, KeyRole::Recorder), (3, KeyRole::Log)]
        .map(|(seed, role)| {
            let signer = Signer::from_seed(&[seed; 32]);
            let added = KeyAdded {
                kid: signer.kid().to_owned(),
                role,
                x: signer.public().to_base64url(),
            };
            let (submission, leaf) = key_entry(origin, now, draw, newest, added.into());
            newest = Some(leaf);
            submission
        })
        .into()
}

pub fn mass(text: &str) -> Mass {
    Mass::parse(text).unwrap()
}

pub fn reading(text: &str) -> Reading {
    Reading::parse(text).unwrap()
}

/// A scale of class II to 0.01 g.
pub fn scale() -> RegisterScale {
    RegisterScale {
        class: ScaleClass::II,
        e: mass("0.01"),
        d: mass("0.01"),
        max: mass("500"),
        verified: true,
        repeatability: mass("0.004"),
        label: Some("bench".to_owned()),
        note: None,
    }
}

/// An open series for odd weights.
pub fn series(code: &str) -> OpenSeries {
    OpenSeries {
        code: SeriesCode::parse(code).unwrap(),
        kind_of: SeriesKind::Open,
        metal: Metal::Silver,
        fineness: Fineness::parse("999").unwrap(),
        unit: WeightUnit::Gram,
        shapes: Vec::new(),
        limits: None,
        digits: 6,
        marking: Marking::Exempt,
        ground: Some(ExemptGround::Bullion),
        exempt_below: None,
        exempt_from: None,
        unnumbered: false,
        number_on_metal: false,
        struck: false,
        spares_sold: false,
        title: Some("Driftweight".to_owned()),
        commissioner: None,
        decided: None,
        note: None,
    }
}

/// A lot of silver, weighed in a session.
pub fn lot(session: SessionId) -> ReceiveLot {
    ReceiveLot {
        metal: Metal::Silver,
        fineness: Fineness::parse("999.5").unwrap(),
        basis: FinenessBasis::Declared,
        session,
        mass: reading("480.00"),
        invoiced: None,
        owner: None,
        seller: Some("Pellworth Metals Counter".to_owned()),
        document: None,
        price: None,
        note: None,
    }
}

/// A melt of part of one lot.
pub fn charge(session: SessionId, lot: LotId, mass: &str) -> ChargeMelt {
    let lots = vec![LotDraw {
        lot,
        mass: reading(mass),
    }];
    ChargeMelt {
        metal: Metal::Silver,
        session,
        lots,
        heels: Vec::new(),
        jars: Vec::new(),
        pieces: Vec::new(),
        note: None,
    }
}

/// The shop, with a scale, an open session and a series.
pub struct Shop {
    pub desk: Desk,
    pub draw: Draw,
    pub session: SessionId,
    pub series: SeriesId,
    /// Submissions of a full turn.
    pub turn: usize,
}

impl Shop {
    /// Founds a book on an empty store: keys, scale, session, series.
    pub fn found(store: Arc<dyn Store>, origin: &str, secret: [u8; 32]) -> Self {
        Self::found_observed(store, origin, secret, Observer::none())
    }

    /// The same, and somebody is told of every entry.
    pub fn found_observed(store: Arc<dyn Store>, origin: &str, secret: [u8; 32], observer: Observer) -> Self {
        let desk = Desk::open(store, origin, deskkeys(origin, secret), observer).unwrap();
        let mut draw = Draw::new([7; 32]);
        let mut desk = desk;
        for outcome in desk
            .turn(NOW, draw.bytes(), founding(origin, NOW, &mut draw))
            .unwrap()
        {
            outcome.unwrap();
        }
        Self::begin(desk, draw)
    }

    /// Begins work in a book that is founded: scale, session, series.
    pub fn begin(desk: Desk, draw: Draw) -> Self {
        let mut shop = Self {
            desk,
            draw,
            session: SessionId(uuid::Uuid::nil()),
            series: SeriesId(uuid::Uuid::nil()),
            turn: TURN,
        };
        let scales = shop.record(vec![scale().into()], |event| match event {
            Event::ScaleRegistered(e) => Some(e.scale),
            _ => None,
        });
        let opening = OpenSession {
            scale: scales[0],
            nominal: mass("100"),
            reading: reading("100.00"),
        };
        let sessions = shop.record(vec![opening.into()], |event| match event {
            Event::SessionOpened(e) => Some(e.session),
            _ => None,
        });
        shop.session = sessions[0];
        let opened = shop.record(vec![series("DW").into()], |event| match event {
            Event::SeriesOpened(e) => Some(e.series),
            _ => None,
        });
        shop.series = opened[0];
        shop
    }

    pub fn submission(&mut self, command: Command) -> Submission {
        Submission {
            request: self.draw.uuid(),
            by: OperatorId(uuid::Uuid::nil()),
            at: None,
            expected: Vec::new(),
            ask: Ask::Command(command),
        }
    }

    /// One turn, in which nothing may be refused.
    pub fn turn(&mut self, submissions: Vec<Submission>) -> Vec<Recorded> {
        let seed = self.draw.bytes();
        let outcomes = self.desk.turn(NOW, seed, submissions).unwrap();
        outcomes.into_iter().map(Result::unwrap).collect()
    }

    /// Records commands in full turns, and picks from their events.
    pub fn record<T>(&mut self, commands: Vec<Command>, pick: impl Fn(&Event) -> Option<T>) -> Vec<T> {
        let mut picked = Vec::new();
        let submissions: Vec<_> = commands.into_iter().map(|c| self.submission(c)).collect();
        for batch in submissions.chunks(self.turn) {
            for recorded in self.turn(batch.to_vec()) {
                picked.extend(recorded.events.iter().filter_map(&pick));
            }
        }
        picked
    }

    /// Lots, one melt of each, and the pieces that are poured from it and not weighed yet.
    pub fn pour(&mut self, melts: usize) -> Vec<PieceId> {
        let (session, series) = (self.session, self.series);
        let lots = self.record(vec![lot(session).into(); melts], |event| match event {
            Event::LotReceived(e) => Some(e.lot),
            _ => None,
        });
        let charges = lots.into_iter().map(|lot| charge(session, lot, "480.00").into());
        let melts = self.record(charges.collect(), |event| match event {
            Event::MeltCharged(e) => Some(e.melt),
            _ => None,
        });
        let oval = Pour {
            series,
            shape: Shape::parse("oval").unwrap(),
            mould: None,
        };
        let pours = melts.into_iter().map(|melt| PourPieces {
            melt,
            pours: vec![oval.clone(); PIECES],
        });
        self.record(pours.map(Command::from).collect(), |event| match event {
            Event::PiecePoured(e) => Some(e.piece),
            _ => None,
        })
    }

    /// A piece on the scale, fresh from the mould.
    pub fn weighing(&self, piece: PieceId) -> Command {
        WeighPieces {
            session: self.session,
            stage: Stage::FromMould,
            items: vec![Weighing {
                piece,
                mass: reading("50.42"),
            }],
        }
        .into()
    }

    pub fn size(&self) -> usize {
        self.desk.published().tree().size() as usize
    }

    /// Works until the log has `n` entries: mostly single weighings, as in a workshop.
    pub fn work(&mut self, n: usize) {
        while self.size() < n {
            let melts = self.turn.min((n - self.size()).div_ceil(PIECES + 3));
            let pieces = self.pour(melts);
            let left = n.saturating_sub(self.size());
            let weighings = pieces.into_iter().take(left).map(|p| self.weighing(p)).collect();
            self.record(weighings, |_| None::<()>);
        }
    }
}
