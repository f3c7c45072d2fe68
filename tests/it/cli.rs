//! Claims about cli.
