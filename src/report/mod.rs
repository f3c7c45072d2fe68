//! What people see: view structs become HTML, CSV and a manifest, as bytes.
