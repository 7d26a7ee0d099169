//! Exact mass, fineness, units and money.
