//! The record: entries, disclosures and keys, against published values and against every way of spelling them wrongly.

mod sealing;
