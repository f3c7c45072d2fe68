//! Claims about store.
