//! Claims about report.
