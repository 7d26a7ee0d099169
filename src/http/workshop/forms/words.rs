//! The words of the trade for what a form's choices send.

/// Metals that pieces are made of.
pub const PRECIOUS: &[(&str, &str)] = &[
    ("silver", "Silver"),
    ("gold", "Gold"),
    ("platinum", "Platinum"),
    ("palladium", "Palladium"),
];
/// Every metal that a lot may be of.
pub const METALS: &[(&str, &str)] = &[
    ("silver", "Silver"),
    ("gold", "Gold"),
    ("platinum", "Platinum"),
    ("palladium", "Palladium"),
    ("copper", "Copper, as alloy metal"),
];
/// What a declared fineness rests on.
pub const BASES: &[(&str, &str)] = &[
    ("declared", "The seller's word"),
    ("assayed", "An assay report"),
    ("hallmarked", "A hallmark on the metal"),
];
/// Marks of an assay office.
pub const MARKS: &[(&str, &str)] = &[
    ("sponsor", "Sponsor's mark"),
    ("fineness", "Fineness mark"),
    ("office", "Office's mark"),
    ("date_letter", "Date letter"),
    ("commemorative", "Commemorative mark"),
    ("other", "Another mark"),
];
/// What became of a piece at the assay office.
pub const OUTCOMES: &[(&str, &str)] = &[
    ("marked", "Marked"),
    ("unmarked", "Came back unmarked"),
    ("kept", "Kept by the office"),
    ("cut", "Cut by the office"),
    ("missing", "Missing"),
];
/// Why a piece came back without a mark.
pub const UNMARKED: &[(&str, &str)] = &[
    ("below_standard", "Below the standard claimed"),
    ("damaged", "Damaged there"),
    ("no_room", "No room for the marks"),
    ("withdrawn", "Taken back unmarked"),
    ("other", "Another reason"),
];
/// Why a piece is given up.
pub const CONDEMNED: &[(&str, &str)] = &[
    ("under", "Too light"),
    ("over", "Too heavy, and not wanted as odd weight"),
    ("faulty", "Faulty"),
    ("borderline", "It stayed borderline"),
    ("mis_struck", "Mis-struck"),
    ("unmarked", "The office would not mark it"),
    ("damaged", "Damaged"),
    ("unwanted", "The metal is wanted"),
];
/// What is wrong with a faulty piece.
pub const FAULTS: &[(&str, &str)] = &[
    ("cold_shut", "Cold shut: two streams that did not fuse"),
    ("misrun", "Misrun: the mould was not filled"),
    ("porosity", "Porosity: gas holes"),
    ("crack", "A crack"),
    ("inclusion", "Dirt or slag in the metal"),
    ("other", "Anything else"),
];
/// How a strike came out.
pub const STRIKES: &[(&str, &str)] = &[
    ("good", "Good"),
    ("double", "Double: the die bounced"),
    ("off_centre", "Off centre"),
    ("weak", "Weak: not deep enough"),
    ("slipped", "The die slid"),
    ("wrong_die", "Wrong die"),
    ("cracked", "The piece cracked"),
    ("other", "Anything else"),
];
/// At which point of its life a piece was weighed.
pub const STAGES: &[(&str, &str)] = &[
    ("from_mould", "From the mould"),
    ("finished", "Filed and polished"),
    ("final", "Finally, for its certificate"),
    ("returned", "Back from a buyer"),
];
/// Why something is corrected.
pub const CORRECTIONS: &[(&str, &str)] = &[
    ("mistyped", "A figure or a word was typed wrong"),
    ("wrong_thing", "Another piece or thing was meant"),
    ("recorded_twice", "It was recorded twice"),
    ("did_not_happen", "It did not happen"),
    ("other", "Another reason, told in the note"),
];
/// A private note.
pub const NOTE: crate::pages::workshop::Field =
    crate::pages::workshop::Field::note("note", "Note", "Private: for the office, and erasable.");
