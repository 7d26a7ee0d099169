//! A served book under attack, over real sockets: each attack is one row of a table. Of each it is held that the attackers are
//! answered as they should be (4xx, or 503 with Retry-After, or closed), that the memory of the process stays within a bound,
//! that somebody else with another address is served meanwhile, durable commands among it, and that all is well afterwards.
//!
//! All addresses of 127.0.0.0/8 are this machine, so that attackers can have many. The patience in the settings is short
//! here, so that a test does not take minutes; `TORTURE=long` takes the usual one, and 10,000 connections.

mod bodies;
mod connections;
mod overload;
mod pictures;
mod requests;
mod siege;
mod tls;
mod turns;
mod wire;
