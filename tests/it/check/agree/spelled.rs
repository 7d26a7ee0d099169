//! Entries spelled another way: what a lenient reader would take for the same, and what none should take. Nobody signs them, so
//! those that can be read fail later; what is compared here is whether they can be read.

use super::super::super::record::golden::golden;
use super::{Dice, Out, Shelf};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use pourbook::check::ProofFile;
use pourbook::proof::TlogProof;

/// What may stand where a value stands.
const VALUES: &[&str] = &[
    "null",
    "true",
    "false",
    "0",
    "1",
    "2",
    "-1",
    "-0",
    "1.0",
    "1e0",
    "01",
    "4294967295",
    "4294967296",
    "65536",
    "256",
    "9223372036854775808",
    "-9223372036854775809",
    "18446744073709551615",
    "18446744073709551616",
    "1e400",
    "\"\"",
    "\"1\"",
    "\"50.40\"",
    "\"50.4\"",
    "\"50.400\"",
    "\"050.40\"",
    "\"5e1\"",
    "\"+5\"",
    "\"-5\"",
    "\"-0\"",
    "\"0\"",
    "\"0.00\"",
    "\"50,4\"",
    "\".5\"",
    "\"5.\"",
    "\"1000\"",
    "\"1000.0\"",
    "\"999.0\"",
    "\"1001\"",
    "\"100000000.00\"",
    "\"100000000.01\"",
    "\"0.000001\"",
    "\"g\"",
    "\"silver\"",
    "\"Silver\"",
    "\"final\"",
    "\"accepted\"",
    "\"guarded-2\"",
    "\"I\"",
    "\"IIII\"",
    "\"2026-02-29\"",
    "\"2026-11-25\"",
    "\"2024-02-29\"",
    "\"DW\"",
    "\"DIL\"",
    "\"TW-0007-65\"",
    "\"TW-0007-66\"",
    "\"tw-0007-65\"",
    "\"oval\"",
    "\"Oval\"",
    "\"\\u0031\"",
    "\"\\ud800\"",
    "\"\\ud83d\\ude00\"",
    "\"\\/\"",
    "\"\u{7f}\"",
    "\"\u{2028}\"",
    "\"50.40\\u0000\"",
    "[]",
    "{}",
    "[null]",
    "{\"a\":1,\"a\":2}",
    "{\"silver\":null}",
    "[1.5]",
    "\"7B0E1C2A-0000-4000-8000-000000000000\"",
    "\"7b0e1c2a000040008000000000000000\"",
    "\"{7b0e1c2a-0000-4000-8000-000000000000}\"",
    "\"urn:uuid:7b0e1c2a-0000-4000-8000-000000000000\"",
    "\"7b0e1c2a-0000-4000-8000-000000000000\"",
];
/// What may be put between two members.
const MEMBERS: &[&str] = &[
    "\"x\":1,",
    "\"__proto__\":{},",
    "\"constructor\":1,",
    "\"kind\":\"piece.weighed\",",
    "\"v\":1,",
    "\"_sd\":[],",
    "\"at\":null,",
    "\"at\":1790000000,",
    "\"keys\":null,",
    "\"_sd_alg\":null,",
    "\"_sd_alg\":\"sha-256\",",
    "\"mould\":null,",
    "\"owner\":null,",
    "\"\\u0076\":1,",
    "\"toString\":\"x\",",
    " ",
    "\n",
    "\t",
    "\u{a0}",
    "\u{feff}",
    "/**/",
    ",",
];

/// Writes so many: entries of files altered in their places, and golden entries of every kind behind a file.
pub fn write(out: &mut Out, shelves: &[Shelf], dice: &mut Dice, count: usize) {
    let golden = golden();
    let shelf = &shelves[0];
    let (piece, serial) = &shelf.pieces[0];
    let file = shelf.log.proof(*piece, serial);
    let size = shelf.log.size();
    let behind = |entry: &str, index: u64| {
        let mut file = file.clone();
        let mut proof = shelf.log.proof_of(size - 1).unwrap();
        (proof.index, proof.extra) = (index, Some(format!("{entry}~").into_bytes()));
        file.proofs.push(proof.to_string());
        file
    };
    let before = out.count;
    for one in &golden {
        out.file("a golden entry", &behind(&one.entry, size), shelf.log.root());
        for entry in digests_anew(&one.entry) {
            out.file(
                "digests in another order",
                &behind(&entry, size),
                shelf.log.root(),
            );
        }
    }
    for _ in out.count.saturating_sub(before)..count {
        if dice.chance(60) {
            let one = dice.one(&golden);
            out.file(
                "a golden entry spelled anew",
                &behind(&anew(&one.entry, dice), size),
                shelf.log.root(),
            );
        } else {
            let shelf = dice.one(shelves);
            let (piece, serial) = dice.one(&shelf.pieces);
            let file = shelf.log.proof(*piece, serial);
            out.file("an entry spelled anew", &within(&file, dice), shelf.log.root());
        }
    }
}

/// The digests of the first event that has two or more (RFC 9901 section 4.2.4.1 leaves their order open, an entry does not):
/// turned round, the first two changed, one twice, one left out, one more than there should be. Each also in an event of a
/// version that is not understood, where nothing but the reader's own strictness shows.
fn digests_anew(entry: &str) -> Vec<String> {
    let parts: Vec<&str> = entry.split('.').collect();
    let text = String::from_utf8(URL_SAFE_NO_PAD.decode(parts[1]).unwrap()).unwrap();
    let lists = text.match_indices("\"_sd\":[").map(|(at, name)| at + name.len());
    let list = lists
        .map(|from| (from, from + text[from..].find(']').unwrap()))
        .find(|(from, to)| text[*from..*to].contains(','));
    let Some((from, to)) = list else {
        return Vec::new();
    };
    let digests: Vec<&str> = text[from..to].split(',').collect();
    let turned = digests.iter().rev().copied().collect();
    let mut changed = digests.clone();
    changed.swap(0, 1);
    let twice = [&digests[..1], &digests].concat();
    // After any other in the order of texts: only their number is wrong.
    let last = format!("\"{}k\"", "z".repeat(42));
    let more = [&digests[..], &[last.as_str()]].concat();
    let lists: [Vec<&str>; 5] = [turned, changed, twice, digests[1..].to_vec(), more];
    let mut spelled = Vec::new();
    for list in lists {
        let known = format!("{}{}{}", &text[..from], list.join(","), &text[to..]);
        // The version that stands last before the list is that of its event.
        let version = known[..from].rfind("\"v\":1,").unwrap();
        let unknown = format!("{}\"v\":2,{}", &known[..version], &known[version + 6..]);
        spelled.extend(
            [known, unknown]
                .map(|text| format!("{}.{}.{}", parts[0], URL_SAFE_NO_PAD.encode(text), parts[2])),
        );
    }
    spelled
}

fn within(file: &ProofFile, dice: &mut Dice) -> ProofFile {
    let mut file = file.clone();
    let place = dice.below(file.proofs.len());
    let mut proof = TlogProof::parse(&file.proofs[place]).unwrap();
    let extra = proof.extra.take().unwrap();
    let entry = std::str::from_utf8(extra.strip_suffix(b"~").unwrap()).unwrap();
    proof.extra = Some(format!("{}~", anew(entry, dice)).into_bytes());
    file.proofs[place] = proof.to_string();
    file
}

/// The entry with its payload, or what stands around it, spelled another way.
fn anew(entry: &str, dice: &mut Dice) -> String {
    let parts: Vec<&str> = entry.split('.').collect();
    let (header, payload, signature) = (parts[0], parts[1], parts[2]);
    if dice.chance(12) {
        return around(entry, header, payload, signature, dice);
    }
    let text = String::from_utf8(URL_SAFE_NO_PAD.decode(payload).unwrap()).unwrap();
    let mut tokens = tokens(&text);
    // Where an event is not understood, nothing is compared with its one spelling: the reader's own strictness shows.
    if dice.chance(40) {
        not_understood(&mut tokens, dice);
    }
    for _ in 0..dice.below(3) {
        change(&mut tokens, dice);
    }
    let text = tokens.concat();
    format!("{header}.{}.{signature}", URL_SAFE_NO_PAD.encode(text))
}

fn around(entry: &str, header: &str, payload: &str, signature: &str, dice: &mut Dice) -> String {
    let heads = [
        r#"{"alg":"EdDSA","typ":"pourbook-entry+sd-jwt","kid":"MJOk_G0WEXNu0J8w0ZFAKLVf0lRkcYh57PEhm9cNm1o"}"#,
        r#"{"alg":"Ed25519","typ":"pourbook-entry+sd-jwt","kid":"MJOk_G0WEXNu0J8w0ZFAKLVf0lRkcYh57PEhm9cNm1p"}"#,
        r#"{"alg":"Ed25519","typ":"pourbook-entry+sd-jwt","kid":"MJOk_G0WEXNu0J8w0ZFAKLVf0lRkcYh57PEhm9cNm1o"} "#,
        r#"{"alg":"none"}"#,
        r#"{"alg":"Ed25519","typ":"pourbook-entry+sd-jwt","kid":"MJOk_G0WEXNu0J8w0ZFAKLVf0lRkcYh57PEhm9cNm1o","crit":["b64"]}"#,
    ];
    match dice.below(9) {
        0 => format!("{entry}."),
        1 => format!("{header}.{payload}"),
        2 => format!("{header}.{payload}={}.{signature}", ""),
        3 => format!(
            "{}.{payload}.{signature}",
            URL_SAFE_NO_PAD.encode(dice.one(&heads))
        ),
        4 => format!("{header}.{payload}.{}", &signature[1..]),
        5 => format!("{header}.{payload}.{}B", &signature[..signature.len() - 1]),
        6 => format!("{header}.{}_.{signature}", &payload[..payload.len() - 1]),
        7 => entry.replacen('-', "+", 1),
        _ => format!(
            "{header}.{payload}.{signature}{}",
            ["\n", " ", "é", "A"][dice.below(4)]
        ),
    }
}

/// The text in pieces: texts, numbers and words, and each sign.
fn tokens(text: &str) -> Vec<String> {
    let mut tokens: Vec<String> = Vec::new();
    let mut quoted = false;
    let mut glue = false;
    for sign in text.chars() {
        let plain = sign.is_ascii_alphanumeric() || "+-.".contains(sign);
        if quoted || (plain && glue) {
            tokens.last_mut().unwrap().push(sign);
            if quoted && sign == '"' {
                quoted = false;
            }
            continue;
        }
        tokens.push(sign.to_string());
        quoted = sign == '"';
        glue = plain;
    }
    tokens
}

/// Places of what is a value: not a sign, and not the name of a member.
fn values(tokens: &[String]) -> Vec<usize> {
    let is_sign = |token: &String| "{}[],:".contains(token.as_str());
    let named = |at: usize| tokens.get(at + 1).is_some_and(|next| next == ":");
    (0..tokens.len())
        .filter(|at| !is_sign(&tokens[*at]) && !named(*at))
        .collect()
}

/// Places of members whose value is short: name, colon, value, comma.
fn members(tokens: &[String]) -> Vec<usize> {
    let short = |at: &usize| {
        tokens[at + 1] == ":"
            && !"{[".contains(tokens[at + 2].as_str())
            && tokens.get(at + 3).is_some_and(|next| next == ",")
    };
    (0..tokens.len().saturating_sub(2)).filter(short).collect()
}

fn not_understood(tokens: &mut [String], dice: &mut Dice) {
    let named = |name: &str| {
        let name = format!("\"{name}\"");
        let here = (0..tokens.len())
            .filter(|at| tokens[*at] == name && tokens.get(at + 1).is_some_and(|next| next == ":"));
        here.map(|at| at + 2).collect::<Vec<_>>()
    };
    let (place, value) = match dice.chance(60) {
        true => (
            named("kind"),
            *dice.one(&[
                "\"piece.pickled\"",
                "\"a.b\"",
                "\"piece.poured2\"",
                "\"Piece.poured\"",
                "\"piece\"",
            ]),
        ),
        false => (
            named("v"),
            *dice.one(&["2", "0", "1.0", "18446744073709551615", "\"1\"", "3"]),
        ),
    };
    if !place.is_empty() {
        let at = *dice.one(&place);
        value.clone_into(&mut tokens[at]);
    }
}

fn change(tokens: &mut Vec<String>, dice: &mut Dice) {
    let (values, members) = (values(tokens), members(tokens));
    match dice.below(9) {
        0..=2 if !values.is_empty() => {
            let at = *dice.one(&values);
            // Another value, or one that stands elsewhere in the entry.
            tokens[at] = match dice.chance(70) {
                true => (*dice.one(VALUES)).to_owned(),
                false => tokens[*dice.one(&values)].clone(),
            };
        }
        3 if !members.is_empty() => {
            let at = *dice.one(&members);
            tokens.drain(at..at + 4);
        }
        4 if !members.is_empty() => {
            let at = *dice.one(&members);
            let again: Vec<String> = tokens[at..at + 4].to_vec();
            let to = *dice.one(&members);
            drop(tokens.splice(to..to, again));
        }
        5 if members.len() > 1 => {
            let at = *dice.one(&members);
            let moved: Vec<String> = tokens.drain(at..at + 4).collect();
            let to = self::members(tokens);
            let to = if to.is_empty() { at } else { *dice.one(&to) };
            drop(tokens.splice(to..to, moved));
        }
        6 if !members.is_empty() => {
            let to = *dice.one(&members);
            tokens.insert(to, (*dice.one(MEMBERS)).to_owned());
        }
        7 => {
            let at = dice.below(tokens.len());
            let one = *dice.one(&[" ", "\n", "\t", "\r", ",", "\u{b}", "", "\"", "é"]);
            if dice.chance(50) {
                tokens.insert(at, one.to_owned());
            } else {
                drop(tokens.remove(at));
            }
        }
        8 if !values.is_empty() => {
            let at = *dice.one(&values);
            let depth = *dice.one(&[
                3, 60, 118, 119, 120, 121, 122, 123, 124, 125, 126, 127, 128, 129, 400,
            ]);
            let nested = format!("{}1{}", "[".repeat(depth), "]".repeat(depth));
            tokens[at] = nested;
        }
        _ => {}
    }
}
