//! Files altered by somebody who holds no key: bytes, proofs, checkpoints, what stands around them.

use super::super::little_log::LittleLog;
use super::{Dice, Out, Shelf};
use pourbook::check::ProofFile;
use pourbook::domain::PieceId;
use pourbook::proof::{Hash, TlogProof};
use uuid::Uuid;

const JUNK: &[&str] = &[
    "\u{0}", " ", "\n", "\t", "\u{feff}", "\u{2028}", "é", "e\u{301}", "🜚", "\\ud800", "\\u0041", "\"", "\\",
    "~", "=", "+", "/", "1e3", "1.0", "-0", "null", "{}", "[]", ",", "\"v\":1,", "\u{7f}", "\u{202e}",
];

const ROOTS: &[&str] = &["kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k", ""];
/// What is put into the text of a proof.
const PUT_IN: &[&str] = &["=", "\n", "\n\n", "extra ", " ", "A", "0"];

/// Writes so many.
pub fn write(out: &mut Out, shelves: &[Shelf], dice: &mut Dice, count: usize) {
    for _ in 0..count {
        let shelf = dice.one(shelves);
        let (piece, serial) = dice.one(&shelf.pieces);
        let file = shelf.log.proof(*piece, serial);
        let root = shelf.log.root();
        match dice.below(10) {
            0..=2 => out.give("bytes altered", &bytes(&file, dice), root),
            3..=4 => out.file(
                "proofs dropped, doubled, swapped, foreign",
                &proofs(&file, shelves, dice),
                root,
            ),
            5 => out.file("members altered", &members(&file, dice), root),
            6 => out.file("older checkpoint", &older(shelf, *piece, serial, dice), root),
            7..=8 => out.file("a proof altered", &proof(&file, &shelf.log, dice), root),
            _ => {
                let other: &&str = dice.one(ROOTS);
                out.file("another root", &file, other);
            }
        }
    }
}

fn bytes(file: &ProofFile, dice: &mut Dice) -> Vec<u8> {
    let mut bytes = file.to_bytes();
    for _ in 0..=dice.below(2) {
        let place = dice.below(bytes.len());
        match dice.below(6) {
            0 | 1 => bytes[place] ^= 1 << dice.below(8),
            2 => bytes.truncate(place),
            3 => {
                bytes.remove(place);
            }
            4 => drop(bytes.splice(place..place, dice.one(JUNK).bytes())),
            _ => {
                let end = (place + dice.below(200)).min(bytes.len());
                bytes.drain(place..end);
            }
        }
        if bytes.is_empty() {
            break;
        }
    }
    bytes
}

fn proofs(file: &ProofFile, shelves: &[Shelf], dice: &mut Dice) -> ProofFile {
    let mut file = file.clone();
    let place = dice.below(file.proofs.len());
    let other = dice.below(file.proofs.len());
    match dice.below(5) {
        0 | 1 => drop(file.proofs.remove(place)),
        2 => file.proofs.insert(place, file.proofs[place].clone()),
        3 => file.proofs.swap(place, other),
        _ => {
            // Of another piece, of this book or of another one.
            let shelf = dice.one(shelves);
            let (piece, serial) = dice.one(&shelf.pieces);
            let foreign = shelf.log.proof(*piece, serial);
            let foreign = dice.one(&foreign.proofs).clone();
            let index = |text: &String| TlogProof::parse(text).unwrap().index;
            let after = file
                .proofs
                .iter()
                .position(|proof| index(proof) >= index(&foreign));
            let place = after.unwrap_or(file.proofs.len());
            if place < file.proofs.len() && (index(&file.proofs[place]) == index(&foreign) || dice.chance(30))
            {
                file.proofs[place] = foreign;
            } else {
                file.proofs.insert(place, foreign);
            }
        }
    }
    file
}

fn members(file: &ProofFile, dice: &mut Dice) -> ProofFile {
    let mut file = file.clone();
    match dice.below(7) {
        0 => file.origin = "other.example/log".to_owned(),
        1 => file.origin = (*dice.one(JUNK)).to_owned(),
        2 => file.serial = "TW-0007-65".parse().unwrap(),
        3 => file.piece = PieceId(Uuid::from_u128(u128::from(dice.roll()))),
        4 => file.traced = (*dice.one(&["0.9999", "0", "1.0", "", "0.0001"])).to_owned(),
        5 => file.policy = format!("quorum none\n{}", dice.one(JUNK)),
        _ => file.v = 2,
    }
    file
}

fn older(shelf: &Shelf, piece: PieceId, serial: &pourbook::domain::Serial, dice: &mut Dice) -> ProofFile {
    let log = &shelf.log;
    let newest = log.proof(piece, serial);
    let size = 4 + dice.below(log.size() as usize - 3) as u64;
    let note = log.checkpoint(size, 3);
    if dice.chance(60)
        && let Some((file, _)) = log.proof_at(piece, serial, size, &note)
    {
        return file;
    }
    // The older checkpoint put under newer paths, everywhere or once.
    let mut file = newest;
    let everywhere = dice.chance(70);
    let once = dice.below(file.proofs.len());
    for (place, text) in file.proofs.iter_mut().enumerate() {
        if everywhere || place == once {
            let mut proof = TlogProof::parse(text).unwrap();
            proof.checkpoint = note.clone();
            *text = proof.to_string();
        }
    }
    file
}

fn proof(file: &ProofFile, log: &LittleLog, dice: &mut Dice) -> ProofFile {
    let mut file = file.clone();
    if dice.chance(40) {
        let note = notes(&TlogProof::parse(&file.proofs[0]).unwrap().checkpoint, log, dice);
        for text in &mut file.proofs {
            let mut proof = TlogProof::parse(text).unwrap();
            proof.checkpoint = note.clone();
            *text = proof.to_string();
        }
        return file;
    }
    let place = dice.below(file.proofs.len());
    let mut proof = TlogProof::parse(&file.proofs[place]).unwrap();
    match dice.below(8) {
        0 => proof.index = proof.index.wrapping_add(1),
        1 => proof.index = *dice.one(&[0, u64::MAX, 1 << 53, log.size()]),
        2 if !proof.path.is_empty() => {
            let at = dice.below(proof.path.len());
            proof.path[at] = Hash([7; 32]);
        }
        3 => drop(proof.path.pop()),
        4 => proof.path.extend(vec![Hash([9; 32]); dice.below(70)]),
        5 => proof.extra = None,
        6 => proof.extra = proof.extra.map(|extra| [extra, b"WyJhIl0~".to_vec()].concat()),
        _ => drop(proof.extra.as_mut().and_then(Vec::pop)),
    }
    file.proofs[place] = proof.to_string();
    if dice.chance(25) {
        let text = &mut file.proofs[place];
        let at = dice.below(text.len());
        if text.is_char_boundary(at) {
            let put_in: &&str = dice.one(PUT_IN);
            text.insert_str(at, put_in);
        }
    }
    file
}

/// A note under other signatures.
fn notes(note: &str, log: &LittleLog, dice: &mut Dice) -> String {
    let (text, line) = note.split_once("\n\n").unwrap();
    let foreign = log.checkpoint(log.size(), 7);
    let foreign_line = foreign.split_once("\n\n").unwrap().1;
    match dice.below(12) {
        0 => foreign,
        1 => format!("{text}\n\n{line}{foreign_line}"),
        2 => format!("{text}\n\n{foreign_line}{line}"),
        3 => format!("{text}\nmore\n\n{line}"),
        4 => format!("{text}\n\n{line}{line}"),
        5 => format!("{text}\n\n{}", line.replacen("AA", "AB", 1)),
        6 => format!("{text}\n\n{}", line.replace("\u{2014}", "-")),
        7 => format!("{text}\n\n{line}no signature\n"),
        8 => format!("{text}\n\n{}\u{2014} a+b AAAAAAAA\n", line),
        9 => format!("{text}\n\n{}", format!("{line}{foreign_line}").repeat(40)),
        10 => format!("{text}\n\n{line}\u{2014} other\u{a0}name AAAAAAAA\n"),
        _ => {
            let mut bytes: Vec<char> = note.chars().collect();
            let at = dice.below(bytes.len());
            bytes[at] = *dice.one(&['A', 'b', '1', '\n', ' ', '\t']);
            bytes.into_iter().collect()
        }
    }
}
