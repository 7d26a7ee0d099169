//! The book: the state that decisions need, and the rules by which events are taken.

mod rows;

pub use rows::*;
