//! Logs in which a workshop lies with its own keys: an event altered, left out, doubled, put elsewhere, or a figure changed
//! wherever it stands; and lies about the keys themselves. All is chained and signed as if it were true.

use super::super::little_log::{LittleLog, Said, added};
use super::{Dice, Out, Shelf};
use pourbook::domain::{
    Draft, Event, KeyAdded, KeyRevoked, KeyRole, KeySuspect, MeltId, MeltInput, PhotographHash,
    PhotographSide, PhotographStage, PieceId, PiecePhotographed, Private, Serial,
};
use pourbook::metal::Mass;
use pourbook::node::BookReader;
use pourbook::proof::TlogProof;
use pourbook::record::{Signer, read};
use serde_json::Value;
use std::collections::HashMap;

/// The log of a book, to be signed by the keys of the seeds 1, 2 and 3.
pub fn shelf_of_log(entries: &[Vec<u8>], serials: &[Serial], reader: &BookReader) -> Shelf {
    let mut seeds: HashMap<String, u8> = HashMap::new();
    let mut said = Vec::new();
    for (place, bytes) in (0..).zip(entries) {
        let entry = read(bytes).unwrap();
        if let Some(Event::KeyAdded(e)) = entry.events().next() {
            let seed = seeds.len() as u8 + 1;
            seeds.insert(e.kid.clone(), seed);
            said.push(Said::of_key(place, added(seed, e.role)));
            continue;
        }
        let drafts = entry.events().map(|event| Draft {
            event: event.clone(),
            private: Private::none(),
        });
        said.push(Said {
            place,
            at: entry.payload.iat,
            by: entry.payload.by,
            drafts: drafts.collect(),
            subjects: entry.payload.prev.keys().copied().collect(),
            signer: seeds[&entry.kid],
        });
    }
    let pieces = serials
        .iter()
        .map(|serial| (reader.piece(serial).unwrap(), serial.clone()));
    Shelf {
        log: LittleLog::of(&said).unwrap(),
        said,
        pieces: pieces.collect(),
    }
}

/// Writes until there are so many files in all.
pub fn write(out: &mut Out, story: &Shelf, told: &[Shelf], random: &[Shelf], dice: &mut Dice, wanted: usize) {
    for (piece, serial) in &story.pieces {
        out.file(
            "true, signed anew",
            &story.log.proof(*piece, serial),
            story.log.root(),
        );
    }
    while out.count < wanted {
        // A long log takes long to sign, so more of its pieces are looked at each time.
        let (shelf, pieces) = match dice.below(20) {
            0 => (story, 6),
            1..=4 => (dice.one(random), 3),
            _ => (dice.one(told), 1),
        };
        let (piece, serial) = dice.one(&shelf.pieces).clone();
        let behind = indexes(&shelf.log.proof(piece, &serial).proofs);
        let Some((kind, said)) = lie(&shelf.said, &behind, dice) else {
            continue;
        };
        let Some(log) = LittleLog::of(&said) else { continue };
        for number in 0..pieces {
            let (piece, serial) = match number {
                0 => (piece, serial.clone()),
                _ => dice.one(&shelf.pieces).clone(),
            };
            told_by(out, kind, &log, shelf, piece, &serial);
        }
    }
}

/// Melts that each take the heel of the two before hundreds of times: the shares grow beyond counting.
pub fn beyond_counting(out: &mut Out, shelf: &Shelf) {
    let (piece, serial) = &shelf.pieces[0];
    let is_close = |one: &Said| matches!(one.drafts[0].event, Event::MeltClosed(_));
    let place = shelf.said.iter().position(is_close).unwrap();
    let id = |number: u128| MeltId(uuid::Uuid::from_u128(number));
    let grain = Mass::from_units(1).unwrap();
    let taking = |number: u128| {
        let heel = |before: u128| MeltInput::Heel {
            melt: id(number - before),
            mass: grain,
        };
        (0..130).flat_map(|_| [heel(1), heel(2)]).collect::<Vec<_>>()
    };
    let mut said = shelf.said.clone();
    let melts = (10..50).map(|number| {
        let mut one = shelf.said[place].clone();
        one.place = u64::MAX;
        one.drafts.truncate(1);
        if let Event::MeltClosed(e) = &mut one.drafts[0].event {
            (e.melt, e.inputs, e.charge) = (id(number), taking(number), grain);
        }
        moved_anew(&mut one);
        one
    });
    drop(said.splice(place..place, melts));
    if let Event::MeltClosed(e) = &mut said[place + 40].drafts[0].event {
        (e.inputs, e.charge) = (taking(50), grain);
    }
    let log = LittleLog::of(&said).unwrap();
    told_by(out, "lies: shares beyond counting", &log, shelf, *piece, serial);
}

fn indexes(proofs: &[String]) -> Vec<u64> {
    proofs
        .iter()
        .map(|proof| TlogProof::parse(proof).unwrap().index)
        .collect()
}

/// The file of a piece in a log of lies: what is behind it there or, where that cannot be followed, what was behind it before.
fn told_by(out: &mut Out, kind: &str, log: &LittleLog, shelf: &Shelf, piece: PieceId, serial: &Serial) {
    let note = log.checkpoint(log.size(), 3);
    let file = match log.proof_at(piece, serial, log.size(), &note) {
        Some((file, _)) => file,
        None => {
            let mut file = shelf.log.proof(piece, serial);
            let proofs = indexes(&file.proofs)
                .into_iter()
                .filter_map(|index| log.proof_of(index));
            file.proofs = proofs.map(|proof| proof.to_string()).collect();
            file
        }
    };
    out.file(kind, &file, log.root());
}

/// One lie about what stands behind a piece.
fn lie(said: &[Said], behind: &[u64], dice: &mut Dice) -> Option<(&'static str, Vec<Said>)> {
    let mut said = said.to_vec();
    let places: Vec<usize> = behind.iter().map(|index| *index as usize).collect();
    let places: Vec<usize> = places
        .into_iter()
        .filter(|place| !said[*place].is_about_keys())
        .collect();
    let place = *dice.one(&places);
    let kind = match dice.below(13) {
        0..=4 => {
            for _ in 0..=dice.below(2) {
                let place = *dice.one(&places);
                let pool = said[*dice.one(&places)].drafts.clone();
                let at = dice.below(said[place].drafts.len());
                let event = twisted(&said[place].drafts[at].event, &pool, dice)?;
                said[place].drafts[at].event = event;
                moved_anew(&mut said[place]);
            }
            "lies: an event altered"
        }
        5 | 6 => {
            everywhere(&mut said, place, dice)?;
            "lies: a figure altered everywhere"
        }
        7 => {
            said.remove(place);
            "lies: an entry left out"
        }
        8 => {
            let again = said[place].clone();
            said.insert(dice.below(said.len() - place) + place + 1, again);
            "lies: an entry doubled"
        }
        9 => {
            let other = *dice.one(&places);
            said.swap(place, other);
            "lies: entries change places"
        }
        10 => {
            let drafts = &mut said[place].drafts;
            if drafts.len() < 2 {
                return None;
            }
            drafts.remove(dice.below(drafts.len()));
            moved_anew(&mut said[place]);
            "lies: an event left out"
        }
        11 => {
            photographed(&mut said, &places, dice)?;
            "photographed, in its time or not"
        }
        _ => {
            let other = *dice.one(&places);
            let draft = dice.one(&said[other].drafts).clone();
            let at = dice.below(said[place].drafts.len() + 1);
            said[place].drafts.insert(at, draft);
            moved_anew(&mut said[place]);
            "lies: an event of another entry"
        }
    };
    Some((kind, said))
}

/// Photographs of the piece put into the log somewhere, of a stage that had come about then or not.
fn photographed(said: &mut Vec<Said>, places: &[usize], dice: &mut Dice) -> Option<()> {
    let piece = places
        .iter()
        .find_map(|place| said[*place].drafts.iter().find_map(|draft| draft.event.piece()))?;
    let many = if dice.chance(10) { 26 } else { dice.below(3) + 1 };
    for number in 0..many {
        let place = *dice.one(places) + 1;
        let mut one = said[place - 1].clone();
        let seen = if dice.chance(10) { 0 } else { number };
        let event = PiecePhotographed {
            piece,
            photograph: PhotographHash::of(&[seen as u8]),
            thumbnail: PhotographHash::of(b"small"),
            width: 640,
            height: 480,
            stage: *dice.one(PhotographStage::ALL),
            side: *dice.one(PhotographSide::ALL),
        };
        one.place = u64::MAX;
        one.drafts = vec![Draft {
            event: event.into(),
            private: Private::none(),
        }];
        moved_anew(&mut one);
        said.insert(place, one);
    }
    Some(())
}

/// The chains of an entry that says something else.
fn moved_anew(said: &mut Said) {
    let named = said
        .drafts
        .iter()
        .any(|draft| matches!(draft.event, Event::EntryCorrected(_) | Event::FieldErased(_)));
    let subjects = said.drafts.iter().flat_map(|draft| draft.event.subjects());
    said.subjects = if named {
        said.subjects.iter().copied().chain(subjects).collect()
    } else {
        subjects.collect()
    };
}

fn read_event(kind: &str, members: Value) -> Option<Event> {
    Event::from_members(kind, members)?.ok()
}

/// The event with one of its values altered, if that is an event still.
fn twisted(event: &Event, pool: &[Draft], dice: &mut Dice) -> Option<Event> {
    let others: Vec<Value> = pool
        .iter()
        .map(|draft| serde_json::to_value(&draft.event).unwrap())
        .collect();
    let mut strings = Vec::new();
    others.iter().for_each(|value| gather(value, &mut strings));
    for _ in 0..40 {
        let mut value = serde_json::to_value(event).unwrap();
        twist(&mut value, &strings, dice);
        let altered = read_event(event.kind(), value).filter(|altered| altered != event);
        if altered.is_some() {
            return altered;
        }
    }
    None
}

fn gather(value: &Value, strings: &mut Vec<String>) {
    match value {
        Value::String(text) => strings.push(text.clone()),
        Value::Array(list) => list.iter().for_each(|one| gather(one, strings)),
        Value::Object(members) => members.values().for_each(|one| gather(one, strings)),
        _ => {}
    }
}

const WORDS: &[&str] = &[
    "silver",
    "gold",
    "copper",
    "declared",
    "assayed",
    "hallmarked",
    "from_mould",
    "finished",
    "final",
    "returned",
    "accepted",
    "under",
    "over",
    "borderline",
    "faulty",
    "required",
    "exempt",
    "edition",
    "open",
    "good",
    "double",
    "sponsor",
    "fineness",
    "office",
    "date_letter",
    "other",
    "below_standard",
    "damaged",
    "I",
    "II",
    "III",
    "hung",
    "cup",
    "unwanted",
    "mis_struck",
    "not_hallmarked",
    "oval",
    "slab",
    "0",
    "0.01",
    "1000",
    "999.9",
    "925",
    "50.40",
    "-0.01",
];

fn twist(value: &mut Value, strings: &[String], dice: &mut Dice) {
    match value {
        Value::String(text) => *text = another(text, strings, dice),
        Value::Bool(flag) => *flag = !*flag,
        Value::Number(number) => {
            let count = number.as_u64().unwrap_or(0);
            *value = match dice.below(5) {
                0 => 0.into(),
                1 => count.saturating_sub(1).into(),
                2 => u32::MAX.into(),
                _ => count.saturating_add(1).into(),
            };
        }
        Value::Array(list) if !list.is_empty() => {
            let at = dice.below(list.len());
            match dice.below(8) {
                0 => drop(list.remove(at)),
                1 => list.push(list[at].clone()),
                2 => list.reverse(),
                3 => list.clear(),
                _ => twist(&mut list[at], strings, dice),
            }
        }
        Value::Object(members) if !members.is_empty() => {
            let names: Vec<String> = members.keys().cloned().collect();
            let name = dice.one(&names);
            match dice.below(12) {
                0 => drop(members.remove(name)),
                1 => {
                    let flags = ["unnumbered", "number_on_metal", "struck", "spares_sold"];
                    members.insert((*dice.one(&flags)).to_owned(), true.into());
                }
                2 => {
                    let optional = [
                        "assay", "number", "of", "marks", "lower", "upper", "guard", "outturn",
                    ];
                    let text = if strings.is_empty() {
                        "1".to_owned()
                    } else {
                        dice.one(strings).clone()
                    };
                    members.insert((*dice.one(&optional)).to_owned(), text.into());
                }
                _ => twist(&mut members[name.as_str()], strings, dice),
            }
        }
        _ => {}
    }
}

fn another(text: &str, strings: &[String], dice: &mut Dice) -> String {
    let decimal = text
        .trim_start_matches('-')
        .bytes()
        .all(|b| b.is_ascii_digit() || b == b'.')
        && !text.is_empty();
    match dice.below(10) {
        0..=3 if decimal => nudged(text, dice),
        4 if text.len() == 36 => uuid::Uuid::from_u128(u128::from(dice.roll())).to_string(),
        0..=6 if !strings.is_empty() => dice.one(strings).clone(),
        _ => (*dice.one(WORDS)).to_owned(),
    }
}

/// One of the digits, changed a little.
fn nudged(text: &str, dice: &mut Dice) -> String {
    let mut bytes = text.as_bytes().to_vec();
    let digits: Vec<usize> = (0..bytes.len())
        .filter(|at| bytes[*at].is_ascii_digit())
        .collect();
    let at = match dice.chance(60) {
        true => *digits.last().unwrap(),
        false => *dice.one(&digits),
    };
    bytes[at] = b'0' + (bytes[at] - b'0' + 1 + dice.below(9) as u8) % 10;
    String::from_utf8(bytes).unwrap()
}

/// One text of an event changed in the same way wherever it stands in the log.
fn everywhere(said: &mut [Said], place: usize, dice: &mut Dice) -> Option<()> {
    let draft = dice.one(&said[place].drafts);
    let mut strings = Vec::new();
    gather(&serde_json::to_value(&draft.event).unwrap(), &mut strings);
    let old = dice.one(&strings).clone();
    let new = another(&old, &strings, dice);
    let mut changed = 0;
    for one in said.iter_mut().filter(|one| !one.is_about_keys()) {
        let before = changed;
        for draft in &mut one.drafts {
            let mut value = serde_json::to_value(&draft.event).unwrap();
            if replace(&mut value, &old, &new) {
                draft.event = read_event(draft.event.kind(), value)?;
                changed += 1;
            }
        }
        if changed > before {
            moved_anew(one);
        }
    }
    (changed > 0 && old != new).then_some(())
}

fn replace(value: &mut Value, old: &str, new: &str) -> bool {
    match value {
        Value::String(text) if text == old => {
            new.clone_into(text);
            true
        }
        Value::Array(list) => list
            .iter_mut()
            .fold(false, |any, one| replace(one, old, new) | any),
        Value::Object(members) => members
            .values_mut()
            .fold(false, |any, one| replace(one, old, new) | any),
        _ => false,
    }
}

/// A key that no signature can be made for: no point of the curve, of small order, or an alias.
const BAD_KEYS: &[&str] = &[
    "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
    "AQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
    "AgAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
    "AwAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
    "BAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
    "BQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA",
    "7P_______________________________________38",
    "7f_______________________________________38",
    "7v_______________________________________38",
    "8P_______________________________________38",
    "xxdqcD1N2E-6PAt2DRBnDyogU_osOczGTsf9d5KsA3o",
    "JuiVj8KyJ7BFw_SJ8u-Y8NXfrAXTxjM5sTgCiG1T_AU",
    "too short",
];

fn key_events(dice: &mut Dice) -> Event {
    let seed = dice.below(5) as u8 + 1;
    let kid = Signer::from_seed(&[seed; 32]).kid().to_owned();
    match dice.below(5) {
        0 => added(seed, *dice.one(KeyRole::ALL)),
        1 => KeyRevoked { kid }.into(),
        2 => KeySuspect {
            kid,
            from: dice.below(60) as u64,
        }
        .into(),
        3 => {
            let x = (*dice.one(BAD_KEYS)).to_owned();
            let bytes = pourbook::proof::Hash::from_base64url(&x).map_or([0; 32], |hash| hash.0);
            KeyAdded {
                kid: pourbook::record::thumbprint(&bytes),
                role: KeyRole::Recorder,
                x,
            }
            .into()
        }
        _ => KeyAdded {
            kid,
            role: KeyRole::Recorder,
            x: Signer::from_seed(&[9; 32]).public().to_base64url(),
        }
        .into(),
    }
}

/// Writes so many logs with keys added, revoked and doubted, in their right or by the wrong hands.
pub fn about_keys(out: &mut Out, shelves: &[Shelf], dice: &mut Dice, count: usize) {
    for _ in 0..count {
        let shelf = dice.one(shelves);
        let (piece, serial) = dice.one(&shelf.pieces).clone();
        let mut said = shelf.said.clone();
        for _ in 0..=dice.below(3) {
            let at = dice.below(said.len() + 1);
            let mut more = Said::of_key(u64::MAX, key_events(dice));
            more.signer = if dice.chance(90) { 1 } else { 2 };
            match dice.below(10) {
                0 => drop(said.remove(dice.below(said.len().min(4)))),
                1 => said.swap(0, 1),
                2 => {
                    let last = said.len() - 1;
                    let from = 3 + dice.below(last - 2);
                    let signer = dice.below(5) as u8 + 1;
                    let others = said[from..].iter_mut().filter(|one| !one.is_about_keys());
                    others.for_each(|one| one.signer = signer);
                }
                _ => said.insert(at.max(dice.below(4)), more),
            }
        }
        let Some(log) = LittleLog::of(&said) else { continue };
        told_by(out, "lies about keys", &log, shelf, piece, &serial);
    }
}
