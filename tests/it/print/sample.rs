//! Certificates to print: what they state is invented.

use pourbook::check::Stated;
use pourbook::domain::{CertificateIssued, Event, Shape, Timestamp, WeightUnit};
use pourbook::print::Certificate;
use pourbook::proof::leaf_hash;
use serde_json::json;

const ID: &str = "8e03978e-40d5-43e8-bc93-6894a57f9324";
pub const THUMBPRINT: &str = "MJOk_G0WEXNu0J8w0ZFAKLVf0lRkcYh57PEhm9cNm1o";

fn issued(members: serde_json::Value) -> CertificateIssued {
    match Event::from_members("certificate.issued", members) {
        Some(Ok(Event::CertificateIssued(issued))) => issued,
        other => panic!("no certificate: {other:?}"),
    }
}

fn certificate(issued: CertificateIssued, title: Option<&str>, shape: &str, unit: WeightUnit) -> Certificate {
    Certificate {
        stated: Stated {
            index: 219,
            leaf: leaf_hash(b"an entry"),
            at: Timestamp(1_773_480_413),
            shape: Shape::parse(shape).unwrap(),
            series: issued.serial.code().as_str().to_owned(),
            unit,
            issued,
        },
        title: title.map(str::to_owned),
        code: "2H7KQ9M4XW2".to_owned(),
        maker: "Brackenfold Pourhouse".to_owned(),
        address: "https://book.brackenfold.example".to_owned(),
        origin: "brackenfold.example/log".to_owned(),
        thumbprint: THUMBPRINT.to_owned(),
        size: 422,
        proof: b"{\"v\":1}\n".to_vec(),
    }
}

/// A numbered piece of an edition, exempt from marking.
pub fn edition() -> Certificate {
    let members = json!({"certificate": ID, "piece": ID, "issue": 1, "serial": "TW-0007-65", "series": ID, "number": 7,
        "of": 12, "metal": "silver", "fineness": "999", "basis": "declared", "hallmark": "not_hallmarked", "session": ID,
        "mass": "50.42", "uncertainty": "0.03", "at_least": "50.39"});
    certificate(issued(members), Some("Tidewheel"), "sun", WeightUnit::Gram)
}

/// A hallmarked one, in its second issue, with every mark there is and one of them not to be read.
pub fn hallmarked() -> Certificate {
    let mark = |name: &str, legible: bool| json!({"mark": name, "legible": legible});
    let marks = json!({"fineness": "999.0", "marks": [mark("sponsor", true), mark("fineness", true),
        mark("office", true), mark("date_letter", false), mark("commemorative", true), mark("other", true)]});
    let members = json!({"certificate": ID, "piece": ID, "issue": 2, "serial": "ST-0012-18", "series": ID, "number": 6,
        "of": 8, "metal": "silver", "fineness": "999.0", "basis": "hallmarked", "hallmark": "hallmarked",
        "marks": marks, "session": ID, "mass": "156.14", "uncertainty": "0.03", "at_least": "156.11"});
    certificate(
        issued(members),
        Some("Saltlantern"),
        "lantern_tall",
        WeightUnit::Gram,
    )
}

/// One of an open series that states ounces first and has no title, of a maker with a long name.
pub fn odd() -> Certificate {
    let members = json!({"certificate": ID, "piece": ID, "issue": 1, "serial": "DW-0003-15", "series": ID,
        "metal": "gold", "fineness": "916.6", "basis": "assayed", "hallmark": "not_hallmarked", "session": ID,
        "mass": "311.04", "uncertainty": "0.05", "at_least": "310.99"});
    let mut one = certificate(issued(members), None, "a_long_shape_01", WeightUnit::TroyOunce);
    one.maker = "Möbius & Söhne, Gießerei in der alten Mühle".to_owned();
    one
}

pub fn all() -> Vec<(&'static str, Certificate)> {
    vec![
        ("edition", edition()),
        ("hallmarked", hallmarked()),
        ("odd", odd()),
    ]
}
