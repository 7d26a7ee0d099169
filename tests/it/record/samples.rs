//! A small log with an entry of every kind, made from fixed seeds: what the golden files hold.
//!
//! It is about form: the entries chain as they should, but no book has decided them. A new kind of event is added in
//! `samples/longest.rs`, by one function and one row.

mod life;
mod longest;
mod operators;
mod photographs;
mod prices;
mod prints;

use pourbook::domain::{Draft, Draw, Event, OperatorId, Private, Timestamp};
use pourbook::metal::Money;
use pourbook::proof::{Hash, leaf_hash};
use pourbook::record::{KeyEntryDraft, Signer, Unsealed, seal, seal_key_entry};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use uuid::Uuid;

pub const ORIGIN: &str = "brackenfold.example/book";

/// One golden file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Golden {
    pub name: String,
    pub index: u64,
    pub x: String,
    pub leaf: String,
    pub entry: String,
    pub disclosures: Vec<GoldenDisclosure>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GoldenDisclosure {
    pub event: u16,
    pub member: String,
    pub text: String,
}

pub fn root() -> Signer {
    Signer::from_seed(&[0x11; 32])
}

pub fn recorder() -> Signer {
    Signer::from_seed(&[0x22; 32])
}

pub fn log_key() -> Signer {
    Signer::from_seed(&[0x33; 32])
}

/// What signs after the first recorder key is revoked.
pub fn second_recorder() -> Signer {
    Signer::from_seed(&[0x55; 32])
}

pub fn id(kind: u8, number: usize) -> String {
    uuid::Builder::from_random_bytes([
        kind,
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        0,
        (number >> 8) as u8,
        number as u8,
    ])
    .into_uuid()
    .to_string()
}

pub fn event(kind: &str, members: Value) -> Event {
    Event::from_members(kind, members).unwrap().unwrap()
}

/// Every private member of the kind gets a value.
pub fn draft(kind: &str, members: Value) -> Draft {
    let private = Event::private_members(kind)
        .iter()
        .fold(Private::none(), |private, member| match member.name {
            name @ ("price" | "insured" | "charge" | "net" | "vat" | "gross" | "amount") => {
                private.money(name, Some(&Money::parse("812.40", "GBP").unwrap()))
            }
            "code" => private.text("code", Some("2H7KQ9M4XW2")),
            name => private.text(name, Some("An invented value: Möbius & Söhne, “Bay 3”")),
        });
    Draft {
        event: event(kind, members),
        private,
    }
}

pub struct Workshop {
    pub golden: Vec<Golden>,
    chains: BTreeMap<Uuid, Hash>,
    keys: Option<Hash>,
    recorder: Signer,
}

impl Workshop {
    fn key(&mut self, name: &str, kind: &str, members: Value) {
        let index = self.golden.len() as u64;
        let draft = KeyEntryDraft {
            iss: ORIGIN,
            jti: id(0xee, index as usize).parse().unwrap(),
            iat: Timestamp(1_764_060_000 + index as i64),
            by: OperatorId(id(0x0b, 1).parse().unwrap()),
            keys: self.keys,
            event: event(kind, members),
        };
        let entry = seal_key_entry(&draft, &root()).unwrap();
        self.keys = Some(leaf_hash(&entry));
        self.golden.push(Golden {
            name: name.to_owned(),
            index,
            x: root().public().to_base64url(),
            leaf: leaf_hash(&entry).to_base64url(),
            entry: String::from_utf8(entry).unwrap(),
            disclosures: Vec::new(),
        });
    }

    /// Whether it fits.
    fn entry(&mut self, name: &str, drafts: &[Draft], also: &[String]) -> bool {
        let index = self.golden.len() as u64;
        let says_when = index.is_multiple_of(2) || name.ends_with(".longest") && index > FIRST_ROW;
        let subjects: Vec<Uuid> = drafts
            .iter()
            .flat_map(|draft| draft.event.subjects())
            .chain(also.iter().map(|subject| subject.parse().unwrap()))
            .collect();
        let unsealed = Unsealed {
            iss: ORIGIN,
            jti: id(0xee, index as usize).parse().unwrap(),
            iat: Timestamp(1_764_060_000 + index as i64),
            by: OperatorId(id(0x0b, 2).parse().unwrap()),
            at: says_when.then_some(Timestamp(1_764_050_000)),
            keys: self.keys,
            drafts,
            prev: subjects
                .iter()
                .map(|subject| (*subject, self.chains.get(subject).copied()))
                .collect(),
        };
        let mut seed = [0x44; 32];
        seed[0] = index as u8;
        let Ok(sealed) = seal(&unsealed, &self.recorder, &mut Draw::new(seed)) else {
            return false;
        };
        for subject in subjects {
            self.chains.insert(subject, sealed.leaf);
        }
        self.golden.push(Golden {
            name: name.to_owned(),
            index,
            x: self.recorder.public().to_base64url(),
            leaf: sealed.leaf.to_base64url(),
            entry: String::from_utf8(sealed.entry.to_vec()).unwrap(),
            disclosures: sealed
                .disclosures
                .into_iter()
                .map(|d| GoldenDisclosure {
                    event: d.event,
                    member: d.member,
                    text: d.text,
                })
                .collect(),
        });
        true
    }

    fn one(&mut self, kind: &str, members: Value) {
        assert!(self.entry(&format!("{kind}.v1"), &[draft(kind, members)], &[]));
    }

    /// As many as fit, at most 64.
    fn longest(&mut self, kind: &str, drafts: impl Fn(usize) -> Vec<Draft>) {
        self.most(kind, 64, drafts);
    }

    fn most(&mut self, kind: &str, together: usize, drafts: impl Fn(usize) -> Vec<Draft>) {
        let name = format!("{kind}.v1.longest");
        let fits = (1..=together)
            .rev()
            .any(|count| self.entry(&name, &drafts(count), &[]));
        assert!(
            fits,
            "a single {kind} makes an entry that is too long to be sealed"
        );
    }

    /// The rest: a plain entry of each kind that has none yet, and the longest of each.
    fn rows(&mut self) {
        for row in rows() {
            let plain = format!("{}.v1", row.kind);
            if !self.golden.iter().any(|golden| golden.name == plain) {
                assert!(self.entry(&plain, &(row.entry)(1), &[]));
            }
            self.most(row.kind, row.together, row.entry);
        }
    }
}

/// How each kind that came later, and the longest entry of each, is made: in the order in which they are sealed.
pub fn rows() -> impl Iterator<Item = &'static longest::Row> {
    longest::ROWS
        .iter()
        .chain(life::ROWS)
        .chain(prices::ROWS)
        .chain(photographs::ROWS)
        .chain(prints::ROWS)
        .chain(operators::ROWS)
}

/// Entries from here on were added later, with every member that an entry may have.
const FIRST_ROW: u64 = 35;

const PIECE: u8 = 0x91;
const MELT: u8 = 0x3e;
const LOT: u8 = 0x10;
const SESSION: u8 = 0x5e;
const SCALE: u8 = 0x5c;
const JAR: u8 = 0x7a;
const SERIES: u8 = 0x50;
const CERTIFICATE: u8 = 0xce;

fn issued(number: usize) -> Value {
    json!({"certificate": id(CERTIFICATE, number), "piece": id(PIECE, number), "issue": 1, "serial": "TW-0007-65",
        "series": id(SERIES, 1), "number": 7, "of": 12, "metal": "silver", "fineness": "999.0",
        "basis": "declared", "hallmark": "not_hallmarked", "session": id(SESSION, 1), "mass": "50.42",
        "uncertainty": "0.03", "at_least": "50.39"})
}

fn inputs(count: usize) -> Value {
    let lots = (0..count).map(|n| json!({"from": "lot", "lot": id(LOT, n + 1), "mass": "400.00"}));
    json!(lots.collect::<Vec<_>>())
}

fn melt_closed(melt: usize, pieces: usize) -> Value {
    let pieces = (0..pieces).map(|n| json!({"piece": id(PIECE, n + 1), "mass": "50.60"}));
    json!({"melt": id(MELT, melt), "metal": "silver", "session": id(SESSION, 1),
        "inputs": [{"from": "lot", "lot": id(LOT, 1), "mass": "400.0"},
                   {"from": "heel", "melt": id(MELT, 2), "mass": "12.30"},
                   {"from": "jar", "jar": id(JAR, 1), "mass": "3.21", "holds": [{"melt": id(MELT, 2), "mass": "3.25"}]},
                   {"from": "piece", "piece": id(PIECE, 200), "melt": id(MELT, 2), "mass": "49.10"}],
        "charge": "464.61", "fineness": "999.0", "pieces": pieces.collect::<Vec<_>>(), "heel": "9.80",
        "prills": {"jar": id(JAR, 1), "mass": "1.20"}, "loss": "-0.02"})
}

/// The whole of it.
pub fn workshop() -> Workshop {
    let mut w = Workshop {
        golden: Vec::new(),
        chains: BTreeMap::new(),
        keys: None,
        recorder: recorder(),
    };
    for (name, role, signer) in [
        ("key.added.v1.root", "root", root()),
        ("key.added.v1", "recorder", recorder()),
        ("key.added.v1.log", "log", log_key()),
    ] {
        w.key(
            name,
            "key.added",
            json!({"kid": signer.kid(), "role": role, "x": signer.public().to_base64url()}),
        );
    }
    metal(&mut w);
    pieces(&mut w);
    office(&mut w);
    let second = second_recorder();
    w.key(
        "key.added.v1.second",
        "key.added",
        json!({"kid": second.kid(), "role": "recorder", "x": second.public().to_base64url()}),
    );
    w.recorder = second;
    w.rows();
    w
}

fn metal(w: &mut Workshop) {
    w.one(
        "scale.registered",
        json!({"scale": id(SCALE, 1), "class": "II", "e": "0.10", "d": "0.01", "max": "2000.00",
        "verified": true, "repeatability": "0.005"}),
    );
    w.one(
        "session.opened",
        json!({"session": id(SESSION, 1), "scale": id(SCALE, 1), "nominal": "50.00", "reading": "50.00"}),
    );
    w.one(
        "session.checked",
        json!({"session": id(SESSION, 1), "nominal": "50.00", "reading": "50.01", "held": true}),
    );
    w.one(
        "lot.received",
        json!({"lot": id(LOT, 1), "number": 1, "metal": "silver", "fineness": "999.9", "basis": "declared",
        "session": id(SESSION, 1), "mass": "1000.40", "invoiced": "1000.50"}),
    );
    w.one(
        "jar.opened",
        json!({"jar": id(JAR, 1), "metal": "silver", "fineness": "999.0", "residue": "prills"}),
    );
    w.one("series.opened", json!({"series": id(SERIES, 1), "code": "TW", "kind_of": "edition", "metal": "silver",
        "fineness": "999.0", "unit": "g", "shapes": [{"shape": "oval", "size": 12}, {"shape": "slab", "size": 12}],
        "limits": {"nominal": "50.00", "lower": "50.00", "upper": "51.20"}, "digits": 4, "marking": "exempt",
        "ground": "below_weight"}));
    w.one(
        "melt.charged",
        json!({"melt": id(MELT, 1), "number": 1, "metal": "silver", "session": id(SESSION, 1),
        "inputs": inputs(1), "charge": "400.00", "fineness": "999.9"}),
    );
    w.one("melt.closed", melt_closed(1, 6));
    w.longest("melt.charged", |n| {
        vec![draft(
            "melt.charged",
            json!({"melt": id(MELT, 3), "number": 3, "metal": "silver",
        "session": id(SESSION, 1), "inputs": inputs(n - 1), "charge": "25200.00", "fineness": "999.9"}),
        )]
    });
    w.longest("melt.closed", |n| {
        vec![draft("melt.closed", melt_closed(3, n * 8))]
    });
    w.one(
        "jar.filled",
        json!({"jar": id(JAR, 1), "melt": id(MELT, 1), "mass": "1.20"}),
    );
    w.one(
        "session.closed",
        json!({"session": id(SESSION, 1), "nominal": "50.00", "reading": "50.03", "held": true}),
    );
}

fn pieces(w: &mut Workshop) {
    let poured = |n: usize| {
        json!({"piece": id(PIECE, n), "melt": id(MELT, 1), "pour": format!("1-{n:02}"),
        "series": id(SERIES, 1), "shape": "oval"})
    };
    let weighed = |n: usize| json!({"piece": id(PIECE, n), "session": id(SESSION, 1), "stage": "from_mould", "mass": "50.60"});
    let graded = |n: usize| {
        json!({"piece": id(PIECE, n), "rule": "guarded-1", "grade": "accepted", "lower": "50.00",
        "upper": "51.20", "guard": "0.025"})
    };
    w.one("piece.poured", poured(1));
    w.one("piece.weighed", weighed(1));
    w.one("piece.graded", graded(1));
    w.longest("piece.poured", |n| {
        (1..=n).map(|n| draft("piece.poured", poured(n))).collect()
    });
    w.longest("piece.weighed", |n| {
        (1..=n)
            .flat_map(|n| {
                [
                    draft("piece.weighed", weighed(n)),
                    draft("piece.graded", graded(n)),
                ]
            })
            .collect()
    });
    w.one(
        "piece.faulted",
        json!({"piece": id(PIECE, 2), "fault": "cold_shut"}),
    );
    w.one(
        "piece.finished",
        json!({"piece": id(PIECE, 1), "jar": id(JAR, 1), "filed": "0.18"}),
    );
    w.one(
        "piece.moved",
        json!({"piece": id(PIECE, 3), "from": id(SERIES, 1), "to": id(SERIES, 2)}),
    );
    w.one(
        "piece.condemned",
        json!({"piece": id(PIECE, 2), "reason": "faulty"}),
    );
    w.one(
        "piece.remelted",
        json!({"piece": id(PIECE, 2), "melt": id(MELT, 3)}),
    );
    w.one(
        "piece.serialled",
        json!({"piece": id(PIECE, 1), "series": id(SERIES, 1), "serial": "TW-0007-65"}),
    );
    w.one(
        "piece.numbered",
        json!({"piece": id(PIECE, 1), "series": id(SERIES, 1), "shape": "oval", "number": 7, "of": 12}),
    );
}

fn office(w: &mut Workshop) {
    let certified = |n: usize| json!({"piece": id(PIECE, n), "certificate": id(CERTIFICATE, n), "issue": 1});
    w.one("certificate.issued", issued(1));
    w.one("piece.certified", certified(1));
    w.longest("certificate.issued", |n| {
        (1..=n)
            .flat_map(|n| {
                [
                    draft("certificate.issued", issued(n)),
                    draft("piece.certified", certified(n)),
                ]
            })
            .collect()
    });
    w.one(
        "certificate.superseded",
        json!({"certificate": id(CERTIFICATE, 1), "by": id(CERTIFICATE, 2), "reason": "damaged"}),
    );
    w.one("clock.set", json!({"to": 1_764_070_000}));
    let lot = w
        .golden
        .iter()
        .find(|golden| golden.name == "lot.received.v1")
        .unwrap()
        .clone();
    let erased = draft(
        "field.erased",
        json!({"index": lot.index, "entry": lot.leaf, "event": 0, "member": "note", "reason": "request"}),
    );
    assert!(w.entry("field.erased.v1", &[erased], &[id(LOT, 1)]));
    w.key(
        "key.suspect.v1",
        "key.suspect",
        json!({"kid": recorder().kid(), "from": 9}),
    );
    w.key("key.revoked.v1", "key.revoked", json!({"kid": recorder().kid()}));
}
