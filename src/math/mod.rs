//! Filters, peak fits, interpolation, statistics.
