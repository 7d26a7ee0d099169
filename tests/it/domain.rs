//! The trade's rules, told as a workshop would tell them: what was done, what is asked, what comes of it.

mod after_sale;
mod assay_office;
pub mod bench;
mod certificates;
mod closing;
mod corrections;
mod foreign;
mod gravities;
pub mod histories;
mod masses;
mod melts;
mod office;
mod orders;
mod owners;
mod photographs;
mod pieces;
pub mod promises;
mod refining;
mod sales;
mod scales;
mod second_look;
mod series;
mod stocktakes;
mod strikes;
