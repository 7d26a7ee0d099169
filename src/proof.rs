//! Trees, tiles, notes, checkpoints and proofs: bytes, never pieces.
