//! The architecture, read from `src/`.
