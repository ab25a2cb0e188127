//! Bytes to rows.
