//! What is asked of a small workshop: bodies as the API reads them and commands, each decided by the book as it stood before one
//! of the steps of `contract::steps`.

use super::targets::text_of;
use crate::contract::steps::{AFTER, STEPS, Step};
use pourbook::accounts::Observed;
use pourbook::domain::{Book, Command, Draft, Draw, Moment, OperatorId, Stamp, Timestamp};
use pourbook::http::routes::{Deed, ROUTES, Recording, Route};
use pourbook::http::{Given, members, understood};
use pourbook::metal::Metal;
use pourbook::record::{Signer, Unsealed, seal};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::sync::LazyLock;
use uuid::Uuid;

/// Some hours after what the steps say of the times at which they were done: 14 March 2026.
const NOW: Timestamp = Timestamp(1_773_500_000);
/// Three keys stand before what a workshop records first.
const KEYS: u64 = 3;

/// A book as it stood, and the index of the next entry.
struct Stand {
    book: Book,
    next: u64,
}

/// The books of the story, one before each step and the last, and what was asked.
struct Story {
    stands: Vec<Stand>,
    bodies: Vec<Vec<u8>>,
    commands: Vec<Command>,
}

static STORY: LazyLock<Story> = LazyLock::new(Story::tell);

impl Story {
    fn tell() -> Self {
        let mut story = Self {
            stands: Vec::new(),
            bodies: Vec::new(),
            commands: Vec::new(),
        };
        let mut book = Book::default();
        let mut next = KEYS;
        let mut kept = BTreeMap::new();
        for step in STEPS.iter().chain(AFTER) {
            story.stands.push(Stand {
                book: book.clone(),
                next,
            });
            if let Some(drafts) = story.tell_step(step, &mut book, next, &kept) {
                book.keep();
                keep(step, &drafts, &mut kept);
                next += 1;
            }
        }
        story.stands.push(Stand { book, next });
        story
    }

    /// Asks what a step asks. Pictures, prints and corrections need more than a book, and what names them is left out.
    fn tell_step(
        &mut self,
        step: &Step,
        book: &mut Book,
        next: u64,
        kept: &BTreeMap<String, String>,
    ) -> Option<Vec<Draft>> {
        let filled = |text: &str| {
            let names = kept.iter().rev();
            names.fold(text.to_owned(), |text, (name, value)| {
                text.replace(&format!("${name}"), value)
            })
        };
        let (_, to) = step.to.split_once(' ').unwrap();
        let (to, body) = (filled(to), filled(step.body));
        let recording = match route(&to)?.deed {
            Deed::Command(recording) if recording.prepare.is_none() && !body.contains('$') => recording,
            _ => return None,
        };
        let mut body: Value = serde_json::from_str(&body).unwrap();
        let items = body.get_mut("items").filter(|_| recording.tray);
        for item in items.and_then(Value::as_array_mut).into_iter().flatten() {
            item["version"] = json!(1);
        }
        let place = self.stands.len() - 1;
        self.bodies.push(format!("{place} {to}\n{body}").into_bytes());
        let command = read(recording, &to, body.as_object().unwrap().clone()).unwrap();
        self.commands.push(command.clone());
        if to == "/v1/corrections" {
            return None;
        }
        let decided = book.decide(next, &command, &mut moment(next));
        // A second revocation is refused by the desk alone.
        if step.status != 201 {
            book.undo();
            return None;
        }
        Some(decided.unwrap_or_else(|refused| panic!("{to}: {body}: {refused:?}")))
    }
}

fn moment(next: u64) -> Moment {
    Moment {
        now: NOW,
        by: OperatorId(Uuid::nil()),
        draw: Draw::new([next as u8; 32]),
    }
}

/// Keeps what later steps name.
fn keep(step: &Step, drafts: &[Draft], kept: &mut BTreeMap<String, String>) {
    let events: Vec<Value> = drafts
        .iter()
        .map(|draft| serde_json::to_value(&draft.event).unwrap())
        .collect();
    for name in step.keeps {
        let (name, member) = name.split_once('=').unwrap_or((name, name));
        let (member, place) = member.split_once('#').unwrap_or((member, "1"));
        let mut values: Vec<&str> = Vec::new();
        for value in events.iter().filter_map(|event| event[member].as_str()) {
            if !values.contains(&value) {
                values.push(value);
            }
        }
        let place: usize = place.parse().unwrap();
        kept.insert((*name).to_owned(), values[place - 1].to_owned());
    }
}

/// The route that is posted to at an address.
fn route(to: &str) -> Option<&'static Route> {
    let fits = |route: &&Route| {
        let (mut wanted, mut parts) = (route.path.split('/'), to.split('/'));
        let each = wanted
            .by_ref()
            .zip(parts.by_ref())
            .all(|(wanted, part)| wanted == part || wanted.starts_with('{'));
        route.method == "POST" && each && route.path.matches('/').count() == to.matches('/').count()
    };
    ROUTES.iter().find(fits)
}

/// Reads a command that is posted to an address.
fn read(recording: &Recording, to: &str, body: Map<String, Value>) -> Option<Command> {
    let subject = match recording.subject {
        Some(_) => Some((Uuid::try_parse(to.split('/').nth(3)?).ok()?, 1)),
        None => None,
    };
    let key = Uuid::nil();
    let understood = understood(recording, Given { key, subject, body }, NOW).ok()?;
    Some(understood.command)
}

/// Has a command decided by a book of the story. What is refused changes nothing; what is recorded is taken by a book that
/// only follows, which is then the same; its entry can be read; no metal comes from nowhere; and undone it leaves nothing.
fn decide(place: usize, command: &Command) {
    let stands = &STORY.stands;
    let stand = &stands[place % stands.len()];
    let mut book = stand.book.clone();
    let mut moment = moment(stand.next);
    let Ok(drafts) = book.decide(stand.next, command, &mut moment) else {
        assert_eq!(book, stand.book, "a refusal changed something");
        return;
    };
    let stamp = Stamp {
        index: stand.next,
        at: moment.now,
        by: moment.by,
    };
    let mut following = stand.book.clone();
    for draft in &drafts {
        following
            .take(&stamp, &draft.event)
            .unwrap_or_else(|refusal| panic!("decided, and then refused: {refusal:?} {:?}", draft.event));
    }
    following.keep();
    assert_reads_back(&stamp, &drafts);
    let mut kept = book.clone();
    kept.keep();
    assert_eq!(following, kept, "who follows the log has another book");
    for metal in [Metal::Silver, Metal::Gold, Metal::Copper] {
        let nothing = Book::default()
            .masses(metal)
            .and_then(|masses| masses.difference());
        if let Some(masses) = kept.masses(metal) {
            assert_eq!(masses.difference(), nothing, "{metal:?} came from nowhere");
        }
    }
    book.undo();
    assert_eq!(book, stand.book, "something was left");
}

/// What is decided is sealed in an entry that its own reader takes, unless it is too long for one.
fn assert_reads_back(stamp: &Stamp, drafts: &[Draft]) {
    static RECORDER: LazyLock<Signer> = LazyLock::new(|| Signer::from_seed(&[2; 32]));
    let chains = drafts.iter().flat_map(|draft| draft.event.subjects());
    let unsealed = Unsealed {
        iss: "brackenfold.example/book",
        jti: Uuid::nil(),
        iat: stamp.at,
        by: stamp.by,
        at: None,
        keys: None,
        drafts,
        prev: chains.map(|chain| (chain, None)).collect(),
    };
    if let Ok(sealed) = seal(&unsealed, &RECORDER, &mut Draw::new([9; 32])) {
        let read =
            pourbook::record::read(&sealed.entry).unwrap_or_else(|wrong| panic!("{wrong:?}: {drafts:?}"));
        assert!(read.events().eq(drafts.iter().map(|draft| &draft.event)));
    }
}

/// Each step as it is posted: the place in the story and the address on a line, and under it the body.
pub fn bodies() -> Vec<Vec<u8>> {
    STORY.bodies.clone()
}

/// A body, as it is read for the route that it is sent to, and what comes of it.
pub fn body(bytes: &[u8]) {
    let Some(at) = bytes.iter().position(|byte| *byte == b'\n') else {
        return;
    };
    let head = text_of(&bytes[..at]).and_then(|head| head.split_once(' '));
    let Some((place, to)) = head.and_then(|(place, to)| Some((place.parse::<usize>().ok()?, to))) else {
        return;
    };
    let (Some(route), Ok(body)) = (route(to), members(&bytes[at + 1..])) else {
        return;
    };
    match route.deed {
        Deed::Command(recording) => {
            if let Some(command) = read(recording, to, body) {
                decide(place, &command);
            }
        }
        Deed::Calculation(calculation) => {
            if let Ok(Ok(answer)) = (calculation.answer)(&Value::Object(body)) {
                assert!(!answer.to_text().is_empty() && answer.to_json().is_object());
            }
        }
        Deed::Comparison => {
            let book = &STORY.stands[place % STORY.stands.len()].book;
            if let Ok(observed) = serde_json::from_value::<Observed>(Value::Object(body)) {
                for piece in book.pieces() {
                    let _ = observed.held_against(book, piece);
                }
            }
        }
        _ => {}
    }
}

/// Commands as a correction holds them.
pub fn commands() -> Vec<Vec<u8>> {
    let commands = STORY.commands.iter();
    commands
        .map(|command| serde_json::to_vec(command).unwrap())
        .collect()
}

/// A command: refused by its form, or written again as it was read, and decided by a book that knows nothing and by one that
/// knows much.
pub fn command(bytes: &[u8]) {
    let Ok(command) = serde_json::from_slice::<Command>(bytes) else {
        return;
    };
    let again = serde_json::to_vec(&command).unwrap();
    assert_eq!(serde_json::from_slice::<Command>(&again).unwrap(), command);
    decide(0, &command);
    decide(STORY.stands.len() - 1, &command);
}
