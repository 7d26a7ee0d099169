//! The trade: commands, events, refusals, and the book that decides.
