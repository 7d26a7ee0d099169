//! What a batch of entries changes, before readers see any of it.

use super::ViewError;
use super::keys::{self, Aspect, Home};
use super::shelf::{SheetsRead, Shelf};
use sled::IVec;
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// The changes of one batch. They are shown together, or not at all.
pub(super) struct Draft<'a> {
    shelf: &'a Shelf,
    changes: BTreeMap<IVec, Option<IVec>>,
    /// Where things stand that were met or looked up.
    homes: HashMap<Uuid, Home>,
    read: SheetsRead,
    /// Room in which rows are written.
    scratch: Vec<u8>,
}

impl<'a> Draft<'a> {
    pub fn new(shelf: &'a Shelf) -> Self {
        Self {
            shelf,
            changes: BTreeMap::new(),
            homes: HashMap::new(),
            read: SheetsRead::default(),
            scratch: Vec::new(),
        }
    }

    /// Shows all that was changed, which leads up to `followed`.
    pub fn show(self, followed: Vec<u8>) {
        self.shelf.show(self.changes, followed);
    }

    /// What stands under a key once this is shown.
    pub fn find(&mut self, key: &[u8]) -> Result<Option<IVec>, ViewError> {
        match self.changes.get(key) {
            Some(changed) => Ok(changed.clone()),
            None => self.shelf.find_again(key, &mut self.read),
        }
    }

    pub fn put(&mut self, key: &[u8], value: &[u8]) {
        self.changes.insert(key.into(), Some(value.into()));
    }

    pub fn put_json(&mut self, key: &[u8], value: &impl serde::Serialize) -> Result<(), serde_json::Error> {
        self.scratch.clear();
        serde_json::to_writer(&mut self.scratch, value)?;
        let value = IVec::from(self.scratch.as_slice());
        self.changes.insert(key.into(), Some(value));
        Ok(())
    }

    pub fn remove(&mut self, key: &[u8]) {
        self.changes.insert(key.into(), None);
    }

    /// The keys under a prefix that lead to an id.
    pub fn leading_to(&self, id: Uuid, prefix: &[u8]) -> Result<Vec<IVec>, ViewError> {
        let mut keys = Vec::new();
        for found in self.shelf.beginning_with(prefix) {
            let (key, value) = found?;
            if !self.changes.contains_key(&key) && value == id.as_bytes() {
                keys.push(key);
            }
        }
        let changed = self.changes.iter().filter(|(key, _)| key.starts_with(prefix));
        let changed = changed.filter(|(_, value)| value.as_deref() == Some(id.as_bytes().as_slice()));
        keys.extend(changed.map(|(key, _)| key.clone()));
        Ok(keys)
    }

    /// Where a thing stands.
    pub fn home(&mut self, id: Uuid) -> Result<Option<Home>, ViewError> {
        if let Some(home) = self.homes.get(&id) {
            return Ok(Some(*home));
        }
        let found = self.find(&keys::home_key(id))?;
        let home = found.map(|bytes| Home::from_bytes(&bytes).ok_or(ViewError::Unreadable("places")));
        let home = home.transpose()?;
        self.homes.extend(home.map(|home| (id, home)));
        Ok(home)
    }

    /// Says where a thing stands, which its row tells: it need not be looked up.
    pub fn meet(&mut self, id: Uuid, home: Home) {
        self.homes.insert(id, home);
    }

    /// Gives a thing where it stands from now on. What stands elsewhere, since a correction tells it otherwise, comes with it.
    pub fn house(&mut self, id: Uuid, home: Home) -> Result<(), ViewError> {
        let before = self.home(id)?;
        if before == Some(home) {
            return Ok(());
        }
        for aspect in [Aspect::Row, Aspect::Chain, Aspect::Place] {
            let from = before.map(|before| before.key(id, aspect));
            let found = from.map_or(Ok(None), |from| self.find(&from))?;
            if let (Some(from), Some(found)) = (from, found) {
                self.remove(&from);
                self.put(&home.key(id, aspect), &found);
            }
        }
        self.put(&keys::home_key(id), &home.to_bytes());
        self.meet(id, home);
        Ok(())
    }
}
