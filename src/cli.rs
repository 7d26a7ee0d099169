//! Commands of the program.
//!
//! Exit code 0: done, or it holds. 1: it does not hold, or the book refuses. 2: it cannot be read or used.

#[cfg(feature = "server")]
mod access;
#[cfg(feature = "server")]
mod arguments;
#[cfg(feature = "server")]
mod asking;
#[cfg(feature = "server")]
mod audit;
#[cfg(feature = "server")]
mod backup;
#[cfg(feature = "server")]
pub mod demo;
#[cfg(feature = "server")]
mod doubts;
#[cfg(feature = "server")]
mod erase;
#[cfg(feature = "server")]
mod keys;
#[cfg(feature = "server")]
mod listed;
#[cfg(feature = "server")]
mod looking;
#[cfg(feature = "server")]
mod losses;
#[cfg(feature = "server")]
mod making;
#[cfg(feature = "server")]
mod pace;
#[cfg(feature = "server")]
mod plan;
#[cfg(feature = "server")]
pub mod price_file;
#[cfg(feature = "server")]
mod reckon;
#[cfg(feature = "server")]
mod routes;
#[cfg(feature = "server")]
mod slip;
#[cfg(feature = "server")]
mod statement;
#[cfg(feature = "server")]
mod stock;
#[cfg(feature = "server")]
mod traced;
#[cfg(feature = "server")]
mod trusting;
pub mod verify;

#[cfg(feature = "server")]
pub use arguments::run;

use std::fmt;

/// Why a command ended without doing what it was asked.
#[derive(Debug)]
pub struct Failure {
    /// 1 or 2.
    pub code: u8,
    /// What to tell.
    pub message: String,
}

impl Failure {
    /// It does not hold, or the book refuses.
    pub fn refused(message: impl fmt::Display) -> Self {
        Self {
            code: 1,
            message: message.to_string(),
        }
    }

    /// It cannot be read or used.
    pub fn unusable(message: impl fmt::Display) -> Self {
        Self {
            code: 2,
            message: message.to_string(),
        }
    }
}
