//! What is reckoned from the log and never recorded.

pub mod costs;
pub mod exact;
pub mod holders;
pub mod mixture;
pub mod recall;
mod refined;
pub mod shares;
pub mod suspects;
