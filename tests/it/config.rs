//! Claims about config.
