//! Facts, segments and the derived cache on disk.
