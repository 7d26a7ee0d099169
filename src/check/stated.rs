//! What a certificate states, read from the proof file of its piece.

use super::evidence::{Evidence, Spoilt};
use super::proof_file::ProofFile;
use crate::domain::{CertificateId, CertificateIssued, Event, Shape, Timestamp, WeightUnit};
use crate::proof::Hash;

/// What a certificate states, and where it stands in the log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stated {
    /// All that it states.
    pub issued: CertificateIssued,
    /// Index of its entry.
    pub index: u64,
    /// Leaf hash of its entry.
    pub leaf: Hash,
    /// When it was issued.
    pub at: Timestamp,
    /// The shape of the piece.
    pub shape: Shape,
    /// The code of its series.
    pub series: String,
    /// The unit that its series gives first.
    pub unit: WeightUnit,
}

/// Reads what a certificate states out of a file. Whether the file holds is for [`super::check_piece`] to say.
///
/// # Errors
/// A sentence: the file cannot be read, or does not hold the certificate.
pub fn stated(bytes: &[u8], certificate: CertificateId) -> Result<Stated, String> {
    let file = ProofFile::read(bytes)?;
    let evidence = Evidence::read(&file).map_err(|spoilt| match spoilt {
        Spoilt::Unreadable(what) | Spoilt::NotUnderstood(what) => what,
    })?;
    let mut issued = None;
    let mut shape = None;
    for (index, event) in evidence.events() {
        match event {
            Event::CertificateIssued(e) if e.certificate == certificate => issued = Some((index, e.clone())),
            Event::PiecePoured(e) if e.piece == file.piece => shape = Some(e.shape.clone()),
            _ => {}
        }
    }
    let (index, issued) = issued.ok_or("it does not hold the certificate")?;
    let opened = evidence.events().find_map(|(_, event)| match event {
        Event::SeriesOpened(e) if e.series == issued.series => Some((e.code.as_str().to_owned(), e.unit)),
        _ => None,
    });
    let (series, unit) = opened.ok_or("it does not hold the series of the certificate")?;
    let held = evidence
        .entries
        .get(&index)
        .ok_or("the entry of the certificate is missing")?;
    let payload = &held.entry.payload;
    Ok(Stated {
        issued,
        index,
        leaf: held.leaf,
        at: payload.at.unwrap_or(payload.iat),
        shape: shape.ok_or("it does not hold the pour of the piece")?,
        series,
        unit,
    })
}
