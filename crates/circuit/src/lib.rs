//! From trees to circuits: names, `let` arithmetic with dimensions over exact rationals, parts, nodes with and without a
//! name, blocks expanded in place, and the place in the text that each thing came from. It does not know how anything is
//! solved.
//!
//! Data walks through the modules in this order: [`files`] (the file asked for and those it uses), [`build`] (each circuit
//! in passes), [`declare`] (names and nodes), [`devices`] and [`blocks`], [`formula`] (expressions), [`values`] (elements), [`sources`], [`opamps`], [`claims`], [`sheets`].
//! [`model`] is what comes out; [`classes`] are the parts that ship with the tool.

use std::sync::Arc;

mod blocks;
mod build;
mod claims;
pub mod classes;
pub mod compare;
mod declare;
mod devices;
mod fault;
mod files;
mod formula;
mod mend;
mod model;
mod opamps;
mod parts;
mod reach;
mod scope;
pub mod series;
mod sheets;
mod sources;
mod values;

pub use build::build;
pub use fault::*;
pub use files::beside;
pub use model::*;
pub use reach::reaching;
use syntax::{Dimension, Number, Place, Tree};

/// What an expression came to.
#[derive(Clone, PartialEq, Debug)]
pub struct Value {
    /// In base units.
    pub number: Number,
    /// Its dimension.
    pub dimension: Dimension,
}

/// Everything that one file says, with what it uses.
#[derive(Clone, Debug, Default)]
pub struct Book {
    /// The file that was asked for, then those it uses; a [`syntax::FileId`] is an index here.
    pub files: Vec<File>,
    /// In the order of the text; those of used files are not among them.
    pub circuits: Vec<Circuit>,
    /// Parts of all files.
    pub parts: Vec<Part>,
    /// Blocks of all files.
    pub blocks: Vec<Block>,
    /// Faults of naming and values (those of reading stand in each file's tree), in the order of the text.
    pub faults: Vec<Fault>,
}

/// A file that was read.
#[derive(Clone, Debug)]
pub struct File {
    /// As it was asked for.
    pub path: String,
    /// Its text.
    pub text: Arc<str>,
    /// Its tree.
    pub tree: Arc<Tree>,
}

/// A block's name.
#[derive(Clone, Debug)]
pub struct Block {
    /// The name.
    pub name: String,
    /// Where it stands.
    pub place: Place,
    /// Every place that names it.
    pub uses: Vec<Place>,
}

impl Book {
    /// The text of a place.
    pub fn text(&self, place: Place) -> &str {
        self.files
            .get(place.file.0 as usize)
            .map_or("", |it| place.span.of(&it.text))
    }

    /// The circuit, by its index, whose stretch of the first file holds this offset.
    pub fn circuit_at(&self, offset: u32) -> Option<usize> {
        self.circuits
            .iter()
            .position(|it| it.extent.span.start <= offset && offset < it.extent.span.end.max(1))
    }
}

/// A name in the form in which names compare.
fn normal_name(name: &str) -> String {
    syntax::normal(name).into_owned()
}
