//! The proof file of a piece: what a stranger needs to check its record offline.

use crate::domain::{PieceId, Serial};
use serde::Deserialize;

/// How long a proof file may be, bytes.
pub const FILE_BYTES_MAX: usize = 2_000_000;

/// A proof file, version 1. Its bytes are canonical: the members in this order, no white space, one line feed at the end.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProofFile {
    /// Version of the form: 1.
    pub v: u8,
    /// The log.
    pub origin: String,
    /// The piece's serial.
    pub serial: Serial,
    /// The piece.
    pub piece: PieceId,
    /// Which fraction of its mass is followed back to lots, rounded down to four decimals.
    pub traced: String,
    /// C2SP tlog-proof texts, one per entry, all on one checkpoint, in log order. Each `extra` is the entry and `~`.
    pub proofs: Vec<String>,
    /// A C2SP tlog-policy, for convenience: what is trusted is what the reader brings.
    pub policy: String,
}

impl ProofFile {
    /// The canonical bytes. They are put together by hand: nearly all of them are lines of base64, which need no looking at one
    /// by one.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let texts = self
            .proofs
            .iter()
            .map(String::len)
            .fold(self.policy.len(), usize::saturating_add);
        // Room for all, line feeds escaped: most of the cost is copying what grows.
        let mut bytes = Vec::with_capacity(texts.saturating_add(texts / 8).saturating_add(1_024));
        bytes.extend_from_slice(format!("{{\"v\":{}", self.v).as_bytes());
        let (serial, piece) = (self.serial.to_string(), self.piece.to_string());
        for (name, text) in [
            ("origin", &self.origin),
            ("serial", &serial),
            ("piece", &piece),
            ("traced", &self.traced),
        ] {
            member(&mut bytes, name);
            quoted(&mut bytes, text);
        }
        member(&mut bytes, "proofs");
        for (place, text) in self.proofs.iter().enumerate() {
            bytes.push(if place == 0 { b'[' } else { b',' });
            quoted(&mut bytes, text);
        }
        bytes.extend_from_slice(if self.proofs.is_empty() { b"[]" } else { b"]" });
        member(&mut bytes, "policy");
        quoted(&mut bytes, &self.policy);
        bytes.extend_from_slice(b"}\n");
        bytes
    }

    /// Reads a file.
    ///
    /// # Errors
    /// A sentence: too long, no JSON, an unknown or missing member, or bytes that are not canonical.
    pub fn read(bytes: &[u8]) -> Result<Self, String> {
        if bytes.len() > FILE_BYTES_MAX {
            return Err(format!("it is longer than {FILE_BYTES_MAX} bytes"));
        }
        let file: Self =
            serde_json::from_slice(bytes).map_err(|error| format!("it is no proof file: {error}"))?;
        if file.v != 1 {
            return Err(format!(
                "it is of version {}, this program reads version 1",
                file.v
            ));
        }
        if file.to_bytes() != bytes {
            return Err("its bytes are not in the canonical form: it was altered or re-saved".to_owned());
        }
        Ok(file)
    }
}

fn member(bytes: &mut Vec<u8>, name: &str) {
    bytes.extend_from_slice(b",\"");
    bytes.extend_from_slice(name.as_bytes());
    bytes.extend_from_slice(b"\":");
}

/// A text as a JSON string (RFC 8259 section 7), escaped as `serde_json` escapes.
fn quoted(bytes: &mut Vec<u8>, text: &str) {
    bytes.push(b'"');
    for (place, line) in text.split('\n').enumerate() {
        if place > 0 {
            bytes.extend_from_slice(b"\\n");
        }
        // Every byte is looked at, also after one that is not plain: that is faster than stopping.
        let is_plain = |plain: bool, byte: u8| plain & (byte >= b' ') & (byte != b'"') & (byte != b'\\');
        if line.bytes().fold(true, is_plain) {
            bytes.extend_from_slice(line.as_bytes());
        } else {
            let escaped = serde_json::Value::from(line).to_string();
            let inner = escaped.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
            bytes.extend_from_slice(inner.unwrap_or_default().as_bytes());
        }
    }
    bytes.push(b'"');
}

#[cfg(test)]
mod tests {
    use super::{ProofFile, quoted};
    use crate::domain::{PieceId, Serial, SeriesCode};
    use proptest::prelude::*;
    use serde::Serialize;
    use uuid::Uuid;

    /// The same members in the same order, for a library that others wrote.
    #[derive(Serialize)]
    struct Members<'a> {
        v: u8,
        origin: &'a str,
        serial: String,
        piece: Uuid,
        traced: &'a str,
        proofs: &'a [String],
        policy: &'a str,
    }

    fn as_the_library_writes(file: &ProofFile) -> String {
        let members = Members {
            v: file.v,
            origin: &file.origin,
            serial: file.serial.to_string(),
            piece: file.piece.0,
            traced: &file.traced,
            proofs: &file.proofs,
            policy: &file.policy,
        };
        serde_json::to_string(&members).unwrap() + "\n"
    }

    proptest! {
        #[test]
        fn any_text_is_quoted_as_serde_json_quotes_it(text in "(?s)[\\x00-\\x7f\u{80}-\u{2028}\u{1f600}]{0,40}") {
            let mut bytes = Vec::new();
            quoted(&mut bytes, &text);
            prop_assert_eq!(String::from_utf8(bytes).unwrap(), serde_json::to_string(&text).unwrap());
        }

        #[test]
        fn a_file_is_written_as_serde_json_writes_it(proofs in prop::collection::vec("[A-Z\"\n]{0,9}", 0..4), policy in "(?s).{0,9}") {
            let file = ProofFile {
                v: 1,
                origin: "brackenfold.example/book".to_owned(),
                serial: Serial::new(SeriesCode::parse("TW").unwrap(), 1, 4).unwrap(),
                piece: PieceId(Uuid::from_u128(7)),
                traced: "0.9993".to_owned(),
                proofs,
                policy,
            };
            prop_assert_eq!(String::from_utf8(file.to_bytes()).unwrap(), as_the_library_writes(&file));
        }
    }
}
