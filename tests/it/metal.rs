//! Floor 0, `metal`: the arithmetic against published values, against values computed elsewhere, and by property.

mod amounts;
mod check_digits;
mod immersion;
mod masses;
mod mixtures;
mod ratios;
mod weighing;
