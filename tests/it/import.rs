//! Claims about import.
