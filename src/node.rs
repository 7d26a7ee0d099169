//! The running book: what is on disk, opened and put together; started and stopped.
//!
//! `writer` and `views` do not know each other. They are joined here: the writer tells of each durable entry, and a
//! thread of the views follows.

mod answering;
mod auditing;
mod backup;
pub mod chance;
pub mod clock;
mod connection;
mod descriptors;
mod doors;
mod folder;
mod following;
mod founding;
mod keyfile;
mod reading;
mod restore;
mod running;
mod serving;
mod tiles;
mod tls;
mod turns;

pub use auditing::{AuditStopped, Progress, audit};
pub use backup::{BackedUp, BackupError, back_up, back_up_private};
pub use folder::{BookFolder, FolderError};
pub use founding::{Founded, Founding, FoundingError, found};
pub use keyfile::{KeyFile, KeyFileError};
pub use reading::{BookReader, ReadError, accounts};
pub use restore::{RestoreError, Restored, Restoring, restore};
pub use running::{Line, Node, NodeError, open_desk, open_desk_for_keys, rebuild, serve};
pub use tls::{Root, TlsError};
