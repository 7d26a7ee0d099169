//! Floor 0, `metal`: the arithmetic against published values, against values computed elsewhere, and by property.

mod alloying;
mod amounts;
mod chances;
mod check_digits;
mod control;
mod gravity;
mod masses;
mod mixtures;
mod plans;
mod prices;
mod ratios;
mod typing;
mod units;
mod weighing;
