//! The page that is served, its JSON, health and metrics.
