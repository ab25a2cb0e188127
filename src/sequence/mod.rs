//! Times and grades the chain of one serve.
