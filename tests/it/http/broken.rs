//! What is broken on purpose: a log that cannot be read, and a body that never comes.

use actix_web::dev::Payload;
use actix_web::error::PayloadError;
use actix_web::web::Bytes;
use futures_core::Stream;
use pourbook::log::{Group, Head, Store, StoreError, VaultKind, VaultRecord};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

/// A store of which nothing can be read.
pub struct Broken;

fn broken() -> StoreError {
    StoreError::Corrupt {
        at: "log/0, byte 17".into(),
        why: "secret of the disk".into(),
    }
}

impl Store for Broken {
    fn head(&self) -> Head {
        Head {
            size: 9,
            ..Head::default()
        }
    }

    fn append(&self, _: &Group) -> Result<(), StoreError> {
        Err(broken())
    }

    fn read(&self, _: u64) -> Result<Option<Arc<[u8]>>, StoreError> {
        Err(broken())
    }

    fn sealed(&self, _: u64) -> Result<Option<String>, StoreError> {
        Err(broken())
    }

    fn scan(&self, _: u64, _: &mut dyn FnMut(u64, &[u8]) -> bool) -> Result<(), StoreError> {
        Err(broken())
    }

    fn private(&self, _: u64) -> Result<Vec<VaultRecord>, StoreError> {
        Err(broken())
    }

    fn erase(&self, _: u64, _: &VaultKind) -> Result<(), StoreError> {
        Err(broken())
    }

    fn pin(&self, _: &str) -> Result<(), StoreError> {
        Err(broken())
    }

    fn pinned(&self) -> Option<String> {
        None
    }
}

/// A body that never comes.
pub fn silence() -> Payload {
    Payload::Stream {
        payload: Box::pin(Silence),
    }
}

struct Silence;

impl Stream for Silence {
    type Item = Result<Bytes, PayloadError>;

    fn poll_next(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        Poll::Pending
    }
}
