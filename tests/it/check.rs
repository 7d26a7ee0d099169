//! Proof files and audits, on the book of the invented workshop.

mod agree;
pub mod audits;
mod demo;
mod files;
mod immersed;
pub mod little_log;
mod lives;
mod operators;
mod photographed;
mod schemas;

use pourbook::check::{ProofFile, Trust};
use pourbook::cli::demo::{Ledger, make};
use pourbook::domain::Serial;
use pourbook::log::Store;
use pourbook::node::{BookFolder, BookReader};
use pourbook::proof::TlogProof;
use tempfile::TempDir;

/// The demo's book in a folder that goes away with it.
pub struct DemoBook {
    pub dir: TempDir,
    pub ledger: Ledger,
}

impl DemoBook {
    pub fn make() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let ledger = make(&BookFolder::at(&dir.path().join("book")))
            .unwrap_or_else(|failure| panic!("{}", failure.message));
        Self { dir, ledger }
    }

    pub fn folder(&self) -> BookFolder {
        BookFolder::at(&self.dir.path().join("book"))
    }

    pub fn reader(&self) -> BookReader {
        BookReader::open(&self.folder()).unwrap()
    }
}

/// Every serial with a certificate.
pub fn serials(reader: &BookReader) -> Vec<Serial> {
    let pieces = reader.book().pieces().filter(|piece| piece.certificate.is_some());
    let mut serials: Vec<Serial> = pieces.filter_map(|piece| piece.serial.clone()).collect();
    serials.sort();
    serials
}

pub fn trust(reader: &BookReader) -> Trust {
    Trust {
        root: reader.policy().root.clone().unwrap(),
        policy: Some(reader.policy().clone()),
    }
}

/// The shortest proof file of the book that ends with a certificate: of one that goes on, the end can be left out, since a
/// file cannot show that nothing came later.
pub fn smallest(reader: &BookReader) -> ProofFile {
    let files = serials(reader).into_iter().filter_map(|serial| {
        let piece = reader.book().piece(reader.piece(&serial).unwrap()).unwrap();
        let certificate = reader.book().certificate(piece.certificate.unwrap()).unwrap();
        let file = reader.proof(&serial).unwrap();
        let last = TlogProof::parse(file.proofs.last().unwrap()).unwrap();
        (last.index == certificate.since).then_some(file)
    });
    files.min_by_key(|file| file.to_bytes().len()).unwrap()
}

/// Every entry of the log.
pub fn entries(reader: &BookReader) -> Vec<Vec<u8>> {
    let mut entries = Vec::new();
    reader
        .store()
        .scan(0, &mut |_, bytes| {
            entries.push(bytes.to_vec());
            true
        })
        .unwrap();
    entries
}
