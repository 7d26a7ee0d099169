//! The rows of what mirrors read: tiles and the checkpoint, against nginx with the same files.

use super::books::Grown;
use super::client::{Reader, load};
use super::nginx::Nginx;
use super::server::Server;
use super::shown::{get, shuffled};
use super::table::{Asked, interleave, row, scaled, skipped};
use std::path::{Path, PathBuf};

const CONNECTIONS: usize = 64;
/// Bytes of one measurement, at most; and requests.
const BYTES: usize = 1 << 30;
const REQUESTS: usize = 40_000;

/// All files below a folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for item in std::fs::read_dir(folder).into_iter().flatten() {
        let path = item.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.push(path);
        }
    }
    found
}

pub fn rows(grown: &mut Grown, entries: usize) {
    let size = grown.to(entries);
    let server = Server::start("book", grown.path());
    let kept = grown.folder.tiles();
    let copy = grown.beside("tiles").join("log");
    std::fs::create_dir_all(&copy).unwrap();
    let mut reader = Reader::open(server.address);
    std::fs::write(copy.join("checkpoint"), reader.body(&get("/log/checkpoint"))).unwrap();
    let (mut hashes, mut bundles) = (Vec::new(), Vec::new());
    for path in files(&kept) {
        let name = path.strip_prefix(&kept).unwrap();
        let file = copy.join(name);
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::copy(&path, file).unwrap();
        let asked = format!("/log/{}", name.display());
        if asked.contains("/entries/") {
            bundles.push(asked)
        } else {
            hashes.push(asked)
        };
    }
    let peer = match Nginx::start(
        copy.parent().unwrap(),
        &grown.beside("nginx-tiles"),
        "application/octet-stream",
    ) {
        Ok(peer) => peer,
        Err(why) => return skipped("tiles and checkpoint", &why),
    };
    for (says, paths) in [
        ("the checkpoint", vec!["/log/checkpoint".to_owned()]),
        ("full tiles of hashes", hashes),
        ("full tiles of entries", bundles),
    ] {
        let mut bytes = 0;
        for path in &paths {
            let body = reader.body(&get(path));
            assert_eq!(body, Reader::open(peer.address).body(&get(path)), "{path}");
            bytes += body.len();
        }
        let each = bytes / paths.len();
        let count = scaled((BYTES / each).min(REQUESTS));
        let requests: Vec<_> = paths.iter().cycle().take(count).map(|path| get(path)).collect();
        let requests = shuffled(requests);
        let taken = interleave(
            || load(server.address, CONNECTIONS, &requests, 200).rate,
            || load(peer.address, CONNECTIONS, &requests, 200).rate,
        );
        row(
            &format!("{says} of {size} entries, {} of {each} bytes", paths.len()),
            "nginx, the same files",
            " /s",
            &taken,
            Asked::AtLeast(0.8),
        );
    }
}
