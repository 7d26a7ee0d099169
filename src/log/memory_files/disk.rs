//! The state of a disk in memory: what is written, what is durable, and the fault to come.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};

use super::super::format::{narrow, wide};

/// What goes wrong at an operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// It fails and has no effect.
    Error,
    /// A write is done in part and fails; other operations fail.
    Torn,
    /// A sync says that it was done, and was not; other operations are not disturbed.
    LostSync,
    /// The machine stops before it.
    CrashBefore,
    /// The machine stops after it was done; nobody hears of it.
    CrashAfter,
}

macro_rules! operations {
    ($($variant:ident $name:literal),* $(,)?) => {
        /// What is asked of a file system, each under the name that it has in [`Files`](super::super::Files) and
        /// [`OpenFile`](super::super::OpenFile).
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Operation {$(
            #[doc = concat!("`", $name, "`.")]
            $variant,
        )*}

        impl Operation {
            /// All of them.
            pub const ALL: &[Operation] = &[$(Operation::$variant),*];

            /// The name of its method.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self {$(Operation::$variant => $name,)*}
            }
        }
    };
}

operations!(
    Length "length", ReadAt "read_at", WriteAt "write_at", Sync "sync", CreateDirs "create_dirs", Exists "exists",
    Stamp "stamp", List "list", Open "open", Create "create", Rename "rename", Remove "remove", SyncDir "sync_dir",
    Lock "lock",
);

/// A fault at the n-th operation, counted from 0 since the faults were set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Which operation.
    pub at: u64,
    /// What happens.
    pub kind: FaultKind,
}

#[derive(Clone, Default)]
pub struct Inode {
    pub content: Vec<u8>,
    pub durable: Vec<u8>,
    pub pending: Vec<(u64, Vec<u8>)>,
}

#[derive(Clone)]
pub enum NameChange {
    Link(PathBuf, usize),
    Rename(PathBuf, PathBuf),
    Unlink(PathBuf),
}

#[derive(Clone, Default)]
pub struct Disk {
    pub inodes: Vec<Inode>,
    pub names: BTreeMap<PathBuf, usize>,
    pub durable_names: BTreeMap<PathBuf, usize>,
    pub name_changes: Vec<NameChange>,
    pub dirs: BTreeSet<PathBuf>,
    pub locks: BTreeSet<PathBuf>,
    pub fault: Option<Fault>,
    /// What was asked of it since the faults were set or a life began.
    pub trace: Vec<Operation>,
    pub stopped: bool,
    /// Counts processes; a handle of an earlier one is dead.
    pub life: u64,
}

/// How an operation goes on.
#[derive(PartialEq, Eq)]
pub enum Go {
    Do,
    Tear,
    Lose,
    ThenStop,
}

pub fn failed(why: &str) -> io::Error {
    io::Error::other(why.to_owned())
}

impl Disk {
    pub fn begin(&mut self, operation: Operation) -> io::Result<Go> {
        if self.stopped {
            return Err(failed("the machine has stopped"));
        }
        let now = wide(self.trace.len());
        self.trace.push(operation);
        match self.fault.filter(|fault| fault.at == now).map(|fault| fault.kind) {
            None => Ok(Go::Do),
            Some(FaultKind::Error) => Err(failed("injected fault")),
            Some(FaultKind::Torn) => Ok(Go::Tear),
            Some(FaultKind::LostSync) => Ok(Go::Lose),
            Some(FaultKind::CrashBefore) => {
                self.stopped = true;
                Err(failed("the machine stops"))
            }
            Some(FaultKind::CrashAfter) => Ok(Go::ThenStop),
        }
    }

    pub fn end<T>(&mut self, go: &Go, value: T) -> io::Result<T> {
        match go {
            Go::Do | Go::Lose => Ok(value),
            Go::Tear => Err(failed("injected fault")),
            Go::ThenStop => {
                self.stopped = true;
                Err(failed("the machine stops"))
            }
        }
    }

    /// Runs an operation that has no half.
    pub fn run<T>(
        &mut self,
        operation: Operation,
        act: impl FnOnce(&mut Disk) -> io::Result<T>,
    ) -> io::Result<T> {
        let go = self.begin(operation)?;
        if go == Go::Tear {
            return Err(failed("injected fault"));
        }
        let value = act(self)?;
        self.end(&go, value)
    }

    pub fn inode(&mut self, number: usize) -> io::Result<&mut Inode> {
        self.inodes
            .get_mut(number)
            .ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    pub fn find(&self, path: &Path) -> io::Result<usize> {
        self.names
            .get(path)
            .copied()
            .ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    /// Gives a name to a new, empty file.
    pub fn link(&mut self, path: &Path) -> usize {
        let inode = self.inodes.len();
        self.inodes.push(Inode::default());
        self.names.insert(path.to_owned(), inode);
        self.name_changes.push(NameChange::Link(path.to_owned(), inode));
        inode
    }

    pub fn has_dir(&self, path: &Path) -> bool {
        self.dirs.contains(path)
    }

    /// Which folder a change of names belongs to.
    pub fn is_in(change: &NameChange, dir: &Path) -> bool {
        let (NameChange::Link(path, _) | NameChange::Rename(_, path) | NameChange::Unlink(path)) = change;
        path.parent() == Some(dir)
    }

    pub fn settle_name(&mut self, change: NameChange) {
        match change {
            NameChange::Link(path, inode) => drop(self.durable_names.insert(path, inode)),
            NameChange::Rename(from, to) => {
                if let Some(inode) = self.durable_names.remove(&from) {
                    self.durable_names.insert(to, inode);
                }
            }
            NameChange::Unlink(path) => drop(self.durable_names.remove(&path)),
        }
    }

    pub fn settle_names(&mut self, settles: impl Fn(&NameChange) -> bool) {
        for change in std::mem::take(&mut self.name_changes) {
            if settles(&change) {
                self.settle_name(change);
            } else {
                self.name_changes.push(change);
            }
        }
    }

    pub fn begin_new_life(&mut self) {
        self.life += 1;
        self.locks.clear();
        self.fault = None;
        self.trace.clear();
        self.stopped = false;
    }
}

pub fn overwrite(content: &mut Vec<u8>, bytes: &[u8], offset: u64) {
    let from = narrow(offset);
    let end = from.saturating_add(bytes.len());
    if content.len() < end {
        content.resize(end, 0);
    }
    if let Some(place) = content.get_mut(from..end) {
        place.copy_from_slice(bytes);
    }
}

/// SplitMix64 (Steele, Lea, Flood 2014): a small stream of numbers from a seed.
pub struct Chance(pub u64);

impl Chance {
    pub fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        narrow((mixed ^ (mixed >> 31)) % wide(bound).max(1))
    }
}

/// Every file that has a name.
pub fn files_of(disk: &Disk) -> impl Iterator<Item = (PathBuf, Vec<u8>)> {
    disk.names
        .iter()
        .filter_map(|(path, inode)| Some((path.clone(), disk.inodes.get(*inode)?.content.clone())))
}
