//! Printed sheets: what stands on them, seen with the eyes of programs that others wrote.

mod sample;

use pourbook::domain::Paper;
use pourbook::print::{TEMPLATE, certificates};

/// Writes sheets to look at into the folder that `SHEETS` names.
#[test]
#[ignore = "writes files to look at"]
fn write() {
    let folder = std::path::PathBuf::from(std::env::var("SHEETS").unwrap());
    for (name, one) in sample::all() {
        for paper in [Paper::A6, Paper::A5] {
            let pdf = certificates(paper, TEMPLATE, std::slice::from_ref(&one)).unwrap();
            std::fs::write(folder.join(format!("{name}-{paper}.pdf")), pdf).unwrap();
        }
    }
}
