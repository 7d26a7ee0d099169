//! QR codes (ISO/IEC 18004): from an address to the squares that are black.

use super::PrintError;
use super::sheet::{Length, Mark};
use qrcodegen::{QrCode, QrCodeEcc, QrSegment};

/// Light modules around the code, as the standard asks.
const QUIET: i32 = 4;
/// The largest version that is printed here: at 26 mm its modules are 0.46 mm wide.
const VERSION_MAX: u8 = 10;

/// The address that a certificate's code holds: `<address>/P/<SERIAL>#k=<thumbprint>`. What stands before the `#` is in
/// capitals where that means the same (scheme and host, RFC 3986 section 3.1 and 3.2.2; the path is ours and is served so), since
/// capitals take less room. A browser sends nothing of what stands behind the `#` to the server (section 3.5).
#[must_use]
pub fn address_code(address: &str, serial: &str, thumbprint: Option<&str>) -> (String, String) {
    let page = format!(
        "{}/P/{}",
        address.to_ascii_uppercase(),
        serial.to_ascii_uppercase()
    );
    let fragment = thumbprint.map_or_else(String::new, |thumbprint| format!("#k={thumbprint}"));
    (page, fragment)
}

/// A QR code at a place, `side` wide without its quiet zone, which the caller leaves free.
///
/// # Errors
/// [`PrintError::AddressTooLong`].
pub fn code(page: &str, fragment: &str, x: Length, y: Length, side: Length) -> Result<Mark, PrintError> {
    let mut segments = QrSegment::make_segments(page);
    if !fragment.is_empty() {
        segments.push(QrSegment::make_bytes(fragment.as_bytes()));
    }
    let most = qrcodegen::Version::new(VERSION_MAX);
    let code = QrCode::encode_segments_advanced(
        &segments,
        QrCodeEcc::Medium,
        qrcodegen::Version::MIN,
        most,
        None,
        true,
    )
    .map_err(|_| PrintError::AddressTooLong {
        address: format!("{page}{fragment}"),
    })?;
    let size = code.size();
    let at = (0..size)
        .flat_map(|row| (0..size).map(move |column| (column, row)))
        .filter(|(column, row)| code.get_module(*column, *row))
        .collect();
    Ok(Mark::Squares {
        x,
        y,
        side: side / size,
        at,
    })
}

/// How wide the quiet zone of a code of this width is at most: for the smallest code there is, of 21 modules.
pub const fn quiet_zone(side: Length) -> Length {
    side / 21 * QUIET
}
