//! What crosses the crates is tested here; see `tests/`.
