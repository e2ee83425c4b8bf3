//! The ledger: one SQLite file whose `entry` table is the append-only truth; all other tables are projections of it.
//!
//! *Locking*: a write takes `BEGIN IMMEDIATE` before it reads what it judges, so two desks may write at once and neither
//! decides on what the other is changing. *Durability*: WAL with `synchronous=FULL`; an act is on disk when `COMMIT`
//! returns, and nothing is answered before. *Order*: histories fold by (clock, writer, number), where the clock is a
//! hybrid logical clock; what replaces a corrected entry is folded where that one stood. *Compatibility*: `user_version` is the schema; a newer one is refused, an older one is migrated
//! after a backup. *Cost*: an act costs one sync; a verdict costs one row per thing that it looks at.
//!
//! Nothing here judges or prints.

mod acts;
pub mod backup;
pub mod chain;
pub mod check;
pub mod entry;
pub mod error;
pub mod export;
pub mod file;
pub mod kept;
pub mod learnt;
pub mod project;
pub mod query;
pub mod references;
mod replay;
mod schema;
pub mod settings;
pub mod story;
pub mod undo;
pub mod write;

pub use entry::{Act, Entry, Position, Receipt};
pub use error::LedgerError;
pub use file::{Access, Ledger};
pub use write::Pen;
