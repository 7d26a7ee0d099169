//! What strangers and mirrors read: checkpoint, tiles, policy, the API's description, health, problem pages.
//!
//! Tiles are those of C2SP tlog-tiles. Only what the released checkpoint covers is served, so that nobody sees a tree
//! that was never signed for. A full tile is served as its file has it and is not compared with anything: who reads tiles
//! checks them against the checkpoint, as an audit does. Partial tiles, and full ones that have no file yet, are cut from
//! memory and the log.

use super::asked::Asked;
use super::found::{ASK_AGAIN, FOR_EVER, Found};
use super::kept::Bounded;
use super::problem::{self, Problem};
use super::{App, failed};
use crate::proof::tile::{self, TileLevel, TilePath};
use crate::writer::Released;
use actix_web::http::header;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};
use std::sync::Arc;

/// How many bytes of tiles of hashes are kept: those of some million entries.
const KEPT_BYTES_MAX: usize = 40 * 1024 * 1024;

/// The tiles of hashes that were handed out lately: files of a few kilobytes that never change and that every mirror reads.
pub struct HashTiles {
    kept: Bounded<TilePath, Found>,
}

impl Default for HashTiles {
    fn default() -> Self {
        Self {
            kept: Bounded::new(KEPT_BYTES_MAX),
        }
    }
}

const BINARY: &str = "application/octet-stream";
const TEXT: &str = "text/plain; charset=utf-8";

fn released(app: &App) -> Result<Arc<Released>, Problem> {
    let released = app.writer.published().released();
    released.ok_or_else(|| {
        Problem::not_released("no checkpoint has been released yet").with(header::RETRY_AFTER, "1")
    })
}

/// The released checkpoint.
///
/// # Errors
/// 503 before the first.
pub fn checkpoint(app: &App, asked: &Asked) -> Result<Found, Problem> {
    asked.parameters()?.finish()?;
    Ok(Found::bytes(TEXT, released(app)?.note.clone(), ASK_AGAIN))
}

/// The policy by which a stranger checks, as a verifier takes it.
///
/// # Errors
/// None but a query parameter.
pub fn policy(app: &App, asked: &Asked) -> Result<Found, Problem> {
    asked.parameters()?.finish()?;
    Ok(Found::bytes(TEXT, app.settings.policy.clone(), ASK_AGAIN))
}

fn tile_path(asked: &Asked, level: &str) -> Result<TilePath, Problem> {
    asked.parameters()?.finish()?;
    let text = format!("tile/{level}/{}", asked.member("tile"));
    TilePath::parse(&text).map_err(|_| Problem::not_found("that is not the path of a tile"))
}

/// Whether a tile is covered: a partial one by at least its width, a full one in full.
fn covered(path: TilePath, size: u64) -> Result<(), Problem> {
    if tile::width_at(path.level, path.n, size) >= path.width {
        Ok(())
    } else {
        Err(Problem::not_found(
            "the released checkpoint does not cover that tile",
        ))
    }
}

/// A tile of hashes.
///
/// # Errors
/// 404 for a path that is none, or that the released checkpoint does not cover.
pub fn hash_tile(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let path = tile_path(asked, asked.member("level"))?;
    let TileLevel::Hashes(level) = path.level else {
        return Err(Problem::not_found("that is not the path of a tile of hashes"));
    };
    covered(path, released(app)?.size)?;
    if let Some(bytes) = app.tiles.read(path).map_err(failed)? {
        let found = Found::bytes(BINARY, bytes, FOR_EVER);
        app.hash_tiles.kept.keep(path, found.clone(), found.body.len());
        return Ok(found);
    }
    let bytes = cut_hashes(app, level, path)?;
    Ok(Found::bytes(BINARY, bytes, FOR_EVER))
}

/// A tile of hashes that was handed out lately and still may be.
#[must_use]
pub fn kept_hash_tile(app: &App, asked: &Asked) -> Option<Found> {
    let path = tile_path(asked, asked.member("level")).ok()?;
    app.tiles
        .hands_out(path)
        .then(|| app.hash_tiles.kept.find(&path))?
}

fn cut_hashes(app: &App, level: u8, path: TilePath) -> Result<Vec<u8>, Problem> {
    let published = app.writer.published();
    let bytes = published.tree().tile(level, path.n, path.width);
    bytes.ok_or_else(|| Problem::not_found("the tree has no such tile"))
}

/// A tile of entries.
///
/// # Errors
/// As [`hash_tile`].
pub fn entry_tile(app: &App, asked: &Asked) -> Result<Found, Problem> {
    let path = tile_path(asked, "entries")?;
    covered(path, released(app)?.size)?;
    let bundle = match app.tiles.read(path).map_err(failed)? {
        Some(bundle) => bundle,
        None => cut_bundle(app, path)?,
    };
    let cache = if app.settings.entries_public {
        FOR_EVER
    } else {
        "private, max-age=31536000, immutable"
    };
    // Its entries follow from their hashes, of which there are a fortieth as many bytes.
    let hashes = Sha256::digest(cut_hashes(app, 0, path)?);
    Ok(Found::made_of(BINARY, bundle, hashes.into(), cache))
}

fn cut_bundle(app: &App, path: TilePath) -> Result<Vec<u8>, Problem> {
    let first = path.n.saturating_mul(u64::from(tile::FULL));
    let mut entries = Vec::new();
    for index in first..first.saturating_add(u64::from(path.width)) {
        entries.push(app.bytes(index)?);
    }
    let bundle = tile::bundle(entries.iter().map(AsRef::as_ref));
    bundle.ok_or_else(|| Problem::internal("an entry is too long for a bundle"))
}

/// The description of the API.
///
/// # Errors
/// None but a query parameter.
pub fn description(asked: &Asked) -> Result<Found, Problem> {
    asked.parameters()?.finish()?;
    let text = include_str!("../../openapi.yaml");
    Ok(Found::bytes("application/yaml", text, ASK_AGAIN))
}

/// Whether all is well, and what an operator should know.
///
/// # Errors
/// None but a query parameter.
pub fn health(app: &App, asked: &Asked) -> Result<Found, Problem> {
    asked.parameters()?.finish()?;
    let head = app.store.head();
    let mut body = Map::new();
    body.insert("status".into(), json!("ok"));
    body.insert("size".into(), json!(head.size));
    body.insert("views".into(), json!(app.views.position()));
    let released = app.writer.published().released();
    body.insert(
        "released".into(),
        json!(released.map_or(0, |released| released.size)),
    );
    if let Some(torn) = head.torn {
        body.insert("torn".into(), json!({"index": torn.index, "bytes": torn.bytes}));
    }
    body.extend(app.photographs.told().map(|lost| ("photographs".into(), lost)));
    Ok(Found::json(&Value::Object(body), "no-store"))
}

/// The page of a kind of problem.
///
/// # Errors
/// 404 for a kind that there is not.
pub fn problem_page(asked: &Asked) -> Result<Found, Problem> {
    asked.parameters()?.finish()?;
    let page = problem::page(asked.member("code"));
    let page = page.ok_or_else(|| Problem::not_found("there is no problem of that kind"))?;
    Ok(Found::bytes("text/html; charset=utf-8", page, ASK_AGAIN))
}

/// An entry's bytes.
///
/// # Errors
/// 500 when the log cannot be read.
pub fn bytes(app: &App, index: u64) -> Result<Arc<[u8]>, Problem> {
    let bytes = app.store.read(index).map_err(failed)?;
    bytes.ok_or_else(|| Problem::internal(format!("entry {index} is not in the log")))
}
