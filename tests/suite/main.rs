//! The tests that take seconds, in one program: linked once, and gone through on
//! all cores. What takes longer is in `trials`.

#[path = "../common/mod.rs"]
mod common;
#[path = "../lines/mod.rs"]
mod lines;

mod belief;
mod belief_mistakes;
mod bypass;
mod cautions;
mod circuit;
mod circuit_handbook;
mod circuit_line;
mod circuit_reference;
mod demos;
mod digits;
mod docs;
mod drawn;
mod drill;
mod gallery;
mod going_on;
mod hear;
mod house;
mod keep;
mod line_blind_spots;
mod line_reference;
mod packs;
mod phrases;
mod readings;
mod results;
mod second_look;
mod shop;
mod store;
mod terminal;
mod tree;
mod walk;
