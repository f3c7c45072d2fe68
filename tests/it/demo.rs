//! Claims about demo.
