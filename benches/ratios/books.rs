//! The books that are measured: founded in a folder, with certified pieces that strangers ask for, and one that grows.

use super::shop::{NOW, PIECES, Shop, mass, reading};
use pourbook::config::{EntriesFor, Load, Settings, Tls};
use pourbook::domain::*;
use pourbook::http::{Proxies, Quotas, Role, Tokens, WorkshopSettings};
use pourbook::log::Store;
use pourbook::node::{BookFolder, BookReader, Founding, found, open_desk};
use std::path::Path;

/// Certified pieces of the book that grows.
const CERTIFIED: usize = 72;

/// Settings of a book that is asked a lot from one address.
fn settings(entries: EntriesFor) -> Settings {
    Settings {
        origin: super::ORIGIN.to_owned(),
        address: "http://127.0.0.1".to_owned(),
        currency: "GBP".to_owned(),
        entries,
        maker: None,
        second_pin: None,
        limits: Quotas::OFF,
        workshop: WorkshopSettings::default(),
        tls: Tls::default(),
        proxy: Proxies::default(),
        load: Load::default(),
    }
}

/// Founds a book in a folder; anybody may read its entries.
pub fn found_at(path: &Path) -> BookFolder {
    let folder = BookFolder::at(path);
    let founding = Founding {
        settings: &settings(EntriesFor::Public),
        now: NOW,
        seed: [4; 32],
    };
    found(&folder, &founding).unwrap();
    folder
}

/// A folder for a book, beside the build, since the one for temporary files is often not on a disk.
pub fn beside_the_build() -> tempfile::TempDir {
    tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap()
}

/// A token for the office, written into the book.
pub fn token(folder: &BookFolder) -> String {
    let mut tokens = Tokens::read(&folder.tokens()).unwrap();
    let token = tokens.add(&mut Draw::new([6; 32]), Role::Office, None, None);
    tokens.write(&folder.tokens()).unwrap();
    token
}

/// Pieces that are certified, `between` being done before their certificates; the session is closed then.
pub fn certify(shop: &mut Shop, count: usize, between: impl FnOnce(&mut Shop)) -> Vec<(Serial, PieceId)> {
    let pieces = shop.pour(count.div_ceil(PIECES));
    let session = shop.session;
    let weigh = |shop: &mut Shop, stage| {
        let weighings = pieces.chunks(PIECES).map(|pieces| {
            let items = pieces.iter().map(|piece| Weighing {
                piece: *piece,
                mass: reading("50.42"),
            });
            WeighPieces {
                session,
                stage,
                items: items.collect(),
            }
            .into()
        });
        let weighings = weighings.collect();
        shop.record(weighings, |_| None::<()>);
    };
    weigh(shop, Stage::FromMould);
    let melts: Vec<MeltId> = shop.desk.book().melts().map(|melt| melt.melt).collect();
    let closings = melts.into_iter().map(|melt| {
        CloseMelt {
            melt,
            session,
            heel: reading("26.00"),
            prills: None,
            note: None,
        }
        .into()
    });
    shop.record(closings.collect(), |_| None::<()>);
    let trays = |pieces: &[PieceId]| {
        GiveSerials {
            pieces: pieces.to_vec(),
        }
        .into()
    };
    let serials = shop.record(pieces.chunks(PIECES).map(trays).collect(), |event| match event {
        Event::PieceSerialled(e) => Some(e.serial.clone()),
        _ => None,
    });
    weigh(shop, Stage::Final);
    between(shop);
    let closing = CloseSession {
        session,
        nominal: mass("100"),
        reading: reading("100.00"),
    };
    shop.record(vec![closing.into()], |_| None::<()>);
    let issues = pieces.chunks(PIECES).map(|pieces| {
        IssueCertificates {
            pieces: pieces.to_vec(),
        }
        .into()
    });
    shop.record(issues.collect(), |_| None::<()>);
    serials.into_iter().zip(pieces).take(count).collect()
}

/// A book on disk that is made longer from row to row: mostly single weighings, as in a workshop.
pub struct Grown {
    dir: tempfile::TempDir,
    pub folder: BookFolder,
    pub token: String,
    pub certified: Vec<(Serial, PieceId)>,
    pub session: SessionId,
    series: SeriesId,
    draw: Draw,
}

impl Grown {
    pub fn begin() -> Self {
        let dir = beside_the_build();
        let folder = found_at(&dir.path().join("book"));
        let token = token(&folder);
        let mut shop = Shop::begin(open_desk(&folder).unwrap(), Draw::new([8; 32]));
        let certified = certify(&mut shop, CERTIFIED, |_| ());
        let scale = shop.desk.book().scales().next().unwrap().scale;
        let opening = OpenSession {
            scale,
            nominal: mass("100"),
            reading: reading("100.00"),
        };
        let sessions = shop.record(vec![opening.into()], |event| match event {
            Event::SessionOpened(e) => Some(e.session),
            _ => None,
        });
        shop.desk.release().unwrap();
        Self {
            dir,
            folder,
            token,
            certified,
            session: sessions[0],
            series: shop.series,
            draw: shop.draw,
        }
    }

    /// Has the desk to itself for a while.
    pub fn at_the_desk<T>(&mut self, work: impl FnOnce(&mut Shop) -> T) -> T {
        let mut shop = Shop {
            desk: open_desk(&self.folder).unwrap(),
            draw: Draw::new(self.draw.bytes()),
            session: self.session,
            series: self.series,
            turn: 4_096,
        };
        let outcome = work(&mut shop);
        shop.desk.release().unwrap();
        outcome
    }

    /// Works until it has so many entries; how many it has then.
    pub fn to(&mut self, entries: usize) -> usize {
        let has = usize::try_from(self.reader().head().size).unwrap();
        if has >= entries {
            return has;
        }
        self.at_the_desk(|shop| {
            shop.work(entries);
            shop.size()
        })
    }

    pub fn reader(&self) -> BookReader {
        BookReader::open(&self.folder).unwrap()
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    /// A folder for what belongs to it.
    pub fn beside(&self, name: &str) -> std::path::PathBuf {
        self.dir.path().join(name)
    }

    /// All entries, in memory.
    pub fn entries(&self) -> Vec<Vec<u8>> {
        let mut entries = Vec::new();
        let reader = self.reader();
        let each = &mut |_, bytes: &[u8]| {
            entries.push(bytes.to_vec());
            true
        };
        reader.store().scan(0, each).unwrap();
        entries
    }
}
