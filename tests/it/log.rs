//! The store: one contract for all of them, and what disks do to the real one.

mod beside;
mod contract;
mod copying;
mod crash;
mod damage;
mod keeping;
mod photographs;
pub mod served;
mod tiles;
mod tokens;
pub mod workshop;
