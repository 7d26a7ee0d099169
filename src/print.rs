//! What is printed: certificates, as PDF files that carry their own proof.
//!
//! Data in, bytes out, the same bytes for the same data: no clock, no chance, no names of machines. A template has a
//! version, and what a version makes never changes: another look is another version. Lengths are whole thousandths of a
//! point; floats stand in `pdf` alone, since a PDF library wants them.
//!
//! The text face is EB Garamond, the fixed-width face Fira Mono, both under the SIL Open Font License 1.1 (`fonts/`); what
//! is used of them is embedded. Deliberately absent: printers, page imposition, and pictures.

mod certificate;
mod pdf;
mod qr;
mod setting;
mod sheet;
mod words;

pub use certificate::{Certificate, TEMPLATE, certificates};
pub use qr::address_code;

/// Why nothing is printed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PrintError {
    /// The fonts have no such character.
    #[error("there is no type for the character {character:?}, which stands in {text:?}")]
    NoType {
        /// The character.
        character: char,
        /// Where it stands.
        text: String,
    },
    /// A text does not fit where it must stand.
    #[error("{text:?} is too long to be set where it must stand")]
    TooLong {
        /// The text.
        text: String,
    },
    /// An address too long for a QR code that can be read at this size.
    #[error("the address {address:?} is too long for a QR code of this size")]
    AddressTooLong {
        /// The address.
        address: String,
    },
    /// No template has that version.
    #[error("this program has no template {template}")]
    UnknownTemplate {
        /// Its version.
        template: u32,
    },
    /// The library that writes PDF refuses what it was given.
    #[error("the PDF cannot be written: {why}")]
    Pdf {
        /// What it says.
        why: String,
    },
}
