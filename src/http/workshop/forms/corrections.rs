//! Corrections: a form with what an entry says now in it, one for each kind of work that people mistype; and a withdrawal for any.
//!
//! What comes out of a form is the command that should have been given, whole: the book decides the entry anew, and all that rests
//! on it. Its index travels in the form, and the version of what the entry
//! is about, so that of two people the second is told.
//! Deliberately absent: private members, which are erased and not corrected.

mod past;
mod things;

use super::super::{App, Form, Visit};
use super::consignments::{FOUND, LINES, OUTCOME, UNMARKED_WHY};
use super::words::{BASES, CORRECTIONS, METALS, NOTE, PRECIOUS, STAGES, STRIKES};
use crate::domain::{Command, CorrectEntries};
use crate::http::located::{self, Misfit};
use crate::http::problem::Problem;
use crate::http::routes::{Recording, recordings};
use crate::pages::workshop::{Field, FormSheet, Rows, Taken};
use crate::writer::Recorded;
use serde_json::{Map, Value, json};

pub use past::{Deeds, deeds, entry_of, said_now};

const LEAD: &str = "What was recorded stays to be read. What you write here holds from now on, and all that rests on it is decided anew; \
                    what could then not have been is refused and named.";
const INDEX: Field = Field::hidden("index");
const REASON: Field = Field::choice("reason", "Why it is corrected", "", CORRECTIONS);
const SESSION: Field = Field::chosen("session", "Weighed in session", "");

/// Lines of things with what the scale showed.
const fn weighed(id: &'static str, taken: Taken) -> Rows {
    Rows {
        id: Some(id),
        versioned: false,
        taken,
        fields: MASS,
    }
}
const MASS: &[Field] = &[Field::mass("mass", "What the scale showed", "").optional()];

/// A form that corrects one kind of work.
const fn correcting(title: &'static str, recording: &'static Recording, fields: &'static [Field]) -> Form {
    Form {
        recording,
        sheet: FormSheet {
            title,
            lead: LEAD,
            cautions: &[],
            fields,
            submit: "Record the correction",
        },
        offer: past::offered,
        ask: None,
        then: to_corrected,
    }
}

/// How the correction of a command is read: its members with the index and the reason.
macro_rules! readings {
    ($($const:ident $command:literal;)*) => {
        $(const $const: Recording = Recording {
            read: |body| read(Some($command), body),
            entry: Some("entry"),
            ..recordings::CORRECT_ENTRIES
        };)*
    };
}

readings! {
    LOT_READ "receive_lot";
    SCALE_READ "register_scale";
    OPENING_READ "open_session";
    CHECK_READ "check_session";
    CLOSING_READ "close_session";
    CHARGE_READ "charge_melt";
    POURS_READ "pour_pieces";
    WEIGHING_READ "weigh_pieces";
    FINISHING_READ "finish_pieces";
    MELT_READ "close_melt";
    STRIKES_READ "strike_pieces";
    RETURN_READ "return_consignment";
}
const WITHDRAWAL_READ: Recording = Recording {
    read: |body| read(None, body),
    entry: Some("entry"),
    ..recordings::CORRECT_ENTRIES
};

/// An entry is withdrawn.
pub const WITHDRAWAL: Form = Form {
    sheet: FormSheet {
        title: "Withdraw an entry",
        lead: "From now on it says nothing. It stays to be read, struck through, with your reason.",
        cautions: &[],
        fields: &[INDEX, REASON, NOTE],
        submit: "Withdraw it",
    },
    ask: Some(past::sure_of_withdrawing),
    ..correcting("", &WITHDRAWAL_READ, &[])
};

/// A lot was mistyped.
pub const LOT: Form = correcting(
    "Correct a lot",
    &LOT_READ,
    &[
        INDEX,
        Field::choice("metal", "Metal", "", METALS),
        Field::decimal("fineness", "Fineness as declared", "‰", ""),
        Field::choice("basis", "What the fineness rests on", "", BASES),
        SESSION,
        Field::mass("mass", "Your own weight", "As the scale showed it."),
        Field::mass("invoiced", "Weight on the invoice", "").optional(),
        Field::chosen("owner", "Whose metal", "Leave it empty for the workshop's own.").optional(),
        REASON,
        NOTE,
    ],
);

/// A scale's plate was misread.
pub const SCALE: Form = correcting(
    "Correct a scale",
    &SCALE_READ,
    &[
        INDEX,
        Field::choice(
            "class",
            "Accuracy class",
            "",
            &[("I", "I"), ("II", "II"), ("III", "III")],
        ),
        Field::mass("d", "Step it shows (d)", ""),
        Field::mass("e", "Verification interval (e)", ""),
        Field::mass("max", "Greatest load (Max)", ""),
        Field::mass("repeatability", "Repeatability", ""),
        Field::tick("verified", "It is verified", ""),
        REASON,
        NOTE,
    ],
);

const NOMINAL: Field = Field::mass("nominal", "Check weight, nominal", "");
const READING: Field = Field::mass("reading", "What the scale showed", "");

/// An opening check was mistyped.
pub const OPENING: Form = correcting(
    "Correct an opening check",
    &OPENING_READ,
    &[
        INDEX,
        Field::chosen("scale", "Scale", ""),
        NOMINAL,
        READING,
        REASON,
        NOTE,
    ],
);

/// A check between was mistyped.
pub const CHECK: Form = correcting(
    "Correct a check",
    &CHECK_READ,
    &[INDEX, SESSION, NOMINAL, READING, REASON, NOTE],
);

/// A closing check was mistyped.
pub const CLOSING: Form = correcting(
    "Correct a closing check",
    &CLOSING_READ,
    &[INDEX, SESSION, NOMINAL, READING, REASON, NOTE],
);

/// A charge was mistyped.
pub const CHARGE: Form = correcting(
    "Correct a charge",
    &CHARGE_READ,
    &[
        INDEX,
        Field::choice("metal", "Metal", "", PRECIOUS),
        SESSION,
        Field::rows(
            "lots",
            "From lots",
            "Tick what went in, and how much.",
            weighed("lot", Taken::Ticked),
        )
        .optional(),
        Field::ticked("heels", "Heels", "They go in whole.").optional(),
        Field::rows(
            "jars",
            "Jars",
            "What came out of them.",
            weighed("jar", Taken::Ticked),
        )
        .optional(),
        Field::ticked("pieces", "Condemned pieces", "").optional(),
        REASON,
        NOTE,
    ],
);

/// Pours were mistyped.
pub const POURS: Form = correcting(
    "Correct pours",
    &POURS_READ,
    &[
        INDEX,
        Field::hidden("melt"),
        Field::rows(
            "pours",
            "Cavities, in the order of the pour",
            "An emptied line is a pour that was not.",
            Rows {
                id: None,
                versioned: false,
                taken: Taken::Blank(24),
                fields: &[
                    Field::chosen("series", "Series", "").optional(),
                    Field::text("shape", "Shape", "").optional(),
                    Field::text("mould", "Mould", "").optional(),
                ],
            },
        ),
        REASON,
        NOTE,
    ],
);

/// Readings were mistyped.
pub const WEIGHING: Form = correcting(
    "Correct readings",
    &WEIGHING_READ,
    &[
        INDEX,
        SESSION,
        Field::choice("stage", "When", "", STAGES),
        Field::rows(
            "items",
            "Pieces",
            "Untick a piece that was not on the scale.",
            weighed("piece", Taken::Ticked),
        ),
        REASON,
        NOTE,
    ],
);

/// Readings after filing were mistyped.
pub const FINISHING: Form = correcting(
    "Correct readings after filing",
    &FINISHING_READ,
    &[
        INDEX,
        SESSION,
        Field::chosen("jar", "The jar that took the lemel", ""),
        Field::rows(
            "items",
            "Pieces",
            "Untick a piece that was not filed.",
            weighed("piece", Taken::Ticked),
        ),
        REASON,
        NOTE,
    ],
);

/// What was weighed at the end of a melt was mistyped.
pub const MELT: Form = correcting(
    "Correct the end of a melt",
    &MELT_READ,
    &[
        INDEX,
        Field::hidden("melt"),
        SESSION,
        Field::mass("heel", "Heel left in the crucible", "0 for nothing."),
        Field::chosen("prills/jar", "Prills went into", "").optional(),
        Field::mass("prills/mass", "Prills weighed", "").optional(),
        REASON,
        NOTE,
    ],
);

/// Strikes were mistyped.
pub const STRUCK: Form = correcting(
    "Correct strikes",
    &STRIKES_READ,
    &[
        INDEX,
        Field::chosen("die", "Die", ""),
        Field::rows(
            "items",
            "Pieces",
            "Untick a piece that was not struck.",
            Rows {
                id: Some("piece"),
                versioned: false,
                taken: Taken::Ticked,
                fields: &[Field::choice("outcome", "How it came out", "", STRIKES).optional()],
            },
        ),
        REASON,
        NOTE,
    ],
);

/// What became of each piece that was sent, where some were struck otherwise than the others.
const OWN_LINES: Rows = Rows {
    fields: &[
        OUTCOME,
        UNMARKED_WHY,
        FOUND,
        Field::chosen("hallmark", "If marked otherwise than above", "").optional(),
    ],
    ..LINES
};

/// A return from the assay office was mistyped.
pub const RETURNED: Form = correcting(
    "Correct a return",
    &RETURN_READ,
    &[
        INDEX,
        Field::hidden("consignment"),
        Field::decimal("hallmark/fineness", "What the fineness mark says", "‰", "").optional(),
        Field::rows(
            "hallmark/marks",
            "Marks on those that were marked",
            "",
            Rows {
                id: Some("mark"),
                versioned: false,
                taken: Taken::Ticked,
                fields: &[Field::tick("legible", "It can be read", "")],
            },
        )
        .optional(),
        Field::rows("lines", "The pieces", "", OWN_LINES),
        REASON,
        NOTE,
    ],
);

/// Reads the correction of one entry by a command, or its withdrawal.
fn read(command: Option<&str>, body: &Value) -> Result<Command, Misfit> {
    let mut instead = body.as_object().cloned().unwrap_or_default();
    let reason = instead.remove("reason");
    let note = instead.remove("note");
    let index = instead.remove("index");
    let index = index
        .as_ref()
        .and_then(Value::as_str)
        .and_then(|text| text.parse::<u64>().ok());
    let mut correction = Map::new();
    correction.extend(index.map(|index| ("index".to_owned(), json!(index))));
    if let Some(command) = command {
        own_hallmarks(&mut instead);
        super::consignments::spread_hallmark(&mut instead);
        instead.insert("command".to_owned(), json!(command));
        correction.insert("instead".to_owned(), Value::Object(instead));
    }
    let mut whole = Map::new();
    whole.insert("corrections".to_owned(), json!([correction]));
    whole.extend(reason.map(|reason| ("reason".to_owned(), reason)));
    whole.extend(note.map(|note| ("note".to_owned(), note)));
    located::read::<CorrectEntries>(&Value::Object(whole)).map(Command::from)
}

/// Pieces that keep marks of their own have them as text, as the form offered them; what was not marked has none.
fn own_hallmarks(instead: &mut Map<String, Value>) {
    let lines = instead.get_mut("lines").and_then(Value::as_array_mut);
    for line in lines.into_iter().flatten().filter_map(Value::as_object_mut) {
        let marked = line.get("outcome").and_then(Value::as_str) == Some("marked");
        let own = line.remove("hallmark").filter(|_| marked);
        line.extend(own.map(|own| {
            let read = own.as_str().and_then(|text| serde_json::from_str(text).ok());
            ("hallmark".to_owned(), read.unwrap_or(own))
        }));
    }
}

/// The page of the entry that was corrected.
fn to_corrected(_: &App, visit: &Visit, _: &Recorded) -> String {
    format!("/entries/{}", visit.asked.member("entry"))
}

/// The index that the path names.
fn index_of(visit: &Visit) -> Result<u64, Problem> {
    let index = visit.asked.member("entry").parse::<u64>();
    index.map_err(|_| Problem::not_found("there is no entry with that number"))
}
