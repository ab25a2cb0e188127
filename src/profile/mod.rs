//! What one log layout looks like.
