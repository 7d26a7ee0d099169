//! The record: entries, disclosures and keys, against published values and against every way of spelling them wrongly.

pub mod golden;
mod keys;
mod published;
mod samples;
pub mod schemas;
mod sealing;
mod strict;
