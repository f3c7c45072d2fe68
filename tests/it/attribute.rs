//! Claims about attribute.
