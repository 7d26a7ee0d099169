//! How records lie in sled: neighbours together in one sheet.
//!
//! What one write to sled costs hardly depends on how long it is, and the things that one entry made, such as the pieces of a
//! melt, mostly change together: so they lie in one value, each with its chain. All other records have a sheet to themselves.

use super::ViewError;
use super::keys::sheet_length;
use sled::IVec;
use std::collections::BTreeMap;

/// A change of one record: what its key has from now on, nothing if it is removed.
pub(super) type Change = (IVec, Option<IVec>);

/// The key of the sheet that a record is in, and what tells the record apart within it.
pub(super) fn split(key: &[u8]) -> (&[u8], &[u8]) {
    key.split_at_checked(sheet_length(key)).unwrap_or((key, &[]))
}

/// The records of a sheet in the order of their keys: what tells each apart, and what it holds.
pub(super) struct Records<'a>(pub &'a [u8]);

impl<'a> Records<'a> {
    fn field(&mut self, length: usize) -> Option<&'a [u8]> {
        let (field, rest) = self.0.split_at_checked(length)?;
        self.0 = rest;
        Some(field)
    }

    fn record(&mut self) -> Option<(&'a [u8], &'a [u8])> {
        let within = self.field(1)?.first().copied()?;
        let within = self.field(within.into())?;
        let length = u32::from_be_bytes(self.field(4)?.try_into().ok()?);
        Some((within, self.field(usize::try_from(length).ok()?)?))
    }
}

impl<'a> Iterator for Records<'a> {
    type Item = Result<(&'a [u8], &'a [u8]), ViewError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.0.is_empty() {
            return None;
        }
        let record = self.record().ok_or(ViewError::Unreadable("sheets"));
        if record.is_err() {
            self.0 = &[];
        }
        Some(record)
    }
}

/// The record of a sheet that `within` tells apart.
pub(super) fn find(sheet: &[u8], within: &[u8]) -> Result<Option<IVec>, ViewError> {
    for record in Records(sheet) {
        let (seen, value) = record?;
        if seen == within {
            return Ok(Some(value.into()));
        }
    }
    Ok(None)
}

/// A sheet as it is after changes of its records; `None` once no record is left.
pub(super) fn changed(
    sheet: Option<&[u8]>,
    changes: &[(&IVec, &Option<IVec>)],
) -> Result<Option<Vec<u8>>, ViewError> {
    let mut records = BTreeMap::new();
    for record in Records(sheet.unwrap_or_default()) {
        let (within, value) = record?;
        records.insert(within, value);
    }
    for (key, value) in changes {
        let within = split(key).1;
        match value {
            Some(value) => records.insert(within, value.as_ref()),
            None => records.remove(within),
        };
    }
    if records.is_empty() {
        return Ok(None);
    }
    let length =
        |(within, value): (&&[u8], &&[u8])| within.len().saturating_add(value.len()).saturating_add(5);
    let mut bytes = Vec::with_capacity(records.iter().map(length).sum());
    for (within, value) in records {
        let too_long = |_| ViewError::Unreadable("sheets");
        bytes.push(u8::try_from(within.len()).map_err(too_long)?);
        bytes.extend_from_slice(within);
        bytes.extend_from_slice(&u32::try_from(value.len()).map_err(too_long)?.to_be_bytes());
        bytes.extend_from_slice(value);
    }
    Ok(Some(bytes))
}
