//! What is reckoned from the log: where metal came from, where it is, what it cost, what an assay makes one think.

mod exactly;
mod mixtures;
mod suspects;
mod traced;
