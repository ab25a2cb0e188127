//! Writes demo logs with exact truth; shares no code with the stages it tests.
