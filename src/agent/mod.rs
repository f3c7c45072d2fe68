//! The long-running tasks, and the path from the store to a ledger.
